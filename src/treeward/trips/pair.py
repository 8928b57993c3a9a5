"""All events of a hunt to visits, trips and flight lines.

Trips whose length was said in words: "yellow was away five and a half minutes".
Bearings to flight lines, and what was said of the wind.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, cast

from treeward.language.bearings import DEGREES_WIDTH_DEG, read_bearing_cell
from treeward.language.kinds import UNMARKED, EventKind
from treeward.notes.flags import FlagCode

from .identity import LEAST_AWAY_S, LEAST_ROUND_S, PAIRABLE, Bees, colour_of, questions
from .pairing import LONGEST_S, Circumstances, note_doubts, pair_colour
from .sightings import (
    Notes,
    Sighting,
    dark_doubts,
    far_days,
    sort_notes,
    two_at_once,
)
from .table import Doubt, DoubtCode, FlightLine, Trip, TripTable, Visit, WindSaid

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date, datetime

    from treeward.hunt_file import HuntFile
    from treeward.language.bearings import BearingCell
    from treeward.notes.events import Event

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

    One that tells of a trip that was timed as well is not used again; those that cannot
    be read are left out of the notes. `barred` tells why nothing of a mark at a station
    can be used.
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
            same = _as_long(twin, seconds)
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
    """Find the timed trip that a stated one tells of: it ended just before.

    Written beside her leaving ("9:14 Y out, 6:45 away"), it is of the trip that began
    then, if that lasted as long.
    """
    near = [
        (abs(trip.away_s - seconds), index, trip)
        for index, trip in enumerate(timed)
        if trip.mark == sighting.event.mark
        and trip.station == sighting.station
        and trip.timing == timing
        and trip.to_clock is not None
        and (
            -10.0 <= sighting.time_s - trip.to_clock.timestamp() <= _TIMED_BEFORE_S
            or (_began(trip, sighting) and _as_long(trip, seconds))
        )
    ]
    return min(near)[2] if near else None


def _began(trip: Trip, sighting: Sighting) -> bool:
    """Tell whether a trip began when something was noted."""
    start = trip.away_clock
    return start is not None and abs(start.timestamp() - sighting.time_s) <= _SAME_S


def _as_long(trip: Trip, seconds: float) -> bool:
    return abs(trip.away_s - seconds) <= max(_SAME_S, _SAME_SHARE * seconds)


def pair_trips(events: Sequence[Event], hunt_file: HuntFile) -> TripTable:
    """Pair the notes of a hunt into visits, trips and flight lines.

    A trip runs from a bee's departure to her next landing at the same station on the
    same day. A colour used again on another day is another bee ("yellow 14 Jul"),
    and at another station perhaps another one ("yellow at 2", see `maybe_same`), unless
    hunt.toml's `same_bee` names it; "mark" in the records stays the colour.

    Parameters
    ----------
    events
        The events that count (`review.file.effective_events`), in any order.
    hunt_file
        hunt.toml: stations, zone, known hives, bees that are one on every day.

    Returns
    -------
    TripTable
        Each trip says whether it is used, and why not; every landing, departure,
        bearing, duration and missed return is somewhere in it. No event raises: what
        makes no sense is left over with its reason.
    """
    notes = sort_notes(events, hunt_file)
    for event in notes.unclocked:
        notes.leave_out(event, DoubtCode.NO_CLOCK)
    if notes.unclocked:
        count = len(notes.unclocked)
        notes.doubts.append(Doubt(code=DoubtCode.UNCLOCKED, numbers=(count,)))
    of_station = _barred_stations(notes, hunt_file)
    of_mark = _barred_marks(hunt_file)
    bees = Bees.among(notes.sightings, hunt_file)

    def barred(mark: str, station: str) -> tuple[Doubt, ...]:
        return (*of_station.get(station, ()), *of_mark.get(mark, ()))

    visits, trips, bee_of = _pair_colours(bees, notes, barred)
    _leave_out_unnamed(notes)

    def bee_named(sighting: Sighting) -> str:
        return bees.name(colour_of(sighting, hunt_file))

    trips += stated_trips(notes, trips, bee_named, barred)
    lines = flight_lines(notes, bee_of, bee_named, of_station)
    blown = winds(notes)
    notes.doubts += [*bearing_doubts(lines), *dark_doubts(notes, hunt_file)]
    notes.doubts += [*two_at_once(notes), *far_days(notes)]
    open_pairs = bees.maybe_same()
    notes.doubts += questions(open_pairs)
    return TripTable(
        visits=tuple(sorted(visits, key=lambda v: (v.back_clock.timestamp(), v.mark))),
        trips=tuple(sorted(trips, key=_trip_order)),
        lines=tuple(lines),
        winds=tuple(blown),
        doubts=tuple(dict.fromkeys(notes.doubts)),
        assumed=notes.assumed,
        maybe_same=tuple((bees.name(one), bees.name(two)) for one, two in open_pairs),
        unpaired=tuple(
            sorted(notes.unpaired, key=lambda u: (_time_s(u.clock), u.kind, u.row))
        ),
    )


def _pair_colours(
    bees: Bees, notes: Notes, barred: Callable[[str, str], tuple[Doubt, ...]]
) -> tuple[list[Visit], list[Trip], dict[int, str]]:
    """Return visits, trips, and the bee of each sighting by its index.

    What is left over goes to `notes`.
    """
    missed = _missed(notes)
    visits: list[Visit] = []
    trips: list[Trip] = []
    bee_of: dict[int, str] = {}
    heeded: set[int] = set()
    for colour, sightings in bees.groups.items():
        mark, station, observer, _ = colour
        own = [
            s
            for s in missed
            if (s.event.mark, s.station) == (mark, station)
            and observer in {"", s.observer}
        ]
        paired = pair_colour(
            sightings,
            Circumstances(
                station=station,
                pauses=tuple(
                    p
                    for p in notes.pauses
                    if p.station == station and observer in {"", p.observer}
                ),
                missed_s=tuple(s.time_s for s in own),
                barred=barred(mark, station),
            ),
            lambda number, colour=colour: bees.name(colour, number),  # type: ignore[misc]
        )
        visits += paired.visits
        trips += paired.trips
        bee_of |= paired.bee_of
        notes.doubts += paired.doubts
        for sighting, why in paired.left_over:
            notes.leave_out(sighting.event, _elsewhere(sighting, why, notes))
        heeded |= {s.index for s in own if _is_within(s, paired.trips)}
    for sighting in notes.sightings:
        if sighting.kind is EventKind.MISSED and sighting.event.mark:
            if sighting.event.doubtful:
                notes.leave_out(sighting.event, DoubtCode.MISSED_IN_DOUBT)
            elif sighting.index not in heeded:
                notes.leave_out(sighting.event, DoubtCode.NOT_KNOWN_AWAY)
    return visits, trips, bee_of


def _trip_order(trip: Trip) -> tuple[float, bool, str, str]:
    return (_time_s(trip.from_clock or trip.to_clock), trip.stated, trip.mark, trip.bee)


def _time_s(clock: datetime | None) -> float:
    return clock.timestamp() if clock is not None else 0.0


def _barred_stations(notes: Notes, hunt_file: HuntFile) -> dict[str, tuple[Doubt, ...]]:
    """Say of which stations nothing can be used, and why."""
    ids = {s.id for s in hunt_file.station}
    barred: dict[str, tuple[Doubt, ...]] = {}
    for station in {s.station for s in notes.sightings}:
        if not station:
            barred[station] = (Doubt(code=DoubtCode.STATION_UNSAID),)
        elif ids and station not in ids:
            unknown = Doubt(code=DoubtCode.STATION_UNKNOWN, names=(station,))
            barred[station] = (unknown,)
    return barred


def _barred_marks(hunt_file: HuntFile) -> dict[str, tuple[Doubt, ...]]:
    return {
        mark: (Doubt(code=DoubtCode.KNOWN_HIVE, names=(mark, hive.name)),)
        for hive in hunt_file.known_hive
        for mark in hive.marks
    }


def _missed(notes: Notes) -> list[Sighting]:
    """Return what was surely said of bees that did not come when expected."""
    return [
        s
        for s in notes.sightings
        if s.kind is EventKind.MISSED and s.event.mark and not s.event.doubtful
    ]


def _is_within(missed: Sighting, trips: Sequence[Trip]) -> bool:
    return any(
        _time_s(t.from_clock) < missed.time_s <= _time_s(t.to_clock)
        for t in trips
        if t.from_clock is not None and t.to_clock is not None
    )


def _elsewhere(sighting: Sighting, why: Doubt, notes: Notes) -> Doubt:
    """Add where the bee was seen next, if at another station."""
    if why.code is not DoubtCode.NOT_SEEN_AGAIN:
        return why
    for later in notes.sightings:
        if (
            later.time_s > sighting.time_s
            and later.kind in PAIRABLE
            and later.event.mark == sighting.event.mark
            and later.observer == sighting.observer
        ):
            if later.station != sighting.station:
                return Doubt(code=DoubtCode.NEXT_SEEN_AT, names=(later.station,))
            return Doubt(code=DoubtCode.NOT_SEEN_AGAIN_THAT_DAY)
    return why


def _leave_out_unnamed(notes: Notes) -> None:
    for sighting in notes.sightings:
        event = sighting.event
        if event.kind in {EventKind.BACK, EventKind.AWAY, EventKind.MISSED}:
            if not event.mark:
                notes.leave_out(event, DoubtCode.NO_BEE)
            elif event.mark == UNMARKED and event.kind is not EventKind.MISSED:
                notes.leave_out(event, DoubtCode.UNMARKED)


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

    Those that cannot be read are left out of the notes, with the reason. `bee_named`
    gives the bee that a note's mark stands for where no other note tells, `barred` why
    nothing of a station, by its id, can be used.
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
        if left is None and not event.mark and event.has(FlagCode.BEE_UNSAID):
            why_not = (*why_not, Doubt(code=DoubtCode.NO_BEE_FLEW))
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


def winds(notes: Notes) -> list[WindSaid]:
    """Read what was said of the wind: "light", or "light 225"."""
    found: list[WindSaid] = []
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
            WindSaid(
                clock=event.clock,
                strength=words[0].lower(),
                from_deg=None if origin is None else origin.deg,
                reference="" if origin is None else origin.reference,
                station=sighting.station,
                row=event.row,
            )
        )
    return found
