"""Values said after the word that announces them, as they stand in an event.

The phrase book laid out for looking up word by word.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from treeward.language.bearings import point_at, read_bearing, read_compass
from treeward.language.dates import read_date
from treeward.language.kinds import EventKind
from treeward.language.number_words import cardinal_run
from treeward.language.times_of_day import read_time

from .flags import Flag, FlagCode, read_flags

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
                for kind, ways in book.anchor_words.items()
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


# Said between the announcing word and the value.
_LINKS = frozenset(
    {"is", "was", "of", "on", "at", "now", "the", "it", "says", "reads", "exactly"}
)
ROUGHLY = frozenset(
    {"about", "roughly", "around", "approximately", "nearly", "maybe", "perhaps"}
    | {"probably", "possibly", "say", "circa", "almost"}
)
_WIND_LINKS = frozenset(
    {"from", "the", "is", "now", "a", "and", "out", "of", "coming", "blowing", "to"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A value in words: as text, how many words, why to look, other readings."""

    text: str
    used: int
    flags: tuple[Flag, ...] = ()
    options: tuple[str, ...] = ()


def skip_links(texts: Sequence[str]) -> tuple[int, tuple[Flag, ...]]:
    """Count words that only lead up to a value, and flag those that make it rough."""
    skipped = 0
    flags: list[Flag] = []
    while skipped < len(texts):
        word = texts[skipped]
        if word in ROUGHLY:
            flags.append(Flag.of(FlagCode.ROUGH, word))
        elif word not in _LINKS:
            break
        skipped += 1
    return skipped, tuple(flags)


def bearing_value(texts: Sequence[str]) -> Value | None:
    """Read the bearing at the start of `texts`; None when there is none.

    A point of the compass stays beside its degrees ("225 sw"), and so does a north
    that was named ("210 true").
    """
    skip = 1 if texts and texts[0] == "due" else 0
    reading = read_bearing(texts[skip:])
    if reading is None:
        return None
    more: list[str] = []
    if reading.deg is not None and read_compass(texts[skip:]) is not None:
        more.append(point_at(reading.deg))
    used = skip + reading.used
    if texts[used : used + 1] in (["true"], ["magnetic"]):
        more.append(texts[used])
        used += 1
        used += texts[used : used + 1] == ["north"]
    return Value(
        text="" if reading.deg is None else _joined(reading.deg, more),
        used=used,
        flags=read_flags(reading.flags),
        options=tuple(_joined(deg, more) for deg in reading.options),
    )


def _joined(deg: int, more: Sequence[str]) -> str:
    return " ".join([str(deg % 360), *more])


def time_value(texts: Sequence[str]) -> Value | None:
    """Read the time of day at the start of `texts`; None when there is none."""
    reading = read_time(texts)
    if reading is None:
        return None
    return Value(
        text=reading.value,
        used=reading.used,
        flags=read_flags(reading.flags),
        options=reading.options,
    )


def date_value(texts: Sequence[str]) -> Value | None:
    """Read the date at the start of `texts`; None when there is none."""
    reading = read_date(texts)
    if reading is None:
        return None
    return Value(text=reading.value, used=reading.used, flags=read_flags(reading.flags))


def station_value(lexicon: Lexicon, texts: Sequence[str]) -> Value | None:
    """Read a station's name at the start of `texts`, or its number."""
    named = longest(lexicon.stations, texts)
    number = cardinal_run(texts)
    if named and (number is None or named[1] >= number[1]):
        return Value(text=named[0], used=named[1])
    if number:
        return Value(text=str(number[0]), used=number[1])
    return None


def wind_value(lexicon: Lexicon, texts: Sequence[str]) -> Value | None:
    """Read how strong the wind is and where from, in either order."""
    strength, north = "", ""
    origin: int | None = None
    used = 0
    place = 0
    while place < len(texts):
        found = longest(lexicon.wind, texts[place:])
        compass = read_compass(texts[place:])
        if compass is None and texts[place - 1 : place] in (["from"], ["of"]):
            degrees = read_bearing(texts[place:])  # "from two ten"
            compass = degrees if degrees and not degrees.flags else None
        if found and not strength:
            strength, length = found
        elif compass and compass.deg is not None and origin is None:
            origin, length = compass.deg, compass.used
        elif texts[place] in {"true", "magnetic"} and origin is not None:
            north, length = f" {texts[place]}", 1
        elif texts[place] in _WIND_LINKS:
            place += 1
            continue
        else:
            break
        place += length
        used = place
    if not strength:
        return None
    text = strength if origin is None else f"{strength} {origin}{north}"
    return Value(text=text, used=used)
