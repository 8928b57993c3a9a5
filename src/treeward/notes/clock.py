"""The clock: which moment each event was spoken at.

Spoken times are the strongest evidence; then a spoken date, which tells the day; then
the start that the person gave, the container's creation time, the file's name and the
file's time. Weaker evidence still counts: it gives a spoken time its day, its half of
the day and, within the minute, its second; where it contradicts, that is said.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from treeward.language.kinds import EventKind, parse_spoken_time

from .clock_anchors import (
    Anchor,
    Stretch,
    by_spoken_day,
    days_around,
    explain,
    read_anchors,
    spoken_day,
)
from .clock_evidence import (
    AGREE_S,
    ClockEvidence,
    ClockSource,
    RecordingFacts,
    apart_s,
    in_zone,
    lower_evidence,
)
from .clock_stretches import (
    ClockStretch,
    disagreements,
    end_offset_s,
    flag_pauses,
    from_lower,
    from_spoken,
    stretch_at,
)
from .flags import OF_THE_CLOCK, Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from zoneinfo import ZoneInfo

    from .events import Event

__all__ = [
    "ClockResult",
    "ClockStretch",
    "RecordingFacts",
    "place_on_clock",
    "place_recordings",
]

MONTHS_APART_DAYS = 60  # a hunt is over before, mostly; guess
DAY_FROM: Mapping[str, str] = {
    ClockSource.SPOKEN_DATE: "the day as it was said",
    ClockSource.START_GIVEN: "the day as it was given",
    ClockSource.CONTAINER: "the day as the sound file itself says",
    ClockSource.FILE_NAME: "the day by the file's name",
    ClockSource.FILE_TIME: "the day by the file's time",
    ClockSource.TRANSCRIPT: "the day as the transcript says",
}
_DAY_HOURS = range(7, 20)  # where the place is not known, bees fly then; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockResult:
    """Events with their clock.

    `start` is the moment of the recording's second 0, None where nothing tells it.
    `flags` are sentences about the recording as a whole; flags about one event stand
    on the event.
    """

    recording: str
    start: datetime | None
    events: tuple[Event, ...]
    stretches: tuple[ClockStretch, ...] = ()
    flags: tuple[str, ...] = ()
    end: datetime | None = None
    day: date | None = None
    day_from: ClockSource | Literal[""] = ""  # what tells the day

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is to be told of the recording: its day, and every flag."""
        if self.day is None:
            return self.flags
        told = DAY_FROM[self.day_from]
        return (f"{self.day.day} {self.day:%b %Y}, {told}", *self.flags)


def place_on_clock(
    events: Sequence[Event],
    recording: RecordingFacts,
    zone: ZoneInfo,
    *,
    is_daylight: Callable[[datetime], bool] | None = None,
) -> ClockResult:
    """Give every event of one recording its clock time.

    Parameters
    ----------
    events
        Events of the recording. One that has no `start_s`, or already has a clock
        (a transcript with absolute times), keeps what it has.
    recording
        What is known besides the sound.
    zone
        The hunt's time zone.
    is_daylight
        Whether bees fly at a moment (`clock_evidence.daylight_at`); tells morning
        from evening where nothing else does. By default from seven to twenty.

    Returns
    -------
    ClockResult
        With as many events, in the same order. Time events that were believed have
        their value on the twenty-four-hour dial.
    """
    placed = [_plain(event, zone) for event in events]
    flags: list[str] = []
    every = lower_evidence(recording, zone)
    lower, against = _heed_spoken_day(placed, every, zone, flags, near=recording.near)
    anchors = read_anchors(placed, _days(lower, recording, zone), zone)
    stretches = explain(
        anchors,
        start_utc_s=_start_window(lower, zone),
        end_offset_s=end_offset_s(recording, zone),
        is_daylight=is_daylight or _is_day,
        start_is_weak=all(e.source == ClockSource.FILE_TIME for e in lower),
    )
    if stretches:
        clock = from_spoken(stretches, lower, placed, recording, zone)
    else:
        clock = from_lower(lower, recording)
    start = None
    if clock:
        start = _moment(clock[0].offset_utc_s, zone)
        spoken = [text for stretch in clock for text in stretch.spoken]
        flags += disagreements(
            [*lower, *against], start, clock[0].half_width_s, zone, spoken=bool(spoken)
        )
        if not any(e.start for e in lower) and _only_twelve_hour(stretches):
            flags.append(
                "nothing but daylight tells morning from evening; "
                f"{spoken[0]} was taken"
            )
    flag_pauses(clock, flags)
    day_given = recording.day if recording.start is None else None
    flags += _place_all(placed, anchors, stretches, clock, zone, day_given=day_given)
    end = (
        _moment(clock[-1].offset_utc_s + recording.duration_s, zone)
        if clock and recording.duration_s is not None
        else None
    )
    day, day_from = _day_of(start, lower, placed)
    return ClockResult(
        recording=recording.name,
        start=start,
        end=end,
        events=tuple(placed),
        stretches=tuple(clock),
        flags=tuple(flags),
        day=day,
        day_from=day_from,
    )


def _heed_spoken_day(
    placed: list[Event],
    lower: list[ClockEvidence],
    zone: ZoneInfo,
    flags: list[str],
    *,
    near: date | None = None,
) -> tuple[list[ClockEvidence], list[ClockEvidence]]:
    """Part the evidence by a date that was said, and give that event its year."""
    said = spoken_day(placed, lower, flags, near=near)
    if said is None:
        return lower, []
    index, day = said
    placed[index] = replace(placed[index], value=day.isoformat())
    return by_spoken_day(lower, day, placed[index].start_s or 0.0, zone)


def _place_all(
    placed: list[Event],
    anchors: Sequence[Anchor],
    stretches: Sequence[Stretch],
    clock: Sequence[ClockStretch],
    zone: ZoneInfo,
    *,
    day_given: date | None = None,
) -> list[str]:
    """Put every event on the clock; return what is to be said of the recording."""
    believed = {
        anchor.index: reading.local
        for stretch in stretches
        for anchor, reading in stretch.anchors
    }
    offered = {anchor.index for anchor in anchors}
    for index, event in enumerate(placed):
        refused = index in offered and index not in believed
        flag = _time_flag(event, clock, refused=refused)
        placed[index] = _place(event, believed.get(index), flag, clock, zone)
    flags: list[str] = []
    if unfit := [a.event.value for a in anchors if a.index not in believed]:
        flags.append(f"said as a time, but left out: {', '.join(unfit)}")
    if not clock and any(event.clock is None for event in placed):
        flags.append(
            f"nothing tells the time of day on {day_given}; give --start with its time "
            f"too, as '{day_given} 09:00', or a spoken time"
            if day_given
            else "nothing tells when this was recorded; give --start or a spoken time"
        )
    return flags


def place_recordings(
    batch: Sequence[tuple[RecordingFacts, Sequence[Event]]],
    zone: ZoneInfo,
    *,
    is_daylight: Callable[[datetime], bool] | None = None,
) -> list[ClockResult]:
    """Place several recordings of a hunt, sorted by time.

    Recordings that overlap are flagged (two people may have recorded at two
    stations, or a clock is wrong); those that nothing places come last.
    """
    results = [
        place_on_clock(events, facts, zone, is_daylight=is_daylight)
        for facts, events in batch
    ]
    results.sort(
        key=lambda r: (r.start is None, r.start.timestamp() if r.start else 0.0)
    )
    for index, (one, two) in enumerate(pairwise(results)):
        if one.end is None or two.start is None:
            continue
        shared_s = apart_s(one.end, two.start)
        if shared_s > AGREE_S:
            said = (
                f"overlaps {one.recording} by {shared_s / 60:.0f} min: two recorders, "
                "or one of the clocks is wrong"
            )
            results[index + 1] = replace(two, flags=(*two.flags, said))
    return _months_apart(results)


def _months_apart(results: Sequence[ClockResult]) -> list[ClockResult]:
    """Doubt the days of recordings that lie months from the one before them."""
    found = list(results)
    dated = [index for index, one in enumerate(results) if one.day is not None]
    for before, after in pairwise(dated):
        one, two = found[before], found[after]
        if one.day is None or two.day is None:
            continue
        apart_days = (two.day - one.day).days
        if apart_days > MONTHS_APART_DAYS:
            # The one whose day is known less well is named.
            weaker = max(after, before, key=lambda i: _RANK.index(found[i].day_from))
            other = one if weaker == after else two
            told = DAY_FROM[found[weaker].day_from]
            said = (
                f"lies {apart_days} days from {other.recording}: is its day right? It "
                f"is {told}; say the date, or give --start"
            )
            found[weaker] = replace(found[weaker], flags=(*found[weaker].flags, said))
    return found


_RANK: tuple[str, ...] = tuple(ClockSource)  # of which the day is known, best first


def _day_of(
    start: datetime | None, lower: Sequence[ClockEvidence], events: Sequence[Event]
) -> tuple[date | None, ClockSource | Literal[""]]:
    """Return the day of a recording, and the evidence that told it.

    Of typed notes it is their own, which a start that was given may have told.
    """
    typed = [e.clock for e in events if e.clock is not None and e.start_s is None]
    if typed and len(typed) == len(events):
        day = min(typed).date()
        given = any(
            one.source == ClockSource.START_GIVEN
            and one.start
            and one.start.date() == day
            for one in lower
        )
        return day, ClockSource.START_GIVEN if given else ClockSource.TRANSCRIPT
    if start is None:
        clocks = [event.clock for event in events if event.clock is not None]
        return (min(clocks).date(), ClockSource.TRANSCRIPT) if clocks else (None, "")
    by_rank = sorted(lower, key=lambda one: one.source != ClockSource.SPOKEN_DATE)
    for evidence in by_rank:
        if abs((evidence.day - start.date()).days) <= 1:
            return start.date(), evidence.source
    return start.date(), ClockSource.TRANSCRIPT


def _plain(event: Event, zone: ZoneInfo) -> Event:
    """Take away what an earlier placing left on an event."""
    flags = tuple(f for f in event.flags if f.code not in OF_THE_CLOCK)
    clock = in_zone(event.clock, zone) if event.clock is not None else None
    return replace(event, clock=clock, flags=flags)


def _is_day(moment: datetime) -> bool:
    return moment.hour in _DAY_HOURS


def _moment(utc_s: float, zone: ZoneInfo) -> datetime:
    """Return a moment to the tenth of a second; nobody speaks closer than that."""
    return datetime.fromtimestamp(round(utc_s, 1), tz=UTC).astimezone(zone)


def _days(
    lower: Sequence[ClockEvidence], recording: RecordingFacts, zone: ZoneInfo
) -> list[date]:
    """Return the days a spoken time may belong to."""
    if not lower:
        return []
    first = last = lower[0].day
    if recording.file_modified is not None:
        closed = in_zone(recording.file_modified, zone).date()
        # A copy may be a year younger; a recording is not a week long.
        last = closed if 0 <= (closed - first).days <= 2 else first
    span = timedelta(seconds=recording.duration_s or 0.0)
    return days_around(first, max(last, first + span))


def _start_window(
    lower: Sequence[ClockEvidence], zone: ZoneInfo
) -> tuple[float, float] | None:
    """Return the bounds that the strongest evidence sets on the start.

    A file named in the hour that comes twice may be of the one or of the other.
    """
    if not lower:
        return None
    strongest = lower[0]
    if strongest.start is not None:
        at_s = strongest.start.timestamp()
        until_s = at_s + strongest.resolution_s
        if strongest.source == ClockSource.FILE_NAME:
            until_s += max(0.0, strongest.start.replace(fold=1).timestamp() - at_s)
        return at_s, until_s
    midnight_s = datetime.combine(strongest.day, time(), tzinfo=zone).timestamp()
    return midnight_s, midnight_s + 86_399


def _only_twelve_hour(stretches: Sequence[Stretch]) -> bool:
    """Tell whether every believed time could be meant twelve hours later."""
    parsed = [parse_spoken_time(a.event.value) for s in stretches for a, _ in s.anchors]
    return all(p is not None and p[3] for p in parsed)


def _time_flag(
    event: Event, clock: Sequence[ClockStretch], *, refused: bool
) -> Flag | None:
    if event.kind is not EventKind.TIME:
        return None
    if event.value and parse_spoken_time(event.value) is None:
        return Flag.of(FlagCode.NO_TIME_OF_DAY, repr(event.value))
    if not refused:
        return None
    if clock:
        return Flag(FlagCode.UNFIT_TIME)
    return Flag(FlagCode.NO_DAY)


def _place(
    event: Event,
    believed: datetime | None,
    flag: Flag | None,
    clock: Sequence[ClockStretch],
    zone: ZoneInfo,
) -> Event:
    flags = [*event.flags, *([flag] if flag else [])]
    value = event.value
    if believed is not None:
        with_seconds = (parse_spoken_time(value) or (0, 0, None))[2] is not None
        value = believed.strftime("%H:%M:%S" if with_seconds else "%H:%M")
    if event.clock is not None or event.start_s is None or not clock:
        return replace(event, value=value, flags=tuple(flags))
    stretch, doubt = stretch_at(event.start_s, clock)
    if doubt:
        flags.append(doubt)
    return replace(
        event,
        value=value,
        clock=_moment(stretch.offset_utc_s + event.start_s, zone),
        flags=tuple(flags),
    )
