"""A value beside those told before it: said again, mended, or what the clock shows.

"Ninety ... ninety-six" is one bearing, "two ten. South-west, then" is one as well.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.speech.utterances import Alternative

from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .events import Event
    from .narrated_actions import Done

HALF_DAY_MIN = 12 * 60  # whether it is morning is not always said
SKIPPED_S = 180.0  # a recorder that only runs while somebody speaks; guess
REPEATED_S = 15.0  # the same of the same bee, said so soon again, is one note; guess
RESTATED_S = 4.0  # "ninety, ninety-six": a value so soon after another mends it; guess
MENDED_DEG = 35  # by so much at most; guess
_WATCHING = frozenset({EventKind.PAUSE, EventKind.RESUME})
_SAME = frozenset(
    {EventKind.WIND, EventKind.BEARING, EventKind.TIME, EventKind.STATION}
)


def told_already(events: Sequence[Event], event: Event) -> bool:
    """Tell whether an event is one with a note just before."""
    for last in reversed(events):
        if (event.start_s or 0.0) - (last.end_s or 0.0) > REPEATED_S:
            return False
        if event.kind in _WATCHING and last.kind is event.kind:
            return True
        told = (last.kind, last.mark, last.value)
        if event.kind in _SAME and told == (event.kind, event.mark, event.value):
            return True
    return False


def restated(events: Sequence[Event], event: Event) -> bool:
    """Tell whether a value takes the place of the last: "ninety, ninety-six"."""
    last = events[-1] if events else None
    if last is None or (last.kind, last.mark) != (event.kind, event.mark):
        return False
    gap_s = (event.start_s or 0.0) - (last.end_s or 0.0)
    if not (last.value and event.value):
        return False
    match event.kind:
        case EventKind.STATION:  # "station two. No, three."
            return gap_s <= REPEATED_S
        case EventKind.DURATION:
            return gap_s <= RESTATED_S
        case EventKind.BEARING:
            return gap_s <= RESTATED_S and _near(last.value, event.value)
        case _:
            return False


def confirms(events: Sequence[Event], event: Event) -> bool:
    """Tell whether a point of the compass only follows degrees: "ninety. East"."""
    point = event.kind is EventKind.BEARING and " " in event.value
    return point and restated(events, event) and " " not in events[-1].value


def mended(last: Event, event: Event) -> Event:
    """Put the later of two values in the place of the earlier."""
    flag = Flag.of(FlagCode.CORRECTED, event.heard)
    before = " ".join(filter(None, (last.kind, last.mark, last.value)))
    return replace(
        event,
        flags=tuple(dict.fromkeys((*event.flags, flag))),
        heard=f"{last.heard} {event.heard}",
        alternatives=(*event.alternatives, Alternative(text=before, confidence=0.2)),
    )


def clock_gain_s(events: Sequence[Event], value: str, now_s: float) -> float | None:
    """Give how much more the clock went on than the recording since a time told.

    None without a time before; `value` is the time of day said at `now_s`.
    """
    told = next((e for e in reversed(events) if e.kind is EventKind.TIME), None)
    if told is None or not told.value:
        return None
    gone_s = (_minutes(value) - _minutes(told.value)) % HALF_DAY_MIN * 60.0
    return gone_s - (now_s - (told.start_s or 0.0))


def skips(events: Sequence[Event]) -> bool:
    """Tell whether the recorder was off between times told: silence is left out."""
    times = [e for e in events if e.kind is EventKind.TIME and e.value]
    return any(
        (_minutes(late.value) - _minutes(soon.value)) % HALF_DAY_MIN * 60.0
        - ((late.start_s or 0.0) - (soon.start_s or 0.0))
        > SKIPPED_S
        for soon, late in pairwise(times)
    )


def _minutes(value: str) -> int:
    """Give the minutes since midnight of a time of day."""
    hour, minute = value.split(":")[:2]
    return int(hour) * 60 + int(minute)


def _near(one: str, two: str) -> bool:
    """Tell whether two bearings may be one that was mended."""
    apart = abs(int(one.split(maxsplit=1)[0]) - int(two.split(maxsplit=1)[0])) % 360
    return min(apart, 360 - apart) <= MENDED_DEG


def tells_a_way(event: Event) -> bool:
    """Tell whether an event says where a bee flew."""
    return event.kind is EventKind.BEARING and bool(event.value)


def doubts_in_words(done: Done, said: tuple[str, ...]) -> list[Flag]:
    """Give the doubts that the words of a note call for; `said` are hedges."""
    doubts: list[Flag] = []
    if done.others:
        doubts.append(Flag.of(FlagCode.OTHER_BEES, " or ".join(done.others)))
    if said:
        doubts.append(Flag.of(FlagCode.DOUBT_IN_WORDS, ", ".join(said)))
    if not done.certain:
        doubts.append(Flag(FlagCode.ONLY_NAMED))
    if done.named.called:
        doubts.append(Flag.of(FlagCode.TAKEN_AS, done.named.called, done.named.mark))
    return doubts
