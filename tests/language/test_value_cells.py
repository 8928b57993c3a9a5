"""Values as people write them into review.csv."""

from __future__ import annotations

import pytest

from treeward.language.bearings import read_bearing_cell
from treeward.language.kinds import Holds, is_value, plain_duration


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("7 min", "away 420"),
        ("7m", "away 420"),
        ("6:45", "away 405"),
        ("6 min 45", "away 405"),
        ("6 min 45 s", "away 405"),
        ("6 min 35 s", "away 395"),
        ("395 s", "away 395"),
        ("395sec", "away 395"),
        ("round 540 seconds", "round 540"),
        ("5,5 minutes", "away 330"),
        ("round 9:10", "round 550"),
        ("away 330", "away 330"),
        ("a while", "a while"),
        ("6:75", "6:75"),
    ],
)
def test_durations_are_read_as_people_write_them(written: str, plain: str) -> None:
    assert plain_duration(written) == plain
    assert is_value(Holds.DURATION, plain) == plain.startswith(("away", "round"))


@pytest.mark.parametrize(
    "written", ["48 deg", "48deg", "48 deg.", "48\u00b0", "48 degrees", "48 degs"]
)
def test_the_unit_of_a_bearing_may_be_written_out(written: str) -> None:
    cell = read_bearing_cell(written)
    assert cell is not None
    assert (cell.deg, cell.precision_deg, cell.reference) == (48.0, 1.0, "")
    assert is_value(Holds.DEGREES, f"{written} true")
