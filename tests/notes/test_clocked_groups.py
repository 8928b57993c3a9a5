"""What a typed line says of bees: second times, flights, several bees, ranges."""

from __future__ import annotations

import pytest

from notes.typed_page import BOOK, DAY, ZONE
from treeward.notes.clocked import read_clocked
from treeward.notes.flags import FlagCode


def notes(text: str) -> list[str]:
    """Give the notes of a page as "9:05:00 away yellow", one in doubt with a "?"."""
    found = []
    for event in read_clocked(text, BOOK, ZONE, name="page.txt", day=DAY).events:
        assert event.clock is not None
        clock = f"{event.clock:%-H:%M:%S}".removesuffix(":00")
        parts = (clock, event.kind, event.mark, event.value)
        unsure = "?" if event.doubtful else ""
        found.append(" ".join(part for part in (*parts, unsure) if part))
    return found


def unread(text: str) -> list[str]:
    page = read_clocked(text, BOOK, ZONE, name="page.txt", day=DAY)
    return [line.text for line in page.unread]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("9:40 white back; yellow away 9:36, 47; back 9:42",
         ["9:40 back white", "9:36 away yellow ?", "9:36 bearing yellow 47 ?",
          "9:42 back yellow"]),
        ("yellow was back at 9:27, having left 9:21",
         ["9:27 back yellow", "9:21 away yellow ?"]),
        ("10:00 yellow out (9:59 by Non's watch)", ["10:00 away yellow ?"]),
        # Far from the other times, or as its words say, it is how long she was away.
        ("9:40 Y back, gone 6:45",
         ["9:40 back yellow", "9:40 duration yellow away 405"]),
        ("9:40 Y back, took 9:36",
         ["9:40 back yellow", "9:40 duration yellow away 576"]),
        ("9:40 Y back, 9:36 away",
         ["9:40 back yellow ?", "9:40 duration yellow away 576 ?"]),
    ],
)  # fmt: skip
def test_a_second_time_near_the_first_is_a_time_of_day(
    line: str, wanted: list[str]
) -> None:
    assert notes(line) == wanted


def test_a_time_before_the_one_in_front_of_it_is_said_to_be_earlier() -> None:
    line = "yellow was back at 9:27, having left 9:21"
    back, away = read_clocked(line, BOOK, ZONE, name="page.txt", day=DAY).events

    assert back.flags == ()
    assert [flag.sentence for flag in away.flags] == [
        "'9:21' is earlier than what the line says before it"
    ]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("09:14:05 white back 1 min ago", ["9:13:05 back white ?"]),
        ("9:14 white came back half a minute ago", ["9:13:30 back white ?"]),
        ("9:14 two minutes ago white left", ["9:12 away white ?"]),
    ],
)
def test_a_note_told_late_is_of_the_time_it_tells(line: str, wanted: list[str]) -> None:
    assert notes(line) == wanted


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("9:12 yellow away, back after 6:45",
         ["9:12 away yellow", "9:18:45 back yellow ?",
          "9:18:45 duration yellow away 405 ?"]),
        ("9:12 yellow away 47, back six and a half minutes later",
         ["9:12 away yellow", "9:12 bearing yellow 47", "9:18:30 back yellow ?",
          "9:18:30 duration yellow away 390 ?"]),
        # Another bee's flight is not hers.
        ("9:12 W away; Y back after 6:45",
         ["9:12 away white", "9:12 back yellow", "9:12 duration yellow away 405"]),
    ],
)  # fmt: skip
def test_a_bee_is_back_when_the_flight_that_was_told_ends(
    line: str, wanted: list[str]
) -> None:
    assert notes(line) == wanted


def in_view(text: str, *, below: str) -> list[str]:
    """Give the notes of a line that stands below others."""
    page = read_clocked(f"{below}\n{text}", BOOK, ZONE, name="page.txt", day=DAY)
    heard = " ".join(text.split())
    guessed = FlagCode.BEE_IN_VIEW
    return [
        f"{e.clock:%-H:%M} {e.kind} {e.mark}{'?' if e.has(guessed) else ''}"
        for e in page.events
        if e.heard == heard
    ]


OUT = "9:05 Y away\n9:06 W away"
HERE = f"{OUT}\n9:11 Y back\n9:12 W back"


@pytest.mark.parametrize(
    ("line", "below", "wanted"),
    [
        ("9:20 both back", OUT, ["9:20 back yellow?", "9:20 back white?"]),
        ("9:20 they both came back", OUT, ["9:20 back yellow?", "9:20 back white?"]),
        ("9:20 all two back", OUT, ["9:20 back yellow?", "9:20 back white?"]),
        ("9:20 both gone", HERE, ["9:20 away yellow?", "9:20 away white?"]),
        ("9:20 all away", HERE, ["9:20 away yellow?", "9:20 away white?"]),
        ("9:20 both of them off", HERE, ["9:20 away yellow?", "9:20 away white?"]),
        ("9:29 both back, W first at 9:28", OUT,
         ["9:29 back yellow?", "9:28 back white"]),
        ("9:20 all back", "9:05 Y away\n9:06 W painted", ["9:20 back yellow?"]),
        # Bees that are named need no guess.
        ("9:20 Y & W both away", HERE, ["9:20 away yellow", "9:20 away white"]),
        ("9:20 both Y and W away", HERE, ["9:20 away yellow", "9:20 away white"]),
        # Nobody knows which two of three, nor of one.
        ("9:20 both back", f"{OUT}\n9:07 R away", []),
        ("9:20 both back", "9:05 Y away", []),
        ("9:20 all three back", OUT, []),
        ("9:20 both gone", f"{HERE}\nstation 2", []),
        ("9:20 they back", OUT, []),
        ("9:20 not both back", OUT, []),
    ],
)  # fmt: skip
def test_both_and_all_are_the_bees_that_are_out_or_here(
    line: str, below: str, wanted: list[str]
) -> None:
    assert in_view(line, below=below) == wanted
    assert bool(wanted) != (line in unread(f"{below}\n{line}"))


@pytest.mark.parametrize("line", ["9:20 Y & W both away", "9:20 both Y and W away"])
def test_two_bees_that_are_named_and_both_are_not_in_doubt(line: str) -> None:
    assert notes(line) == ["9:20 away yellow", "9:20 away white"]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("White: 9:07-9:14, 9:16-9:23 brg 50, 9:25-",
         ["9:07 away white ?", "9:14 back white ?", "9:16 away white",
          "9:16 bearing white 50", "9:23 back white", "9:25 away white ?"]),
        ("Blue/white: 9:30 to 9:37, 052",
         ["9:30 away blue-white", "9:30 bearing blue-white 52",
          "9:37 back blue-white"]),
        ("Y 9:52 -> 9:58 @ 48",
         ["9:52 away yellow", "9:52 bearing yellow 48", "9:58 back yellow"]),
        ("W: 9:53/10:00/51",
         ["9:53 away white", "9:53 bearing white 51", "10:00 back white"]),
        ("9:45-9:51 yellow", ["9:45 away yellow ?", "9:51 back yellow ?"]),
        ("9.45 \u2013 9.51 yellow away", ["9:45 away yellow", "9:51 back yellow"]),
        ("Y out 0945-0951 47",
         ["9:45 away yellow", "9:45 bearing yellow 47", "9:51 back yellow"]),
        ("White 9:07-9:14, Y 9:20-9:25",
         ["9:07 away white ?", "9:14 back white ?", "9:20 away yellow ?",
          "9:25 back yellow ?"]),
        ("11:58-12:04 Y 47",
         ["11:58 away yellow", "11:58 bearing yellow 47", "12:04 back yellow"]),
        ("12:58-1:04 Y 47",
         ["12:58 away yellow", "12:58 bearing yellow 47", "13:04 back yellow"]),
        # Not of a flight, or against the clock.
        ("9:05-9:12 Y back", []),
        ("9:00-9:05 Y painted", []),
        ("Y 9:14-9:07", []),
    ],
)  # fmt: skip
def test_a_range_of_times_is_a_flight(line: str, wanted: list[str]) -> None:
    assert notes(line) == wanted
    assert unread(line) == ([] if wanted else [line])


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("W dep 0916 arr 0923 brg 49",
         ["9:16 away white", "9:16 bearing white 49", "9:23 back white"]),
        ("W off 9:16, back 9:23, heading about NE",
         ["9:16 away white", "9:16 bearing white 45 ne ?", "9:23 back white"]),
        # Of whom, where she did not leave before, and who says that it is one?
        ("W back 9:23 brg 49", ["9:23 back white ?"]),
        ("Y off 9:16, W back 9:23, brg 49",
         ["9:16 away yellow ?", "9:23 back white ?"]),
    ],
)  # fmt: skip
def test_a_bearing_behind_both_times_is_the_way_she_left(
    line: str, wanted: list[str]
) -> None:
    assert notes(line) == wanted


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("9:36 yellow on", ["9:36 back yellow"]),
        ("yellow on at 9:36", ["9:36 back yellow"]),
        ("9:36 Y on, W off", ["9:36 back yellow", "9:36 away white"]),
        ("9:36 Y off on 210", ["9:36 away yellow", "9:36 bearing yellow 210"]),
        ("9:36 Y on the moss", []),
    ],
)
def test_on_is_the_other_of_off_where_it_is_on_nothing(
    line: str, wanted: list[str]
) -> None:
    assert notes(line) == wanted
