from __future__ import annotations

import numpy as np
import pytest

from survey import hunts
from treeward import survey

BEES = ("yellow", "blue", "white", "red")


def two_lines(
    apart_deg: float = 80.0,
) -> tuple[survey.Stations, survey.Trips, survey.Bearings]:
    """Return two bees on one line and two on another, at one station."""
    rng = np.random.default_rng(5)
    bee = np.tile(np.arange(4), 6)
    away = np.where(bee < 2, 700.0, 900.0) * hunts.PER_METRE
    gap = away + 134.0 * np.exp(0.25 * rng.standard_normal(24))
    turn = np.where(bee < 2, 40.0, 40.0 + apart_deg) + 8.0 * rng.standard_normal(24)
    return (
        hunts.stations(),
        hunts.trips(gap, bee=list(bee), bees=BEES),
        hunts.bearings(turn, bee=list(bee)),
    )


def marks(fix: survey.Fix) -> set[tuple[str, ...]]:
    return {colony.marks for colony in fix.colonies}


def test_two_lines_are_two_colonies() -> None:
    fix = survey.locate(*two_lines())
    assert marks(fix) == {("yellow", "blue"), ("white", "red")}
    assert [c.id for c in fix.colonies] == ["A", "B"]
    assert fix.same_colony["yellow", "blue"] > 0.8
    assert fix.same_colony["yellow", "white"] < 0.2


def test_each_colony_is_told_what_would_help_it() -> None:
    fix = survey.locate(*two_lines())

    first, second = fix.colonies
    assert (fix.next_station, fix.search_plan) == (
        first.next_station,
        first.search_plan,
    )
    for colony in fix.colonies:
        assert colony.search_plan
        assert colony.searched is not None
        found = sum(strip.probability for strip in colony.search_plan)
        assert 0 < found <= colony.searched.plan_finds + 1e-9
        assert colony.next_station is not None
        seat = colony.next_station
        assert seat.area_90_m2 == pytest.approx(
            colony.search_areas[90].area_m2, rel=0.05
        )
        kind = survey.AdviceKind.SIT_NEXT
        assert survey.Advice(kind=kind, colony=colony.id, seat=seat) in fix.advice
    assert first.next_station != second.next_station
    # What is true of both is said once, and of no colony by name.
    (one,) = (s for s in fix.advice if s.kind is survey.AdviceKind.ONE_STATION)
    assert not one.colony


def test_one_line_is_one_colony() -> None:
    fix = survey.locate(*two_lines(apart_deg=0.0))
    assert marks(fix) == {BEES}


def test_assigned_marks_stay_where_they_were_put() -> None:
    settings = survey.Settings(assigned={"yellow": "oak", "blue": "ash"})
    fix = survey.locate(*two_lines(apart_deg=0.0), settings)
    by_id = {c.id: c.marks for c in fix.colonies}
    assert "yellow" in by_id["oak"]
    assert "blue" in by_id["ash"]
    settings = survey.Settings(assigned=dict.fromkeys(BEES, "oak"))
    fix = survey.locate(*two_lines(), settings)
    assert marks(fix) == {BEES}


def test_bees_of_a_known_hive_are_left_out() -> None:
    hive = survey.KnownHive(
        name="apiary by the lane",
        latitude_deg=52.3,
        longitude_deg=-3.6,
        marks=("white", "red"),
    )
    fix = survey.locate(*two_lines(), survey.Settings(known_hives=(hive,)))
    assert marks(fix) == {("yellow", "blue")}
    assert {b.bee for b in fix.bees} == {"yellow", "blue"}
    (left_out,) = (s for s in fix.advice if s.kind is survey.AdviceKind.LEFT_OUT)
    assert left_out.marks == ("white", "red")


def test_bearings_of_unmarked_bees_go_to_the_line_they_follow() -> None:
    stations, trips, bearings = two_lines()
    extra = survey.Bearings(
        bee=np.append(bearings.bee, [-1, -1]),
        station=np.append(bearings.station, [0, 0]),
        bearing_true_deg=np.append(bearings.bearing_true_deg, [41.0, 300.0]),
        rounding_deg=np.append(bearings.rounding_deg, [1.0, 1.0]),
    )
    fix = survey.locate(stations, trips, extra)
    plain = survey.locate(stations, trips, bearings)
    assert marks(fix) == marks(plain)
    assert fix.colonies[0].search_areas[90].area_m2 == pytest.approx(
        plain.colonies[0].search_areas[90].area_m2, rel=0.15
    )
    assert fix.colonies[1].search_areas[90].area_m2 == pytest.approx(
        plain.colonies[1].search_areas[90].area_m2, rel=1e-6
    )
