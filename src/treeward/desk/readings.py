"""What a typed sentence says, as the cells of a row and as notes to add.

    reader.for_row("no, that was white", row.event)  # its mark becomes white

A sentence is read by the phrase rules first, then as free speech with the row beside
it: its bee is in view. A bare mark, coming or going, or value changes that cell alone.
Nothing is saved here; who asks shows what it would become.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import chain
from typing import TYPE_CHECKING

from treeward.hunt.review_update import said_in_words
from treeward.language.bearings import read_bearing
from treeward.language.kinds import (
    ALSO_WRITTEN,
    KINDS,
    UNMARKED,
    EventKind,
    Holds,
    Need,
    is_value,
    plain_duration,
)
from treeward.notes.bee_names import BeeNames
from treeward.notes.events import Event
from treeward.notes.flags import FlagCode
from treeward.notes.sentences import speech_of
from treeward.speech.utterances import Utterance, spread

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from treeward.language.phrasebook import PhraseBook

MOST_LETTERS = 200  # of a sentence; a long one has 120; choice
MOST_OFFERED = 9  # a key each
_MOST_BEES = 3  # of those seen last, where a sentence names none; choice
_ROW_S = 1.0  # when the row's own note is said
_SOON_S = 240.0  # and when the sentence: time for a trip, or a drink; guess
_WORD_S = 0.4  # each; as people speak
_KINDS = frozenset(kind.value for kind in EventKind)
_MOVES = (EventKind.BACK, EventKind.AWAY)
_CLOCK = re.compile(r"^\s*\d{1,2}[:.]\d\d\s+")  # before a typed note
_STOPS = re.compile(r"[,;!?\"“”]|[.:](?!\d)|(?<!\w)'|'(?!\w)")
_LED = re.compile(
    r"(?:(?:no|oh|sorry|actually|i mean|i think|make (?:that|it)|(?:that|it|she)"
    r"(?: is|'s| was| should be)|should be|was|the|a|at|to|it|and|just)\s+)+"
)
_TRAILED = re.compile(r"(?:\s+(?:one|bees?|now|please|i think|sorry|then|degrees))+$")


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedReading:
    """One way to read a note."""

    event: EventKind
    mark: str = ""
    value: str = ""

    @classmethod
    def of(cls, event: Event) -> TypedReading:
        """Return what an event says."""
        return cls(event=event.kind, mark=event.mark, value=event.value)

    def cells(self) -> dict[str, str]:
        """Return the three cells that it fills."""
        return {"event": self.event.value, "mark": self.mark, "value": self.value}

    @property
    def said(self) -> str:
        """It in words, as the page names a row."""
        return said_in_words(Event(kind=self.event, mark=self.mark, value=self.value))


@dataclass(frozen=True, slots=True, kw_only=True)
class RowReading:
    """What a sentence makes of a row, and the other notes that it holds.

    `plain` where it is one phrase, or one cell of the row; what was told freely may be
    another note than was meant.
    """

    row: TypedReading
    others: tuple[TypedReading, ...] = ()
    plain: bool = False


class PhraseReader:
    """Reads sentences by a hunt's phrase book, and as free speech."""

    def __init__(self, book: PhraseBook) -> None:
        self._book = book
        self._cached = lru_cache(maxsize=4096)(self._one_phrase)

    def read(self, text: str) -> TypedReading | None:
        """Return what "yellow away" or "bearing 210" says; None if nothing, or two."""
        return self._cached(_plain(text))

    def notes(self, text: str) -> tuple[TypedReading, ...]:
        """Return the notes in a sentence that stands alone; none if it has none."""
        words = _plain(text)
        if one := self._titled(words):
            return (one,)
        phrases, whole = self._phrases(words)
        if phrases and whole:
            return phrases
        told, known = self._narrated(text)
        return told if told and known else phrases

    def for_row(self, text: str, event: Event) -> RowReading | None:
        """Read a sentence as what a row should say, which says `event` now.

        The row gets the note of its own kind, if the sentence holds one. None if
        nothing can be read.
        """
        words = _plain(text)
        own = TypedReading.of(event)
        if bare := self._bare(words, own):
            return bare
        if one := self._titled(words):
            return _of_row((one,), own, plain=True)
        phrases, whole = self._phrases(words)
        if phrases and whole:
            return _of_row(phrases, own, plain=len(phrases) == 1)
        told, known = self._narrated(text)
        beside = self._beside(text, event)
        more = len(beside) > len(told) and set(told) <= set(beside)
        if beside and (more or not known):
            told = beside
        elif not known:
            told = phrases or told
        return _of_row(told, own) if told else None

    def offered(
        self, text: str, seen: Sequence[str] = ()
    ) -> list[tuple[TypedReading, ...]]:
        """Return what a line that made no note may say, the likeliest first.

        Each the notes of one key; nine at most. `seen` are the bees that were noted
        before the line, the last one first: one is meant where the line names none.
        """
        said = _said(_typed(text))
        speech, _ = speech_of([said], self._colours)
        named = _named(speech.text, BeeNames(self._book, speech.text, speech.proper))
        bees = named or list(dict.fromkeys(seen))[:_MOST_BEES]
        words = _plain(speech.text.replace("?", " "))
        kinds = [
            kind
            for kind in (*_MOVES, EventKind.MARK)
            if any(
                of is kind and f" {way} " in f" {words} "
                for way, of in self._ways.items()
            )
        ]
        ways = self._flown(words.split())
        found: list[tuple[TypedReading, ...]] = []
        told, known = self._narrated(_CLOCK.sub("", text))
        if known:
            found += [told, *((one,) for one in told)]
        for mark in () if named else bees:
            beside = self._beside(text, Event(kind=EventKind.BACK, mark=mark))
            found += [beside] if beside else []
        for mark in bees:
            for kind in kinds or (*_MOVES,):
                move = TypedReading(event=kind, mark=mark)
                flown = [
                    TypedReading(event=EventKind.BEARING, mark=mark, value=way)
                    for way in ways
                    if kind is EventKind.AWAY
                ]
                found += [(move, one) for one in flown[:1]]
                found.append((move,))
        found += [
            (TypedReading(event=EventKind.BEARING, mark=mark, value=way),)
            for way in ways
            for mark in bees or ("",)
        ]
        return list(dict.fromkeys(found))[:MOST_OFFERED]

    def alternatives(
        self, event: Event
    ) -> list[tuple[str, float, TypedReading | None]]:
        """Return the other readings of a row: words, confidence, and cells if any.

        What the row says already, or was heard as and cannot be read, is none.
        """
        own = TypedReading.of(event)
        found: dict[object, tuple[str, float, TypedReading | None]] = {}
        for other in event.alternatives:
            words = _plain(other.text)
            reading = self._titled(words) or self.read(other.text)
            if reading is not None:
                reading = _with_mark(reading, own)
            same = reading == own or (reading is None and words == _plain(event.heard))
            if not same:
                found.setdefault(
                    reading or words, (other.text, other.confidence, reading)
                )
        return list(found.values())

    @cached_property
    def _colours(self) -> frozenset[str]:
        return frozenset(chain.from_iterable(self._book.colours.values()))

    @cached_property
    def _marks(self) -> Mapping[str, str]:
        """Return the marks by their ways of being said or written."""
        written = {mark.replace("-", " "): mark for mark in self._book.marks().values()}
        return {**written, **self._book.marks(), UNMARKED: UNMARKED}

    @cached_property
    def _ways(self) -> Mapping[str, EventKind]:
        """Return what a bee does by the words that stand after or before her name."""
        ways: dict[str, EventKind] = dict(ALSO_WRITTEN)
        for kind, action in self._book.actions.items():
            for way in (*action.say, *action.narrate):
                rest = " ".join(way.replace("{mark}", " ").split())
                if rest and "{" not in rest:
                    ways.setdefault(rest, EventKind(kind))
        return ways

    def _one_phrase(self, words: str) -> TypedReading | None:
        found, _ = self._phrases(words)
        return found[0] if len(found) == 1 else None

    def _phrases(self, words: str) -> tuple[tuple[TypedReading, ...], bool]:
        """Read phrases; tell whether nothing else was said."""
        from treeward.notes.parser import parse_typed

        events = parse_typed(words, self._book)
        found = tuple(
            TypedReading.of(event)
            for event in events
            if event.value or KINDS[event.kind].value is not Need.MUST
        )
        if len(found) < len(events):
            return (), False
        heard = sum(len(event.heard.split()) for event in events)
        return found, heard >= len(words.split())

    def _titled(self, words: str) -> TypedReading | None:
        """Read a note as the page names a row: "green mark", "bearing 210 (yellow)"."""
        match = re.fullmatch(r"(?P<rest>.*?)\s*\((?P<mark>.+)\)", words)
        rest = match["rest"] if match else words
        mark = self._marks.get(match["mark"].replace("-", " "), "") if match else ""
        parts = rest.replace("-", " ").split()
        for at, part in enumerate(parts):
            if part not in _KINDS:
                continue
            kind = EventKind(part)
            before, after = " ".join(parts[:at]), " ".join(parts[at + 1 :])
            if before and (mark or not (mark := self._marks.get(before, ""))):
                return None
            return self._of_title(kind, mark, after)
        return None

    def _of_title(self, kind: EventKind, mark: str, after: str) -> TypedReading | None:
        """Read what stands after the kind: a mark, a value, or both, "away yellow"."""
        words = after.split()
        for count in range(len(words), 0, -1):
            name = " ".join(words[:count])
            if not mark and name in self._marks:
                mark, words = self._marks[name], words[count:]
                break
        need, value = KINDS[kind], " ".join(words)
        if (mark and need.mark is Need.NEVER) or (value and need.value is Need.NEVER):
            return None
        if (need.mark is Need.MUST and not mark) or need.holds is Holds.WORDS:
            return None
        if (need.value is Need.MUST and not value) or (
            value and not is_value(need.holds, value)
        ):
            return None
        if need.holds in {Holds.STATION, Holds.WIND} and not value.isdigit():
            return None  # by the phrase rules, which know how they are said
        return TypedReading(event=kind, mark=mark, value=value)

    def _bare(self, words: str, own: TypedReading) -> RowReading | None:
        """Read a mark, a coming or going, or a value alone: one cell of the row."""
        need = KINDS[own.event]
        for said in dict.fromkeys((words, _TRAILED.sub("", _LED.sub("", words)))):
            plain = " ".join(said.replace("-", " ").split())
            if need.mark is not Need.NEVER and (mark := self._marks.get(plain)):
                return RowReading(row=replace(own, mark=mark), plain=True)
            kind = self._ways.get(plain)
            if kind is not None and need.mark is not Need.NEVER:
                value = own.value if kind is own.event else ""
                row = replace(own, event=kind, value=value)
                return RowReading(row=row, plain=True)
            if value := self._value(said, own.event):
                return RowReading(row=replace(own, value=value), plain=True)
            flown = self._flown(said.split(), whole=True)
            if flown and own.event in _MOVES:
                way = TypedReading(
                    event=EventKind.BEARING, mark=own.mark, value=flown[0]
                )
                return RowReading(row=own, others=(way,))
        return None

    def _value(self, words: str, kind: EventKind) -> str:
        """Read a value alone, as if its kind had been said before it."""
        need = KINDS[kind]
        if not words or need.value is Need.NEVER or need.holds is Holds.WORDS:
            return ""
        if need.holds is Holds.DURATION:
            written = plain_duration(words)
            return written if is_value(need.holds, written) else ""
        for announced in self._book.anchor_words.get(kind, ()):
            found, whole = self._phrases(f"{announced} {words}")
            if whole and len(found) == 1 and found[0].event is kind:
                return found[0].value
        if need.holds in {Holds.DEGREES, Holds.TIME, Holds.DATE}:
            return words if is_value(need.holds, words) else ""
        return ""

    def _flown(self, words: Sequence[str], *, whole: bool = False) -> list[str]:
        """Return the bearings among words; with `whole` one that all of them say."""
        found: dict[str, None] = {}
        at = 0
        while at < len(words) and not (whole and at):
            reading = read_bearing(words[at:])
            used = max(1, reading.used if reading else 1)
            said = words[at : at + used]
            at += used
            sure = reading is not None and reading.deg is not None
            short = len(said) == 1 and len(said[0]) == 1  # "w" may be white
            if not sure or short or (whole and at < len(words)):
                continue
            if value := self._value(" ".join(said), EventKind.BEARING):
                found.setdefault(value)
        return list(found)

    def _narrated(
        self, text: str, before: Sequence[str] = ()
    ) -> tuple[tuple[TypedReading, ...], bool]:
        """Read free speech, said some minutes after `before`.

        Tells too whether it says anything, and of which bees.
        """
        from treeward.notes.narration import read_beside

        text = _typed(text)
        if not text.strip():
            return (), False
        said = [*(_said(one, _ROW_S) for one in before), _said(text)]
        new = [
            event
            for event in read_beside(said, (), self._book)
            if (event.end_s or 0.0) > _SOON_S
            and (event.value or KINDS[event.kind].value is not Need.MUST)
        ]
        known = all(
            (event.mark or KINDS[event.kind].mark is not Need.MUST)
            and not event.has(FlagCode.BEE_UNSAID)
            for event in new
        )
        return tuple(TypedReading.of(event) for event in new), known and bool(new)

    def _beside(self, text: str, event: Event) -> tuple[TypedReading, ...]:
        """Read free speech with the row's note before it, or with what led to it."""
        befores = [said_in_words(event)]
        if event.mark:
            befores += [f"{event.mark} {kind}" for kind in _MOVES]
        known = (
            told
            for told, known in (self._narrated(text, [f"{one}."]) for one in befores)
            if known
        )
        return max(known, key=len, default=())


def _of_row(
    told: Sequence[TypedReading], own: TypedReading, *, plain: bool = False
) -> RowReading:
    """Give the row the note of its kind, of its bee if she is among them."""
    notes = [_with_mark(one, own) for one in told]
    alike = [one for one in notes if one.event is own.event]
    hers = [one for one in alike if one.mark == own.mark]
    chosen = (hers or alike or notes)[0]
    others = dict.fromkeys(one for one in notes if one != chosen)
    return RowReading(row=chosen, others=tuple(others), plain=plain)


def _with_mark(one: TypedReading, own: TypedReading) -> TypedReading:
    """Fill in the row's bee where none was named and one may be."""
    mark = one.mark or (own.mark if KINDS[one.event].mark is not Need.NEVER else "")
    return replace(one, mark=mark)


def _plain(text: str) -> str:
    """Give words in lower case, without the stops between them."""
    return " ".join(_STOPS.sub(" ", _typed(text).lower()).split())


def _typed(text: str) -> str:
    """Give the beginning of a text, with the apostrophe of keyboards for phones'."""
    return text[:MOST_LETTERS].replace("\u2019", "'")


def _said(text: str, at_s: float = _SOON_S) -> Utterance:
    words = text.lower().split() or ["."]
    end_s = at_s + _WORD_S * len(words)
    return Utterance(
        words=tuple(spread(words, at_s, end_s)),
        start_s=at_s,
        end_s=end_s,
    )


def _named(text: str, names: BeeNames) -> list[str]:
    """Return the marks that a text of sentences names, two colours also one by one."""
    found: dict[str, None] = {}
    place = 1
    while 0 < place < len(text):
        if one := names.single(text, place):
            found.setdefault(one.mark)
        place = text.find(" ", place) + 1
    return list(found)
