"""Bearings out of free speech: announced, made out, flown along, or said alone."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.bearings import read_compass
from treeward.language.kinds import EventKind

from . import values
from .flags import Flag, FlagCode
from .told import ROUGH, Told, place_after, words_from

if TYPE_CHECKING:
    from .bee_names import BeeNames, Named

_WORD = (
    r"(?:(?:flight|departure|vanishing) )?"
    r"(?:bearing|heading|direction|flight line|line|course|compass)"
)
_LEAD = re.compile(
    r"(?:(?:i|we|have|got|make|made|get|read|took|is|that|it|with|and|on) )*"
    rf"(?:(?:the|a|her|its|my) )?{_WORD}"
    r"(?: (?:is|was|of|at|says|said|reads|shows))? "
)
_OF_BEE = re.compile(rf" (?:is )?{_WORD} (?:(?:is|was|at|of) )?")
_ABOUT = re.compile(r"(?:on|for|of) ")
_MAKE = re.compile(
    r"(?:i|we) (?:make|made|get|got|read|have)(?: (?:it|that|her|him))?(?: as)? "
)
_FLYING = re.compile(
    r"(?:(?:they|she|it|all|both|the bees|bees|everyone|is|are|was|were|he) )*"
    r"(?:flying|going|flew|heading|headed|went|gone|makes off|making off|departing|off)"
    r"(?: (?:off|out|away|home))? "
)
_SUBJECT = re.compile(r"(?:they|all|both|the bees|bees) ")
_LINK_WORDS = (
    *(",", "and", "heading", "bearing", "flying", "going", "is", "was", "of", "off"),
    *("out", "away", "due", "to", "towards", "toward", "the", "at", "on", "in"),
    *("straight", "about", "around", "roughly", "approximately", "maybe", "perhaps"),
    *("probably", "possibly", "nearly", "almost", "direction", "compass", "says"),
    *("reads", "said", "say", "it", "her", "course", "i", "make", "made", "that"),
)
_LINK = re.compile(rf"(?:(?:{'|'.join(_LINK_WORDS)}|a(?! hundred)) )*")
_HEDGED = re.compile(rf"(?:(?:{ROUGH}|due|to the|towards the) )*")
_ENOUGH = re.compile(
    r"(?:[.?,]|and |but |then |so |from here|from the|on the compass|by the |by my "
    r"|same |that |it |over |across |more or less|or so|i think|again"
    r"|this time|$)"
)
_AT = re.compile(r"\bat $")
_ROUGH_AFTER = re.compile(r"(?:, )?(more or less|or so)\b")


def leads_to_bearing(text: str, place: int) -> bool:
    """Tell whether what follows is where the bee flew, in degrees or as a point."""
    match = _LINK.match(text, place)
    value = values.bearing_value(words_from(text, match.end())) if match else None
    return value is not None and bool(value.text)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """How a bearing is led up to: where its words start, and whose it is."""

    start: int
    by_name: bool = False  # by a word of the phrase book
    named: Named | None = None
    of_view: bool = False
    bare: bool = False


class Bearings:
    """Finds bearings at a place in the text of sentences."""

    def __init__(self, names: BeeNames, ways: tuple[str, ...]) -> None:
        self._names = names
        self._ways = ways

    def at(self, text: str, place: int, *, leaving: bool) -> Told | None:
        """Find a bearing that starts at `place`.

        `leaving` tells that a bee's leaving was said just before, so that a number
        alone is where she flew.
        """
        way = self._way(text, place)
        number_at = self._number_at(text, place, way, leaving=leaving)
        words = words_from(text, number_at)
        value = values.bearing_value(words)
        if value is None or not (value.text or way.by_name):
            return None
        end = place_after(text, number_at, value.used)
        if not _ENOUGH.match(text, end):
            return None
        if (
            way.bare
            and not leaving
            and not self._speaks(text, place, end, words, value)
        ):
            return None
        flags = tuple(
            Flag.of(FlagCode.ROUGH, word)
            for word in dict.fromkeys(text[place:number_at].split())
            if word in values.ROUGHLY
        )
        if after := _ROUGH_AFTER.match(text, end):
            flags = (*flags, Flag.of(FlagCode.ROUGH, after[1]))
        clock = values.time_value(words)
        if _AT.search(text[place:number_at]) and clock and clock.text:
            flags = (*flags, Flag(FlagCode.BEARING_OR_TIME))
        return Told(
            kind=EventKind.BEARING,
            start=place,
            end=end,
            value=value.text,
            named=way.named,
            of_view=way.of_view,
            flags=flags + value.flags,
            options=value.options,
        )

    def _way(self, text: str, place: int) -> _Way:
        """Read the words that announce a bearing or tell of a flight."""
        named = self._names.at(text, place)
        of_bee = _OF_BEE.match(text, named.end) if named else None
        if of_bee:
            return _Way(start=of_bee.end(), named=named)
        lead = _LEAD.match(text, place)
        start = lead.end() if lead else place
        by_name = False
        for way in self._ways:
            if text.startswith(way, place):
                start = max(start, place + len(way))
                by_name = True
        if start > place:
            about = _ABOUT.match(text, start)
            named = self._names.at(text, about.end() if about else start)
            start = named.end + 1 if named else start
            return _Way(start=start, by_name=by_name, named=named)
        make = _MAKE.match(text, place)
        if make:
            return _Way(start=make.end())
        flying = _FLYING.match(text, place)
        if flying:
            of_view = not _SUBJECT.match(text, place)
            return _Way(start=flying.end(), of_view=of_view)
        return _Way(start=place, bare=True)

    @staticmethod
    def _number_at(text: str, place: int, way: _Way, *, leaving: bool) -> int:
        pattern = _HEDGED if way.bare and not leaving else _LINK
        match = pattern.match(text, way.start)
        return match.end() if match else place

    @staticmethod
    def _speaks(
        text: str, place: int, end: int, words: list[str], value: values.Value
    ) -> bool:
        """Tell whether a value said by itself can only be a bearing."""
        if words[value.used - 1] in {"degrees", "degree"}:
            return True
        if read_compass(words) is None:
            return False
        alone = text[:place].rstrip()[-1:] in {"", ".", "?", ","}
        return alone and text[end : end + 1] in ".?,"
