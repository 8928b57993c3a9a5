"""Bearings to flight lines, and what was said of the wind."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.notes.events import UNMARKED, Event, EventKind

from .pairing import note_doubts
from .records import FlightLine, Wind

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from .sightings import Notes, Sighting

ATTACH_S = 20.0  # a bearing belongs to the departure up to this long before it; guess
ATTACH_BEFORE_S = 5.0  # or this long after it; guess
_ARRIVING_S = 10.0  # a bearing this soon after a landing was read on an arriving bee
_FIRST = "her first departure: bees circle before they know the way"
# BEEBOOK 4.2.4.1 (Human et al. 2013): read bearings on bees leaving, and wait for
# repeat visitors, since the first departures circle.

_SIXTEEN = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE"),
    *("S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"),
)
COMPASS_POINTS_DEG = {name: index * 22.5 for index, name in enumerate(_SIXTEEN)}
_POINT_WORDS = {"north": "N", "east": "E", "south": "S", "west": "W"}
_COMPASS_FLAG = re.compile(r"a compass word, good to about (\d+) degrees")


def read_bearing(event: Event) -> tuple[float, float] | None:
    """Read a bearing's degrees, and the width it was rounded to.

    Degrees are taken as read to one, compass words to 45 (north, north-east) or 22.5
    (north-north-east); `flight_lines` widens them where all are round numbers.
    """
    text = event.value.strip()
    letters = "".join(
        _POINT_WORDS.get(word, word.upper())
        for word in re.findall(r"north|south|east|west|[nesw]+", text.lower())
    )
    if re.fullmatch(r"[A-Za-z -]+", text) and letters in COMPASS_POINTS_DEG:
        return COMPASS_POINTS_DEG[letters], _point_width(letters)
    try:
        degrees = float(text.replace(",", ".").removesuffix("°"))
    except ValueError:
        return None
    if not math.isfinite(degrees) or not 0 <= degrees <= 360:
        return None
    for flag in event.flags:
        if match := _COMPASS_FLAG.match(flag):
            return degrees % 360, 45.0 if int(match[1]) > 15 else 22.5
    words = re.findall(r"north|south|east|west", event.heard.lower())
    if words and not re.search(r"\d", event.heard):
        return degrees % 360, _point_width("".join(_POINT_WORDS[w] for w in words))
    return degrees % 360, 1.0


def _point_width(letters: str) -> float:
    return 45.0 if len(letters) < 3 else 22.5


def flight_lines(
    notes: Notes, bee_of: Mapping[int, str], barred: Mapping[str, tuple[str, ...]]
) -> list[FlightLine]:
    """Turn bearings into flight lines, each with the bee that it was read on.

    Parameters
    ----------
    notes
        All notes; bearings that cannot be read are left out there, with the reason.
    bee_of
        `id()` of a sighting to the bee that it is about.
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
    rounding = _habit([degrees for _, (degrees, width) in read if width == 1.0])
    lines: list[FlightLine] = []
    for sighting, (degrees, width) in read:
        event = sighting.event
        left = _departure_of(sighting, departures)
        doubts = [*note_doubts(sighting)]
        if left is None and _just_landed(sighting, landings):
            doubts.append("read on an arriving bee? Only departures point home")
        if left is not None and id(left) in firsts:
            doubts.append(_FIRST)
        why_not = barred.get(sighting.station, ())
        mark = left.event.mark if left is not None else event.mark
        bee = bee_of.get(id(left), "") if left is not None else ""
        if not bee and mark and mark != UNMARKED:
            bee = _bee_named(mark, sighting, notes.sightings, bee_of)
        lines.append(
            FlightLine(
                mark=mark,
                bee=bee,
                station=sighting.station,
                clock=event.clock,
                bearing_read_deg=degrees,
                rounding_deg=rounding if width == 1.0 else width,
                used=not why_not,
                doubts=tuple(dict.fromkeys([*why_not, *doubts])),
                row=event.row,
            )
        )
    return lines


def _read_or_leave_out(event: Event, notes: Notes) -> tuple[float, float] | None:
    found = read_bearing(event)
    if found is None:
        why = (
            f"{event.value!r} is no bearing" if event.value else "no bearing was heard"
        )
        notes.leave_out(event, why)
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
        key = (sighting.station, bee_of.get(id(sighting), ""))
        if key in seen:
            repeated.add(key)
        seen.setdefault(key, id(sighting))
    return {seen[key] for key in repeated if key[1]}


def _departure_of(bearing: Sighting, departures: Sequence[Sighting]) -> Sighting | None:
    """Find the departure that a bearing was read on."""
    mark = bearing.event.mark
    best: tuple[float, Sighting] | None = None
    for sighting in departures:
        late_s = bearing.time_s - sighting.time_s
        if sighting.station != bearing.station or (
            mark and sighting.event.mark != mark
        ):
            continue
        if -ATTACH_BEFORE_S <= late_s <= ATTACH_S:
            # A departure before the bearing goes before one after it.
            rank = late_s if late_s >= 0 else ATTACH_S - late_s
            if best is None or rank < best[0]:
                best = (rank, sighting)
    return best[1] if best else None


def _just_landed(bearing: Sighting, landings: Sequence[Sighting]) -> bool:
    return any(
        s.station == bearing.station
        and 0 <= bearing.time_s - s.time_s <= _ARRIVING_S
        and bearing.event.mark in {"", s.event.mark}
        for s in landings
    )


def _bee_named(
    mark: str,
    bearing: Sighting,
    sightings: Sequence[Sighting],
    bee_of: Mapping[int, str],
) -> str:
    """Find the bee of a mark by its nearest note, for a bearing said on its own."""
    near = [
        (abs(s.time_s - bearing.time_s), index, bee_of[id(s)])
        for index, s in enumerate(sightings)
        if s.event.mark == mark and id(s) in bee_of and s.station == bearing.station
    ]
    return min(near)[2] if near else mark


def bearing_doubts(lines: Sequence[FlightLine]) -> list[str]:
    """Say of which bees the bearings fall into two bundles, as of two bees."""
    doubts: list[str] = []
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
            doubts.append(f"{bee} left station {station} in two directions: two bees?")
    return doubts


def winds(notes: Notes) -> list[Wind]:
    """Read what was said of the wind: "light", or "light 225"."""
    found: list[Wind] = []
    for sighting in notes.sightings:
        if sighting.kind is not EventKind.WIND:
            continue
        event = sighting.event
        words = event.value.split()
        from_deg: float | None = None
        if len(words) > 1:
            try:
                from_deg = float(words[-1])
            except ValueError:
                from_deg = None
            if from_deg is not None and not 0 <= from_deg <= 360:
                from_deg = None
        if not words:
            notes.leave_out(event, "nothing was said of the wind's strength")
            continue
        found.append(
            Wind(
                clock=event.clock,
                strength=words[0].lower(),
                from_deg=from_deg,
                row=event.row,
            )
        )
    return found
