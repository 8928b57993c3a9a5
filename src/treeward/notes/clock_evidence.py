"""What a recording's start can be known from, apart from times that were spoken.

The date and time that recorders and phones put into a file's name.
"""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from enum import StrEnum
from typing import TYPE_CHECKING

from treeward.errors import ClockError
from treeward.language.dates import calendar_day, in_letters

if TYPE_CHECKING:
    from collections.abc import Callable
    from zoneinfo import ZoneInfo


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
    r"(?:\s+at\s+|[-_ .,T]{0,3})(?:(?P<h>\d{2})(?P<m>\d{2})(?P<s>\d{2})?"
    r"|(?P<hh>\d{1,2})[-_.:h](?P<mm>\d{2})(?:[-_.:m](?P<ss>\d{2}))?)(?!\d)(?:[ "
    r"._\u00a0\u202f-]?(?P<half>[AaPp])\.?[Mm](?![A-Za-z]))?"
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
        days = {_day(match, "year", "month", "day")}
    elif match := _YEAR_LAST.search(stem):
        days = {_day(match, "year", "two", "one"), _day(match, "year", "one", "two")}
    elif match := _IN_LETTERS.search(stem):
        letters = in_letters(re.sub(r"[_.,-]+", " ", match.group()))
        days = {letters.date() if letters else None}
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


def _day(match: re.Match[str], year: str, month: str, day: str) -> date | None:
    return calendar_day(int(match[year]), int(match[month]), int(match[day]))


class ClockSource(StrEnum):
    """What tells when a recording was made, or its day; the surest first."""

    SPOKEN_DATE = "spoken date"
    START_GIVEN = "start given"
    TRANSCRIPT = "transcript"
    CONTAINER = "container"
    FILE_NAME = "file name"
    FILE_TIME = "file time"


AGREE_S = (
    120.0  # two clocks that differ by less agree: nobody sets a watch finer; guess
)
EARLIEST_YEAR, LATEST_YEAR = 1970, 2200  # of a clock that somebody wrote; choice
FIRST_YEAR = 2000  # metadata before it are a clock that was never set (1904, 1970)
SUNSET_DEG = -0.833  # of the sun's middle at sunset: refraction and radius; definition
_SAME_MOMENT_S = 10.0  # a file is closed within this of its last sample; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingFacts:
    """What is known of a recording besides its sound.

    `name` is the file's name, as it stands in `Event.recording`. `created` is the
    container's creation time (naive is taken for local time), `file_modified` the
    file system's. `start` is what the person gave, by --start or [start] in hunt.toml
    (naive is local time), good to `start_resolution_s`; `day` is that without a time.
    `near` is a day close to it, which tells the year of a date said without one.
    """

    name: str
    duration_s: float | None = None
    created: datetime | None = None
    file_modified: datetime | None = None
    start: datetime | None = None
    start_resolution_s: float = 1.0
    day: date | None = None
    near: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockEvidence:
    """One thing that tells when a recording began.

    `start` is None where only the day is known (a date in the file name).
    """

    source: ClockSource
    day: date
    start: datetime | None = None
    resolution_s: float = 1.0

    @classmethod
    def of_start(
        cls, source: ClockSource, start: datetime, resolution_s: float = 1.0
    ) -> ClockEvidence:
        """Return what tells the start, and by it the day."""
        return cls(
            source=source, day=start.date(), start=start, resolution_s=resolution_s
        )


def in_zone(moment: datetime, zone: ZoneInfo) -> datetime:
    """Return a moment in the hunt's zone; a naive one is taken as local time."""
    if moment.tzinfo is None:
        return moment.replace(tzinfo=zone)
    return moment.astimezone(zone)


def plus(moment: datetime, seconds: float, zone: tzinfo) -> datetime:
    """Add real seconds: in UTC, so that a clock change on the way does no harm."""
    return (moment.astimezone(UTC) + timedelta(seconds=seconds)).astimezone(zone)


def apart_s(later: datetime, earlier: datetime) -> float:
    """Return real seconds from one moment to another.

    Two datetimes of one zone subtract as wall clocks do, which is an hour wrong
    across a clock change; timestamps are not.
    """
    return later.timestamp() - earlier.timestamp()


def parse_start(text: str, zone: ZoneInfo, *, where: str) -> tuple[datetime, float]:
    """Read a start that the person gave: "2026-07-14 10:20" or with seconds, offset.

    Returns
    -------
    tuple
        The start, and the seconds to which it is good (60 where no seconds were
        given).

    Raises
    ------
    ClockError
        If it is not a date and a time, or a time that the clocks leapt over.
    """
    mend = 'Write it like "2026-07-14 10:20" or "2026-07-14 10:20:33+01:00".'
    try:
        whole = re.sub(r"(?<=\d[ T])(?=\d:)", "0", text.strip())  # nine is 9:00 too
        moment = datetime.fromisoformat(whole)
    except ValueError:
        raise ClockError(
            f"{text!r} is not a date and a time", where=where, mend=mend
        ) from None
    if ":" not in text:
        raise ClockError(f"{text!r} has no time of day", where=where, mend=mend)
    try:
        local = in_zone(moment, zone)
    except OverflowError:
        local = moment
    if not EARLIEST_YEAR <= local.year <= LATEST_YEAR:
        raise ClockError(
            f"{text!r} lies in the year {local.year}", where=where, mend=mend
        )
    if moment.tzinfo is None and not exists(local):
        raise ClockError(
            f"{text!r} does not exist in {zone.key}, the clocks went forward over it",
            where=where,
            mend=mend,
        )
    seconds_given = len(re.findall(r"\d+", text.strip().split("+")[0])) >= 6
    return local, 1.0 if seconds_given else 60.0


def parse_start_day(text: str, zone: ZoneInfo, *, where: str) -> date:
    """Read the day of a start, which for notes typed with times may be all of it.

    Raises
    ------
    ClockError
        If it is neither a date nor a date and a time.
    """
    with suppress(ValueError):
        day = date.fromisoformat(text.strip())
        if EARLIEST_YEAR <= day.year <= LATEST_YEAR:
            return day
    return parse_start(text, zone, where=where)[0].date()


def exists(local: datetime) -> bool:
    """Tell whether a local time is one that clocks show (not leapt over)."""
    back = local.astimezone(UTC).astimezone(local.tzinfo)
    return back.replace(tzinfo=None) == local.replace(tzinfo=None)


def lower_evidence(facts: RecordingFacts, zone: ZoneInfo) -> list[ClockEvidence]:
    """Return all evidence but the spoken times, strongest first."""
    found: list[ClockEvidence] = []
    if facts.start is not None:
        given, resolution_s = in_zone(facts.start, zone), facts.start_resolution_s
        found.append(
            ClockEvidence.of_start(ClockSource.START_GIVEN, given, resolution_s)
        )
    elif facts.day is not None:
        found.append(ClockEvidence(source=ClockSource.START_GIVEN, day=facts.day))
    named = _name_evidence(facts, zone)
    if (made := _container_start(facts, named, zone)) is not None:
        found.append(ClockEvidence.of_start(ClockSource.CONTAINER, made))
    if named is not None:
        found.append(named)
    if facts.file_modified is not None and facts.file_modified.year >= FIRST_YEAR:
        # A recorder closes its file at the end.
        ended = in_zone(facts.file_modified, zone)
        began = plus(ended, -(facts.duration_s or 0.0), zone)
        found.append(ClockEvidence.of_start(ClockSource.FILE_TIME, began))
    if facts.start is None and facts.day is not None:  # what has another is not its
        found = [one for one in found if one.day == facts.day]
    return found


def _name_evidence(facts: RecordingFacts, zone: ZoneInfo) -> ClockEvidence | None:
    near = facts.file_modified
    named = time_in_name(facts.name, near=in_zone(near, zone).date() if near else None)
    if named is None:
        return None
    if named.time is None:
        return ClockEvidence(source=ClockSource.FILE_NAME, day=named.day)
    start = datetime.combine(named.day, named.time, tzinfo=zone)
    return ClockEvidence.of_start(ClockSource.FILE_NAME, start, named.resolution_s)


def _container_start(
    facts: RecordingFacts, named: ClockEvidence | None, zone: ZoneInfo
) -> datetime | None:
    """Decide whether a container's time is the start or the end, UTC or local.

    Containers do not say: some recorders write it when they start, some when they
    close the file, and some write local time where UTC should stand.
    """
    made = facts.created
    if made is None or made.year < FIRST_YEAR:
        return None
    start = in_zone(made, zone)
    length_s = facts.duration_s or 0.0
    as_local = made.replace(tzinfo=zone)
    if_ended = plus(start, -length_s, zone)
    readings = (start, if_ended, as_local, plus(as_local, -length_s, zone))
    given = in_zone(facts.start, zone) if facts.start is not None else None
    for reference in filter(None, (given, named.start if named else None)):
        for reading in readings:
            if abs(apart_s(reading, reference)) <= AGREE_S:
                return reading
    if (
        facts.file_modified is not None
        and length_s > 2 * _SAME_MOMENT_S
        and abs(apart_s(in_zone(facts.file_modified, zone), start)) <= _SAME_MOMENT_S
    ):
        return if_ended
    return start


def daylight_at(
    *, latitude_deg: float, longitude_deg: float
) -> Callable[[datetime], bool]:
    """Return a test for whether bees could see to fly there at a moment.

    The sun is up: bees are mostly home about sunset (common practice; no published
    threshold was found).
    """
    from astral import Observer
    from astral.sun import elevation

    place = Observer(latitude=latitude_deg, longitude=longitude_deg)

    def is_daylight(moment: datetime) -> bool:
        height_deg = float(elevation(place, moment, with_refraction=False))
        return height_deg > SUNSET_DEG

    return is_daylight
