from __future__ import annotations

import numpy as np
import pytest

from survey import hunts
from treeward import survey


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
    assert seat.why is survey.SeatReason.CROSS_LINE
    assert fix.advice[0] == survey.Advice(kind=survey.AdviceKind.SIT_NEXT, seat=seat)
    at = hunts.stations()
    distance, azimuth = survey.geodesic(
        at.latitude_deg[0], at.longitude_deg[0], seat.latitude_deg, seat.longitude_deg
    )
    assert distance == pytest.approx(seat.walk_m, abs=0.1)
    assert azimuth == pytest.approx(seat.walk_bearing_true_deg, abs=0.1)


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


def test_strips_cover_the_area_likeliest_first() -> None:
    fix = one_station(away_m=300.0)
    strips = fix.search_plan
    assert sum(s.probability for s in strips) == pytest.approx(0.9, abs=0.02)
    lengths = [
        survey.geodesic(
            s.start_latitude_deg,
            s.start_longitude_deg,
            s.end_latitude_deg,
            s.end_longitude_deg,
        )[0]
        for s in strips
    ]
    per_metre = [s.probability / d for s, d in zip(strips, lengths, strict=True)]
    assert per_metre == sorted(per_metre, reverse=True)
    assert 1 < len(strips) <= 60
