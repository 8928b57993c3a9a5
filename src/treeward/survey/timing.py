"""Away times to distance: how likely a bee's trips are, for every flight time.

One trip of a bee away for `a` seconds is

    a = F + h,   F = distance * (1 / v_out + 1 / v_home) / f,   h around m

with f the hunt's factor on flight speed and m the median in-hive time of that bee.
Around the median F + m the time scatters with the variance of flight and in-hive
time together and the skewness of a lognormal in-hive time (a shifted lognormal that
matches both, so that near hives give the skewed shape and far ones the normal one).
Mixed in are long stays (exponential excess), gaps that hold two or three trips with
loadings between them, and a broad share of times that mean nothing. The hint
`cycles` moves the mixture, it never decides.

All trips of one bee at one station thus come down to a table over (F, m), and, m
being spread lognormally about the hunt's in-hive factor g times the cargo's median,
to a table over (F, g). Cells of the map only look up; that is what makes it fast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .arrays import Bools, Floats, Ints
    from .records import Cargo
    from .settings import Settings

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
TRIP_SIGMA = 0.25  # of log in-hive time, trip to trip in one bee; guess
BEE_SIGMA = 0.20  # of log in-hive time, bee to bee in one hunt; guess
LOADING_SIGMA = 0.40  # of log loading time; guess
FLIGHT_CV = 0.05  # of flight time, trip to trip; guess
BEE_FLIGHT_CV = 0.04  # of flight time, bee to bee; guess
WIND_SD_PER_MPS = 0.02  # of log speed, per m/s of wind; guess
CLOCK_SD_S = 4.0  # speaking late about what was seen; guess
LONG_SHARE = 0.08  # of trips with a long stay in the hive; guess
LONG_MEAN_S = 400.0  # excess of a long stay; guess
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

_F_SPAN = (-4.2, 2.6, 12)  # nodes of log speed, in sd of the usual
_G_SPAN = (-2.8, 3.8, 13)  # nodes of log in-hive time
_F_STEP_S, _F_GROWTH = 4.0, 0.014  # nodes of F: 4 s apart, then 1.4 %
_M_NODES = np.exp(np.linspace(np.log(30.0), np.log(800.0), 24))


@dataclass(frozen=True, slots=True)
class TimeNodes:
    """Quadrature nodes of the shared unknowns of flight and hive, and their prior."""

    ln_f: Floats  # (nf,)
    ln_g: Floats  # (ng,)
    log_weight: Floats  # (2, nf, ng) for usual and poor hunts, sums to one


def shared_nodes(settings: Settings, wind_mps: float = 0.0) -> TimeNodes:
    """Return nodes and prior of the speed factor and the in-hive factor.

    Wind widens the prior on speed and does not shift it, since bees hold their
    ground speed in wind up to about 3 m/s (Wenner 1963).

    The usual prior is flat-topped about the medians (exp(-(z / 1.72)^4), whose
    standard deviation is the one given), since published means are spread evenly over
    their range. A share `POOR_SHARE` of hunts is poor: bees that fly slowly and also
    stay long in the hive (cool weather, a colony in little need), a compass read
    badly, more strays. Each alone would be unlikely; together they are one bad day.
    Slow flight and long stays both make a colony seem farther off than it is, and
    only calibration or more stations tell, so a prior without such days would be
    falsely sure.
    """
    speed_sd = np.hypot(settings.flight_speed_factor_sd, WIND_SD_PER_MPS * wind_mps)
    z_f = np.linspace(*_F_SPAN)
    z_g = np.linspace(*_G_SPAN)
    usual = np.outer(np.exp(-((z_f / 1.72) ** 4)), np.exp(-((z_g / 1.72) ** 4)))
    poor = np.outer(
        np.exp(-0.5 * ((z_f - SLOW_SPEED[0]) / SLOW_SPEED[1]) ** 2),
        np.exp(-0.5 * ((z_g - SLOW_HIVE[0]) / SLOW_HIVE[1]) ** 2),
    )
    weight = np.stack(
        [
            (1 - POOR_SHARE) * usual / usual.sum(),
            POOR_SHARE * poor / poor.sum(),
        ]
    )
    return TimeNodes(
        np.log(settings.flight_speed_factor) + z_f * speed_sd,
        np.log(settings.in_hive_factor) + z_g * settings.in_hive_factor_sd,
        np.log(weight + 1e-300),
    )


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


def trip_table(
    away_s: Floats,
    *,
    round_trip: Bools,
    rounding_s: Floats,
    cycles: Ints,
    loading_s: float,
    flight_s: Floats,
    wind_mps: float = 0.0,
) -> Floats:
    """Return the log likelihood of one bee's trips over (F, m).

    Parameters
    ----------
    away_s, round_trip, rounding_s, cycles
        (n,) trips, as in `records.Trips`.
    loading_s
        Median loading time of the cargo [s].
    flight_s
        (nF,) nodes of flight time.
    wind_mps
        Wind during these trips, which widens the flight time [m/s].

    Returns
    -------
    numpy.ndarray
        (nF, nm), m at the module's nodes of in-hive time.
    """
    table = np.zeros((flight_s.size, _M_NODES.size))
    flight_cv = float(np.hypot(FLIGHT_CV, WIND_SD_PER_MPS * wind_mps))
    outlier = 1.0 / np.log(OUTLIER_RANGE_S[1] / OUTLIER_RANGE_S[0])
    for kind in (0, 1):
        for width in np.unique(rounding_s[round_trip == kind]):
            shapes = [
                _shape(
                    flight_s,
                    cycles=n,
                    kind=kind,
                    loading_s=loading_s,
                    rounding_s=float(width),
                    flight_cv=flight_cv,
                )
                for n in (1, 2, 3)
            ]
            chosen = (round_trip == kind) & (rounding_s == width)
            pairs = np.stack([away_s[chosen], cycles[chosen]], axis=1)
            unique, counts = np.unique(pairs, axis=0, return_counts=True)
            for (a, hint), count in zip(unique, counts, strict=True):
                shares = CYCLE_SHARES[int(np.clip(hint, 1, 3))]
                density = sum(
                    share * _density(a, *shape)
                    for share, shape in zip(shares, shapes, strict=True)
                )
                density = (1 - LONG_SHARE) * density + LONG_SHARE * _long_density(
                    a, *shapes[0]
                )
                density = (1 - OUTLIER_SHARE) * density + OUTLIER_SHARE * outlier / a
                table += count * np.log(density)
    return table


def _shape(
    flight_s: Floats,
    *,
    cycles: int,
    kind: int,
    loading_s: float,
    rounding_s: float,
    flight_cv: float,
) -> tuple[Floats, Floats, Floats]:
    """Return median, sd and lognormal shape of a gap of so many trips, over (F, m)."""
    f, m = flight_s[:, None], _M_NODES[None, :]
    loads = cycles - 1 + kind
    hive_variance = (
        cycles * (TRIP_SIGMA * m) ** 2 + loads * (LOADING_SIGMA * loading_s) ** 2
    )
    variance = (
        hive_variance
        + cycles * (flight_cv * f) ** 2
        + 2 * CLOCK_SD_S**2
        + rounding_s**2 / 12.0
    )
    # Third moment of a lognormal with small sigma: 3 sigma (sigma m)^3.
    third = (
        cycles * TRIP_SIGMA * (TRIP_SIGMA * m) ** 3
        + loads * LOADING_SIGMA * (LOADING_SIGMA * loading_s) ** 3
    )
    sd = np.sqrt(variance)
    return cycles * (f + m) + loads * loading_s, sd, third / sd**3


def _density(a: float, median: Floats, sd: Floats, shape: Floats) -> Floats:
    """Return the density of a shifted lognormal of given sd and shape at `a`."""
    stretch = np.maximum(1.0 + shape * (a - median) / sd, 1e-12)
    z = np.log(stretch) / shape
    return np.asarray(np.exp(-0.5 * z * z) / (np.sqrt(2 * np.pi) * sd * stretch))


def _long_density(a: float, median: Floats, sd: Floats, _shape: Floats) -> Floats:
    """Return the density of a normal time with an exponential excess at `a`."""
    from scipy.special import ndtr

    rate = 1.0 / LONG_MEAN_S
    power = np.minimum(rate * (median - a) + 0.5 * (rate * sd) ** 2, 50.0)
    return np.asarray(rate * np.exp(power) * ndtr((a - median) / sd - rate * sd))


def bee_kernel(in_hive_s: float, ln_g: Floats, flight_s: Floats) -> Floats:
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
    z = (np.log(_M_NODES)[None, :, None] - centre[None, None, :]) / spread[:, None, :]
    weight = np.exp(-0.5 * z**2)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def over_bees(table: Floats, kernel: Floats) -> Floats:
    """Integrate a (nF, nm) table over m; return (nF, ng)."""
    top = table.max(axis=1, keepdims=True)
    likelihood = np.exp(table - top)[:, None, :] @ kernel
    return np.asarray(np.log(likelihood[:, 0, :] + 1e-300) + top)


def look_up(table: Floats, position: Floats) -> Floats:
    """Interpolate a table with rows at whole positions; (..., n columns)."""
    position = np.clip(position, 0.0, table.shape[0] - 1.000001)
    row = position.astype(np.intp)
    result = np.take(np.diff(table, axis=0), row, axis=0)
    result *= (position - row)[..., None]
    result += np.take(table, row, axis=0)
    return np.asarray(result)
