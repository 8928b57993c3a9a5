"""Stretches of time in words: "six and a half minutes", "half a minute ago"."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.number_words import cardinal_run
from treeward.language.times_of_day import read_duration

from .flags import Flag, FlagCode
from .sentences import place_after, words_from

if TYPE_CHECKING:
    from collections.abc import Sequence

_ODD_SECONDS = re.compile(r"(one|two|three|four) (?=[.])")  # "seven minutes four."
_FEW = (
    (re.compile(r"a couple of "), "two "),
    (re.compile(r"(?:a )?quarter of an? "), "a quarter of an "),
    (re.compile(r"three quarters of an? "), "three quarters of an "),
    (re.compile(r"(?:the best part of|most of) "), ""),
    (re.compile(r"(?:a )?quarter (?=minute )"), "a quarter of an "),
    (re.compile(r"a (?:good|full|whole|short|clear|bare) (?=minute |hour )"), "a "),
    (re.compile(r"(\w+(?: \w+)?) odd (?=seconds |minutes )"), r"\1 "),
)
_ROUGHLY = (
    r"(?:(?:about|around|maybe|perhaps|like|some|say|roughly|only|nearly|almost|what|oh"
    r"|a good|must be|actually|,) )*"
)
_AGO = re.compile(
    r"(?:(?:or so|or two|or thereabouts) )?(?:ago|back|earlier|since(?= [.,])"
    r"|before(?= [.,]))(?: (?:now|or so))?(?= )"
)
# "Red is back, came in about fifteen seconds ago."
_CAME = re.compile(
    r"(?:(?:she|it) )?(?:came(?: in| back)?|landed|arrived|turned up|left|went|was) "
)


def stretch_of_time(text: str, place: int) -> tuple[float, int] | None:
    """Read a stretch of time: seconds, and the place after it."""
    for pattern, instead in _FEW:
        match = pattern.match(text, place)
        if match is None:
            continue
        begun = match.expand(instead).split()
        reading = read_duration([*begun, *words_from(text, match.end())])
        if reading is None:
            continue
        more = reading.used - len(begun)
        return reading.seconds, place_after(text, match.end(), more)
    reading = read_duration(_without_links(words_from(text, place)))
    if reading is None:
        return None
    end = place_after(text, place, reading.used)
    less = re.compile(r"(?:, )?(?:less|minus|all but|bar|short of) ").match(text, end)
    apart = re.compile(r", (?=\S+(?: \S+)? seconds?)").match(text, end)
    extra = read_duration(words_from(text, apart.end())) if apart else None
    if apart and extra and text[place:end].rstrip().endswith(("minutes", "minute")):
        seconds = reading.seconds + extra.seconds
        return seconds, place_after(text, apart.end(), extra.used)
    bare = _ODD_SECONDS.match(text, end)
    if bare and text[place:end].rstrip().endswith(("minutes", "minute")):
        few = cardinal_run([bare[1]])
        return reading.seconds + (few[0] if few else 0), bare.end()
    other = read_duration(words_from(text, less.end())) if less else None
    if less and other:
        short = reading.seconds - other.seconds
        return short, place_after(text, less.end(), other.used)
    return reading.seconds, end


def _without_links(words: Sequence[str]) -> Sequence[str]:
    """Leave out "for her", as "for" may be a four that was misheard."""
    for index, word in enumerate(words):
        if word in {"for", "to", "too"} and words[index + 1 : index + 2] != ["seconds"]:
            return words[:index]
    return words


def ago_at(text: str, place: int) -> tuple[float, Flag] | None:
    """Read "about half a minute ago": seconds, and the flag of a note told so late.

    "A bit earlier" is none, for nobody knows how long.
    """
    came = _CAME.match(text, place)
    rough = re.compile(_ROUGHLY).match(text, came.end() if came else place)
    start = rough.end() if rough else place
    found = stretch_of_time(text, start)
    ago = _AGO.match(text, found[1]) if found else None
    if found is None or ago is None or not found[0]:
        return None
    said = text[place : ago.end()]
    return found[0], Flag.of(FlagCode.TOLD_LATE, f"{found[0]:.0f}", said)
