"""Readings of numbers said amid talk."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.language.kinds import EventKind
from treeward.language.number_words import cardinal
from treeward.notes.trained.said_values import values_at


def readings(text: str) -> set[tuple[EventKind, str]]:
    """Give what the number at the start of a text may be."""
    return {(one.kind, one.value) for one in values_at(f" {text} ", 1)}


@given(st.integers(0, 359))
def test_a_bearing_in_figures_may_be_that_bearing(deg: int) -> None:
    assert (EventKind.BEARING, str(deg)) in readings(f"{deg} .")


@given(st.integers(1, 3), st.integers(10, 59))
def test_two_ten_may_be_a_bearing_a_time_and_minutes_with_seconds(
    first: int, second: int
) -> None:
    found = readings(f"{cardinal(first)} {cardinal(second)} .")
    assert (EventKind.BEARING, str((100 * first + second) % 360)) in found
    assert (EventKind.DURATION, str(60 * first + second)) in found
    assert (EventKind.TIME, f"{first}:{second}") in found


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        ("seven minutes three .", 423),
        ("seven minutes and three seconds .", 423),
        ("six and a half .", 390),
        ("six twenty .", 380),
        ("6:20 .", 380),
        ("ten oh five .", 605),
        ("twelve minutes .", 720),
    ],
)
def test_a_time_out_is_among_the_readings(said: str, seconds: int) -> None:
    assert (EventKind.DURATION, str(seconds)) in readings(said)


@pytest.mark.parametrize("said", ["the dish .", "and a half .", ", two .", "she is ."])
def test_no_number_has_no_reading(said: str) -> None:
    assert not readings(said)


def test_a_reading_ends_where_its_words_end() -> None:
    text = " two hundred and ten over the gate . "
    ends = {one.value: text[one.start : one.end] for one in values_at(text, 1)}
    assert ends["210"] == "two hundred and ten"
