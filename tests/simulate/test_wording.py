from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.language.bearings import read_bearing
from treeward.simulate.observer import (
    BEARING_FORMS,
    BearingForm,
    bearing_words,
    duration_words,
    number_words,
    time_words,
)


@given(st.integers(0, 359), st.sampled_from(BEARING_FORMS))
def test_every_bearing_is_understood(bearing_deg: int, form: BearingForm) -> None:
    words = bearing_words(bearing_deg, form).replace("-", " ").split()
    reading = read_bearing(words)
    assert reading is not None
    assert reading.deg == bearing_deg


@pytest.mark.parametrize(
    ("bearing_deg", "form", "said"),
    [
        (39, "digits", "zero three nine"),
        (39, "tens", "zero three nine"),
        (210, "digits", "two one zero"),
        (210, "tens", "two ten"),
        (208, "tens", "two oh eight"),
        (208, "hundred", "two hundred and eight"),
        (200, "tens", "two hundred"),
        (360, "digits", "three six zero"),
    ],
)
def test_bearings_are_said_as_people_do(
    bearing_deg: int, form: BearingForm, said: str
) -> None:
    assert bearing_words(bearing_deg, form) == said


@pytest.mark.parametrize(
    ("hour", "minute", "twelve", "said"),
    [
        (10, 22, True, "ten twenty-two"),
        (17, 5, True, "five oh five"),
        (14, 10, False, "fourteen ten"),
        (0, 0, True, "twelve o'clock"),
        (9, 0, False, "nine hundred"),
    ],
)
def test_times_are_said_as_people_do(
    hour: int, minute: int, twelve: bool, said: str
) -> None:
    assert time_words(hour, minute, twelve=twelve) == said


def test_durations() -> None:
    assert duration_words(5.5) == "five and a half minutes"
    assert duration_words(0.5) == "half a minute"
    assert duration_words(1) == "one minute"


def test_what_cannot_be_said_is_refused() -> None:
    with pytest.raises(ValueError, match="bearing_deg"):
        bearing_words(361)
    with pytest.raises(ValueError, match="0 to 99"):
        number_words(100)
    with pytest.raises(ValueError, match="time of day"):
        time_words(24, 0)
