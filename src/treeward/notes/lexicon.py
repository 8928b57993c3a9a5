"""The phrase book laid out for looking up word by word."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from treeward.language.kinds import EventKind

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from treeward.language.phrasebook import FixedPhrase, PhraseBook

Words = tuple[str, ...]
_Meaning = TypeVar("_Meaning")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lexicon:
    """Ways of saying, as tuples of words, and what they mean."""

    marks: Mapping[Words, str]
    after: Mapping[Words, EventKind]  # actions said after the mark
    before: Mapping[Words, EventKind]  # and before it
    anchors: Mapping[Words, EventKind]
    commands: Mapping[Words, EventKind]
    stations: Mapping[Words, str]
    wind: Mapping[Words, str]
    misheard: Mapping[str, str]

    @classmethod
    def of(cls, book: PhraseBook) -> Lexicon:
        """Lay out a phrase book."""
        actions = book.action_phrases()
        return cls(
            marks={tuple(way.split()): mark for way, mark in book.marks().items()},
            after=_by_place(actions, "after"),
            before=_by_place(actions, "before"),
            anchors={("date",): EventKind.DATE}
            | {
                tuple(way.split()): EventKind(kind)
                for kind, ways in book.anchors().items()
                for way in ways
            },
            commands={
                tuple(way.split()): EventKind(kind)
                for kind, ways in book.commands.items()
                for way in ways
            },
            stations=_by_way(book.stations),
            wind=_by_way(book.wind),
            misheard=book.misheard,
        )


def _by_place(actions: Sequence[FixedPhrase], place: str) -> dict[Words, EventKind]:
    return {
        phrase.words: EventKind(phrase.kind)
        for phrase in actions
        if phrase.place == place
    }


def _by_way(table: Mapping[str, tuple[str, ...]]) -> dict[Words, str]:
    return {tuple(way.split()): name for name, ways in table.items() for way in ways}


def longest(
    table: Mapping[Words, _Meaning], texts: Sequence[str]
) -> tuple[_Meaning, int] | None:
    """Find the longest way of saying at the start of `texts`: meaning and length."""
    most = max((len(words) for words in table), default=0)
    for length in range(min(most, len(texts)), 0, -1):
        key = tuple(texts[:length])
        if key in table:
            return table[key], length
    return None
