"""Wind on the way out and home, against a handbook's example and by hand.

The wind triangle: FAA-H-8083-25, Pilot's Handbook of Aeronautical Knowledge, chapter
"Navigation", wind triangle: true air speed 120 knots, course due east, wind from 45
degrees at 40 knots gives a ground speed of 88 knots (figures from memory; they follow
from the triangle: sqrt(120^2 - 28.28^2) - 28.28 = 88.3).

Which leg is laden: Wenner 1963, J. Apic. Res. 2:25-32, 7.5 m/s from the hive to the
station unladen, 6.5 m/s home with a load.
"""

from __future__ import annotations

import numpy as np
import pytest

from treeward.survey import Settings, timing
from treeward.survey.evidence import Place, ground_speed_mps


def test_the_wind_triangle_of_the_handbook() -> None:
    found = ground_speed_mps(
        120.0,
        wind_mps=40.0,
        from_rad=np.radians(45.0),
        track_rad=np.radians(90.0),
        compensation=0.0,
    )
    assert found == pytest.approx(88.0, abs=0.5)


@pytest.mark.parametrize(
    ("from_deg", "expected"),
    [
        (0.0, 6.5 - 3.0),  # straight against
        (180.0, 6.5 + 3.0),  # straight before
        (90.0, np.sqrt(6.5**2 - 3.0**2)),  # across: a right angle of 6.5 and 3
        (60.0, np.sqrt(6.5**2 - 2.598**2) - 1.5),  # 3 m/s is 2.598 across, 1.5 against
    ],
)
def test_triangles_by_hand(from_deg: float, expected: float) -> None:
    found = ground_speed_mps(
        6.5,
        wind_mps=3.0,
        from_rad=np.radians(from_deg),
        track_rad=0.0,
        compensation=0.0,
    )
    assert found == pytest.approx(expected, abs=1e-3)


def test_a_bee_that_makes_up_for_all_of_it_flies_as_in_still_air() -> None:
    found = ground_speed_mps(
        6.5, wind_mps=5.0, from_rad=0.0, track_rad=np.pi, compensation=1.0
    )
    assert found == pytest.approx(6.5)


def flight_s(from_deg: float, compensation: float) -> float:
    """Return the flight time to a colony 900 m north in a wind of 3 m/s."""
    settings = Settings()
    nodes = timing.TimeNodes(
        ln_f=np.zeros(1),
        slow_out=np.ones(1),
        slow_home=np.ones(1),
        compensation=np.array([compensation]),
        ln_g=np.zeros(1),
        log_weight=np.zeros(1),
    )
    here = Place(
        x_m=0.0,
        y_m=0.0,
        cargo="water",
        wind_mps=3.0,
        wind_from_rad=float(np.radians(from_deg)),
    )
    return float(here.flight_s(np.array([[0.0, 900.0]]), settings, nodes)[0, 0])


def test_the_laden_bee_meets_the_headwind_towards_the_colony() -> None:
    # Wind from the colony: home laden at 6.5 - 3, back out at 7.5 + 3; by hand
    # 257.1 + 85.7 s. With the legs the other way round it would be 94.7 + 200.
    assert flight_s(0.0, 0.0) == pytest.approx(900 / 3.5 + 900 / 10.5)
    # Wind towards the colony: home at 9.5, out at 4.5.
    assert flight_s(180.0, 0.0) == pytest.approx(900 / 9.5 + 900 / 4.5)


def test_partial_compensation_lies_between() -> None:
    # 0.6 of 3 m/s made up: home at 6.5 - 1.2, out at 7.5 + 1.2.
    assert flight_s(0.0, 0.6) == pytest.approx(900 / 5.3 + 900 / 8.7)
