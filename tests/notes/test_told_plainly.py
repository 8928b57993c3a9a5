"""Sentences that are a note of the phrase book and nothing else."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.bee_names import BeeNames
from treeward.notes.flags import FlagCode
from treeward.notes.sentences import speech_of
from treeward.notes.told_plainly import PlainNotes
from treeward.speech.utterances import Utterance, spread

if TYPE_CHECKING:
    from treeward.notes.events import Event

BOOK = PhraseBook.load()


def plain(*lines: str, book: PhraseBook = BOOK) -> list[Event]:
    said = [
        Utterance.of(spread(line.split(), 10.0 * number, 10.0 * number + 3.0))
        for number, line in enumerate(lines)
    ]
    speech, pieces = speech_of(said, book.colour_words)
    return PlainNotes(speech, pieces, book, BeeNames(book, speech.text)).read()


def brief(events: list[Event]) -> list[str]:
    return [f"{e.kind}:{e.mark}:{e.value}".rstrip(":") for e in events]


@pytest.mark.parametrize(
    ("say", "notes"),
    [
        ("The yellow one is back.", ["back:yellow"]),
        ("Right, here comes white!", ["back:white"]),
        ("White's in again.", ["back:white"]),
        ("Blue and white is back.", ["back:blue-white"]),
        ("And off red goes.", ["away:red"]),
        ("Red away bearing two one zero.", ["away:red", "bearing:red:210"]),
        ("No sign of red.", ["missed:red"]),
        ("Time ten past two.", ["time::2:10"]),
        ("Station two.", ["station::2"]),
        ("Wind light from south west.", ["wind::light 225"]),
        ("Cancel that, sorry.", ["scratch"]),
        ("Note the lid was off. And dry.", ["remark::the lid was off and dry"]),
    ],
)
def test_a_sentence_of_the_phrase_book_is_read(say: str, notes: list[str]) -> None:
    assert brief(plain(say)) == notes


@pytest.mark.parametrize(
    "say",
    [
        "Is red back?",
        "Red is back?",
        "When red is back I'll stop.",
        "I said red is back.",
        "Red is back in Leeds.",
        "She is back.",
        "Scratch that, it was two thirty.",
        "Lovely morning.",
    ],
)
def test_a_sentence_that_says_more_is_left_to_the_network(say: str) -> None:
    assert plain(say) == []


def test_a_note_keeps_its_words_and_their_time() -> None:
    (event,) = plain("Lovely.", "Okay, the red one is back.")
    assert event.heard == "the red one is back"
    assert 10.0 < (event.start_s or 0.0) < (event.end_s or 0.0) <= 13.0
    assert event.flags == ()


def test_a_bee_that_is_late_may_still_come() -> None:
    late, lost = plain("Red is overdue.", "White never came.")
    assert late.has(FlagCode.MAY_COME)
    assert not lost.flags


def test_what_a_hunt_adds_to_its_phrase_book_is_read() -> None:
    back = BOOK.actions["back"]
    more = replace(back, narrate=("{mark} is at the bar",))
    book = replace(BOOK, actions={**BOOK.actions, "back": more})
    assert brief(plain("White's at the bar.", book=book)) == ["back:white"]


def test_of_sentences_in_one_breath_each_stands_alone() -> None:
    assert brief(plain("Red is away. White is back. Red is nearly back.")) == [
        "away:red",
        "back:white",
    ]


def test_a_find_amid_a_sentence_is_told_freely() -> None:
    (event,) = plain("And there it is, colony found, in the old oak!")
    assert event.kind is EventKind.FOUND
    assert event.value == "in the old oak"
    assert event.has(FlagCode.TOLD_FREELY)


@pytest.mark.parametrize(
    ("say", "notes", "others"),
    [
        ("Yellow away, two hundred degrees.", ["200"], []),
        ("Yellow has left at 105 degrees true.", ["105 true"], []),
        # A number below 100 is one that hundreds may be missing of.
        ("Yellow off, ninety-five degrees.", ["95"], ["195", "295"]),
        ("Yellow back, two hundred degrees.", [], []),
        ("It's twenty-four degrees.", [], []),
    ],
)
def test_degrees_behind_a_leaving_are_its_bearing(
    say: str, notes: list[str], others: list[str]
) -> None:
    bearings = [event for event in plain(say) if event.kind is EventKind.BEARING]

    assert [event.value for event in bearings] == notes
    assert [one.text for event in bearings for one in event.alternatives] == [
        f"bearing yellow {other}" for other in others
    ]
