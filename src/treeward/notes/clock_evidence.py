"""What a recording's start can be known from, apart from times that were spoken."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from enum import StrEnum
from typing import TYPE_CHECKING

from treeward.errors import ClockError

from .time_in_name import time_in_name

if TYPE_CHECKING:
    from collections.abc import Callable
    from zoneinfo import ZoneInfo


class ClockSource(StrEnum):
    """What tells when a recording was made, or its day; the surest first."""

    SPOKEN_TIMES = "spoken times"
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
    (naive is local time), good to `start_resolution_s`.
    """

    name: str
    duration_s: float | None = None
    created: datetime | None = None
    file_modified: datetime | None = None
    start: datetime | None = None
    start_resolution_s: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockEvidence:
    """One thing that tells when a recording began.

    `start` is None where only the day is known (a date in the file name). `used` says
    whether the clock rests on it; `note` says in words what was made of it.
    """

    source: ClockSource
    start: datetime | None
    day: date | None = None
    resolution_s: float = 1.0
    used: bool = False
    note: str = ""


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


def exists(local: datetime) -> bool:
    """Tell whether a local time is one that clocks show (not leapt over)."""
    back = local.astimezone(UTC).astimezone(local.tzinfo)
    return back.replace(tzinfo=None) == local.replace(tzinfo=None)


def lower_evidence(facts: RecordingFacts, zone: ZoneInfo) -> list[ClockEvidence]:
    """Return all evidence but the spoken times, strongest first."""
    found: list[ClockEvidence] = []
    if facts.start is not None:
        found.append(
            ClockEvidence(
                source=ClockSource.START_GIVEN,
                start=in_zone(facts.start, zone),
                resolution_s=facts.start_resolution_s,
            )
        )
    named = _name_evidence(facts, zone)
    if (made := _container_start(facts, named, zone)) is not None:
        found.append(made)
    if named is not None:
        found.append(named)
    if facts.file_modified is not None and facts.file_modified.year >= FIRST_YEAR:
        ended = in_zone(facts.file_modified, zone)
        found.append(
            ClockEvidence(
                source=ClockSource.FILE_TIME,
                start=plus(ended, -(facts.duration_s or 0.0), zone),
                note="a recorder closes its file at the end",
            )
        )
    return found


def _name_evidence(facts: RecordingFacts, zone: ZoneInfo) -> ClockEvidence | None:
    near = facts.file_modified
    named = time_in_name(facts.name, near=in_zone(near, zone).date() if near else None)
    if named is None:
        return None
    if named.time is None:
        return ClockEvidence(
            source=ClockSource.FILE_NAME,
            start=None,
            day=named.day,
            note="holds the day only",
        )
    return ClockEvidence(
        source=ClockSource.FILE_NAME,
        start=datetime.combine(named.day, named.time, tzinfo=zone),
        day=named.day,
        resolution_s=named.resolution_s,
    )


def _container_start(
    facts: RecordingFacts, named: ClockEvidence | None, zone: ZoneInfo
) -> ClockEvidence | None:
    """Decide whether a container's time is the start or the end, UTC or local.

    Containers do not say: some recorders write it when they start, some when they
    close the file, and some write local time where UTC should stand.
    """
    made = facts.created
    if made is None or made.year < FIRST_YEAR:
        return None
    start = in_zone(made, zone)
    length_s = facts.duration_s or 0.0
    others = [e for e in (named,) if e is not None and e.start is not None]
    references = [e.start for e in others if e.start is not None]
    if facts.start is not None:
        references.insert(0, in_zone(facts.start, zone))
    as_local = made.replace(tzinfo=zone)
    readings = [
        (start, ""),
        (plus(start, -length_s, zone), "written when the recording ended"),
        (as_local, "local time, though marked as UTC"),
        (plus(as_local, -length_s, zone), "local time, written at the end"),
    ]
    for reference in references:
        for reading, note in readings:
            if abs(apart_s(reading, reference)) <= AGREE_S:
                return ClockEvidence(
                    source=ClockSource.CONTAINER, start=reading, note=note
                )
    if (
        facts.file_modified is not None
        and length_s > 2 * _SAME_MOMENT_S
        and abs(apart_s(in_zone(facts.file_modified, zone), start)) <= _SAME_MOMENT_S
    ):
        reading, note = readings[1]
        return ClockEvidence(source=ClockSource.CONTAINER, start=reading, note=note)
    return ClockEvidence(source=ClockSource.CONTAINER, start=start)


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
