"""Notes in order, each with its day and station: what pairing starts from.

Where the person sat, and when nobody was watching.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from datetime import UTC, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, UNMARKED, EventKind
from treeward.notes.clock import MONTHS_APART_DAYS
from treeward.notes.clock_evidence import daylight_at
from treeward.notes.events import taken_back

from .table import AssumedStation, Doubt, DoubtCode, Unpaired

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from treeward.hunt_file import HuntFile
    from treeward.notes.events import Event

DAY_STARTS = timedelta(hours=3)  # a bee's day; notes after midnight belong to it; guess
REPEAT_S = 10.0  # the same note again within this was said twice; guess
# Beside comings and leavings, which one may note in any order.
_TOLD_ONCE = frozenset({EventKind.BEARING, EventKind.DURATION, EventKind.OVERHEAD})


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A note with a clock, where and on which day it was spoken."""

    index: int  # its place among the notes of the hunt
    event: Event
    time_s: float  # UTC timestamp
    station: str  # "" where it is not known
    day: date
    observer: str = ""  # who spoke it, as hunt.toml says
    doubts: tuple[Doubt, ...] = ()  # about the station

    @property
    def kind(self) -> EventKind:
        """What kind of note it is."""
        return self.event.kind


@dataclass(slots=True)
class Notes:
    """All notes of a hunt, sorted out."""

    sightings: list[Sighting] = field(default_factory=list)
    unclocked: list[Event] = field(default_factory=list)
    pauses: list[Pause] = field(default_factory=list)
    unpaired: list[Unpaired] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)
    assumed: tuple[AssumedStation, ...] = ()

    def leave_out(self, event: Event, why: Doubt | DoubtCode) -> None:
        """Note that an event is not used, and why."""
        self.unpaired.append(
            Unpaired(
                kind=event.kind.value,
                mark=event.mark,
                value=event.value,
                clock=event.clock,
                why=Doubt(code=why) if isinstance(why, DoubtCode) else why,
                row=event.row,
            )
        )


def sort_notes(events: Sequence[Event], hunt_file: HuntFile) -> Notes:
    """Put notes in order, take back what was scratched, and find their stations.

    The order in which events are given does not matter; notes of the same moment are
    ordered by kind and content.
    """
    notes = Notes()
    clocked = sorted((e for e in events if e.clock is not None), key=_order)
    notes.unclocked = [e for e in events if e.clock is None]
    gone = taken_back(clocked)
    scratches = set(gone.values())
    standing: list[Event] = []
    for index, event in enumerate(clocked):
        if index in gone:
            notes.leave_out(event, DoubtCode.SCRATCHED)
        elif event.kind is EventKind.SCRATCH:
            if event.doubtful:
                notes.leave_out(event, DoubtCode.SCRATCH_IN_DOUBT)
            elif index not in scratches:
                notes.leave_out(event, DoubtCode.SCRATCHED_NOTHING)
        else:
            standing.append(event)
    if gone:
        notes.doubts.append(Doubt(code=DoubtCode.TAKEN_BACK, numbers=(len(gone),)))
    seats = _Seats(standing, hunt_file)
    stations = [seats.station_of(event) for event in standing]
    notes.assumed = seats.assumed()
    notes.doubts += _about_stations(stations, hunt_file, seats.unsaid)
    notes.doubts += seats.not_believed
    notes.doubts += [_about_assumed(one) for one in notes.assumed]
    notes.sightings = _once_each(_sightings(standing, stations, hunt_file), notes)
    notes.pauses, doubts_of_pauses = _pauses_in(notes.sightings)
    notes.doubts += doubts_of_pauses
    return notes


def _sightings(
    events: Sequence[Event],
    stations: Sequence[tuple[str, tuple[Doubt, ...]]],
    hunt_file: HuntFile,
) -> list[Sighting]:
    zone = hunt_file.hunt.zone
    found = []
    told = zip(events, stations, strict=True)
    for index, (event, (station, doubts)) in enumerate(told):
        assert event.clock is not None  # noqa: S101  (only clocked ones stand)
        local = event.clock.astimezone(zone).replace(tzinfo=None)
        found.append(
            Sighting(
                index=index,
                event=event,
                time_s=event.clock.timestamp(),
                station=station,
                day=(local - DAY_STARTS).date(),
                observer=hunt_file.observer_of(event.recording),
                doubts=doubts,
            )
        )
    return found


def far_days(notes: Notes) -> list[Doubt]:
    """Say of days that lie months apart that one of them may be wrong."""
    days = sorted({s.day for s in notes.sightings})
    return [
        Doubt(code=DoubtCode.DAYS_APART, moments=(one, two))
        for one, two in pairwise(days)
        if (two - one).days > MONTHS_APART_DAYS
    ]


def two_at_once(notes: Notes) -> list[Doubt]:
    """Say of recordings that one observer made at two stations at once.

    There are two people then, each with a compass and marks of their own.
    """
    spans: dict[tuple[str, str, str], tuple[float, float]] = {}
    for one in notes.sightings:
        if not one.event.recording or not one.station:
            continue
        key = one.event.recording, one.station, one.observer
        first_s, last_s = spans.get(key, (one.time_s, one.time_s))
        spans[key] = min(first_s, one.time_s), max(last_s, one.time_s)
    in_order = sorted(spans.items(), key=lambda item: item[1])
    found: list[Doubt] = []
    for number, ((recording, station, who), (_, last_s)) in enumerate(in_order):
        for (other, there, whose), (first_s, _) in in_order[number + 1 :]:
            if first_s >= last_s:
                break  # so are all that follow
            if who == whose and recording != other and station != there:
                names, others = (recording, other), (station, there)
                found.append(
                    Doubt(code=DoubtCode.TWO_AT_ONCE, names=names, others=others)
                )
    return found


def dark_doubts(notes: Notes, hunt_file: HuntFile) -> list[Doubt]:
    """Say how many bees were noted flying with the sun down: the clock may be wrong.

    Stations without a position in hunt.toml are taken to lie at one that has one.
    """
    places = {s.id: s.position for s in hunt_file.station if s.position is not None}
    flying = [s for s in notes.sightings if KINDS[s.kind].flying]
    if not places or not flying:
        return []
    some = next(iter(places.values()))
    sun_is_up = {
        name: daylight_at(
            latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg
        )
        for name, place in {**places, "": some}.items()
    }

    def is_dark(sighting: Sighting) -> bool:
        clock = sighting.event.clock
        is_day = sun_is_up.get(sighting.station, sun_is_up[""])
        return clock is not None and not is_day(clock)

    dark = [s for s in flying if is_dark(s)]
    if not dark:
        return []
    clock = dark[0].event.clock
    return [
        Doubt(
            code=DoubtCode.IN_THE_DARK,
            numbers=(len(dark),),
            moments=(clock,) if clock else (),
        )
    ]


def _order(event: Event) -> tuple[float, int, str, float, str, str, str]:
    assert event.clock is not None  # noqa: S101  (only clocked ones are sorted)
    return (
        event.clock.astimezone(UTC).timestamp(),
        KINDS[event.kind].rank,
        event.recording,
        event.start_s if event.start_s is not None else -1.0,
        event.mark,
        event.value,
        event.row,
    )


def _once_each(sightings: Sequence[Sighting], notes: Notes) -> list[Sighting]:
    """Leave out notes that say again what was just said, by the same observer there.

    A bee flies one way when she leaves, so the same bearing of her again is the same
    one; of a bee that was not named it is, where another recording has it at that time.
    """
    last: dict[tuple[EventKind, str, str, str], float] = {}
    told: dict[tuple[str, ...], tuple[float, str]] = {}
    kept: list[Sighting] = []
    for sighting in sightings:
        event, now_s = sighting.event, sighting.time_s
        if event.kind in _TOLD_ONCE:
            whose = sighting.station, sighting.observer
            said = event.kind, event.mark, event.value, *whose
            told_s, recording = told.get(said, (-math.inf, ""))
            told[said] = now_s, event.recording
            named = event.mark not in {"", UNMARKED}
            other = now_s == told_s and event.recording != recording
            if other or (named and now_s - told_s <= REPEAT_S):
                notes.leave_out(event, DoubtCode.SAID_TWICE)
                continue
        if event.kind not in {EventKind.BACK, EventKind.AWAY} or not event.mark:
            kept.append(sighting)
            continue
        hers = event.mark, sighting.station, sighting.observer
        before_s = last.get((event.kind, *hers))
        opposite = EventKind.AWAY if event.kind is EventKind.BACK else EventKind.BACK
        between_s = last.get((opposite, *hers))
        again = (
            before_s is not None
            and now_s - before_s <= REPEAT_S
            and (between_s is None or between_s < before_s)
        )
        if again and event.mark != UNMARKED:
            notes.leave_out(event, DoubtCode.SAID_TWICE)
            continue
        last[event.kind, *hers] = now_s
        kept.append(sighting)
    return kept


HIDES_A_VISIT_S = 30.0  # landing, loading and leaving take this long; common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """A stretch in which nobody watched a station; UTC timestamps."""

    station: str
    from_s: float
    to_s: float
    between_recordings: bool = False  # or else somebody said that nobody watched
    observer: str = ""  # who did not watch

    @property
    def hides_a_visit(self) -> bool:
        """Whether a whole visit could have gone unseen."""
        return self.to_s - self.from_s >= HIDES_A_VISIT_S


class _Seats:
    """Goes through the notes, in order of time, and keeps where each observer sits.

    In this order: the latest "station" note before it in the same recording; what
    hunt.toml says of the recording; the station in its file name
    ("2026-07-14_1020_station-1"); the first "station" note after it in the same
    recording; the hunt's only station; the latest of the same observer before it in
    any recording, which is a doubt. A "station" note that is in doubt moves nobody away
    from a station that is known.
    """

    def __init__(self, events: Sequence[Event], hunt_file: HuntFile) -> None:
        self._hunt_file = hunt_file
        self._ids = {s.id.casefold(): s.id for s in hunt_file.station}
        self._names = {s.name.casefold(): s.id for s in hunt_file.station if s.name}
        sole = hunt_file.station
        self._sole = sole[0].id if len(sole) == 1 else ""
        self._first: dict[str, str] = {}
        for event in events:
            if self._said(event) and not event.doubtful:
                self._first.setdefault(event.recording, self._known(event.value))
        self._here: dict[str, str] = {}  # recording -> station said in it
        self._in_doubt: dict[str, Doubt] = {}  # recording -> why to doubt its station
        self._latest: dict[str, tuple[str, date | None]] = {}  # by observer
        self._assumed: dict[str, list[Event]] = {}
        self._taken: dict[str, str] = {}
        self.not_believed: list[Doubt] = []
        self.unsaid = 0

    @staticmethod
    def _said(event: Event) -> bool:
        return event.kind is EventKind.STATION and bool(event.value.strip())

    def _known(self, said: str) -> str:
        plain = " ".join(said.split())
        folded = plain.casefold()
        return self._ids.get(folded) or self._names.get(folded) or plain

    def assumed(self) -> tuple[AssumedStation, ...]:
        """Return the recordings whose station nobody said."""
        return tuple(
            AssumedStation(
                recording=recording,
                station=self._taken[recording],
                notes=len(events),
                clocks=tuple(e.clock for e in events if e.clock is not None),
            )
            for recording, events in self._assumed.items()
        )

    def _move(self, event: Event) -> None:
        """Take in a "station" note."""
        recording, said = event.recording, self._known(event.value)
        rows = (event.row,) if event.row else ()
        held = self._here.get(recording) or self._known_beforehand(recording)
        if event.doubtful and held and held != said:
            self._in_doubt[recording] = Doubt(
                code=DoubtCode.STATION_NOT_BELIEVED, names=(said,), rows=rows
            )
            self.not_believed.append(
                Doubt(code=DoubtCode.STATION_HELD, names=(said, held), rows=rows)
            )
            return
        self._here[recording] = said
        if event.doubtful and held != said:
            self._in_doubt[recording] = Doubt(
                code=DoubtCode.STATION_IN_DOUBT, names=(said,), rows=rows
            )
        elif not event.doubtful:
            self._in_doubt.pop(recording, None)
            day = event.clock.date() if event.clock else None
            self._latest[self._hunt_file.observer_of(recording)] = said, day

    def _known_beforehand(self, recording: str) -> str:
        told = self._hunt_file.station_of(recording)
        return told or station_in_name(recording, self._hunt_file)

    def station_of(self, event: Event) -> tuple[str, tuple[Doubt, ...]]:
        """Return an event's station, and what is doubtful about it."""
        recording = event.recording
        if self._said(event):
            self._move(event)
        doubts: tuple[Doubt, ...] = ()
        station = self._here.get(recording) or self._known_beforehand(recording)
        if station and recording in self._in_doubt:
            doubts = (self._in_doubt[recording],)
        if not station and recording and recording in self._first:
            station = self._first[recording]
            doubts = (Doubt(code=DoubtCode.STATION_SAID_LATER),)
        if not station and self._sole:
            station = self._sole
        observer = self._hunt_file.observer_of(recording)
        if not station and observer in self._latest:
            station, day = self._latest[observer]
            assumed = Doubt(code=DoubtCode.STATION_ASSUMED, names=(recording, station))
            doubts = (assumed if recording else Doubt(code=DoubtCode.STATION_UNSAID),)
            if day != (event.clock.date() if event.clock else None):
                doubts = (*doubts, Doubt(code=DoubtCode.STATION_OTHER_DAY))
            if KINDS[event.kind].seen_here:
                self._assumed.setdefault(recording, []).append(event)
                self._taken[recording] = station
        if not station:
            self.unsaid += KINDS[event.kind].seen_here
            doubts = (Doubt(code=DoubtCode.STATION_UNSAID),)
            if KINDS[event.kind].seen_here and recording:
                self._assumed.setdefault(recording, []).append(event)
                self._taken[recording] = ""
        elif self._ids and station.casefold() not in self._ids:
            unknown = Doubt(code=DoubtCode.STATION_UNKNOWN, names=(station,))
            doubts = (*doubts, unknown)
        return station, doubts


def _about_assumed(one: AssumedStation) -> Doubt:
    if not one.station:
        code, names = DoubtCode.RECORDING_UNUSED, (one.recording,)
        return Doubt(code=code, names=names, numbers=(one.notes,))
    return Doubt(
        code=DoubtCode.RECORDING_ASSUMED,
        names=(one.recording, one.station),
        numbers=(one.notes,),
    )


def _about_stations(
    found: Sequence[tuple[str, tuple[Doubt, ...]]], hunt_file: HuntFile, unsaid: int
) -> tuple[Doubt, ...]:
    doubts: list[Doubt] = []
    if unsaid:
        doubts.append(Doubt(code=DoubtCode.NO_STATION_OF_NOTES, numbers=(unsaid,)))
    unknown = {
        station
        for station, about in found
        if station and any(d.code is DoubtCode.STATION_UNKNOWN for d in about)
    }
    ids = tuple(s.id for s in hunt_file.station)
    doubts += [
        Doubt(code=DoubtCode.STATION_NOT_LISTED, names=(station, *ids))
        for station in sorted(unknown)
    ]
    return tuple(doubts)


def station_in_name(recording: str, hunt_file: HuntFile) -> str:
    """Return the station that a recording's file name holds, "" if none."""
    for match in re.finditer(r"(?i)station[-_ ]*([^-_ .]+)", recording):
        for station in hunt_file.station:
            if station.id.casefold() == match[1].casefold():
                return station.id
    return ""


def _pauses_in(sightings: Sequence[Sighting]) -> tuple[list[Pause], list[Doubt]]:
    """Find when nobody was watching: said so, or between two recordings.

    A pause that nobody ended lasts until the next bee is spoken of at that station by
    the same observer. A pause that is in doubt is none.

    Returns
    -------
    tuple
        The pauses, and doubts about them.
    """
    pauses: list[Pause] = []
    doubts: list[Doubt] = []
    since: dict[tuple[str, str], float] = {}
    for sighting in sightings:
        event, kind = sighting.event, sighting.kind
        seat = sighting.station, sighting.observer
        moments = (event.clock,) if event.clock else ()
        if kind in {EventKind.PAUSE, EventKind.RESUME} and event.doubtful:
            doubts.append(
                Doubt(
                    code=DoubtCode.PAUSE_NOT_BELIEVED,
                    names=(kind.value,),
                    rows=(event.row,) if event.row else (),
                    moments=moments,
                )
            )
        elif kind is EventKind.PAUSE:
            since.setdefault(seat, sighting.time_s)
        elif seat in since and (kind is EventKind.RESUME or KINDS[kind].seen_here):
            if event.doubtful:
                continue  # it may not have been said at all
            pauses.append(
                Pause(
                    station=sighting.station,
                    from_s=since.pop(seat),
                    to_s=sighting.time_s,
                    observer=sighting.observer,
                )
            )
            if kind is not EventKind.RESUME:
                doubts.append(Doubt(code=DoubtCode.PAUSE_UNENDED, moments=moments))
    return pauses + _between_recordings(sightings), doubts


def _between_recordings(sightings: Sequence[Sighting]) -> list[Pause]:
    """Find the gaps between recordings of a station, from their first to last note."""
    spans: dict[tuple[str, str], dict[str, tuple[float, float]]] = {}
    for sighting in sightings:
        recording, time_s = sighting.event.recording, sighting.time_s
        if recording:
            of_station = spans.setdefault((sighting.station, sighting.observer), {})
            first_s, _ = of_station.get(recording, (time_s, time_s))
            of_station[recording] = (first_s, time_s)
    gaps: list[Pause] = []
    for (station, observer), of_station in spans.items():
        reached_s: float | None = None
        for first_s, last_s in sorted(of_station.values()):
            if reached_s is not None and first_s > reached_s:
                gaps.append(
                    Pause(
                        station=station,
                        from_s=reached_s,
                        to_s=first_s,
                        between_recordings=True,
                        observer=observer,
                    )
                )
            reached_s = max(last_s, reached_s if reached_s is not None else last_s)
    return gaps
