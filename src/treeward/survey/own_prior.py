"""What found hunts teach, and taken together foretell for the next one.

Every hunt's factors, and its compass, differ from the plain prior's middle by three
shifts: one of the person (kept everywhere), one of the region (bees, land and season
thereabouts) and one of that hunt alone. Together they have the plain prior's variance.
How it is shared out is unknown and summed over, weighed by how well it explains the
lessons; each sharing is a normal model in closed form (the linear mixed model of any
textbook on it, e.g. Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., ch. 5 and 15).
So few hunts, or hunts that differ among themselves, leave the prior wide, and a hunt in
another region gets back nearly the plain one.

The in-hive factor is one for each cargo, tied loosely. The person's reaction time is a
shift in seconds of every away time: said late at the departure it shortens, at the
return it lengthens. It cannot be told from the in-hive time but by cargos and regions
that differ, and mostly stays what it was.

What the hunt taught of the unknowns that all its bees share.

Of a hunt whose colony was found the place is known, so the rest is seen.
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
from .records import OwnFactors, Settings, log_sum_exp
from .timing import IN_HIVE_S

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from .case import CheckedHunt
    from .evidence import Case
    from .grid import Grid
    from .records import Bearings, Cargo, Floats, Stations, Trips, TripWind

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


REGION_M = 30_000.0  # a region's reach: hunts so far apart share 0.6 of it; guess
REACTION_SD_S = 2.0  # of return against departure, person to person; guess
CARGO_TIE = 0.8  # correlation of the in-hive factors of two cargos; guess
# Share of the variance that is each hunt's own -> weight before any hunt; guesses.
OF_HUNT = ((0.08, 0.15), (0.18, 0.25), (0.35, 0.3), (0.6, 0.2), (0.9, 0.1))
# Share of the rest that is the person's and not the region's; guesses: bees make it.
OF_PERSON = ((0.0, 0.85), (0.3, 0.1), (0.6, 0.05))
# Share of the compass's variance that is each hunt's own; guesses.
COMPASS_OF_HUNT = ((0.05, 0.3), (0.15, 0.35), (0.4, 0.25), (0.8, 0.1))
# Share of the rest that is the region's and not the person's: iron in the rock, a
# declination model that errs there, lines that all bend round one valley; guesses.
COMPASS_OF_REGION = ((0.1, 0.4), (0.35, 0.4), (0.7, 0.2))
_CARGOS: tuple[Cargo, ...] = tuple(IN_HIVE_S)
_STATES = 2 + len(_CARGOS)  # ln f, ln g of each cargo, reaction time [s]
_FLAT = 1e-6  # precision below which a direction of a lesson says nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A lesson and where it was learned; one region for places that are not told."""

    lesson: Lesson
    latitude_deg: float
    longitude_deg: float
    observers: tuple[str, ...] = ("",)  # names, by the lesson's observer index


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnPrior:
    """What to expect of the next hunt, in place of the plain prior.

    Attributes
    ----------
    ln_f, ln_f_sd
        Mean and standard deviation of the log factor on flight speed.
    ln_g, ln_g_sd
        The same of the factor on the in-hive time, by cargo, with the person's
        reaction time in it.
    correlation
        Of the two, by cargo.
    reaction_s
        Mean and standard deviation of the person's shift of away times [s].
    hunts
        How many lessons have trips.
    """

    ln_f: float
    ln_f_sd: float
    ln_g: Mapping[Cargo, float]
    ln_g_sd: Mapping[Cargo, float]
    correlation: Mapping[Cargo, float]
    reaction_s: tuple[float, float]
    hunts: int


def own_prior(
    known: Sequence[Known],
    settings: Settings | None = None,
    *,
    here_deg: tuple[float, float],
) -> OwnPrior:
    """Foretell speed and in-hive factor of a hunt at a place (latitude, longitude).

    Without lessons this is the plain prior's mean and spread.
    """
    told = [one for one in known if one.lesson.cargos]
    plain, covariance = plain_moments(settings)
    mean, spread = _states(plain, covariance)
    rows, values, noise, of = _measured(told, mean, plain)
    near = _nearness([(k.latitude_deg, k.longitude_deg) for k in told], here_deg)
    count = len(told)
    log_evidence, means, covariances = [], [], []
    for levels, weight in _sharings():
        person, region, own = (_scaled(spread, level) for level in levels)
        person = person + _reaction()
        prior = person + region + own
        if not len(values):
            log_evidence.append(np.log(weight))
            means.append(mean)
            covariances.append(prior)
            continue
        seen = (
            rows @ person @ rows.T
            + near[np.ix_(of, of)] * (rows @ region @ rows.T)
            + np.equal.outer(of, of) * (rows @ own @ rows.T)
        )
        seen += np.diag(noise)
        here = rows @ person + near[count, of, None] * (rows @ region)
        solved = np.linalg.solve(seen, np.column_stack([values, here]))
        _, size = np.linalg.slogdet(seen)
        log_evidence.append(np.log(weight) - 0.5 * (values @ solved[:, 0] + size))
        means.append(mean + here.T @ solved[:, 0])
        covariances.append(prior - here.T @ solved[:, 1:])
    share = np.exp(np.array(log_evidence) - max(log_evidence))
    share /= share.sum()
    middle = share @ np.array(means)
    total = np.einsum("s,sxy->xy", share, np.array(covariances))
    off = np.array(means) - middle
    total += np.einsum("s,sx,sy->xy", share, off, off)
    return _foretold(middle, total, count, np.exp(plain[1]))


def learned_settings(
    settings: Settings, prior: OwnPrior, cargos: Sequence[Cargo]
) -> Settings:
    """Return settings that hold an own prior on speed and in-hive time.

    A hunt has one in-hive factor: of several cargos that which is known least.
    """
    usual = cargos or _CARGOS
    widest = max(usual, key=lambda cargo: prior.ln_g_sd[cargo])
    return replace(
        settings,
        learned=OwnFactors(
            ln_f=prior.ln_f,
            ln_f_sd=prior.ln_f_sd,
            ln_g=prior.ln_g[widest],
            ln_g_sd=prior.ln_g_sd[widest],
            correlation=prior.correlation[widest],
        ),
    )


def own_compass(
    known: Sequence[Known],
    observer: str,
    settings: Settings | None = None,
    *,
    here_deg: tuple[float, float],
) -> tuple[float, float, int]:
    """Foretell an observer's offset: mean and standard deviation [degrees], hunts.

    The offset is in part the person's with their compass, wherever they are, in part
    the region's, and in part each hunt's own (a phone in another pocket). Without
    lessons mean and spread are the plain prior's.
    """
    variance = plain_compass_sd_deg(settings) ** 2
    told = [
        (weighted / precision, 1.0 / precision, (one.latitude_deg, one.longitude_deg))
        for one in known
        for index, precision, weighted in one.lesson.offsets
        if one.observers[index : index + 1] == (observer,)
    ]
    if not told:
        return 0.0, float(np.sqrt(variance)), 0
    values, noise = np.array([one[:2] for one in told]).T
    near = _nearness([one[2] for one in told], here_deg)
    log_evidence, means, variances = [], [], []
    for own, of_own in COMPASS_OF_HUNT:
        for region, of_region in COMPASS_OF_REGION:
            common = variance * (1.0 - own) * (1.0 - region * (1.0 - near))
            here = common[-1, :-1]
            seen = common[:-1, :-1] + np.diag(noise + variance * own)
            solved = np.linalg.solve(seen, np.column_stack([values, here]))
            _, size = np.linalg.slogdet(seen)
            fit = -0.5 * (values @ solved[:, 0] + size)
            log_evidence.append(np.log(of_own * of_region) + fit)
            means.append(here @ solved[:, 0])
            variances.append(variance - here @ solved[:, 1])
    share = np.exp(np.array(log_evidence) - max(log_evidence))
    share /= share.sum()
    mean = float(share @ means)
    spread = share @ variances + share @ (np.array(means) - mean) ** 2
    return mean, float(np.sqrt(spread)), len(told)


def _sharings() -> list[tuple[tuple[Floats, Floats, Floats], float]]:
    """Return the levels' shares of each state's variance, and their weight."""
    result = []
    for of_f, weight_f in OF_HUNT:
        for of_g, weight_g in OF_HUNT:
            own = np.array([of_f, *[of_g] * len(_CARGOS), 0.0])
            for of_person, weight in OF_PERSON:
                rest = np.append(1.0 - own[:-1], 0.0)
                levels = (of_person * rest, (1.0 - of_person) * rest, own)
                result.append((levels, weight_f * weight_g * weight))
    return result


def _scaled(spread: Floats, share: Floats) -> Floats:
    side = np.sqrt(share)
    return np.asarray(spread * np.outer(side, side))


def _reaction() -> Floats:
    result = np.zeros((_STATES, _STATES))
    result[-1, -1] = REACTION_SD_S**2
    return result


def _states(plain: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """Return mean (5,) and covariance (5, 5) of a hunt's states; no reaction."""
    cargos = len(_CARGOS)
    mean = np.array([plain[0], *[plain[1]] * cargos, 0.0])
    spread = np.zeros((_STATES, _STATES))
    spread[0, 0] = covariance[0, 0]
    spread[0, 1:-1] = spread[1:-1, 0] = covariance[0, 1]
    tie = CARGO_TIE + (1.0 - CARGO_TIE) * np.eye(cargos)
    spread[1:-1, 1:-1] = covariance[1, 1] * tie
    return mean, spread


def _measured(
    told: Sequence[Known], mean: Floats, plain: Floats
) -> tuple[Floats, Floats, Floats, list[int]]:
    """Return rows of measurement, values about the mean, variances, and the lesson."""
    rows, values, noise, of = [], [], [], []
    for number, one in enumerate(told):
        states = np.zeros((2, _STATES))
        states[0, 0] = 1.0
        for cargo in one.lesson.cargos:
            states[1] += _seen_stay(cargo, float(np.exp(plain[1]))) / len(
                one.lesson.cargos
            )
        size, way = np.linalg.eigh(one.lesson.precision)
        for precision, along in zip(size, way.T, strict=True):
            if precision > _FLAT:
                row = along @ states
                rows.append(row)
                values.append(along @ one.lesson.weighted / precision - row @ mean)
                noise.append(1.0 / precision)
                of.append(number)
    return np.array(rows).reshape(-1, _STATES), np.array(values), np.array(noise), of


def _seen_stay(cargo: Cargo, usual: float) -> Floats:
    """Return how ln g of a cargo, as trips show it, hangs on the states."""
    row = np.zeros(_STATES)
    row[1 + _CARGOS.index(cargo)] = 1.0
    row[-1] = 1.0 / (usual * IN_HIVE_S[cargo])  # a second's share of the stay
    return row


def _nearness(places: list[tuple[float, float]], here: tuple[float, float]) -> Floats:
    """Return how much of their region each two places share, 0 to 1; `here` last."""
    from .frame import geodesic

    every = [*places, here]
    result = np.eye(len(every))
    for i, one in enumerate(every):
        for j, other in enumerate(every[:i]):
            apart_m, _ = geodesic(*one, *other)
            result[i, j] = result[j, i] = np.exp(-0.5 * (apart_m / REGION_M) ** 2)
    return result


def _foretold(mean: Floats, covariance: Floats, hunts: int, usual: float) -> OwnPrior:
    ln_g, ln_g_sd, correlation = {}, {}, {}
    sd_f = float(np.sqrt(covariance[0, 0]))
    for cargo in _CARGOS:
        row = _seen_stay(cargo, usual)
        ln_g[cargo] = float(row @ mean)
        ln_g_sd[cargo] = float(np.sqrt(row @ covariance @ row))
        correlation[cargo] = float(covariance[0] @ row / (sd_f * ln_g_sd[cargo]))
    return OwnPrior(
        ln_f=float(mean[0]),
        ln_f_sd=sd_f,
        ln_g=ln_g,
        ln_g_sd=ln_g_sd,
        correlation=correlation,
        reaction_s=(float(mean[-1]), float(np.sqrt(covariance[-1, -1]))),
        hunts=hunts,
    )


def learned_of(evidence: Evidence, grid: Grid) -> dict[str, tuple[float, float]]:
    """Return median and sd of the shared unknowns, given all of one colony's data."""
    likeliest = grid.inside(0.98)
    # A tenth of the cells says as much about four numbers as all of them.
    step = max(1, len(likeliest) // 300)
    chosen = likeliest[::step]
    share = grid.probability[chosen] / grid.probability[chosen].sum()
    shared = evidence.shared(grid.xy[chosen], share)
    case = evidence.case
    result = {}
    if evidence.has_times:
        times = shared.times
        result["flight_speed_factor"] = _summary(
            np.exp(case.time_nodes.ln_f), times.sum(axis=(1, 2))
        )
        result["in_hive_factor"] = _summary(
            np.exp(case.time_nodes.ln_g), times.sum(axis=(0, 2))
        )
        result["trip_spread"] = _summary(
            np.array([spread.sigma for spread in case.spreads]), times.sum(axis=(0, 1))
        )
    if evidence.has_lines:
        # Of several observers the one who read most; the others' are their own.
        read = np.bincount(case.bearing_observer[evidence.use_bearing])
        one = int(np.argmax(read))
        result["compass_offset_deg"] = _summary(
            np.degrees(case.line_nodes.offset_rad[one]), shared.offsets[one]
        )
        result["bearing_sd_deg"] = _summary(
            np.degrees(case.line_nodes.sd_rad), shared.scatter
        )
        result["station_line_sd_deg"] = _summary(
            np.degrees(case.line_nodes.station_rad), shared.scatter
        )
    return result


def _summary(nodes: Floats, weight: Floats) -> tuple[float, float]:
    values, place = np.unique(nodes, return_inverse=True)
    by_value = np.bincount(place, weights=weight) / weight.sum()
    mean = float(values @ by_value)
    sd = float(np.sqrt(max(0.0, (values - mean) ** 2 @ by_value)))
    total = np.cumsum(by_value)
    median = float(np.interp(0.5, total - 0.5 * by_value, values))
    return median, sd
