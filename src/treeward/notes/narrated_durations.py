"""How long bees were away, as stated in free speech."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.language.times_of_day import read_duration

from .flags import Flag, FlagCode
from .sentences import ROUGH, Told, place_after, words_from

if TYPE_CHECKING:
    from .bee_names import BeeNames, Named

_ROUGH_TIME = (
    r"(?:about|around|roughly|nearly|almost|just over|just under|over|under|a bit over"
    r"|a bit under|getting on for|approximately|exactly|,)"
)
_OUT = r"(?:gone|away|out|absent|missing)"
_GONE_FOR = re.compile(
    rf"(?:(?:she|it|and|so|which|that|been|had|has|have|was|is|only|after|with|having"
    rf"|,) )*?"
    rf"(?:(?:been|was|had been|is) {_OUT}(?: for)?|{_OUT} for|after (?:an absence"
    rf"|being {_OUT})"
    rf"(?: of| for)?|elapsed(?: time)?|an absence of|(?:that )?(?:makes|made|making"
    rf"|gives|giving) (?:her|its|the|an)"
    rf" (?:absence|away time|trip|time away)(?: of)?|her (?:absence|away time"
    rf"|time away|trip)"
    rf"(?: is| was| of| being)*) (?:{_ROUGH_TIME} )*"
)
_TRAILING = re.compile(
    rf"(?:, )?(?:that (?:time )?)?(?:(?:she|it|her|that) )?(?:(?:was|is|had been"
    rf"|has been|took) )?"
    rf"(?P<out>{_OUT}|absence)(?= [.,?]| and| but|$)|(?:, )?(?:she|it) took(?= )"
)
_ON_STATION = re.compile(
    r"(?:, )?(?:(?:she|it) )?(?:(?:was|is) )?(?:on|here|drinking|loading|feeding"
    r"|at the)\b"
)
_LONGEST_S = 3 * 3600.0  # a longer time away is talk of something else; guess
_DURATION_OF_BEE = re.compile(
    r" (?:(?:is )?(?P<time>away time|absence|time away|round trip|trip)(?: (?:is|was"
    r"|of|took))?"
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


_FEW = (
    (re.compile(r"a couple of "), "two "),
    (re.compile(r"(?:a )?quarter of an? "), "a quarter of an "),
    (re.compile(r"three quarters of an? "), "three quarters of an "),
    (re.compile(r"(?:the best part of|most of) "), ""),
)


def stretch_of_time(text: str, place: int) -> tuple[float, int] | None:
    """Read a stretch of time: seconds, and the place after it."""
    for pattern, instead in _FEW:
        match = pattern.match(text, place)
        if match is None:
            continue
        words = [*instead.split(), *words_from(text, match.end())]
        reading = read_duration(words)
        if reading is None:
            continue
        more = reading.used - len(instead.split())
        return reading.seconds, place_after(text, match.end(), more)
    reading = read_duration(words_from(text, place))
    if reading is None:
        return None
    return reading.seconds, place_after(text, place, reading.used)


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
                    "absence",
                    "time away",
                    "round trip",
                }
                return self._lasting(
                    text, place, match.end(), named, trip=trip, sure=sure
                )
        return (
            self._gone_for(text, place)
            or self._trailing(text, place)
            or self._led(text, place)
        )

    def _gone_for(self, text: str, place: int) -> Told | None:
        """Read "she'd been gone three and a half minutes"."""
        gone = _GONE_FOR.match(text, place)
        if gone is None:
            return None
        return self._lasting(text, place, gone.end(), None, trip=False, sure=True)

    def _led(self, text: str, place: int) -> Told | None:
        """Read "that took six minutes", "round trip of nine minutes for yellow"."""
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

    def _trailing(self, text: str, place: int) -> Told | None:
        """Read "four minutes six, out", "three minutes twenty she was gone"."""
        about = re.compile(rf"(?:{ROUGH} |just (?:over|under) )?").match(text, place)
        start = about.end() if about else place
        found = stretch_of_time(text, start)
        after = _TRAILING.match(text, found[1]) if found else None
        if found is None or after is None or not 0 < found[0] <= _LONGEST_S:
            return None
        rough = text[place:start].strip()
        return Told(
            kind=EventKind.DURATION,
            start=place,
            end=after.end() + 1,
            value=f"away {found[0]:.0f}",
            of_view=True,
            flags=(Flag.of(FlagCode.ROUGH, rough),) if rough else (),
        )

    def after_back(self, text: str, place: int) -> Told | None:
        """Read a stretch of time alone, said right after a bee came back."""
        lead = re.compile(
            rf"(?:(?:that|it|so|which|and|after|a|is|was|makes|made|makes it|that makes"
            rf"|her|trip|round trip|,) )*(?:{_ROUGH_TIME} )*"
        ).match(text, place)
        start = lead.end() if lead else place
        trip = " round trip " in f" {text[place:start]} "
        found = stretch_of_time(text, start)
        if found is None or _ON_STATION.match(text, found[1]):
            return None
        return self._lasting(text, place, start, None, trip=trip, sure=trip)

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
        found = stretch_of_time(text, start)
        if found is None or not 0 < found[0] <= _LONGEST_S:
            return None
        seconds, end = found
        follow = _FOR_BEE.match(text, end - 1)
        if follow and named is None:
            named = self._names.at(text, follow.end())
            since = _SINCE.match(text, named.end) if named else None
            end = (since.end() if since else named.end) + 1 if named else end
        if not re.compile(
            r"[.?,]|and |but |so |that time|this time|i think|exactly|away|she |it "
            r"|by |again"
            r"|more or less|or so|from |since |altogether|all told|$"
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
            value=f"{what} {seconds:.0f}",
            named=named,
            of_view=named is None,
            flags=flags,
        )
