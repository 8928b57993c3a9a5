from __future__ import annotations

import numpy as np
import pytest

from survey import hunts
from treeward import survey
from treeward.survey.case import prepare
from treeward.survey.grid import Grid
from treeward.survey.next_station import (
    _area,
    _coarse,
    _reason,
    _seats,
    _session_errors,
    _told,
    area_90_m2,
)
from treeward.survey.records import SeatReason


def one_station(
    settings: survey.Settings | None = None, away_m: float = 900.0
) -> survey.Fix:
    return survey.locate(
        hunts.stations(),
        hunts.trips([hunts.usual(away_m)] * 6),
        hunts.bearings([30.0, 38.0, 25.0, 33.0, 31.0, 29.0], bee=[0] * 6),
        settings,
    )


def test_next_station_is_within_the_walk_and_shrinks_the_area() -> None:
    fix = one_station()
    seat = fix.next_station
    assert seat is not None
    assert seat.walk_m <= survey.Settings().walk_limit_m + 1e-6
    assert seat.expected_area_90_m2 < 0.8 * seat.area_90_m2
    assert seat.area_90_m2 == pytest.approx(
        fix.colonies[0].search_areas[90].area_m2, rel=0.02
    )
    # Down the line: there the unknown speed and the spread of bearings tell less far.
    assert seat.why is survey.SeatReason.NEARER
    assert abs((seat.walk_bearing_true_deg - 31.0 + 180) % 360 - 180) < 20
    colony = fix.colonies[0]
    left = survey.geodesic(
        seat.latitude_deg,
        seat.longitude_deg,
        colony.best_latitude_deg,
        colony.best_longitude_deg,
    )[0]
    assert left < 0.6 * colony.distance_m["1"][1]
    assert fix.advice[0] == survey.Advice(kind=survey.AdviceKind.SIT_NEXT, seat=seat)
    at = hunts.stations()
    distance, azimuth = survey.geodesic(
        at.latitude_deg[0], at.longitude_deg[0], seat.latitude_deg, seat.longitude_deg
    )
    assert distance == pytest.approx(seat.walk_m, abs=0.1)
    assert azimuth == pytest.approx(seat.walk_bearing_true_deg, abs=0.1)


@pytest.mark.slow
def test_no_seat_in_an_area_left_out() -> None:
    free = one_station().next_station
    assert free is not None
    # A square of 500 m about the seat that was chosen.
    frame = survey.LocalFrame(free.latitude_deg, free.longitude_deg)
    corners = np.array([(-250, -250), (250, -250), (250, 250), (-250, 250)], float)
    bog = frame.to_lonlat(corners)
    moved = one_station(survey.Settings(leave_out=(bog,))).next_station
    assert moved is not None
    east, north = frame.to_xy(
        np.array([moved.latitude_deg]), np.array([moved.longitude_deg])
    )[0]
    assert max(abs(east), abs(north)) >= 250
    everywhere = frame.to_lonlat(corners * 40)
    nowhere = one_station(survey.Settings(leave_out=(everywhere,)))
    assert nowhere.next_station is None
    assert nowhere.advice[0].kind is survey.AdviceKind.NO_SEAT


@pytest.mark.slow
def test_the_next_station_is_advised_for_what_bees_carry_here() -> None:
    # What bees carrying water would do matters nothing at a syrup dish.
    def seat(water_s: float) -> survey.NextStation | None:
        return survey.locate(
            hunts.stations(cargo="syrup"),
            hunts.trips([hunts.usual(900.0)] * 6),
            hunts.bearings([30.0, 38.0, 25.0, 33.0, 31.0, 29.0], bee=[0] * 6),
            survey.Settings(in_hive_s={"syrup": 150.0, "water": water_s}),
        ).next_station

    assert seat(60.0) == seat(1200.0)
    assert seat(60.0) is not None


@pytest.mark.slow
def test_stop_lining_when_the_area_is_small() -> None:
    # Beside the nest: an area that is searched sooner than another station is set up.
    fix = survey.locate(
        hunts.stations((0.0, 0.0), (120.0, 0.0), (40.0, 100.0)),
        hunts.trips(
            [hunts.usual(60.0)] * 30,
            bee=[0, 1, 2] * 10,
            station=[0, 1, 2] * 10,
            bees=("a", "b", "c"),
        ),
        hunts.bearings([50.0, 300.0, 160.0] * 10, station=[0, 1, 2] * 10),
    )
    assert fix.next_station is None
    (stop,) = (s for s in fix.advice if s.kind is survey.AdviceKind.STOP_LINING)
    area_m2 = fix.colonies[0].search_areas[90].area_m2
    assert stop.area_m2 == pytest.approx(area_m2, rel=0.05)


@pytest.mark.slow
def test_sitting_is_weighed_against_searching_on() -> None:
    parts = hunts.two_station_hunt()

    def sitting(look_mps: float, walk_mps: float = 0.7) -> survey.Fix:
        how = survey.Searching(look_mps=look_mps, walk_mps=walk_mps)
        return survey.locate(*parts, searching=how)

    slow = sitting(0.1)
    (colony,) = slow.colonies
    assert slow.next_station is not None
    assert colony.searched is not None
    assert colony.searched.sitting is not None
    best = colony.searched.sitting
    assert best.after_s < best.search_s
    assert best.saved_s == pytest.approx(
        best.search_s - best.after_s - best.walk_s - best.set_up_s - 60 * best.minutes
    )
    assert best.saved_s > 0
    assert slow.next_station.minutes == best.minutes
    assert best.walk_s == pytest.approx(slow.next_station.walk_m / 0.7, rel=1e-3)
    # Who looks along a hedge at a run has no need to sit.
    fast = sitting(20.0)
    assert fast.next_station is None
    assert any(said.kind is survey.AdviceKind.STOP_LINING for said in fast.advice)
    looked = fast.colonies[0].searched
    assert looked is not None
    assert looked.sitting is not None
    assert looked.sitting.saved_s <= 0
    # Times to the nest are as the speed of looking.
    assert best.search_s == pytest.approx(200 * looked.sitting.search_s)


@pytest.mark.slow
def test_the_mean_time_of_the_plan_is_no_shorter_than_at_best() -> None:
    (colony,) = survey.locate(*hunts.two_station_hunt()).colonies
    assert colony.searched is not None
    assert colony.searched.sitting is not None
    least = colony.searched.sitting.search_s
    assert least < colony.searched.mean_s < 2.5 * least


def one_cell(at: tuple[float, float]) -> Grid:
    return Grid(
        xy=np.array([at]),
        index=np.zeros((1, 2), dtype=np.intp),
        cell_m=10.0,
        probability=np.ones(1),
    )


@pytest.mark.parametrize(
    ("seat", "reason"),
    [
        ((0.0, 450.0), SeatReason.NEARER),  # 550 m left of 1000 m
        ((0.0, 350.0), SeatReason.ANOTHER_LINE),
        ((0.0, 2000.0), SeatReason.LOOKING_BACK),
        ((900.0, 1000.0), SeatReason.CROSS_LINE),  # a right angle
        ((-900.0, 1000.0), SeatReason.CROSS_LINE),
        ((500.0, 0.0), SeatReason.ANOTHER_LINE),  # 27 degrees
        ((620.0, 0.0), SeatReason.CROSS_LINE),  # 32 degrees
    ],
)
def test_the_reason_for_a_seat_is_what_its_line_does(
    seat: tuple[float, float], reason: SeatReason
) -> None:
    told = _reason(np.array(seat), np.zeros(2), one_cell((0.0, 1000.0)))

    assert told is reason


def test_a_longer_session_tells_more_but_not_what_it_shares() -> None:
    settings = survey.Settings()
    short, long, endless = (
        np.array(_session_errors(settings, {}, "water", minutes))
        for minutes in (15.0, 60.0, 1e9)
    )

    assert (long[:2] < short[:2]).all()
    assert (endless[:2] > 0).all()
    # What scatters falls with the square root of the time: a quarter of the variance.
    parts = (long**2 - endless**2)[:2] / (short**2 - endless**2)[:2]
    assert parts == pytest.approx([0.25, 0.25], rel=1e-3)
    assert short[2] == long[2] == endless[2]


def test_the_errors_of_a_session_are_those_of_its_parts_by_hand() -> None:
    # An hour: eight bearings, three bees, a trip of each in seven minutes.
    settings = survey.Settings(station_tail_share=0.0)
    learned = {
        "bearing_sd_deg": (6.0, 1.0),
        "compass_offset_deg": (4.0, 2.0),
        "station_line_sd_deg": (3.0, 0.0),
        "in_hive_factor": (1.25, 0.1),
        "flight_speed_factor": (0.9, 0.06),
        "trip_spread": (0.3, 0.05),
    }
    line, hive_s, speed = _session_errors(settings, learned, "syrup", 60.0)
    variance = 6.0**2 / 8 + 4.0**2 / 3 + 3.0**2 + 2.0**2
    assert np.degrees(line) == pytest.approx(np.sqrt(variance))
    by_bee = 0.22**2 / 3 + 0.3**2 / (3 * 60 / 7)
    share = np.sqrt((0.1 / 1.25) ** 2 + by_bee)
    assert hive_s == pytest.approx(150.0 * 1.25 * share)
    assert speed == pytest.approx(0.06 / 0.9)
    # Without anything learned the settings' own spreads stand.
    line, hive_s, speed = _session_errors(settings, {}, "water", 30.0)
    variance = 9.0**2 / 4 + 4.0**2 / 3 + 3.5**2 + 3.0**2
    assert np.degrees(line) == pytest.approx(np.sqrt(variance))
    by_bee = 0.22**2 / 3 + 0.22**2 / (3 * 30 / 7)
    share = np.sqrt((0.18 / 1.12) ** 2 + by_bee)
    assert hive_s == pytest.approx(120.0 * 1.12 * share)
    assert speed == pytest.approx(0.075 / 0.97)


def test_what_a_session_tells_of_a_place_is_normal_in_direction_and_distance() -> None:
    settings = survey.Settings()
    xy = np.array([[0.0, 800.0], [100.0, 800.0], [0.0, 900.0], [0.0, -800.0]])
    errors = (np.radians(5.0), 20.0, 0.1)
    told = _told(np.zeros(2), xy, xy[:1], errors, settings)[0]
    spread = np.hypot(np.radians(5.0), np.arctan(8.0 / 800.0))
    # 20 s in the hive are 20 s at 7.5 m/s out and 6.5 m/s home.
    sd = np.hypot(20.0 / (1 / 7.5 + 1 / 6.5), 0.1 * 800.0)
    turn = np.arctan(100.0 / 800.0) / spread
    off = (np.hypot(100.0, 800.0) - 800.0) / sd
    assert told[0] == pytest.approx(1.0)
    assert told[1] == pytest.approx(np.exp(-0.5 * (turn**2 + off**2)))
    assert told[2] == pytest.approx(np.exp(-0.5 * (100.0 / sd) ** 2))
    assert told[3] == pytest.approx(np.exp(-0.5 * (np.pi / spread) ** 2))


def test_seats_stand_round_about_on_four_rings_but_not_where_one_sat() -> None:
    hunt = prepare(
        hunts.stations((0.0, 0.0), (0.0, 240.0)),
        hunts.trips([400.0] * 4, station=[0, 0, 1, 1]),
        hunts.bearings([]),
        survey.Settings(walk_limit_m=800.0),
        None,
    )
    seats = _seats(hunt) - hunt.case.station_xy[1]  # from where one sat last
    away, turn = np.hypot(*seats.T), np.degrees(np.arctan2(*seats.T)) % 360
    rings = np.unique(away.round(3))
    assert rings == pytest.approx([200.0, 400.0, 600.0, 800.0])
    for ring in rings[1:]:
        assert sorted(turn[np.isclose(away, ring)].round(6)) == pytest.approx(
            np.arange(0.0, 360.0, 15.0)
        )
    # South of it, 240 m off, sat the first: 40 m from there is no new station.
    nearest = np.hypot(*(seats - (0.0, -240.0)).T).min()
    assert nearest >= 60.0
    assert np.isclose(away, 200.0).sum() == 24 - 1


def test_cells_are_joined_so_that_nothing_of_them_is_lost() -> None:
    side = np.arange(60)
    index = np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1).reshape(-1, 2)
    xy = np.asarray((index + 0.5) * 10.0, dtype=np.float64)
    share = np.exp(-0.5 * ((xy - [250.0, 330.0]) ** 2).sum(axis=1) / 80.0**2)
    fine = Grid(
        xy=xy, index=index, cell_m=10.0, probability=share / share.sum(),
    )  # fmt: skip
    rough, weight = _coarse(fine)
    assert len(rough) <= 700
    assert weight.sum() == pytest.approx(1.0)
    assert weight @ rough == pytest.approx([250.0, 330.0], abs=3.0)
    spread = weight @ (rough - [250.0, 330.0]) ** 2
    assert np.sqrt(spread) == pytest.approx([80.0, 80.0], rel=0.05)
    few = one_cell((3.0, 4.0))
    assert _coarse(few)[0] == pytest.approx(np.array([[3.0, 4.0]]))
    # Nine tenths of a round normal lie within -2 ln(1 - 0.9) pi s^2.
    expected = -2 * np.log(0.1) * np.pi * 80.0**2
    assert area_90_m2(fine) == pytest.approx(expected, rel=0.02)
    assert _area(np.array([[4.0, 3.0, 2.0, 1.0], [1.0, 0.0, 0.0, 0.0]])) == (
        pytest.approx([3.0, 1.0])
    )
