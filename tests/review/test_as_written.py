"""review.csv as people write it by hand: words for comings and goings, bare times."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from treeward.review.file import read_review
from treeward.review.table import ReviewFaultsError

if TYPE_CHECKING:
    from pathlib import Path

ZONE = ZoneInfo("Europe/London")


def test_words_durations_and_bare_times_are_understood(tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    path.write_text(
        "clock,event,mark,value\n"
        "2026-07-14 9:05,gone,yellow,\n"
        "9:12,landed,yellow,\n"
        "9:12,duration,yellow,6:45\n"
        "9:15,left,yellow,\n"
        "9:22,returned,yellow,\n",
        "utf-8",
    )

    rows = [row.event for row in read_review(path, ZONE)]

    assert [(e.clock and e.clock.day, e.kind, e.value) for e in rows] == [
        (14, "away", ""),
        (14, "back", ""),
        (14, "duration", "away 405"),
        (14, "away", ""),
        (14, "back", ""),
    ]


def test_bare_times_ask_for_one_date_once(tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    path.write_text("clock,event,mark\n9:05,gone,yellow\n9:12,landed,yellow\n", "utf-8")

    with pytest.raises(ReviewFaultsError) as it:
        read_review(path, ZONE)

    assert len(it.value.lines) == 1
    assert "Write the date in this row" in it.value.lines[0]
