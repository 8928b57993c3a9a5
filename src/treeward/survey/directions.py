"""Flight lines: how likely the bearings of a station are, for every direction.

A bearing is the true direction to the colony, plus

* the offset of the observer (compass, reader and declination), shared by all that this
  observer reads, with a tail: a compass over a steel flask, declination set twice;
* the deviation of the station, shared by all bees of one colony there: they leave along
  a lane, down a hill, into the light, and mostly a little but at times a lot; near the
  tree also because departing bees circle and positions are off by GPS;
* the deviation of the bee, which has a line of its own;
* a von Mises scatter of unknown size, or nothing of meaning (a stray).

The spread has a prior with a floor, because spread estimated from few bearings is often
absurdly small (three bearings may suggest a concentration of a million). A bearing
spoken as one of eight or sixteen winds is spread over its sector.

All bearings of a station come down to a table over (deviation's size, direction,
scatter and share of strays); an observer's offset is a shift along the direction, and
the size of the deviation goes with the distance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .arrays import bessel_i0e

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .arrays import Floats, Ints
    from .settings import Settings
    from .timing import Table

ANGLES = 720  # nodes around the circle: half a degree apart
STRAY_SHARES = (0.05, 0.15)
# For usual and for poor hunts (see `timing.shared_nodes`); guesses.
STRAY_WEIGHTS = ((0.85, 0.15), (0.3, 0.7))
COMPASS_TIMES = (1.0, 2.3)  # the stated standard deviation; iron in the pocket
COMPASS_TAIL = (0.20, 3.3)  # share of observers, times the stated sd; guesses
OFFSET_SPAN = 8.0  # of the nodes of an offset, in standard deviations
FEWEST_NODES, MOST_NODES = 19, 61

_PIECE_DEG = 3.0  # a rounded bearing is spread over pieces of this width


@dataclass(frozen=True, slots=True)
class LineNodes:
    """Quadrature nodes of the shared unknowns of bearings, and their prior."""

    offset_rad: Floats  # (observers, no)
    offset_log_weight: Floats  # (2, observers, no, ns) for usual and poor hunts
    sd_rad: Floats  # (ns,) scatter of single bearings
    stray: Floats  # (ns,) share of strays that goes with it
    scatter_log_weight: Floats  # (2, ns), sums to one
    deviation_rad: Floats  # (nd,) sizes of a station's deviation
    bee_rad: float  # of a bee's line about its station's
    tail: tuple[float, float]  # share of stations that deviate a lot; their sd [rad]
    circling_m: float  # circles of departing bees and errors of position

    def deviation_position(self, distance_m: Floats) -> Floats:
        """Return where the deviation at a distance falls among the sizes."""
        size = np.hypot(
            self.deviation_rad[0], np.arctan2(self.circling_m, distance_m + 1e-9)
        )
        step = np.log(self.deviation_rad[1] / self.deviation_rad[0])
        position = np.log(size / self.deviation_rad[0]) / step
        return np.asarray(np.clip(position, 0.0, len(self.deviation_rad) - 1.000001))


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
    spread = np.geomspace(low, max(27.0, 3.0 * settings.bearing_sd_deg), 8)
    by_spread = np.exp(
        -0.5
        * (np.log(spread / settings.bearing_sd_deg) / settings.bearing_sd_sigma) ** 2
    )
    of_offset, of_scatter = [], []
    share, wider = COMPASS_TAIL
    for times, by_share in zip(COMPASS_TIMES, STRAY_WEIGHTS, strict=True):
        by_offset = (1 - share) / times * np.exp(-0.5 * (z / times) ** 2)
        wide = max(wider, times)
        by_offset += share / wide * np.exp(-0.5 * (z / wide) ** 2)
        of_offset.append(by_offset / by_offset.sum())
        weight = np.outer(by_spread, by_share).ravel()
        of_scatter.append(weight / weight.sum())
    log_offset = np.log(np.array(of_offset) + 1e-300)
    sizes = np.geomspace(
        settings.station_sd_deg, max(60.0, 2 * settings.station_sd_deg), 9
    )
    return LineNodes(
        offset_rad=np.tile(np.radians(z * sd), (observers, 1)),
        offset_log_weight=np.tile(
            log_offset[:, None, :, None],
            (1, observers, 1, spread.size * len(STRAY_SHARES)),
        ),
        sd_rad=np.radians(np.repeat(spread, len(STRAY_SHARES))),
        stray=np.tile(np.array(STRAY_SHARES), spread.size),
        scatter_log_weight=np.log(np.array(of_scatter) + 1e-300),
        deviation_rad=np.radians(sizes),
        bee_rad=float(np.radians(settings.bee_line_sd_deg)),
        tail=(
            settings.station_tail_share,
            float(np.radians(settings.station_tail_sd_deg)),
        ),
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
    sd, back = np.unique(nodes.sd_rad, return_inverse=True)
    kappa = concentration(sd)
    direction = np.arange(ANGLES) * (2 * np.pi / ANGLES)
    table = np.zeros((ANGLES, nodes.sd_rad.size))
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
        mixed = (1 - nodes.stray) * density[:, np.ravel(back)]
        table += count * np.log(mixed + nodes.stray / (2 * np.pi))
    return table


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
    spread = _transform(np.array([[nodes.bee_rad]]), np.ones((1, 1)))
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
    share, wide = nodes.tail
    size = nodes.deviation_rad
    sd = np.stack([size, np.maximum(size, wide)], axis=1)
    spread = _transform(sd, np.array([[1 - share, share]]))
    return _blurred(table, spread).astype(np.float32)


def _transform(sd_rad: Floats, share: Floats) -> Floats:
    """Return the Fourier transform of mixtures of wrapped normals.

    Parameters
    ----------
    sd_rad
        (n, parts) standard deviations.
    share
        (1, parts) shares.

    Returns
    -------
    numpy.ndarray
        (n, ANGLES // 2 + 1).
    """
    turns = np.arange(ANGLES // 2 + 1)
    parts = np.exp(-0.5 * (turns[None, None, :] * sd_rad[..., None]) ** 2)
    return np.asarray((share[..., None] * parts).sum(axis=1))


def _blurred(table: Floats, spread: Floats) -> Floats:
    """Blur a (ANGLES, ns) log table by (n, turns) spreads; (n, ANGLES, ns)."""
    top = table.max(axis=0)
    wave = np.fft.rfft(np.exp(table - top), axis=0)
    mixed = np.fft.irfft(wave[None] * spread[:, :, None], ANGLES, axis=1)
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
