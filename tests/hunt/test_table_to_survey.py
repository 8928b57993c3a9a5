"""What the survey is told of trips, bearings and winds made by hand, one by one."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from hunt.found_world import HERE, off
from treeward import survey
from treeward.errors import HuntError
from treeward.hunt.locating import (
    prepare_hunt,
    refusals_told,
    settings_from,
    stations_of,
    survey_hunt,
)
from treeward.hunt_file import parse_hunt_table
from treeward.measures import Position, format_position
from treeward.report.model import MissingKind
from treeward.trips.table import FlightLine, Trip, TripTable, WindSaid

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.hunt.locating import Prepared
    from treeward.hunt_file import HuntFile

TEN = datetime(2026, 7, 14, 10, 0, tzinfo=UTC)
PLACES = {"1": (HERE, "hunt.toml"), "2": (off(500), "track")}
# Where the needle points far off north, and otherwise at each: 15 and 29 degrees east.
WEST = Position(latitude_deg=47.0, longitude_deg=-122.0)
SOUTH = Position(latitude_deg=-49.0, longitude_deg=178.0)


def hunt_file(*, compass: str = "true", **tables: Any) -> HuntFile:
    whole: dict[str, Any] = {
        "hunt": {"name": "x", "timezone": "Europe/London", "compass": compass},
        "station": [{"id": "1"}, {"id": "2"}, {"id": "3"}],
    }
    return parse_hunt_table(whole | tables, where="hunt.toml")


def trip(bee: str, minute: float | None = 0.0, **more: Any) -> Trip:
    clock = None if minute is None else TEN + timedelta(minutes=minute)
    told: dict[str, Any] = {
        "mark": bee, "station": "1", "away_clock": clock, "back_clock": None,
        "from_clock": clock, "away_s": 300.0,
    }  # fmt: skip
    return Trip(bee=bee, **told | more)


def line(read_deg: float, **more: Any) -> FlightLine:
    told: dict[str, Any] = {
        "mark": "red", "bee": "red", "station": "1", "clock": TEN, "rounding_deg": 1.0,
        "used": True,
    }  # fmt: skip
    return FlightLine(bearing_read_deg=read_deg, **told | more)


def wind(minute: float | None, strength: str = "light", **more: Any) -> WindSaid:
    clock = None if minute is None else TEN + timedelta(minutes=minute)
    return WindSaid(clock=clock, strength=strength, **{"from_deg": None} | more)


def table(
    *trips: Trip,
    lines: tuple[FlightLine, ...] = (),
    winds: tuple[WindSaid, ...] = (),
    **more: Any,
) -> TripTable:
    return TripTable(visits=(), trips=trips, lines=lines, winds=winds, **more)


def prepared(told: TripTable, *, file: HuntFile | None = None, **more: Any) -> Prepared:
    places = more.pop("places", PLACES)
    return prepare_hunt(file or hunt_file(), told, places, today=TEN, **more)


def numbers(array: NDArray[Any] | None) -> list[Any]:
    assert array is not None
    return list(array.tolist())


def test_only_what_is_used_and_at_a_known_station_is_told() -> None:
    seen = prepared(
        table(
            trip("red"),
            trip("blue", used=False),
            trip("pink", station="3"),  # nobody knows where that is
            trip("grey", station="2"),
            lines=(
                line(10),
                line(20, used=False, bee="white"),
                line(30, station="3", bee="lime"),
            ),
        )
    ).seen()
    assert seen.trips.bees == ("red", "grey")
    assert numbers(seen.trips.station) == [0, 1]
    assert numbers(seen.bearings.bearing_true_deg) == [10.0]
    assert seen.stations.id == ("1", "2")


def test_each_trip_keeps_what_is_its_own() -> None:
    trips = prepared(
        table(
            trip("red", timing="round", rounding_s=60.0, away_s=301.0),
            trip("blue", cycles=2),
            trip("red", None, stated=True),
            trip("red", 24 * 60),
            trip("pink", station="2"),
            maybe_same=(("blue", "pink"), ("blue", "gone"), ("gone", "red")),
        )
    ).trips()
    assert numbers(trips.bee) == [0, 1, 0, 0, 2]
    assert numbers(trips.away_s) == [301.0, 300.0, 300.0, 300.0, 300.0]
    assert numbers(trips.round_trip) == [True, False, False, False, False]
    assert numbers(trips.rounding_s) == [60.0, 0.0, 0.0, 0.0, 0.0]
    assert numbers(trips.cycles) == [1, 2, 1, 1, 1]
    assert numbers(trips.day) == [0, 0, 0, 1, 0]  # without a clock: the first
    assert trips.maybe_same == ((1, 2),)


def test_each_bearing_keeps_what_is_its_own() -> None:
    ready = prepared(
        table(
            trip("blue"),
            lines=(
                line(10, observer="Ann", rounding_deg=22.5),
                line(20, observer="Ben", bee="", mark="", station="2"),
                line(30, observer="Ann", bee="blue", rounding_deg=5.0),
            ),
        )
    )
    bearings = ready.bearings()
    assert ready.bees == ("blue", "red")
    assert numbers(bearings.bee) == [1, -1, 0]
    assert ready.observers == ("Ann", "Ben")
    assert numbers(bearings.observer) == [0, 1, 0]
    assert numbers(bearings.rounding_deg) == [22.5, 1.0, 5.0]
    assert numbers(bearings.station) == [0, 1, 0]
    ready.turned_deg = {"Ben": 30.0}  # she reads as she should
    assert numbers(ready.bearings().bearing_true_deg) == [10.0, 350.0, 30.0]


@pytest.mark.parametrize(
    ("references", "compass", "sure"),
    [
        (("", ""), "true", True),
        (("", "magnetic"), "true", False),
        (("true", "true"), "magnetic", True),
        (("true", ""), "magnetic", False),
        (("magnetic", "magnetic"), "true", False),
    ],
)
def test_declination_is_in_doubt_where_any_bearing_hangs_on_it(
    references: tuple[str, str], compass: str, *, sure: bool
) -> None:
    lines = tuple(line(10, reference=one) for one in references)
    ready = prepared(table(lines=lines), file=hunt_file(compass=compass))
    assert (ready.bearings().declination_sd_deg == 0.0) is sure


def test_each_bearing_is_turned_by_the_declination_of_its_own_station() -> None:
    places = {"1": (WEST, "track"), "2": (SOUTH, "track")}
    told = table(
        trip("red"),
        trip("red", station="2"),
        lines=(line(100), line(100, station="2"), line(350, station="2")),
        winds=(wind(-1, from_deg=100.0),),
    )
    ready = prepared(told, file=hunt_file(compass="magnetic"), places=places)
    west, south = (place.declination_deg for place in ready.places)
    assert 14 < west < 17
    assert 27 < south < 32
    assert numbers(ready.bearings().bearing_true_deg) == pytest.approx(
        [100 + west, 100 + south, south - 10]  # across north
    )
    # The wind was said nowhere: near the station of each trip, then.
    blown = ready.wind()
    assert blown is not None
    assert numbers(blown.from_true_deg) == pytest.approx([100 + west, 100 + south])
    # The less sure of the two counts for all.
    sure = [
        survey.declination(p.latitude_deg, p.longitude_deg, TEN.date(), altitude_m=0)[1]
        for p in (WEST, SOUTH)
    ]
    assert ready.bearings().declination_sd_deg == pytest.approx(max(sure))


@pytest.mark.parametrize(
    ("said_at", "turned_by"),
    [("1", (0, 0)), ("2", (1, 1)), ("3", (0, 1)), ("", (0, 1))],
)
def test_a_wind_is_turned_by_the_declination_where_it_was_said(
    said_at: str, turned_by: tuple[int, int]
) -> None:
    places = {"1": (WEST, "track"), "2": (SOUTH, "track")}
    told = table(
        trip("red"),
        trip("red", station="2"),
        winds=(wind(-1, from_deg=100.0, station=said_at),),
    )
    ready = prepared(told, file=hunt_file(compass="magnetic"), places=places)
    blown = ready.wind()
    assert blown is not None
    assert numbers(blown.from_true_deg) == pytest.approx(
        [100 + ready.places[n].declination_deg for n in turned_by]
    )


def test_of_winds_the_last_before_each_trip_holds_whatever_their_order() -> None:
    told = table(
        trip("red", 10),
        trip("red", 30),
        trip("red", None),
        trip("red", None, back_clock=TEN + timedelta(minutes=31)),
        trip("red", -5),
        winds=(
            wind(20, "strong", from_deg=90.0),
            wind(0, "light", from_deg=45.0),
            wind(29, "light"),  # from where was not said
            wind(None, "strong"),
        ),
    )
    blown = prepared(told).wind()
    assert blown is not None
    light = survey.WIND_MPS["light"]
    speeds = numbers(blown.speed_mps)
    assert speeds[:2] == [light, light]
    assert math.isnan(speeds[2])
    assert speeds[3] == light
    assert math.isnan(speeds[4])
    ways = numbers(blown.from_true_deg)
    assert ways[0] == 45.0
    assert all(map(math.isnan, ways[1:]))
    assert prepared(table(trip("red"), winds=(wind(None),))).wind() is None


def test_the_day_of_the_first_note_tells_the_declination() -> None:
    """The needle turns with the years: by a tenth of a degree and more in five."""

    def declination_deg(told: TripTable, today: datetime = TEN) -> float:
        ready = prepare_hunt(hunt_file(), told, PLACES, today=today)
        return ready.places[0].declination_deg

    late = TEN + timedelta(days=3 * 365)
    plain, later = declination_deg(table()), declination_deg(table(), late)
    assert later - plain > 0.3
    assert declination_deg(table(trip("red")), late) == plain
    back = trip("red", None, back_clock=TEN)
    assert declination_deg(table(back), late) == plain
    assert declination_deg(table(trip("red", None)), late) == later
    both = table(trip("red", 3 * 365 * 1440), lines=(line(10),))
    assert declination_deg(both, late) == plain
    unseen = table(trip("red", 0, used=False), trip("red", 3 * 365 * 1440))
    assert declination_deg(unseen, late) == plain


def test_a_mark_that_calibrates_does_so_at_its_station_alone() -> None:
    hive = {"station": "1", "hive": format_position(off(120)), "marks": ["red"]}
    told = table(trip("red", station="2"), trip("blue"), lines=(line(10, station="2"),))
    ready = prepared(told, file=hunt_file(calibration=hive))
    assert ready.stations().id == ("1", "2")
    told = table(trip("blue"), lines=(line(10),))
    ready = prepared(told, file=hunt_file(calibration=hive))
    assert ready.stations().id == ("1", "2", "1 (calibration)")
    assert numbers(ready.bearings().station) == [2]


def test_bees_are_known_by_their_own_name_and_by_their_mark() -> None:
    bees = {"red": "red", "red (2)": "red", "blue 14 Jul": "blue", "pink": "pink"}
    hive = {"name": "lane", "position": format_position(off(900))}
    told = settings_from(
        hunt_file(
            known_hive=[hive | {"marks": ["red (2)", "blue"]}],
            colony=[{"id": "A", "marks": ["red"]}, {"id": "B", "marks": ["pink"]}],
        ),
        tuple(bees),
        bees,
    )
    assert told.known_hives[0].marks == ("red (2)", "blue 14 Jul")
    assert told.assigned == {"red": "A", "red (2)": "A", "pink": "B"}


def test_a_compass_without_any_spread_has_a_hundredth_of_a_degree() -> None:
    for said, told in ((0.0, 0.01), (0.005, 0.01), (0.02, 0.02)):
        file = hunt_file(model={"compass_sd_deg": said})
        assert settings_from(file, (), {}).compass_sd_deg == told


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, dict[str, Any]]]:
    """Keep what the survey is asked."""
    kept: list[tuple[Any, dict[str, Any]]] = []

    def locate(*told: Any, **named: Any) -> Any:
        kept.append((told, named))
        return SimpleNamespace(name="an answer")

    monkeypatch.setattr(survey, "locate", locate)
    return kept


def test_trips_or_bearings_alone_are_asked_of_the_survey_and_nothing_is_not(
    asked: list[tuple[Any, dict[str, Any]]],
) -> None:
    file, searching = hunt_file(), survey.Searching()
    nothing = table(trip("red", used=False))
    assert survey_hunt(file, nothing, PLACES, today=TEN).fix is None
    assert asked == []
    for told in (table(trip("red")), table(lines=(line(10),))):
        found = survey_hunt(file, told, PLACES, today=TEN, searching=searching)
        assert found.fix is not None
        assert [place.id for place in found.stations] == ["1", "2"]
        (stations, trips, bearings, settings), named = asked.pop()
        assert (len(trips.bee), len(bearings.bee)) == (len(told.trips), len(told.lines))
        assert stations.id == ("1", "2")
        assert settings is found.settings
        assert named == {"wind": None, "searching": searching, "onward": True}
    windy = table(trip("red"), winds=(wind(-1),))
    survey_hunt(file, windy, PLACES, today=TEN, onward=False, assigned={"red": "Z"})
    ((_, _, _, settings), named) = asked.pop()
    assert (named["onward"], named["searching"]) == (False, None)
    assert named["wind"] is not None
    assert settings.assigned == {"red": "Z"}


def test_what_the_survey_refuses_names_where_to_mend_it() -> None:
    with (
        pytest.raises(HuntError, match="the survey cannot take this: too fast") as told,
        refusals_told("hunt.toml", "Mend it."),
    ):
        raise ValueError("too fast")
    assert (told.value.where, told.value.mend) == ("hunt.toml", "Mend it.")


def test_stations_of_notes_that_hunt_toml_lacks_are_named_once_in_order() -> None:
    told = table(
        trip("red", station="9"),
        trip("red", station="3", used=False),
        trip("red", station=""),
        lines=(line(10, station="7"), line(10, station="9")),
    )
    found = survey_hunt(hunt_file(), told, PLACES, today=TEN)
    assert [(m.kind, m.stations) for m in found.missing] == [
        (MissingKind.NO_POSITION, ("3",)),
        (MissingKind.UNKNOWN_STATION, ("7", "9")),
    ]
    seen = table(lines=(line(10, station="3"),))
    (missing,) = survey_hunt(hunt_file(), seen, PLACES, today=TEN).missing
    assert missing.stations == ("3",)


def test_what_is_left_out_of_a_walk_is_told_longitude_first() -> None:
    corners = [off(300, azimuth) for azimuth in (0, 120, 240)]
    rings = [[format_position(p) for p in corners]] * 2
    file = hunt_file(walk={"leave_out": rings})
    left = settings_from(file, (), {}).leave_out
    assert len(left) == 2
    told = np.array([(p.longitude_deg, p.latitude_deg) for p in corners])
    assert np.asarray(left[1]) == pytest.approx(told, abs=1e-5)


def test_stations_are_shown_by_the_day_of_their_notes(tmp_path: Path) -> None:
    file = hunt_file(station=[{"id": "1", "position": format_position(HERE)}])
    late = datetime(2041, 7, 14, tzinfo=UTC)  # beyond the magnetic model
    assert stations_of(file, tmp_path, table(), today=late) == ()
    (one,) = stations_of(file, tmp_path, table(trip("red")), today=late)
    assert (one.id, one.placed_by) == ("1", "hunt.toml")
    beyond = table(trip("red", 15 * 365 * 1440))
    assert stations_of(file, tmp_path, beyond, today=TEN) == ()
