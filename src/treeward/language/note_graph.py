"""Everything that can be said, as a graph of words.

    START -- yellow --> BEE -- back --> END                   back yellow
    START -- bearing --> (a number) -- two -- one -- zero --> MORE     bearing 210

Every way from START to END or MORE is one note; its arcs carry what it means. The
engines are led by it, or look for its ways in what they wrote.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, assert_never

from .bearings import COMPASS_POINTS
from .kinds import KINDS, UNMARKED, EventKind, Holds, Need, kinds_holding
from .number_words import (
    DIGIT_WORDS,
    MONTH_DAYS,
    bearing_forms,
    ordinal,
    ordinal_numeral,
    time_forms,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from .phrasebook import FixedPhrase, PhraseBook

START, BEE, MORE, END = range(4)  # MORE: a note that may end here or go on
# Forms that people hardly use, each of which another form could be heard for.
_ODD_WORDS = frozenset({"tree", "fower", "fife", "niner", "a"})
_ODD_IN_TIMES = _ODD_WORDS | {"am", "pm", "in", "hours", "noon", "midnight"}
_ODD_IN_TIMES |= {"minute", "minutes"}
_LONE_DIGITS = frozenset(
    word for digit, words in DIGIT_WORDS.items() if digit for word in words
)

Meaning = tuple[tuple[str, str], ...]  # ("mark", "yellow"), ("kind", "back"), ...


@dataclass(frozen=True, slots=True)
class Arc:
    """One word on the way from a node to another."""

    word: str
    target: int
    meaning: Meaning


@dataclass(frozen=True, slots=True)
class GraphNote:
    """One note: its words, and what they mean."""

    words: tuple[str, ...]
    meaning: Meaning

    @property
    def text(self) -> str:
        """The words, separated by spaces."""
        return " ".join(self.words)

    def part(self, name: str) -> str:
        """Give its kind, mark or value; "" where it has none."""
        return next((value for key, value in self.meaning if key == name), "")


class NoteGraph:
    """The graph of a phrase book; only the marks in use are in it."""

    def __init__(self, book: PhraseBook) -> None:
        self.arcs: list[list[Arc]] = [[] for _ in range(4)]
        self._inner: dict[tuple[int, str], int] = {}
        self._add_bees(book)
        self._add_values(book)
        for kind, ways in book.commands.items():
            for way in ways:
                self._add(START, way.split(), END, ("kind", kind))

    def longest(self, words: Sequence[str]) -> GraphNote | None:
        """Give the longest note that begins with the first word."""
        ways: list[tuple[int, Meaning]] = [(START, ())]
        found = None
        for count, word in enumerate(words, 1):
            ways = [
                (arc.target, (*meaning, *arc.meaning))
                for node, meaning in ways
                for arc in self.arcs[node]
                if arc.word == word
            ]
            if not ways:
                break
            for node, meaning in ways:
                if node in (MORE, END):
                    found = GraphNote(words=tuple(words[:count]), meaning=meaning)
        return found

    def _add(
        self,
        source: int,
        words: Sequence[str],
        target: int,
        *meaning: tuple[str, str],
    ) -> None:
        """Add words from one node to another; beginnings that agree are shared."""
        for word in words[:-1]:
            key = (source, word)
            if key not in self._inner:
                self._inner[key] = self._node()
                self.arcs[source].append(Arc(word, self._inner[key], ()))
            source = self._inner[key]
        self.arcs[source].append(Arc(words[-1], target, meaning))

    def _node(self) -> int:
        self.arcs.append([])
        return len(self.arcs) - 1

    def _add_bees(self, book: PhraseBook) -> None:
        marks = book.mark_phrases()
        self._add_marks(START, marks, BEE)
        for phrase in book.action_phrases():
            kind = ("kind", phrase.kind)
            if phrase.place == "after":
                self._add(BEE, phrase.words, END, kind)
                continue
            before = self._node()
            self._add(START, phrase.words, before, kind)
            painted = [one for one in marks if one.mark != UNMARKED]
            self._add_marks(
                before, painted if phrase.kind == EventKind.MARK else marks, END
            )

    def _add_marks(
        self, source: int, marks: Iterable[FixedPhrase], target: int
    ) -> None:
        for phrase in marks:
            self._add(source, phrase.words, target, ("mark", phrase.mark))

    def _add_values(self, book: PhraseBook) -> None:
        for holds in Holds:
            value = self._node()
            if not self._add_value(holds, value, book):
                continue
            for kind in kinds_holding(holds):
                of_a_bee = KINDS[kind].mark is not Need.NEVER
                for way in book.anchor_words.get(kind, ()):
                    for source in (START, BEE) if of_a_bee else (START,):
                        self._add(source, way.split(), value, ("kind", kind))

    def _add_value(self, holds: Holds, value: int, book: PhraseBook) -> bool:
        """Add what may be said from the node `value` on; false where that is nothing.

        No words announce such a value, or any may follow.
        """
        points = [tuple(point.split()) for point in COMPASS_POINTS]
        match holds:
            case Holds.DEGREES:
                self._add_bearings(value, points)
            case Holds.TIME:
                self._add_times(value)
            case Holds.DATE:
                self._add_dates(value)
            case Holds.STATION:
                for name, ways in book.stations.items():
                    for way in ways:
                        self._add(value, way.split(), END, ("value", name))
            case Holds.WIND:
                self._add_winds(value, book, points)
            case Holds.NOTHING | Holds.DURATION | Holds.WORDS:
                return False
            case _:
                assert_never(holds)
        return True

    def _add_bearings(self, value: int, points: Sequence[tuple[str, ...]]) -> None:
        for degrees in range(361):
            for form in bearing_forms(degrees):
                words = form.split()
                if not _ODD_WORDS & set(words) and "-" not in form:
                    self._add(value, words, MORE, ("value", str(degrees % 360)))
        for point in points:
            self._add(value, point, MORE, ("value", " ".join(point)))
        self._add(MORE, ("degrees",), END)
        for north in ("true", "magnetic"):
            self._add(MORE, (north,), END, ("reference", north))

    def _add_times(self, value: int) -> None:
        for hour in range(24):
            for minute in range(60):
                end = ("value", f"{hour % 12}:{minute:02d}")
                for form in time_forms(hour, minute):
                    words = form.split()
                    if "-" in form or _ODD_IN_TIMES & set(words):
                        continue
                    # "ten five five" is hardly said, and heard for "ten forty-four".
                    if len(words) == 3 and _LONE_DIGITS.issuperset(words[1:]):
                        continue
                    self._add(value, words, END, end)
                self._add(value, (f"{hour}:{minute:02d}",), END, end)

    def _add_dates(self, value: int) -> None:
        for month, days in MONTH_DAYS.items():
            for day in range(1, days + 1):
                end = ("value", f"{day} {month}")
                for spoken in (ordinal(day).split(), [ordinal_numeral(day)]):
                    self._add(value, (*spoken, "of", month), END, end)
                    self._add(value, ("the", *spoken, "of", month), END, end)
                    self._add(value, (*spoken, month), END, end)
                    self._add(value, (month, *spoken), END, end)
                    self._add(value, (month, "the", *spoken), END, end)

    def _add_winds(
        self, value: int, book: PhraseBook, points: Sequence[tuple[str, ...]]
    ) -> None:
        for name, ways in book.wind.items():
            for way in ways:
                self._add(value, way.split(), END, ("value", name))
                for point in points:
                    said = (*way.split(), "from", "the", *point)
                    end = ("value", f"{name} from {' '.join(point)}")
                    self._add(value, said, END, end)
