"""What free speech tells of the colony itself: bees overhead, ground looked at, a find.

The network that reads the rest does not know these notes: they are too rare to be
learned.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from .flags import Flag, FlagCode
from .sentences import place_after, plain_phrase, words_from
from .values import ROUGHLY, bearing_value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.language.phrasebook import PhraseBook

_NONE_FOUND = re.compile(
    r" (?:no|not (?:a|one|any)|never (?:a|any)|without (?:a|any)|zero|nor(?: any)?"
    r"|neither|hardly (?:a|any))(?: (?:sign|trace|hint) of (?:a|any|the))?"
    r"(?: (?:wild|bee|other|such|more|single))* $"
)
_PLACE = re.compile(
    r"(?:, )?(?:(?:(?:here|there) (?:, )?)?(?P<place>(?:in|at|up|inside|under|behind"
    r"|on|by|near|beside|high) (?:[^ .?,]+ ){1,12})|(?:here|there)(?= [.?,]|$))"
)
_THING = (
    r"(?:tree|trees|oak|ash|beech|pine|elm|willow|wood|copse|hedge|hedgerow|wall|bank"
    r"|barn|trunk|hollow|bole|stump|crag|rocks|chimney|roof|hole|crack)"
)
_SEARCHED = re.compile(
    r"(?:(?:i|we|have|all|now) )*(?:searched|checked|looked|tried)"
    r"(?: (?:at|in|into|over|round|around|through|all|along|up|under))*"
    rf"(?: (?:the|this|that|these|a|another|one) (?:[a-z]+ ){{0,2}}?{_THING}| here)"
    r" (?:, )?(?:(?:and|but|found|there is|seen|saw) )*"
    r"(?:nothing|no bees|no bee|no colony|no nest|none)"
    r"(?: (?:at all|there|here|in it|in there|again|yet|seen|found|to see))* (?=[.,])"
    rf"|(?:(?:the|this|that|another|one|an|a|old|big|next) )+(?:[a-z]+ )??{_THING}"
    r" (?:(?:is|was|checked|searched|looked at) )+(?:, )?(?:and )?"
    r"(?:nothing|no bees|no bee|empty|no colony|no nest)"
    r"(?: (?:at all|there|here|in it|in there|again|yet))* (?=[.,])"
)
_FINDS = re.compile(
    r"(?:(?:and|so|well|yes|i|we|have|just|finally) )*found "
    r"(?:them|it|her|the bees|(?P<nest>(?:the|our|their|a) (?:wild )?"
    r"(?:colony|nest|bee tree))) "
)
# Before "found" it is none, or none so far.
_NOT_YET = re.compile(
    r" (?:not|never|nobody|if|until|till|when|once|before|no|hope|will|may|might)"
    r" (?:\w+ ){0,3}$"
)
_NESTS_IN = re.compile(rf" {_THING} ")
# Bees passing in the air, as people put it, and what leads to their direction.
_OVERHEAD = re.compile(
    r"(?:(?:there (?:is|are)|i (?:can )?(?:see|hear|have|count)|we have|here (?:is|are)"
    r"|some|a few|several|two|three|four|many|lots of|more|the|a|of|stream|line|string"
    r"|honey|wild|,|and|again) )*(?P<bees>bees?)"
    r" (?:(?:is|are|going|flying|passing|crossing|coming|again|high|all|straight|right"
    r"|streaming|zooming) )*(?:overhead|over (?:my|our|the) heads?|over (?:me|us)"
    r"|in the air|above (?:me|us|my head|our heads)|(?:passing|flying|going) over)(?= )"
)
_TO_WHERE = re.compile(
    r"(?: ?,)?(?: (?:heading|bearing|going|flying|all|towards?|moving|making|off|on|at"
    r"|to|for|due|in|a|the|direction|line|of|about|roughly|straight|again|it is|and))* "
)
_ENOUGH = re.compile(
    r"(?:[.?,]|and |but |then |so |from here|from the|on the compass|by the |by my "
    r"|same |that |it |over |across |more or less|or so|i think|again|ish |i reckon"
    r"|i guess|i suppose|i believe|i would guess|this time|give or take|or thereabouts"
    r"|i (?:would|will|think|make|make it|read)|exactly|for (?:her|him|that one|them"
    r"|both|the pair|it)|the pair |both |on (?:her|that|them)|she |he |when |as "
    r"|thereabouts |near enough|as (?:before|usual|always)|or near it|on the nose|true "
    r"|magnetic |i |on the (?:dot|button) |is (?:all|my|her|near|the best)|says |said "
    r"|near |if |there |with |is what|$)"
)
_STOP = re.compile(r"[.?,]|and |but |then |so |while |or |because |$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A note of the colony, said from `start` to `end` of the text."""

    kind: EventKind
    start: int
    end: int
    value: str = ""
    flags: tuple[Flag, ...] = ()


class ColonyNotes:
    """Finds notes of the colony at a place in the text of sentences."""

    def __init__(self, book: PhraseBook) -> None:
        def ways(of: EventKind, *tables: dict[str, tuple[str, ...]]) -> tuple[str, ...]:
            said = (way for table in tables for way in table.get(of, ()))
            return tuple(f"{plain_phrase(way)} " for way in said)

        commands = dict(book.commands)
        self._overhead = ways(EventKind.OVERHEAD, dict(book.anchor_words), commands)
        # A comma means nothing within one, but "no, bees here" is not "no bees here".
        self._spoken = [
            (re.compile(re.sub(r"(?<!^no) (?=.)", " (?:, )?", way)), kind)
            for kind in (EventKind.FOUND, EventKind.SEARCHED)
            for way in ways(kind, commands)
        ]

    def at(self, text: str, place: int) -> Told | None:
        """Find a note of the colony that starts at `place`."""
        return (
            _overhead(text, place, self._overhead)
            or self._command_at(text, place)
            or _found_them(text, place)
            or _searched(text, place)
        )

    def _command_at(self, text: str, place: int) -> Told | None:
        for spoken, kind in self._spoken:
            match = spoken.match(text, place)
            if match is None:
                continue
            where = _PLACE.match(text, match.end())
            if kind is EventKind.FOUND and where:
                return _looked(text, _found_at(place, where))
            if _STOP.match(text, match.end()):
                return _looked(text, Told(kind=kind, start=place, end=match.end()))
        return None


def _overhead(text: str, place: int, ways: Sequence[str]) -> Told | None:
    """Read bees overhead, and where they fly; `ways` are those of the phrase book.

    Said otherwise than there, only what tells a direction is a note, and flagged.
    """
    said = (way for way in ways if text.startswith(way, place))
    own = max(said, key=len, default="")
    match = _OVERHEAD.match(text, place)
    end = max(place + len(own), match.end() + 1 if match else 0)
    if end <= place:
        return None
    led = _TO_WHERE.match(text, end - 1)
    start = led.end() if led else end
    value = bearing_value(words_from(text, start))
    where = value.text if value else ""
    if not (own or where) or (own and not where and not _ENOUGH.match(text, end)):
        return None
    rough = [word for word in text[end:start].split() if word in ROUGHLY]
    flags = [Flag.of(FlagCode.ROUGH, word) for word in rough]
    flags += [] if own else [Flag(FlagCode.AMID_WORDS)]
    return Told(
        kind=EventKind.OVERHEAD,
        start=place,
        end=place_after(text, start, value.used) if value and where else end,
        value=where,
        flags=(*flags, *(value.flags if value else ())),
    )


def _searched(text: str, place: int) -> Told | None:
    """Read "looked in the old oak, nothing"."""
    looked = _SEARCHED.match(text, place)
    if looked is None or looked.end() <= place:
        return None
    flags = (Flag(FlagCode.AMID_WORDS),)
    kind = EventKind.SEARCHED
    return Told(kind=kind, start=place, end=looked.end(), flags=flags)


def _looked(text: str, told: Told) -> Told:
    """Doubt a find out of talk; "no colony found" is ground that was looked at."""
    if told.kind is not EventKind.FOUND:
        return told
    if _NONE_FOUND.search(text[: told.start]):
        flags = (Flag(FlagCode.AMID_WORDS),)
        return replace(told, kind=EventKind.SEARCHED, flags=flags, value="")
    return replace(told, flags=(Flag(FlagCode.TOLD_FREELY),))


def _found_at(start: int, where: re.Match[str]) -> Told:
    """Note a find with the words that tell where it was."""
    own = (where["place"] or "").strip()
    return Told(kind=EventKind.FOUND, start=start, end=where.end(), value=own)


def _found_them(text: str, place: int) -> Told | None:
    """Read "found them, in the old oak"; what was found and where are told."""
    match = _FINDS.match(text, place)
    if match is None or _NOT_YET.search(text[:place]):
        return None
    where = _PLACE.match(text, match.end())
    if where is None:
        ends = match["nest"] and _STOP.match(text, match.end())
        told = (
            Told(kind=EventKind.FOUND, start=place, end=match.end()) if ends else None
        )
    else:
        nest = match["nest"] or _NESTS_IN.search(f" {where['place'] or ''}")
        told = _found_at(place, where) if nest else None
    return replace(told, flags=(Flag(FlagCode.TOLD_FREELY),)) if told else None
