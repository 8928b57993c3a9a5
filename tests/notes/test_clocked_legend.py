"""Shorthand of typed pages: legends, "o" and "i", ditto marks, lines set in."""

from __future__ import annotations

import pytest

from notes.typed_page import BOOK, DAY, ZONE, told
from treeward.notes.clocked import Clocked, read_clocked
from treeward.notes.clocked_signs import has_clock_times


def page(text: str) -> Clocked:
    return read_clocked(text, BOOK, ZONE, name="page.txt", day=DAY)


def notes(text: str) -> list[str]:
    return [told(event, doubt=True) for event in page(text).events]


def unread(text: str) -> list[str]:
    return [line.text for line in page(text).unread]


@pytest.mark.parametrize(
    ("legend", "line", "wanted"),
    [
        ("Y = yellow, BW = blue/white", "BW off 9:05", ["9:05 away blue-white"]),
        ("key: T = yellow; K=white", "T off 9:05", ["9:05 away yellow"]),
        ("T = yellow  K = white", "9:05 K, T back",
         ["9:05 back white", "9:05 back yellow"]),
        ("f = off, l = landed", "Y f 9:05, l 9:11",
         ["9:05 away yellow", "9:11 back yellow"]),
    ],
)  # fmt: skip
def test_a_page_tells_what_its_letters_mean(
    legend: str, line: str, wanted: list[str]
) -> None:
    text = f"{legend}\n{line}"

    assert has_clock_times(text, BOOK)
    assert notes(text) == wanted
    assert unread(text) == []


@pytest.mark.parametrize("line", ["T = the oak", "Y = yellow, T = tired", "9 = yellow"])
def test_a_legend_that_is_not_known_is_listed(line: str) -> None:
    assert unread(f"{line}\n9:05 Y off") == [line]
    assert notes(f"{line}\n9:05 Y off") == ["9:05 away yellow"]


def test_o_and_i_are_out_and_in_where_a_page_has_both() -> None:
    text = "Y o 0905 47\nBW o 0906\nY i 0911\nyellow o 0912 -> i 0918\n"

    assert notes(text) == [
        "9:05 away yellow",
        "9:05 bearing yellow 47",
        "9:06 away blue-white",
        "9:11 back yellow",
        "9:12 away yellow",
        "9:18 back yellow",
    ]
    assert unread(text) == []


def test_o_alone_is_no_orange_beside_a_capital_and_is_in_doubt() -> None:
    assert notes("Y o 0905 47") == ["9:05 away yellow ?", "9:05 bearing yellow 47 ?"]
    assert notes("Y O off 0905") == ["9:05 away yellow-orange ?"]


@pytest.mark.parametrize("same", ['"', "\u3003", "ditto", "do.", "''"])
def test_a_ditto_mark_is_the_bee_above(same: str) -> None:
    assert notes(f"9:05 Y off\n9:11 {same} back") == [
        "9:05 away yellow",
        "9:11 back yellow",
    ]
    two = f"9:05 Y & W off\n9:11 {same} back"
    assert unread(two) == [f"9:11 {same} back"]


def test_a_line_set_in_is_of_the_bee_above_it() -> None:
    assert notes("0925 Y dep 48\n     ret 0931\n     dep 0933") == [
        "9:25 away yellow",
        "9:25 bearing yellow 48",
        "9:31 back yellow",
        "9:33 away yellow",
    ]
    assert unread("0925 Y dep\nret 0931") == ["ret 0931"]
    assert unread("0925 Y & W dep\n   ret 0931") == ["ret 0931"]


def test_bk_is_back() -> None:
    assert notes("9:05 Y bk") == ["9:05 back yellow"]
