from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from survey import hunts
from treeward import survey
from treeward.survey import case

if TYPE_CHECKING:
    from collections.abc import Callable

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


@pytest.mark.parametrize(
    ("record", "field", "low", "high"),
    [
        ("stations", "latitude_deg", -90.0, 90.0),
        ("stations", "longitude_deg", -180.0, 360.0),
        ("trips", "away_s", 1.0, 6 * 3600.0),
        ("trips", "rounding_s", 0.0, 3600.0),
        ("bearings", "bearing_true_deg", 0.0, 360.0),
        ("bearings", "rounding_deg", 0.0, 90.0),
        ("wind", "speed_mps", 0.0, 60.0),
        ("wind", "from_true_deg", 0.0, 360.0),
    ],
)
def test_a_limit_itself_is_allowed_and_nothing_beyond(
    record: str, field: str, low: float, high: float
) -> None:
    n = len(TRIPS.away_s)
    calm = survey.TripWind(speed_mps=np.zeros(n), from_true_deg=np.full(n, np.nan))
    records: dict[str, tuple[Any, Callable[[Any], None]]] = {
        "stations": (STATIONS, case.check_stations),
        "trips": (TRIPS, lambda one: case.check_trips(one, 2)),
        "bearings": (BEARINGS, lambda one: case.check_bearings(one, 2, 4)),
        "wind": (calm, lambda one: case.check_wind(one, n)),
    }
    whole, checked = records[record]

    def with_last(value: float) -> Any:
        values = np.array(getattr(whole, field), dtype=np.float64)
        values[-1] = value
        return dataclasses.replace(whole, **{field: values})

    for value in (low, high):
        checked(with_last(value))
    for value in (low - 0.01, high + 0.01):
        place = len(getattr(whole, field)) - 1
        said = rf"{record}\.{field}: .*number {place} is"
        with pytest.raises(ValueError, match=said):
            checked(with_last(value))


@pytest.mark.parametrize(
    ("record", "field", "last_allowed", "first_refused"),
    [
        ("trips", "bee", 3, 4),
        ("trips", "bee", 0, -1),
        ("trips", "station", 1, 2),
        ("trips", "cycles", 1, 0),
        ("trips", "cycles", 99, 100),
        ("trips", "day", 0, -1),
        ("trips", "day", 999, 1000),
        ("bearings", "bee", -1, -2),
        ("bearings", "bee", 3, 4),
        ("bearings", "station", 1, 2),
        ("bearings", "observer", 99, 100),
    ],
)
def test_the_last_index_is_allowed_and_the_next_refused(
    record: str, field: str, last_allowed: int, first_refused: int
) -> None:
    whole: Any = TRIPS if record == "trips" else BEARINGS
    count = len(whole.bee)

    def checked(value: int) -> None:
        values = np.zeros(count, dtype=np.intp)
        if field == "cycles":
            values += 1
        values[-1] = value
        one = dataclasses.replace(whole, **{field: values})
        if record == "trips":
            case.check_trips(one, 2)
        else:
            case.check_bearings(one, 2, 4)

    checked(last_allowed)
    with pytest.raises(ValueError, match=rf"{record}\.{field}: must lie within"):
        checked(first_refused)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("wind_compensation", 0.0, 1.0),
        ("wind_compensation_sd", 0.0, 1.0),
        ("station_tail_share", 0.0, 1.0),
        ("distance_cut_m", 50.0, 15000.0),
    ],
)
def test_a_setting_at_its_limit_is_allowed(name: str, low: float, high: float) -> None:
    for value in (low, high):
        survey.Settings(**{name: value})  # type: ignore[arg-type]  # by name
    for value in (low - 0.1, high + 0.1):
        with pytest.raises(ValueError, match=rf"settings\.{name}: "):
            survey.Settings(**{name: value})  # type: ignore[arg-type]  # by name


@pytest.mark.parametrize(
    "name",
    [
        field.name
        for field in dataclasses.fields(survey.Settings)
        if field.name.endswith(("_mps", "_factor", "_m", "_sigma"))
        or (field.name.endswith(("_sd", "_deg")) and "wind" not in field.name)
    ],
)
def test_no_size_may_be_nothing(name: str) -> None:
    for value in (0.0, -1.0, np.inf, np.nan):
        with pytest.raises(ValueError, match=rf"settings\.{name}: "):
            survey.Settings(**{name: value})  # type: ignore[arg-type]  # by name


def test_stations_farther_apart_than_bees_fly_are_two_hunts() -> None:
    east = survey.LocalFrame(*hunts.HEATH).to_lonlat(
        np.array([[0.0, 0.0], [29_990, 0], [30_010, 0]])
    )
    three = survey.Stations(
        id=("1", "2", "3"),
        latitude_deg=east[:, 1],
        longitude_deg=east[:, 0],
        cargo=("water",) * 3,
    )
    case.check_near(three, [0, 1])
    case.check_near(three, [1, 2])
    with pytest.raises(ValueError, match=r"'1' and '3' are \d+ km apart"):
        case.check_near(three, [0, 1, 2])


@pytest.mark.parametrize(
    ("name", "low", "high", "beyond"),
    [
        ("latitude_deg", -90.0, 90.0, 0.5),
        ("longitude_deg", -180.0, 360.0, 0.5),
        ("altitude_m", -1000.0, 850_000.0, 0.5),
        ("when", 2015.0, 2029.99, 0.01),
    ],
)
def test_declination_is_told_up_to_its_limits(
    name: str, low: float, high: float, beyond: float
) -> None:
    usual = {"latitude_deg": 52.3, "longitude_deg": -3.6, "when": 2026.5}
    for value in (low, high):
        told, sd = survey.declination(**(usual | {name: value}))
        assert -180 <= told <= 180
        assert sd > 0
    for value in (low - beyond, high + beyond, np.nan):
        with pytest.raises(ValueError, match=f"^{name}: "):
            survey.declination(**(usual | {name: value}))
