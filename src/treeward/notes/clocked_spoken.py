"""Numbers in words on a typed line: "six and a half minutes", "quarter past ten"."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.number_words import NUMBER_WORDS, cardinal_run
from treeward.language.times_of_day import read_duration

from .clocked_numbers import Token

if TYPE_CHECKING:
    from collections.abc import Sequence

BEGIN_NUMBERS = frozenset({*NUMBER_WORDS, "half", "quarter", "a", "an"})
_UNITS = "one|two|three|four|five|six|seven|eight|nine"
_HOUR = f"{_UNITS}|ten|eleven|twelve"
_HOURS = {word: hour for hour, word in enumerate(_HOUR.split("|"), start=1)}
_HALF = r"(?:\s?(?P<half>[ap])\.?m\b\.?)?(?![^\W_])(?![:.]\d)"
_PAST = re.compile(
    r"(?:(?P<part>half|(?:a )?quarter)|(?P<few>twenty[ -]five|twenty|ten|five)"
    r"(?: minutes?)?|(?P<figure>5|10|20|25)(?= past| to [a-z])) (?P<way>past|to) "
    rf"(?P<hour>{_HOUR}|1[0-2]|[1-9])(?: o'clock)?{_HALF}"
)
_SHARP = re.compile(rf"(?P<hour>{_HOUR}|1[0-2]|[1-9]) o'?clock{_HALF}")
_PLAIN = re.compile(  # first in a line only, as "two ten" is a bearing elsewhere
    rf"(?P<hour>{_HOUR})[ -](?P<min>(?:oh|o|zero) (?:{_UNITS})"
    rf"|(?:twenty|thirty|forty|fifty)(?:[ -](?:{_UNITS}))?"
    rf"|ten|eleven|twelve|fifteen|(?:thir|four|six|seven|eigh|nine)teen){_HALF}"
)
_FIGURES = re.compile(
    r"(?P<hour>\d{1,2})[-;,](?P<min>[0-5]\d)(?=\s+[^\W\d_]|\s*$)", re.ASCII
)
_TO_HALF_MIN = {"half": 30, "quarter": 15}


def spoken_time(text: str, at: int) -> tuple[Token, int] | None:
    """Read a time in words at a place: "half past 10", and the place after it.

    Examples
    --------
    >>> spoken_time("twenty to ten", 0)[0].value
    '9:40'
    """
    if (sharp := _SHARP.match(text, at)) is not None:
        return _at(sharp, 0)
    found = _PAST.match(text, at)
    if found is None or (found["part"] == "half" and found["way"] == "to"):
        return None
    part = (found["part"] or "").removeprefix("a ")
    few = (found["few"] or found["figure"] or "").replace("-", " ")
    few_min = int(few) if few.isdigit() else _minutes(few)
    minutes = _TO_HALF_MIN.get(part) or few_min
    return _at(found, minutes if found["way"] == "past" else -minutes)


def first_time(text: str, at: int, *, alone: bool) -> tuple[Token, int] | None:
    """Read a time as it stands in a line's first place: "ten thirty", "9-47", "9,40".

    `alone` tells that nothing else need stand in the line.
    """
    if (found := _PLAIN.match(text, at)) is not None:
        return _at(found, _minutes(re.sub(r"^(?:oh|o|zero) ", "", found["min"])))
    found = _FIGURES.match(text, at)
    if found is None or int(found["hour"]) > 23:
        return None
    if not alone and found.end() == len(text.rstrip()):
        return None
    said = f"{found['hour']}:{found['min']}"
    return Token("time", said, found[0]), found.end()


def _minutes(words: str) -> int:
    number = cardinal_run(re.split(r"[ -]", words))
    return number[0] if number is not None else 0


def _at(found: re.Match[str], minutes: int) -> tuple[Token, int]:
    """Return the time so many minutes after the hour that stands in a match."""
    hour = _HOURS.get(found["hour"]) or int(found["hour"])
    if minutes < 0:
        hour, minutes = (hour - 2) % 12 + 1, 60 + minutes
    half = f" {found['half']}m" if found["half"] else ""
    return Token("time", f"{hour}:{minutes:02}{half}", found[0]), found.end()


def spoken_duration(run: Sequence[str]) -> tuple[Token, int] | None:
    """Read a duration from the first of some words, and how many it takes.

    None where there is none: a unit has to be written.

    Examples
    --------
    >>> spoken_duration(["half", "a", "minute", "ago"])[0].value
    '30'
    """
    if run[0] not in BEGIN_NUMBERS:
        return None
    reading = read_duration(run)
    if reading is None or not reading.seconds:
        return None
    said = " ".join(run[: reading.used])
    return Token("duration", f"{reading.seconds:g}", said), reading.used
