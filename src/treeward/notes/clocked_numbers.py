"""What a typed line is made of, and its numbers: dates, times, durations, bearings.

A number is read as a whole or not at all: of "21O", "9:12-9:05" and "210-320" nothing
is taken. Dates stand above the notes, before a time, or in a cell.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import TYPE_CHECKING, Literal, NamedTuple

from treeward.language.dates import MONTHS, nearest_day, parse_date, read_date

from .clock_evidence import time_in_name
from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


Sort = Literal[
    "date", "time", "range", "mark", "event", "bearing", "duration",
    "joint", "too", "break", "filler", "towards", "at", "rough",
    "lasting", "since", "all", "they", "ditto", "aside",
    "not", "doubt", "word", "odd", "letter",
]  # fmt: skip
# What a note is made of; between them stands what only joins or fills.
CONTENT = frozenset({"time", "range", "mark", "event", "bearing", "duration", "letter"})
# What nothing can be made of, so that a person has to look.
UNKNOWN = frozenset(
    {"not", "doubt", "word", "odd", "lasting", "since", "all", "they", "ditto", "aside"}
)

_END = r"(?![^\W_])(?![.:/-]\d|,\d\b)"  # no letter, figure or part of it goes on
_SOLID = r"(?![^\W_])"
# Less than UTC only with seconds before it, and at whole hours: "9:05-9:30" is a span.
_OFFSET = (
    r"(?P<offset>z|\+(?:0\d|1[0-4])(?::?(?:00|15|30|45))?|\s\+(?:0\d|1[0-4]):[0-5]\d"
    r"|(?<=:\d\d:\d\d)-(?:0\d|1[0-2]):?00)"
)
TIME = re.compile(
    r"(?:(?P<h>\d{1,2})\s?[:.h]\s?(?P<m>[0-5]\d)(?:[:.'\u2019\u2032](?P<s>[0-5]\d))?"
    rf"(?:(?:(?<=:\d\d:\d\d)[.,]\d{{1,6}})?{_OFFSET}"
    r"|\s?(?P<half>[ap])\.?m\b\.?|(?P<half_letter>[ap])\b|h(?:rs?)?\b\.?)?"
    r"|(?P<hh>[01]\d|2[0-3])(?P<mm>[0-5]\d)(?:\s?h(?:rs?|ours)?\b\.?)?"
    rf"|(?P<hour>\d{{1,2}})\s?(?P<only>[ap])\.?m\b\.?){_END}",
    re.ASCII,
)
_CLOCK = (
    r"\d{1,2}\s?[:.h]\s?[0-5]\d(?::[0-5]\d)?(?:\s?[ap]\.?m\b\.?)?"
    r"|(?:[01]\d|2[0-3])[0-5]\d"
)
# From one time to another, or on and on: "9:07-9:14", "9:30 to 9:37", "9:25-".
_RANGE = re.compile(
    rf"(?P<one>{_CLOCK})\s*(?:(?:-+>?|[\u2010-\u2015\u2192>/]|to\b|till?\b|until\b)\s*"
    rf"(?P<two>{_CLOCK})(?![^\W_])(?![.:-]\d|,\d\b)|[-\u2010-\u2015]+>?\s*(?=$|[,;]))",
    re.ASCII,
)
_DURATION = re.compile(
    r"(?P<minutes>\d{1,3})\s?m\s?(?P<seconds>[0-5]?\d)\s?s(?:ecs?)?\b"
    r"|(?P<min>\d{1,3}(?:[.,]\d)?)\s?(?:min(?:ute)?s?\b\.?|['\u2019\u2032](?!\w))"
    r"(?:\s?(?P<sec>[0-5]?\d)\s?(?:s(?:ec(?:ond)?s?)?\b|\"|\u2033))?"
    r"|(?P<whole>\d{1,3})['\u2019\u2032]\s?(?P<part>[0-5]\d)(?:\"|\u2033)?(?!\w)"
    r"|(?P<m>\d{1,3}):(?P<s>[0-5]\d)\s?min(?:ute)?s?\b"
    r"|(?P<only>\d{1,4})\s?sec(?:ond)?s?\b"
)
AFTER = re.compile(
    r"(?:after|for|took|lasted|lasting|taking)\s+(?P<m>\d{1,3}):(?P<s>[0-5]\d)" + _SOLID
)
# What says which north a bearing counts from, as people write it.
NORTHS = {"true": "true", "t": "true", "magnetic": "magnetic", "mag": "magnetic"}
_NORTH = "|".join(NORTHS)
_DEGREES = re.compile(
    rf"(?P<deg>\d{{1,3}}(?:[.,]\d)?)"
    rf"(?:\s?(?P<sign>\u00b0|deg(?:rees?)?\b)|(?=(?:{_NORTH})\b)|{_END})"
    rf"(?:\s?(?P<north>{_NORTH})\b)?{_SOLID}"
)
_PARTED = re.compile(r"([0-3])-(\d{2}|\d-\d)" + _END)  # "2-10" and "2-1-0"
# "45-50", "45 to 50": it lay between the two.
_BETWEEN = re.compile(
    r"(\d{1,3})\s?\u00b0?\s?(?:[-\u2010-\u2015]\s?|to\s)(\d{1,3})(?:\s?(?:\u00b0|deg(?:rees?)?\b)|"
    + _END
    + ")"
)
_WIDEST_DEG = 45.0  # two bearings further apart are hardly of one flight; guess
_QUADRANT = re.compile(
    r"(?P<from>[ns])(?P<gap>\s?)(?P<deg>\d{1,2}(?:[.,]\d)?)(?P<sign>\s?(?:\u00b0|deg\b))?"
    rf"(?(sign)\s?|(?P=gap))(?P<to>[ew]){_SOLID}"
)
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
        of_min, of_s = ("minutes", "min", "whole", "m"), ("seconds", "sec", "part", "s")
        told = next((match[part] for part in of_min if match[part]), "0")
        rest = next((match[part] for part in (*of_s, "only") if match[part]), 0)
        minutes = float(told.replace(",", "."))
        seconds = 60.0 * minutes + float(rest)
        return [Token("duration", f"{seconds:g}", match[0])], match.end()
    for reads in (_read_clock, _read_parted, _read_between):
        if (found := reads(text, at)) is not None:
            return found
    match = _DEGREES.match(text, at)
    if match is None:
        return read_odd(text, at)
    said, deg = match[0], float(match["deg"].replace(",", "."))
    if deg > FULL_CIRCLE_DEG:
        flag = Flag.of(FlagCode.OVER_FULL_CIRCLE, match["deg"])
        return [Token("odd", "", said, (flag,))], match.end()
    north = NORTHS.get(match["north"], "")
    value = f"{deg % FULL_CIRCLE_DEG:g} {north}".strip()
    flags: tuple[Flag, ...] = ()
    if len(match["deg"]) == 1 and not match["sign"]:
        flags = (Flag.of(FlagCode.NOT_WHOLE, match["deg"], "bearing"),)
    return [Token("bearing", value, said, flags)], match.end()


def _read_parted(text: str, at: int) -> tuple[list[Token], int] | None:
    """Read a bearing with its figures apart: "2-1-0"."""
    match = _PARTED.match(text, at)
    whole = int(match[0].replace("-", "")) if match else FULL_CIRCLE_DEG + 1
    if match is None or whole > FULL_CIRCLE_DEG:
        return None
    value = str(whole % FULL_CIRCLE_DEG)
    flag = Flag.of(FlagCode.TAKEN_AS, match[0], value)
    return [Token("bearing", value, match[0], (flag,))], match.end()


def _read_between(text: str, at: int) -> tuple[list[Token], int] | None:
    """Read the middle of two bearings that stand for one."""
    match = _BETWEEN.match(text, at)
    if match is None:
        return None
    one, two = int(match[1]), int(match[2])
    apart = (two - one + 180) % FULL_CIRCLE_DEG - 180
    if max(one, two) > FULL_CIRCLE_DEG or not 0 < abs(apart) <= _WIDEST_DEG:
        return None
    value = f"{(one + apart / 2) % FULL_CIRCLE_DEG:g}"
    flag = Flag.of(FlagCode.TAKEN_AS, match[0], value)
    return [Token("bearing", value, match[0], (flag,))], match.end()


def read_quadrant(text: str, at: int) -> tuple[Token, int] | None:
    """Read a bearing counted from north or south: "N45E", and the place after it.

    Examples
    --------
    >>> read_quadrant("s30w", 0)[0].value
    '210'
    """
    match = _QUADRANT.match(text, at)
    if match is None or (match["gap"] and not match["sign"]):
        return None
    off = float(match["deg"].replace(",", "."))
    if off > FULL_CIRCLE_DEG / 4:
        return None
    off = off if match["to"] == "e" else -off
    deg = off if match["from"] == "n" else 180 - off
    return Token("bearing", f"{deg % FULL_CIRCLE_DEG:g}", match[0]), match.end()


_CLOCKED = re.compile(r"(?:(\d{1,2}):)?(\d{1,3}):([0-5]\d)")
_PLAIN = re.compile(r"\d{1,4}(?:[.,]\d{1,2})?")
_MOST_MIN = 60.0  # a plain number above it is no number of minutes; guess


def read_duration(cell: str, unit: str) -> Token | None:
    """Read a cell of durations: "7:10", or a plain number by its heading's unit.

    Without a unit ("min" or "s") a plain number is of minutes, with a flag; None where
    it can hardly be, or where the cell holds anything else.
    """
    if clocked := _CLOCKED.fullmatch(cell):
        hours, minutes, seconds = (int(part or 0) for part in clocked.groups())
        total_s = 3600 * hours + 60 * minutes + seconds
        return Token("duration", f"{total_s:g}", cell)
    if not _PLAIN.fullmatch(cell):
        return None
    figure = float(cell.replace(",", "."))
    if unit == "s":
        return Token("duration", f"{figure:g}", cell)
    if figure > _MOST_MIN:
        return None
    flags = () if unit else (Flag.of(FlagCode.TAKEN_AS, cell, f"{cell} min"),)
    return Token("duration", f"{round(60 * figure, 1):g}", cell, flags)


def _read_clock(text: str, at: int) -> tuple[list[Token], int] | None:
    """Read a time, or a range from one to another."""
    match = TIME.match(text, at)
    span = _RANGE.match(text, at) if not match or offset_of(match) is None else None
    if span and all(_is_time(part) for part in span.groups() if part):
        value = " ".join(re.sub(r"\s", "", part or "") for part in span.groups())
        return [Token("range", value, span[0].strip())], span.end()
    if match and hour_of(match) is not None:
        return [Token("time", match[0], match[0])], match.end()
    return None


def _is_time(text: str) -> bool:
    match = TIME.fullmatch(text)
    return match is not None and hour_of(match) is not None


def read_odd(text: str, at: int) -> tuple[list[Token], int]:
    """Take what nothing can be made of, up to the next space or comma."""
    match = _CHUNK.match(text, at)
    said = match[0] if match else text[at]
    said = said.rstrip(".:?!)") or said
    return [Token("odd", "", said[:_MOST_QUOTED])], at + len(said)


def hour_of(match: re.Match[str]) -> int | None:
    """Return the hour of a written time, as written; None where none has it."""
    hour = int(match["h"] or match["hh"] or match["hour"])
    half = half_of(match)
    if hour > 23 or (half and not 1 <= hour <= 12):
        return None
    return hour


def offset_of(match: re.Match[str]) -> timedelta | None:
    """Return how far a written time says that it is ahead of UTC; None if it does not.

    Examples
    --------
    >>> offset_of(TIME.match("09:05+0530"))
    datetime.timedelta(seconds=19800)
    """
    if not (written := (match["offset"] or "").strip()):
        return None
    figures = re.sub(r"\D", "", written).ljust(4, "0")
    ahead = timedelta(hours=int(figures[:2]), minutes=int(figures[2:]))
    return -ahead if written.startswith("-") else ahead


def half_of(match: re.Match[str]) -> str:
    """Return "a" or "p" where a written time tells its half of the day, or ""."""
    return match["half"] or match["half_letter"] or match["only"] or ""


_MONTHS = "|".join(month[:3] for month in MONTHS)
# Whole or short, so that "9.05 marking bees" is not of March.
_NAMED = rf"(?:{'|'.join(MONTHS)}|{_MONTHS}|sept)(?![^\W\d_])"
DATE = re.compile(
    r"(?<![\d.:])(?:\d{4}-\d\d-\d\d|20\d\d/\d{1,2}/\d{1,2}|20\d\d\.\d{1,2}\.\d{1,2}|\d{1,2}[./-]\d{1,2}[./-]\d{4}|\d{1,2}[/-]\d{1,2}[/-]\d\d"
    rf"|\d{{1,2}}(?:st|nd|rd|th)?[ .-]{{1,2}}(?:of )?{_NAMED}\.?"
    r"(?:[ ,-]+20\d\d|-\d\d)?"
    rf"|{_NAMED}\.? \d{{1,2}}(?:st|nd|rd|th)?(?:,? 20\d\d)?)(?![\d.])"
)
_WEEKDAY = re.compile(
    r"^\W*(?:mon|tues?|wed(?:nes)?|thurs?|fri|satur|sat|sun)(?:day)?\b"
)
_NEXT = re.compile(
    r"\W*(?P<name>(?:mon|tues?|wed(?:nes)?|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?\b)?"
    r"[\s,.]*"
    r"(?:the\s)?(?:(?P<number>[1-9]\d?)(?:st|nd|rd|th))?\W*"
)
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_MOST_DAYS = 31  # from one day of notes to the next told by its number alone; guess
_DATE_WORD = re.compile(r"^\s*(?:date|day)\b\s*:?")
_SHORT = re.compile(r"(\d{1,2})/(\d{1,2})|(\d{1,2})\.(\d{1,2})\.")
_FOREIGN = re.compile(r"\D*\d{1,2}[. -]{1,2}([^\W\d_]{3,})[., -]{1,2}20\d\d\D*")
_SLASHES = re.compile(r"(?<![\d/.])(\d{1,2})([/-])(\d{1,2})\2(\d{4}|\d\d)(?![\d/.])")
# As spreadsheets write days that are a time of day elsewhere, or nothing.
_DOTTED = re.compile(r"\d{1,2}\.\d{1,2}\.(\d\d)(?![^\s,;])")  # first in a line
_DOTTED_CELL = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d\d)")
_YEAR_FIRST_CELL = re.compile(r"(20\d\d)([/. -])\s?(\d{1,2})\2\s?(\d{1,2})\.?")
_MOST_TRIED = 3  # lines that prove no dates in other languages, 0.1 s each; choice


def month_first(lines: Iterable[str]) -> bool | None:
    """Tell whether a page writes 7/14/2026; None where each day may be a month too.

    Examples
    --------
    >>> month_first(["03/04/2026,9:05,yellow", "03/14/2026,9:05,yellow"])
    True
    """
    days = [found for line in lines for found in _SLASHES.findall(line)]
    seen = {int(two) > 12 for one, _, two, _ in days if max(int(one), int(two)) > 12}
    return seen.pop() if len(seen) == 1 else None


def day_cell(cell: str) -> str:
    """Write a cell that holds nothing but a day so that it is read as one.

    Examples
    --------
    >>> day_cell("14.07.26"), day_cell("2026. 7. 14."), day_cell("14 July")
    ('14.07.2026', '2026-07-14', '14 July')
    """
    if found := _DOTTED_CELL.fullmatch(cell.strip()):
        return f"{found[1]}.{found[2]}.20{found[3]}"
    if found := _YEAR_FIRST_CELL.fullmatch(cell.strip()):
        return f"{found[1]}-{found[3]:0>2}-{found[4]:0>2}"
    return cell


class Days:
    """Reads the dates of a page; `near` tells the year where none is written.

    `knows` tells of a word that it means something else.
    """

    def __init__(self, near: date | None, knows: Callable[[str], bool]) -> None:
        self._near, self._knows = near, knows
        self.month_first: bool | None = None  # of days in figures on this page
        self._tried = 0

    def in_line(self, line: str) -> tuple[date, str] | None:
        """Return the day that stands in a line, and what else is in it."""
        text = line.lower()
        if not any(char.isdigit() for char in text):
            return None
        plain = _WEEKDAY.sub(" ", _DATE_WORD.sub(" ", text)).strip(" \t,;|:.-")
        if found := DATE.search(plain) or self._dotted(plain):
            said, day = found[0], self.read(found[0])
        elif _SHORT.fullmatch(line.strip()):
            said, day = plain, self.read(line.strip())
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

    def after(self, line: str, day: date | None) -> date | None:
        """Read a line that tells a later day by the one before: "Friday 17th"."""
        found = _NEXT.fullmatch(line.lower())
        if found is None or day is None or not (found["name"] or found["number"]):
            return None
        for later in (day + timedelta(days=n) for n in range(_MOST_DAYS)):
            weekday = _WEEKDAYS[later.weekday()]
            named = not found["name"] or found["name"].startswith(weekday)
            if named and found["number"] in {None, str(later.day)}:
                return later
        return None

    def _may_be_foreign(self, plain: str) -> bool:
        found = _FOREIGN.fullmatch(plain)
        return found is not None and not self._knows(found[1])

    def read(self, said: str) -> date | None:
        """Read a date; None where no calendar has it, or nothing tells its year."""
        said = day_cell(said)
        if short := _SHORT.fullmatch(said):
            day, month = (int(part) for part in short.groups() if part)
            return self._nearest(month, day)
        words = re.split(r"(?<!\d)[\s,.-]+|[\s,.-]+(?!\d|$)|[\s,]+", said)
        months = [w[:3] if w[:3] in _MONTHS and w.isalpha() else w for w in words]
        if re.search(r"[a-z]-\d\d$", said):
            months[-1] = f"20{months[-1]}"  # "14-Jul-26", as spreadsheets write it
        reading = read_date([word for word in months if word])
        if reading is None or not reading.value:
            return None
        if reading.value[:4].isdigit():
            found = date.fromisoformat(reading.value)
            return self._month_first(found) if _SLASHES.fullmatch(said) else found
        number, name = reading.value.split()
        return self._nearest(MONTHS.index(name.lower()) + 1, int(number))

    def _dotted(self, plain: str) -> re.Match[str] | None:
        """Find "14.07.26", of a year near by: "9.05.30" is a time."""
        found = _DOTTED.match(plain)
        if found is None or self._near is None:
            return found
        return found if abs(2000 + int(found[1]) - self._near.year) <= 1 else None

    def _month_first(self, day: date) -> date:
        """Take the first figure of a day for its month, if the page is written so.

        Where nothing on it tells, it is if the day were else still to come.
        """
        if self.month_first is False or day.day > 12:
            return day
        turned = day.replace(month=day.day, day=day.month)
        to_come = self._near is not None and turned <= self._near < day
        return turned if self.month_first or to_come else day

    def _nearest(self, month: int, day: int) -> date | None:
        return nearest_day(month, day, self._near) if self._near is not None else None
