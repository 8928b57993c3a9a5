"""Spoken times of day, in words or figures, on the 12-hour or the 24-hour clock.

Spoken durations: "five and a half minutes", "six minutes ten", "ninety seconds".
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from .number_words import (
    NumberToken,
    cardinal_run,
    codes,
    number_run,
    plain_words,
    sound_alike_flags,
    total,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence


_NAMED: Mapping[str, tuple[int, int]] = {
    "noon": (12, 0),
    "midday": (12, 0),
    "midnight": (0, 0),
}
_HALVES: tuple[tuple[tuple[str, ...], str], ...] = (
    (("in", "the", "morning"), "am"),
    (("this", "morning"), "am"),
    (("in", "the", "afternoon"), "pm"),
    (("this", "afternoon"), "pm"),
    (("in", "the", "evening"), "pm"),
    (("this", "evening"), "pm"),
    (("at", "night"), "pm"),
    (("a", "m"), "am"),
    (("p", "m"), "pm"),
    (("am",), "am"),
    (("a.m",), "am"),
    (("pm",), "pm"),
    (("p.m",), "pm"),
)
_FIGURES = re.compile(r"(\d{1,2})[:.](\d\d)(?:[:.](\d\d))?(am|pm)?")
_RUN_TOGETHER = re.compile(r"(\d{1,2})(\d\d)(?:h|hrs)?")

_NIGHT_HOURS = frozenset({22, 23, 0, 1, 2, 3})  # no bee flies then


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeReading:
    """A time of day said in words.

    Attributes
    ----------
    hour, minute, second
        Time of day; `hour` is None when in doubt. With `half_known` False the hour
        is 1 to 12 and may be morning or afternoon.
    half_known
        Whether the words settle the half of the day.
    used
        How many words belong to it.
    options
        What it could be ("10:24"), when in doubt.
    flags
        Why it needs a look, in words.
    """

    hour: int | None
    minute: int = 0
    second: int | None = None
    half_known: bool = False
    used: int = 0
    options: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()

    @property
    def value(self) -> str:
        """As in an event: "14:10", "09:40", or "9:40" where the half is unknown."""
        if self.hour is None:
            return ""
        hour = f"{self.hour:02d}" if self.half_known else f"{self.hour}"
        seconds = "" if self.second is None else f":{self.second:02d}"
        return f"{hour}:{self.minute:02d}{seconds}"


def _half_of_day(words: Sequence[str]) -> tuple[str, int]:
    for head, half in _HALVES:
        flat: list[str] = []
        used = 0
        while used < len(words) and len(flat) < len(head):
            flat += plain_words(words[used])
            used += 1
        if tuple(flat) == head:
            return half, used
    return "", 0


def _with_half(hour: int, half: str) -> int | None:
    if half == "am":
        return hour % 12 if hour <= 12 else None
    if half == "pm":
        return hour if hour > 12 else hour % 12 + 12
    return hour


def _seconds_after(words: Sequence[str]) -> tuple[int | None, int]:
    """Read "and thirty seconds"."""
    skip = 1 if words and words[0].lower() == "and" else 0
    run = number_run(words[skip:])
    match = re.match(r"y[1-9]?|t|\d", codes(run))
    if match is None:
        return None, 0
    last = skip + run[match.end() - 1].word
    unit = words[last + 1].strip(".,").lower() if last + 1 < len(words) else ""
    if unit not in {"seconds", "second"}:
        return None, 0
    return total(run[: match.end()]), last + 2


def _finish(
    candidate: TimeCandidate,
    words: Sequence[str],
    used: int,
    options: tuple[str, ...] = (),
    flags: tuple[str, ...] = (),
) -> TimeReading:
    second, more = _seconds_after(words[used:])
    used += more
    half, more = _half_of_day(words[used:])
    hour: int | None = candidate.hour
    known = not candidate.twelve
    if half:
        hour = _with_half(candidate.hour, half)
        used += more
        known = True
        if hour is None:
            said = " ".join(words[:used])
            flags = (*flags, f"no time of day can be read from '{said}'")
    return TimeReading(
        hour=hour,
        minute=candidate.minute,
        second=second,
        half_known=known,
        used=used,
        options=options,
        flags=flags,
    )


def _figures(words: Sequence[str]) -> TimeReading | None:
    """Read a time written in figures: 10:22, 10:22:30, 9.40am, 1410."""
    word = words[0].strip(",;").lower().rstrip(".")
    match = _FIGURES.fullmatch(word)
    half = ""
    second = None
    if match:
        half = match[4] or ""
        second = int(match[3]) if match[3] else None
    else:
        match = _RUN_TOGETHER.fullmatch(word)
    if not match or int(match[1]) > 23 or int(match[2]) > 59 or (second or 0) > 59:
        return None
    hour = int(match[1])
    twelve = 1 <= hour <= 12 and not match[1].startswith("0")
    found = _finish(
        TimeCandidate(
            hour=hour, minute=int(match[2]), twelve=twelve, length=1, exact=True
        ),
        [*words[:1], half, *words[1:]] if half else words,
        1,
    )
    return replace(
        found,
        second=second if second is not None else found.second,
        used=found.used - 1 if half else found.used,
    )


def read_time(words: Sequence[str]) -> TimeReading | None:
    """Read a time of day from the start of `words`.

    "twenty-two ten" and "twenty to ten" sound the same: the spelling is taken, and
    the other time is given among the options with a flag when bees could fly then.
    An hour or a number alone comes back without a value, flagged.

    Returns
    -------
    TimeReading or None
        None when the words do not start with a time of day or a number.
    """
    if not words:
        return None
    figures = _figures(words)
    if figures:
        return figures
    first = plain_words(words[0])
    if first and first[0] in _NAMED and len(first) == 1:
        hour, minute = _NAMED[first[0]]
        return TimeReading(hour=hour, minute=minute, half_known=True, used=1)
    tokens = time_tokens(words)
    found = time_candidates(tokens)
    if not found:
        return _unfinished(words, tokens)
    longest = max(candidate.length for candidate in found)
    found = [candidate for candidate in found if candidate.length == longest]
    best = next((c for c in found if c.exact), found[0])
    used = tokens[longest - 1].word + 1
    rest = tokens[longest:]
    if rest and rest[0].exact and rest[0].code.isalnum() and rest[0].code not in "aHQ":
        return _overfull(words, tokens, best)
    flags: tuple[str, ...] = ()
    if not best.exact:
        flags = sound_alike_flags(words, tokens[:longest])
    half, _ = _half_of_day(words[used:])
    others = {
        f"{c.hour}:{c.minute:02d}"
        for c in found
        if (c.hour, c.minute) != (best.hour, best.minute)
        and (c.twelve or (not half and c.hour not in _NIGHT_HOURS))
    }
    options = tuple(sorted(others))
    if options:
        flags = (*flags, f"sounds like {' or '.join(options)} too")
    return _finish(best, words, used, options, flags)


def _overfull(
    words: Sequence[str], tokens: Sequence[NumberToken], best: TimeCandidate
) -> TimeReading | None:
    used = tokens[best.length - 1].word + 1
    second, more = _seconds_after(words[used:])
    if more:
        return _finish(best, words, used)
    every = tokens[-1].word + 1
    said = " ".join(words[:every])
    return TimeReading(
        hour=None,
        second=second,
        used=every,
        options=(f"{best.hour}:{best.minute:02d}",),
        flags=(f"more number words than a time has: '{said}'",),
    )


def _unfinished(
    words: Sequence[str], tokens: Sequence[NumberToken]
) -> TimeReading | None:
    """Give an hour alone, which needs the half of the day to be a whole time."""
    match = re.match(r"y[1-9]?|t|\d+", codes(tokens))
    if match is None or not tokens[0].exact:
        return None
    taken = tokens[: match.end()]
    used = taken[-1].word + 1
    said = " ".join(words[:used])
    hour = joined_number(taken)
    half, _ = _half_of_day(words[used:])
    whole = 1 <= hour <= 12 and not codes(taken).startswith("0")
    if half and whole:
        candidate = TimeCandidate(
            hour=hour, minute=0, twelve=True, length=len(taken), exact=True
        )
        return _finish(candidate, words, used)
    return TimeReading(
        hour=None,
        used=used,
        options=(f"{hour}:00",) if 0 <= hour <= 23 else (),
        flags=(f"'{said}' is not a whole time",),
    )


_MARKERS: Mapping[str, str] = {
    "past": ">",
    "after": ">",
    "to": "<",
    "till": "<",
    "til": "<",
    "half": "H",
    "quarter": "Q",
    "o'clock": "'",
    "oclock": "'",
    "clock": "'",
    "minutes": "M",
    "minute": "M",
    "hours": "U",
}
# A minute: 10 to 59 in words, with its zero, or digit by digit.
_MINUTE = r"(?:[y][1-9]?|t|0\d|[1-5]\d)"
_HOUR12 = r"(?:t|[1-9])"
_HOUR24 = r"(?:y[1-9]?|t|0\d)"
_PATTERNS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("half", re.compile(rf"H>(?P<hour>y[1-9]?|{_HOUR12}|0)")),
    ("half", re.compile(rf"H(?P<hour>{_HOUR12})")),  # "half ten", half past ten
    (
        "past",
        re.compile(
            rf"(?P<minute>a?Q|y[1-9]?M?|tM?|\dM?)(?P<way>[<>])"
            rf"(?P<hour>y[1-9]?|{_HOUR12}|0)"
        ),
    ),
    ("oclock", re.compile(rf"(?P<hour>{_HOUR12})'")),
    ("digits", re.compile(r"(?P<hour>[012]\d)(?P<minute>[0-5]\d)U?")),
    ("short", re.compile(r"(?P<hour>[1-9])(?P<minute>[0-5]\d)")),
    ("hundred", re.compile(rf"(?P<hour>{_HOUR24})hU?")),
    ("plain", re.compile(rf"(?P<hour>{_HOUR24}|{_HOUR12})(?P<minute>{_MINUTE})U?")),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeCandidate:
    """A time some words may mean, and how many tokens they are."""

    hour: int
    minute: int
    twelve: bool  # said as on a 12-hour clock
    length: int  # tokens used
    exact: bool


def time_tokens(words: Sequence[str]) -> list[NumberToken]:
    """Read words as number tokens and the words of telling the time."""
    found: list[NumberToken] = []
    for index, word in enumerate(words):
        pieces = plain_words(word)
        if "\u00b0" in word:
            break
        row: list[NumberToken] = []
        for piece in pieces:
            if piece in _MARKERS and piece != "to":
                row.append(NumberToken(code=_MARKERS[piece], value=0, word=index))
                continue
            row += [replace(token, word=index) for token in number_run([piece])]
        if len(row) < len(pieces) or not row:
            break
        found += row
    return found


def _readings_of_to(tokens: Sequence[NumberToken]) -> Iterator[list[NumberToken]]:
    """Give the tokens with each "to" as the word, then as a misheard two."""
    for exact in (False, None, True):  # which of the twos are read as "to"
        yield [
            NumberToken(code="<", value=0, word=token.word, exact=not exact)
            if token.code == "2" and token.exact is exact
            else token
            for token in tokens
        ]


def joined_number(tokens: Sequence[NumberToken]) -> int:
    """Give the number that tokens make: digits joined, words added up."""
    text = codes(tokens)
    return int(text) if text.isdigit() else total(tokens)


def _candidate(
    form: str, match: re.Match[str], tokens: Sequence[NumberToken]
) -> TimeCandidate | None:
    def part(name: str) -> list[NumberToken]:
        return list(tokens[match.start(name) : match.end(name)])

    length = match.end()
    exact = all(token.exact for token in tokens[:length])
    said_hour = codes(part("hour"))
    hour = joined_number(part("hour"))
    twelve = 1 <= hour <= 12 and not said_hour.startswith("0")
    minute = 0
    if form == "half":
        minute = 30
    elif form == "past":
        words = part("minute")
        minute = 15 if words[-1].code == "Q" else total(words)
        if match["way"] == "<":
            minute = 60 - minute
            hour = (hour - 1) % 24
            if twelve and hour == 0:
                hour = 12
    elif form in {"digits", "short", "plain"}:
        minute = joined_number(part("minute"))
    elif form == "hundred":
        twelve = False
    if not 0 <= hour <= 23 or not 0 <= minute <= 59:
        return None
    return TimeCandidate(
        hour=hour, minute=minute, twelve=twelve, length=length, exact=exact
    )


def time_candidates(tokens: Sequence[NumberToken]) -> list[TimeCandidate]:
    """Find every time the tokens may start with."""
    found: list[TimeCandidate] = []
    for reading in _readings_of_to(tokens):
        text = codes(reading)
        for form, pattern in _PATTERNS:
            for length in range(len(text), 0, -1):
                inside = (
                    length < len(text)
                    and tokens[length].word == tokens[length - 1].word
                )
                match = None if inside else pattern.fullmatch(text, 0, length)
                candidate = _candidate(form, match, reading) if match else None
                if candidate:
                    found.append(candidate)
                    break
    return found


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


def _fraction(words: Sequence[str]) -> tuple[float, int]:
    for head, value in _FRACTIONS:
        if tuple(words[: len(head)]) == head:
            return value, len(head)
    return 0.0, 0


def _amount(words: Sequence[str]) -> tuple[float, int] | None:
    """Read how many of a unit: number, with a fraction before the unit."""
    for head, value in _LONE:
        unit = words[len(head)] if len(words) > len(head) else ""
        if tuple(words[: len(head)]) == head and unit in _UNITS:
            return value, len(head)
    if words and _DECIMAL.fullmatch(words[0]):
        return float(words[0]), 1
    number = cardinal_run(words)
    if number is None:
        return None
    value, used = number
    part, more = _fraction(words[used:])
    return value + part, used + more


def _rest_after(words: Sequence[str], unit_s: float) -> tuple[float, int]:
    """Read what may follow minutes or hours: "and a half", "ten", "and ten seconds".

    A number without a unit follows minutes only.
    """
    part, used = _fraction(words)
    if used:
        return part * unit_s, used
    skip = 1 if words and words[0] == "and" else 0
    number = cardinal_run(words[skip:])
    of_minutes = unit_s == _UNITS["minutes"]
    if number is None or (of_minutes and not 0 < number[0] < 60):
        return 0.0, 0
    value, more = number
    after = words[skip + more :]
    if after and _UNITS.get(after[0]) == unit_s / 60:
        return value * unit_s / 60, skip + more + 1
    if not of_minutes:
        return 0.0, 0
    if after and (after[0] in _UNITS or after[0] in {"degrees", "past", "to"}):
        return 0.0, 0
    # "six minutes ten" ends there; "six minutes, two of them ..." goes on.
    ends = not skip or (not after and value >= 10)  # "six minutes and fifty."
    return (float(value), skip + more) if ends and value >= 5 else (0.0, 0)


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
    if unit > 1 and value == int(value):
        extra, more = _rest_after(flat[used:], unit)
        seconds += extra
        used += more
    return DurationReading(seconds=seconds, used=source[used - 1] + 1)
