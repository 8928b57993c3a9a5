"""Spoken and written dates."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from treeward.language.dates import parse_date, read_date
from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.narration import read_narration
from treeward.notes.parser import parse_typed
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from treeward.notes.events import Event

BOOK = PhraseBook.load()


def narrated(text: str) -> list[Event]:
    words = tuple(
        Word(
            text=word,
            start_s=3.0 + n * 0.4,
            end_s=3.3 + n * 0.4,
            source=WordSource.TEXT,
        )
        for n, word in enumerate(text.split())
    )
    said = Utterance(words=words, start_s=3.0, end_s=words[-1].end_s)
    return list(read_narration([said], BOOK).events)


@pytest.mark.parametrize(
    ("said", "value", "used"),
    [
        ("fourteenth of july", "14 July", 3),
        ("the fourteenth of july", "14 July", 4),
        ("july the fourteenth twenty twenty six", "2026-07-14", 6),
        ("july 14th 2026", "2026-07-14", 3),
        ("twenty first of september", "21 September", 4),
        ("twenty-first september two thousand and twenty six", "2026-09-21", 7),
        ("tuesday the third of march", "3 March", 5),
        ("thirty first december", "31 December", 3),
        ("twelfth may", "12 May", 2),
        ("14 july", "14 July", 2),
        ("14/7/2026", "2026-07-14", 1),
        ("7/14/2026", "2026-07-14", 1),
        ("2026-07-14", "2026-07-14", 1),
        ("third of march ten past two", "3 March", 3),  # a time goes on
        ("twenty ninth of february", "29 February", 4),
    ],
)
def test_dates_as_people_say_them(said: str, value: str, used: int) -> None:
    reading = read_date(said.split())

    assert reading is not None
    assert (reading.value, reading.used, reading.flags) == (value, used, ())


@pytest.mark.parametrize(
    "said", ["", "fourteen", "july", "yellow away", "the first of the bees", "may be"]
)
def test_what_is_no_date(said: str) -> None:
    assert read_date(said.split()) is None


def test_a_day_that_no_calendar_has_is_flagged() -> None:
    reading = read_date(["thirty", "first", "of", "june"])

    assert reading is not None
    assert (reading.value, len(reading.flags)) == ("", 1)


@pytest.mark.parametrize(
    ("value", "near", "day"),
    [
        ("14 July", date(2026, 11, 3), date(2026, 7, 14)),
        ("14-Jul", date(2026, 7, 1), date(2026, 7, 14)),  # as a spreadsheet spoils it
        ("31 December", date(2026, 1, 2), date(2025, 12, 31)),
        ("2026-07-14", None, date(2026, 7, 14)),
        ("14/07/2026", None, date(2026, 7, 14)),
        ("14 July", None, None),
        ("29 February", date(2026, 3, 1), None),
        ("soon", date(2026, 3, 1), None),
    ],
)
def test_values_are_read_with_the_nearest_year(
    value: str, near: date | None, day: date | None
) -> None:
    assert parse_date(value, near=near) == day


@pytest.mark.parametrize(
    "said",
    [
        "date fourteenth of july",
        "The date is the fourteenth of July.",
        "Today is Tuesday the fourteenth of July.",
        "It's the fourteenth of July.",
    ],
)
def test_a_date_is_an_event_of_narrated_notes(said: str) -> None:
    (event,) = narrated(said)

    assert (event.kind, event.value, event.flags) == (EventKind.DATE, "14 July", ())


@pytest.mark.parametrize("said", ["it is a date", "what is the date", "a date palm"])
def test_talk_of_dates_is_none(said: str) -> None:
    assert narrated(said) == []


def test_a_date_is_an_event_of_typed_words() -> None:
    (event,) = parse_typed("date fourteenth of july twenty twenty six", BOOK)

    assert (event.kind, event.value) == (EventKind.DATE, "2026-07-14")
