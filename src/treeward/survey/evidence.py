"""What the bees of one colony say about every place on the map.

`Case` is a hunt in the local frame; `Evidence` is the log posterior density of one
group of bees over places. Times and bearings share no unknown but the place and the
kind of hunt, so

    p(place | data) ~ prior(place) * sum over kinds of hunt of T(place) * B(place).

The kinds are usual and poor ones (see `timing.shared_nodes`). T is integrated over
flight speed factor, in-hive factor and each bee's own in-hive time, B over compass
offset, spread and share of strays, all by quadrature on fixed nodes: equal steps,
where the trapezoid rule is exact to many digits as long as the step stays below
about two standard deviations of what is integrated.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from . import lines, timing
from .arrays import Bools, Floats, Ints, integrate_nodes, log_sum_exp

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .records import Cargo
    from .settings import Settings

HELD_WIND_MPS = 3.0  # bees hold their ground speed in wind up to this; Wenner 1963
_BLOCK = 256  # places at a time, so that the work stays in the cache
_SLOWEST_MPS = 2.0  # no bee makes less way than this and still comes back; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A station under one wind: where a flight time belongs to."""

    x_m: float
    y_m: float
    cargo: Cargo
    wind_mps: float = 0.0
    wind_from_rad: float = np.nan

    def flight_s(self, xy: Floats, settings: Settings) -> Floats:
        """Return the flight time out and home to each of (n, 2) places [s]."""
        east, north = xy[:, 0] - self.x_m, xy[:, 1] - self.y_m
        distance = np.hypot(east, north)
        excess = max(0.0, self.wind_mps - HELD_WIND_MPS)
        out, home = settings.flight_speed_out_mps, settings.flight_speed_home_mps
        if excess == 0.0 or np.isnan(self.wind_from_rad):
            return np.asarray(distance * (1.0 / out + 1.0 / home))
        head = excess * np.cos(np.arctan2(east, north) - self.wind_from_rad)
        return np.asarray(
            distance / np.maximum(out - head, _SLOWEST_MPS)
            + distance / np.maximum(home + head, _SLOWEST_MPS)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BeeTimes:
    """The trips of one bee with one cargo, as tables over (F, m)."""

    bee: int
    cargo: Cargo
    places: tuple[int, ...]
    tables: tuple[Floats, ...]  # one (nF, nm) for each place
    trips: int
    usual_s: float  # a typical away time, for the spread between bees


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A hunt in the local frame, with everything that does not depend on grouping."""

    settings: Settings
    station_xy: Floats  # (S, 2)
    origin_xy: Floats  # (2,) the station where lining began
    places: tuple[Place, ...]
    times: tuple[BeeTimes, ...]
    flight_nodes_s: Floats
    time_nodes: timing.TimeNodes
    line_nodes: lines.LineNodes
    bearing_bee: Ints
    bearing_station: Ints
    bearing_rad: Floats
    rounding_rad: Floats

    def log_prior(self, xy: Floats) -> Floats:
        """Return the log prior density over the map [1/m^2]; -inf beyond the cut."""
        distance = np.hypot(*(xy - self.origin_xy).T)
        r = np.maximum(distance, 1.0)
        s = self.settings
        z = np.log(r / s.distance_median_m) / s.distance_sigma
        # Lognormal in r has a 1/r of its own; the other spreads it round the circle.
        value = -0.5 * z**2 - 2.0 * np.log(r)
        return np.where(distance <= s.distance_cut_m, value, -np.inf)


@dataclass(slots=True)
class Evidence:
    """Log posterior of one group of bees over places, up to a constant."""

    case: Case
    bees: frozenset[int]
    use_bearing: Bools  # (B,) of the case
    _by_place: dict[int, Floats] = field(init=False, default_factory=dict)
    _moving: list[tuple[BeeTimes, Floats]] = field(init=False, default_factory=list)
    _by_station: dict[int, Floats] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Add up the tables of the group."""
        case = self.case
        nodes = case.time_nodes
        kernels: dict[str, Floats] = {}
        for times in case.times:
            if times.bee not in self.bees:
                continue
            base = timing.in_hive_median_s(times.cargo, case.settings)
            if len(times.places) == 1:
                if times.cargo not in kernels:
                    kernels[times.cargo] = timing.bee_kernel(
                        base, nodes.ln_g, case.flight_nodes_s
                    )
                table = timing.over_bees(times.tables[0], kernels[times.cargo])
                place = times.places[0]
                self._by_place[place] = self._by_place.get(place, 0.0) + table
            else:
                # One in-hive time at all its stations: integrated cell by cell.
                flight = max(0.0, times.usual_s - base)
                kernel = timing.bee_kernel(base, nodes.ln_g, np.array([flight]))[0]
                self._moving.append((times, kernel))
        used = np.flatnonzero(self.use_bearing)
        for station in np.unique(case.bearing_station[used]):
            own = used[case.bearing_station[used] == station]
            self._by_station[int(station)] = lines.line_table(
                case.bearing_rad[own], case.rounding_rad[own], case.line_nodes
            )

    @property
    def has_times(self) -> bool:
        """Whether any trip says something about distance."""
        return bool(self._by_place or self._moving)

    @property
    def has_lines(self) -> bool:
        """Whether any bearing says something about direction."""
        return bool(self._by_station)

    def times_by_node(self, xy: Floats) -> Floats:
        """Return the log likelihood of the trips at (n, 2) places; (n, nf, ng)."""
        case, nodes = self.case, self.case.time_nodes
        total = np.zeros((len(xy), nodes.ln_f.size, nodes.ln_g.size))
        slower = np.exp(-nodes.ln_f)[None, :]

        def position(place: int) -> Floats:
            flight = case.places[place].flight_s(xy, case.settings)
            return timing.flight_position(flight[:, None] * slower)

        for place, table in self._by_place.items():
            total += timing.look_up(table, position(place))
        for times, kernel in self._moving:
            by_m = sum(
                timing.look_up(table, position(place))
                for place, table in zip(times.places, times.tables, strict=True)
            )
            top = np.max(by_m, axis=2, keepdims=True)
            total += np.log(np.exp(by_m - top) @ kernel + 1e-300) + top
        return total

    def lines_by_node(self, xy: Floats) -> Floats:
        """Return the log likelihood of the bearings at (n, 2) places; (n, no, ns)."""
        nodes = self.case.line_nodes
        total = np.zeros((len(xy), nodes.offset_rad.size, nodes.sd_rad.size))
        for station, table in self._by_station.items():
            east, north = (xy - self.case.station_xy[station]).T
            direction = np.arctan2(east, north)[:, None] + nodes.offset_rad[None, :]
            total += timing.look_up(table, lines.direction_position(direction))
        return total

    def log_density(self, xy: Floats) -> Floats:
        """Return the log posterior density at (n, 2) places, up to a constant."""
        result = self.case.log_prior(xy)
        possible = np.flatnonzero(np.isfinite(result))
        for start in range(0, len(possible), _BLOCK):
            block = possible[start : start + _BLOCK]
            by_kind = self._times_by_kind(xy[block]) + self._lines_by_kind(xy[block])
            result[block] += log_sum_exp(by_kind, axis=1)
        return result

    def _times_by_kind(self, xy: Floats) -> Floats:
        """Return the evidence of the trips in usual and in poor hunts; (n, 2)."""
        weight = self.case.time_nodes.log_weight
        if not self.has_times:
            return np.broadcast_to(log_sum_exp(weight, axis=(1, 2)), (len(xy), 2))
        return integrate_nodes(self.times_by_node(xy), weight)

    def _lines_by_kind(self, xy: Floats) -> Floats:
        """Return the evidence of the bearings in usual and in poor hunts; (n, 2)."""
        weight = self.case.line_nodes.log_weight
        if not self.has_lines:
            return np.broadcast_to(log_sum_exp(weight, axis=(1, 2)), (len(xy), 2))
        return integrate_nodes(self.lines_by_node(xy), weight)

    def shared(self, xy: Floats, probability: Floats) -> tuple[Floats, Floats]:
        """Return the posterior weights of the shared unknowns.

        Parameters
        ----------
        xy, probability
            (n, 2) places and (n,) their probability.

        Returns
        -------
        tuple
            (nf, ng) weights of the time nodes, (no, ns) weights of the line nodes.
        """
        times, of_lines = self._times_by_kind(xy), self._lines_by_kind(xy)
        kind = times + of_lines
        share = np.exp(kind - log_sum_exp(kind, axis=1)[:, None])
        share *= probability[:, None]

        def weigh(by_node: Floats, log_weight: Floats, total: Floats) -> Floats:
            posterior = np.zeros(log_weight.shape[1:])
            for k in range(2):
                value = by_node + log_weight[k] - total[:, k, None, None]
                posterior += np.einsum("n,nij->ij", share[:, k], np.exp(value))
            return posterior

        return (
            weigh(self.times_by_node(xy), self.case.time_nodes.log_weight, times),
            weigh(self.lines_by_node(xy), self.case.line_nodes.log_weight, of_lines),
        )


def bee_tables(
    case_places: Sequence[Place],
    bee: int,
    *,
    trip_place: Ints,
    away_s: Floats,
    round_trip: Bools,
    rounding_s: Floats,
    cycles: Ints,
    flight_nodes_s: Floats,
) -> list[BeeTimes]:
    """Return one bee's trips as tables, one `BeeTimes` for each cargo."""
    result: list[BeeTimes] = []
    cargos = sorted({case_places[p].cargo for p in np.unique(trip_place)})
    for cargo in cargos:
        places = [
            int(p) for p in np.unique(trip_place) if case_places[p].cargo == cargo
        ]
        tables = []
        for place in places:
            own = trip_place == place
            tables.append(
                timing.trip_table(
                    away_s[own],
                    round_trip=round_trip[own],
                    rounding_s=rounding_s[own],
                    cycles=cycles[own],
                    loading_s=timing.LOADING_S[cargo],
                    flight_s=flight_nodes_s,
                    wind_mps=case_places[place].wind_mps,
                )
            )
        chosen = np.isin(trip_place, places)
        result.append(
            BeeTimes(
                bee=bee,
                cargo=cargo,
                places=tuple(places),
                tables=tuple(tables),
                trips=int(chosen.sum()),
                usual_s=float(np.quantile(away_s[chosen], 0.3)),
            )
        )
    return result
