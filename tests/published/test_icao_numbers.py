"""Numbers spoken digit by digit, as aviation says them.

ICAO Annex 10, Volume II, 5.2.1.4.1.1: "All numbers ... shall be transmitted by
pronouncing each digit separately"; heading 100 is "one zero zero", 080 "zero eight
zero". Pronunciations: ZE-RO, WUN, TOO, TREE, FOW-ER, FIFE, SIX, SEV-EN, AIT, NIN-ER.
Seen as quoted by flight crew guides and phraseology tables.
"""

from __future__ import annotations

import pytest

from treeward.language.bearings import read_bearing
from treeward.language.times_of_day import read_time

WORDS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
PRONOUNCED = [
    "zero",
    "one",
    "two",
    "tree",
    "fower",
    "fife",
    "six",
    "seven",
    "eight",
    "niner",
]


@pytest.mark.parametrize("names", [WORDS, PRONOUNCED])
def test_every_heading_in_three_digits(names: list[str]) -> None:
    for bearing_deg in range(360):
        said = [names[int(digit)] for digit in f"{bearing_deg:03d}"]

        reading = read_bearing(said)

        assert reading is not None, said
        assert reading.deg == bearing_deg
        assert not reading.options, said


@pytest.mark.parametrize(
    ("said", "bearing_deg"),
    [("one zero zero", 100), ("zero eight zero", 80), ("three six zero", 0)],
)
def test_the_annexs_own_examples(said: str, bearing_deg: int) -> None:
    reading = read_bearing(said.split())

    assert reading is not None
    assert reading.deg is not None
    assert reading.deg % 360 == bearing_deg


@pytest.mark.parametrize("minute", [0, 1, 10, 22, 35, 59])
def test_times_in_four_digits(minute: int) -> None:
    for hour in range(24):
        said = [WORDS[int(digit)] for digit in f"{hour:02d}{minute:02d}"]

        reading = read_time(said)

        assert reading is not None, said
        assert reading.value is not None, said
        read_hour, read_minute = map(int, reading.value.split(":")[:2])
        assert (read_hour, read_minute) == (hour, minute)
