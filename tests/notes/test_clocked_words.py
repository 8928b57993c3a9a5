"""The words of typed lines: what is of a bee, and what of something else."""

from __future__ import annotations

import pytest

from notes.typed_page import BOOK, DAY, ZONE, told
from treeward.notes.clocked import read_clocked


def notes(text: str) -> list[str]:
    page = read_clocked(text, BOOK, ZONE, name="page.txt", day=DAY)
    return [told(event, doubt=True) for event in page.events]


def unread(text: str) -> list[str]:
    page = read_clocked(text, BOOK, ZONE, name="page.txt", day=DAY)
    return [line.text for line in page.unread]


@pytest.mark.parametrize(
    "line",
    [
        "9:20 Red still out",
        "9:20 Y is still away",
        "9:20 both still here",
        "9:21 saw red car go away up the lane",
        "9:22 white flowers all gone over",
        "9:22 blue tractor is back in the lane",
    ],
)
def test_what_is_told_of_a_state_or_of_a_thing_is_no_note(line: str) -> None:
    assert notes(line) == []
    assert unread(line) == [line]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("10:31 Y & B back, R still out", ["10:31 back yellow ?", "10:31 back blue ?"]),
        ("9:05 yellow shot off 47", ["9:05 away yellow", "9:05 bearing yellow 47"]),
        ("9:05 yellow finally off", ["9:05 away yellow ?"]),
        ("9:05 yellow circled twice and off", ["9:05 away yellow ?"]),
        ("9:05 yellow worker is off", ["9:05 away yellow ?"]),
        ("9:05 white went all round, off", ["9:05 away white ?"]),
    ],
)
def test_how_a_bee_goes_does_not_hide_that_she_does(
    line: str, wanted: list[str]
) -> None:
    assert notes(line) == wanted
    assert unread(line) == []
