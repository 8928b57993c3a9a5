"""Spoken times as anchors: which to believe, and where the recorder was paused.

A spoken time names the minute in which it was said, so each anchor bounds the
*offset* (UTC seconds at which the recording's second 0 fell) by an interval. While
the recorder runs the offset is constant and the intervals overlap; a pause makes it
grow; nothing makes it shrink. The explanation with the fewest misheard times and
pauses is looked for, over all readings of a twelve-hour time and all days near.

Spoken dates as evidence of a recording's day, above all else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from treeward.language.dates import parse_date
from treeward.language.kinds import EventKind, parse_spoken_time

from .clock_evidence import AGREE_S, ClockEvidence, ClockSource, plus
from .events import taken_back

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from zoneinfo import ZoneInfo

    from .events import Event


SAID_EARLY_S = 2.0  # a watch that is read just before the minute turns; guess
SAID_LATE_S = 8.0  # from reading the watch to saying it; guess
LONGEST_PAUSE_S = 12 * 3600.0  # of a recorder, within one file; guess

# Costs of an explanation, in misheard times. Only their order matters.
_MISHEARD = 1.0  # of one heard with full confidence, and of none:
_MISHEARD_LEAST = 0.1
_PAUSE = 0.5
_LONE = 0.8  # a stretch that rests on one spoken time only, where there are three
_THRIFTY = 1.0  # somebody stops the recorder whenever nothing happens; each pause
_THRIFTY_PAUSE = 0.2  # and each stretch with one spoken time is then no surprise
_FITS = 0.53  # per factor e by which the room a misheard time fell into is narrow
_AGAINST_START = 0.6  # the other evidence tells another start
_DOUBTFUL_AGAINST = 0.4  # more, so that one time in doubt alone does not outweigh that
_PER_DAY_AWAY = 0.3  # and the farther, the worse, up to a day
_DARK = 0.2  # no bee flies then
_PAUSE_PER_S = 1 / 10_800.0  # a pause of hours is as odd as a misheard time

_BEAM = 100  # explanations kept at a time
_HOPELESS = 5.0  # dearer than the best by this is given up


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeOnDay:
    """One way to take a spoken time: a local wall time and its offset's bounds."""

    local: datetime
    low_s: float  # UTC timestamp of the recording's second 0, least
    high_s: float  # and most


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchor:
    """A spoken time in the recording, with every way to take it."""

    event: Event
    index: int  # of the event
    second: float  # where in the recording it is said
    readings: tuple[TimeOnDay, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Part of a recording without a pause: anchors that agree, and their offset."""

    low_s: float
    high_s: float
    anchors: tuple[tuple[Anchor, TimeOnDay], ...]


class _ClockStory(NamedTuple):
    """An explanation of the spoken times so far."""

    base: float = 0.0  # cost without that of pauses and of lone times
    pauses: int = 0
    lone: int = 0
    closed: tuple[Stretch, ...] = ()
    current: Stretch | None = None
    refused: tuple[Anchor, ...] = ()  # since the last time that was believed

    def cost(self, lone_cost: float) -> float:
        single = _PAUSE * self.pauses + lone_cost * self.lone
        return self.base + min(single, _THRIFTY + _THRIFTY_PAUSE * self.pauses)


def read_anchors(
    events: Sequence[Event], days: Sequence[date], zone: ZoneInfo
) -> list[Anchor]:
    """Return the spoken times among the events, in the order of the sound.

    One that was taken back by "scratch that" is none.
    """
    anchors: list[Anchor] = []
    gone = _taken_back(events)
    for index, event in enumerate(events):
        if event.kind != "time" or event.start_s is None or index in gone:
            continue
        parsed = parse_spoken_time(event.value)
        if parsed is None:
            continue
        hour, minute, second, twelve = parsed
        hours = {hour, (hour + 12) % 24} if twelve else {hour}
        span_s = 60.0 if second is None else 1.0
        moments = {
            (moment, local)
            for day in days
            for h in hours
            for local in _both_folds(day, h, minute, second or 0, zone)
            for moment in (local.astimezone(UTC).timestamp(),)
        }
        readings = tuple(
            TimeOnDay(
                local=local,
                low_s=moment - event.start_s - SAID_EARLY_S,
                high_s=moment - event.start_s + span_s + SAID_LATE_S,
            )
            for moment, local in sorted(moments, key=lambda pair: pair[0])
        )
        anchors.append(
            Anchor(event=event, index=index, second=event.start_s, readings=readings)
        )
    anchors.sort(key=lambda a: (a.second, a.index))
    return anchors


def _taken_back(events: Sequence[Event]) -> set[int]:
    """Return the indices of events that a "scratch that" took back."""
    in_order = sorted(
        (i for i, event in enumerate(events) if event.start_s is not None),
        key=lambda i: (events[i].start_s or 0.0, i),
    )
    return {in_order[k] for k in taken_back([events[i] for i in in_order])}


def _both_folds(
    day: date, hour: int, minute: int, second: int, zone: ZoneInfo
) -> list[datetime]:
    """Return the wall time before and after a clock change; mostly they are one.

    In the hour that comes twice both are real; in the one that is leapt over they
    are what a watch shows that was not set.
    """
    wall = datetime(day.year, day.month, day.day, hour, minute, second, tzinfo=zone)
    other = wall.replace(fold=1)
    return [wall] if wall.utcoffset() == other.utcoffset() else [wall, other]


def days_around(first: date, last: date) -> list[date]:
    """Return every day from the day before `first` to the day after `last`."""
    low, high = first.toordinal() - 1, last.toordinal() + 1
    ages = range(max(low, 1), min(high, date.max.toordinal()) + 1)
    return [date.fromordinal(number) for number in ages]


def explain(
    anchors: Sequence[Anchor],
    *,
    start_utc_s: tuple[float, float] | None,
    end_offset_s: float | None,
    is_daylight: Callable[[datetime], bool],
    start_is_weak: bool = False,
) -> list[Stretch]:
    """Return the stretches of the likeliest explanation, in order of the sound.

    Parameters
    ----------
    anchors
        In order of the sound.
    start_utc_s
        Least and most that the strongest other evidence gives for the start [UTC
        timestamps].
    end_offset_s
        When the file was closed less the length of the sound [UTC timestamp], if
        known: the offset of its last stretch. It can confirm a pause.
    is_daylight
        Whether bees fly at a moment.
    start_is_weak
        Whether the other evidence may well be wrong (a file's time), so that even a
        spoken time that is in doubt outweighs it.
    """
    lone_cost = _LONE if len(anchors) >= 3 else 0.0
    telling = _Telling(start_utc_s, end_offset_s, is_daylight, start_is_weak)
    stories = [_ClockStory()]
    for anchor in anchors:
        grown: list[_ClockStory] = []
        sure = anchor.event.confidence
        misheard = _MISHEARD_LEAST + (_MISHEARD - _MISHEARD_LEAST) * sure
        for story in stories:
            tries = (telling.believe(story, anchor, read) for read in anchor.readings)
            grown += [believed for believed in tries if believed is not None]
            refused = (*story.refused, anchor) if story.current else ()
            grown.append(story._replace(base=story.base + misheard, refused=refused))
        grown.sort(key=lambda s: s.cost(lone_cost))  # stable: the earlier reading
        dearest = grown[0].cost(lone_cost) + _HOPELESS
        stories = [s for s in grown[:_BEAM] if s.cost(lone_cost) <= dearest]
    finished = [telling.close(story, last=True) for story in stories]
    return list(min(finished, key=lambda s: s.cost(lone_cost)).closed)


@dataclass(frozen=True, slots=True)
class _Telling:
    """How a story goes on, by what else is known; fields as `explain` takes them."""

    start_utc_s: tuple[float, float] | None
    end_offset_s: float | None
    is_daylight: Callable[[datetime], bool]
    start_is_weak: bool

    def believe(
        self, story: _ClockStory, anchor: Anchor, reading: TimeOnDay
    ) -> _ClockStory | None:
        """Return the story with a spoken time believed, or None if it cannot be."""
        opened = Stretch(
            low_s=reading.low_s, high_s=reading.high_s, anchors=((anchor, reading),)
        )
        now = story.current
        if now is None:
            base = story.base + self._opening_cost(reading, anchor, first=True)
            return story._replace(base=base, current=opened, refused=())
        refused_cost = _refused_cost(story.refused, now, reading)
        low_s = max(now.low_s, reading.low_s)
        high_s = min(now.high_s, reading.high_s)
        if low_s <= high_s:
            joined = (*now.anchors, (anchor, reading))
            return story._replace(
                base=story.base + refused_cost,
                current=Stretch(low_s=low_s, high_s=high_s, anchors=joined),
                refused=(),
            )
        if not now.high_s < reading.low_s <= now.high_s + LONGEST_PAUSE_S:
            return None
        before = self.close(story, last=False)
        pause_s = reading.low_s - now.high_s
        opening = self._opening_cost(reading, anchor, first=False)
        base = before.base + refused_cost + opening
        return before._replace(
            base=base + _PAUSE_PER_S * pause_s,
            pauses=before.pauses + 1,
            current=opened,
            refused=(),
        )

    def close(self, story: _ClockStory, *, last: bool) -> _ClockStory:
        """Return the story with its stretch ended, the last one with the recording."""
        stretch = story.current
        if stretch is None:
            return story
        support = len(stretch.anchors)
        if not story.closed and self.start_utc_s is not None:
            away_s = outside_s(self.start_utc_s, stretch.low_s, stretch.high_s)
            support += away_s <= AGREE_S
        if last and self.end_offset_s is not None:
            ends = (self.end_offset_s, self.end_offset_s)
            support += outside_s(ends, stretch.low_s, stretch.high_s) <= AGREE_S
        return story._replace(
            lone=story.lone + (support < 2),
            closed=(*story.closed, stretch),
            current=None,
        )

    def _opening_cost(
        self, reading: TimeOnDay, anchor: Anchor, *, first: bool
    ) -> float:
        cost = 0.0 if self.is_daylight(reading.local) else _DARK
        if first and self.start_utc_s is not None:
            away_s = outside_s(self.start_utc_s, reading.low_s, reading.high_s)
            if away_s > AGREE_S:
                if anchor.event.doubtful and not self.start_is_weak:
                    cost += _DOUBTFUL_AGAINST
                cost += _AGAINST_START + _PER_DAY_AWAY * min(1.0, away_s / 86_400)
        return cost


def _refused_cost(
    refused: Sequence[Anchor], before: Stretch, after: TimeOnDay
) -> float:
    """Return the cost of having refused times that would fit between their neighbours.

    A misheard time may be any in the hour, so that one fits by chance is the less
    likely, the narrower the room between the offsets before and after it.
    """
    room_s = after.high_s - before.low_s
    surprise = _FITS * max(0.0, math.log(3600.0 / max(room_s, 60.0)))
    fitting = sum(
        any(
            r.high_s >= before.low_s and r.low_s <= after.high_s
            for r in anchor.readings
        )
        for anchor in refused
    )
    return fitting * surprise


def outside_s(given: tuple[float, float], low: float, high: float) -> float:
    """Return how far two intervals are apart; 0 where they touch."""
    return max(low - given[1], given[0] - high, 0.0)


def spoken_day(
    events: Sequence[Event],
    lower: Sequence[ClockEvidence],
    flags: list[str],
    *,
    near: date | None = None,
) -> tuple[int, date] | None:
    """Return the first sure spoken date: the index of its event, and the day.

    A date without a year is that of the year which brings it nearest to the other
    evidence. One that is in doubt, or was taken back, counts for nothing. Sentences
    about dates that could not be used are added to `flags`. Without other evidence
    `near`, a day close to the recording, tells the year, and that is said.
    """
    assumed = near if not lower else None
    near = lower[0].day if lower else near
    gone = _taken_back(events)
    found: tuple[int, date] | None = None
    for index, event in enumerate(events):
        if event.kind is not EventKind.DATE or index in gone or not event.value:
            continue
        if event.doubtful:
            flags.append(
                f"the date {event.value} was heard with doubt and is not believed "
                "until its row is kept"
            )
            continue
        day = parse_date(event.value, near=near)
        if day is None:
            flags.append(
                f"nothing tells the year of the date {event.value}; say it with the "
                f"year, or write the year in review.csv, where the event is date and "
                f"the value {event.value}"
            )
        elif found is None:
            found = index, day
            if assumed and parse_date(event.value, near=None) is None:
                flags.append(
                    f"no year was said with the date {event.value}; {day.year} was "
                    "taken, by when the file was written"
                )
        elif abs((day - found[1]).days) > 1:
            flags.append(
                f"two dates were said, {found[1]} and {day}; the first one was taken"
            )
    return found


def by_spoken_day(
    lower: Sequence[ClockEvidence], day: date, said_s: float, zone: ZoneInfo
) -> tuple[list[ClockEvidence], list[ClockEvidence]]:
    """Part the evidence that suits a spoken day from what speaks against it.

    `lower` is all evidence but what was spoken, strongest first; the day was said at
    second `said_s` of the recording.

    Returns
    -------
    tuple
        What suits, with the date behind what tells the time of day as well; and the
        rest. What is off by a day, and a start that the person gave in any case, is
        among both: its time of day suits.
    """
    timed: list[ClockEvidence] = []
    dated: list[ClockEvidence] = []
    against: list[ClockEvidence] = []
    for evidence in lower:
        if evidence.start is None:
            (dated if evidence.day == day else against).append(evidence)
            continue
        off_days = _days_off(evidence.start, day, said_s, zone)
        if off_days == 0:
            timed.append(evidence)
            continue
        against.append(evidence)
        given = evidence.source == ClockSource.START_GIVEN
        if given or abs(off_days) <= 1:
            start = _days_later(evidence.start, off_days)  # its time of day only
            timed.append(replace(evidence, start=start, day=start.date()))
    said = ClockEvidence(source=ClockSource.SPOKEN_DATE, day=day)
    return [*timed, said, *dated], against


def _days_off(start: datetime, day: date, said_s: float, zone: ZoneInfo) -> int:
    """Return by how many days a start would have to be later for the day said."""
    moments = (
        plus(start, said_s + late_s, zone).date() for late_s in (0.0, -AGREE_S, AGREE_S)
    )
    return min(((day - moment).days for moment in moments), key=abs)


def _days_later(start: datetime, days: int) -> datetime:
    """Return the same time of day on another day."""
    try:
        return start + timedelta(days=days)  # by the wall's clock
    except OverflowError:
        return start
