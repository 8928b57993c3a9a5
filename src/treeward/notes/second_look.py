"""Notes that are put up for review for what they do not fit, not for how they sounded.

Two departures of one bee in a row: an "away" that was a "back", or a landing that
nobody noted. A recording in which no station was said: its notes may be of any.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, UNMARKED, EventKind

from .flags import OF_SECOND_LOOK, Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from .events import Event

SAID_AGAIN_S = 10.0  # the same note again within this was said twice; guess


def look_twice(
    events: Sequence[Event], *, without_station: Collection[str] = ()
) -> list[Event]:
    """Flag notes that do not fit those beside them.

    Parameters
    ----------
    events
        Of any number of recordings, with their clocks where these are known.
    without_station
        Recordings in which a station is wanted, should none be said.

    Returns
    -------
    list of Event
        As many, in the same order; flags of an earlier look are gone from them.
    """
    found = [
        replace(
            event,
            flags=tuple(f for f in event.flags if f.code not in OF_SECOND_LOOK),
        )
        for event in events
    ]
    for first, second in _departures_in_a_row(found):
        apart_s = _time_s(found[second]) - _time_s(found[first])
        minutes = f"{apart_s // 60:.0f}:{apart_s % 60:02.0f}"
        for index, which in ((first, "the first"), (second, "the second")):
            mark = found[index].mark
            flag = Flag.of(FlagCode.DEPARTURES_IN_A_ROW, which, mark, minutes)
            found[index] = found[index].flagged(flag)
    for index in _first_without_station(found, without_station):
        found[index] = found[index].flagged(Flag(FlagCode.STATION_UNSAID))
    return found


def _time_s(event: Event) -> float:
    return event.clock.timestamp() if event.clock else event.start_s or 0.0


def _departures_in_a_row(events: Sequence[Event]) -> list[tuple[int, int]]:
    """Return the pairs of departures without a landing or a marking between."""
    in_order = sorted(
        (
            index
            for index, event in enumerate(events)
            if KINDS[event.kind].then
            and event.mark not in {"", UNMARKED}
            and (event.clock is not None or event.start_s is not None)
        ),
        key=lambda index: (_time_s(events[index]), index),
    )
    last: dict[tuple[str, str], int] = {}
    pairs = []
    for index in in_order:
        event = events[index]
        key = event.recording, event.mark
        before = last.get(key)
        last[key] = index
        if (
            before is not None
            and events[before].kind is event.kind is EventKind.AWAY
            and _time_s(event) - _time_s(events[before]) > SAID_AGAIN_S
        ):
            pairs.append((before, index))
    return pairs


def _first_without_station(
    events: Sequence[Event], wanted: Collection[str]
) -> list[int]:
    said = {e.recording for e in events if e.kind is EventKind.STATION and e.value}
    first: dict[str, int] = {}
    for index, event in enumerate(events):
        if KINDS[event.kind].seen_here and event.recording in wanted:
            earliest = first.get(event.recording, index)
            if _time_s(event) <= _time_s(events[earliest]):
                first[event.recording] = index
    return [index for recording, index in first.items() if recording not in said]
