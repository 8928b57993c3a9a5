"""Bearings of typed lines: between two, from north or south, of thirty-two points."""

from __future__ import annotations

import pytest

from notes.typed_page import BOOK, DAY, ZONE, told
from treeward.notes.clocked import read_clocked


def bearing(line: str) -> str:
    """Give the bearing of a line's only leaving, in doubt with a "?"; "" for none."""
    page = read_clocked(line, BOOK, ZONE, name="page.txt", day=DAY)
    away, *more = page.events
    assert (away.kind, away.mark, page.unread) == ("away", "yellow", ())
    assert len(more) <= 1
    found = [told(event, doubt=True).split(" ", 3)[3] for event in more]
    return found[0] if found else ""


@pytest.mark.parametrize(
    ("said", "deg"),
    [
        ("45-50", "47.5 ?"),
        ("45 \u2013 50\u00b0", "47.5 ?"),
        ("45 to 50 degrees", "47.5 ?"),
        ("350-10", "0 ?"),
        ("10-350", "0 ?"),
        ("N45E", "45"),
        ("S30W", "210"),
        ("n 45\u00b0 w", "315"),
        ("S10E", "170"),
        ("NE by E", "56"),  # 45 + 11.25
        ("NE by N", "34"),  # 45 - 11.25
        ("W by N", "281"),  # 270 + 11.25
        ("north by west", "349"),  # 360 - 11.25
        # None of these is one bearing.
        ("45-200", ""),
        ("45-45", ""),
        ("N95E", ""),
        ("2-10", "210 ?"),  # its figures one by one
    ],
)
def test_a_bearing_as_people_write_it(said: str, deg: str) -> None:
    assert bearing(f"9:05 Y off {said}") == deg
    if deg:
        assert bearing(f"time,bee,event,bearing\n9:05,Y,off,{said}") == deg


def test_a_point_by_itself_or_the_other_way_is_no_point() -> None:
    page = read_clocked("9:05 Y off N by S", BOOK, ZONE, name="page.txt", day=DAY)

    assert all(event.doubtful for event in page.events)
