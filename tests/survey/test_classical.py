from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.survey import classical

if TYPE_CHECKING:
    from collections.abc import Callable

TARGET = np.array([400.0, 250.0])
STATIONS = np.array([(0.0, 0.0), (300.0, -200.0), (-150.0, 400.0), (500.0, 700.0)])
EXACT = np.degrees(np.arctan2(*(TARGET - STATIONS).T)) % 360
EAST, NORTH = STATIONS[:, 0], STATIONS[:, 1]
ALL = [classical.lenth_mle, classical.huber, classical.andrews]


@pytest.mark.parametrize("estimator", ALL)
def test_exact_bearings_meet_at_the_target(
    estimator: Callable[..., classical.PointEstimate],
) -> None:
    found = estimator(EAST, NORTH, EXACT)
    assert (found.x, found.y) == pytest.approx(tuple(TARGET), abs=1e-5)


@settings(max_examples=30, deadline=None)
@given(turn=st.floats(0, 360), shift=st.floats(-1e5, 1e5))
def test_turning_and_moving_everything_moves_the_point(
    turn: float, shift: float
) -> None:
    noisy = EXACT + np.array([2.0, -3.0, 4.0, -1.0])
    plain = classical.lenth_mle(EAST, NORTH, noisy % 360)
    a = np.radians(turn)
    spin = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])  # clockwise
    moved = STATIONS @ spin.T + shift
    found = classical.lenth_mle(moved[:, 0], moved[:, 1], (noisy + turn) % 360)
    expected = spin @ np.array([plain.x, plain.y]) + shift
    assert (found.x, found.y) == pytest.approx(tuple(expected), abs=1e-3)
    assert found.ellipse_area() == pytest.approx(plain.ellipse_area(), rel=1e-5)


def test_ellipse_encloses_its_area() -> None:
    found = classical.lenth_mle(EAST, NORTH, EXACT, kappa=50.0)
    x, y = found.ellipse(95, points=721).T
    area = 0.5 * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])
    assert area == pytest.approx(found.ellipse_area(95), rel=1e-4)


def test_crossings_only_ahead_of_both() -> None:
    x, y = np.array([0.0, 100.0]), np.array([0.0, 0.0])
    ahead = classical.crossings(x, y, np.array([45.0, 315.0]))
    assert ahead == pytest.approx(np.array([[50.0, 50.0]]))
    assert len(classical.crossings(x, y, np.array([225.0, 315.0]))) == 0
    assert len(classical.crossings(x, y, np.array([0.0, 0.0]))) == 0
    # Due north and due east, where tangents would blow up.
    square = classical.crossings(x, np.array([0.0, 80.0]), np.array([0.0, 270.0]))
    assert square == pytest.approx(np.array([[0.0, 80.0]]), abs=1e-9)


@pytest.mark.parametrize(
    ("x", "bearing", "message"),
    [
        ([0.0, 1.0], [10.0, 370.0], "bearing_deg: must lie"),
        ([0.0, np.nan], [10.0, 20.0], "x: every value"),
        ([0.0], [10.0], "bearing_deg: 2 or more"),
        ([0.0, 1.0, 2.0], [10.0, 20.0], "bearing_deg: x, y and"),
        ([0.0, 100.0], [90.0, 90.0], "bearing_deg: the bearings"),
    ],
)
def test_what_cannot_be_is_refused(
    x: list[float], bearing: list[float], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        classical.lenth_mle(np.array(x), np.zeros(len(x)), np.array(bearing))


def test_any_positive_concentration_is_taken() -> None:
    wide = classical.lenth_mle(EAST, NORTH, EXACT, kappa=0.5)
    narrow = classical.lenth_mle(EAST, NORTH, EXACT, kappa=50.0)
    assert wide.ellipse_area() > 10 * narrow.ellipse_area()
    for kappa in (0.0, -1.0, np.inf, np.nan):
        with pytest.raises(ValueError, match="kappa"):
            classical.lenth_mle(EAST, NORTH, EXACT, kappa=kappa)
