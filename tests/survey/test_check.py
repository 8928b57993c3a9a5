from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from survey import hunts
from treeward import survey

STATIONS, TRIPS, BEARINGS = hunts.two_station_hunt()


def changed(values: np.ndarray, value: float) -> np.ndarray:
    copy = values.astype(np.float64)
    copy[3 % len(copy)] = value
    return copy


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("away_s", np.nan),
        ("away_s", -5.0),
        ("away_s", np.inf),
        ("away_s", 0.0),
        ("away_s", 1e6),
        ("away_s", 6 * 3600.0 + 1),
        ("rounding_s", -1.0),
        ("rounding_s", np.nan),
    ],
)
def test_bad_times_are_refused_by_name(name: str, value: float) -> None:
    change: dict[str, Any] = {name: changed(getattr(TRIPS, name), value)}
    bad = dataclasses.replace(TRIPS, **change)
    with pytest.raises(ValueError, match=rf"^trips\.{name}: .*number 3"):
        survey.locate(STATIONS, bad, BEARINGS)


@pytest.mark.parametrize("value", [np.nan, -1.0, 360.5, np.inf])
def test_bad_bearings_are_refused_by_name(value: float) -> None:
    bad = dataclasses.replace(
        BEARINGS, bearing_true_deg=changed(BEARINGS.bearing_true_deg, value)
    )
    with pytest.raises(ValueError, match=r"^bearings\.bearing_true_deg: .*number 3"):
        survey.locate(STATIONS, TRIPS, bad)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"latitude_deg": np.array([52.0, np.nan])}, r"^stations\.latitude_deg: "),
        ({"latitude_deg": np.array([52.0, 95.0])}, r"^stations\.latitude_deg: "),
        ({"longitude_deg": np.array([-3.6])}, r"^stations\.longitude_deg: "),
        ({"latitude_deg": np.array([52.3, 56.8])}, r"^stations: .* km apart"),
        ({"id": ("1", "1")}, r"^stations\.id: "),
        ({"cargo": ("water", "mead")}, r"^stations\.cargo: .*mead"),
    ],
)
def test_bad_stations_are_refused_by_name(change: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        survey.locate(dataclasses.replace(STATIONS, **change), TRIPS, BEARINGS)


@pytest.mark.parametrize(
    ("record", "change", "message"),
    [
        ("trips", {"bee": TRIPS.bee + 9}, r"^trips\.bee: "),
        ("trips", {"station": TRIPS.station - 1}, r"^trips\.station: "),
        ("trips", {"cycles": TRIPS.cycles * 0}, r"^trips\.cycles: "),
        ("trips", {"bee": TRIPS.bee[:5]}, r"^trips\.bee: .*shape"),
        ("trips", {"bee": TRIPS.bee.astype(float)}, r"^trips\.bee: .*whole"),
        ("bearings", {"bee": BEARINGS.bee - 2}, r"^bearings\.bee: "),
        ("bearings", {"rounding_deg": BEARINGS.rounding_deg + 200}, r"rounding_deg"),
        ("bearings", {"declination_sd_deg": np.nan}, r"declination_sd_deg"),
        ("bearings", {"observer": BEARINGS.bee[:3]}, r"^bearings\.observer: .*shape"),
        ("bearings", {"observer": BEARINGS.bee - 9}, r"^bearings\.observer: "),
        ("trips", {"day": TRIPS.bee[:3]}, r"^trips\.day: .*shape"),
        ("trips", {"day": TRIPS.bee * 0.5}, r"^trips\.day: .*whole"),
        ("trips", {"maybe_same": ((0, 9),)}, r"^trips\.maybe_same: "),
        ("trips", {"maybe_same": ((2, 2),)}, r"^trips\.maybe_same: .*pairs"),
    ],
)
def test_bad_indices_are_refused_by_name(
    record: str, change: dict[str, Any], message: str
) -> None:
    trips, bearings = TRIPS, BEARINGS
    if record == "trips":
        trips = dataclasses.replace(TRIPS, **change)
    else:
        bearings = dataclasses.replace(BEARINGS, **change)
    with pytest.raises(ValueError, match=message):
        survey.locate(STATIONS, trips, bearings)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"distance_median_m": -1.0}, r"^settings\.distance_median_m: "),
        ({"compass_sd_deg": np.nan}, r"^settings\.compass_sd_deg: "),
        ({"distance_cut_m": 1e6}, r"^settings\.distance_cut_m: "),
        ({"in_hive_s": {"water": 0.0}}, r"^settings\.in_hive_s: "),
        ({"flight_speed_out_sd": 0.0}, r"^settings\.flight_speed_out_sd: "),
        ({"wind_compensation": 1.5}, r"^settings\.wind_compensation: "),
    ],
)
def test_bad_settings_are_refused_by_name(change: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        survey.Settings(**change)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"assigned": {"mauve": "A"}}, r"^settings\.assigned: .*mauve"),
        ({"leave_out": (np.zeros((2, 2)),)}, r"^settings\.leave_out: "),
        (
            {
                "calibrations": (
                    survey.Calibration(
                        station="9", hive_latitude_deg=52.0, hive_longitude_deg=-3.0
                    ),
                )
            },
            r"^settings\.calibrations: .*'9'",
        ),
        (
            {
                "known_hives": (
                    survey.KnownHive(name="x", latitude_deg=99.0, longitude_deg=0.0),
                )
            },
            r"^settings\.known_hives\.latitude_deg: ",
        ),
    ],
)
def test_settings_that_do_not_fit_the_hunt_are_refused(
    change: dict[str, Any], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        survey.locate(STATIONS, TRIPS, BEARINGS, survey.Settings(**change))


def test_bad_wind_is_refused_by_name() -> None:
    n = len(TRIPS.away_s)
    for speed, direction, name in (
        (np.full(n, -1.0), np.zeros(n), "speed_mps"),
        (np.ones(n), np.full(n, 400.0), "from_true_deg"),
        (np.ones(3), np.zeros(n), "speed_mps"),
    ):
        wind = survey.TripWind(speed_mps=speed, from_true_deg=direction)
        with pytest.raises(ValueError, match=rf"^wind\.{name}: "):
            survey.locate(STATIONS, TRIPS, BEARINGS, wind=wind)
