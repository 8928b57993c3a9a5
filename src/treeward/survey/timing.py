"""Away times to distance: how likely a bee's trips are, for every flight time.

One trip of a bee away for `a` seconds is

    a = F + h,   F = flight out and home,   h around m

with m the median in-hive time of that bee. Around the median F + m the time scatters
with the variance of flight and in-hive time together and the skewness of a lognormal
in-hive time (a shifted lognormal that matches both, so that near hives give the skewed
shape and far ones the normal one). Mixed in are long stays (exponential excess), gaps
that hold two or three trips with loadings between them, and a broad share of times
that mean nothing. The hint `cycles` moves the mixture, it never decides.

How much the in-hive time scatters from trip to trip is unknown, and so is whether long
stays are few and long or many and short. `Spread` is one pair of the two; a hunt has
one of them, each bee one near it, and the evidence is summed over all that are not far
below the best. The scatter is a share of the cargo's usual in-hive time and not of the
bee's own: else regular bees would be read as bees that stay briefly, and the colony put
too far off, and irregular ones drawn near. Flight times scatter along with it.

All trips of one bee at one station thus come down to a table over (spread, F, m), and,
m being spread lognormally about the hunt's in-hive factor g times the cargo's median,
to a table over (F, g, spread). Cells of the map only look up; that is what makes it
fast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .records import Cargo, Floats, Ints, OwnFactors, Settings

Table: TypeAlias = NDArray[np.float32]  # log likelihoods; 7 digits are plenty

IN_HIVE_S: dict[Cargo, float] = {  # medians [s] that the hunt's factor multiplies
    "water": 120.0,  # between 73 and 198 s implied by the published rules; guess
    "syrup": 150.0,  # common practice: unloading takes 2-3 minutes
    "nectar": 150.0,  # 116 s unloading (Seeley 1994) and the way to the dance floor
}
LOADING_S: dict[Cargo, float] = {
    "water": 50.0,  # common practice: 30-60 s
    "syrup": 75.0,  # 55 s pure ingestion (Wainselboim and Farina 2000), landing
    "nectar": 75.0,  # from a feeder, as syrup; guess
}
TRIP_SIGMAS = np.geomspace(0.08, 0.48, 7)  # of the usual in-hive time; guess
TRIP_SIGMA_MEDIAN = 0.22  # of the hunt's; guess
TRIP_SIGMA_SIGMA = 0.45  # of its logarithm, hunt to hunt; guess
TRIP_SIGMA_BY_BEE = (0.15, 0.70, 0.15)  # a bee's: a step lower, the same, higher; guess
LONG_STAYS = (  # share of trips, mean excess [s], weight; guesses
    (0.08, 400.0, 0.6),  # few and long
    (0.22, 120.0, 0.4),  # many and short
)
BEE_SIGMA = 0.22  # of log in-hive time, bee to bee in one hunt; guess
DAY_SIGMA = 0.15  # of log in-hive time, day to day in one colony; guess
LOADING_SIGMA = 0.40  # of log loading time; guess
FLIGHT_CV = 0.06  # of flight time, trip to trip, at the median spread; guess
BEE_FLIGHT_CV = 0.05  # of flight time, bee to bee; guess
WIND_SD_PER_MPS = 0.02  # of log speed, hunt to hunt, per m/s of wind; guess
WIND_CV_PER_MPS = 0.015  # of flight time, trip to trip, per m/s of wind; guess
CLOCK_SD_S = 4.0  # speaking late about what was seen; guess
OUTLIER_SHARE = 0.02  # of times that mean nothing; guess
OUTLIER_RANGE_S = (20.0, 14400.0)  # where those lie, uniform in the logarithm
CYCLE_SHARES = {  # hint -> share of gaps that hold 1, 2, 3 trips; guess
    1: (0.95, 0.04, 0.01),
    2: (0.25, 0.70, 0.05),
    3: (0.20, 0.20, 0.60),
}
POOR_SHARE = 0.18  # of hunts on which everything is worse at once; guess
SLOW_SPEED = (-2.2, 0.8)  # mean and sd, in sd of the usual: a factor about 0.82
SLOW_HIVE = (2.0, 0.7)  # the same of the in-hive time: a factor about 1.6
EAGER_SHARE = 0.12  # of usual hunts; guess
EAGER_HIVE = (-2.6, 0.8)  # mean and sd as above: a factor about 0.7; guess

LEAST_WIND_MPS = 1.5  # mean of a hunt; below, what bees make up for is nothing
_SHARE_OFF = 1.3  # the outer two of three nodes of that share, in standard deviations
_F_SPAN = (-4.2, 2.6, 9)  # nodes of log speed, in sd of the usual
_F_IN_WIND = 7  # of them for each share, where wind widens them
_G_SPAN = (-4.2, 3.8, 12)  # nodes of log in-hive time
_SAID_SPAN = (-3.3, 3.3, 13)  # of either, where the person gave a range
_F_STEP_S, _F_GROWTH = 4.0, 0.014  # nodes of F: 4 s apart, then 1.4 %
STAY_NODES_S = np.exp(np.linspace(np.log(30.0), np.log(800.0), 46))
_MANY_SIGMAS = 5  # kept by few trips: see `worth_while`
_WORTH = 8.0  # nats below the best spread, a spread is left out


@dataclass(frozen=True, slots=True)
class Spread:
    """How in-hive times scatter in one hunt."""

    sigma: float  # from trip to trip in one bee, as a share of the usual in-hive time
    long_share: float  # of trips with a long stay
    long_mean_s: float  # its excess


def spreads() -> tuple[tuple[Spread, ...], Floats]:
    """Return all spreads and their log prior; long stays vary fastest."""
    prior = np.exp(
        -0.5 * (np.log(TRIP_SIGMAS / TRIP_SIGMA_MEDIAN) / TRIP_SIGMA_SIGMA) ** 2
    )
    weight = np.outer(prior, [w for *_, w in LONG_STAYS]).ravel()
    every = tuple(
        Spread(float(sigma), share, mean)
        for sigma in TRIP_SIGMAS
        for share, mean, _ in LONG_STAYS
    )
    return every, np.log(weight / weight.sum())


@dataclass(frozen=True, slots=True)
class TimeNodes:
    """Quadrature nodes of the shared unknowns of flight and hive, and their prior."""

    ln_f: Floats  # (nf,) log factor on published flight speed, both ways together
    slow_out: Floats  # (nf,) factor on the time from hive to station
    slow_home: Floats  # (nf,) on the time from station to hive
    compensation: (
        Floats  # (nf,) share of the wind along its way that a bee makes up for
    )
    ln_g: Floats  # (ng,)
    log_weight: Floats  # (2, nf, ng, nk) for usual and poor hunts, sums to one


def shared_nodes(
    settings: Settings, wind_mps: float = 0.0, log_spread: Floats | None = None
) -> TimeNodes:
    """Return nodes and prior of the speed factor and the in-hive factor.

    Wind widens the prior on speed, and where it blows, how much of it bees make up for
    is unknown: each node of speed is there once for each share. What wind does on each
    leg is `places.Place`'s.

    The usual prior is flat-topped about the medians (exp(-(z / 1.72)^4), whose
    standard deviation is the one given), since published means are spread evenly over
    their range. A share `POOR_SHARE` of hunts is poor: bees that fly slowly and also
    stay long in the hive (cool weather, a colony in little need), a compass read
    badly, more strays. Each alone would be unlikely; together they are one bad day.
    In a share `EAGER_SHARE` of usual hunts the colony wants what its bees bring and
    unloads them at once: the 42 s that Visscher and Seeley's 5 minutes to 900 m leave.
    Slow flight and long stays both make a colony seem farther off than it is, and
    only calibration or more stations tell, so a prior without such days would be
    falsely sure.

    Where the person gave a range (`flight_speed_out_sd`, `flight_speed_home_sd`,
    `in_hive_s`), that is a lognormal and stays so on poor days: 90 % of the prior
    lies in a 90 % range. What own hunts taught (`learned`) tilts what is not given so:
    the plain prior times their normal distribution over the plain prior's own. In wind
    they are widened as it is.

    Parameters
    ----------
    settings
        Medians and spreads.
    wind_mps
        Mean wind of the hunt [m/s].
    log_spread
        (nk,) log prior of the spreads in use; one spread if left out.
    """
    blown = WIND_SD_PER_MPS * wind_mps
    said_speed = (
        settings.flight_speed_out_sd is not None
        or settings.flight_speed_home_sd is not None
    )
    makes_up, of_share = _compensation(settings, wind_mps)
    span = _F_SPAN if len(of_share) == 1 else (*_F_SPAN[:2], _F_IN_WIND)
    z_f = np.linspace(*(_SAID_SPAN if said_speed else span))
    said_stay = bool(settings.in_hive_s)
    z_g = np.linspace(*(_SAID_SPAN if said_stay else _G_SPAN))

    def leg(sd: float | None) -> Floats:
        if sd is not None:  # the leg's own median and spread, as the person gave them
            return np.asarray(np.exp(-z_f * np.hypot(sd, blown)))
        spread = np.hypot(settings.flight_speed_factor_sd, blown)
        return np.asarray(np.exp(-z_f * spread) / settings.flight_speed_factor)

    slow_out = leg(settings.flight_speed_out_sd)
    slow_home = leg(settings.flight_speed_home_sd)
    out, home = settings.flight_speed_out_mps, settings.flight_speed_home_mps
    both = (slow_out / out + slow_home / home) / (1 / out + 1 / home)

    weight = _usual_and_poor(z_f, z_g, said_speed=said_speed, said_stay=said_stay)
    ln_f = -np.log(both)
    ln_g = np.log(settings.in_hive_factor) + z_g * settings.in_hive_factor_sd
    if settings.learned is not None:
        weight *= _tilt(
            weight.sum(axis=0),
            (ln_f, ln_g),
            _in_wind(settings.learned, weight.sum(axis=(0, 2)), ln_f, settings, blown),
            use=(not said_speed, not said_stay),
        )
        weight /= weight.sum()
    by_spread = np.zeros(1) if log_spread is None else log_spread
    weight = np.concatenate([share * weight for share in of_share], axis=1)
    return TimeNodes(
        np.tile(ln_f, of_share.size),
        np.tile(slow_out, of_share.size),
        np.tile(slow_home, of_share.size),
        np.repeat(makes_up, z_f.size),
        ln_g,
        np.log(weight + 1e-300)[..., None] + by_spread,
    )


def _usual_and_poor(
    z_f: Floats, z_g: Floats, *, said_speed: bool, said_stay: bool
) -> Floats:
    """Return (2, nf, ng) prior weights of usual and of poor hunts, together one.

    What the person said of speed or stay is normal on either kind of day.
    """

    def usual(z: Floats) -> Floats:
        shape = np.exp(-((z / 1.72) ** 4))
        return np.asarray(shape / shape.sum())

    def about(z: Floats, middle: tuple[float, float]) -> Floats:
        shape = np.exp(-0.5 * ((z - middle[0]) / middle[1]) ** 2)
        return np.asarray(shape / shape.sum())

    of_f, of_g = [about(z_f, (0.0, 1.0))] * 2, [about(z_g, (0.0, 1.0))] * 2
    if not said_speed:
        of_f = [usual(z_f), about(z_f, SLOW_SPEED)]
    if not said_stay:
        eager = EAGER_SHARE * about(z_g, EAGER_HIVE) + (1 - EAGER_SHARE) * usual(z_g)
        of_g = [eager, about(z_g, SLOW_HIVE)]
    return np.stack(
        [
            (1 - POOR_SHARE) * np.outer(of_f[0], of_g[0]),
            POOR_SHARE * np.outer(of_f[1], of_g[1]),
        ]
    )


def _compensation(settings: Settings, wind_mps: float) -> tuple[Floats, Floats]:
    """Return nodes of the share of wind that bees make up for, and their prior."""
    usual = settings.wind_compensation
    if wind_mps < LEAST_WIND_MPS:
        return np.array([usual]), np.ones(1)
    off = _SHARE_OFF * settings.wind_compensation_sd * np.array([-1.0, 0.0, 1.0])
    side = 0.5 / _SHARE_OFF**2  # so that the three have that standard deviation
    return np.clip(usual + off, 0.0, 1.0), np.array([side, 1 - 2 * side, side])


def _in_wind(
    learned: OwnFactors,
    weight: Floats,
    ln_f: Floats,
    settings: Settings,
    blown: float,
) -> OwnFactors:
    """Return what own hunts taught, widened on speed as wind widens the plain prior.

    They taught the speed in a calm; what a day's wind adds is as unknown as before.
    """
    of_wind = blown**2 / (settings.flight_speed_factor_sd**2 + blown**2)
    share = weight / weight.sum()
    mean = float(share @ ln_f)
    added = of_wind * float(share @ (ln_f - mean) ** 2)
    # Slow days are more so in wind, which moves the mean off the median.
    moved = (mean - np.log(settings.flight_speed_factor)) * (1 - np.sqrt(1 - of_wind))
    return replace(
        learned,
        ln_f=learned.ln_f + float(moved),
        ln_f_sd=float(np.hypot(learned.ln_f_sd, np.sqrt(added))),
    )


def _tilt(
    weight: Floats,
    nodes: tuple[Floats, Floats],
    learned: OwnFactors,
    *,
    use: tuple[bool, bool],
) -> Floats:
    """Return (nf, ng) factors that turn a prior into what own hunts taught.

    Parameters
    ----------
    weight
        (nf, ng) of the prior.
    nodes
        ln f and ln g.
    learned
        Their normal distribution.
    use
        Which of the two it says anything of.
    """
    chosen = [axis for axis in (0, 1) if use[axis]]
    if not chosen:
        return np.ones_like(weight)
    x = np.stack(np.meshgrid(*nodes, indexing="ij"))[chosen].reshape(len(chosen), -1)
    share = weight.ravel() / weight.sum()
    plain = x @ share
    off = x - plain[:, None]
    before = (off * share) @ off.T
    sd = np.array([learned.ln_f_sd, learned.ln_g_sd])
    after = np.outer(sd, sd)
    after[0, 1] = after[1, 0] = after[0, 1] * learned.correlation
    expected = np.array([learned.ln_f, learned.ln_g])[chosen]
    log_ratio = np.zeros(x.shape[1])
    for sign, about, spread in (
        (1, expected, after[np.ix_(chosen, chosen)]),
        (-1, plain, before),
    ):
        z = x - about[:, None]
        log_ratio -= 0.5 * sign * np.einsum("in,in->n", z, np.linalg.solve(spread, z))
    return np.asarray(np.exp(log_ratio - log_ratio.max()).reshape(weight.shape))


def in_hive_median_s(cargo: Cargo, settings: Settings) -> float:
    """Return the in-hive time [s] that the factor g multiplies.

    An override is the median itself, so it is divided by the factor's median.
    """
    if cargo in settings.in_hive_s:
        return settings.in_hive_s[cargo] / settings.in_hive_factor
    return IN_HIVE_S[cargo]


def flight_nodes(longest_s: float) -> Floats:
    """Return the nodes of flight time F [s] from 0 to at least `longest_s`."""
    count = int(np.ceil(np.log1p(_F_GROWTH * longest_s / _F_STEP_S) / _F_GROWTH)) + 2
    steps = np.arange(count)
    return np.asarray(_F_STEP_S / _F_GROWTH * np.expm1(_F_GROWTH * steps))


def flight_position(flight_s: Floats) -> Floats:
    """Return where flight times fall among `flight_nodes`, as a fractional index."""
    return np.asarray(np.log1p(_F_GROWTH * flight_s / _F_STEP_S) / _F_GROWTH)


def worth_while(tables: Sequence[Table], log_prior: Floats) -> Ints:
    """Return the spreads that some trips speak for, given coarse tables.

    Each bee is fitted at the distance and in-hive time that suit it best, so that this
    judges the scatter alone and no place.

    Parameters
    ----------
    tables
        (nk, nF, nm) for each bee and place, of all spreads.
    log_prior
        (nk,) of the spreads.
    """
    if not tables:
        return np.array([int(np.argmax(log_prior))])
    total = log_prior.copy()
    for table in tables:
        total += table.max(axis=(1, 2))
    kept = np.flatnonzero(total > total.max() - _WORTH)
    # Few trips hardly tell one spread from the next: every second will do.
    sigma = kept // len(LONG_STAYS)
    if len(np.unique(sigma)) > _MANY_SIGMAS:
        kept = kept[(sigma - sigma[0]) % 2 == 0]
    return kept


def near_bees(hunts: Sequence[Spread], bees: Sequence[Spread]) -> Floats:
    """Return (nk, nb) shares: of bees with a spread, in a hunt with a spread."""
    step = np.log(TRIP_SIGMAS[1] / TRIP_SIGMAS[0])
    lower, same, higher = TRIP_SIGMA_BY_BEE
    share = np.zeros((len(hunts), len(bees)))
    for i, hunt in enumerate(hunts):
        for j, bee in enumerate(bees):
            if bee.long_mean_s == hunt.long_mean_s:
                steps = round(float(np.log(bee.sigma / hunt.sigma) / step))
                share[i, j] = {-1: lower, 0: same, 1: higher}.get(steps, 0.0)
    return np.asarray(share / share.sum(axis=1, keepdims=True))


def bee_kernel(in_hive_s: float, ln_g: Floats, flight_s: Floats) -> Table:
    """Return the spread of a bee's m about g times the cargo's median.

    The differences in flight speed between bees are carried along: they shift the
    away time as a longer stay would, by `BEE_FLIGHT_CV` of the flight time.

    Returns
    -------
    numpy.ndarray
        (nF, nm, ng), sums to one over m.
    """
    centre = np.log(in_hive_s) + ln_g
    spread = np.sqrt(
        BEE_SIGMA**2
        + (BEE_FLIGHT_CV * flight_s[:, None] / np.exp(centre)[None, :]) ** 2
    )
    z = (np.log(STAY_NODES_S)[None, :, None] - centre[None, None, :]) / spread[
        :, None, :
    ]
    weight = np.exp(-0.5 * z**2)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True), dtype=np.float32)


def over_bees(table: Table, kernel: Table, near: Floats) -> Table:
    """Integrate one bee's (nb, nF, nm) table over m and its own spread.

    Returns
    -------
    numpy.ndarray
        (nF, ng, nk).
    """
    top = table.max(axis=(0, 2))
    likelihood = np.exp(table - top[None, :, None]).transpose(1, 0, 2) @ kernel
    mixed = np.einsum("fig,ki->fgk", likelihood, near.astype(np.float32), optimize=True)
    return np.asarray(np.log(mixed + np.float32(1e-37)) + top[:, None, None])


def look_up(table: Table, position: Floats) -> Table:
    """Interpolate a table with rows at whole positions; (..., n columns)."""
    position = np.clip(position, 0.0, table.shape[0] - 1.000001)
    row = position.astype(np.intp)
    result = np.take(np.diff(table, axis=0), row, axis=0)
    result *= (position - row)[..., None].astype(table.dtype)
    result += np.take(table, row, axis=0)
    return np.asarray(result)


def pair_table(one: Table, other: Table, kernel: Table, near: Floats) -> Table:
    """Integrate a bee's trips at two places over its one in-hive time and spread.

    Parameters
    ----------
    one, other
        (nb, nF, nm) tables of its trips at either place.
    kernel
        (nm, ng) spread of its in-hive time.
    near
        (nk, nb) shares of bees with a spread, in a hunt with a spread.

    Returns
    -------
    numpy.ndarray
        (rows, rows, ng, nk) over flight time to either place; beyond the last row,
        which no trip reaches, it stays as it is there.
    """
    one, other = _reached(one), _reached(other)
    result = np.empty(
        (one.shape[1], other.shape[1], kernel.shape[1], len(near)), dtype=np.float32
    )
    shares = near.astype(np.float32)
    for row in range(one.shape[1]):
        # (nb, nF, nm) over m, then over the bee's own spread.
        both = other + one[:, row][:, None, :]
        top = both.max(axis=2).max(axis=0)
        both -= top[:, None]
        likelihood = np.exp(both, out=both) @ kernel
        mixed = np.tensordot(likelihood, shares, axes=([0], [1]))
        result[row] = np.log(mixed + np.float32(1e-37)) + top[:, None, None]
    return result


def _reached(table: Table) -> Table:
    """Return a table without the rows of F that no trip reaches, but one."""
    differs = (table != table[:, -1:]).any(axis=(0, 2))
    return table[:, : int(np.flatnonzero(np.append(True, differs))[-1]) + 1]


def look_up_pair(table: Table, one: Floats, other: Floats) -> Table:
    """Interpolate a pair's table at two fractional rows; (..., ng, nk)."""
    flat = table.reshape(table.shape[0] * table.shape[1], -1)
    rows = []
    for position, count in ((one, table.shape[0]), (other, table.shape[1])):
        at = np.clip(position, 0.0, max(count - 1.000001, 0.0))
        row = at.astype(np.intp)
        part = (at - row).astype(np.float32)[..., None]
        rows.append(((row, 1 - part), (np.minimum(row + 1, count - 1), part)))
    result: Table | None = None
    for row, share in rows[0]:
        for column, part in rows[1]:
            value = np.take(flat, row * table.shape[1] + column, axis=0)
            value *= share * part
            result = value if result is None else np.add(result, value, out=result)
    return np.asarray(result).reshape(*one.shape, *table.shape[2:])
