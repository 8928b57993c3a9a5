"""From the records at the door to a case in the local frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from . import check, timing, trip_tables
from . import directions as lines
from .calibrate import taught
from .evidence import BeeTimes, Case, Place
from .frame import LocalFrame

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from .records import Bearings, Bools, Cargo, Floats, Ints, Stations, Trips
    from .settings import Settings, TripWind


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
    check.check_near(stations, searching)
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
    check.check_stations(stations)
    check.check_trips(trips, len(stations.id))
    check.check_bearings(bearings, len(stations.id), len(trips.bees))
    check.check_settings(settings, stations, trips)
    if wind is not None:
        check.check_wind(wind, len(trips.away_s))


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
