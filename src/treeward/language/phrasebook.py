"""The phrase book: what can be said, and what it means.

    book = PhraseBook.load()                          # the packaged one
    book = PhraseBook.load(packaged, hunt_folder / "phrasebook.toml")

The words stand in models/phrasebook.toml. The recognizer asks for the phrases to
listen for, the notes for what they mean.

`sections` gives what can be said as sections of "say this" and "it means", for list
and card.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from treeward.errors import PhraseBookError
from treeward.files import phrasebook_path

from .kinds import KINDS, UNMARKED, EventKind, Holds, kinds_holding
from .number_words import NUMBER_WORDS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from os import PathLike

    from .phrasebook_file import PhraseBookFile


SLOT = "{mark}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedPhrase:
    """A note, or a part of one, that is always said in the same words.

    `kind` is an event kind, "" for a bare mark. `mark` is "" where the phrase names
    no bee. `value` is what the event's value becomes ("calm"). `weight` is how
    likely it is beside other phrases. `place` says where an action stands:
    "after" the mark ("away"), "before" it ("mark"), or "whole" when nothing is
    missing.
    """

    text: str
    kind: str
    mark: str = ""
    value: str = ""
    weight: float = 1.0
    place: str = "whole"

    @property
    def words(self) -> tuple[str, ...]:
        """The words of the phrase, one by one."""
        return tuple(self.text.split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """How one kind of event is said: templates hold {mark} once."""

    kind: str
    say: tuple[str, ...]
    narrate: tuple[str, ...]
    card: str
    weight: float


@dataclass(frozen=True, kw_only=True)
class PhraseBook:
    """What can be said. Build one with :meth:`load`.

    Each mapping goes from the meaning to its ways of saying: ``colours["red"]`` is
    ``("red",)``, ``wind["calm"]`` is ``("calm", "still")``.
    """

    colours: Mapping[str, tuple[str, ...]]
    spots: Mapping[str, tuple[str, ...]]
    unmarked: tuple[str, ...]
    actions: Mapping[str, Action]
    anchor_words: Mapping[str, tuple[str, ...]]
    stations: Mapping[str, tuple[str, ...]]
    wind: Mapping[str, tuple[str, ...]]
    commands: Mapping[str, tuple[str, ...]]
    misheard: Mapping[str, str]
    sources: tuple[Path, ...] = field(default=(), compare=False)
    marks_in_use: frozenset[str] = frozenset()  # empty: any mark may be said

    @classmethod
    def load(cls, *paths: str | PathLike[str]) -> PhraseBook:
        """Read the phrase book, each further file laid over the one before.

        It is the packaged phrase book alone when no file is given.

        Raises
        ------
        PhraseBookError
            A file is missing or faulty, or one way of saying has two meanings.
        """
        from .phrasebook_file import read_files

        files = tuple(Path(path) for path in paths) or (phrasebook_path(),)
        book = _build(read_files(files), files)
        book._refuse_double_meanings()
        return book

    @classmethod
    def for_hunt(cls, folder: str | PathLike[str]) -> PhraseBook:
        """Read the packaged phrase book as it counts in a hunt.

        The hunt's own phrasebook.toml is laid over it, and only the marks that
        hunt.toml names are kept, where either is there.

        Raises
        ------
        PhraseBookError, HuntError
            One of the files is faulty.
        """
        from treeward.hunt_file import read_hunt_file

        own, hunt_toml = Path(folder) / "phrasebook.toml", Path(folder) / "hunt.toml"
        packaged = phrasebook_path()
        book = cls.load(packaged, own) if own.is_file() else cls.load(packaged)
        if not hunt_toml.is_file():
            return book
        return book.only(read_hunt_file(hunt_toml).hunt.marks)

    def only(self, marks: Iterable[str]) -> PhraseBook:
        """Return the phrase book for a hunt in which no other marks are painted.

        What is never said can't be heard by mistake, and a mark of two colours is then
        listened for like one of one colour. Unpainted bees may always be named. No
        `marks` ("yellow", "blue-white", "yellow abdomen") mean that any may be said.

        Raises
        ------
        PhraseBookError
            A mark is none that this phrase book can say.
        """
        chosen = frozenset(marks)
        sayable = {phrase.mark for phrase in self.mark_phrases()}
        for mark in sorted(chosen - sayable):
            raise PhraseBookError(
                f"the mark {mark!r} has no way of being said",
                where="hunt.toml key hunt.marks",
                mend="Write colours of the phrase book, two joined by a hyphen: "
                f"{', '.join(self.colours)}",
            )
        return replace(self, marks_in_use=chosen)

    def mark_phrases(self) -> tuple[FixedPhrase, ...]:
        """Give every way of naming a bee: one colour, two, and each with a spot."""
        single = [(name, way) for name, ways in self.colours.items() for way in ways]
        double = [
            (f"{one}-{two}", f"{way_one} {way_two}")
            for one, way_one in single
            for two, way_two in single
            if one != two
        ]
        colours = single + double
        spotted = [
            (f"{mark} {spot}", f"{way} {spot_way}")
            for mark, way in colours
            for spot, spot_ways in self.spots.items()
            for spot_way in spot_ways
        ]
        named = colours + spotted
        if self.marks_in_use:
            named = [(mark, way) for mark, way in named if mark in self.marks_in_use]
        bare = [(UNMARKED, way) for way in self.unmarked]
        return tuple(
            FixedPhrase(text=way, kind="", mark=mark) for mark, way in named + bare
        )

    @property
    def colour_words(self) -> frozenset[str]:
        """Every way of saying a colour."""
        return frozenset(way for ways in self.colours.values() for way in ways)

    def marks(self) -> Mapping[str, str]:
        """Give what each way of naming a bee means: "blue white" -> "blue-white"."""
        return {phrase.text: phrase.mark for phrase in self.mark_phrases()}

    def action_phrases(self) -> tuple[FixedPhrase, ...]:
        """Give the words of each action without the mark, to be chained with one."""
        found: list[FixedPhrase] = []
        for action in self.actions.values():
            for template in action.say:
                head, tail = (part.strip() for part in template.split(SLOT))
                if head and tail:  # words on both sides cannot be chained
                    continue
                found.append(
                    FixedPhrase(
                        text=head or tail,
                        kind=action.kind,
                        weight=action.weight,
                        place="before" if head else "after",
                    )
                )
        return tuple(found)

    def fixed_phrases(self) -> tuple[FixedPhrase, ...]:
        """Give every whole note that has fixed words.

        Each colour (and the unmarked bee) with each action, stations and winds with
        each of their anchors, and the commands. Two-colour marks are left to be
        chained from :meth:`mark_phrases` and :meth:`action_phrases`.
        """
        found: list[FixedPhrase] = []
        if self.marks_in_use:
            bees = [(phrase.mark, phrase.text) for phrase in self.mark_phrases()]
        else:
            bees = [(name, way) for name, ways in self.colours.items() for way in ways]
            bees += [(UNMARKED, way) for way in self.unmarked]
        for action in self.actions.values():
            for template in action.say:
                for mark, way in bees:
                    if mark == UNMARKED and action.kind == EventKind.MARK:
                        continue
                    found.append(
                        FixedPhrase(
                            text=template.replace(SLOT, way),
                            kind=action.kind,
                            mark=mark,
                            weight=action.weight,
                        )
                    )
        named = {Holds.STATION: self.stations, Holds.WIND: self.wind}
        for kind in kinds_holding(*named):
            values = named[KINDS[kind].holds]
            for anchor in self.anchor_words.get(kind, ()):
                for value, ways in values.items():
                    found += [
                        FixedPhrase(text=f"{anchor} {way}", kind=kind, value=value)
                        for way in ways
                    ]
        for command, ways in self.commands.items():
            found += [FixedPhrase(text=way, kind=command) for way in ways]
        return tuple(found)

    def announcing(self, *holds: Holds) -> tuple[str, ...]:
        """Give the words that announce a value of one of these sorts."""
        return tuple(
            way
            for kind in kinds_holding(*holds)
            for way in self.anchor_words.get(kind, ())
        )

    def vocabulary(self) -> frozenset[str]:
        """Give every single word of the phrase book, numbers included."""
        texts = [phrase.text for phrase in self.fixed_phrases()]
        texts += [phrase.text for phrase in self.mark_phrases()]
        texts += [way for ways in self.anchor_words.values() for way in ways]
        texts += NUMBER_WORDS
        return frozenset(word for text in texts for word in text.split())

    def digest(self) -> str:
        """Give a hash of everything the recognizer is built from, for caches."""
        parts = {
            "fixed": [
                (phrase.text, phrase.kind, phrase.mark, phrase.value, phrase.weight)
                for phrase in (*self.fixed_phrases(), *self.mark_phrases())
            ],
            "anchors": dict(self.anchor_words),
            "numbers": NUMBER_WORDS,
            "misheard": dict(self.misheard),
        }
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:16]

    def _refuse_double_meanings(self) -> None:
        where = str(self.sources[-1])
        meanings: dict[str, tuple[str, str, str]] = {}
        for phrase in (*self.fixed_phrases(), *self.mark_phrases()):
            meaning = (phrase.kind, phrase.mark, phrase.value)
            other = meanings.setdefault(phrase.text, meaning)
            if other != meaning:
                first, second = (" ".join(filter(None, m)) for m in (other, meaning))
                raise PhraseBookError(
                    f"{phrase.text!r} would mean both {first!r} and {second!r}",
                    where=where,
                    mend="Take it away from one of them",
                )
        anchors: dict[str, str] = {}
        for kind, ways in self.anchor_words.items():
            for way in ways:
                if anchors.setdefault(way, kind) != kind:
                    raise PhraseBookError(
                        f"{way!r} would announce both {anchors[way]} and {kind}",
                        where=f"{where} key anchors.{kind}",
                        mend="Take it away from one of them",
                    )
        if not self.colours:
            raise PhraseBookError(
                "no colour is left",
                where=f"{where} key colours",
                mend='Name at least one: red = ["red"]',
            )


def _kept(table: Mapping[str, list[str]]) -> dict[str, tuple[str, ...]]:
    """Drop entries emptied on purpose, and repeated ways."""
    return {key: tuple(dict.fromkeys(ways)) for key, ways in table.items() if ways}


def _build(read: PhraseBookFile, files: tuple[Path, ...]) -> PhraseBook:
    actions: dict[str, Action] = {
        kind: Action(
            kind=kind,
            say=tuple(dict.fromkeys((*table.say, *table.also_say))),
            narrate=tuple(dict.fromkeys((*table.narrate, *table.also_narrate))),
            card=table.card or (table.say[0] if table.say else ""),
            weight=table.weight,
        )
        for kind, table in read.actions.items()
        if table.say or table.narrate or table.also_say
    }
    return PhraseBook(
        colours=_kept(read.colours),
        spots=_kept(read.spots),
        unmarked=tuple(dict.fromkeys(read.unmarked.say)),
        actions=actions,
        anchor_words={kind: tuple(ways) for kind, ways in read.anchors.items() if ways},
        stations=_kept(read.stations),
        wind=_kept(read.wind),
        commands={kind: tuple(ways) for kind, ways in read.commands.items() if ways},
        misheard=dict(read.misheard),
        sources=files,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Saying:
    """One thing to say: the recommended words, other ways, and what it means."""

    say: str
    means: str
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Sayings that belong together."""

    heading: str
    sayings: tuple[Saying, ...]


def sections(book: PhraseBook) -> tuple[Section, ...]:
    """List everything the phrase book lets one say, in the order of a watch."""
    return (
        Section(heading="When you sit down", sayings=tuple(_sitting_down(book))),
        Section(heading="Bees", sayings=tuple(_bees(book))),
        Section(heading="Which way", sayings=tuple(_bearings(book))),
        Section(heading="Else", sayings=tuple(_else(book))),
    )


def colour_names(book: PhraseBook) -> tuple[str, ...]:
    """Name the paint colours that are listened for, or the marks where few are."""
    return tuple(sorted(book.marks_in_use)) or tuple(book.colours)


def _announced(
    kind: EventKind,
    anchors: Sequence[str],
    value: str,
    *,
    means: str = "",
    others: bool = False,
) -> list[Saying]:
    """Say a value by the first of the words that announce it; none without a word."""
    also = anchors[1:] if others else ()
    return [
        Saying(
            say=f"{anchor} {value}",
            means=means or KINDS[kind].means,
            also=tuple(f"{other} {value}" for other in also),
        )
        for anchor in anchors[:1]
    ]


def _sitting_down(book: PhraseBook) -> list[Saying]:
    announce = book.anchor_words
    stations = announce.get(EventKind.STATION, ()) if book.stations else ()
    first = next((ways[0] for ways in book.stations.values()), "")
    found = _announced(EventKind.STATION, stations, first, others=True)
    times = _heard_best(book, EventKind.TIME)
    found += _announced(EventKind.TIME, times, "ten twenty-two", others=True)
    dates = announce.get(EventKind.DATE, ())
    found += _announced(EventKind.DATE, dates, "fourteenth of july")
    strengths = ", ".join(ways[0] for ways in book.wind.values())
    means = f"{KINDS[EventKind.WIND].means}: {strengths}"
    winds = announce.get(EventKind.WIND, ())
    found += _announced(EventKind.WIND, winds, "light", means=means)
    return found


def _bees(book: PhraseBook) -> list[Saying]:
    found = []
    for kind, action in book.actions.items():
        others = [way for way in action.say if way != action.card]
        found.append(
            Saying(
                say=action.card.format(mark="yellow"),
                means=KINDS[EventKind(kind)].means,
                also=tuple(way.format(mark="yellow") for way in others),
            )
        )
    found.append(
        Saying(
            say=book.actions["back"].card.format(mark="blue white")
            if "back" in book.actions
            else "blue white",
            means="a bee with two colours, always named in the same order",
        )
    )
    if book.unmarked and "away" in book.actions:
        found.append(
            Saying(
                say=book.actions["away"].card.format(mark=book.unmarked[0]),
                means="a bee without paint",
            )
        )
    return found


def _bearings(book: PhraseBook) -> list[Saying]:
    anchors = _heard_best(book, "bearing")
    if not anchors:
        return []
    best = anchors[0]
    away = book.actions["away"].card.format(mark="yellow") if book.actions else ""
    return [
        Saying(
            say=f"{best} two one zero",
            means="210 degrees off the compass: three digits, one by one",
            also=(
                *(f"{other} two one zero" for other in anchors[1:]),
                f"{best} two ten",
                f"{best} two hundred and ten",
            ),
        ),
        Saying(
            say=f"{away}, {best} zero three nine",
            means="the direction in which that bee vanished",
        ),
    ]


def _else(book: PhraseBook) -> list[Saying]:
    found = [
        Saying(say=ways[0], means=KINDS[EventKind(kind)].means, also=ways[1:])
        for kind, ways in book.commands.items()
    ]
    for kind, value, means in (
        (EventKind.OVERHEAD, "two one zero", "bees pass in the air, flying that way"),
        (EventKind.SEARCHED, "the wall", "you looked there, and there was nothing"),
        (EventKind.REMARK, "the dish was filled up", ""),
    ):
        anchors = book.anchor_words.get(kind, ())
        found += _announced(kind, anchors, value, means=means)
    return found


def _heard_best(book: PhraseBook, kind: str) -> tuple[str, ...]:
    anchors = book.anchor_words.get(kind, ())
    # In noise at 12 dB "bearing" was heard better than "heading" (of 36 pairs 11 to 2
    # where just one was), "time" at least as well as "clock" (7 to 3): the word that a
    # kind is called by (tests/benchmarks/hearing).
    return tuple(sorted(anchors, key=lambda word: word != kind))
