"""How many trips are paired rightly, on invented hunts whose trips are known.

    python tests/benchmarks/pairing/run.py [HUNTS]

Prints one line for each kind of trouble. "right" is the share of the trips used that
are what they claim to be (one true trip, or as many as `cycles` says, or a round trip);
"found" is the share of the true trips with both ends noted that are used.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from treeward.hunt_file import HuntFile, parse_hunt_table
from treeward.language.kinds import EventKind
from treeward.notes.flags import Flag, FlagCode
from treeward.simulate.world import SimulatedHunt, SimulatedTrip, SimulationSettings
from treeward.simulate.write import simulate_hunt
from treeward.trips import pair_trips

if TYPE_CHECKING:
    from treeward.notes.events import Event
    from treeward.trips.table import Trip

SPOKEN_LATE_S = 15.0  # a note may be spoken this long after what it tells


@dataclass(slots=True)
class Score:
    """Counts over several hunts."""

    used: int = 0
    right: int = 0
    noted: int = 0
    found: int = 0
    seconds: float = 0.0


def hunt_file(hunt: SimulatedHunt) -> HuntFile:
    return parse_hunt_table(
        {
            "hunt": {"name": "x", "timezone": hunt.settings.timezone},
            "station": [{"id": s.id} for s in hunt.stations],
        },
        where="hunt.toml",
    )


def holds(trip: Trip, truth: list[SimulatedTrip]) -> int:
    """Return how many true trips lie within a paired one, -1 if its ends are wrong."""
    if trip.from_clock is None or trip.to_clock is None:
        return -1
    begin, end = trip.from_clock.timestamp(), trip.to_clock.timestamp()
    within = [
        t
        for t in truth
        if begin - SPOKEN_LATE_S <= t.away_clock.timestamp() <= end
        and begin <= t.back_clock.timestamp() <= end + SPOKEN_LATE_S
    ]
    if not within:
        return -1
    starts = abs(begin - min(t.away_clock.timestamp() for t in within))
    ends = abs(end - max(t.back_clock.timestamp() for t in within))
    if trip.timing == "away" and max(starts, ends) > SPOKEN_LATE_S:
        return -1
    return len(within)


def score(hunt: SimulatedHunt, events: list[Event], total: Score) -> None:
    began = time.perf_counter()
    table = pair_trips(events, hunt_file(hunt))
    total.seconds += time.perf_counter() - began
    found: set[int] = set()
    for trip in table.trips:
        if not trip.used or trip.stated:
            continue
        truth = [
            t for t in hunt.trips if t.mark == trip.mark and t.station == trip.station
        ]
        total.used += 1
        total.right += holds(trip, truth) == trip.cycles
        for t in truth:
            if trip.from_clock is None or trip.to_clock is None:
                continue
            begins = abs(trip.from_clock.timestamp() - t.away_clock.timestamp())
            ends = abs(trip.to_clock.timestamp() - t.back_clock.timestamp())
            if max(begins, ends) <= SPOKEN_LATE_S:
                found.add(id(t))
    noted = [t for t in hunt.trips if t.away_noted and t.back_noted]
    total.noted += len(noted)
    total.found += sum(id(t) in found for t in noted)


HARDLY = Flag.of(FlagCode.HARDLY_HEARD, "0.41")


def misheard(events: tuple[Event, ...], share: float, seed: int) -> list[Event]:
    """Change the mark of some landings and departures, half of them flagged."""
    rng = np.random.default_rng(seed)
    marks = sorted({e.mark for e in events if e.mark and e.mark != "unmarked"})
    changed = []
    for event in events:
        if event.kind in {EventKind.BACK, EventKind.AWAY} and rng.random() < share:
            flags = (HARDLY,) if rng.random() < 0.5 else ()
            mark = str(rng.choice(marks))
            changed.append(replace(event, mark=mark, flags=flags))
        else:
            changed.append(event)
    return changed


def one_colour(hunt: SimulatedHunt) -> SimulatedHunt:
    """Give the first two bees the same mark."""
    one, two = hunt.bees[0].mark, hunt.bees[1].mark

    def mark(old: str) -> str:
        return one if old == two else old

    return replace(
        hunt,
        trips=tuple(replace(t, mark=mark(t.mark)) for t in hunt.trips),
        events=tuple(replace(e, mark=mark(e.mark)) for e in hunt.events),
    )


def main() -> int:
    hunts = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    troubles: dict[str, SimulationSettings] = {
        "all noted": SimulationSettings(missed_share=0.0, pause_share=0.0),
        "6 % missed": SimulationSettings(),
        "20 % missed": SimulationSettings(missed_share=0.2),
        "two of a mark": SimulationSettings(missed_share=0.02, pause_share=0.0),
        "5 % misheard": SimulationSettings(),
    }
    print(f"{hunts} hunts each   used   right   noted   found   s per hunt")
    for name, settings in troubles.items():
        total = Score()
        for seed in range(hunts):
            hunt = simulate_hunt(settings, seed)
            if name == "two of a mark":
                hunt = one_colour(hunt)
            events = list(hunt.events)
            if name == "5 % misheard":
                events = misheard(hunt.events, 0.05, seed)
            score(hunt, events, total)
        print(
            f"{name:14}  {total.used:6d}  {total.right / max(1, total.used):6.3f}"
            f"  {total.noted:6d}  {total.found / max(1, total.noted):6.3f}"
            f"  {total.seconds / hunts:8.3f}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
