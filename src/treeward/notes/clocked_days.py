"""Dates on a typed page: above the notes, before a time, or in a cell."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING

from treeward.language.dates import MONTHS, parse_date, read_date

from .clock_evidence import time_in_name

if TYPE_CHECKING:
    from collections.abc import Callable

_MONTHS = "|".join(month[:3] for month in MONTHS)
DATE = re.compile(
    r"(?:\d{4}-\d\d-\d\d|\d{1,2}[./-]\d{1,2}[./-]\d{4}|\d{1,2}[/-]\d{1,2}[/-]\d\d"
    rf"|\d{{1,2}}(?:st|nd|rd|th)?[ .-]{{1,2}}(?:of )?(?:{_MONTHS})[a-z]*\.?"
    r"(?:[ ,-]+20\d\d|-\d\d)?"
    rf"|(?:{_MONTHS})[a-z]*\.? \d{{1,2}}(?:st|nd|rd|th)?(?:,? 20\d\d)?)(?![\d.])"
)
_WEEKDAY = re.compile(
    r"^\W*(?:mon|tues?|wed(?:nes)?|thurs?|fri|satur|sat|sun)(?:day)?\b"
)
_DATE_WORD = re.compile(r"^\s*(?:date|day)\b\s*:?")
_SHORT = re.compile(r"(\d{1,2})/(\d{1,2})|(\d{1,2})\.(\d{1,2})\.")
_FOREIGN = re.compile(r"\D*\d{1,2}[. -]{1,2}([^\W\d_]{3,})[., -]{1,2}20\d\d\D*")
_MOST_TRIED = 3  # lines that prove no dates in other languages, 0.1 s each; choice


class Days:
    """Reads the dates of a page; `near` tells the year where none is written.

    `knows` tells of a word that it means something else.
    """

    def __init__(self, near: date | None, knows: Callable[[str], bool]) -> None:
        self._near, self._knows = near, knows
        self._tried = 0

    def in_line(self, line: str) -> tuple[date, str] | None:
        """Return the day that stands in a line, and what else is in it."""
        text = line.lower()
        if not any(char.isdigit() for char in text):
            return None
        plain = _WEEKDAY.sub(" ", _DATE_WORD.sub(" ", text)).strip(" \t,;|:.-")
        if found := DATE.search(plain):
            said, day = found[0], self.read(found[0])
        elif short := _SHORT.fullmatch(line.strip()):
            figures = [int(part) for part in short.groups() if part]
            said, day = plain, self._in_year(figures[0], figures[1])
        elif self._tried < _MOST_TRIED and _DATE_WORD.match(text):
            said, day = plain, parse_date(plain, near=self._near)
            self._tried += day is None
        elif self._tried < _MOST_TRIED and self._may_be_foreign(plain):
            named = time_in_name(f"{plain} ", near=self._near)  # "14. juillet 2026"
            said, day = plain, named.day if named else None
            self._tried += day is None
        else:
            return None
        return (day, plain.replace(said, ", ", 1)) if day is not None else None

    def _may_be_foreign(self, plain: str) -> bool:
        found = _FOREIGN.fullmatch(plain)
        return found is not None and not self._knows(found[1])

    def read(self, said: str) -> date | None:
        """Read a date; None where no calendar has it, or nothing tells its year."""
        words = re.split(r"(?<!\d)[\s,.-]+|[\s,.-]+(?!\d|$)|[\s,]+", said)
        months = [w[:3] if w[:3] in _MONTHS and w.isalpha() else w for w in words]
        if re.search(r"[a-z]-\d\d$", said):
            months[-1] = f"20{months[-1]}"  # "14-Jul-26", as spreadsheets write it
        reading = read_date([word for word in months if word])
        if reading is None or not reading.value:
            return None
        if reading.value[:4].isdigit():
            return date.fromisoformat(reading.value)
        day, month = reading.value.split()
        return self._in_year(int(day), MONTHS.index(month.lower()) + 1)

    def _in_year(self, day: int, month: int) -> date | None:
        """Return the day in the year that brings it nearest to the other evidence."""
        if self._near is None:
            return None
        near, found = self._near, []
        for year in (near.year - 1, near.year, near.year + 1):
            try:
                found.append(date(year, month, day))
            except ValueError:
                continue  # 29 February of another year, or no date at all
        return min(found, key=lambda one: abs((one - near).days), default=None)
