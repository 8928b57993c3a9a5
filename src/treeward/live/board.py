"""Who is out, for how long, and when due back: from the events so far.

A pure function of the events, the trips paired from them, and the time.
"""

from __future__ import annotations

import math
import queue
import threading
from dataclasses import dataclass, replace
from statistics import median, quantiles
from typing import TYPE_CHECKING, assert_never

from treeward.errors import TreewardError
from treeward.language.kinds import EventKind
from treeward.notes.clock_evidence import apart_s, plus
from treeward.report.flight_lines import circular_mean_deg

from .messages import BeeState, Estimate

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime

    from treeward.notes.events import Event
    from treeward.survey.records import Fix
    from treeward.trips.table import TripTable

RECENT_TRIPS = 8  # the usual away time follows the day; choice
FEW_TRIPS_SHARE = 0.25  # width of the due window either way after 1-2 trips; guess
LEAST_WINDOW_S = 20.0  # either way; notes are no finer; guess
SOON_S = 60.0  # before the due window, when "soon" is shown; choice
FORGOTTEN_S = 7200.0  # away this long, a bee is taken off the board; guess


@dataclass(slots=True)
class _Seen:
    where: str
    since: datetime
    trips: int = 0


def standing(events: Sequence[Event]) -> tuple[Event, ...]:
    """Return the events without those that "scratch that" took back."""
    kept: list[Event] = []
    for event in events:
        if event.kind is EventKind.SCRATCH:
            del kept[-1:]
        else:
            kept.append(event)
    return tuple(kept)


def board(
    events: Sequence[Event],
    usual_away_s: Mapping[str, Sequence[float]],
    now: datetime,
) -> tuple[BeeState, ...]:
    """Return one row for each mark, those due first.

    `events` stand and are in order of time; `usual_away_s` holds the timed trips of
    each mark at this station in seconds, oldest first.
    """
    seen: dict[str, _Seen] = {}
    bearings: dict[str, list[float]] = {}
    for event in events:
        if event.clock is None or not event.mark:
            continue
        mark = event.mark
        match event.kind:
            case EventKind.BACK:
                before = seen.get(mark)
                trips = before.trips if before else 0
                returned = before is not None and before.where == "away"
                seen[mark] = _Seen("here", event.clock, trips + returned)
            case EventKind.AWAY | EventKind.MISSED:
                trips = seen[mark].trips if mark in seen else 0
                if event.kind is EventKind.AWAY or mark not in seen:
                    seen[mark] = _Seen("away", event.clock, trips)
            case EventKind.MARK:
                seen.setdefault(mark, _Seen("seen", event.clock))
            case EventKind.BEARING:
                if event.bearing is not None:
                    bearings.setdefault(mark, []).append(event.bearing.deg)
            case (
                EventKind.TIME
                | EventKind.STATION
                | EventKind.DATE
                | EventKind.WIND
                | EventKind.DURATION
                | EventKind.PAUSE
                | EventKind.RESUME
                | EventKind.SCRATCH
                | EventKind.REMARK
                | EventKind.SEARCHED
                | EventKind.OVERHEAD
                | EventKind.FOUND
            ):
                pass  # says nothing of where a bee is
            case _:
                assert_never(event.kind)
    rows = [
        _row(mark, one, usual_away_s.get(mark, ()), bearings.get(mark, []), now)
        for mark, one in seen.items()
        if not (one.where == "away" and apart_s(now, one.since) > FORGOTTEN_S)
    ]
    return tuple(sorted(rows, key=_urgency))


def _row(
    mark: str,
    one: _Seen,
    away_s: Sequence[float],
    bearings: Sequence[float],
    now: datetime,
) -> BeeState:
    window = due_window(away_s)
    away_for_s = apart_s(now, one.since)
    due_from = due_until = None
    due = ""
    if window is not None and one.where == "away":
        zone = now.tzinfo or one.since.tzinfo
        assert zone is not None  # noqa: S101 (clocks are timezone-aware)
        due_from = plus(one.since, window[0], zone)
        due_until = plus(one.since, window[1], zone)
        if away_for_s > window[1]:
            due = "overdue"
        elif away_for_s >= window[0]:
            due = "due"
        elif away_for_s >= window[0] - SOON_S:
            due = "soon"
    return BeeState(
        mark=mark,
        where=one.where,
        since=one.since,
        for_s=max(0.0, away_for_s),
        trips=one.trips,
        usual_away_s=median(away_s[-RECENT_TRIPS:]) if away_s else None,
        due_from=due_from,
        due_until=due_until,
        due=due,
        bearing_deg=circular_mean_deg(bearings),
    )


def due_window(away_s: Sequence[float]) -> tuple[float, float] | None:
    """Return the seconds after leaving between which a bee is due, or None.

    The middle 80 % of her recent trips, from three on; before that the usual time
    give or take FEW_TRIPS_SHARE.
    """
    recent = list(away_s[-RECENT_TRIPS:])
    if not recent:
        return None
    middle = median(recent)
    if len(recent) >= 3:
        tenths = quantiles(recent, n=10, method="inclusive")
        low, high = tenths[0], tenths[-1]
    else:
        low, high = middle * (1 - FEW_TRIPS_SHARE), middle * (1 + FEW_TRIPS_SHARE)
    return min(low, middle - LEAST_WINDOW_S), max(high, middle + LEAST_WINDOW_S)


def away_times_s(table: TripTable, station: str) -> dict[str, list[float]]:
    """Return the used, timed, single trips of each mark at a station."""
    found: dict[str, list[float]] = {}
    for trip in table.trips:
        timed = trip.timing == "away" and not trip.stated and trip.cycles == 1
        if trip.used and timed and trip.station == station:
            found.setdefault(trip.mark, []).append(trip.away_s)
    return found


_ORDER = {"overdue": 0, "due": 1, "soon": 2}


def _urgency(bee: BeeState) -> tuple[int, int, float]:
    away_first = 0 if bee.where == "away" else 1
    return (_ORDER.get(bee.due, 3), away_first, -bee.for_s)


REPEATS = (2, 4, 8)  # times as many trips that are tried, to halve the interval


class Office:
    """Computes what the view shows of trips and distance.

    `pair` makes trips of standing notes; `locate` asks the survey core, which answers
    None where it has too little to go on.
    """

    def __init__(
        self,
        pair: Callable[[Sequence[Event]], TripTable],
        locate: Callable[[TripTable], Fix | None],
    ) -> None:
        self._pair = pair
        self._locate = locate
        self._work: queue.SimpleQueue[tuple[Sequence[Event], str] | None] = (
            queue.SimpleQueue()
        )
        self._returns = -1
        self.away_s: dict[str, list[float]] = {}
        self.estimate: Estimate | None = None
        self.fault = ""
        self._thread = threading.Thread(target=self._run, name="office", daemon=True)
        self._thread.start()

    def work_on(self, events: Sequence[Event], station: str) -> None:
        """Take the standing notes and the station watched now; returns at once."""
        self._work.put((events, station))

    def close(self) -> None:
        """Stop after what is under way."""
        self._work.put(None)
        self._thread.join(timeout=1.0)

    def _run(self) -> None:
        while (work := self._work.get()) is not None:
            if not self._work.empty():
                continue  # newer notes wait, or the end
            try:
                self._compute(*work)
                self.fault = ""
            except (TreewardError, ValueError, ArithmeticError, LookupError) as error:
                # A number that cannot be computed must never stop the listening.
                self.fault = f"no running distance: {error}"

    def _compute(self, events: Sequence[Event], station: str) -> None:
        table = self._pair(events)
        self.away_s = away_times_s(table, station)
        returns = sum(event.kind is EventKind.BACK for event in events)
        if returns == self._returns:
            return
        self._returns = returns
        # The first answer is shown before the slower question of how many more.
        fix = self._locate(table)
        first = estimate_of(fix, table, station)
        if first is None:
            return
        before = self.estimate
        self.estimate = replace(
            first, trips_to_halve=before.trips_to_halve if before else None
        )
        more = trips_to_halve(self._width_m, table, station)
        self.estimate = replace(first, trips_to_halve=more)

    def _width_m(self, table: TripTable, station: str) -> float:
        estimate = estimate_of(self._locate(table), table, station)
        if estimate is None:
            return math.inf
        return estimate.high90_m - estimate.low90_m


def estimate_of(fix: Fix | None, table: TripTable, station: str) -> Estimate | None:
    """Return what a fix says of the distance from one station, or None."""
    if fix is None:
        return None
    for colony in fix.colonies:
        if station not in colony.distance_m:
            continue
        low, middle, high = colony.distance_m[station]
        used = [t for t in table.trips if t.used and t.station == station]
        if not used:
            return None
        here = [one for one in fix.enough if one.station == station]
        full = [one.count >= one.enough for one in here]
        seat = colony.next_station if here and all(full) else None
        return Estimate(
            station=station,
            bees=len({trip.bee for trip in used}),
            trips=len(used),
            median_m=middle,
            low90_m=low,
            high90_m=high,
            trips_to_halve=None,
            enough_of=tuple(
                one.bee for one in here if one.bee and one.count >= one.enough
            ),
            bearings_enough=any(
                one.kind == "bearings" and one.count >= one.enough for one in here
            ),
            move_m=seat.walk_m if seat else None,
            move_true_deg=seat.walk_bearing_true_deg if seat else None,
        )
    return None


def trips_to_halve(
    width_m: Callable[[TripTable, str], float], table: TripTable, station: str
) -> int | None:
    """Return how many more trips like those so far would halve the interval.

    The trips of the station are counted twice, four and eight times over, and the
    survey core is asked each time: what all trips share (flight speed, time in the
    hive) does not shrink with their number, so the answer may be None: more trips
    here do not help, another bearing or station does.
    """
    count = sum(trip.used and trip.station == station for trip in table.trips)
    now_m = width_m(table, station)
    if not count or not math.isfinite(now_m):
        return None
    goal = now_m / 2
    before = (1.0, now_m)
    for repeats in REPEATS:
        more = [t for t in table.trips if t.used and t.station == station]
        repeated = replace(table, trips=(*table.trips, *more * (repeats - 1)))
        width = width_m(repeated, station)
        if width <= goal:
            share = math.log(before[1] / goal) / math.log(before[1] / width)
            needed = before[0] * float((repeats / before[0]) ** share)
            return max(1, math.ceil(count * (needed - 1)))
        before = (float(repeats), width)
    return None
