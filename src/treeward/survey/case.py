"""From the records at the door to a case in the local frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from . import check, lines, timing
from .calibrate import taught
from .evidence import BeeTimes, Case, Place, bee_tables
from .frame import LocalFrame

if TYPE_CHECKING:
    from .arrays import Bools, Floats, Ints
    from .records import Bearings, Stations, Trips
    from .settings import Settings, TripWind


@dataclass(frozen=True, slots=True, kw_only=True)
class Hunt:
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
) -> Hunt:
    """Check the input and put it into the local frame."""
    check.check_stations(stations)
    check.check_trips(trips, len(stations.id))
    check.check_bearings(bearings, len(stations.id), len(trips.bees))
    check.check_settings(settings, stations, trips)
    count = len(trips.away_s)
    if wind is not None:
        check.check_wind(wind, count)
    calibrating = {c.station: c for c in settings.calibrations}
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

    speed = np.full(count, np.nan) if wind is None else wind.speed_mps
    direction = np.full(count, np.nan) if wind is None else wind.from_true_deg
    places, trip_place = _places(stations, station_xy, trips, speed, direction)
    windy = float(np.nanmean(speed)) if np.isfinite(speed).any() else 0.0
    # The longest flight the map can ask for, at the slowest node of speed.
    slowest = settings.flight_speed_factor * np.exp(
        -4.2 * np.hypot(settings.flight_speed_factor_sd, 0.02 * windy)
    )
    per_metre = 1 / settings.flight_speed_out_mps + 1 / settings.flight_speed_home_mps
    nodes_s = timing.flight_nodes(
        min(settings.distance_cut_m * per_metre / slowest, 5000.0)
    )
    used_trip = ~np.isin(trips.bee, list(lost)) & ~np.isin(trips.station, apart)

    def tables(chosen: Bools) -> list[BeeTimes]:
        result: list[BeeTimes] = []
        for bee in np.unique(trips.bee[chosen]):
            own = chosen & (trips.bee == bee)
            result += bee_tables(
                places,
                int(bee),
                trip_place=trip_place[own],
                away_s=trips.away_s[own],
                round_trip=trips.round_trip[own],
                rounding_s=trips.rounding_s[own],
                cycles=trips.cycles[own],
                flight_nodes_s=nodes_s,
            )
        return result

    times = tables(used_trip)
    used_line = ~np.isin(bearings.bee, list(lost)) & ~np.isin(bearings.station, apart)
    chosen = np.flatnonzero(used_line)
    active = [
        i
        for i in searching
        if i in trips.station[used_trip] or i in bearings.station[chosen]
    ]
    origin = station_xy[(active or searching)[0]]
    case = Case(
        settings=settings,
        station_xy=station_xy,
        origin_xy=origin,
        places=places,
        times=tuple(times),
        flight_nodes_s=nodes_s,
        time_nodes=timing.shared_nodes(settings, windy),
        line_nodes=lines.line_nodes(
            settings,
            bearings.declination_sd_deg,
            int(np.bincount(bearings.station[chosen]).max()) if chosen.size else 1,
        ),
        bearing_bee=bearings.bee[chosen],
        bearing_station=bearings.station[chosen],
        bearing_rad=np.radians(bearings.bearing_true_deg[chosen]),
        rounding_rad=np.radians(bearings.rounding_deg[chosen]),
    )
    learned = case
    for station in apart:
        calibration = calibrating[stations.id[station]]
        here = bearings.station == station
        learned = taught(
            learned,
            hive_xy=frame.to_xy(
                np.array([calibration.hive_latitude_deg]),
                np.array([calibration.hive_longitude_deg]),
            )[0],
            times=tables(trips.station == station),
            station=station,
            bearing_rad=np.radians(bearings.bearing_true_deg[here]),
            rounding_rad=np.radians(bearings.rounding_deg[here]),
        )
    bees = {t.bee for t in times} | {int(b) for b in case.bearing_bee if b >= 0}
    return Hunt(
        frame=frame,
        case=learned,
        untaught=case,
        bees=tuple(sorted(bees)),
        trip_used=np.flatnonzero(used_trip),
        bearing_used=chosen,
        stations_used=tuple(active),
        left_out=tuple(trips.bees[i] for i in sorted(lost)),
    )


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
            # Direction matters only above the wind that bees hold their speed in.
            np.where(speed > 3.0, np.nan_to_num(np.round(direction), nan=-1.0), -1.0),
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
