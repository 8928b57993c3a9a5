"""Wind, station and date as the network hears them told; notes put back in time."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from treeward.language.phrasebook import PhraseBook
from treeward.notes.flags import FlagCode
from treeward.notes.narration import read_narration
from treeward.notes.trained.network import load_network
from treeward.speech.utterances import Utterance, spread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.notes.events import Event

BOOK = replace(PhraseBook.load(), stations={"lime kiln": ("lime kiln",)})


def told(*lines: str, every_s: float = 60.0) -> Sequence[Event]:
    """Read lines said one a minute, with the network."""
    talk = []
    for number, text in enumerate(lines):
        start_s = number * every_s
        words = tuple(spread(text.split(), start_s, start_s + 0.06 * len(text)))
        talk.append(Utterance(words=words, start_s=start_s, end_s=words[-1].end_s))
    return read_narration(talk, BOOK, network=load_network()).events


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("Not a leaf stirring on the alders now.", "calm"),
        ("There's a soft bit of air coming up, out of the west.", "light 270"),
        ("It's blowing hard now, straight from the north.", "strong 0"),
        ("The breeze is up a bit, medium I'd say, still from the east.", "moderate 90"),
    ],
)
def test_the_wind_is_read_however_it_is_told(said: str, value: str) -> None:
    notes = told("Marking this one red.", said)
    assert [note.value for note in notes if note.kind == "wind"] == [value]


def test_what_is_no_wind_is_none() -> None:
    notes = told("Marking this one red.", "My back is strong but my knees are weak.")
    assert not [note for note in notes if note.kind == "wind"]


def test_a_station_of_the_hunt_is_read_where_one_says_where_one_sits() -> None:
    notes = told("Right, so we've set up by the old lime kiln, dish on the wall.")
    assert [note.value for note in notes if note.kind == "station"] == ["lime kiln"]


def test_a_date_is_read_amid_other_words() -> None:
    notes = told("Well, it's the twenty-second of July and I have my hat on.")
    assert [note.value for note in notes if note.kind == "date"] == ["22 July"]


@pytest.mark.parametrize(
    ("said", "ago_s"),
    [
        ("Red left, that was half a minute ago, I was pouring.", 30),
        ("Red went off while I was on the phone. Twenty seconds, maybe.", 20),
    ],
)
def test_a_note_stands_when_it_happened(said: str, ago_s: float) -> None:
    notes = told("Marking this one red, there.", "Lovely out here.", said)
    (away,) = [note for note in notes if note.kind == "away"]
    assert away.start_s == pytest.approx(120 - ago_s, abs=2)
    assert away.has(FlagCode.TOLD_LATE)


def test_how_long_she_was_out_is_not_how_long_ago_she_came() -> None:
    notes = told(
        *("Marking this one red.", "Red's away.", "Nice day.", "Nice tea."),
        *("Still nice.", "Red's back, four minutes she was."),
    )
    (back,) = [note for note in notes if note.kind == "back"]
    assert back.start_s == pytest.approx(300, abs=2)
    assert [note.value for note in notes if note.kind == "duration"] == ["away 240"]
