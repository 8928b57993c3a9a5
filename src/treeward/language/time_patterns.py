"""Forms of a spoken time of day, as patterns over one-character codes of its words.

Codes are those of `number_words`, with > for past, < for to, H for half, Q for
quarter, ' for o'clock, M for minutes; the sound-alike of two, "to", is read as either.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .number_words import NumberToken, codes, number_run, plain_words, total

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

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
            row += [
                NumberToken(code=t.code, value=t.value, word=index, exact=t.exact)
                for t in number_run([piece])
            ]
        if len(row) < len(pieces) or not row:
            break
        found += row
    return found


def _readings_of_to(tokens: Sequence[NumberToken]) -> Iterator[list[NumberToken]]:
    """Give the tokens with each "to" as the word, then as a misheard two."""
    yield [
        NumberToken(code="<", value=0, word=token.word)
        if token.code == "2" and not token.exact
        else token
        for token in tokens
    ]
    yield list(tokens)
    yield [
        NumberToken(code="<", value=0, word=token.word, exact=False)
        if token.code == "2" and token.exact
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
