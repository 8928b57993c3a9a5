"""Trips whose length was said in words: "yellow was away five and a half minutes"."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal, cast

from treeward.language.kinds import UNMARKED, EventKind

from .doubts import Doubt, DoubtCode
from .identity import LEAST_AWAY_S, LEAST_ROUND_S
from .pairing import note_doubts
from .table import Trip
from .usual import LONGEST_S

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from .sightings import Notes, Sighting

_STATED = re.compile(r"(?i)^\s*(away|round)\s+(\d{1,5}(?:[.,]\d+)?)\s*s?\s*$")
_TIMED_BEFORE_S = 120.0  # a trip that ended up to this long ago is what is meant; guess
_SAME_S, _SAME_SHARE = 60.0, 0.25  # stated and timed agree within the larger; guess


def rounding_of(seconds: float) -> float:
    """Return the width [s] that a stated time was rounded to: whole or half minutes."""
    for width in (60.0, 30.0, 10.0):
        if seconds % width == 0:
            return width
    return 1.0


def stated_trips(
    notes: Notes,
    timed: Sequence[Trip],
    bee_named: Callable[[Sighting], str],
    barred: Callable[[str, str], tuple[Doubt, ...]],
) -> list[Trip]:
    """Turn stated durations into trips.

    One that tells of a trip that was timed as well is not used again.

    Parameters
    ----------
    notes
        All notes; durations that cannot be read are left out there.
    timed
        Trips from landings and departures.
    bee_named
        The bee that a note is about.
    barred
        Why nothing of a mark at a station can be used.
    """
    trips: list[Trip] = []
    for sighting in notes.sightings:
        event = sighting.event
        if event.kind is not EventKind.DURATION:
            continue
        match = _STATED.match(event.value)
        if match is None:
            names = (event.value,) if event.value else ()
            notes.leave_out(event, Doubt(code=DoubtCode.NO_DURATION, names=names))
            continue
        if event.mark in {"", UNMARKED}:
            notes.leave_out(event, DoubtCode.NO_MARKED_BEE)
            continue
        seconds = float(match[2].replace(",", "."))
        timing = cast("Literal['away', 'round']", match[1].lower())
        why_not = list(barred(event.mark, sighting.station))
        least_s = LEAST_AWAY_S if timing == "away" else LEAST_ROUND_S
        if not least_s <= seconds <= LONGEST_S:
            why_not.append(Doubt(code=DoubtCode.NO_TIME_FOR_A_TRIP, numbers=(seconds,)))
        if (twin := _timed_twin(sighting, seconds, timing, timed)) is not None:
            rows = (twin.away_row, twin.back_row) if twin.back_row else ()
            same = abs(twin.away_s - seconds) <= max(_SAME_S, _SAME_SHARE * seconds)
            code = DoubtCode.TIMED_AS_WELL if same else DoubtCode.TIMED_OTHERWISE
            why_not.append(Doubt(code=code, rows=rows, numbers=(twin.away_s,)))
        trips.append(
            Trip(
                mark=event.mark,
                bee=bee_named(sighting),
                station=sighting.station,
                away_clock=None,
                back_clock=None,
                away_s=seconds,
                timing=timing,
                stated=True,
                rounding_s=rounding_of(seconds),
                used=not why_not,
                doubts=tuple(dict.fromkeys([*why_not, *note_doubts(sighting)])),
                away_row=event.row,
                back_row=event.row,
                to_clock=event.clock,
            )
        )
    return trips


def _timed_twin(
    sighting: Sighting, seconds: float, timing: str, timed: Sequence[Trip]
) -> Trip | None:
    """Find the timed trip that a stated one tells of: it ended just before."""
    near = [
        (abs(trip.away_s - seconds), index, trip)
        for index, trip in enumerate(timed)
        if trip.mark == sighting.event.mark
        and trip.station == sighting.station
        and trip.timing == timing
        and trip.to_clock is not None
        and -10.0 <= sighting.time_s - trip.to_clock.timestamp() <= _TIMED_BEFORE_S
    ]
    return min(near)[2] if near else None
