"""Doubtful values read again in the light of those beside them.

Bees of one colony leave one way, and times run with the recording. A bearing or a time
that was hardly heard, and stands by itself, is taken for another of its readings where
that one lies among its neighbours. What was plainly heard is never touched, and a row
that was read again says so and keeps what was heard first among its alternatives.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.bearings import read_bearing_cell
from treeward.language.kinds import EventKind
from treeward.language.number_words import plain_words
from treeward.speech.utterances import Alternative

from .flags import Flag, FlagCode
from .values import bearing_value, time_value

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from .events import Event

BEARINGS_NEAR_DEG = 15.0  # of one line: reading errors have a spread of 5 to 10; guess
LEAST_BEARINGS = 2  # beside a reading, to be preferred for; guess
CLOCK_NEAR_S = 90.0  # of a spoken minute from where others put it; guess
LEAST_TIMES = 1  # a minute out of 720 does not fit by chance
_DIAL_S = 12 * 3600.0  # spoken times do not tell the half of the day


def read_again(events: Sequence[Event], *, flag_below: float) -> list[Event]:
    """Take the readings that suit the rest of a recording.

    Parameters
    ----------
    events
        Of one recording, in order of time, without clock times.
    flag_below
        Confidence, 0 to 1, from which a note counts as plainly heard.

    Returns
    -------
    list of Event
        The same events; of some the value is another.
    """
    found = list(events)
    times = [e for e in events if e.kind is EventKind.TIME and e.start_s is not None]
    offsets_s = [
        seconds - (one.start_s or 0.0)
        for one in times
        if one.confidence >= flag_below
        if (seconds := _seconds(one.value)) is not None
    ]
    for place, event in enumerate(events):
        if event.confidence >= flag_below or not event.value:
            continue
        if event.kind is EventKind.BEARING:
            stay = _same_station(events, place, flag_below)
            sure = [one.bearing.deg for one in stay if one.bearing is not None]
            found[place] = _best(event, _bearing, _near_bearing(sure), LEAST_BEARINGS)
        elif event.kind is EventKind.TIME and event.start_s is not None:
            near = _near_time(offsets_s, event.start_s)
            found[place] = _best(event, _time, near, LEAST_TIMES)
    return found


def _best(
    event: Event,
    value_of: Callable[[str], str | None],
    neighbours: Callable[[str], int],
    least: int,
) -> Event:
    """Give the event with the reading that has neighbours, if its own has none."""
    if neighbours(event.value):
        return event
    readings = []
    for other in event.alternatives:
        value = value_of(other.text)
        if value and value != event.value and neighbours(value) >= least:
            readings.append((neighbours(value), other.confidence, value, other))
    if not readings:
        return event
    _, _, value, chosen = max(readings, key=lambda reading: reading[:2])
    first = Alternative(text=event.heard, confidence=event.confidence)
    kept = tuple(other for other in event.alternatives if other is not chosen)
    flag = Flag.of(FlagCode.TAKEN_AS_OTHERS, event.value, value)
    return replace(
        event, value=value, alternatives=(first, *kept), flags=(*event.flags, flag)
    )


def _same_station(
    events: Sequence[Event], place: int, flag_below: float
) -> list[Event]:
    """Give the plainly heard bearings read at the station where `place` is."""
    moves = [n for n, event in enumerate(events) if event.kind is EventKind.STATION]
    low = max((n for n in moves if n < place), default=-1)
    high = min((n for n in moves if n > place), default=len(events))
    return [
        event
        for event in events[low + 1 : high]
        if event.kind is EventKind.BEARING and event.confidence >= flag_below
    ]


def _bearing(text: str) -> str | None:
    """Read "heading one forty" or "bearing 140"; None for anything else."""
    words = plain_words(text)
    for start in range(1, len(words)):
        value = bearing_value(words[start:])
        if value is not None and start + value.used == len(words):
            return value.text or None
    return None


def _time(text: str) -> str | None:
    """Read "clock ten fourteen" or "time 10:14"; None for anything else."""
    words = text.split()
    if len(words) == 2 and _seconds(words[1]) is not None:
        return words[1]
    said = plain_words(text)[1:]
    value = time_value(said)
    if value is None or value.used < len(said):
        return None
    return value.text or None


def _near_bearing(sure_deg: Sequence[float]) -> Callable[[str], int]:
    def count(value: str) -> int:
        if (cell := read_bearing_cell(value)) is None:
            return 0
        return sum(
            abs((cell.deg - other + 180) % 360 - 180) <= BEARINGS_NEAR_DEG
            for other in sure_deg
        )

    return count


def _near_time(offsets_s: Sequence[float], start_s: float) -> Callable[[str], int]:
    def count(value: str) -> int:
        seconds = _seconds(value)
        if seconds is None:
            return 0
        apart_s = [seconds - start_s - offset for offset in offsets_s]
        half = _DIAL_S / 2
        return sum(
            abs((each + half) % _DIAL_S - half) <= CLOCK_NEAR_S for each in apart_s
        )

    return count


def _seconds(value: str) -> float | None:
    """Give the seconds since midnight of "10:22" or "10:22:30"."""
    parts = value.split(":")
    if len(parts) not in (2, 3) or not all(part.isdigit() for part in parts):
        return None
    hour, minute, *second = (int(part) for part in parts)
    return hour * 3600.0 + minute * 60 + sum(second)
