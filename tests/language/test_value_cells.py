"""Values as people write them into review.csv."""

from __future__ import annotations

import pytest

from treeward.language.kinds import Holds, is_value, plain_duration


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("7 min", "away 420"),
        ("7m", "away 420"),
        ("6:45", "away 405"),
        ("6 min 45", "away 405"),
        ("6 min 45 s", "away 405"),
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
