"""Typed notes are never silently wrong: letters, denials, doubt, numbers, leftovers."""

from __future__ import annotations

import time

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from drawing import examples
from notes.typed_page import BOOK, DAY, ZONE, told
from treeward.notes.clocked import Clocked, read_clocked
from treeward.notes.clocked_signs import has_clock_times

BEES = {"back", "away", "mark", "missed", "bearing", "duration"}


def page(text: str) -> Clocked:
    return read_clocked(text, BOOK, ZONE, name="page.txt", day=DAY)


def notes(text: str) -> list[str]:
    """Give the notes of a page as "9:05 away yellow", one in doubt with a "?"."""
    return [told(event, doubt=True) for event in page(text).events]


def unread(text: str) -> list[str]:
    return [line.text for line in page(text).unread]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("9:14 Y, W back", ["9:14 back yellow", "9:14 back white"]),
        ("9:16 Y & W off", ["9:16 away yellow", "9:16 away white"]),
        ("9:16 Y and W off", ["9:16 away yellow", "9:16 away white"]),
        ("9:16 Y + w off", ["9:16 away yellow", "9:16 away white"]),
        ("9:16 Y&W off", ["9:16 away yellow", "9:16 away white"]),
        ("9:14 Y, W, B back",
         ["9:14 back yellow", "9:14 back white", "9:14 back blue"]),
        ("9:14 Y, W, and B back",
         ["9:14 back yellow", "9:14 back white", "9:14 back blue"]),
        ("9:14 back Y & W", ["9:14 back yellow", "9:14 back white"]),
        ("9:14 yellow, W back", ["9:14 back yellow", "9:14 back white"]),
        ("9:30 W back, Y too", ["9:30 back white", "9:30 back yellow"]),
        ("9:30 Y back, W also", ["9:30 back yellow", "9:30 back white"]),
        ("9:16 Y off, W back", ["9:16 away yellow", "9:16 back white"]),
        ("9:16 Y off, W & B back",
         ["9:16 away yellow", "9:16 back white", "9:16 back blue"]),
        ("9:12 Y back 9:18 W off", ["9:12 back yellow", "9:18 away white"]),
        # And a point of the compass stays one.
        ("9:16 Y off W", ["9:16 away yellow", "9:16 bearing yellow 270 w"]),
        ("9:16 Y off, W", ["9:16 away yellow", "9:16 bearing yellow 270 w"]),
        ("9:16 Y, off, W", ["9:16 away yellow", "9:16 bearing yellow 270 w"]),
        ("9:16 W off heading W", ["9:16 away white", "9:16 bearing white 270 w"]),
        ("9:16 Y off W, B back",
         ["9:16 away yellow", "9:16 bearing yellow 270 w", "9:16 back blue"]),
        ("9:16 Y off W, W back",
         ["9:16 away yellow", "9:16 bearing yellow 270 w", "9:16 back white"]),
        ("9:16 Y & B off, W heading S",
         ["9:16 away yellow", "9:16 away blue", "9:16 bearing white 180 s"]),
        ("9:16 Y back, W still out", ["9:16 back yellow ?"]),
        # What may be the one or the other is in doubt.
        ("9:16 Y off, W 9:25 back",
         ["9:16 away yellow", "9:16 bearing yellow 270 w ?", "9:25 back yellow"]),
        ("9:16 Y off W back", ["9:16 away yellow", "9:16 back white ?"]),
        ("9:16 Y W off", ["9:16 away yellow-white ?"]),
        ("9:16 Y & E off", ["9:16 away yellow ?"]),
        ("9:16 Y back and W", ["9:16 back yellow ?"]),
        ("9:16 Y & B off 210",
         ["9:16 away yellow", "9:16 bearing yellow 210 ?",
          "9:16 away blue", "9:16 bearing blue 210 ?"]),
    ],
)  # fmt: skip
def test_a_letter_is_a_colour_where_bees_are_listed(
    line: str, wanted: list[str]
) -> None:
    assert notes(line) == wanted
    assert unread(line) == []


def test_a_page_of_letters_keeps_every_return() -> None:
    text = (
        "9:05 Y out 210\n9:06 W out 200\n9:09 yellow not back yet\n9:14 Y, W back\n"
        "9:16 Y & W off\n9:26 Y back\n9:27 W back\n"
    )

    assert [note for note in notes(text) if "white" in note] == [
        "9:06 away white",
        "9:06 bearing white 200",
        "9:14 back white",
        "9:16 away white",
        "9:27 back white",
    ]
    assert unread(text) == ["9:09 yellow not back yet"]


@pytest.mark.parametrize(
    "line",
    [
        "9:09 yellow not back",
        "9:09 not back yet, yellow",
        "9:09 white hasn't left",
        "9:09 white hasnt left",
        "9:09 W didn\u2019t leave, still in",
        "9:09 no yellow in",
        "9:09 Y never off",
        "9:09 Y neither in nor out",
        "9:09 Y back not W",
        "9:09 Y off 210 not 120",
    ],
)
def test_what_is_denied_is_no_note_and_is_listed(line: str) -> None:
    assert notes(line) == []
    assert unread(line) == [line]


def test_only_the_part_of_a_line_that_is_denied_is_no_note() -> None:
    assert notes("9:09 yellow away, white not back") == ["9:09 away yellow ?"]


@pytest.mark.parametrize(
    "line",
    [
        "9:09 yellow nearly back",
        "9:09 Y back?",
        "9:09 Y might be away",
        "9:09 maybe Y back",
        "9:09 Y back or W",
        "9:09? Y back",
        "9:09 Y soon off",
        "9:09 I think Y is back",
        "9:09 Y'll be back",
    ],
)
def test_what_is_doubted_is_in_doubt(line: str) -> None:
    (note,) = notes(line)
    assert note.endswith("?")


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("9:09 yellow isn't back", ["9:09 missed yellow"]),
        ("9:09 yellow has not come back", ["9:09 missed yellow"]),
        ("9:09 no sign of W", ["9:09 missed white"]),
        ("9:09 yellow's back", ["9:09 back yellow"]),
        ("9:09 yellow off again", ["9:09 away yellow"]),
        ("9:09 there goes yellow, 210",
         ["9:09 away yellow", "9:09 bearing yellow 210"]),
    ],
)  # fmt: skip
def test_ways_of_saying_it_are_those_of_the_phrase_book(
    line: str, wanted: list[str]
) -> None:
    assert notes(line) == wanted
    assert unread(line) == []


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("9:14 Y out, 6:45 away",
         ["9:14 away yellow", "9:14 duration yellow away 405"]),
        ("9:14 Y out 6:45", ["9:14 away yellow", "9:14 duration yellow away 405"]),
        ("9:20 Y back, away 6:45",
         ["9:20 back yellow", "9:20 duration yellow away 405"]),
        ("9:20 Y back, 9:25 away", ["9:20 back yellow", "9:25 away yellow"]),
        ("9:20 Y back, off 9:25", ["9:20 back yellow", "9:25 away yellow"]),
        ("9:50 Y back 7' 30\"", ["9:50 back yellow", "9:50 duration yellow away 450"]),
        ("9:50 Y back 7'", ["9:50 back yellow", "9:50 duration yellow away 420"]),
        ("9:50 Y back, 6:45 min",
         ["9:50 back yellow", "9:50 duration yellow away 405"]),
        ("9:50 Y back 405 sec", ["9:50 back yellow", "9:50 duration yellow away 405"]),
        # A bee that left cannot leave, though ten to eleven might be a time.
        ("9:14 Y out, 10:05 away",
         ["9:14 away yellow ?", "9:14 duration yellow away 605 ?"]),
        ("9:14 Y away 2-10", ["9:14 away yellow", "9:14 bearing yellow 210 ?"]),
        ("9:14 Y away 2-1-0", ["9:14 away yellow", "9:14 bearing yellow 210 ?"]),
        ("9:14 Y away 21O", ["9:14 away yellow ?"]),
        ("9:14 Y away 210x", ["9:14 away yellow ?"]),
        ("9:14 Y away 200-220", ["9:14 away yellow", "9:14 bearing yellow 210 ?"]),
        ("9:14 Y away 210-320", ["9:14 away yellow ?"]),
        ("9:14 Y away -10", ["9:14 away yellow ?"]),
        ("9:14 Y away 210.5", ["9:14 away yellow", "9:14 bearing yellow 210.5"]),
        ("9:14 Y away 2", ["9:14 away yellow", "9:14 bearing yellow 2 ?"]),
        ("9:14 Y off NNE 350", ["9:14 away yellow", "9:14 bearing yellow 22.5 nne ?"]),
        ("9:14 Y off NNE 20", ["9:14 away yellow", "9:14 bearing yellow 20"]),
        ("9:14 Y off 210 240", ["9:14 away yellow", "9:14 bearing yellow 210 ?"]),
        ("9:14 Y off about 210", ["9:14 away yellow", "9:14 bearing yellow 210 ?"]),
        ("9:14 Y off 400", ["9:14 away yellow ?"]),
        ("9:14 Y off 370", ["9:14 away yellow ?"]),
        ("9:14 Y back 210", ["9:14 back yellow ?"]),
        ("9:14 bl/w off", ["9:14 away blue-white"]),
        ("9:14 Bl/W out", ["9:14 away blue-white"]),
        ("9:14 blue/w out", ["9:14 away blue-white"]),
        ("9:14 Y abd out", ["9:14 away yellow abdomen"]),
        ("9:14 yel out", ["9:14 away yellow"]),
        ("9:14 wh. out", ["9:14 away white"]),
        ("9:14 ora out SW", ["9:14 away orange", "9:14 bearing orange 225 sw"]),
        ("9:25 Y back at 9:24", ["9:24 back yellow ?"]),
        ("9:25 Y back 9:24", ["9:25 back yellow ?"]),
        ("Y back at 9:24", ["9:24 back yellow"]),
        ("9:05 Y off, wind light from the west",
         ["9:05 wind light 270", "9:05 away yellow"]),
        ("9:05 Y off / 9:12 W in", ["9:05 away yellow", "9:12 back white"]),
        ("9:05 Y off -> 210", ["9:05 away yellow", "9:05 bearing yellow 210"]),
        ("9:05 no wind, Y off", ["9:05 away yellow ?"]),
        ("9:05 Y off by the oak", ["9:05 away yellow ?"]),
        ("2026-07-15 09:05 Y off", ["9:05 away yellow"]),
        ("14 July 9:05 Y off", ["9:05 away yellow"]),
        ("9:05 Y in and out", ["9:05 back yellow", "9:05 away yellow ?"]),
        ("9:05 note Y not back, W off", ["9:05 remark Y not back, W off"]),
    ],
)  # fmt: skip
def test_a_number_is_read_whole_or_put_in_doubt(line: str, wanted: list[str]) -> None:
    assert notes(line) == wanted
    assert unread(line) == []


@pytest.mark.parametrize(
    "line",
    [
        "9:12-9:05 Y away",
        "9:05-9:12 Y back",
        "905 Y off",
        "9:7O Y off",
        "25:10 Y off",
        "9:05Y off",
        "9:05 Q off",
        "9:05 p off",
        "9:05 yelow off",
        "9:05 Y",
        "9:05 Y or",
        "9:05",
        "Marl Hollow",
        "\u0669:05 Y off",
    ],
)
def test_what_makes_no_note_is_listed(line: str) -> None:
    assert notes(line) == []
    assert unread(line) == [line]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("9:21 yellow away bearing two ten true",
         ["9:21 away yellow", "9:21 bearing yellow 210 true"]),
        ("9:21 Y off 210T", ["9:21 away yellow", "9:21 bearing yellow 210 true"]),
        ("9:21 Y off 035 mag", ["9:21 away yellow", "9:21 bearing yellow 35 magnetic"]),
        ("9:21 Y off SW true", ["9:21 away yellow", "9:21 bearing yellow 225 sw true"]),
        ("9:21 yellow away heading south west magnetic",
         ["9:21 away yellow", "9:21 bearing yellow 225 sw magnetic"]),
        ("10:00 wind strong from 210 true", ["10:00 wind strong 210 true"]),
        ("10:00 wind light from two ten", ["10:00 wind light 210"]),
        ("10:05 bees overhead, heading two ten true", ["10:05 overhead 210 true"]),
        ("10:05 bees overhead 210 true", ["10:05 overhead 210 true"]),
    ],
)  # fmt: skip
def test_a_north_that_is_named_stays_with_its_bearing(
    line: str, wanted: list[str]
) -> None:
    assert notes(line) == wanted
    assert unread(line) == []


@pytest.mark.parametrize(
    "line",
    ["searched here, nothing", "tree checked, nothing", "tree, checked, nothing"],
)
def test_commas_mean_nothing_within_a_phrase(line: str) -> None:
    assert notes(f"10:07 {line}") == ["10:07 searched"]
    assert unread(f"10:07 {line}") == []


def test_a_colony_that_was_not_found_is_none() -> None:
    assert notes("10:09 no colony found") == []
    assert unread("10:09 no colony found") == ["10:09 no colony found"]


def test_a_fault_of_the_day_it_was_written_on_is_none_of_the_next() -> None:
    text = "14 July 2026\n9:05 Y off\nstation 2\n15 July 2026, station 3\n9:05 Y off"

    assert [f"{e.clock:%d} {e.kind} {e.value}" for e in page(text).events] == [
        "14 away ",
        "14 station 2",
        "15 station 3",
        "15 away ",
    ]


KNOWN = [
    *("Y", "W", "yellow", "bl/w", "wh.", "back", "off", "out", "in", "is back"),
    *("210", "NE", "W", "9:05", "9:12", "6:45 away", "at 9:14", "7 min", "2-10"),
    *("&", ",", "and", "the", "again", "station 2", "wind light", "Y, W", "yellow:"),
]
STRANGE = [
    *("not", "hasn't", "might", "nearly", "?", "lost", "oak", "21O", "400", "p"),
    *("yelow", "b4ck", "210-320", "9:12-9:05", "\u00bd", "zzz", "nor", "%"),
]


@settings(deadline=None, max_examples=examples(300))
@given(
    st.lists(st.sampled_from(KNOWN), max_size=6),
    st.sampled_from(STRANGE),
    st.lists(st.sampled_from(KNOWN), max_size=6),
)
@example(["9:05", "Y"], "not", ["back"])
@example(["9:05", "Y", "back", ","], "oak", ["W", "off"])
def test_what_is_not_understood_is_listed_or_every_note_of_its_line_is_in_doubt(
    before: list[str], strange: str, after: list[str]
) -> None:
    line = " ".join([*before, strange, *after])
    read = page(f"{line}\n")

    of_bees = [e for e in read.events if e.kind in BEES]
    assert all(event.doubtful for event in of_bees)
    assert of_bees or read.unread


@settings(deadline=None, max_examples=examples(300))
@given(st.lists(st.sampled_from(KNOWN), min_size=1, max_size=8))
def test_every_bee_and_every_doing_of_a_line_is_in_its_notes_or_told(
    words: list[str],
) -> None:
    line = " ".join(["9:00", *words])
    read = page(f"{line}\n")

    told = bool(read.unread) or any(event.doubtful for event in read.events)
    bees = {"yellow": "yellow", "bl/w": "blue-white", "wh.": "white"}
    for word, mark in bees.items():
        assert told or word not in words or mark in {e.mark for e in read.events}
    if "back" in words:
        assert told or "back" in {e.kind for e in read.events}


@settings(deadline=None, max_examples=examples(300))
@given(st.text(max_size=60))
def test_any_line_is_read_and_no_letter_of_it_is_passed_over(line: str) -> None:
    plain = [part for part in line.splitlines() if part.strip()]
    read = page(line)
    has_clock_times(line, BOOK)

    words = [
        word
        for part in plain
        for word in part.lower().split()
        if word.isalpha() and len(word) > 8  # longer than all that is known
    ]
    told = " ".join(one.text for one in read.unread).lower()
    assert all(word in told for word in words) or any(e.flags for e in read.events)


@pytest.mark.slow
@settings(deadline=None, max_examples=3)
@given(
    st.lists(
        st.lists(st.sampled_from(KNOWN + STRANGE), min_size=3, max_size=8),
        min_size=60,
        max_size=60,
    )
)
def test_three_thousand_lines_take_about_a_second(lines: list[list[str]]) -> None:
    written = [" ".join(line) for line in lines]
    text = "\n".join(f"{line} {n}" for n in range(50) for line in written)
    began = time.process_time()

    page(text)

    assert time.process_time() - began < 5.0  # s; 0.7 s here


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        # A bearing alone tells no leaving.
        ("9:17 Y 210, B 212 off", ["9:17 bearing yellow 210 ?", "9:17 away blue",
                                   "9:17 bearing blue 212"]),
        ("9:05 Y off; 9:06 Y 210", ["9:05 away yellow", "9:06 bearing yellow 210"]),
        # Which bees, before what each did.
        ("9:15 Y & W: Y off, W back", ["9:15 away yellow ?", "9:15 back white ?"]),
        # The number of a bee is no bearing of hers.
        ("9:05 bee 1 (yellow) off 210", ["9:05 away yellow ?",
                                         "9:05 bearing yellow 210 ?"]),
        # How long she was away, told of her coming.
        ("9:45 Y back, gone 7 min", ["9:45 back yellow",
                                     "9:45 duration yellow away 420"]),
        ("9:45 Y back (away 6m 20s)", ["9:45 back yellow",
                                       "9:45 duration yellow away 380"]),
        ("9:45 Y back after 7 min", ["9:45 back yellow",
                                     "9:45 duration yellow away 420"]),
        # Clocks as people write them.
        ("0905hrs Y dep 210", ["9:05 away yellow", "9:05 bearing yellow 210"]),
        ("9:05p Y departs", ["21:05 away yellow"]),
        ("9:12'15 Y arrives", ["9:12 back yellow"]),
        ("Y off @ 9:05", ["9:05 away yellow"]),
        ("1) Y off 9:05, dir 210", ["9:05 away yellow", "9:05 bearing yellow 210"]),
        # At six by a dial it may be morning or evening.
        ("6:30 Y off", ["6:30 away yellow ?"]),
        ("06:30 Y off", ["6:30 away yellow"]),
    ],
)  # fmt: skip
def test_notes_as_different_people_write_them(line: str, wanted: list[str]) -> None:
    assert notes(line) == wanted


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("14/7 9:05 Y off\n15/7 9:12 Y back", [14, 15]),
        ("14.7. 9:05 Y off\n15.7. 9:12 Y back", [14, 15]),
        ("15/7/26: Y off 9:05", [15]),
        ("9:05 Y off\nFriday 17th\n9:12 Y off", [14, 17]),
        ("9:05 Y off\nWednesday\n9:12 Y off", [14, 15]),
    ],
)
def test_a_day_told_in_short_is_the_day_of_what_follows(
    text: str, days: list[int]
) -> None:
    assert [e.clock.day for e in page(text).events if e.clock] == days


@pytest.mark.parametrize(
    "line",
    ["9.00-9.05 marking bees", "set out 5 separate dishes", "6 junctions passed"],
)
def test_a_word_that_begins_like_a_month_is_no_date(line: str) -> None:
    (event,) = page(f"{line}\n9:05 Y off").events

    assert event.clock is not None
    assert event.clock.date() == DAY


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("9:26 W gone, didn't see which way", "doubt in words: 'didn't see which way'"),
        (
            "9:18 yellow back, 9.04 white painted",
            "'9.04' is earlier than what the line says before it",
        ),
        (
            "7:04 yellow back",
            "'7:04' taken as 07:04, in the morning: was it in the evening?",
        ),
        ("9:12 yellow away, back", "no time stands with 'back', taken as 09:12"),
    ],
)
def test_a_doubt_says_what_it_is_about(line: str, said: str) -> None:
    found = read_clocked(line, BOOK, ZONE, day=DAY)
    told_of = {flag.sentence for event in found.events for flag in event.flags}
    assert told_of == {said}
