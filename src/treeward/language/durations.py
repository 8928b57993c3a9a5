"""Spoken durations: "five and a half minutes", "six minutes ten", "ninety seconds"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .number_words import cardinal_run, plain_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_UNITS: Mapping[str, float] = {
    **dict.fromkeys(("hour", "hours", "hr", "hrs", "h"), 3600.0),
    **dict.fromkeys(("minute", "minutes", "min", "mins", "m"), 60.0),
    **dict.fromkeys(("second", "seconds", "sec", "secs", "s"), 1.0),
}
# Fractions as they stand between a number and its unit, or after the unit.
_FRACTIONS: tuple[tuple[tuple[str, ...], float], ...] = (
    (("and", "three", "quarters"), 0.75),
    (("and", "a", "half"), 0.5),
    (("and", "a", "quarter"), 0.25),
    (("and", "half"), 0.5),
    (("and", "quarter"), 0.25),
)
_LONE: tuple[tuple[tuple[str, ...], float], ...] = (
    (("three", "quarters", "of", "an"), 0.75),
    (("half", "an"), 0.5),
    (("half", "a"), 0.5),
    (("a", "half"), 0.5),
    (("a", "quarter", "of", "an"), 0.25),
    (("quarter", "of", "an"), 0.25),
    (("an",), 1.0),
    (("a",), 1.0),
)
_DECIMAL = re.compile(r"\d{1,3}\.\d+")


@dataclass(frozen=True, slots=True, kw_only=True)
class DurationReading:
    """A stretch of time said in words: `seconds`, and how many words were `used`."""

    seconds: float
    used: int


def _starts(words: Sequence[str], head: tuple[str, ...]) -> bool:
    return tuple(words[: len(head)]) == head


def _fraction(words: Sequence[str]) -> tuple[float, int]:
    for head, value in _FRACTIONS:
        if _starts(words, head):
            return value, len(head)
    return 0.0, 0


def _amount(words: Sequence[str]) -> tuple[float, int] | None:
    """Read how many of a unit: number, with a fraction before the unit."""
    for head, value in _LONE:
        unit = words[len(head)] if len(words) > len(head) else ""
        if _starts(words, head) and unit in _UNITS:
            return value, len(head)
    if words and _DECIMAL.fullmatch(words[0]):
        return float(words[0]), 1
    number = cardinal_run(words)
    if number is None:
        return None
    value, used = number
    part, more = _fraction(words[used:])
    return value + part, used + more


def _seconds_after_minutes(words: Sequence[str]) -> tuple[float, int]:
    """Read what may follow the minutes: "and a half", "ten", "and ten seconds"."""
    part, used = _fraction(words)
    if used:
        return part * 60.0, used
    skip = 1 if words and words[0] == "and" else 0
    number = cardinal_run(words[skip:])
    if number is None or not 0 < number[0] < 60:
        return 0.0, 0
    value, more = number
    after = words[skip + more :]
    if after and _UNITS.get(after[0]) == 1.0:
        return float(value), skip + more + 1
    if after and (after[0] in _UNITS or after[0] in {"degrees", "past", "to"}):
        return 0.0, 0
    # "six minutes ten" ends there; "six minutes, two of them ..." goes on.
    ends = not skip or (not after and value >= 10)  # "six minutes and fifty."
    return (float(value), skip + more) if ends and value >= 5 else (0.0, 0)


def _minutes_after_hours(words: Sequence[str]) -> tuple[float, int]:
    part, used = _fraction(words)
    if used:
        return part * 3600.0, used
    skip = 1 if words and words[0] == "and" else 0
    number = cardinal_run(words[skip:])
    if number is None:
        return 0.0, 0
    value, more = number
    after = words[skip + more :]
    if after and _UNITS.get(after[0]) == 60.0:
        return value * 60.0, skip + more + 1
    return 0.0, 0


def read_duration(words: Sequence[str]) -> DurationReading | None:
    """Read a duration from the start of `words`; None when there is none.

    A number alone is no duration: a unit has to be said.
    """
    flat: list[str] = []
    source: list[int] = []
    for index, word in enumerate(words):
        for piece in plain_words(word):
            flat.append(piece)
            source.append(index)
    amount = _amount(flat)
    if amount is None:
        return None
    value, used = amount
    if used >= len(flat) or flat[used] not in _UNITS:
        return None
    unit = _UNITS[flat[used]]
    used += 1
    seconds = value * unit
    follow = {60.0: _seconds_after_minutes, 3600.0: _minutes_after_hours}.get(unit)
    if follow and value == int(value):
        extra, more = follow(flat[used:])
        seconds += extra
        used += more
    return DurationReading(seconds=seconds, used=source[used - 1] + 1)
