"""Refuse what cannot be, naming the argument."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .frame import geodesic

if TYPE_CHECKING:
    from .records import Bearings, Floats, Stations, Trips
    from .settings import Settings, TripWind

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
        _within(f"wind.{name}", values[~np.isnan(values)], 0.0, high)


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
