"""What a hunt whose colony was found teaches: the place is known, so the rest is seen.

`lesson` weighs flight speed, in-hive time and each observer's compass by the trips and
bearings of one found hunt. Each comes as information (a precision, and the precision
times the mean), since a hunt at one distance tells only seconds to the metre: along
that ridge its precision is nothing, and two hunts at other distances make up for it.
`own_prior` puts such lessons together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from . import timing
from .case import prepare
from .directions import COMPASS_TAIL
from .evidence import Evidence
from .records import log_sum_exp
from .settings import Settings

if TYPE_CHECKING:
    from .case import CheckedHunt
    from .evidence import Case
    from .records import Bearings, Cargo, Floats, Stations, Trips
    from .settings import TripWind

_NODES_F, _NODES_G = 33, 41  # finer than a search needs: the place is one
_LITTLE = 2.5  # times the usual sd of an offset; choice
_SPAN = 3.6  # of these nodes, in standard deviations of what is plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """What one found hunt says of the unknowns that hunts share.

    Attributes
    ----------
    cargos
        What its bees fetched on the trips used; empty without trips.
    trips, bearings
        How many were used.
    precision
        (2, 2) of the logarithms of the factors on flight speed and in-hive time.
    weighted
        (2,) that precision times their mean.
    offsets
        Observer -> precision [1/deg^2], and precision times mean [1/deg], of how much
        too far clockwise the observer read; observers are indices into
        `Bearings.observer`.
    """

    cargos: tuple[Cargo, ...]
    trips: int
    bearings: int
    precision: Floats
    weighted: Floats
    offsets: tuple[tuple[int, float, float], ...] = ()


def plain_moments(settings: Settings | None = None) -> tuple[Floats, Floats]:
    """Return mean (2,) and covariance (2, 2) of ln f and ln g before anything is seen.

    Poor and eager hunts are in it, so it is wider than the stated spreads.
    """
    nodes = timing.shared_nodes(settings or Settings())
    weight = np.exp(nodes.log_weight).sum(axis=(0, 3))
    weight /= weight.sum()
    f, g = np.meshgrid(nodes.ln_f, nodes.ln_g, indexing="ij")
    values = np.stack([f.ravel(), g.ravel()])
    mean = values @ weight.ravel()
    off = values - mean[:, None]
    return mean, np.asarray((off * weight.ravel()) @ off.T)


def plain_compass_sd_deg(settings: Settings | None = None) -> float:
    """Return the standard deviation of an observer's offset with its tail [degrees]."""
    share, times = COMPASS_TAIL
    sd_deg = (settings or Settings()).compass_sd_deg
    return float(sd_deg * np.sqrt(1 - share + share * times**2))


def lesson(
    stations: Stations,
    trips: Trips,
    bearings: Bearings,
    settings: Settings | None = None,
    *,
    wind: TripWind | None = None,
    found_deg: tuple[float, float],
    bees: tuple[str, ...] | None = None,
) -> Lesson:
    """Say what a found hunt teaches.

    Parameters
    ----------
    stations, trips, bearings, settings, wind
        As for `locate`. Settings without anything learned, or lessons are told twice.
    found_deg
        Latitude and longitude of the colony.
    bees
        The bees that flew from there; None for all. Bearings of unmarked bees count
        only where no bee is left out.

    Raises
    ------
    ValueError
        Naming the argument that cannot be.
    """
    settings = settings or Settings()
    hunt = prepare(stations, trips, bearings, settings, wind)
    chosen = frozenset(
        bee for bee in hunt.bees if bees is None or trips.bees[bee] in bees
    )
    owner = hunt.case.bearing_bee
    lines = np.isin(owner, list(chosen))
    if len(chosen) == len(hunt.bees):
        lines |= owner < 0
    xy = hunt.frame.to_xy(np.array([found_deg[0]]), np.array([found_deg[1]]))
    mean, covariance = plain_moments(settings)
    evidence = Evidence(_finer(hunt, mean, covariance), chosen, lines)
    precision, weighted = np.zeros((2, 2)), np.zeros(2)
    if evidence.has_times:
        precision, weighted = _of_times(evidence, xy, mean, covariance)
    own = [times for times in evidence.case.times if times.bee in chosen]
    return Lesson(
        cargos=tuple(sorted({times.cargo for times in own})),
        trips=sum(times.trips for times in own),
        bearings=int(lines.sum()),
        precision=precision,
        weighted=weighted,
        offsets=_of_lines(evidence, xy, settings) if evidence.has_lines else (),
    )


def _finer(hunt: CheckedHunt, mean: Floats, covariance: Floats) -> Case:
    """Return the case with finer nodes about what is plain."""
    case = hunt.untaught
    usual = case.time_nodes
    sd = np.sqrt(np.diag(covariance))
    ln_f = mean[0] + sd[0] * np.linspace(-_SPAN, _SPAN, _NODES_F)
    ln_g = mean[1] + sd[1] * np.linspace(-_SPAN, _SPAN, _NODES_G)
    # How either way slows down with the factor is as at the usual nodes.
    known, order = np.unique(usual.ln_f, return_index=True)
    slow_out, slow_home = (
        np.exp(_interpolated(ln_f, known, np.log(slow[order])))
        for slow in (usual.slow_out, usual.slow_home)
    )
    by_spread = log_sum_exp(usual.log_weight, axis=(0, 1, 2))
    nodes = timing.TimeNodes(
        ln_f,
        slow_out,
        slow_home,
        np.full(ln_f.size, case.settings.wind_compensation),
        ln_g,
        np.broadcast_to(by_spread, (2, ln_f.size, ln_g.size, by_spread.size)),
    )
    return replace(case, time_nodes=nodes)


def _interpolated(at: Floats, x: Floats, y: Floats) -> Floats:
    """Interpolate linearly, and go on so beyond the ends."""
    low = (y[1] - y[0]) / (x[1] - x[0]) * np.minimum(at - x[0], 0.0)
    high = (y[-1] - y[-2]) / (x[-1] - x[-2]) * np.maximum(at - x[-1], 0.0)
    return np.asarray(np.interp(at, x, y) + low + high)


def _of_times(
    evidence: Evidence, xy: Floats, mean: Floats, covariance: Floats
) -> tuple[Floats, Floats]:
    """Return the information of the trips on ln f and ln g."""
    nodes = evidence.case.time_nodes
    by_spread = evidence.times_by_node(xy)[0] + nodes.log_weight[0]
    likelihood = log_sum_exp(by_spread.astype(np.float64), axis=2)
    f, g = np.meshgrid(nodes.ln_f - mean[0], nodes.ln_g - mean[1], indexing="ij")
    off = np.stack([f.ravel(), g.ravel()])
    before = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    log_weight = likelihood.ravel() - 0.5 * np.einsum("in,ij,jn->n", off, before, off)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    middle = off @ weight
    about = off - middle[:, None]
    after = np.asarray(np.linalg.inv((about * weight) @ about.T), dtype=np.float64)
    precision, weighted = _information(after, after @ middle, before)
    return precision, weighted + precision @ mean


def _information(
    after: Floats, weighted_after: Floats, before: Floats
) -> tuple[Floats, Floats]:
    """Take what was known before from what is known after; never less than nothing.

    Means count from the mean of what was known before.
    """
    size, way = np.linalg.eigh(after - before)
    gained = size > 0.0
    # Where a direction gained nothing its mean says nothing either.
    kept = way[:, gained]
    return (
        np.asarray((kept * size[gained]) @ kept.T),
        np.asarray(kept @ (kept.T @ weighted_after)),
    )


def _of_lines(
    evidence: Evidence, xy: Floats, settings: Settings
) -> tuple[tuple[int, float, float], ...]:
    """Return the information of the bearings on each observer's offset."""
    case = evidence.case
    nodes = case.line_nodes
    by_scatter = log_sum_exp(nodes.scatter_log_weight, axis=0)
    # Held against little knowledge: lines have heavy tails, and what is taken off again
    # as a normal prior must not have drawn them far.
    before = 1.0 / (_LITTLE * plain_compass_sd_deg(settings)) ** 2
    result = []
    for observer in np.unique(case.bearing_observer[evidence.use_bearing]):
        seen = evidence.lines_by_node(xy, int(observer))[0].astype(np.float64)
        offset = np.degrees(nodes.offset_rad[observer])
        log_weight = log_sum_exp(seen + by_scatter, axis=1) - 0.5 * before * offset**2
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        mean = float(offset @ weight)
        after = 1.0 / float((offset - mean) ** 2 @ weight)
        if after > before:
            result.append((int(observer), after - before, after * mean))
    return tuple(result)
