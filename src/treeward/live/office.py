"""Paper work beside the listening: usual away times and the running distance.

Runs in a thread of its own, on the newest notes only: when notes come faster than it
can compute, those between are skipped.
"""

from __future__ import annotations

import math
import threading
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.errors import TreewardError
from treeward.notes.events import EventKind

from .board import away_times_s
from .messages import Estimate

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from treeward.notes.events import Event
    from treeward.survey.records import Fix
    from treeward.trips.table import TripTable

REPEATS = (2, 4, 8)  # times as many trips that are tried, to halve the interval


class Office:
    """Computes what the view shows of trips and distance.

    Parameters
    ----------
    pair
        Pairs standing notes into trips (trips.pairing).
    locate
        Asks the survey core; None where it has too little to go on.
    station
        Gives the station being watched now, "" where none was said.
    """

    def __init__(
        self,
        pair: Callable[[Sequence[Event]], TripTable],
        locate: Callable[[TripTable], Fix | None],
        station: Callable[[], str],
    ) -> None:
        self._pair = pair
        self._locate = locate
        self._station = station
        self._work: tuple[Event, ...] | None = None
        self._wake = threading.Condition()
        self._open = True
        self._returns = -1
        self.away_s: dict[str, list[float]] = {}
        self.estimate: Estimate | None = None
        self.fault = ""
        self._thread = threading.Thread(target=self._run, name="office", daemon=True)
        self._thread.start()

    def work_on(self, events: Sequence[Event]) -> None:
        """Take the standing notes; returns at once."""
        with self._wake:
            self._work = tuple(events)
            self._wake.notify()

    def close(self) -> None:
        """Stop after what is under way."""
        with self._wake:
            self._open = False
            self._wake.notify()
        self._thread.join(timeout=1.0)

    def _run(self) -> None:
        while (events := self._next()) is not None:
            try:
                self._compute(events)
                self.fault = ""
            except (TreewardError, ValueError, ArithmeticError, LookupError) as error:
                # A number that cannot be computed must never stop the listening.
                self.fault = f"no running distance: {error}"

    def _next(self) -> tuple[Event, ...] | None:
        with self._wake:
            while self._open and self._work is None:
                self._wake.wait()
            if not self._open:
                return None
            work, self._work = self._work, None
            return work

    def _compute(self, events: tuple[Event, ...]) -> None:
        table = self._pair(events)
        station = self._station()
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
        return Estimate(
            station=station,
            bees=len({trip.bee for trip in used}),
            trips=len(used),
            median_m=middle,
            low90_m=low,
            high90_m=high,
            trips_to_halve=None,
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
