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


def test_a_bare_time_is_of_the_day_of_the_row_above(tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    path.write_text(
        "clock,event,mark\n"
        "2026-07-14 9:05,gone,yellow\n"
        "9:12,landed,yellow\n"
        "2026-07-15 9:05,gone,yellow\n"
        "9:12,landed,yellow\n",
        "utf-8",
    )

    days = [row.event.clock for row in read_review(path, ZONE)]

    assert [clock and clock.day for clock in days] == [14, 14, 15, 15]


@pytest.mark.parametrize(
    ("cell", "seconds"),
    [
        ("7 min", 420),
        ("6:45", 405),
        ("6 min 45 s", 405),
        ("6 minutes and 45 seconds", 405),
        ("0:06:45", 405),
        ("06:45:00", 405),  # what a spreadsheet makes of 6:45
        ("06:45:00 AM", 405),
        ("12:30:00 AM", 30),
        ("01:05:00 PM", 785),
        ("25:30:00", 1530),
    ],
)
def test_a_duration_is_read_as_people_and_spreadsheets_write_it(
    cell: str, seconds: int, tmp_path: Path
) -> None:
    path = tmp_path / "review.csv"
    path.write_text(
        f"clock,event,mark,value\n2026-07-14 9:12,duration,yellow,{cell}\n", "utf-8"
    )

    (row,) = read_review(path, ZONE)

    assert row.event.value == f"away {seconds}"


def test_bare_times_ask_for_one_date_once(tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    path.write_text("clock,event,mark\n9:05,gone,yellow\n9:12,landed,yellow\n", "utf-8")

    with pytest.raises(ReviewFaultsError) as it:
        read_review(path, ZONE)

    assert len(it.value.lines) == 1
    assert "Write the date in this row" in it.value.lines[0]
