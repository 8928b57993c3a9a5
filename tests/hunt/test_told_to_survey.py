"""What the survey is told of a hunt: stations, trips, bearings, wind, and settings."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from hunt.found_world import HERE, off
from treeward import survey
from treeward.errors import HuntError
from treeward.hunt.locating import prepare_hunt, settings_from, stations_of, survey_hunt
from treeward.hunt.places import (
    NEAR_STATION_M,
    find_tracks,
    offered_stations,
    place_stations,
    read_tracks,
)
from treeward.hunt.tracks import IdleTrackError, TrackError
from treeward.hunt_file import parse_hunt_table
from treeward.language.kinds import EventKind
from treeward.measures import Position, format_position
from treeward.notes.events import Event
from treeward.report.model import MissingKind
from treeward.trips import pair_trips
from treeward.trips.table import DoubtCode

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.hunt.locating import Prepared
    from treeward.hunt_file import HuntFile
    from treeward.trips.table import TripTable

TEN = datetime(2026, 7, 14, 9, 0, tzinfo=UTC)
K = EventKind


def hunt_file(*, compass: str = "true", **tables: Any) -> HuntFile:
    whole: dict[str, Any] = {
        "hunt": {"name": "x", "timezone": "Europe/London", "compass": compass},
        "station": [
            {"id": "1", "cargo": "water"},
            {"id": "2", "cargo": "syrup", "name": "spring"},
        ],
    }
    return parse_hunt_table(whole | tables, where="hunt.toml")


def note(minute: float, kind: EventKind, mark: str = "", value: str = "") -> Event:
    clock = TEN + timedelta(minutes=minute)
    return Event(kind=kind, mark=mark, value=value, clock=clock, row=f"r{minute}")


def watch(mark: str, minute: float, bearing: str = "") -> list[Event]:
    """Return one trip of five minutes, and its bearing."""
    events = [note(minute, K.AWAY, mark), note(minute + 5, K.BACK, mark)]
    if bearing:
        events.append(note(minute + 0.1, K.BEARING, mark, bearing))
    return events


NOTES = [
    note(0, K.STATION, value="1"),
    *watch("yellow", 1, "210"),
    note(8, K.WIND, value="light"),
    *watch("red", 10, "220"),
    note(20, K.STATION, value="2"),
    *watch("blue", 21, "200 true"),
]
PLACES = {"1": (HERE, "hunt.toml"), "2": (off(500), "track")}


def prepared(events: list[Event] = NOTES, **tables: Any) -> Prepared:
    file = hunt_file(**tables)
    return prepare_hunt(file, pair_trips(events, file), PLACES, today=TEN)


def test_stations_are_told_with_their_place_and_what_bees_fetch() -> None:
    ready = prepared()
    stations = ready.seen().stations
    assert stations.id == ("1", "2")
    assert stations.cargo == ("water", "syrup")
    assert stations.latitude_deg.tolist() == [
        p.latitude_deg for p, _ in PLACES.values()
    ]
    assert stations.longitude_deg.tolist() == [
        p.longitude_deg for p, _ in PLACES.values()
    ]
    one, two = ready.places
    assert (one.id, one.placed_by, one.name) == ("1", "hunt.toml", "")
    assert (two.id, two.placed_by, two.name) == ("2", "track", "spring")
    told, _ = survey.declination(
        HERE.latitude_deg, HERE.longitude_deg, TEN.date(), altitude_m=0.0
    )
    assert one.declination_deg == pytest.approx(told, abs=0.05)


def test_trips_are_told_by_bee_station_and_seconds() -> None:
    trips = prepared().seen().trips
    marks = [bee.split()[0] for bee in trips.bees]
    assert [marks[n] for n in trips.bee] == ["yellow", "red", "blue"]
    assert trips.station.tolist() == [0, 0, 1]
    assert trips.away_s.tolist() == [300.0, 300.0, 300.0]
    assert trips.round_trip is not None
    assert trips.round_trip.tolist() == [False] * 3
    assert trips.day is not None
    assert trips.day.tolist() == [0, 0, 0]


def test_days_are_numbered_in_their_order_by_the_hunts_own_midnight() -> None:
    def days(*begun: datetime) -> list[int]:
        events = [NOTES[0]]
        for clock in begun:
            at = (clock - TEN).total_seconds() / 60
            events += watch("yellow", at)
        day = prepared(sorted(events, key=lambda e: e.clock or TEN)).seen().trips.day
        assert day is not None
        return [int(n) for n in day]

    next_day = TEN + timedelta(days=1)
    assert days(TEN, next_day) == [0, 1]
    assert days(TEN, TEN + timedelta(days=5), next_day) == [0, 1, 2]


def test_bearings_are_told_true_with_who_flew_and_where() -> None:
    ready = prepared()
    bearings = ready.seen().bearings
    assert bearings.bearing_true_deg.tolist() == [210.0, 220.0, 200.0]
    assert bearings.station.tolist() == [0, 0, 1]
    assert bearings.bee.tolist() == [0, 1, 2]
    assert bearings.declination_sd_deg == 0.0  # none was read off a needle
    ready.turned_deg = {"": 15.0}
    assert ready.bearings().bearing_true_deg.tolist() == [195.0, 205.0, 185.0]
    ready.turned_deg = {"": 215.0}
    assert ready.bearings().bearing_true_deg.tolist() == [355.0, 5.0, 345.0]


def test_magnetic_bearings_are_turned_by_the_declination_east_positive() -> None:
    ready = prepared(compass="magnetic")
    one, two = ready.places
    bearings = ready.seen().bearings
    assert bearings.bearing_true_deg[0] == pytest.approx(210 + one.declination_deg)
    assert bearings.bearing_true_deg[2] == 200.0  # it was said against true north
    assert bearings.declination_sd_deg > 0
    assert one.declination_deg == pytest.approx(two.declination_deg, abs=0.01)


def test_the_wind_last_spoken_of_holds_until_another_is() -> None:
    def speeds(*said: Event) -> list[float] | None:
        events = [e for e in NOTES if e.kind is not K.WIND]
        wind = prepared([*events, *said]).seen().wind
        return None if wind is None else [float(v) for v in wind.speed_mps]

    light, strong = survey.WIND_MPS["light"], survey.WIND_MPS["strong"]
    assert speeds() is None
    early = note(-5, K.WIND, value="light")
    assert speeds(early, note(15, K.WIND, value="strong")) == [light, light, strong]
    told = speeds(note(15, K.WIND, value="strong"))
    assert told is not None
    assert [math.isnan(v) for v in told] == [True, True, False]
    # At the moment of leaving it is spoken of already; of yesterday's nobody knows.
    told = speeds(note(10, K.WIND, value="light"))
    assert told is not None
    assert [math.isnan(v) for v in told] == [True, False, False]
    told = speeds(note(-24 * 60, K.WIND, value="light"))
    assert told is not None
    assert all(map(math.isnan, told))


def test_where_the_wind_comes_from_is_told_as_a_true_bearing() -> None:
    wind = prepared([*NOTES, note(-1, K.WIND, value="light 300")]).seen().wind
    assert wind is not None
    assert wind.from_true_deg is not None
    assert wind.from_true_deg[0] == 300.0
    magnetic = prepared(
        [*NOTES, note(-1, K.WIND, value="light 300")], compass="magnetic"
    )
    turned = magnetic.seen().wind
    assert turned is not None
    assert turned.from_true_deg is not None
    assert turned.from_true_deg[0] == pytest.approx(
        300 + magnetic.places[0].declination_deg
    )


def test_marks_of_a_calibration_have_a_seat_of_their_own() -> None:
    hive = format_position(off(120))
    calibration = {"station": "1", "hive": hive, "marks": ["red"]}
    ready = prepared(calibration=calibration)
    seen = ready.seen()
    assert seen.stations.id == ("1", "2", "1 (calibration)")
    assert seen.stations.latitude_deg[2] == seen.stations.latitude_deg[0]
    assert seen.stations.cargo == ("water", "syrup", "water")
    assert seen.trips.station.tolist() == [0, 2, 1]
    assert seen.bearings.station.tolist() == [0, 2, 1]
    (told,) = ready.settings.calibrations
    assert told.station == "1 (calibration)"
    assert told.hive_longitude_deg == pytest.approx(off(120).longitude_deg, abs=1e-5)
    assert told.hive_latitude_deg == pytest.approx(off(120).latitude_deg, abs=1e-5)
    # Without marks all that was watched there calibrates.
    whole = prepared(calibration={"station": "1", "hive": hive})
    assert whole.settings.calibrations[0].station == "1"
    assert whole.seen().stations.id == ("1", "2")


def settings(**tables: Any) -> survey.Settings:
    bees = {"yellow on 14 Jul": "yellow", "red": "red"}
    return settings_from(hunt_file(**tables), tuple(bees), bees)


def test_what_hunt_toml_does_not_say_is_as_usual() -> None:
    plain, usual = settings(), survey.Settings()
    for name in ("compass_sd_deg", "distance_median_m", "distance_sigma", "in_hive_s",
                 "distance_cut_m", "walk_limit_m", "flight_speed_out_mps"):  # fmt: skip
        assert getattr(plain, name) == getattr(usual, name)


def test_a_range_of_ninety_percent_is_a_lognormal_with_these_ends() -> None:
    told = settings(
        model={
            "flight_speed_out_m_per_s": [4.0, 9.0],
            "flight_speed_home_m_per_s": [5.0, 7.2],
            "in_hive_s": [100, 400],
        }
    )
    z = 1.6449  # the 95 % point of a standard normal

    def ends(median: float, spread: float | None) -> tuple[float, float]:
        assert spread is not None
        return median * math.exp(-z * spread), median * math.exp(z * spread)

    out = ends(told.flight_speed_out_mps, told.flight_speed_out_sd)
    home = ends(told.flight_speed_home_mps, told.flight_speed_home_sd)
    assert out == pytest.approx((4.0, 9.0))
    assert home == pytest.approx((5.0, 7.2))
    assert set(told.in_hive_s) == {"water", "syrup", "nectar"}
    for median_s in told.in_hive_s.values():
        assert ends(median_s * told.in_hive_factor, told.in_hive_factor_sd) == (
            pytest.approx((100, 400))
        )


def test_single_numbers_of_hunt_toml_go_where_they_belong() -> None:
    told = settings(
        model={
            "compass_sd_deg": 4,
            "prior_distance_median_m": 900,
            "prior_distance_sigma": 0.7,
            "prior_distance_max_m": 5000,
        },
        walk={"limit_m": 800},
    )
    assert told.compass_sd_deg == 4
    assert (told.distance_median_m, told.distance_sigma) == (900, 0.7)
    assert (told.distance_cut_m, told.walk_limit_m) == (5000, 800)


def test_hives_colonies_and_what_is_left_out_are_told() -> None:
    corners = [format_position(off(300, azimuth)) for azimuth in (0, 120, 240)]
    told = settings(
        known_hive=[
            {"name": "lane", "position": format_position(off(900)), "marks": ["red"]}
        ],
        colony=[{"id": "A", "marks": ["yellow"]}],
        walk={"leave_out": [corners]},
    )
    (hive,) = told.known_hives
    assert (hive.name, hive.marks) == ("lane", ("red",))
    assert hive.latitude_deg == pytest.approx(off(900).latitude_deg, abs=1e-5)
    assert hive.longitude_deg == pytest.approx(off(900).longitude_deg, abs=1e-5)
    assert told.assigned == {"yellow on 14 Jul": "A"}
    (ring,) = told.leave_out
    assert np.asarray(ring)[0] == pytest.approx(
        [off(300, 0).longitude_deg, off(300, 0).latitude_deg], abs=1e-5
    )


def test_who_assigns_bees_stands_before_hunt_toml() -> None:
    file = hunt_file(colony=[{"id": "A", "marks": ["yellow"]}])
    table = pair_trips(NOTES, file)
    bee = table.trips[0].bee
    ready = prepare_hunt(file, table, PLACES, today=TEN, assigned={bee: "B", "x": "C"})
    assert ready.settings.assigned == {bee: "B"}


def test_stations_without_a_place_are_missing_where_something_was_seen() -> None:
    file = hunt_file()
    strange = [*NOTES, note(30, K.STATION, value="9"), *watch("pink", 31)]
    some = survey_hunt(file, pair_trips(strange[:4], file), {}, today=TEN)
    assert some.fix is None
    assert [(m.kind, m.stations) for m in some.missing] == [
        (MissingKind.NO_POSITION, ("1",)),
        (MissingKind.NO_POSITION, ("2",)),  # nothing is known of either
    ]
    here = {"1": PLACES["1"]}
    nothing = survey_hunt(file, pair_trips([], file), here, today=TEN)
    assert (nothing.missing, nothing.fix) == ((), None)
    assert [place.id for place in nothing.stations] == ["1"]


def test_a_place_and_a_day_beyond_the_magnetic_model_are_refused() -> None:
    file = hunt_file()
    late = datetime(2041, 7, 14, tzinfo=UTC)
    with pytest.raises(
        HuntError, match="no magnetic declination for station 1"
    ) as told:
        prepare_hunt(file, pair_trips([], file), PLACES, today=late)
    assert told.value.where == "hunt.toml"


def gpx(folder: Path, body: str, name: str = "a.gpx") -> Path:
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        f"{body}</gpx>",
        "utf-8",
    )
    return path


def at(place: Position) -> str:
    return f'lat="{place.latitude_deg:.7f}" lon="{place.longitude_deg:.7f}"'


def waypoint(place: Position, name: str) -> str:
    return f"<wpt {at(place)}><name>{name}</name></wpt>"


def stay(place: Position, first: int, last: int) -> str:
    rows = "".join(
        f"<trkpt {at(place)}><time>"
        f"{TEN + timedelta(minutes=m):%Y-%m-%dT%H:%M:%SZ}</time></trkpt>"
        for m in range(first, last + 1)
    )
    return f"<trk><trkseg>{rows}</trkseg></trk>"


def test_tracks_of_a_hunt_lie_in_three_folders_but_for_the_maps_own(
    tmp_path: Path,
) -> None:
    for name in ("b.gpx", "tracks/a.GPX", "recordings/c.gpx", "other/d.gpx", "e.txt"):
        gpx(tmp_path, "", name)
    (tmp_path / "folder.gpx").mkdir()
    names = [p.relative_to(tmp_path).as_posix() for p in find_tracks(tmp_path)]
    assert names == ["b.gpx", "recordings/c.gpx", "tracks/a.GPX"]
    left = find_tracks(tmp_path, ["tracks/a.GPX"])
    assert [p.name for p in left] == ["b.gpx", "c.gpx"]


def table_of(file: HuntFile) -> TripTable:
    return pair_trips(NOTES, file)


def test_a_place_comes_from_hunt_toml_then_a_waypoint_then_the_track(
    tmp_path: Path,
) -> None:
    stations = [
        {"id": "1", "position": format_position(HERE)},
        {"id": "2"},
        {"id": "3"},
    ]
    file = hunt_file(station=stations)
    gpx(tmp_path, waypoint(off(50), "1") + stay(off(400), 0, 26))
    places = place_stations(file, tmp_path, table_of(file))
    assert places.positions["1"] == (HERE, "hunt.toml")
    place, by = places.positions["2"]
    assert by == "track"
    assert place.longitude_deg == pytest.approx(off(400).longitude_deg, abs=1e-6)
    (missing,) = places.unfound
    assert missing.kind is MissingKind.NOT_IN_GPX
    assert missing.stations == ("3",)
    assert missing.gpx is not None
    assert missing.gpx.names == ("3", "station 3")
    assert missing.gpx.waypoints == ("1",)
    assert missing.gpx.files == ("a.gpx",)
    assert missing.gpx.noted is None
    assert missing.gpx.tracks == (("a.gpx", TEN, TEN + timedelta(minutes=26)),)
    (line,) = places.tracks
    assert (line.name, len(line.latitude_deg)) == ("a", 27)
    assert line.latitude_deg[0] == pytest.approx(off(400).latitude_deg, abs=1e-6)
    # A waypoint by the station's name stands before the track.
    gpx(tmp_path, waypoint(off(77), "Spring"), "b.gpx")
    named = hunt_file()
    place, by = place_stations(named, tmp_path, table_of(named)).positions["2"]
    assert by == "waypoint"
    assert place.longitude_deg == pytest.approx(off(77).longitude_deg, abs=1e-6)


def test_when_notes_were_spoken_at_a_station_that_no_track_knows_is_told(
    tmp_path: Path,
) -> None:
    file = hunt_file()
    gpx(tmp_path, stay(HERE, 500, 501))
    one, two = place_stations(file, tmp_path, table_of(file)).unfound
    assert (one.stations, two.stations) == (("1",), ("2",))
    assert one.gpx is not None
    assert one.gpx.noted == (TEN + timedelta(minutes=1), TEN + timedelta(minutes=15))
    assert two.gpx is not None
    assert two.gpx.names == ("2", "station 2", "spring")
    assert two.gpx.noted == (TEN + timedelta(minutes=21), TEN + timedelta(minutes=26))
    # Without any file there is nothing to tell of one.
    assert place_stations(file, tmp_path / "none", table_of(file)).unfound == ()


def test_a_file_that_tells_nothing_is_in_the_way_only_where_one_is_needed(
    tmp_path: Path,
) -> None:
    gpx(tmp_path, f"<trk><trkseg><trkpt {at(HERE)}/></trkseg></trk>", "idle.gpx")
    known = hunt_file(station=[{"id": "1", "position": format_position(HERE)}])
    places = place_stations(known, tmp_path, table_of(known))
    assert (places.idle, places.tracks) == (("idle.gpx",), ())
    needy = hunt_file()
    with pytest.raises(IdleTrackError):
        place_stations(needy, tmp_path, table_of(needy))
    for key in ("tracks", "ground", "paths"):
        told = hunt_file(search={key: "idle.gpx"})
        assert read_tracks(told, tmp_path) == ([], [])
    (tmp_path / "idle.gpx").write_text("no gpx", "utf-8")
    with pytest.raises(TrackError):
        place_stations(known, tmp_path, table_of(known))


def offers(folder: Path, away_m: float, by: str = "") -> list[tuple[Any, Any, Any]]:
    """Return what is offered where one sat so far from station 1, and its name."""
    told = {"name": "x", "timezone": "Europe/London", "units": "imperial"}
    file = hunt_file(
        hunt=told,
        station=[
            {"id": "1", "position": format_position(HERE)},
            {"id": "2", "position": format_position(off(5_000, 0))},
        ],
    )
    gpx(folder, stay(off(away_m), 0, 30))
    events = [
        Event(kind=e.kind, mark=e.mark, clock=e.clock, recording=by or "memo.wav",
              start_s=0.0, end_s=1.0, row=e.row)
        for e in NOTES
        if e.mark and e.kind is not K.BEARING
    ]  # fmt: skip
    doubts = offered_stations(file, folder, pair_trips(events, file))
    return [(d.code, d.names, d.numbers) for d in doubts]


def test_a_track_offers_the_station_that_it_lies_at(tmp_path: Path) -> None:
    ((code, names, (off_m,)),) = offers(tmp_path, 45)
    assert code in {DoubtCode.TRACK_AGREES, DoubtCode.TRACK_DISAGREES}
    assert names == ("1", "memo.wav", "imperial")
    assert off_m == pytest.approx(45, abs=0.2)
    assert NEAR_STATION_M == 50.0
    assert offers(tmp_path, 55) == []


def test_where_nobody_can_tell_the_stations_none_are_shown(tmp_path: Path) -> None:
    file = hunt_file(station=[{"id": "1", "position": format_position(HERE)}])
    (only,) = stations_of(file, tmp_path, table_of(file), today=TEN)
    assert only.id == "1"
    (tmp_path / "a.gpx").write_text("no gpx", "utf-8")
    assert stations_of(file, tmp_path, table_of(file), today=TEN) == ()
