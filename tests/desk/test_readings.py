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
