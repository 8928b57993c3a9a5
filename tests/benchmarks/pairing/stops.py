"""How well away times survive a recorder that is stopped whenever nothing happens.

    PYTHONPATH=tests python tests/benchmarks/pairing/stops.py [HUNTS]

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

from simulate.example import SETTINGS
from treeward.hunt_file import parse_hunt_table
from treeward.language.kinds import EventKind
from treeward.notes.clock import RecordingFacts, place_recordings
from treeward.simulate.write import simulate_hunt
from treeward.trips import pair_trips

if TYPE_CHECKING:
    from treeward.notes.events import Event
    from treeward.simulate.world import SimulatedHunt, SimulationSettings

NEAR_S = 120.0  # a paired departure is the true one within this


def misheard(events: list[Event], rng: np.random.Generator) -> list[Event]:
    """Mishear every fifth spoken time, and hear one more for each five notes."""
    heard: list[Event] = []
    for event in events:
        wrong = f"{rng.integers(9, 14)}:{rng.integers(60):02d}"
        if event.kind is EventKind.TIME and rng.random() < 0.2:
            sure = float(rng.uniform(0.3, 0.9))
            heard.append(replace(event, value=wrong, confidence=sure))
            continue
        heard.append(event)
        if rng.random() < 0.2:
            late_s = (event.start_s or 0.0) + float(rng.uniform(2.0, 20.0))
            false = replace(event, kind=EventKind.TIME, mark="", value=wrong)
            sure = float(rng.uniform(0.2, 0.6))
            heard.append(
                replace(false, start_s=late_s, end_s=late_s + 1.0, confidence=sure)
            )
    return heard


def errors_s(
    hunt: SimulatedHunt, rng: np.random.Generator | None = None
) -> dict[float, list[float]]:
    """Return errors of the away times used, by what they claim to be rounded to."""
    batch = []
    for station in hunt.stations:
        events = [
            replace(line.event, clock=None)
            for line in hunt.script
            if line.event is not None and line.recording == station.recording
        ]
        if rng is not None:
            events = misheard(events, rng)
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
    print("recorder           rounding_s  trips  median error s  90 % s  off by > 60 s")
    everywhere = ("1", "2", "3")
    cases = (
        ("runs on", (), False),
        ("stopped", everywhere, False),
        ("runs on, misheard", (), True),
        ("stopped, misheard", everywhere, True),
    )
    for name, stops, noisy in cases:
        settings: SimulationSettings = replace(
            SETTINGS, recorder_stops=stops, watch_min_each=(), watch_min=30.0
        )
        total: dict[float, list[float]] = defaultdict(list)
        for seed in range(hunts):
            hunt = simulate_hunt(settings, seed)
            rng = np.random.default_rng(seed) if noisy else None
            for rounding_s, found in errors_s(hunt, rng).items():
                total[rounding_s] += found
        for rounding_s, found in sorted(total.items()):
            errors = np.asarray(found)
            print(
                f"{name:17}  {rounding_s:10.0f}  {errors.size:5d}"
                f"  {np.median(errors):14.1f}  {np.percentile(errors, 90):6.1f}"
                f"  {np.mean(errors > 60.0):12.3f}"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
