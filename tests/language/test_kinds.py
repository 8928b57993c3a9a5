"""The table of kinds is whole, and every kind can be said, shown and kept."""

from __future__ import annotations

import pytest

from treeward.hunt.review_update import said_in_words
from treeward.language.kinds import (
    KINDS,
    EventKind,
    Holds,
    Need,
    SaidAs,
    how_to_write,
    is_value,
    kinds_said_as,
    same_value,
)
from treeward.language.phrasebook import PhraseBook, sections
from treeward.live.answer import tone
from treeward.live.messages import event_text, spoken_event
from treeward.notes.events import Event
from treeward.notes.parser import parse_typed

EXAMPLES = {
    Holds.DEGREES: ("210", "north by north"),
    Holds.TIME: ("10:22", "25:90"),
    Holds.DATE: ("2026-07-14", "the day after"),
    Holds.DURATION: ("away 330", "330"),
}


def test_every_kind_has_its_row() -> None:
    assert set(KINDS) == set(EventKind)


def test_no_two_kinds_have_one_rank_or_one_tone() -> None:
    ranks = [kind.rank for kind in KINDS.values()]
    tones = [kind.tone for kind in KINDS.values()]

    assert sorted(ranks) == list(range(len(EventKind)))
    assert len(set(tones)) == len(tones)


@pytest.mark.parametrize("kind", EventKind)
def test_a_kind_holds_a_value_exactly_where_it_may_have_one(kind: EventKind) -> None:
    row = KINDS[kind]

    assert (row.holds is Holds.NOTHING) == (row.value is Need.NEVER)


@pytest.mark.parametrize("kind", EventKind)
def test_every_kind_is_heard_shown_and_read_back(kind: EventKind) -> None:
    mark = "" if KINDS[kind].mark is Need.NEVER else "yellow"
    event = Event(kind=kind, mark=mark)

    assert len(tone(kind)) > 500
    assert mark in event_text(event)
    assert len(spoken_event(event, None)) > 2
    assert kind.value in said_in_words(event)


@pytest.mark.parametrize(
    ("table", "said_as"),
    [("actions", "action"), ("anchor_words", "anchor"), ("commands", "command")],
)
def test_the_phrase_book_says_every_kind_that_can_be_said(
    table: str, said_as: SaidAs
) -> None:
    assert set(getattr(PhraseBook.load(), table)) == set(kinds_said_as(said_as))


def test_what_can_be_said_lists_every_kind_that_is_dictated() -> None:
    listed = " ".join(
        s.means for part in sections(PhraseBook.load()) for s in part.sayings
    )
    dictated = [kind for kind in EventKind if KINDS[kind].said_as]

    assert [kind for kind in dictated if KINDS[kind].means not in listed] == [
        EventKind.BEARING  # told of with an example in degrees
    ]


@pytest.mark.parametrize(("holds", "texts"), EXAMPLES.items())
def test_a_value_that_can_be_wrong_is_checked(
    holds: Holds, texts: tuple[str, str]
) -> None:
    right, wrong = texts

    assert is_value(holds, right)
    assert not is_value(holds, wrong)
    assert how_to_write(holds)


@pytest.mark.parametrize("holds", sorted(set(Holds) - set(EXAMPLES)))
def test_any_other_value_is_free(holds: Holds) -> None:
    assert is_value(holds, "by the wall")
    assert not how_to_write(holds)


@pytest.mark.parametrize(
    ("holds", "one", "other", "same"),
    [
        (Holds.TIME, "9:05", "09:05:00", True),
        (Holds.TIME, "9:05", "9:06", False),
        (Holds.DATE, "14 July 2026", "2026-07-14", True),
        (Holds.DEGREES, "sw", "225 sw", True),
        (Holds.DEGREES, "210", "210 true", False),
        (Holds.STATION, "01", "1", True),
        (Holds.WORDS, "wall", "tree", False),
    ],
)
def test_values_that_mean_the_same(
    holds: Holds, one: str, other: str, *, same: bool
) -> None:
    assert same_value(holds, one, other) == same


@pytest.mark.parametrize(
    ("words", "kind", "value"),
    [
        ("searched here nothing", EventKind.SEARCHED, ""),
        ("tree checked nothing", EventKind.SEARCHED, ""),
        ("no bees here", EventKind.SEARCHED, ""),
        ("nothing along the wall", EventKind.SEARCHED, "the wall"),
        ("bees overhead heading two ten", EventKind.OVERHEAD, "210"),
        ("bees overhead bearing two one zero true", EventKind.OVERHEAD, "210 true"),
        ("bees overhead heading south west", EventKind.OVERHEAD, "225 sw"),
        ("bees overhead", EventKind.OVERHEAD, ""),
        ("bees in the air", EventKind.OVERHEAD, ""),
        ("colony found", EventKind.FOUND, ""),
    ],
)
def test_what_is_said_on_the_search(words: str, kind: EventKind, value: str) -> None:
    (event,) = parse_typed(words, PhraseBook.load())

    assert (event.kind, event.value, event.mark) == (kind, value, "")
    assert event.flags == ()
