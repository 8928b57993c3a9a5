"""The date and time that recorders and phones put into a file's name."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, time


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedTime:
    """A local date out of a file name, with a time of day where there is one."""

    day: date
    time: time | None = None
    resolution_s: float = 1.0


_SUFFIX = re.compile(r"\.[A-Za-z][A-Za-z0-9]{0,4}$")
# Year first, with or without separators: 2026-07-14, 20260714.
_YEAR_FIRST = re.compile(
    r"(?<!\d)(?P<year>20\d{2})(?P<sep>[-_. ]?)(?P<month>\d{2})(?P=sep)(?P<day>\d{2})"
    r"(?=\D|\d{4}(?:\d{2})?(?!\d)|$)"
)
# Day or month first and the year last: 14-07-2026.
_YEAR_LAST = re.compile(
    r"(?<!\d)(?P<one>\d{1,2})(?P<sep>[-_. ])(?P<two>\d{1,2})(?P=sep)"
    r"(?P<year>20\d{2})(?!\d)"
)
# A month in letters, for dateparser: 14 July 2026, Jul 14, 2026.
_IN_LETTERS = re.compile(
    r"(?<!\d)(?:\d{1,2}[. _-]{1,2}[^\W\d_]{3,}|[^\W\d_]{3,}[. _-]{1,2}\d{1,2})"
    r"[., _-]{1,3}20\d{2}(?!\d)"
)
# What follows the date: 10.20.33, _102033, T10-20, " at 10.20.33 AM".
_TIME_AFTER = re.compile(
    r"(?:\s+at\s+|[-_ .,T]{0,3})"
    r"(?:(?P<h>\d{2})(?P<m>\d{2})(?P<s>\d{2})?"
    r"|(?P<hh>\d{1,2})[-_.:h](?P<mm>\d{2})(?:[-_.:m](?P<ss>\d{2}))?)(?!\d)"
    r"(?:[ ._\u00a0\u202f-]?(?P<half>[AaPp])\.?[Mm](?![A-Za-z]))?"
)


def time_in_name(name: str, *, near: date | None = None) -> NamedTime | None:
    """Read a date, and a time where there is one, out of a recording's file name.

    Parameters
    ----------
    name
        The file's name; its suffix is passed over.
    near
        The day of the file's time, which tells day from month where both are twelve
        or less.

    Returns
    -------
    NamedTime or None
        None for a name that holds no date ("New Recording 14.m4a", "station-1"), or
        one whose day and month cannot be told apart.

    Examples
    --------
    >>> time_in_name("Recording_20260714_102033.m4a").time
    datetime.time(10, 20, 33)
    """
    stem = _SUFFIX.sub("", name)
    if match := _YEAR_FIRST.search(stem):
        days = {_date(match["year"], match["month"], match["day"])}
    elif match := _YEAR_LAST.search(stem):
        days = {
            _date(match["year"], match["two"], match["one"]),
            _date(match["year"], match["one"], match["two"]),
        }
    elif match := _IN_LETTERS.search(stem):
        days = {_date_in_letters(match.group())}
    else:
        return None
    found = {day for day in days if day is not None}
    if len(found) == 2 and near is not None:
        found = {day for day in found if abs((day - near).days) <= 2} or found
    if len(found) != 1:
        return None
    return _with_time(found.pop(), stem[match.end() :])


def _with_time(day: date, rest: str) -> NamedTime:
    match = _TIME_AFTER.match(rest)
    if match is None:
        return NamedTime(day=day)
    hour = int(match["h"] or match["hh"])
    minute = int(match["m"] or match["mm"])
    second = match["s"] or match["ss"]
    if match["half"] and 1 <= hour <= 12:
        hour = hour % 12 + (12 if match["half"] in "Pp" else 0)
    if hour > 23 or minute > 59 or int(second or 0) > 59:
        return NamedTime(day=day)
    return NamedTime(
        day=day,
        time=time(hour, minute, int(second or 0)),
        resolution_s=60.0 if second is None else 1.0,
    )


def _date(year: str, month: str, day: str) -> date | None:
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        return None


def _date_in_letters(text: str) -> date | None:
    import dateparser  # knows the months in many languages

    found = dateparser.parse(
        re.sub(r"[_.,-]+", " ", text),
        settings={
            "REQUIRE_PARTS": ["day", "month", "year"],
            "PARSERS": ["absolute-time"],
        },
    )
    return found.date() if found else None
