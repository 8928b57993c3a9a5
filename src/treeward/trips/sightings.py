"""Notes in order, each with its day and station: what pairing starts from."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, UNMARKED, EventKind
from treeward.notes.clock import MONTHS_APART_DAYS
from treeward.notes.clock_evidence import daylight_at
from treeward.notes.events import taken_back

from .doubts import Doubt, DoubtCode
from .table import AssumedStation, Unpaired
from .watching import Pause, StationsInForce, pauses_in, stations_in_force

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from treeward.hunt_file import HuntFile
    from treeward.notes.events import Event

DAY_STARTS = timedelta(hours=3)  # a bee's day; notes after midnight belong to it; guess
REPEAT_S = 10.0  # the same note again within this was said twice; guess


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
    stations = stations_in_force(standing, hunt_file)
    notes.doubts += stations.doubts
    notes.assumed = stations.assumed
    notes.sightings = _once_each(_sightings(standing, stations, hunt_file), notes)
    spans = [(s.event, s.time_s, s.station, s.observer) for s in notes.sightings]
    notes.pauses, doubts_of_pauses = pauses_in(spans)
    notes.doubts += doubts_of_pauses
    return notes


def _sightings(
    events: Sequence[Event], stations: StationsInForce, hunt_file: HuntFile
) -> list[Sighting]:
    zone = hunt_file.hunt.zone
    found = []
    told = zip(events, stations.of_events, strict=True)
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
    """Leave out notes that say again what was just said, by the same observer there."""
    last: dict[tuple[EventKind, str, str, str], float] = {}
    kept: list[Sighting] = []
    for sighting in sightings:
        event, now_s = sighting.event, sighting.time_s
        if event.kind not in {EventKind.BACK, EventKind.AWAY} or not event.mark:
            kept.append(sighting)
            continue
        whose = event.mark, sighting.station, sighting.observer
        before_s = last.get((event.kind, *whose))
        opposite = EventKind.AWAY if event.kind is EventKind.BACK else EventKind.BACK
        between_s = last.get((opposite, *whose))
        again = (
            before_s is not None
            and now_s - before_s <= REPEAT_S
            and (between_s is None or between_s < before_s)
        )
        if again and event.mark != UNMARKED:
            notes.leave_out(event, DoubtCode.SAID_TWICE)
            continue
        last[event.kind, *whose] = now_s
        kept.append(sighting)
    return kept
