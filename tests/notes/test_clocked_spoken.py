"""Times and durations in words, and in odd figures, on typed lines."""

from __future__ import annotations

from datetime import date

import pytest

from notes.typed_page import BOOK, DAY, ZONE, told
from treeward.notes.clocked import read_clocked
from treeward.notes.clocked_spoken import spoken_duration, spoken_time


@pytest.mark.parametrize(
    ("text", "clock"),
    [
        ("quarter past ten", "10:15"),
        ("a quarter to ten", "9:45"),
        ("half past 10", "10:30"),
        ("twenty-five to one", "12:35"),
        ("five past twelve", "12:05"),
        ("20 past 9", "9:20"),
        ("ten o'clock", "10:00"),
        ("ten to ten pm", "9:50 pm"),
        ("half to ten", None),
        ("45 to 50", None),
        ("10 to 12 bees", None),
        ("five to ten:30", None),
    ],
)
def test_a_time_in_words_is_read(text: str, clock: str | None) -> None:
    found = spoken_time(text, 0)

    assert (found[0].value if found else None) == clock


def test_a_duration_in_words_has_its_unit() -> None:
    found = spoken_duration(["six", "and", "a", "half", "minutes", "ago"])

    assert found is not None
    assert (found[0].value, found[1]) == ("390", 5)
    assert spoken_duration(["six", "and", "a", "half"]) is None
    assert spoken_duration(["yellow"]) is None


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("09:30h yellow away", ["9:30 away yellow"]),
        ("9-47 yellow back", ["9:47 back yellow"]),
        ("- 9-47 yellow back", ["9:47 back yellow"]),
        ("9;50 yellow away", ["9:50 away yellow"]),
        ("9,40 yellow away", ["9:40 away yellow"]),
        ("quarter past ten yellow away", ["10:15 away yellow"]),
        ("ten thirty yellow away", ["10:30 away yellow"]),
        ("nine oh five yellow away", ["9:05 away yellow"]),
        ("yellow away at half past 10", ["10:30 away yellow"]),
        ("time,bee,event\n\"9,40\",Y,off", ["9:40 away yellow"]),
        # No time: a bearing, a range against the clock, too many minutes.
        ("9:05 Y off two ten", ["9:05 away yellow", "9:05 bearing yellow 210"]),
        ("9-77 yellow back", []),
        ("\u0669-47 yellow back", []),
        ("47-50 yellow back", []),
    ],
)  # fmt: skip
def test_times_as_people_type_them(line: str, wanted: list[str]) -> None:
    page = read_clocked(line, BOOK, ZONE, name="page.txt", day=DAY)

    assert [told(event, doubt=True) for event in page.events] == wanted
    assert bool(wanted) != bool(page.unread)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026/07/15\n9:05 Y off", date(2026, 7, 15)),
        ("15.07.26\n9:05 Y off", date(2026, 7, 15)),
        ("15.07.26, station 2\n9:05 Y off", date(2026, 7, 15)),
        ("15.07.26 9:05 Y off", date(2026, 7, 15)),
        ("2026/7/15 9:05 Y off", date(2026, 7, 15)),
        ("9.05.30 Y off", DAY),  # no year near by: thirty seconds
    ],
)
def test_days_as_people_type_them(text: str, day: date) -> None:
    page = read_clocked(text, BOOK, ZONE, name="page.txt", near=DAY, day=DAY)

    assert {event.clock.date() for event in page.events if event.clock} == {day}
    assert not page.unread
