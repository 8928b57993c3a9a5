"""Bearings to flight lines, and what was said of the wind."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.language.bearings import DEGREES_WIDTH_DEG, read_bearing_cell
from treeward.language.kinds import UNMARKED, EventKind

from .doubts import Doubt, DoubtCode
from .pairing import note_doubts
from .table import FlightLine, Wind

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date

    from treeward.language.bearings import BearingCell
    from treeward.notes.events import Event

    from .sightings import Notes, Sighting

ATTACH_S = 20.0  # a bearing belongs to the departure up to this long before it; guess
ATTACH_BEFORE_S = 5.0  # or this long after it; guess
_ARRIVING_S = 10.0  # a bearing this soon after a landing was read on an arriving bee
# BEEBOOK 4.2.4.1 (Human et al. 2013): read bearings on bees leaving, and wait for
# repeat visitors, since the first departures circle.


def flight_lines(
    notes: Notes,
    bee_of: Mapping[int, str],
    bee_named: Callable[[Sighting], str],
    barred: Mapping[str, tuple[Doubt, ...]],
) -> list[FlightLine]:
    """Turn bearings into flight lines, each with the bee that it was read on.

    Parameters
    ----------
    notes
        All notes; bearings that cannot be read are left out there, with the reason.
    bee_of
        Index of a sighting to the bee that it is about.
    bee_named
        The bee that a note's mark stands for where no other note tells.
    barred
        Why nothing of a station, by its id, can be used.
    """
    departures = [
        s for s in notes.sightings if s.kind is EventKind.AWAY and s.event.mark
    ]
    landings = [s for s in notes.sightings if s.kind is EventKind.BACK]
    firsts = _first_departures(departures, bee_of)
    read = [
        (s, found)
        for s in notes.sightings
        if s.kind is EventKind.BEARING
        if (found := _read_or_leave_out(s.event, notes)) is not None
    ]
    habit = _habits(read)
    lines: list[FlightLine] = []
    for sighting, one in read:
        event = sighting.event
        left = _departure_of(sighting, departures)
        doubts = [*note_doubts(sighting)]
        if left is None and _just_landed(sighting, landings):
            doubts.append(Doubt(code=DoubtCode.ARRIVING))
        if left is not None and left.index in firsts:
            doubts.append(Doubt(code=DoubtCode.FIRST_DEPARTURE))
        why_not = barred.get(sighting.station, ())
        mark = left.event.mark if left is not None else event.mark
        bee = bee_of.get(left.index, "") if left is not None else ""
        if not bee and mark and mark != UNMARKED:
            near = _bee_nearest(mark, sighting, notes.sightings, bee_of)
            bee = near or bee_named(sighting)
        is_plain = one.precision_deg == DEGREES_WIDTH_DEG
        lines.append(
            FlightLine(
                mark=mark,
                bee=bee,
                station=sighting.station,
                clock=event.clock,
                bearing_read_deg=one.deg,
                rounding_deg=(
                    habit[sighting.observer] if is_plain else one.precision_deg
                ),
                reference=one.reference,
                observer=sighting.observer,
                used=not why_not,
                doubts=tuple(dict.fromkeys([*why_not, *doubts])),
                row=event.row,
            )
        )
    return lines


def _habits(read: Sequence[tuple[Sighting, BearingCell]]) -> dict[str, float]:
    """Return to how many degrees each observer rounds, by sure plain degrees."""
    return {
        who: _habit(
            [
                one.deg
                for s, one in read
                if s.observer == who
                and one.precision_deg == DEGREES_WIDTH_DEG
                and not s.event.doubtful
            ]
        )
        for who in {s.observer for s, _ in read}
    }


def _read_or_leave_out(event: Event, notes: Notes) -> BearingCell | None:
    found = event.bearing
    if found is None:
        names = (event.value,) if event.value else ()
        notes.leave_out(event, Doubt(code=DoubtCode.NO_BEARING, names=names))
    return found


def _habit(degrees: Sequence[float]) -> float:
    """Return to how many degrees a person rounds: 10, 5 or 1, from all of them."""
    if len(degrees) < 3:
        return 1.0
    return next((w for w in (10.0, 5.0) if all(d % w == 0 for d in degrees)), 1.0)


def _first_departures(
    departures: Sequence[Sighting], bee_of: Mapping[int, str]
) -> set[int]:
    """Find each bee's first departure at each station, where later ones are noted."""
    seen: dict[tuple[str, str], int] = {}
    repeated: set[tuple[str, str]] = set()
    for sighting in departures:
        key = (sighting.station, bee_of.get(sighting.index, ""))
        if key in seen:
            repeated.add(key)
        seen.setdefault(key, sighting.index)
    return {seen[key] for key in repeated if key[1]}


def _departure_of(bearing: Sighting, departures: Sequence[Sighting]) -> Sighting | None:
    """Find the departure that a bearing was read on."""
    mark = bearing.event.mark
    best: tuple[float, Sighting] | None = None
    for sighting in departures:
        late_s = bearing.time_s - sighting.time_s
        if not _same_seat(sighting, bearing) or (mark and sighting.event.mark != mark):
            continue
        if -ATTACH_BEFORE_S <= late_s <= ATTACH_S:
            # A departure before the bearing goes before one after it.
            rank = late_s if late_s >= 0 else ATTACH_S - late_s
            if best is None or rank < best[0]:
                best = (rank, sighting)
    return best[1] if best else None


def _just_landed(bearing: Sighting, landings: Sequence[Sighting]) -> bool:
    return any(
        _same_seat(s, bearing)
        and 0 <= bearing.time_s - s.time_s <= _ARRIVING_S
        and bearing.event.mark in {"", s.event.mark}
        for s in landings
    )


def _bee_nearest(
    mark: str,
    bearing: Sighting,
    sightings: Sequence[Sighting],
    bee_of: Mapping[int, str],
) -> str:
    """Find the bee of a mark by its nearest note, for a bearing said on its own."""
    near = [
        (abs(s.time_s - bearing.time_s), index, bee_of[s.index])
        for index, s in enumerate(sightings)
        if s.event.mark == mark and s.index in bee_of and _same_seat(s, bearing)
    ]
    return min(near)[2] if near else ""


def _same_seat(one: Sighting, two: Sighting) -> bool:
    """Tell whether two notes are of one station and one observer."""
    return (one.station, one.observer) == (two.station, two.observer)


def bearing_doubts(lines: Sequence[FlightLine]) -> list[Doubt]:
    """Say of which bees the bearings fall into two bundles, as of two bees."""
    doubts: list[Doubt] = []
    bundles: dict[tuple[str, str], list[float]] = {}
    for line in lines:
        if line.bee and line.used:
            bundles.setdefault((line.bee, line.station), []).append(
                line.bearing_read_deg
            )
    for (bee, station), degrees in bundles.items():
        if len(degrees) < 4:
            continue
        ordered = sorted(degrees)
        steps = [b - a for a, b in pairwise([*ordered, ordered[0] + 360])]
        wide = sorted(range(len(steps)), key=lambda i: steps[i], reverse=True)[:2]
        first, second = min(wide), max(wide)
        sizes = (second - first, len(ordered) - (second - first))
        if min(steps[first], steps[second]) >= 60 and min(sizes) >= 2:
            doubts.append(Doubt(code=DoubtCode.TWO_DIRECTIONS, names=(bee, station)))
    return doubts


def winds(notes: Notes) -> list[Wind]:
    """Read what was said of the wind: "light", or "light 225"."""
    found: list[Wind] = []
    sure: set[date] = set()  # days on which the wind was surely told of
    for sighting in notes.sightings:
        if sighting.kind is not EventKind.WIND:
            continue
        event = sighting.event
        words = event.value.split()
        origin = read_bearing_cell(" ".join(words[1:]))
        if not words:
            notes.leave_out(event, DoubtCode.NO_WIND)
            continue
        if event.doubtful and sighting.day in sure:
            notes.leave_out(event, DoubtCode.WIND_IN_DOUBT)
            continue
        if not event.doubtful:
            sure.add(sighting.day)
        found.append(
            Wind(
                clock=event.clock,
                strength=words[0].lower(),
                from_deg=None if origin is None else origin.deg,
                reference="" if origin is None else origin.reference,
                station=sighting.station,
                row=event.row,
            )
        )
    return found
