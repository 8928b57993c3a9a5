"""Single days beside all days together, in words, figures and files."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import TYPE_CHECKING

import pytest

from treeward.hunt.partial import days_of
from treeward.report.page import page_text
from treeward.report.result_json import result_dict
from treeward.report.sketch import sketch
from treeward.report.wording import (
    agreement_sentences,
    agreement_text,
    disagreements,
    place_rows,
)
from treeward.survey.records import Advice, AdviceKind
from treeward.trips.table import day_tables, undated

if TYPE_CHECKING:
    from treeward.report.model import HuntResult

DAYS = (date(2026, 7, 14), date(2026, 7, 15))


def test_every_trip_and_bearing_is_on_one_day(two_days: HuntResult) -> None:
    zone = two_days.hunt_file.hunt.zone
    parts = day_tables(two_days.table, zone)

    assert tuple(parts) == DAYS
    whole = two_days.table
    assert sum(len(part.trips) for part in parts.values()) == len(whole.trips)
    assert sum(len(part.lines) for part in parts.values()) == len(whole.lines)
    assert {t.station for t in parts[DAYS[1]].trips} == {"2"}


def test_a_day_begins_where_the_hunt_is(result: HuntResult) -> None:
    # 23:30 UTC is the next morning six hours to the east.
    late = datetime(2026, 7, 14, 23, 30, tzinfo=UTC)
    trip = replace(
        result.table.trips[0], away_clock=late, back_clock=late + timedelta(minutes=5)
    )
    table = replace(result.table, trips=(trip,), lines=(), visits=())

    (day,) = days_of(table, timezone(timedelta(hours=6)))

    assert day.day == DAYS[1]


def test_a_station_s_figures_are_of_used_trips(two_days: HuntResult) -> None:
    first, second = two_days.days
    (station,) = first.stations
    trips = [t for t in two_days.table.trips if t.station == "1"]
    used = sorted(t.away_s for t in trips if t.used)

    assert (station.station, station.trips, station.trips_used) == (
        "1",
        len(trips),
        len(used),
    )
    middle = len(used) // 2
    expected = used[middle] if len(used) % 2 else (used[middle - 1] + used[middle]) / 2
    assert station.median_away_s == pytest.approx(expected)
    assert second.stations[0].bees == ("yellow", "blue-white", "white")


def test_bearings_of_two_colonies_have_no_mean(result: HuntResult) -> None:
    line = result.table.lines[0]
    both = tuple(replace(line, bearing_read_deg=b) for b in (10.0, 12.0, 100.0, 103.0))
    near = tuple(replace(line, bearing_read_deg=b) for b in (355.0, 5.0))
    zone = result.hunt_file.hunt.zone

    def mean(lines: tuple[object, ...]) -> float | None:
        table = replace(result.table, lines=lines, trips=())  # type: ignore[arg-type]
        return days_of(table, zone)[0].stations[0].mean_bearing_read_deg

    assert mean(both) is None
    found = mean(near)
    assert found is not None
    assert math.cos(math.radians(found)) == pytest.approx(1.0)


def test_trips_without_a_clock_are_on_no_day(result: HuntResult) -> None:
    trip = replace(result.table.trips[0], away_clock=None, back_clock=None)
    table = replace(result.table, trips=(trip,), lines=(), visits=())

    assert undated(table) == 1
    assert days_of(table, result.hunt_file.hunt.zone) == ()


def test_days_that_agree_are_said_to(two_days: HuntResult) -> None:
    (said,) = agreement_sentences(two_days)

    assert said == (
        "14 Jul 2026 and 15 Jul 2026 agree: the place that all days give together "
        "lies within what each day gives alone."
    )
    assert disagreements(two_days) == []


def test_many_days_are_counted_not_listed(two_days: HuntResult) -> None:
    first = two_days.days[0]
    season = tuple(
        replace(first, day=first.day + timedelta(days=3 * n)) for n in range(20)
    )
    said, *_ = agreement_sentences(replace(two_days, days=season))

    assert said.startswith("All 20 days, 14 Jul 2026 to 9 Sep 2026, agree: ")


def test_a_day_that_does_not_agree_is_named(days_apart: HuntResult) -> None:
    (said,) = agreement_sentences(days_apart)

    assert said.startswith(
        "15 Jul 2026 does not agree: alone it gives a place 860 m north-east of"
    )
    assert "outside that day's 95 % area" in said
    assert disagreements(days_apart) == [said]
    assert [agreement_text(one) for _, one, _ in place_rows(days_apart)] == [
        "agrees",
        "does not agree",
    ]


def test_one_day_alone_is_compared_with_nothing(two_days: HuntResult) -> None:
    first, second = two_days.days
    only = replace(two_days, days=(first, replace(second, colonies=())))

    assert agreement_sentences(only) == []


def test_the_page_shows_days_and_warns(
    two_days: HuntResult, days_apart: HuntResult, result: HuntResult
) -> None:
    drawings = {"map": "<svg></svg>", "map-phone": "<svg></svg>"}
    agreed = page_text(two_days, drawings=drawings)
    apart = page_text(days_apart, drawings=drawings)
    single = page_text(result, drawings=drawings)

    assert "<h2>Day by day</h2>" in agreed
    assert "The days disagree." not in agreed
    assert "all days</th>" in agreed
    warned = apart.index("The days disagree.")
    assert warned < apart.index("<h2>Map</h2>")
    assert "Day by day" not in single


def test_json_carries_each_day(days_apart: HuntResult) -> None:
    first, second = result_dict(days_apart)["days"]

    assert [first["day"], second["day"]] == ["2026-07-14", "2026-07-15"]
    (colony,) = second["colonies"]
    assert colony["agrees"] is False
    assert colony["smallest_area_with_common_place_percent"] is None
    assert colony["from_common_place_m"] == pytest.approx(860, abs=5)
    assert colony["search_area"]["90"]["area_ha"] > 0
    assert first["colonies"][0]["agrees"] is True
    assert first["stations"][0]["trips_used"] > 0


def test_map_files_carry_the_area_of_each_day(two_days: HuntResult) -> None:
    areas = sketch(two_days).day_areas

    assert [area.name for area in areas] == [
        "90 % search area, 14 Jul 2026 alone",
        "90 % search area, 15 Jul 2026 alone",
    ]
    assert all(area.patches for area in areas)


def test_days_that_disagree_never_stand_beside_stop_lining(
    days_apart: HuntResult, two_days: HuntResult
) -> None:
    stop = Advice(kind=AdviceKind.STOP_LINING, area_m2=94_500.0)

    def without_a_seat(some: HuntResult) -> HuntResult:
        assert some.fix is not None
        colony = replace(some.fix.colonies[0], next_station=None, advice=(stop,))
        fix = replace(some.fix, colonies=(colony,), next_station=None, advice=(stop,))
        return replace(some, fix=fix)

    apart, agreed = without_a_seat(days_apart), without_a_seat(two_days)

    said = disagreements(apart)
    assert len(said) == 1
    # What differs by day comes first, before faults of the person.
    assert said[0].index("in the hive that day") < said[0].index("read wrong")
    words = page_text(apart, drawings={})
    assert "top lining" not in words
    assert "The days disagree: find out why" in words
    assert "top lining" not in str(result_dict(apart))
    assert "Stop lining" in page_text(agreed, drawings={})
    (told,) = result_dict(agreed)["advice"]
    assert told.startswith("stop lining and look up trees: the 90 % area is 9.4 ha")
    assert result_dict(agreed)["advice_kinds"] == [
        {"kind": "stop_lining", "area_ha": 9.45}
    ]
    assert result_dict(apart)["advice_kinds"] == []
