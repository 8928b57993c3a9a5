from __future__ import annotations

import pytest

from treeward.desk.readings import PhraseReader
from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.events import Event
from treeward.speech.utterances import Alternative


@pytest.fixture(scope="module")
def reader() -> PhraseReader:
    return PhraseReader(PhraseBook.load())


@pytest.mark.parametrize(
    ("text", "cells"),
    [
        ("yellow away", ("away", "yellow", "")),
        ("  Blue White  BACK ", ("back", "blue-white", "")),
        ("bearing 210", ("bearing", "", "210")),
        ("bearing two one zero", ("bearing", "", "210")),
        ("time 10 22", ("time", "", "10:22")),
        ("station 2", ("station", "", "2")),
    ],
)
def test_typed_phrases_are_read_as_they_are_said(
    reader: PhraseReader, text: str, cells: tuple[str, str, str]
) -> None:
    reading = reader.read(text)

    assert reading is not None
    assert tuple(reading.cells().values()) == cells


@pytest.mark.parametrize(
    "text", ["", "what a day", "yellow away blue back", "bearing 999", "time"]
)
def test_no_note_and_two_notes_are_refused(reader: PhraseReader, text: str) -> None:
    assert reader.read(text) is None


def row(kind: str, mark: str = "", value: str = "") -> Event:
    return Event(kind=EventKind(kind), mark=mark, value=value)


@pytest.mark.parametrize(
    ("now", "text", "becomes"),
    [
        # What stands alone changes one cell.
        (row("away", "yellow"), "white", "white away"),
        (row("away", "yellow"), "no, that was white", "white away"),
        (row("away", "yellow"), "no, sorry, the blue one", "blue away"),
        (row("bearing", "yellow", "120"), "it was white", "bearing 120 (white)"),
        (row("away", "yellow"), "back", "yellow back"),
        (row("away", "yellow"), "she landed", "yellow back"),
        (row("back", "white"), "gone", "white away"),
        (row("bearing", "yellow", "120"), "210", "bearing 210 (yellow)"),
        (row("bearing", "yellow", "120"), "it was two twenty", "bearing 220 (yellow)"),
        (row("bearing", "yellow"), "south west", "bearing 225 sw (yellow)"),
        (row("bearing", "yellow"), "210 true", "bearing 210 true (yellow)"),
        (row("time", value="10:22"), "10 40", "time 10:40"),
        (row("time", value="10:22"), "ten past eleven", "time 11:10"),
        # As the page itself names a row.
        (row("away", "yellow"), "green mark", "green mark"),
        (row("away", "yellow"), "blue-white back", "blue-white back"),
        (row("away", "yellow"), "bearing 210 (white)", "bearing 210 (white)"),
        # A pronoun is of the row's bee.
        (row("back", "white"), "she's off", "white away"),
        (row("away", "white"), "she\u2019s off", "white away"),
        (row("away", "orange"), "she came back", "orange back"),
        # Another note, in the phrase book's words.
        (row("away", "yellow"), "bearing 210", "bearing 210 (yellow)"),
        (row("remark", value="a cloud"), "blue back", "blue back"),
    ],
)
def test_a_sentence_says_what_its_row_should_be(
    reader: PhraseReader, now: Event, text: str, becomes: str
) -> None:
    reading = reader.for_row(text, now)

    assert reading is not None
    assert reading.row.said == becomes
    assert reading.others == ()


@pytest.mark.parametrize(
    ("now", "text", "becomes", "others"),
    [
        (
            row("away", "yellow"),
            "red away, bearing one oh eight",
            "red away",
            ["bearing 108 (red)"],
        ),
        (
            row("bearing", "yellow", "120"),
            "red away, bearing one oh eight",
            "bearing 108 (red)",
            ["red away"],
        ),
        (
            row("back", "yellow"),
            "yellow away at two ten",
            "yellow away",
            ["bearing 210 (yellow)"],
        ),
        (row("away", "yellow"), "210", "yellow away", ["bearing 210 (yellow)"]),
        (row("away", "yellow"), "yellow away blue back", "yellow away", ["blue back"]),
        (row("back", "blue"), "yellow away blue back", "blue back", ["yellow away"]),
        (
            row("back", "green"),
            "white's back, and orange right behind her",
            "white back",
            ["orange back"],
        ),
        (
            row("away", "yellow"),
            "she left, south west",
            "yellow away",
            ["bearing 225 sw (yellow)"],
        ),
        (
            row("away", "yellow"),
            "she landed at ten past ten",
            "yellow back",
            ["time 10:10"],
        ),
    ],
)
def test_of_several_notes_a_row_takes_its_own_and_the_others_are_offered(
    reader: PhraseReader,
    now: Event,
    text: str,
    becomes: str,
    others: list[str],
) -> None:
    reading = reader.for_row(text, now)

    assert reading is not None
    assert reading.row.said == becomes
    assert [one.said for one in reading.others] == others
    assert not reading.plain or text == "210"


@pytest.mark.parametrize(
    "text",
    ["", "the kettle", "yellow not back yet", "yellow hasn't left", "bearing 999"],
)
def test_a_row_is_left_where_nothing_is_said_of_it(
    reader: PhraseReader, text: str
) -> None:
    assert reader.for_row(text, row("away", "yellow")) is None


def test_notes_to_add_are_read_as_free_speech_too(reader: PhraseReader) -> None:
    said = [one.said for one in reader.notes("Yellow's gone, on two ten.")]

    assert said == ["yellow away", "bearing 210 (yellow)"]
    assert reader.notes("she's off") == ()  # nobody knows which


@pytest.mark.parametrize(
    ("line", "first", "among"),
    [
        ("that was the white one I think", "white back", "white away"),
        (
            "I think yellow went off toward two ten just now",
            "yellow away, bearing 210 (yellow)",
            "yellow away",
        ),
        ("she's off again", "orange away", "pink away"),
        pytest.param(
            "red and blue both here, green left",
            "red back, blue back, green away",
            "green away",
            marks=pytest.mark.xfail(reason="misread", strict=True),
        ),
        ("hot red girl", "red back", "red away"),
        ("north west it was", "bearing 315 nw (orange)", "pink back"),
    ],
)
def test_of_a_line_what_it_may_say_is_offered(
    reader: PhraseReader, line: str, first: str, among: str
) -> None:
    offers = [
        ", ".join(one.said for one in notes)
        for notes in reader.offered(line, ["orange", "pink", "orange"])
    ]

    assert offers[0] == first
    assert among in offers
    assert len(offers) == len(set(offers)) <= 9


def test_what_was_heard_is_no_other_reading(reader: PhraseReader) -> None:
    event = Event(
        kind=EventKind.AWAY,
        mark="white",
        heard="White's gone",
        alternatives=(
            Alternative(text="away white", confidence=0.5),
            Alternative(text="white's gone", confidence=0.4),
            Alternative(text="away yellow", confidence=0.3),
            Alternative(text="yellow away", confidence=0.2),
        ),
    )
    bearing = Event(
        kind=EventKind.BEARING,
        mark="blue",
        value="60",
        alternatives=(Alternative(text="bearing 60", confidence=0.5),),
    )

    (other,) = reader.alternatives(event)
    assert (other[0], other[2] and other[2].mark) == ("away yellow", "yellow")
    assert reader.alternatives(bearing) == []


def test_alternatives_become_cells_and_the_row_itself_is_left_out(
    reader: PhraseReader,
) -> None:
    event = Event(
        kind=EventKind.BEARING,
        mark="blue",
        value="60",
        alternatives=(
            Alternative(text="bearing blue 50", confidence=0.4),
            Alternative(text="bearing blue 60", confidence=0.3),
            Alternative(text="mumble", confidence=0.1),
        ),
    )

    found = reader.alternatives(event)

    assert [(text, reading and reading.value) for text, _, reading in found] == [
        ("bearing blue 50", "50"),
        ("mumble", None),
    ]
