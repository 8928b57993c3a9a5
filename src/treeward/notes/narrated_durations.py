"""How long bees were away, as stated in free speech."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.durations import read_duration
from treeward.language.kinds import EventKind

from .flags import Flag, FlagCode
from .told import ROUGH, Told, place_after, words_from

if TYPE_CHECKING:
    from .bee_names import BeeNames, Named

_LONGEST_S = 3 * 3600.0  # a longer time away is talk of something else; guess
_DURATION_OF_BEE = re.compile(
    r" (?:(?:is )?(?P<time>away time|round trip|trip)(?: (?:is|was|of|took))?"
    r"|(?:is|was|were|had been)(?: been)? (?P<away>gone|away|out)"
    r"|(?P<took>took|did (?:it|that) in|made it in))"
    r"(?: for)?(?: (?:about|around|roughly|nearly|almost|just over|just under))? "
)
_DURATION_LEAD = re.compile(
    r"(?:(?:that|this|it) (?:took(?: her)?|is|was) )?(?:a |an |the )?"
    r"(?P<what>round trip|trip|away time|time away)?"
    r"(?: ?(?:is|was|of|took|,))*(?: ?(?:about|around|roughly|nearly|almost))? ?"
)
_TOOK = re.compile(r"(?:that|this|it) took ")
_FOR_BEE = re.compile(r" (?:for|by|since) ")
_SINCE = re.compile(r" (?:left|went|is away|is gone|was here)(?= )")


class Durations:
    """Finds stated durations at a place in the text of sentences."""

    def __init__(self, names: BeeNames) -> None:
        self._names = names

    def at(self, text: str, place: int) -> Told | None:
        """Find a stated duration that starts at `place`."""
        named = self._names.at(text, place)
        if named and named.pronoun != "it":
            match = _DURATION_OF_BEE.match(text, named.end)
            if match:
                trip = match["time"] == "round trip"
                sure = bool(match["away"]) or match["time"] in {
                    "away time",
                    "round trip",
                }
                return self._lasting(
                    text, place, match.end(), named, trip=trip, sure=sure
                )
        lead = _DURATION_LEAD.match(text, place)
        if lead is None:
            return None
        pointed = re.compile(r"(?:that|this|it) ").match(text, place)
        if not lead["what"] and not pointed:
            return self._for_bee(text, place)
        start = lead.end()
        about = re.compile(r"(?:for|of) ").match(text, start)
        bee = self._names.at(text, about.end()) if about else None
        if bee:
            start = bee.end + 1
            link = re.compile(r"(?:(?:is|was|of|took|,) )*").match(text, start)
            start = link.end() if link else start
        trip = lead["what"] == "round trip"
        told = self._lasting(
            text, place, start, bee, trip=trip, sure=bool(lead["what"])
        )
        if told is None:
            return None
        if lead["what"] or told.named or _TOOK.match(text, place):
            return told
        return None

    def _for_bee(self, text: str, place: int) -> Told | None:
        """Read "nine minutes for yellow"."""
        told = self._lasting(text, place, place, None, trip=False, sure=False)
        return told if told and told.named and not told.named.pronoun else None

    def _lasting(
        self,
        text: str,
        place: int,
        start: int,
        named: Named | None,
        *,
        trip: bool,
        sure: bool,
    ) -> Told | None:
        about = re.compile(rf"{ROUGH} ").match(text, start)
        start = about.end() if about else start
        reading = read_duration(words_from(text, start))
        if reading is None or not 0 < reading.seconds <= _LONGEST_S:
            return None
        end = place_after(text, start, reading.used)
        follow = _FOR_BEE.match(text, end - 1)
        if follow and named is None:
            named = self._names.at(text, follow.end())
            since = _SINCE.match(text, named.end) if named else None
            end = (since.end() if since else named.end) + 1 if named else end
        if not re.compile(
            r"[.?,]|and |but |so |that time|this time|i think|exactly|away|$"
        ).match(text, end):
            return None
        flags = () if sure else (Flag(FlagCode.DURATION_OF_WHAT),)
        if about:
            flags = (*flags, Flag.of(FlagCode.ROUGH, about[0].strip()))
        what = "round" if trip else "away"
        return Told(
            kind=EventKind.DURATION,
            start=place,
            end=end,
            value=f"{what} {reading.seconds:.0f}",
            named=named,
            of_view=named is None,
            flags=flags,
        )
