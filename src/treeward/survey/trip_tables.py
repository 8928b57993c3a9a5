"""How likely trips are, for every flight time, in-hive time and spread: the tables.

The shapes are those of `timing`; here they are worked out for all trips of a cargo at
once, each time that was said only once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .timing import (
    CLOCK_SD_S,
    CYCLE_SHARES,
    FLIGHT_CV,
    LOADING_SIGMA,
    OUTLIER_RANGE_S,
    OUTLIER_SHARE,
    STAY_NODES_S,
    TRIP_SIGMA_MEDIAN,
    WIND_CV_PER_MPS,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .records import Bools, Floats, Ints
    from .timing import Spread, Table

_REACH_SD = 8.0  # from its median, a trip's density is nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaps:
    """Trips of one cargo, by whom; n of them."""

    away_s: Floats
    round_trip: Bools
    rounding_s: Floats
    cycles: Ints
    owner: Ints  # whose table it goes into, 0 to owners - 1
    owners: int

    def distinct(self) -> tuple[Floats, list[tuple[Ints, Ints]]]:
        """Return the trips, each that was said alike once, and whose it is how often.

        Returns
        -------
        tuple
            (m, 4) kind, rounding [s], away time [s], trips in it; and for each of the
            m its owners, and how many such trips each has.
        """
        rows = np.stack(
            [
                self.round_trip.astype(np.float64),
                self.rounding_s,
                self.away_s,
                np.clip(self.cycles, 1, 3).astype(np.float64),
            ],
            axis=1,
        )
        found, place = np.unique(rows, axis=0, return_inverse=True)
        place = np.ravel(place)
        return found, [
            np.unique(self.owner[place == i], return_counts=True)
            for i in range(len(found))
        ]


def trip_tables(
    gaps: Gaps,
    *,
    loading_s: float,
    stay_s: float,
    flight_s: Floats,
    of: Sequence[Spread],
    wind_mps: float = 0.0,
    every_m: int = 1,
) -> Table:
    """Return the log likelihood of trips over (owner, spread, F, m).

    Times said alike by several bees are worked out once.

    Parameters
    ----------
    gaps
        The trips.
    loading_s
        Median loading time of the cargo [s].
    stay_s
        Usual in-hive time of the cargo, that spreads are shares of [s].
    flight_s
        (nF,) nodes of flight time.
    of
        (nk,) spreads.
    wind_mps
        Wind during these trips, which widens the flight time [m/s].
    every_m
        Only each so-manieth node of in-hive time.

    Returns
    -------
    numpy.ndarray
        (owners, nk, nF, nm), m at the module's nodes of in-hive time.
    """
    stays_s = STAY_NODES_S[::every_m]
    tables = np.zeros((gaps.owners, len(of), flight_s.size, stays_s.size), np.float32)
    distinct, owned = gaps.distinct()
    for sigma in dict.fromkeys(spread.sigma for spread in of):
        mine = [k for k, spread in enumerate(of) if spread.sigma == sigma]
        shapes: dict[tuple[float, float], list[_Shape]] = {}
        # Regular bees fly regularly too, in wind as well: else far off would be ruled
        # out for them.
        flight_cv = float(np.hypot(FLIGHT_CV, WIND_CV_PER_MPS * wind_mps))
        flight_cv *= sigma / TRIP_SIGMA_MEDIAN
        for (kind, width, away, hint), (owners, counts) in zip(
            distinct, owned, strict=True
        ):
            if (kind, width) not in shapes:
                shapes[kind, width] = [
                    _Shape.of_gap(
                        flight_s,
                        stays_s,
                        usual_s=stay_s,
                        sigma=sigma,
                        cycles=n,
                        kind=int(kind),
                        loading_s=loading_s,
                        rounding_s=float(width),
                        flight_cv=flight_cv,
                    )
                    for n in (1, 2, 3)
                ]
            logs = _log_density(
                float(away), int(hint), shapes[kind, width], [of[k] for k in mine]
            )
            for k, (value, floor) in zip(mine, logs, strict=True):
                near = len(value)
                for owner, count in zip(owners, counts, strict=True):
                    tables[owner, k, :near] += count * value
                    tables[owner, k, near:] += np.float32(count * floor)
    return tables


def _log_density(
    away: float, hint: int, shapes: list[_Shape], of: list[Spread]
) -> list[tuple[Table, float]]:
    """Return the log density of one gap over near F and m, and beyond, by spread."""
    broad = OUTLIER_SHARE / np.log(OUTLIER_RANGE_S[1] / OUTLIER_RANGE_S[0]) / away
    usual = np.zeros_like(shapes[0].median[: shapes[0].reach(away)])
    for share, shape in zip(CYCLE_SHARES[hint], shapes, strict=True):
        near = min(shape.reach(away), len(usual))
        usual[:near] += np.float32(share) * shape.density(away, near)
    result = []
    for spread in of:
        long_ = shapes[0].long_density(away, len(usual), spread.long_mean_s)
        density = (1 - spread.long_share) * usual + spread.long_share * long_
        density *= np.float32(1 - OUTLIER_SHARE)
        density += np.float32(broad)
        result.append((np.log(density), float(np.log(broad))))
    return result


@dataclass(frozen=True, slots=True)
class _Shape:
    """Median, sd and lognormal shape of a gap of so many trips, over (F, m)."""

    median: Table
    sd: Table
    shape: Table

    @classmethod
    def of_gap(
        cls,
        flight_s: Floats,
        stays_s: Floats,
        *,
        usual_s: float,
        sigma: float,
        cycles: int,
        kind: int,
        loading_s: float,
        rounding_s: float,
        flight_cv: float,
    ) -> _Shape:
        """Return the shape of a gap; kind 0 away to back, 1 landing to landing."""
        f, m = flight_s[:, None], stays_s[None, :]
        loads = cycles - 1 + kind
        hive_variance = (
            cycles * (sigma * usual_s) ** 2 + loads * (LOADING_SIGMA * loading_s) ** 2
        )
        variance = (
            hive_variance
            + cycles * (flight_cv * f) ** 2
            + 2 * CLOCK_SD_S**2
            + rounding_s**2 / 12.0
        )
        # Third moment of a lognormal with small sigma: 3 sigma (sigma m)^3.
        third = (
            cycles * sigma * (sigma * usual_s) ** 3
            + loads * LOADING_SIGMA * (LOADING_SIGMA * loading_s) ** 3
        )
        sd = np.broadcast_to(np.sqrt(variance), np.broadcast_shapes(f.shape, m.shape))
        return cls(
            (cycles * (f + m) + loads * loading_s).astype(np.float32),
            sd.astype(np.float32),
            (third / sd**3).astype(np.float32),
        )

    def reach(self, away: float) -> int:
        """Return how many rows of F, from the first, may hold a gap of this length."""
        least = self.median[:, 0] - _REACH_SD * self.sd[:, 0]
        return max(1, int(np.searchsorted(np.maximum.accumulate(least), away)))

    def density(self, away: float, near: int) -> Table:
        """Return the density of a shifted lognormal of given sd and shape."""
        sd, shape = self.sd[:near], self.shape[:near]
        stretch = 1 + shape * (np.float32(away) - self.median[:near]) / sd
        stretch = np.maximum(stretch, np.float32(1e-12))
        z = np.log(stretch) / shape
        z *= z
        z *= np.float32(-0.5)
        return np.asarray(np.exp(z) / (np.float32(np.sqrt(2 * np.pi)) * sd * stretch))

    def long_density(self, away: float, near: int, mean_s: float) -> Table:
        """Return the density of a normal time with an exponential excess."""
        sd = self.sd[:near]
        rate = np.float32(1.0 / mean_s)
        late = np.float32(away) - self.median[:near]
        power = np.minimum(rate * (0.5 * rate * sd * sd - late), np.float32(50.0))
        return np.asarray(rate * np.exp(power) * _below(late / sd - rate * sd))


def _below(z: Table) -> Table:
    """Return the normal distribution function, to 1.4e-4.

    Bowling et al. 2009, J. Ind. Eng. Manag. 2:114-127 (a logistic function of a
    cubic); ten times as fast as the exact one, which a check stands beside.
    """
    z = np.clip(z, np.float32(-9.0), np.float32(9.0))
    return np.asarray(1 / (1 + np.exp(-z * (np.float32(1.5976) + 0.07056 * z * z))))
