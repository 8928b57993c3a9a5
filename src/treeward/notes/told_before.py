"""A value beside those told before it: said again, mended, or what the clock shows.

"Ninety ... ninety-six" is one bearing, "two ten. South-west, then" is one as well.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.speech.utterances import Alternative

from .events import Event
from .flags import Flag, FlagCode
from .sentences import heard

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .narrated_actions import Done
    from .sentences import StreamWord, Told

HALF_DAY_MIN = 12 * 60  # whether it is morning is not always said
SKIPPED_S = 180.0  # a recorder that only runs while somebody speaks; guess
DRINKS_S = 60.0  # "back" so soon after her painting tells that she stayed; guess
PAIR_S = 60.0  # "both" are two that left not longer ago; guess
REPEATED_S = 15.0  # the same of the same bee, said so soon again, is one note; guess
ONE_BREATH_S = 6.0  # a direction so soon after bees overhead is theirs; guess
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


def of_overhead(events: Sequence[Event], told: Told, now_s: float) -> bool:
    """Tell whether a bearing is that of bees overhead, noted in the same breath."""
    last = events[-1] if events else None
    if last is None or last.kind is not EventKind.OVERHEAD:
        return False
    named = told.named is not None and bool(told.named.mark)
    soon = now_s - (last.end_s or 0.0) <= ONE_BREATH_S
    return told.kind is EventKind.BEARING and soon and not named


def heading(overhead: Event, told: Told, said: Sequence[StreamWord]) -> Event:
    """Give bees overhead the direction that was said after them, if they had none."""
    if overhead.value or told.same:
        return overhead
    return replace(
        overhead,
        value=told.value,
        end_s=said[-1].end_s,
        heard=f"{overhead.heard} {heard(said)}",
        flags=(*overhead.flags, *told.flags),
    )


def left_together(events: Sequence[Event]) -> bool:
    """Tell whether the two bees that left last did so in one breath."""
    left = [e.end_s or 0.0 for e in events if e.kind is EventKind.AWAY]
    told = events[-1].kind is EventKind.BEARING
    return left[-1] - left[-2] <= ONE_BREATH_S and not told


def left_last(events: Sequence[Event]) -> tuple[str, ...]:
    """Give the two bees that left last, one right after the other."""
    gone = [event for event in events if event.kind is EventKind.AWAY]
    left = [event.mark for event in gone]
    now_s = (events[-1].end_s or 0.0) if events else 0.0
    if any(now_s - (event.end_s or 0.0) > PAIR_S for event in gone[-2:]):
        return ()
    pair = tuple(dict.fromkeys(left[-2:]))
    return pair if len(pair) == 2 and all(pair) else ()


def painted_long(events: Sequence[Event], mark: str, now_s: float) -> bool:
    """Tell whether a bee was painted so long ago that she left, unnoted."""
    last = next((event for event in reversed(events) if event.mark == mark), None)
    if last is None or last.kind is not EventKind.MARK:
        return False
    return now_s - (last.end_s or 0.0) > DRINKS_S


def in_own_words(
    kind: EventKind, pieces: Sequence[StreamWord], first: int, said: int
) -> tuple[Event, int]:
    """Give a note of the words from `said` to the end of their utterance, and that end.

    It was announced from the piece `first` on.
    """
    last = said
    while last < len(pieces) and pieces[last].utterance == pieces[said].utterance:
        last += 1
    own = Event(
        kind=kind,
        value=" ".join(piece.text for piece in pieces[said:last]),
        start_s=pieces[first].start_s,
        end_s=pieces[last - 1].end_s,
        heard=heard(pieces[first:last]),
        confidence=min(piece.confidence for piece in pieces[first:last]),
    )
    return own, last


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
