"""From the records at the door to a case in the local frame.

What cannot be is refused, naming the argument.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from . import directions as lines
from . import timing, trip_tables
from .evidence import BeeTimes, Case, Place, taught
from .frame import LocalFrame, geodesic

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from .records import (
        Bearings,
        Bools,
        Cargo,
        Floats,
        Ints,
        Settings,
        Stations,
        Trips,
        TripWind,
    )

_CALM_MPS = 1.0  # wind below this has no direction
_ONE_SPOT_M = 5.0  # stations nearer than positions by GPS can tell apart
_TURN_DEG = 5.0  # directions of wind are taken to the nearest of these


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedHunt:
    """A checked hunt: the case to locate, and what was set aside from it."""

    frame: LocalFrame
    case: Case  # with what calibration taught in the weights of its nodes
    untaught: Case  # the same without calibration
    bees: tuple[int, ...]  # those to locate, as indices into Trips.bees
    trip_used: Ints  # trips of those bees
    bearing_used: Ints  # bearings in the case, as indices into Bearings
    stations_used: tuple[int, ...]
    left_out: tuple[str, ...]  # marks that fly from a known hive


def prepare(
    stations: Stations,
    trips: Trips,
    bearings: Bearings,
    settings: Settings,
    wind: TripWind | None,
) -> CheckedHunt:
    """Check the input and put it into the local frame."""
    _check(stations, trips, bearings, settings, wind)
    calibrating = {c.station for c in settings.calibrations}
    apart = [i for i, name in enumerate(stations.id) if name in calibrating]
    searching = [i for i, name in enumerate(stations.id) if name not in calibrating]
    if not searching:
        raise ValueError("settings.calibrations: no station is left to locate from")
    check_near(stations, searching)
    frame = LocalFrame.about(
        stations.latitude_deg[searching], stations.longitude_deg[searching]
    )
    station_xy = frame.to_xy(stations.latitude_deg, stations.longitude_deg)
    left_out = {mark for hive in settings.known_hives for mark in hive.marks}
    lost = {i for i, name in enumerate(trips.bees) if name in left_out}
    used_trip = ~np.isin(trips.bee, list(lost)) & ~np.isin(trips.station, apart)
    used_line = ~np.isin(bearings.bee, list(lost)) & ~np.isin(bearings.station, apart)
    flights, windy = _flights(stations, station_xy, trips, settings, wind)
    chosen = np.flatnonzero(used_line)
    active = [
        i
        for i in searching
        if i in trips.station[used_trip] or i in bearings.station[chosen]
    ]
    _, observer = _observers(bearings)
    case = _case(
        settings,
        station_xy=station_xy,
        searching=searching,
        origin_xy=station_xy[(active or searching)[0]],
        flights=flights,
        windy=windy,
        used_trip=used_trip,
        bearings=bearings,
        chosen=chosen,
    )
    bees = {t.bee for t in case.times} | {int(b) for b in case.bearing_bee if b >= 0}
    return CheckedHunt(
        frame=frame,
        case=_calibrated(
            case,
            frame=frame,
            stations=stations,
            bearings=bearings,
            observer=observer,
            flights=flights,
            of_bees=flights.spreads()[2],
        ),
        untaught=case,
        bees=tuple(sorted(bees)),
        trip_used=np.flatnonzero(used_trip),
        bearing_used=chosen,
        stations_used=tuple(active),
        left_out=tuple(trips.bees[i] for i in sorted(lost)),
    )


def _case(
    settings: Settings,
    *,
    station_xy: Floats,
    searching: Sequence[int],
    origin_xy: Floats,
    flights: _Flights,
    windy: float,
    used_trip: Bools,
    bearings: Bearings,
    chosen: Ints,
) -> Case:
    """Return the trips and bearings in use in the local frame, with their nodes."""
    spreads, log_spread, of_bees = flights.spreads()
    names, observer = _observers(bearings)
    return Case(
        settings=settings,
        station_xy=station_xy,
        origin_xy=origin_xy,
        places=flights.places,
        times=tuple(flights.bee_times(used_trip, of_bees)),
        flight_nodes_s=flights.nodes_s,
        time_nodes=timing.shared_nodes(settings, windy, log_spread),
        spreads=spreads,
        near=timing.near_bees(spreads, of_bees),
        line_nodes=lines.line_nodes(
            settings,
            bearings.declination_sd_deg,
            observers=len(names),
            stations=len(np.unique(bearings.station[chosen])),
        ),
        bearing_bee=bearings.bee[chosen],
        bearing_station=_spots(station_xy, searching)[bearings.station[chosen]],
        bearing_observer=observer[chosen],
        bearing_rad=np.radians(bearings.bearing_true_deg[chosen]),
        rounding_rad=np.radians(bearings.rounding_deg[chosen]),
    )


def _check(
    stations: Stations,
    trips: Trips,
    bearings: Bearings,
    settings: Settings,
    wind: TripWind | None,
) -> None:
    check_stations(stations)
    check_trips(trips, len(stations.id))
    check_bearings(bearings, len(stations.id), len(trips.bees))
    check_settings(settings, stations, trips)
    if wind is not None:
        check_wind(wind, len(trips.away_s))


def _flights(
    stations: Stations,
    station_xy: Floats,
    trips: Trips,
    settings: Settings,
    wind: TripWind | None,
) -> tuple[_Flights, float]:
    """Return the trips with what their tables are made with, and the mean wind."""
    unknown = np.full(len(trips.away_s), np.nan)
    speed = unknown if wind is None else wind.speed_mps
    direction = unknown if wind is None else wind.from_true_deg
    places, trip_place = _places(stations, station_xy, trips, speed, direction)
    windy = float(np.nanmean(speed)) if np.isfinite(speed).any() else 0.0
    flights = _Flights(
        places=places,
        trips=trips,
        place=trip_place,
        nodes_s=timing.flight_nodes(_longest_s(settings, windy)),
        usual_s={
            cargo: settings.in_hive_factor * timing.in_hive_median_s(cargo, settings)
            for cargo in timing.IN_HIVE_S
        },
    )
    return flights, windy


def _calibrated(
    case: Case,
    *,
    frame: LocalFrame,
    stations: Stations,
    bearings: Bearings,
    observer: Ints,
    flights: _Flights,
    of_bees: Sequence[timing.Spread],
) -> Case:
    """Return the case with what the calibration stations taught in its weights."""
    learned = case
    hives = {one.station: one for one in case.settings.calibrations}
    for station, name in enumerate(stations.id):
        if name not in hives:
            continue
        here = bearings.station == station
        learned = taught(
            learned,
            hive_xy=frame.to_xy(
                np.array([hives[name].hive_latitude_deg]),
                np.array([hives[name].hive_longitude_deg]),
            )[0],
            times=flights.bee_times(flights.trips.station == station, of_bees),
            station=station,
            bearing_rad=np.radians(bearings.bearing_true_deg[here]),
            rounding_rad=np.radians(bearings.rounding_deg[here]),
            bee=bearings.bee[here],
            observer=observer[here],
        )
    return learned


def _longest_s(settings: Settings, windy: float) -> float:
    """Return the longest flight the map can ask for, at the slowest node of speed."""
    nodes = timing.shared_nodes(settings, windy)
    per_metre = (
        nodes.slow_out[0] / settings.flight_speed_out_mps
        + nodes.slow_home[0] / settings.flight_speed_home_mps
    )
    return float(min(settings.distance_cut_m * per_metre, 5000.0))


def _spots(station_xy: Floats, searching: Sequence[int]) -> Ints:
    """Return for each station the first at the same spot, itself if it is the first.

    Stations so near together are one place with two names: the same hedge and hill
    turn the lines of both.
    """
    spot = np.arange(len(station_xy))
    for n, station in enumerate(searching):
        for earlier in searching[:n]:
            apart_m = np.hypot(*(station_xy[station] - station_xy[earlier]))
            if spot[earlier] == earlier and apart_m < _ONE_SPOT_M:
                spot[station] = earlier
                break
    return spot


def _observers(bearings: Bearings) -> tuple[Ints, Ints]:
    """Return the observers, and which of them read each bearing; at least one."""
    if bearings.observer is None or not len(bearings.observer):
        return np.zeros(1, dtype=np.intp), np.zeros(len(bearings.bee), dtype=np.intp)
    names, place = np.unique(bearings.observer, return_inverse=True)
    return names, np.asarray(np.ravel(place), dtype=np.intp)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Flights:
    """The trips of a hunt, and what their tables are made with."""

    places: tuple[Place, ...]
    trips: Trips
    place: Ints  # (T,) of each trip
    nodes_s: Floats  # of flight time
    usual_s: Mapping[Cargo, float]  # in-hive time by cargo

    def spreads(
        self,
    ) -> tuple[tuple[timing.Spread, ...], Floats, tuple[timing.Spread, ...]]:
        """Return spreads of the hunt worth a look, their log prior, and of bees."""
        every, log_prior = timing.spreads()
        whole = np.ones(len(self.place), dtype=bool)
        coarse = self._tables(whole, every, every_m=4)
        chosen = timing.worth_while(list(coarse.values()), log_prior)
        # A bee may be a step off its hunt, so each keeps its neighbours.
        step = len(timing.LONG_STAYS)
        near = {int(k) + d for k in chosen for d in (-step, 0, step)}
        return (
            tuple(every[k] for k in chosen),
            log_prior[chosen] - np.log(np.exp(log_prior[chosen]).sum()),
            tuple(every[k] for k in sorted(near) if 0 <= k < len(every)),
        )

    def bee_times(
        self, chosen: Bools, spreads: Sequence[timing.Spread]
    ) -> list[BeeTimes]:
        """Return the chosen trips of each bee, day and cargo."""
        trips = self.trips
        tables = self._tables(chosen, spreads)
        groups: dict[tuple[int, int, Cargo], list[int]] = {}
        for bee, day, place in tables:
            groups.setdefault((bee, day, self.places[place].cargo), []).append(place)
        result = []
        for (bee, day, cargo), own_places in groups.items():
            own = chosen & (trips.bee == bee) & np.isin(self.place, own_places)
            if trips.day is not None:
                own &= trips.day == day
            result.append(
                BeeTimes(
                    bee=bee,
                    cargo=cargo,
                    places=tuple(own_places),
                    tables=tuple(tables[bee, day, place] for place in own_places),
                    trips=int(own.sum()),
                    usual_s=float(np.quantile(trips.away_s[own], 0.3)),
                    day=day,
                )
            )
        return result

    def _tables(
        self, chosen: Bools, spreads: Sequence[timing.Spread], *, every_m: int = 1
    ) -> dict[tuple[int, int, int], timing.Table]:
        """Return (bee, day, place) -> the (nb, nF, nm) table of its trips."""
        trips, places = self.trips, self.places
        day = np.zeros(len(self.place), np.intp) if trips.day is None else trips.day
        keys = np.stack([trips.bee, day, self.place], axis=1)
        # Trips of one cargo in one wind share the work of their tables.
        alike = [(places[p].cargo, places[p].wind_mps) for p in self.place]
        result = {}
        for cargo, wind_mps in dict.fromkeys(
            one for one, used in zip(alike, chosen, strict=True) if used
        ):
            own = np.flatnonzero(
                chosen & np.array([one == (cargo, wind_mps) for one in alike])
            )
            owners, owner = np.unique(keys[own], axis=0, return_inverse=True)
            tables = trip_tables.trip_tables(
                trip_tables.Gaps(
                    away_s=trips.away_s[own],
                    round_trip=trips.round_trip[own],
                    rounding_s=trips.rounding_s[own],
                    cycles=trips.cycles[own],
                    owner=np.ravel(owner),
                    owners=len(owners),
                ),
                loading_s=timing.LOADING_S[cargo],
                stay_s=self.usual_s[cargo],
                flight_s=self.nodes_s,
                of=spreads,
                wind_mps=wind_mps,
                every_m=every_m,
            )
            for key, table in zip(owners, tables, strict=True):
                result[int(key[0]), int(key[1]), int(key[2])] = table
        return dict(sorted(result.items()))


def _places(
    stations: Stations,
    station_xy: Floats,
    trips: Trips,
    speed: Floats,
    direction: Floats,
) -> tuple[tuple[Place, ...], Ints]:
    """Return stations split by wind, and the place of each trip."""
    key = np.stack(
        [
            trips.station.astype(np.float64),
            np.nan_to_num(np.round(speed), nan=0.0),
            # Nobody says a direction closer than this, and calm has none.
            np.where(
                np.nan_to_num(speed) >= _CALM_MPS,
                np.nan_to_num(_TURN_DEG * np.round(direction / _TURN_DEG), nan=-1.0),
                -1.0,
            ),
        ],
        axis=1,
    )
    if not len(key):
        return (), np.zeros(0, dtype=np.intp)
    distinct, place = np.unique(key, axis=0, return_inverse=True)
    places = tuple(
        Place(
            x_m=float(station_xy[int(row[0]), 0]),
            y_m=float(station_xy[int(row[0]), 1]),
            cargo=stations.cargo[int(row[0])],
            wind_mps=float(row[1]),
            wind_from_rad=float(np.radians(row[2])) if row[2] >= 0 else np.nan,
        )
        for row in distinct
    )
    return places, np.asarray(np.ravel(place), dtype=np.intp)


CARGOS = ("water", "syrup", "nectar")
WIDEST_HUNT_M = 30_000.0  # twice the farthest flight on record, and some
MOST_DAYS, MOST_OBSERVERS = 1000, 100  # indices beyond these are slips
LONGEST_AWAY_S = 6 * 3600.0  # longer is another day's flight, not a trip


def check_stations(stations: Stations) -> None:
    """Raise ValueError unless the stations are places on the globe, near together."""
    count = len(stations.id)
    if count == 0:
        raise ValueError("stations.id: at least one station is needed")
    if len(set(stations.id)) != count:
        msg = f"stations.id: each station needs its own id, not {stations.id}"
        raise ValueError(msg)
    _length("stations.latitude_deg", stations.latitude_deg, count)
    _length("stations.longitude_deg", stations.longitude_deg, count)
    _within("stations.latitude_deg", stations.latitude_deg, -90, 90)
    _within("stations.longitude_deg", stations.longitude_deg, -180, 360)
    if len(stations.cargo) != count:
        msg = f"stations.cargo: {len(stations.cargo)} given for {count} stations"
        raise ValueError(msg)
    for cargo in stations.cargo:
        if cargo not in CARGOS:
            msg = f"stations.cargo: must be one of {', '.join(CARGOS)}, not {cargo!r}"
            raise ValueError(msg)


def check_near(stations: Stations, used: list[int]) -> None:
    """Raise ValueError if stations of one hunt lie farther apart than bees fly."""
    first = used[0]
    for other in used[1:]:
        distance, _ = geodesic(
            float(stations.latitude_deg[first]),
            float(stations.longitude_deg[first]),
            float(stations.latitude_deg[other]),
            float(stations.longitude_deg[other]),
        )
        if distance > WIDEST_HUNT_M:
            msg = (
                f"stations: {stations.id[first]!r} and {stations.id[other]!r} are "
                f"{distance / 1000:.0f} km apart, farther than bees of one colony fly; "
                "check the positions, or make two hunts of it"
            )
            raise ValueError(msg)


def check_trips(trips: Trips, station_count: int) -> None:
    """Raise ValueError unless the trips are finite, positive times of known bees."""
    count = len(trips.away_s)
    for name in ("bee", "station", "round_trip", "rounding_s", "cycles"):
        _length(f"trips.{name}", getattr(trips, name), count)
    if len(set(trips.bees)) != len(trips.bees):
        msg = f"trips.bees: each bee needs its own name, not {trips.bees}"
        raise ValueError(msg)
    _index("trips.bee", trips.bee, 0, len(trips.bees))
    _index("trips.station", trips.station, 0, station_count)
    _within("trips.away_s", trips.away_s, 1.0, LONGEST_AWAY_S)
    _within("trips.rounding_s", trips.rounding_s, 0.0, 3600.0)
    _index("trips.cycles", trips.cycles, 1, 100)
    if trips.day is not None:
        _length("trips.day", trips.day, count)
        _index("trips.day", trips.day, 0, MOST_DAYS)
    for pair in trips.maybe_same:
        if len(set(pair)) != 2:
            msg = f"trips.maybe_same: must be pairs of two bees, not {pair}"
            raise ValueError(msg)
        _index("trips.maybe_same", np.array(pair), 0, len(trips.bees))


def check_bearings(bearings: Bearings, station_count: int, bee_count: int) -> None:
    """Raise ValueError unless the bearings are 0-360 degrees at known stations."""
    count = len(bearings.bearing_true_deg)
    for name in ("bee", "station", "rounding_deg"):
        _length(f"bearings.{name}", getattr(bearings, name), count)
    _index("bearings.bee", bearings.bee, -1, bee_count)
    _index("bearings.station", bearings.station, 0, station_count)
    _within("bearings.bearing_true_deg", bearings.bearing_true_deg, 0.0, 360.0)
    _within("bearings.rounding_deg", bearings.rounding_deg, 0.0, 90.0)
    if bearings.observer is not None:
        _length("bearings.observer", bearings.observer, count)
        _index("bearings.observer", bearings.observer, 0, MOST_OBSERVERS)
    sd = np.asarray([bearings.declination_sd_deg], dtype=np.float64)
    _within("bearings.declination_sd_deg", sd, 0.0, 90.0)


def check_settings(settings: Settings, stations: Stations, trips: Trips) -> None:
    """Raise ValueError where the settings name stations or places that are not."""
    for calibration in settings.calibrations:
        if calibration.station not in stations.id:
            msg = f"settings.calibrations: no station {calibration.station!r}"
            raise ValueError(msg)
        for name, limit in (("hive_latitude_deg", 90), ("hive_longitude_deg", 360)):
            value = np.asarray([getattr(calibration, name)], dtype=np.float64)
            _within(f"settings.calibrations.{name}", value, -limit, limit)
    for hive in settings.known_hives:
        for name, limit in (("latitude_deg", 90), ("longitude_deg", 360)):
            value = np.asarray([getattr(hive, name)], dtype=np.float64)
            _within(f"settings.known_hives.{name}", value, -limit, limit)
    for mark in settings.assigned:
        if mark not in trips.bees:
            msg = f"settings.assigned: no bee {mark!r} among {', '.join(trips.bees)}"
            raise ValueError(msg)
    for ring in settings.leave_out:
        if np.ndim(ring) != 2 or np.shape(ring)[1] != 2 or len(ring) < 3:
            msg = (
                "settings.leave_out: each ring needs three or more (longitude, "
                f"latitude) points, not shape {np.shape(ring)}"
            )
            raise ValueError(msg)
        _within("settings.leave_out", np.ravel(ring), -180, 360)


def check_wind(wind: TripWind, count: int) -> None:
    """Raise ValueError unless wind is given for each trip, NaN where unknown."""
    for name, high in (("speed_mps", 60.0), ("from_true_deg", 360.0)):
        values = np.asarray(getattr(wind, name), dtype=np.float64)
        _length(f"wind.{name}", values, count)
        _within(f"wind.{name}", np.where(np.isnan(values), 0.0, values), 0.0, high)


def _length(name: str, values: np.ndarray, count: int) -> None:
    if np.shape(values) != (count,):
        msg = f"{name}: must have shape ({count},), not {np.shape(values)}"
        raise ValueError(msg)


def _within(name: str, values: Floats, low: float, high: float) -> None:
    for place, value in enumerate(np.asarray(values, dtype=np.float64)):
        if not low <= value <= high:  # also refuses NaN
            msg = (
                f"{name}: must lie within {low:g} to {high:g}; "
                f"number {place} is {value:g}"
            )
            raise ValueError(msg)


def _index(name: str, values: np.ndarray, low: int, end: int) -> None:
    array = np.asarray(values)
    if array.size and array.dtype.kind not in "iu":
        msg = f"{name}: must be whole numbers, not {array.dtype}"
        raise ValueError(msg)
    for place, value in enumerate(array):
        if not low <= value < end:
            msg = (
                f"{name}: must lie within {low} to {end - 1}; number {place} is {value}"
            )
            raise ValueError(msg)
