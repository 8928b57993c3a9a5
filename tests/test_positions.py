"""Positions as people write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.measures import (
    Position,
    format_position,
    parse_position,
    position_in,
    utm_text,
)


@pytest.mark.parametrize(
    "text",
    [
        "52.3011944, -3.6103889",
        "52.3011944 -3.6103889",
        "+52.3011944°, -3.6103889°",
        "52°18'04.3\"N 3°36'37.4\"W",
        "52\u00b018\u203204.3\u2033N, 3\u00b036\u203237.4\u2033W",
        "3°36'37.4\"W, 52°18'04.3\"N",
        "N 52 18 04.3 W 3 36 37.4",
        "52 18.07167 N, 3 36.62333 W",
        "52.3011944N 3.6103889W",
    ],
)
def test_every_way_of_writing_means_the_same_place(text: str) -> None:
    position = parse_position(text)

    # The seconds are given to a tenth: 3 m.
    assert position.latitude_deg == pytest.approx(52.3011944, abs=3e-5)
    assert position.longitude_deg == pytest.approx(-3.6103889, abs=3e-5)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is not a position"),
        ("somewhere", "is not a position"),
        ("95, 10", "latitude 95 is not between"),
        ("120.5, 52.3", "longitude was written first"),
        ("10, 190", "longitude 190 is not between"),
        ("30Q 458400 5794400", "band Q"),
        ("61U 458400 5794400", "zone 61"),
        ("52°61'00\"N 3°36'37.4\"W", "is not a position"),
        ("52N 3N", "is not a position"),
        ("52N 3W extra", "is not a position"),
        ("nan, 3", "is not a position"),
    ],
)
def test_a_wrong_position_is_refused_with_the_reason(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        parse_position(text)
    assert position_in(text) is None


@given(
    st.floats(-79.9, 83.9),
    st.floats(-180, 180),
)
def test_utm_reads_back_to_the_metre(latitude: float, longitude: float) -> None:
    position = Position(latitude_deg=latitude, longitude_deg=longitude)

    back = parse_position(utm_text(position))

    # A metre of rounding in each axis is 1e-5 degrees of latitude.
    assert back.latitude_deg == pytest.approx(latitude, abs=1.5e-5)


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_decimal_degrees_read_back(latitude: float, longitude: float) -> None:
    position = Position(latitude_deg=latitude, longitude_deg=longitude)

    back = parse_position(format_position(position))

    assert back.latitude_deg == pytest.approx(latitude, abs=5.1e-7)
    assert back.longitude_deg == pytest.approx(longitude, abs=5.1e-7)


@given(st.text(max_size=40))
def test_any_text_is_a_position_or_a_value_error(text: str) -> None:
    try:
        position = parse_position(text)
    except ValueError:
        return
    assert -90 <= position.latitude_deg <= 90
