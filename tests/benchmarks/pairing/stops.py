"""How well away times survive a recorder that is stopped whenever nothing happens.

    python tests/benchmarks/pairing/stops.py [HUNTS]

Invented hunts without and with stops: notes go from seconds of sound through the clock
into trips, whose away times are compared with the true ones. `rounding_s` is what the
trips claim: 0 for a plain one, 60 for one over a stop.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from treeward.hunt_file import parse_hunt_table
from treeward.notes.clock import RecordingFacts, place_recordings
from treeward.simulate.example import SETTINGS
from treeward.simulate.hunting import simulate_hunt
from treeward.trips import pair_trips

if TYPE_CHECKING:
    from treeward.simulate.records import SimulatedHunt, SimulationSettings

NEAR_S = 120.0  # a paired departure is the true one within this


def errors_s(hunt: SimulatedHunt) -> dict[float, list[float]]:
    """Return errors of the away times used, by what they claim to be rounded to."""
    batch = []
    for station in hunt.stations:
        events = [
            replace(line.event, clock=None)
            for line in hunt.script
            if line.event is not None and line.recording == station.recording
        ]
        length_s = max((e.end_s or 0.0 for e in events), default=0.0) + 5.0
        facts = RecordingFacts(name=station.recording, duration_s=length_s)
        batch.append((facts, events))
    table = {
        "hunt": {"name": "x", "timezone": hunt.settings.timezone},
        "station": [{"id": s.id} for s in hunt.stations],
    }
    hunt_file = parse_hunt_table(table, where="hunt.toml")
    placed = place_recordings(batch, hunt_file.hunt.zone)
    trips = pair_trips([e for r in placed for e in r.events], hunt_file).trips
    found: dict[float, list[float]] = defaultdict(list)
    for trip in trips:
        if not trip.used or trip.timing != "away" or trip.cycles != 1:
            continue
        begin_s = trip.from_clock.timestamp() if trip.from_clock else 0.0
        true_s = [
            (t.back_clock - t.away_clock).total_seconds()
            for t in hunt.trips
            if (t.mark, t.station) == (trip.mark, trip.station)
            and abs(t.away_clock.timestamp() - begin_s) < NEAR_S
        ]
        error_s = min((abs(trip.away_s - t) for t in true_s), default=float("inf"))
        found[trip.rounding_s].append(error_s)
    return found


def main() -> int:
    hunts = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print("recorder  rounding_s  trips  median error s  90 % s  off by > 60 s")
    for name, stops in (("runs on", ()), ("stopped", ("1", "2", "3"))):
        settings: SimulationSettings = replace(
            SETTINGS, recorder_stops=stops, watch_min_each=(), watch_min=30.0
        )
        total: dict[float, list[float]] = defaultdict(list)
        for seed in range(hunts):
            for rounding_s, found in errors_s(simulate_hunt(settings, seed)).items():
                total[rounding_s] += found
        for rounding_s, found in sorted(total.items()):
            errors = np.asarray(found)
            print(
                f"{name:8}  {rounding_s:10.0f}  {errors.size:5d}"
                f"  {np.median(errors):14.1f}  {np.percentile(errors, 90):6.1f}"
                f"  {np.mean(errors > 60.0):12.3f}"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
