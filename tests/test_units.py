"""One system of units in a report, with honest rounding."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.measures import (
    ACRE_M2,
    MILE_M,
    YARD_M,
    Units,
    bearing_text,
    duration_text,
    round_figures,
    wind_name,
)


def test_imperial_units_are_the_international_ones() -> None:
    # NIST Special Publication 811 (2008), appendix B.8: yard 0.9144 m, mile
    # 1609.344 m, acre 4046.873 m2 (there by the survey foot, last digit apart).
    assert pytest.approx(0.9144) == YARD_M
    assert pytest.approx(1609.344) == MILE_M
    assert pytest.approx(4046.8564224) == ACRE_M2


@pytest.mark.parametrize(
    ("system", "metres", "text"),
    [
        ("metric", 643.2, "640 m"),
        ("metric", 87.4, "87 m"),
        ("metric", 1449.0, "1400 m"),
        ("metric", 1996.0, "2 km"),
        ("metric", 12_345.0, "12 km"),
        ("metric", 0.0, "0 m"),
        ("imperial", 643.2, "700 yards"),
        ("imperial", 1609.344, "1 mile"),
        ("imperial", 2400.0, "1.5 miles"),
    ],
)
def test_distance(system: str, metres: float, text: str) -> None:
    assert Units(system).distance(metres) == text  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("system", "square_metres", "text"),
    [
        ("metric", 42_300.0, "4.2 ha"),
        ("metric", 640.0, "640 m²"),
        ("metric", 2_340_000.0, "2.3 km²"),
        ("imperial", 42_300.0, "10 acres"),
        ("imperial", 4047.0, "1 acre"),
        ("imperial", 100.0, "120 sq yd"),
    ],
)
def test_area(system: str, square_metres: float, text: str) -> None:
    assert Units(system).area(square_metres) == text  # type: ignore[arg-type]


def test_both_ends_of_a_range_have_one_unit() -> None:
    assert Units("metric").distance_range(480, 2140) == "0.48 to 2.1 km"
    assert Units("metric").distance_range(480, 810) == "480 to 810 m"
    assert Units("imperial").distance_range(480, 810) == "520 to 890 yards"
    assert Units("imperial").distance_range(800, 1609.344) == "0.5 to 1 miles"


@given(st.floats(1, 1e5))
def test_a_distance_is_off_by_no_more_than_its_rounding(metres: float) -> None:
    number, unit = Units("metric").distance(metres).split(" ")
    shown = float(number.replace("\u202f", "")) * (1000 if unit == "km" else 1)

    assert shown == pytest.approx(metres, rel=0.051)


@given(st.floats(1e-3, 1e6), st.integers(1, 6))
def test_rounding_twice_changes_nothing(value: float, figures: int) -> None:
    once = round_figures(value, figures)

    assert round_figures(once, figures) == once


def test_durations_and_directions() -> None:
    assert duration_text(48.4) == "48 s"
    assert duration_text(359.6) == "6 min"
    assert duration_text(365) == "6 min 05 s"
    assert duration_text(7380) == "2 h 03 min"
    assert wind_name(202.6) == "south-west"
    assert wind_name(-10) == "north"
    assert bearing_text(359.7) == "000°"
    assert bearing_text(39) == "039°"
    assert Units("metric").speed(6.5) == "23 km/h"
    assert Units("imperial").speed(6.7056) == "15 mph"
