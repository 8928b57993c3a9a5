"""Flight lines: how likely the bearings of a station are, for every direction.

A bearing is the true direction to the colony, plus

* the offset of the observer (compass, reader and declination), shared by all that this
  observer reads, with a tail: a compass over a steel flask, declination set twice;
* the deviation of the station, shared by all bees of one colony there: they leave along
  a lane, down a hill, into the light, and mostly a little but at times a lot; near the
  tree also because departing bees circle and positions are off by GPS;
* the deviation of the bee, which has a line of its own;
* a von Mises scatter of unknown size, or nothing of meaning (a stray).

How much lines deviate differs from hunt to hunt: over an open heath hardly at all, in a
wooded valley a great deal. `LINE_KINDS` are three such kinds; stations that agree or
disagree tell which it is.

The spread has a prior with a floor, because spread estimated from few bearings is often
absurdly small (three bearings may suggest a concentration of a million). A bearing
spoken as one of eight or sixteen winds is spread over its sector.

All bearings of a station come down to a table over (deviation's size, direction,
scatter, share of strays and kind of line); an observer's offset is a shift along the
direction, and the size of the deviation goes with the distance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .records import bessel_i0e

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from .records import Floats, Ints, Settings
    from .timing import Table

ANGLES = 720  # nodes around the circle: half a degree apart
STRAY_SHARES = (0.05, 0.15)
# For usual and for poor hunts (see `timing.shared_nodes`); guesses.
STRAY_WEIGHTS = ((0.85, 0.15), (0.3, 0.7))
COMPASS_TIMES = (1.0, 2.3)  # the stated standard deviation; iron in the pocket
COMPASS_TAIL = (0.20, 3.3)  # share of observers, times the stated sd; guesses
OFFSET_SPAN = 8.0  # of the nodes of an offset, in standard deviations
FEWEST_NODES, MOST_NODES = 19, 61

_SPREADS, _SIZES = 6, 10  # nodes of the scatter, and of the circling near the tree
_PIECE_DEG = 3.0  # a rounded bearing is spread over pieces of this width


@dataclass(frozen=True, slots=True)
class LineKind:
    """How much the lines of one hunt deviate, on the sizes in `Settings`; guesses."""

    station: float  # times the deviation of stations
    bee: float  # times that of bees
    tail_share: float  # times the share of stations that deviate a lot
    weights: tuple[float, float]  # share of usual and of poor hunts


LINE_KINDS = (
    LineKind(0.35, 0.3, 0.0, (0.45, 0.20)),  # open ground
    LineKind(1.0, 1.0, 0.5, (0.30, 0.35)),
    LineKind(2.4, 1.2, 1.0, (0.25, 0.45)),  # round woods and hills
)


@dataclass(frozen=True, slots=True)
class LineNodes:
    """Quadrature nodes of the shared unknowns of bearings, and their prior."""

    offset_rad: Floats  # (observers, no)
    offset_log_weight: Floats  # (2, observers, no, ns) for usual and poor hunts
    sd_rad: Floats  # (ns,) scatter of single bearings
    stray: Floats  # (ns,) share of strays that goes with it
    station_rad: Floats  # (ns,) deviation of a station far from the tree
    bee_rad: Floats  # (ns,) of a bee's line about its station's
    tail_share: Floats  # (ns,) of stations that deviate a lot
    tail_rad: Floats  # (ns,) deviation of those
    scatter_log_weight: Floats  # (2, ns), sums to one
    deviation_rad: Floats  # (nd,) sizes of a steady station's deviation
    circling_m: float  # circles of departing bees and errors of position

    def deviation_position(self, distance_m: Floats) -> Floats:
        """Return where the deviation at a distance falls among the sizes."""
        size = np.hypot(
            self.deviation_rad[0], np.arctan2(self.circling_m, distance_m + 1e-9)
        )
        step = np.log(self.deviation_rad[1] / self.deviation_rad[0])
        position = np.log(size / self.deviation_rad[0]) / step
        return np.asarray(np.clip(position, 0.0, len(self.deviation_rad) - 1.000001))

    def only(self, scatter: Ints) -> LineNodes:
        """Return some of the nodes of scatter."""
        return replace(
            self,
            offset_log_weight=self.offset_log_weight[..., scatter],
            scatter_log_weight=self.scatter_log_weight[:, scatter],
            sd_rad=self.sd_rad[scatter],
            stray=self.stray[scatter],
            station_rad=self.station_rad[scatter],
            bee_rad=self.bee_rad[scatter],
            tail_share=self.tail_share[scatter],
            tail_rad=self.tail_rad[scatter],
        )


def line_nodes(
    settings: Settings,
    declination_sd_deg: float,
    *,
    observers: int = 1,
    stations: int = 1,
) -> LineNodes:
    """Return nodes and prior of compass offsets, scatter and stray share.

    The more stations one observer reads at, the finer the nodes of the offset must
    lie, or the posterior breaks up into one ray for each.
    """
    sd = np.hypot(settings.compass_sd_deg, declination_sd_deg)
    sharp = settings.station_sd_deg / np.sqrt(max(stations, 1))
    step = 1.7 * min(sd, sharp)
    count = int(np.clip(2 * OFFSET_SPAN * sd / step + 1, FEWEST_NODES, MOST_NODES))
    z = np.linspace(-OFFSET_SPAN, OFFSET_SPAN, count)
    low = settings.bearing_sd_floor_deg
    spread = np.geomspace(low, max(27.0, 3.0 * settings.bearing_sd_deg), _SPREADS)
    by_spread = np.exp(
        -0.5
        * (np.log(spread / settings.bearing_sd_deg) / settings.bearing_sd_sigma) ** 2
    )
    of_offset: list[Floats] = []
    of_scatter: list[Floats] = []
    share, wider = COMPASS_TAIL
    for times, by_share in zip(COMPASS_TIMES, STRAY_WEIGHTS, strict=True):
        by_offset = (1 - share) / times * np.exp(-0.5 * (z / times) ** 2)
        wide = max(wider, times)
        by_offset += share / wide * np.exp(-0.5 * (z / wide) ** 2)
        of_offset.append(by_offset / by_offset.sum())
        by_line = [kind.weights[len(of_scatter)] for kind in LINE_KINDS]
        weight = np.outer(by_line, np.outer(by_spread, by_share).ravel()).ravel()
        of_scatter.append(weight / weight.sum())
    log_offset = np.log(np.array(of_offset) + 1e-300)
    station_deg = settings.station_sd_deg * np.array([k.station for k in LINE_KINDS])
    sizes = np.geomspace(station_deg.min(), max(60.0, 2 * station_deg.max()), _SIZES)
    scatters = spread.size * len(STRAY_SHARES)

    def each(values: Iterable[float]) -> Floats:
        """Repeat what a kind of line has for each scatter and share of strays."""
        return np.repeat(np.array(list(values)), scatters)

    return LineNodes(
        offset_rad=np.tile(np.radians(z * sd), (observers, 1)),
        offset_log_weight=np.tile(
            log_offset[:, None, :, None],
            (1, observers, 1, scatters * len(LINE_KINDS)),
        ),
        sd_rad=np.tile(
            np.radians(np.repeat(spread, len(STRAY_SHARES))), len(LINE_KINDS)
        ),
        stray=np.tile(np.array(STRAY_SHARES), spread.size * len(LINE_KINDS)),
        station_rad=each(np.radians(station_deg)),
        bee_rad=each(np.radians(settings.bee_line_sd_deg) * k.bee for k in LINE_KINDS),
        tail_share=each(settings.station_tail_share * k.tail_share for k in LINE_KINDS),
        tail_rad=each(
            np.radians(settings.station_tail_sd_deg) * max(1.0, k.station)
            for k in LINE_KINDS
        ),
        scatter_log_weight=np.log(np.array(of_scatter) + 1e-300),
        deviation_rad=np.radians(sizes),
        circling_m=settings.circling_m,
    )


def concentration(sd_rad: Floats) -> Floats:
    """Return the von Mises concentration of bearings with a standard deviation.

    Lenth 1981, Technometrics 23:149-154, eq. 2.10, with C = exp(-sd^2 / 2).
    """
    c = np.exp(-0.5 * np.asarray(sd_rad) ** 2)
    inverse = 2 * (1 - c) + (1 - c) ** 2 * (0.48794 - 0.82905 * c - 1.3915 * c**2) / c
    return np.asarray(1.0 / inverse)


def line_table(bearing_rad: Floats, rounding_rad: Floats, nodes: LineNodes) -> Floats:
    """Return the log likelihood of one bee's bearings about its own line.

    Parameters
    ----------
    bearing_rad, rounding_rad
        (n,) bearings and the width each was rounded to.
    nodes
        Nodes of the shared unknowns.

    Returns
    -------
    numpy.ndarray
        (ANGLES, ns) over (direction of its line, scatter).
    """
    scatters, column = np.unique(
        np.stack([nodes.sd_rad, nodes.stray], axis=1), axis=0, return_inverse=True
    )
    sd, back = np.unique(scatters[:, 0], return_inverse=True)
    stray = scatters[:, 1]
    kappa = concentration(sd)
    direction = np.arange(ANGLES) * (2 * np.pi / ANGLES)
    table = np.zeros((ANGLES, stray.size))
    distinct, counts = np.unique(
        np.stack([bearing_rad, rounding_rad], axis=1), axis=0, return_counts=True
    )
    for (bearing, width), count in zip(distinct, counts, strict=True):
        pieces = max(1, int(np.ceil(np.degrees(width) / _PIECE_DEG)))
        within = (np.arange(pieces) + 0.5) / pieces - 0.5
        density = np.zeros((ANGLES, sd.size))
        for part in within:
            error = bearing + part * width - direction
            density += np.exp(kappa * (np.cos(error)[:, None] - 1.0))
        density /= pieces * 2 * np.pi * bessel_i0e(kappa)
        mixed = (1 - stray) * density[:, np.ravel(back)]
        table += count * np.log(mixed + stray / (2 * np.pi))
    return np.asarray(table[:, np.ravel(column)])


def bee_tables(
    bearing_rad: Floats, rounding_rad: Floats, bee: Ints, *, nodes: LineNodes
) -> Mapping[int, Floats]:
    """Return bee -> log likelihood of its bearings about its station's line.

    Bearings of unmarked bees (-1) are each taken for another bee's.

    Returns
    -------
    Mapping
        Bee to (ANGLES, ns), its own deviation integrated out.
    """
    result: dict[int, Floats] = {}
    spread = _transform(nodes.bee_rad[None, None], np.ones((1, 1)))
    for one in np.unique(bee):
        own = np.flatnonzero(bee == one)
        for part in own[:, None] if one < 0 else own[None]:
            table = line_table(bearing_rad[part], rounding_rad[part], nodes)
            table = _blurred(table, spread)[0]
            result[int(one)] = result.get(int(one), 0.0) + table
    return result


def station_table(table: Floats, nodes: LineNodes) -> Table:
    """Return the log likelihood of a station's bearings about the true direction.

    Parameters
    ----------
    table
        (ANGLES, ns) sum of its bees' tables.
    nodes
        Nodes of the shared unknowns.

    Returns
    -------
    numpy.ndarray
        (nd, ANGLES, ns), the station's deviation integrated out, by its size.
    """
    kinds, kind = np.unique(
        np.stack([nodes.station_rad, nodes.tail_share, nodes.tail_rad]),
        axis=1,
        return_inverse=True,
    )
    station, share, tail = kinds
    circling = nodes.deviation_rad[:, None] ** 2 - nodes.deviation_rad[0] ** 2
    size = np.sqrt(circling + station**2)
    sd = np.stack([size, np.maximum(size, tail)], axis=1)
    spread = _transform(sd, np.stack([1 - share, share]))
    return _blurred(table, spread[..., np.ravel(kind)]).astype(np.float32)


def _transform(sd_rad: Floats, share: Floats) -> Floats:
    """Return the Fourier transform of mixtures of wrapped normals.

    Parameters
    ----------
    sd_rad
        (n, parts, ns) standard deviations.
    share
        (parts, ns) shares.

    Returns
    -------
    numpy.ndarray
        (n, ANGLES // 2 + 1, ns).
    """
    turns = np.arange(ANGLES // 2 + 1)[:, None]
    return np.asarray(
        sum(
            part * np.exp(-0.5 * (turns * sd[:, None]) ** 2)
            for part, sd in zip(share, sd_rad.transpose(1, 0, 2), strict=True)
        )
    )


def _blurred(table: Floats, spread: Floats) -> Floats:
    """Blur a (ANGLES, ns) log table by (n, turns, ns) spreads; (n, ANGLES, ns)."""
    top = table.max(axis=0)
    wave = np.fft.rfft(np.exp(table - top), axis=0)
    mixed = np.fft.irfft(wave[None] * spread, ANGLES, axis=1)
    # Rounding of the transform: below this nothing is known, nor does it matter.
    return np.asarray(np.log(np.maximum(mixed, 1e-15)) + top)


def look_up(
    table: Table, step_m: Floats, offset_rad: Floats, nodes: LineNodes
) -> Table:
    """Return a station's log likelihood at places, for each offset; (n, no, ns).

    Parameters
    ----------
    table
        (nd, ANGLES, ns) of the station.
    step_m
        (n, 2) east and north from the station [m].
    offset_rad
        (no,) compass offsets.
    nodes
        Nodes of the shared unknowns.
    """
    direction = np.arctan2(step_m[:, 0], step_m[:, 1])[:, None] + offset_rad
    position = direction_position(direction)
    row = position.astype(np.intp)
    part = (position - row).astype(np.float32)[..., None]
    row %= ANGLES
    after = (row + 1) % ANGLES
    size = nodes.deviation_position(np.hypot(*step_m.T))
    level = size.astype(np.intp)[:, None]
    share = (size[:, None] - level).astype(np.float32)[..., None]
    flat = table.reshape(-1, table.shape[2])
    result = np.zeros((*row.shape, table.shape[2]), dtype=np.float32)
    for at, weight in ((level, 1 - share), (level + 1, share)):
        if not weight.any():
            continue
        low = np.take(flat, at * ANGLES + row, axis=0)
        high = np.take(flat, at * ANGLES + after, axis=0)
        high -= low
        high *= part
        high += low
        high *= weight
        result += high
    return result


def direction_position(direction_rad: Floats) -> Floats:
    """Return where directions fall among the rows of a line table."""
    return np.asarray((direction_rad % (2 * np.pi)) * (ANGLES / (2 * np.pi)))
