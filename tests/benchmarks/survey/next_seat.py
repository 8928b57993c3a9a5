"""Does sitting at the station advised bring the area that was promised?

    python tests/benchmarks/survey/next_seat.py --hunts 60

Draws hunts inside the population, asks where to sit next and for how long, lets three
bees be watched there for so many minutes, locates again, and compares the 90 % area
with the one promised. As long at a place as far away in a direction drawn at random
stands beside it. Prints a table and writes it to RESULTS.md (--quiet-file leaves the
file alone).
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.survey import population, score
from benchmarks.survey.coverage import write_section
from treeward import survey
from treeward.survey.next_station import SESSION_BEARINGS

BEES = 3
MISSED = 0.06


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One hunt: 90 % areas [ha] before, promised, and after sitting at a place."""

    stations: int
    before_ha: float
    promised_ha: float
    after_ha: float
    few_ha: float  # with no more bearings than the promise counts on
    elsewhere_ha: float
    held: bool  # the area after holds the colony
    bearings: int
    minutes: float  # of sitting, as advised


def watched(
    hunt: population.InventedHunt,
    seat_xy: population.Floats,
    rng: np.random.Generator,
    minutes: float,
) -> population.InventedHunt:
    """Add a sitting at a new place, with bees that were not watched before."""
    p, shifts = population.INSIDE, hunt.shifts
    notes = population.Notes()
    first, seat = len(hunt.trips.bees), len(hunt.stations.id)
    cargo = hunt.stations.cargo[0]
    way = hunt.truth_xy[0] - seat_xy
    flight_s = np.hypot(*way) * (1 / population.OUT_MPS + 1 / population.BACK_MPS)
    usual_s = flight_s / shifts["speed"] + population.UNLOAD_S[cargo] * shifts["hive"]
    rounds = int(np.clip(60 * minutes / (usual_s + population.FILL_S[cargo]), 1, 12))
    for bee in range(first, first + BEES):
        population._sit(
            rng,
            p,
            notes,
            bee=bee,
            seat=seat,
            way=way,
            manner=(
                *population._manner(rng, p, shifts["speed"], shifts["hive"]),
                shifts["by_trip"],
            ),
            cargo=cargo,
            visits=rounds + 1,
            missed=MISSED,
            lines=(shifts["offset_deg"], shifts["spread_deg"], 0.06),
        )
    names = [*hunt.trips.bees, *(f"bee{b}" for b in range(first, first + BEES))]
    new = population._trips(notes, names)
    lat, lon = population.place(seat_xy)
    old_t, old_b = hunt.trips, hunt.bearings
    return replace(
        hunt,
        stations=survey.Stations(
            id=(*hunt.stations.id, "next"),
            latitude_deg=np.append(hunt.stations.latitude_deg, lat),
            longitude_deg=np.append(hunt.stations.longitude_deg, lon),
            cargo=(*hunt.stations.cargo, cargo),
        ),
        trips=survey.Trips(
            bees=tuple(names),
            bee=np.concatenate([old_t.bee, new.bee]),
            station=np.concatenate([old_t.station, new.station]),
            away_s=np.concatenate([old_t.away_s, new.away_s]),
            round_trip=np.concatenate([old_t.round_trip, new.round_trip]),
            rounding_s=np.concatenate([old_t.rounding_s, new.rounding_s]),
            cycles=np.concatenate([old_t.cycles, new.cycles]),
        ),
        bearings=survey.Bearings(
            bee=np.concatenate([old_b.bee, np.array(notes.line_bee, dtype=np.intp)]),
            station=np.concatenate(
                [old_b.station, np.array(notes.line_station, dtype=np.intp)]
            ),
            bearing_true_deg=np.concatenate(
                [old_b.bearing_true_deg, np.array(notes.line_deg, dtype=np.float64)]
            ),
            rounding_deg=np.concatenate(
                [old_b.rounding_deg, np.array(notes.line_width, dtype=np.float64)]
            ),
            declination_sd_deg=old_b.declination_sd_deg,
        ),
    )


def counted_on(minutes: float) -> int:
    """Return how many bearings the promise counts on in so many minutes."""
    return max(1, round(SESSION_BEARINGS * minutes / 60))


def with_few_bearings(
    then: population.InventedHunt, before: population.InventedHunt, minutes: float
) -> population.InventedHunt:
    """Keep only so many bearings of the new place as the promise counts on."""
    old = len(before.bearings.bee)
    kept = slice(0, old + counted_on(minutes))
    b = then.bearings
    bearings = replace(
        b,
        bee=b.bee[kept],
        station=b.station[kept],
        bearing_true_deg=b.bearing_true_deg[kept],
        rounding_deg=b.rounding_deg[kept],
    )
    return replace(then, bearings=bearings)


def located(hunt: population.InventedHunt) -> survey.Fix:
    """Locate a hunt."""
    return survey.locate(hunt.stations, hunt.trips, hunt.bearings, hunt.settings)


def outcome(seed: int, number: int) -> Outcome | None:
    """Follow one hunt; None where no further station is advised."""
    rng = np.random.default_rng([seed, number])
    hunt = population.invent(rng, population.INSIDE)
    fix = located(hunt)
    seat = fix.colonies[0].next_station
    if seat is None or len(fix.colonies) > 1:
        return None
    seat_xy = population.metres(seat.latitude_deg, seat.longitude_deg)
    start_xy = hunt.station_xy[hunt.stations.id.index(seat.from_station)]
    turn = rng.uniform(0, 2 * np.pi)
    other_xy = start_xy + seat.walk_m * np.array([np.sin(turn), np.cos(turn)])
    then = watched(hunt, seat_xy, rng, seat.minutes)
    after = located(then)
    few = located(with_few_bearings(then, hunt, seat.minutes))
    elsewhere = located(watched(hunt, other_xy, rng, seat.minutes))
    lat, lon = population.place(hunt.truth_xy[0])
    return Outcome(
        stations=len(hunt.stations.id) - len(hunt.settings.calibrations),
        before_ha=seat.area_90_m2 / 1e4,
        promised_ha=seat.expected_area_90_m2 / 1e4,
        after_ha=after.colonies[0].search_areas[90].area_m2 / 1e4,
        few_ha=few.colonies[0].search_areas[90].area_m2 / 1e4,
        elsewhere_ha=elsewhere.colonies[0].search_areas[90].area_m2 / 1e4,
        held=score.holds(after.colonies[0].search_areas[90], lat, lon),
        bearings=len(then.bearings.bee) - len(hunt.bearings.bee),
        minutes=seat.minutes,
    )


def table(outcomes: list[Outcome], asked: int) -> list[str]:
    """Return the table."""
    lines = [
        (
            "| stations before | hunts | before ha | promised ha | after ha "
            "| after / promised: median | tenth to ninth tenth "
            "| after, bearings as promised, ha | / promised: median | elsewhere ha |"
        ),
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    groups = [("all", outcomes)]
    groups += [(f"{n}", [o for o in outcomes if o.stations == n]) for n in (1, 2, 3, 4)]
    for name, some in groups:
        if not some:
            continue
        ratio = np.array([o.after_ha / o.promised_ha for o in some])
        few = float(np.median([o.few_ha / o.promised_ha for o in some]))
        low, middle, high = np.quantile(ratio, (0.1, 0.5, 0.9))
        means = [
            np.median([getattr(o, f"{kind}_ha") for o in some])
            for kind in ("before", "promised", "after", "few", "elsewhere")
        ]
        lines.append(
            f"| {name} | {len(some)} | {means[0]:.2f} | {means[1]:.2f} "
            f"| {means[2]:.2f} | {middle:.2f} | {low:.2f} to {high:.2f} "
            f"| {means[3]:.2f} | {few:.2f} | {means[4]:.2f} |"
        )
    held = float(np.mean([o.held for o in outcomes]))
    mean_after = np.mean([o.after_ha for o in outcomes])
    mean_few = np.mean([o.few_ha for o in outcomes])
    mean_promised = np.mean([o.promised_ha for o in outcomes])
    better = float(np.mean([o.after_ha < o.elsewhere_ha for o in outcomes]))
    return [
        *lines,
        "",
        (
            f"Areas are medians. Means: promised {mean_promised:.2f} ha, after "
            f"{mean_after:.2f} ha, with bearings as promised {mean_few:.2f} ha. "
            "The 90 % area after the sitting held the colony in "
            f"{100 * held:.0f} ± {100 * score.error(held, len(outcomes)):.0f} %. The "
            f"place advised left a smaller area than one as far away in a random "
            f"direction in {100 * better:.0f} % of hunts. A sitting took "
            f"{np.mean([o.minutes for o in outcomes]):.0f} minutes and brought "
            f"{np.mean([o.bearings for o in outcomes]):.1f} bearings on average. In "
            f"{asked - len(outcomes)} of {asked} hunts no further station was advised."
        ),
        "",
    ]


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hunts", type=int, default=60)
    parser.add_argument("--seed", type=int, default=30)
    parser.add_argument("--quiet-file", action="store_true")
    arguments = parser.parse_args()
    found = [outcome(arguments.seed, number) for number in range(arguments.hunts)]
    outcomes = [one for one in found if one is not None]
    lines = table(outcomes, arguments.hunts)
    print("\n".join(lines))
    if not arguments.quiet_file:
        write(lines, arguments.hunts, arguments.seed)


def write(lines: list[str], hunts: int, seed: int) -> None:
    """Put the table into RESULTS.md, in place of an older one."""
    section = [
        "## The area promised after the next station",
        "",
        (
            f"`python tests/benchmarks/survey/next_seat.py --hunts {hunts} "
            f"--seed {seed}`: three bees not watched before, at the place advised for "
            "as many minutes as advised. The promise is a mean over where the colony "
            f"may be, and counts on {SESSION_BEARINGS} bearings an hour: most hunts "
            "come out below it, a few large ones above."
        ),
        "",
        *lines,
    ]
    write_section("next seat", section)


if __name__ == "__main__":
    main()
