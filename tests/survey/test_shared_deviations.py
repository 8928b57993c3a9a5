"""What hunts share and no single trip or bearing tells."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from survey import hunts
from treeward import survey
from treeward.survey import answer
from treeward.survey.answer import weighted_quantiles
from treeward.survey.case import prepare
from treeward.survey.evidence import Evidence
from treeward.survey.next_station import (
    _fact,
    _line_variances,
    _time_variances,
    line_variance_deg2,
)

NO_LINES = hunts.bearings([])
BEES = ("yellow", "blue", "white", "red")


def even_trips(spread: float, distance_m: float, seed: int) -> survey.Trips:
    """Return four bees with fifteen trips each, regular or not."""
    rng = np.random.default_rng(seed)
    bee = np.repeat(np.arange(4), 15)
    stay = 134.0 * np.exp(0.15 * rng.standard_normal(4))
    away = hunts.usual(distance_m, stay_s=0.0) * (1 + 0.05 * rng.standard_normal(60))
    gap = away + stay[bee] * np.exp(spread * rng.standard_normal(60))
    return hunts.trips(np.round(gap), bee=list(bee), bees=BEES)


@pytest.mark.slow
@pytest.mark.parametrize(
    "spread", [0.08, pytest.param(0.25, marks=pytest.mark.slow), 0.5]
)
def test_regular_bees_are_not_pushed_away_nor_irregular_ones_drawn_near(
    spread: float,
) -> None:
    off, held = [], 0
    for seed in range(5):
        # As one colony, without the advice that comes of it: only distance matters.
        hunt = prepare(
            hunts.stations(),
            even_trips(spread, 150.0, seed),
            NO_LINES,
            survey.Settings(),
            None,
        )
        of_all = Evidence(hunt.case, frozenset(hunt.bees), np.zeros(0, dtype=bool))
        _, grid = answer.solve(of_all)
        away = np.hypot(*(grid.xy - hunt.case.origin_xy).T)
        low, median, high = weighted_quantiles(
            away, grid.probability, (0.05, 0.5, 0.95)
        )
        off.append(median - 150.0)
        held += low < 150.0 < high
    assert held >= 4
    assert abs(np.median(off)) < 110.0


@pytest.mark.slow
def test_the_spread_of_the_trips_is_learned() -> None:
    learned = [
        hunts.placed(hunts.stations(), even_trips(s, 150.0, 1), NO_LINES).learned
        for s in (0.10, 0.40)
    ]
    narrow, wide = (one["trip_spread"][0] for one in learned)
    assert narrow < 0.17
    assert wide > 0.28


def lines_of(
    count: int, *, offset_deg: tuple[float, float] = (0.0, 0.0)
) -> tuple[survey.Stations, survey.Bearings, tuple[float, float]]:
    """Return stations either side of a line to a colony, read by a person each."""
    rng = np.random.default_rng(4)
    colony, spots = (0.0, 800.0), [(-350.0, 0.0), (350.0, 0.0)]
    way = np.array(colony) - np.array(spots)
    seat = np.repeat([0, 1], count)
    turn = np.degrees(np.arctan2(*way.T))[seat] + np.array(offset_deg)[seat]
    turn = turn + 5.0 * rng.standard_normal(2 * count)
    bee = np.arange(2 * count) % 2 + 2 * seat
    return (
        hunts.stations(*spots),
        hunts.bearings(turn, bee=list(bee), station=list(seat)),
        colony,
    )


def area_90(fix: survey.Fix) -> float:
    return fix.colonies[0].search_areas[90].area_m2


ASSIGNED = survey.Settings(assigned=dict.fromkeys(BEES, "oak"))


@pytest.mark.slow
def test_more_bearings_at_the_same_stations_do_not_make_the_answer_sure() -> None:
    times = hunts.trips([hunts.usual(870.0)] * 8, bee=[0, 1, 2, 3] * 2, bees=BEES)
    few, many = (
        hunts.placed(stations, times, bearings, ASSIGNED)
        for stations, bearings, _ in (lines_of(15), lines_of(150))
    )
    assert area_90(many) > 0.5 * area_90(few)


@pytest.mark.slow  # the quick round: test_two_observers_have_a_compass_each
def test_each_observer_has_a_compass_of_their_own() -> None:
    stations, bearings, colony = lines_of(20, offset_deg=(8.0, -8.0))
    times = hunts.trips(
        [hunts.usual(870.0)] * 40,
        bee=[0, 1, 2, 3] * 10,
        station=[0, 0, 1, 1] * 10,
        bees=BEES,
    )
    two = dataclasses.replace(bearings, observer=np.repeat([7, 3], 20))
    apart = hunts.placed(stations, times, two, ASSIGNED)
    assert hunts.holds(apart.colonies[0].search_areas[95], colony)
    # The same said of one person is another claim: one offset for both lines.
    one = dataclasses.replace(bearings, observer=np.full(40, 2))
    alone = hunts.placed(stations, times, one, ASSIGNED)
    plain = hunts.placed(stations, times, bearings, ASSIGNED)
    assert area_90(alone) == pytest.approx(area_90(plain), rel=1e-9)
    assert area_90(apart) != pytest.approx(area_90(plain), rel=0.02)


@pytest.mark.slow
def test_a_line_that_leaves_along_a_lane_is_no_second_colony() -> None:
    # All bees of one station off by 16 degrees, those of the other by none.
    stations, bearings, _ = lines_of(12, offset_deg=(16.0, 0.0))
    times = hunts.trips(
        [hunts.usual(870.0, stay_s=100.0), hunts.usual(870.0, stay_s=150.0)] * 20,
        bee=[0, 1, 2, 3] * 10,
        station=[0, 0, 1, 1] * 10,
        bees=BEES,
    )
    fix = hunts.placed(stations, times, bearings)
    assert [colony.marks for colony in fix.colonies] == [BEES]


@pytest.mark.slow
def test_in_hive_times_may_differ_by_day() -> None:
    # The same bee, 60 s longer in the hive on the second day: told of two days that is
    # no sign of distance, told of one day it is a wide spread.
    away = [hunts.usual(500.0, stay_s=100.0)] * 8 + [hunts.usual(500.0, stay_s=190)] * 8
    plain = hunts.trips(away, bee=[0, 1] * 8, bees=("yellow", "blue"))
    days = dataclasses.replace(plain, day=np.repeat([0, 5], 8))
    fix = hunts.placed(hunts.stations(), days, NO_LINES)
    low, _, high = fix.colonies[0].distance_m["1"]
    assert low < 500.0 < high
    one_day = dataclasses.replace(plain, day=np.full(16, 3))
    same = hunts.placed(hunts.stations(), one_day, NO_LINES)
    assert area_90(same) == pytest.approx(
        area_90(hunts.placed(hunts.stations(), plain, NO_LINES)), rel=1e-9
    )
    spread = [f.learned["trip_spread"][0] for f in (fix, same)]
    assert spread[0] < spread[1]


@pytest.mark.slow
def test_bees_that_may_be_one_are_not_tied() -> None:
    # A colour at two stations: as two bees, whether they may be one or not.
    trips = hunts.trips(
        [hunts.usual(700.0)] * 5 + [hunts.usual(400.0)] * 5,
        bee=[0] * 5 + [1] * 5,
        station=[0] * 5 + [1] * 5,
        bees=("yellow", "yellow at 2"),
    )
    perhaps = dataclasses.replace(trips, maybe_same=((0, 1),))
    at = hunts.stations((0.0, 0.0), (0.0, 300.0))
    two = hunts.placed(at, trips, NO_LINES)
    unsure = hunts.placed(at, perhaps, NO_LINES)
    assert area_90(unsure) == pytest.approx(area_90(two), rel=1e-9)


@pytest.mark.slow
def test_stations_are_told_when_they_have_had_enough() -> None:
    stations, bearings, _ = lines_of(20)
    times = hunts.trips(
        [hunts.usual(870.0)] * 20 + [hunts.usual(880.0)],
        bee=[0] * 20 + [2],
        station=[0] * 20 + [1],
        bees=BEES,
    )
    fix = hunts.placed(stations, times, bearings, ASSIGNED)
    of_station = {f.station: f for f in fix.enough if f.kind == "bearings"}
    assert set(of_station) == {"1", "2"}
    for fact in of_station.values():
        assert fact.count == 20
        assert fact.count > fact.enough
        assert fact.sd_least < fact.sd_now < 1.07 * fact.sd_least
    of_bee = {f.bee: f for f in fix.enough if f.kind == "trips"}
    assert of_bee["yellow"].count == 20 > of_bee["yellow"].enough
    assert of_bee["white"].count == 1 < of_bee["white"].enough
    assert {f.colony for f in fix.enough} == {"oak"}


@pytest.mark.slow
def test_usual_hunts_have_enough_with_some_dozen_bearings_and_some_five_trips() -> None:
    fix = hunts.placed(*hunts.two_station_hunt())
    bearings = [f.enough for f in fix.enough if f.kind == "bearings"]
    trips = [f.enough for f in fix.enough if f.kind == "trips"]
    assert all(5 <= n <= 20 for n in bearings)
    assert all(3 <= n <= 9 for n in trips)


@pytest.mark.slow
def test_a_bee_known_at_three_stations_tells_by_her_times_alone() -> None:
    spots, colony = [(0.0, 0.0), (700.0, 0.0), (0.0, 700.0)], np.array([500.0, 400.0])
    away = [hunts.usual(float(np.hypot(*(colony - spot)))) for spot in spots]
    trips = hunts.trips(
        np.repeat(away, 5), bee=[0] * 15, station=[0] * 5 + [1] * 5 + [2] * 5
    )
    stations = hunts.stations(*spots)

    three = hunts.placed(stations, trips, NO_LINES)
    one = hunts.placed(stations, hunts.trips([away[0]] * 5), NO_LINES)

    best = three.colonies[0]
    x, y = survey.LocalFrame(*hunts.HEATH).to_xy(
        np.array([best.best_latitude_deg]), np.array([best.best_longitude_deg])
    )[0]
    assert np.hypot(x - colony[0], y - colony[1]) < 200
    assert area_90(three) < 0.5 * area_90(one)


@pytest.mark.slow
def test_two_observers_have_a_compass_each() -> None:
    plain = hunts.bearings([30.0] * 12)
    one, two = (
        dataclasses.replace(plain, observer=np.array(who, dtype=np.intp))
        for who in ([0] * 12, [0, 1] * 6)
    )
    trips = hunts.trips([hunts.usual(600.0)] * 5)
    area = {
        name: area_90(hunts.placed(hunts.stations(), trips, lines))
        for name, lines in (("none", plain), ("one", one), ("two", two))
    }
    assert area["one"] == pytest.approx(area["none"])
    # Two compasses are seldom off the same way.
    assert area["two"] < 0.95 * area["one"]


def test_a_station_whose_line_is_not_off_far_has_its_plain_variance() -> None:
    settings = survey.Settings(station_tail_share=0.0, station_sd_deg=4.0)
    assert line_variance_deg2(settings, {}) == pytest.approx(16.0)
    learned = {"station_line_sd_deg": (3.0, 4.0)}  # as known as 4 degrees
    assert line_variance_deg2(settings, learned) == pytest.approx(25.0)
    assert line_variance_deg2(survey.Settings(station_sd_deg=4.0), {}) > 16.0


@pytest.mark.slow
def test_which_bees_a_line_was_read_on_does_not_matter_but_how_many() -> None:
    times = hunts.trips([hunts.usual(600.0)] * 4, bee=[0, 1, 2, 3], bees=BEES)

    def least_deg(*bees: int) -> float:
        lines = hunts.bearings([30.0, 34.0] * 6, bee=list(bees) * (12 // len(bees)))
        fix = hunts.placed(hunts.stations(), times, lines)
        (fact,) = (f for f in fix.enough if f.kind == "bearings")
        assert fact.count == 12
        return fact.sd_least

    two_deg = least_deg(0, 1)
    assert two_deg == pytest.approx(least_deg(2, 3), rel=0.02)
    assert least_deg(0, 1, 2, 3) < 0.99 * two_deg < 0.99 * least_deg(0)


def test_enough_is_where_all_further_notes_take_an_eighth_off_by_hand() -> None:
    # single / n + shared: an eighth of it is left to gain at n = 7 single / shared.
    for single, shared, expected in (
        (81.0, 27.0, 21),
        (81.0, 28.0, 21),
        (1.0, 50.0, 1),
    ):
        fact = _fact("A", "1", "", count=9, single=single, shared=shared)
        assert fact.enough == expected
        assert fact.sd_now == pytest.approx(np.sqrt(single / 9 + shared))
        assert fact.sd_least == pytest.approx(np.sqrt(shared))
        assert (fact.kind, fact.station, fact.bee) == ("bearings", "1", "")
    assert _fact("A", "1", "red", count=0, single=4.0, shared=2.0).kind == "trips"


def test_what_one_bearing_and_what_all_of_a_station_share_by_hand() -> None:
    settings = survey.Settings()
    # Tails: 0.12 of stations, none on open ground, half of it and all of it elsewhere.
    tail = 0.12 * (0.5 * 0.30 + 1.0 * 0.25)
    line = (1 - tail) * 3.5**2 + tail * 13.0**2
    single, shared = _line_variances(settings, {}, 2.0)
    assert single == pytest.approx(9.0**2)
    assert shared == pytest.approx(line + 4.0**2 / 2 + 3.0**2)
    learned = {"bearing_sd_deg": (5.0, 1.0), "compass_offset_deg": (2.0, 1.5)}
    single, shared = _line_variances(settings, learned, 4.0)
    assert single == pytest.approx(5.0**2)
    assert shared == pytest.approx(line + 4.0**2 / 4 + 1.5**2)
    # A line known to be off farther than the tail has no tail beside it.
    wide = {"station_line_sd_deg": (15.0, 8.0)}
    assert line_variance_deg2(settings, wide) == pytest.approx(17.0**2)


def test_what_one_trip_and_what_all_of_a_bee_share_by_hand() -> None:
    hunt = prepare(
        hunts.stations(), hunts.trips([400.0] * 4), NO_LINES, survey.Settings(), None
    )
    learned = {
        "flight_speed_factor": (0.9, 0.05),
        "in_hive_factor": (1.5, 0.2),
        "trip_spread": (0.3, 0.1),
    }
    single, shared = _time_variances("water", 400.0, learned, hunt)
    stay, flight = 120.0 * 1.5, 400.0 - 120.0 * 1.5
    usual = 120.0 * 1.12
    expected = (0.3 * usual) ** 2 + (0.06 * flight) ** 2 + 2 * 4.0**2
    assert single == pytest.approx(expected)
    expected = (0.22**2 + (0.2 / 1.5) ** 2) * stay**2
    expected += (0.05**2 + (0.05 / 0.9) ** 2) * flight**2
    assert shared == pytest.approx(expected)
    # Nearer than the hive allows there is no flight to be unsure of.
    assert _time_variances("water", 100.0, learned, hunt)[0] == pytest.approx(
        (0.3 * usual) ** 2 + 2 * 4.0**2
    )
