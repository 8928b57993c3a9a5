"""What the bees of one colony say about every place on the map.

`Case` is a hunt in the local frame; `Evidence` is the log posterior density of one
group of bees over places. Times and bearings share no unknown but the place and the
kind of hunt, so

    p(place | data) ~ prior(place) * sum over kinds of hunt of T(place) * B(place).

The kinds are usual and poor ones (see `timing.shared_nodes`). T is integrated over
flight speed factor, in-hive factor (of the hunt, and of each day where there are
several), spread of trips and each bee's own in-hive time; B over the deviations of
stations and bees, each observer's compass offset, scatter and share of strays; all by
quadrature on fixed nodes: equal steps, where the trapezoid rule is exact to many digits
as long as the step stays below about two standard deviations of what is integrated.

Where trips start, and how long a flight from there takes, with and without wind.

What a station near a hive of known place teaches about the whole hunt (`taught`):
trips there have a known distance, so they weigh the nodes of flight speed and
in-hive time; bearings there have a known direction, so they weigh the nodes of
compass offset and spread. The hunted colony is another one, whose need may differ,
so the in-hive factor is blurred by `Settings.calibration_transfer_sd` on its way.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from . import directions as lines
from . import timing
from .records import Bools, Floats, Ints, integrate_nodes, log_sum_exp

if TYPE_CHECKING:
    from .records import Cargo, Settings
    from .timing import TimeNodes

_BLOCK = 256  # places at a time, or fewer,
_IN_CACHE = 200_000  # so that numbers worked on stay in the processor's cache
_LADDER_MPS = 0.7  # steps of distance: so much for each step of flight time
_UNLIKELY = 1e-6  # of a bee's in-hive times: left out
_NOTHING = 15.0  # nats below the best place: not worth working out
_SLACK = 10.0  # nats by which trips may be likelier than at any place looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class BeeTimes:
    """The trips of one bee on one day with one cargo, as tables."""

    bee: int
    cargo: Cargo
    places: tuple[int, ...]
    tables: tuple[timing.Table, ...]  # one (nb, nF, nm) for each place
    trips: int
    usual_s: float  # a typical away time, for the spread between bees
    day: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """Posterior weights of the unknowns that a hunt's bees share."""

    times: Floats  # (nf, ng, nk)
    offsets: Floats  # (observers, no)
    scatter: Floats  # (ns,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A hunt in the local frame, its trips as tables."""

    settings: Settings
    station_xy: Floats
    origin_xy: Floats
    places: tuple[Place, ...]
    times: tuple[BeeTimes, ...]
    flight_nodes_s: Floats
    time_nodes: timing.TimeNodes
    spreads: tuple[timing.Spread, ...]  # (nk,) of the hunt, those worth a look
    near: Floats  # (nk, nb) shares of bees with a spread, in a hunt with a spread
    line_nodes: lines.LineNodes
    bearing_bee: Ints
    bearing_station: Ints
    bearing_observer: Ints
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

    def seats(self, chosen: Ints) -> list[tuple[int, int, Ints]]:
        """Return station, observer and bearings of each flight line among `chosen`.

        Two observers at one station are taken for two lines that deviate on their own.
        """
        pairs = np.stack(
            [self.bearing_station[chosen], self.bearing_observer[chosen]], axis=1
        )
        return [
            (int(station), int(observer), chosen[(pairs == (station, observer)).all(1)])
            for station, observer in np.unique(pairs, axis=0)
        ]


@dataclass(slots=True)
class Evidence:
    """Log posterior of one group of bees over places, up to a constant."""

    case: Case
    bees: frozenset[int]
    use_bearing: Bools  # (B,) of the case
    _by_place: dict[tuple[int, int], timing.Table] = field(
        init=False, default_factory=dict
    )
    _moving: list[tuple[BeeTimes, tuple[timing.Table, ...], timing.Table]] = field(
        init=False, default_factory=list
    )
    _pairs: list[tuple[BeeTimes, timing.Table]] = field(
        init=False, default_factory=list
    )
    _ladder: tuple[Floats, Floats] | None = field(init=False, default=None)
    _by_seat: list[tuple[int, int, timing.Table]] = field(
        init=False, default_factory=list
    )

    def __post_init__(self) -> None:
        """Add up the tables of the group."""
        case = self.case
        nodes = case.time_nodes
        kernels: dict[str, timing.Table] = {}
        for times in case.times:
            if times.bee not in self.bees:
                continue
            base = timing.in_hive_median_s(times.cargo, case.settings)
            if len(times.places) == 1:
                if times.cargo not in kernels:
                    kernels[times.cargo] = timing.bee_kernel(
                        base, nodes.ln_g, case.flight_nodes_s
                    )
                table = timing.over_bees(
                    times.tables[0], kernels[times.cargo], case.near
                )
                key = (times.day, times.places[0])
                known = self._by_place.get(key)
                self._by_place[key] = table if known is None else known + table
            else:
                # One in-hive time at all its stations.
                flight = max(0.0, times.usual_s - base)
                kernel = timing.bee_kernel(base, nodes.ln_g, np.array([flight]))[0]
                stays = np.flatnonzero(kernel.max(axis=1) > _UNLIKELY)
                tables = tuple(table[:, :, stays] for table in times.tables)
                kernel = kernel[stays]
                if len(tables) == 2:
                    pair = timing.pair_table(*tables, kernel, case.near)
                    self._pairs.append((times, pair))
                    continue
                # At three and more: integrated cell by cell.
                flat = tuple(
                    np.ascontiguousarray(table.transpose(1, 0, 2)).reshape(
                        table.shape[1], -1
                    )
                    for table in tables
                )
                self._moving.append((times, flat, kernel))
        self._ladder = self._by_distance()
        for station, observer, own in case.seats(np.flatnonzero(self.use_bearing)):
            by_bee = lines.bee_tables(
                case.bearing_rad[own],
                case.rounding_rad[own],
                case.bearing_bee[own],
                nodes=case.line_nodes,
            )
            table = lines.station_table(
                np.sum(list(by_bee.values()), axis=0), case.line_nodes
            )
            self._by_seat.append((station, observer, table))

    def _by_distance(self) -> tuple[Floats, Floats] | None:
        """Return distances and the trips' evidence there, where that is all there is.

        So it is with trips of one day at one station without wind.
        """
        if len(self._by_place) != 1 or self._pairs or self._moving:
            return None
        ((_, place),) = self._by_place
        here = self.case.places[place]
        if here.wind_mps > 0.0 and not np.isnan(here.wind_from_rad):
            return None
        far = 2.0 * self.case.settings.distance_cut_m
        away = timing.flight_nodes(far / _LADDER_MPS) * _LADDER_MPS
        xy = np.stack([here.x_m + away, np.full(away.size, here.y_m)], axis=1)
        weight = self.case.time_nodes.log_weight
        return away, integrate_nodes(self.times_by_node(xy), weight)

    @property
    def has_times(self) -> bool:
        """Whether any trip says something about distance."""
        return bool(self._by_place or self._pairs or self._moving)

    @property
    def has_lines(self) -> bool:
        """Whether any bearing says something about direction."""
        return bool(self._by_seat)

    def times_by_node(self, xy: Floats) -> timing.Table:
        """Return the log likelihood of the trips at (n, 2) places; (n, nf, ng, nk)."""
        days = {day for day, _ in self._by_place}
        days |= {times.day for times, _ in self._pairs}
        days |= {times.day for times, *_ in self._moving}
        shape = (len(xy), *self.case.time_nodes.log_weight.shape[1:])
        total = np.zeros(shape, dtype=np.float32)
        positions: dict[int, Floats] = {}
        for day in sorted(days):
            of_day = self._times_of_day(xy, day, positions)
            total += of_day if len(days) == 1 else self._blurred(of_day)
        return total

    def _times_of_day(
        self, xy: Floats, day: int, positions: dict[int, Floats]
    ) -> timing.Table:
        case, nodes = self.case, self.case.time_nodes
        shape = (len(xy), *nodes.log_weight.shape[1:])
        total = np.zeros(shape, dtype=np.float32)

        def position(place: int) -> Floats:
            if place not in positions:
                flight = case.places[place].flight_s(xy, case.settings, nodes)
                positions[place] = timing.flight_position(flight)
            return positions[place]

        for (on, place), table in self._by_place.items():
            if on == day:
                flat = table.reshape(len(table), -1)
                total += timing.look_up(flat, position(place)).reshape(shape)
        for times, pair in self._pairs:
            if times.day == day:
                one, other = (position(place) for place in times.places)
                total += timing.look_up_pair(pair, one, other)
        near = case.near.T.astype(np.float32)
        for times, tables, kernel in self._moving:
            if times.day != day:
                continue
            by_m = timing.look_up(tables[0], position(times.places[0]))
            for place, table in zip(times.places[1:], tables[1:], strict=True):
                by_m += timing.look_up(table, position(place))
            by_m = by_m.reshape(*shape[:2], len(near), -1)
            top = by_m.max(axis=(2, 3))[..., None, None]
            by_m -= top
            # (n, nf, nb, nm) over m, then over the bee's own spread.
            np.exp(by_m, out=by_m)
            likelihood = (by_m @ kernel).transpose(0, 1, 3, 2) @ near
            total += np.log(likelihood + np.float32(1e-37)) + top
        return total

    def _blurred(self, of_day: timing.Table) -> timing.Table:
        """Return the trips of one day over the hunt's in-hive factor, not the day's."""
        ln_g = self.case.time_nodes.ln_g
        z = (ln_g[:, None] - ln_g[None, :]) / timing.DAY_SIGMA
        share = np.exp(-0.5 * z**2)
        share /= share.sum(axis=1, keepdims=True)
        top = of_day.max(axis=2, keepdims=True)
        mixed = np.einsum(
            "nfhk,gh->nfgk",
            np.exp(of_day - top),
            share.astype(np.float32),
            optimize=True,
        )
        return np.asarray(np.log(mixed + np.float32(1e-37)) + top)

    def lines_by_node(self, xy: Floats, observer: int) -> timing.Table:
        """Return the log likelihood of one observer's bearings; (n, no, ns)."""
        nodes = self.case.line_nodes
        offset = nodes.offset_rad[observer]
        total = np.zeros((len(xy), offset.size, nodes.sd_rad.size), dtype=np.float32)
        for station, by, table in self._by_seat:
            if by == observer:
                step = xy - self.case.station_xy[station]
                total += lines.look_up(table, step, offset, nodes)
        return total

    def log_density(self, xy: Floats) -> Floats:
        """Return the log posterior density at (n, 2) places, up to a constant.

        Places are taken in the order of what bearings and prior say, and the rest given
        as impossible once no trips to be expected could make up for it.
        """
        result = self.case.log_prior(xy)
        possible = np.flatnonzero(np.isfinite(result))
        of_lines = np.zeros((len(xy), 2))
        for start in range(0, len(possible), _BLOCK):
            block = possible[start : start + _BLOCK]
            of_lines[block] = self._lines_by_kind(xy[block])
        without = result + of_lines.max(axis=1)
        order = possible[np.argsort(-without[possible], kind="stable")]
        best = -np.inf
        likeliest = 0.0 if not self.has_times else -np.inf  # of the trips, so far
        size = int(
            np.clip(_IN_CACHE / self.case.time_nodes.log_weight[0].size, 16, _BLOCK)
        )
        for start in range(0, len(order), size):
            block = order[start : start + size]
            if without[block[0]] + likeliest + _SLACK < best - _NOTHING:
                result[order[start:]] = -np.inf
                break
            times = self._times_by_kind(xy[block])
            result[block] += log_sum_exp(times + of_lines[block], axis=1)
            best = max(best, float(result[block].max()))
            likeliest = max(likeliest, float(times.max()))
        return result

    def lines_alone(self, xy: Floats) -> Floats:
        """Return the log likelihood of the bearings at (n, 2) places; (n,)."""
        kinds = log_sum_exp(self.case.time_nodes.log_weight, axis=(1, 2, 3))
        return log_sum_exp(self._lines_by_kind(xy) + kinds, axis=1)

    def _times_by_kind(self, xy: Floats) -> Floats:
        """Return the evidence of the trips in usual and in poor hunts; (n, 2)."""
        weight = self.case.time_nodes.log_weight
        if not self.has_times:
            return np.broadcast_to(log_sum_exp(weight, axis=(1, 2, 3)), (len(xy), 2))
        if self._ladder is not None:
            ((_, place),) = self._by_place
            here = self.case.places[place]
            away = np.hypot(xy[:, 0] - here.x_m, xy[:, 1] - here.y_m)
            far, known = self._ladder
            return np.stack([np.interp(away, far, known[:, k]) for k in (0, 1)], axis=1)
        return integrate_nodes(self.times_by_node(xy), weight)

    def _lines_by_kind(self, xy: Floats) -> Floats:
        """Return the evidence of the bearings in usual and in poor hunts; (n, 2)."""
        return log_sum_exp(self._lines_by_scatter(xy), axis=2)

    def _lines_by_scatter(self, xy: Floats) -> Floats:
        """Return the same for each scatter, with its prior; (n, 2, ns)."""
        nodes = self.case.line_nodes
        total = np.repeat(nodes.scatter_log_weight[None], len(xy), axis=0)
        for observer in range(len(nodes.offset_rad)):
            weight = nodes.offset_log_weight[:, observer]
            if any(by == observer for _, by, _ in self._by_seat):
                by_node = self.lines_by_node(xy, observer)
                top = by_node.max(axis=1, keepdims=True)
                likelihood = np.exp(by_node - top)
                over = np.einsum(
                    "nos,kos->nks",
                    likelihood,
                    np.exp(weight).astype(np.float32),
                    optimize=True,
                )
                total += np.log(over + 1e-37) + top
            else:
                total += log_sum_exp(weight, axis=1)[None]
        return total

    def shared(self, xy: Floats, probability: Floats) -> Shared:
        """Return the posterior weights of the shared unknowns.

        Parameters
        ----------
        xy, probability
            (n, 2) places and (n,) their probability.
        """
        case = self.case
        times = self._times_by_kind(xy)
        by_scatter = self._lines_by_scatter(xy)
        of_lines = log_sum_exp(by_scatter, axis=2)
        kind = times + of_lines
        share = np.exp(kind - log_sum_exp(kind, axis=1)[:, None])
        share *= probability[:, None]
        by_node = self.times_by_node(xy)
        of_times = np.zeros(by_node.shape[1:])
        for k in range(2):
            value = by_node + case.time_nodes.log_weight[k]
            value -= times[:, k, None, None, None]
            of_times += np.einsum("n,nfgk->fgk", share[:, k], np.exp(value))
        scatter = np.exp(by_scatter - of_lines[..., None]) * share[..., None]
        nodes = case.line_nodes
        offsets = np.zeros(nodes.offset_rad.shape)
        for observer in range(len(offsets)):
            by_offset = self.lines_by_node(xy, observer)
            for k in range(2):
                value = by_offset + nodes.offset_log_weight[k, observer]
                value = value - log_sum_exp(value, axis=1)[:, None, :]
                offsets[observer] += np.einsum(
                    "ns,nos->o", scatter[:, k], np.exp(value)
                )
        return Shared(times=of_times, offsets=offsets, scatter=scatter.sum(axis=(0, 1)))


_SLOWEST_MPS = 2.0  # no bee makes less way than this and still comes back; guess


def ground_speed_mps(
    air_mps: Floats | float,
    *,
    wind_mps: float,
    from_rad: float,
    track_rad: Floats | float,
    compensation: Floats | float,
) -> Floats:
    """Return the way made good along a track in wind [m/s].

    The wind triangle of any book on navigation: sqrt(a^2 - c^2) - h, with a the air
    speed, c the wind across the track and h the wind against it. Bees raise their air
    speed against the wind and lower it before the wind (Heran and Lindauer 1963, Z.
    vergl. Physiol. 47:39-55; in a tunnel up to half their top speed almost fully,
    Barron and Srinivasan 2006, J. Exp. Biol. 209:978-984): `compensation` is the share
    of the difference to still air that they make up for.

    Parameters
    ----------
    air_mps
        Air speed in still air.
    wind_mps, from_rad
        Wind, and the direction it blows from [radians clockwise from true north].
    track_rad
        Direction of flight over the ground.
    compensation
        0 for none, 1 for a ground speed that wind leaves alone.
    """
    turn = np.asarray(track_rad) - from_rad
    against, across = wind_mps * np.cos(turn), wind_mps * np.sin(turn)
    air = np.asarray(air_mps)
    drifting = np.sqrt(np.maximum(air**2 - across**2, 0.0)) - against
    made_good = compensation * air + (1.0 - compensation) * drifting
    return np.asarray(np.maximum(made_good, np.minimum(_SLOWEST_MPS, air)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A station under one wind: where a flight time belongs to."""

    x_m: float
    y_m: float
    cargo: Cargo
    wind_mps: float = 0.0
    wind_from_rad: float = np.nan

    def flight_s(self, xy: Floats, settings: Settings, nodes: TimeNodes) -> Floats:
        """Return the flight time both ways to each of (n, 2) places; (n, nf) [s]."""
        east, north = xy[:, 0] - self.x_m, xy[:, 1] - self.y_m
        distance = np.hypot(east, north)[:, None]
        # Out of the hive without a load, home to it with one; Wenner 1963.
        out = settings.flight_speed_out_mps / nodes.slow_out
        home = settings.flight_speed_home_mps / nodes.slow_home
        if self.wind_mps == 0.0 or np.isnan(self.wind_from_rad):
            return np.asarray(distance * (1.0 / out + 1.0 / home))
        to_colony = np.arctan2(east, north)[:, None]
        return np.asarray(
            sum(
                distance
                / ground_speed_mps(
                    air[None, :],
                    wind_mps=self.wind_mps,
                    from_rad=self.wind_from_rad,
                    track_rad=track,
                    compensation=nodes.compensation[None, :],
                )
                for air, track in ((home, to_colony), (out, to_colony + np.pi))
            )
        )


_FINE = 81  # nodes of ln g while calibrating


def taught(
    case: Case,
    *,
    hive_xy: Floats,
    times: list[BeeTimes],
    station: int,
    bearing_rad: Floats,
    rounding_rad: Floats,
    bee: Ints,
    observer: Ints,
) -> Case:
    """Return the case with its nodes weighed by what one calibration station saw.

    Parameters
    ----------
    case
        The hunt.
    hive_xy
        (2,) the known hive [m].
    times
        Trips of the bees of that station.
    station
        Its index.
    bearing_rad, rounding_rad, bee, observer
        (n,) bearings taken there, of which bee (-1 unknown) and by whom.
    """
    time_nodes, line_nodes = case.time_nodes, case.line_nodes
    if times:
        learned = _times(case, hive_xy, times)
        time_nodes = replace(
            time_nodes, log_weight=_normal(time_nodes.log_weight + learned)
        )
    step = (hive_xy - case.station_xy[station])[None, :]
    weight = line_nodes.offset_log_weight.copy()
    for one in np.unique(observer):
        own = observer == one
        by_bee = lines.bee_tables(
            bearing_rad[own], rounding_rad[own], bee[own], nodes=line_nodes
        )
        table = lines.station_table(np.sum(list(by_bee.values()), axis=0), line_nodes)
        seen = lines.look_up(table, step, line_nodes.offset_rad[one], line_nodes)
        # One constant for both kinds of hunt: calibration also tells which it is.
        weight[:, one] += seen[0] - float(seen.max())
    return replace(
        case,
        time_nodes=time_nodes,
        line_nodes=replace(line_nodes, offset_log_weight=weight),
    )


def _times(case: Case, hive_xy: Floats, times: list[BeeTimes]) -> Floats:
    """Return the log likelihood of calibration trips over the time nodes."""
    nodes, settings = case.time_nodes, case.settings
    span = nodes.ln_g[-1] - nodes.ln_g[0]
    fine = np.linspace(nodes.ln_g[0] - 0.1 * span, nodes.ln_g[-1] + 0.1 * span, _FINE)
    total = np.zeros((nodes.ln_f.size, _FINE, len(case.spreads)))
    for bee in times:
        kernel = timing.bee_kernel(
            timing.in_hive_median_s(bee.cargo, settings), fine, case.flight_nodes_s
        )
        for place, table in zip(bee.places, bee.tables, strict=True):
            flight = case.places[place].flight_s(hive_xy[None, :], settings, nodes)[0]
            over = timing.over_bees(table, kernel, case.near)
            seen = timing.look_up(
                over.reshape(len(over), -1), timing.flight_position(flight)
            )
            total += seen.reshape(total.shape)
    z = (nodes.ln_g[:, None] - fine[None, :]) / settings.calibration_transfer_sd
    blur = np.exp(-0.5 * z**2)
    blur /= blur.sum(axis=1, keepdims=True)
    top = total.max()
    mixed = np.einsum("fhk,gh->fgk", np.exp(total - top), blur, optimize=True)
    return np.asarray(np.log(mixed + 1e-300))


def _normal(log_weight: Floats) -> Floats:
    # One constant for both kinds of hunt: calibration also tells which it is.
    return np.asarray(log_weight - log_sum_exp(log_weight, axis=(0, 1, 2, 3)))
