"""Spoken and written dates: "fourteenth of july", "july the 14th 2026", "14/7/2026".

A date stands in an event as "2026-07-14", or as "14 July" while nobody has said the
year; the clock then fills it in.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from .number_words import (
    BELOW_HUNDRED,
    MONTH_DAYS,
    ODD_ORDINALS,
    codes,
    number_run,
    plain_words,
    total,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

MONTHS = tuple(MONTH_DAYS)
_MONTH_NUMBER = {name: number for number, name in enumerate(MONTHS, start=1)} | {
    name[:3]: number for number, name in enumerate(MONTHS, start=1)
}
_WEEKDAYS = frozenset(
    ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
)
_ORDINALS = {said: number for number, said in ODD_ORDINALS.items()}
_PASSED_OVER = frozenset({"the", "of", "on", "is", "it", "its", "today", *_WEEKDAYS})
_FIGURES = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d\d)")
_MOST_WORDS = 9  # "tuesday the twenty first of september twenty twenty six"
LEAP_YEAR = 2024  # any with a 29 February, for a date whose year is not known
_NEW_YEAR = datetime(LEAP_YEAR, 1, 1)  # noqa: DTZ001  (dateparser wants local time)


@dataclass(frozen=True, slots=True, kw_only=True)
class DateReading:
    """A date in words: as it stands in an event, how many words, and why to look."""

    value: str
    used: int
    flags: tuple[str, ...] = ()


def read_date(words: Sequence[str]) -> DateReading | None:
    """Read a date from the start of `words`; None when there is none.

    Day and month are needed, in either order; a year may follow. What no calendar
    has, as 31 June, comes back without a value and with a flag.
    """
    day = month = year = None
    used = place = 0
    words = words[:_MOST_WORDS]
    while place < len(words):
        word = words[place].lower().strip(".,")
        if figures := _in_figures(word):
            return DateReading(value=figures, used=place + 1)
        if word in _PASSED_OVER:
            place += 1
            continue
        if word in _MONTH_NUMBER and month is None:
            month, place = _MONTH_NUMBER[word], place + 1
        elif day is None and (found := _day(words[place:])):
            day, place = found[0], place + found[1]
        elif day and month and year is None and (found := _year(words[place:])):
            year, place = found[0], place + found[1]
        else:
            break
        used = place
        if day and month and year:
            break
    if day is None or month is None:
        return None
    when = calendar_day(year or LEAP_YEAR, month, day)
    if when is None:
        said = " ".join(words[:used])
        return DateReading(value="", used=used, flags=(f"'{said}' is no date",))
    value = when.isoformat() if year else f"{day} {MONTHS[month - 1].capitalize()}"
    return DateReading(value=value, used=used)


def _in_figures(word: str) -> str:
    """Read "14/07/2026", day first unless only the month can stand first."""
    if re.fullmatch(r"\d{4}-\d\d-\d\d", word):
        tries = [tuple(int(part) for part in word.split("-"))]
    elif match := _FIGURES.fullmatch(word):
        one, two, year = int(match[1]), int(match[3]), int(match[4])
        year += 0 if year > 99 else 2000
        tries = [(year, two, one), (year, one, two)]
    else:
        return ""
    days = (calendar_day(year, month, day) for year, month, day in tries)
    return next((day.isoformat() for day in days if day is not None), "")


def _day(words: Sequence[str]) -> tuple[int, int] | None:
    """Read "fourteenth", "twenty first", "14th": the day and the words it takes."""
    if match := re.fullmatch(r"(\d{1,2})(?:st|nd|rd|th)?", words[0].lower()):
        found = int(match[1])
        return (found, 1) if 1 <= found <= 31 else None
    counted: list[str] = []
    for word in words[:2]:
        counted.append(
            "-".join(_cardinal(part) for part in plain_words(word.replace("-", " ")))
        )
        if any(_cardinal(part) != part for part in plain_words(word)):
            break  # an ordinal ends the day: "twenty first" and no further
    run = number_run(counted)
    match = re.match(BELOW_HUNDRED, codes(run))
    if match is None:
        return None
    taken = run[: match.end()]
    if any(not token.exact for token in taken):
        return None
    found = total(taken)
    return (found, taken[-1].word + 1) if 1 <= found <= 31 else None


def _cardinal(word: str) -> str:
    """Turn an ordinal into its number: "fourteenth" into "fourteen"."""
    if word in _ORDINALS:
        return _ORDINALS[word]
    return word.removesuffix("th") if len(word) > 4 else word


def _year(words: Sequence[str]) -> tuple[int, int] | None:
    """Read "2026", "twenty twenty six", "two thousand and twenty six"."""
    if re.fullmatch(r"20\d\d", words[0]):
        return int(words[0]), 1
    plain = [word.lower() for word in words]
    skip = 0
    if plain[:2] == ["two", "thousand"]:
        skip = 2 + (plain[2:3] == ["and"])
    elif plain[0] == "twenty":
        skip = 1
    if not skip:
        return None
    run = number_run(plain[skip:])
    match = re.match(BELOW_HUNDRED, codes(run))
    if match is None:
        return None
    taken = run[: match.end()]
    if skip == 1 and total(taken) < 10:
        return None  # "twenty six" is no year
    return 2000 + total(taken), skip + taken[-1].word + 1


def calendar_day(year: int, month: int, day: int) -> date | None:
    """Return a day; None where no calendar has it."""
    try:
        return date(year, month, day)
    except ValueError:
        return None


def nearest_day(month: int, day: int, near: date) -> date | None:
    """Return the day in the year that brings it nearest; None where none has it."""
    years = (near.year - 1, near.year, near.year + 1)
    found = [calendar_day(year, month, day) for year in years]
    return min(
        filter(None, found), key=lambda one: abs((one - near).days), default=None
    )


def in_letters(text: str, **more: object) -> datetime | None:
    """Read a date with its month in letters, in any language dateparser knows.

    Nothing relative, as "yesterday", is read: a spoilt cell would be read as a moment
    of today. `more` are further settings of dateparser.
    """
    import dateparser

    settings = {
        "REQUIRE_PARTS": ["day", "month", "year"],
        "PARSERS": ["absolute-time"],
    }
    found: datetime | None = dateparser.parse(text, settings=settings | more)
    return found


@lru_cache(maxsize=1024)
def _parsed(text: str) -> date | None:
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            return None
    found = in_letters(
        text,
        REQUIRE_PARTS=["day", "month"],
        DATE_ORDER="DMY",
        RELATIVE_BASE=_NEW_YEAR,
    )
    return found.date() if found else None


def parse_date(value: str, *, near: date | None = None) -> date | None:
    """Read a date event's value, as Treeward or a person or a spreadsheet wrote it.

    Parameters
    ----------
    value
        "2026-07-14", "14 July", "14-Jul", "14/07/2026".
    near
        The day that a date without a year is taken nearest to.

    Returns
    -------
    date or None
        None where it is no date, or has no year and nothing is near.
    """
    text = " ".join(value.replace("_", " ").split())
    has_year = re.search(r"\d{4}|\d[./-]\d{1,2}[./-]\d\d\b", text) is not None
    found = _parsed(text) if text else None
    if found is None or has_year:
        return found
    return nearest_day(found.month, found.day, near) if near is not None else None


def is_date(value: str) -> bool:
    """Tell whether a value can be read as a date, with or without a year."""
    return parse_date(value, near=date(LEAP_YEAR, 6, 1)) is not None
