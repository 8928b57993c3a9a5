"""What a typed line is made of, and its numbers: times, durations and bearings.

A number is read as a whole or not at all: of "21O", "9:05-9:12" and "210-220" nothing
is taken.
"""

from __future__ import annotations

import re
from typing import Literal, NamedTuple

from .flags import Flag, FlagCode

Sort = Literal[
    "date", "time", "mark", "event", "bearing", "duration",
    "joint", "too", "break", "filler", "towards", "at", "rough",
    "not", "doubt", "word", "odd", "letter",
]  # fmt: skip
# What a note is made of; between them stands what only joins or fills.
CONTENT = frozenset({"time", "mark", "event", "bearing", "duration", "letter"})
# What nothing can be made of, so that a person has to look.
UNKNOWN = frozenset({"not", "doubt", "word", "odd"})

_END = r"(?![^\W_])(?![.:/-]\d|,\d\b)"  # no letter, figure or part of it goes on
_SOLID = r"(?![^\W_])"
TIME = re.compile(
    r"(?:(?P<h>\d{1,2})\s?[:.h]\s?(?P<m>[0-5]\d)(?:[:.](?P<s>[0-5]\d))?"
    r"(?:\s?(?P<half>[ap])\.?m\b\.?)?"
    r"|(?P<hh>[01]\d|2[0-3])(?P<mm>[0-5]\d)"
    rf"|(?P<hour>\d{{1,2}})\s?(?P<only>[ap])\.?m\b\.?){_END}",
    re.ASCII,
)
_DURATION = re.compile(
    r"(?P<min>\d{1,3}(?:[.,]\d)?)\s?(?:min(?:ute)?s?\b\.?|['\u2019\u2032](?!\w))"
    r"(?:\s?(?P<sec>[0-5]?\d)\s?(?:s(?:ec(?:ond)?s?)?\b|\"|\u2033))?"
    r"|(?P<whole>\d{1,3})['\u2019\u2032]\s?(?P<part>[0-5]\d)(?:\"|\u2033)?(?!\w)"
    r"|(?P<m>\d{1,3}):(?P<s>[0-5]\d)\s?min(?:ute)?s?\b"
    r"|(?P<only>\d{1,4})\s?sec(?:ond)?s?\b"
)
AFTER = re.compile(r"(?:after|for)\s+(?P<m>\d{1,3}):(?P<s>[0-5]\d)" + _SOLID)
_DEGREES = re.compile(
    rf"(?P<deg>\d{{1,3}}(?:\.\d)?)"
    rf"(?:\s?(?P<sign>\u00b0|deg(?:rees?)?\b)|(?=(?:t|true|mag)\b)|{_END})"
    rf"(?:\s?(?P<north>true|magnetic|mag|t)\b)?{_SOLID}"
)
_PARTED = re.compile(r"([0-3])-(\d{2}|\d-\d)" + _END)  # "2-10" and "2-1-0"
_CHUNK = re.compile(r"[^\s,;|&()]+")
FULL_CIRCLE_DEG = 360
_MOST_QUOTED = 60  # letters of what was not understood in a flag; choice


class Token(NamedTuple):
    """A word, a number or a sign of a line; `text` is what stood there."""

    sort: Sort
    value: str
    text: str
    flags: tuple[Flag, ...] = ()


def read_number(text: str, at: int) -> tuple[list[Token], int]:
    """Read what begins with a figure; the whole of it, or it is odd."""
    if match := _DURATION.match(text, at):
        minutes = float(
            (match["min"] or match["whole"] or match["m"] or "0").replace(",", ".")
        )
        rest = match["sec"] or match["part"] or match["s"] or match["only"] or 0
        seconds = 60.0 * minutes + float(rest)
        return [Token("duration", f"{seconds:g}", match[0])], match.end()
    if (match := TIME.match(text, at)) and hour_of(match) is not None:
        return [Token("time", match[0], match[0])], match.end()
    if match := _PARTED.match(text, at):
        whole = int(match[0].replace("-", ""))
        if whole <= FULL_CIRCLE_DEG:
            value = str(whole % FULL_CIRCLE_DEG)
            flag = Flag.of(FlagCode.TAKEN_AS, match[0], value)
            return [Token("bearing", value, match[0], (flag,))], match.end()
    match = _DEGREES.match(text, at)
    if match is None:
        return read_odd(text, at)
    said, deg = match[0], float(match["deg"])
    if deg > FULL_CIRCLE_DEG:
        flag = Flag.of(FlagCode.OVER_FULL_CIRCLE, match["deg"])
        return [Token("odd", "", said, (flag,))], match.end()
    north = {"t": "true", "mag": "magnetic"}.get(match["north"], match["north"]) or ""
    value = f"{deg % FULL_CIRCLE_DEG:g} {north}".strip()
    flags: tuple[Flag, ...] = ()
    if len(match["deg"]) == 1 and not match["sign"]:
        flags = (Flag.of(FlagCode.NOT_WHOLE, match["deg"], "bearing"),)
    return [Token("bearing", value, said, flags)], match.end()


def read_odd(text: str, at: int) -> tuple[list[Token], int]:
    """Take what nothing can be made of, up to the next space or comma."""
    match = _CHUNK.match(text, at)
    said = match[0] if match else text[at]
    said = said.rstrip(".:?!)") or said
    return [Token("odd", "", said[:_MOST_QUOTED])], at + len(said)


def hour_of(match: re.Match[str]) -> int | None:
    """Return the hour of a written time, as written; None where none has it."""
    hour = int(match["h"] or match["hh"] or match["hour"])
    half = match["half"] or match["only"]
    if hour > 23 or (half and not 1 <= hour <= 12):
        return None
    return hour
