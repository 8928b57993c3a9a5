"""The answer from a part of the notes: without those in doubt, and each day alone.

How far could notes that are still to be looked at move the answer? They are gathered by
what they are about. Each lot is then taken for wrong (or, where it is not believed so
far, for right), all of it at once and, where it is small, each note by itself; and the
whole way from notes to place is gone again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import median
from typing import TYPE_CHECKING

from treeward.errors import HuntError
from treeward.language.kinds import KINDS, About
from treeward.measures import Position
from treeward.notes.flags import FlagCode
from treeward.report.flight_lines import circular_mean_deg, circular_sd_deg
from treeward.report.looking import smallest_around
from treeward.report.model import DayColony, DayResult, DayStation, DoubtfulNotes
from treeward.survey.frame import apart_m, way_between
from treeward.survey.influence import Influence, LookingInfluence, Seen
from treeward.survey.records import AreaShape
from treeward.trips import pair_trips
from treeward.trips.table import day_tables

from .locating import prepare_hunt, survey_hunt

if TYPE_CHECKING:
    from collections.abc import (
        Callable,
        Collection,
        Iterable,
        Iterator,
        Mapping,
        Sequence,
    )
    from datetime import datetime, tzinfo

    from treeward.hunt_file import HuntFile
    from treeward.notes.events import Event
    from treeward.report.model import HuntResult, SearchTold
    from treeward.survey.records import Fix
    from treeward.trips.table import TripTable

MOST_ALONE = 4  # notes of a lot that are tried one by one; each costs a survey; choice
MOST_ALONE_IN_ALL = 8  # such surveys, of a second or so each; choice
MOST_TRIPS = 1000  # with more, a survey takes many seconds: nothing is weighed; choice
# Bearings spread wider than this have no mean worth telling: two colonies, or a
# compass beside iron; guess.
SCATTERED_DEG = 30.0
# Not believed while in doubt, so that the question is what if they are right.
UNBELIEVED = frozenset(
    {
        About.STATION,
        About.PAUSE,
        About.SCRATCH,
        About.MISSED,
        About.SEARCHED,
        About.OVERHEAD,
    }
)
# They move the place by the map of what was looked at, and no trip or bearing.
_LOOKING = frozenset({About.SEARCHED, About.OVERHEAD})
# The clock of other notes hangs on them: without them it is worked out anew.
_CLOCK = frozenset({About.TIME, About.DATE})
# Flags of notes that are not in doubt themselves, but do not fit those beside them.
_UNFIT: Mapping[FlagCode, About] = {
    FlagCode.DEPARTURES_IN_A_ROW: About.ORDER,
    FlagCode.STATION_UNSAID: About.NO_STATION,
}


def gather(events: Sequence[Event]) -> tuple[DoubtfulNotes, ...]:
    """Count the notes in doubt by what they are about, of the events that count."""
    lots: dict[About, list[Event]] = {about: [] for about in About}
    for event in events:
        if event.doubtful:
            lots[KINDS[event.kind].about].append(event)
            continue
        unfit = [_UNFIT[flag.code] for flag in event.flags if flag.code in _UNFIT]
        for about in unfit[:1]:
            lots[about].append(event)
    return tuple(
        DoubtfulNotes(
            about=about,
            notes=len(lot),
            rows=tuple(event.row for event in lot),
            believed=about not in UNBELIEVED,
        )
        for about, lot in lots.items()
        if lot and about is not About.NOTHING
    )


def weigh_doubts(
    result: HuntResult,
    events: Sequence[Event],
    *,
    without: Callable[[Collection[str]], Sequence[Event]],
    looked: Callable[[Sequence[Event]], SearchTold],
    today: datetime,
) -> HuntResult:
    """Say of each lot of notes in doubt how far it could move the best place.

    `without` gives the events without some rows, the clock of the others worked out
    anew, `looked` what notes tell of looking for the tree; `today` is the date for the
    magnetic model where no note has a clock.
    """
    hunt_file, fix = result.hunt_file, result.fix
    positions = _positions(result)

    def locate(others: Sequence[Event], about: About) -> Fix | None:
        table = pair_trips(others, hunt_file)
        told = looked(others) if about in _LOOKING else result.search
        try:
            return survey_hunt(
                hunt_file,
                table,
                positions,
                today=today,
                searching=told.searching if told else None,
                onward=False,
            ).fix
        except HuntError:  # without these notes there is no answer
            return None

    lots = gather(events)
    if fix is not None and sum(trip.used for trip in result.table.trips) <= MOST_TRIPS:
        alone = 0
        weighed = []
        for lot in lots:
            singly = 1 < lot.notes <= min(MOST_ALONE, MOST_ALONE_IN_ALL - alone)
            alone += lot.notes if singly else 0
            other = _other_ways(lot, events, without, singly=singly)
            weighed.append(_weighed(lot, other, fix, locate, singly=singly))
        lots = tuple(weighed)
    return replace(result, doubtful=lots)


@dataclass(frozen=True, slots=True, kw_only=True)
class RowMove:
    """How far the best place would move if one row were wrong.

    `moves_m` is the most that leaving it out, or taking one of its other readings,
    moves the place (for a note that is not believed while in doubt: taking it for
    right). `lost` says that no place would be left. None and not lost: not worked out.
    `used_up` is of a note of looking: the chance that what it looked at takes away.
    """

    row: str
    moves_m: float | None = None
    lost: bool = False
    used_up: float | None = None


def row_moves(
    result: HuntResult,
    events: Sequence[Event],
    rows: Sequence[str],
    *,
    otherwise: Callable[[str], Iterable[Sequence[Event]]],
    looked: Callable[[Sequence[Event]], SearchTold],
    today: datetime,
) -> Iterator[RowMove]:
    """Say of single rows, in their order, how far the best place moves if wrong.

    `otherwise` gives all events as they are if a row is otherwise: each way that it may
    be. `looked` and `today` are as `weigh_doubts` has them.
    """
    if result.fix is None or len(result.table.trips) > MOST_TRIPS:
        return
    positions = _positions(result)

    def seen(others: Sequence[Event]) -> Seen:
        table = pair_trips(others, result.hunt_file)
        return prepare_hunt(result.hunt_file, table, positions, today=today).seen()

    influence = Influence(seen(events))
    looking = {e.row for e in events if KINDS[e.kind].about in _LOOKING}
    ground: LookingInfluence | None = None
    for row in rows:
        moves_m, used_up, lost = None, None, False
        for others in otherwise(row):
            try:
                moved = influence.moves_m(seen(others))
            except (HuntError, ValueError):  # no such hunt can be
                moved = None
            lost = lost or moved is None
            moves_m = max(moves_m or 0.0, moved or 0.0)
            if row in looking:
                ground = ground or LookingInfluence(
                    seen(events), looked(events).searching
                )
                look = ground.moved(looked(others).searching)
                moves_m = max(moves_m, look.moves_m)
                used_up = max(used_up or 0.0, look.used_up)
        yield RowMove(
            row=row, moves_m=None if lost else moves_m, lost=lost, used_up=used_up
        )


def ways_of(
    events: Sequence[Event], row: str, readings: Iterable[Event] = ()
) -> Iterator[Sequence[Event]]:
    """Give the events as they are if a row is wrong: without it, or read otherwise.

    A note of a kind that is not believed while in doubt is taken for right instead.
    """
    own = next((event for event in events if event.row == row), None)
    if own is None:
        return
    if own.doubtful and KINDS[own.kind].about in UNBELIEVED:
        yield [replace(e, flags=()) if e is own else e for e in events]
    else:
        yield [e for e in events if e is not own]
    for other in readings:
        yield [other if e is own else e for e in events]


def _positions(result: HuntResult) -> dict[str, tuple[Position, str]]:
    return {
        place.id: (
            Position(
                latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg
            ),
            place.placed_by,
        )
        for place in result.stations
    }


def _weighed(
    lot: DoubtfulNotes,
    other_ways: Iterator[Sequence[Event]],
    fix: Fix,
    locate: Callable[[Sequence[Event], About], Fix | None],
    *,
    singly: bool,
) -> DoubtfulNotes:
    moves_m, lost = 0.0, False
    for other in other_ways:
        found = locate(other, lot.about)
        if found is None or not found.colonies:
            lost = True
        else:
            moves_m = max(moves_m, farthest_m(fix, found))
    return replace(lot, moves_m=moves_m, lost=lost, singly=singly or lot.notes == 1)


def _other_ways(
    lot: DoubtfulNotes,
    events: Sequence[Event],
    without: Callable[[Collection[str]], Sequence[Event]],
    *,
    singly: bool,
) -> Iterator[Sequence[Event]]:
    """Give the events as they are if the lot is otherwise, all of it and singly."""
    rows = [frozenset(lot.rows)]
    if singly:
        rows += [frozenset({row}) for row in lot.rows]
    for chosen in rows:
        if lot.about in _CLOCK:
            yield without(chosen)
        elif lot.about is About.NO_STATION:  # nobody knows where its notes belong
            lost = {e.recording for e in events if e.row in chosen}
            yield [e for e in events if e.recording not in lost]
        elif lot.believed:
            yield [e for e in events if not (e.flags and e.row in chosen)]
        else:
            yield [replace(e, flags=()) if e.row in chosen else e for e in events]


def farthest_m(one: Fix, two: Fix) -> float:
    """Return how far apart two answers put any colony's best place [m].

    Each colony is compared with the nearest one of the other answer, so that one that
    the other has not counts too, whichever has it.
    """
    return max(_one_way_m(one, two), _one_way_m(two, one))


def _one_way_m(one: Fix, two: Fix) -> float:
    return max(
        min(apart_m(colony, other) for other in two.colonies) for colony in one.colonies
    )


def locate_days(
    hunt_file: HuntFile,
    table: TripTable,
    positions: Mapping[str, tuple[Position, str]],
    whole: Fix | None,
    *,
    today: datetime,
) -> tuple[DayResult, ...]:
    """Locate the colonies from each day alone.

    The trips of a calibration count on every day: what they teach about the bees is
    no day's own. The days come in their order; there is none for a hunt of one day.

    Parameters
    ----------
    whole
        What all days together give; None where they give nothing.
    today
        Date for the magnetic model where no note has a clock.
    """
    zone = hunt_file.hunt.zone
    days = days_of(table, zone)
    if len(days) < 2:
        return ()
    if whole is None:
        return days
    shared = _calibrating(hunt_file, table)
    owner = {bee: one.id for one in whole.colonies for bee in one.marks}
    parts = day_tables(table, zone)
    found = []
    for day in days:
        part = parts[day.day]
        trips = part.trips + tuple(t for t in shared.trips if t not in part.trips)
        lines = part.lines + tuple(x for x in shared.lines if x not in part.lines)
        alone = survey_hunt(
            hunt_file,
            replace(part, trips=trips, lines=lines),
            positions,
            today=today,
            assigned=owner,
            onward=False,
        ).fix
        if alone is None:
            found.append(day)
            continue
        colonies = tuple(_compared(alone, whole))
        found.append(
            replace(day, bees=alone.bees if colonies else (), colonies=colonies)
        )
    return tuple(found)


def _calibrating(hunt_file: HuntFile, table: TripTable) -> TripTable:
    """Return the trips and bearings that calibrate, of all days."""
    known = hunt_file.calibration
    if known is None:
        return replace(table, trips=(), lines=())

    def taken(station: str, mark: str) -> bool:
        return station == known.station and (not known.marks or mark in known.marks)

    return replace(
        table,
        trips=tuple(t for t in table.trips if taken(t.station, t.mark)),
        lines=tuple(x for x in table.lines if taken(x.station, x.mark)),
    )


def _compared(alone: Fix, whole: Fix) -> Iterator[DayColony]:
    for colony in alone.colonies:
        same = next((one for one in whole.colonies if one.id == colony.id), None)
        if same is None or colony.shape is AreaShape.NOTHING_MEASURED:
            continue
        off_m, azimuth_deg = way_between(same, colony)
        yield DayColony(
            colony=colony,
            holds_percent=smallest_around(
                colony, same.best_latitude_deg, same.best_longitude_deg
            ),
            off_m=off_m,
            off_bearing_true_deg=azimuth_deg,
        )


def days_of(table: TripTable, zone: tzinfo) -> tuple[DayResult, ...]:
    """Count what each day brought, station by station; no place is worked out."""
    return tuple(
        DayResult(day=day, stations=_stations(part))
        for day, part in day_tables(table, zone).items()
    )


def _stations(table: TripTable) -> tuple[DayStation, ...]:
    names = [trip.station for trip in table.trips]
    names += [line.station for line in table.lines]
    return tuple(_station(table, name) for name in dict.fromkeys(names))


def _station(table: TripTable, name: str) -> DayStation:
    trips = [trip for trip in table.trips if trip.station == name]
    lines = [x for x in table.lines if x.station == name and x.used]
    away = [t.away_s for t in trips if t.used and t.timing == "away" and t.cycles == 1]
    seen = [t.bee for t in trips] + [x.bee for x in lines if x.bee]
    return DayStation(
        station=name,
        bees=tuple(dict.fromkeys(seen)),
        trips=len(trips),
        trips_used=sum(trip.used for trip in trips),
        bearings_used=len(lines),
        median_away_s=median(away) if away else None,
        mean_bearing_read_deg=_mean_deg([x.bearing_read_deg for x in lines]),
    )


def _mean_deg(bearings_deg: list[float]) -> float | None:
    """Return the mean of bearings that lie together; None where they do not."""
    if not bearings_deg or circular_sd_deg(bearings_deg) > SCATTERED_DEG:
        return None
    return circular_mean_deg(bearings_deg)
