"""Does what found hunts teach sharpen the next one, and leave it honest?

    python tests/benchmarks/survey/seasons.py --people 40 --into FILE
    python tests/benchmarks/survey/seasons.py --table FILE

Invented people, each with a compass, a dish, a habit of saying things late and a
region of their own, find five colonies in the world of `world.py` and hunt a sixth:
once in the same region, once in another with bees of its own. Both are located with the
plain prior and with the one that the five taught. A row a person is appended to FILE,
which goes on where it stops.

What stays the same from hunt to hunt, and how much does not, is a guess either way, so
there are two kinds of people: "steady", whose hunts differ little in one region, and
"changing", whose hunts differ as much as regions do.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.survey import population, score, world
from benchmarks.survey.coverage import write_section
from treeward import survey
from treeward.survey.own_prior import (
    Known,
    learned_settings,
    lesson,
    own_compass,
    own_prior,
    plain_compass_sd_deg,
)

HOME, AWAY = (52.3, -3.6), (48.0, 8.0)  # far apart; where the world's map lies is one
KINDS = {  # sd of log speed, of log in-hive time, of the compass [deg], hunt to hunt
    "steady": (0.02, 0.06, 1.0),
    "changing": (0.07, 0.20, 3.0),
}
# Without detours: with them also the plain areas miss more often than they say.
TROUBLES = world.Conditions(spread=world.FREE, lanes=True, wind=True)
FOUND = 5
TESTS = ("same region", "other region")


def conditions(
    rng: np.random.Generator,
    kind: str,
    region: dict[str, float],
    *,
    compass_deg: float,
    cargo: str,
) -> world.Conditions:
    """Return the troubles of one hunt of a person in a region."""
    of_speed, of_stay, of_compass = KINDS[kind]
    speed = region["speed"] * float(np.exp(of_speed * rng.standard_normal()))
    stay = region["stay"] * float(np.exp(of_stay * rng.standard_normal()))
    return replace(
        TROUBLES,
        speed=(speed, speed),
        stay=(stay, stay),
        compass_deg=compass_deg,
        compass_sd_deg=of_compass,
        cargo=cargo,
    )


def a_region(rng: np.random.Generator) -> dict[str, float]:
    """Draw bees as `world.py` draws them for a hunt."""
    return {
        "speed": float(rng.uniform(*world.Conditions().speed)),
        "stay": float(rng.uniform(*world.Conditions().stay)),
    }


def hunted(
    rng: np.random.Generator, c: world.Conditions, late_s: float
) -> world.WorldHunt:
    """Let a hunt happen, its returns said so much later than its departures."""
    hunt = world.invent(rng, c)
    while len(hunt.trips.away_s) < 4:  # nobody finds a colony on less
        hunt = world.invent(rng, c)
    shift = np.where(hunt.trips.round_trip, 0.0, late_s)
    away = np.maximum(hunt.trips.away_s + shift, 1.0)
    return replace(hunt, trips=replace(hunt.trips, away_s=away))


def judged(hunt: world.WorldHunt, settings: survey.Settings) -> dict[str, Any]:
    """Locate a hunt and say how it went."""
    fix = survey.locate(
        hunt.stations, hunt.trips, hunt.bearings, settings, wind=hunt.wind
    )
    lat, lon = population.place(hunt.truth_xy[0])
    first = fix.colonies[0]
    return {
        "held": [score.holds(first.search_areas[k], lat, lon) for k in (50, 90)],
        "area_ha": first.search_areas[90].area_m2 / 1e4,
        "error_m": score.off_m(first, lat, lon),
    }


def taught(
    hunt: world.WorldHunt,
    known: list[Known],
    here_deg: tuple[float, float],
) -> tuple[world.WorldHunt, survey.Settings]:
    """Return a hunt with its compass put right, and settings with the own prior."""
    plain = survey.Settings()
    prior = own_prior(known, here_deg=here_deg)
    settings = learned_settings(plain, prior, hunt.stations.cargo)
    offset_deg, sd_deg, _ = own_compass(known, "", here_deg=here_deg)
    core_deg = sd_deg / plain_compass_sd_deg() * plain.compass_sd_deg
    settings = replace(settings, compass_sd_deg=core_deg)
    bearings = hunt.bearings
    turned = (bearings.bearing_true_deg - offset_deg) % 360.0
    return replace(hunt, bearings=replace(bearings, bearing_true_deg=turned)), settings


def person(rng: np.random.Generator, kind: str) -> dict[str, Any]:
    """Let a person find colonies and hunt once more, here and elsewhere."""
    compass_deg = float(rng.normal(0.0, 3.0))
    late_s = float(rng.normal(0.0, 2.0))
    own: dict[str, Any] = {
        "compass_deg": compass_deg,
        "cargo": str(rng.choice(["water", "syrup"])),
    }
    here, there = a_region(rng), a_region(rng)
    known = []
    for _ in range(FOUND):
        hunt = hunted(rng, conditions(rng, kind, here, **own), late_s)
        learned = lesson(
            hunt.stations,
            hunt.trips,
            hunt.bearings,
            wind=hunt.wind,
            found_deg=population.place(hunt.truth_xy[0]),
        )
        known.append(Known(lesson=learned, latitude_deg=HOME[0], longitude_deg=HOME[1]))
    row: dict[str, Any] = {"kind": kind}
    for test, region, place in zip(TESTS, (here, there), (HOME, AWAY), strict=True):
        hunt = hunted(rng, conditions(rng, kind, region, **own), late_s)
        row[test] = {
            "plain": judged(hunt, survey.Settings()),
            "learned": judged(*taught(hunt, known, place)),
        }
    return row


def table(rows: list[dict[str, Any]]) -> list[str]:
    """Return coverage and area with the plain and the learned prior."""
    lines = [
        (
            "| people | sixth hunt | n | prior | 50 % area | 90 % area "
            "| median 90 % area ha | learned against plain, median ratio |"
        ),
        "|---|---|---|---|---|---|---|---|",
    ]
    for kind in KINDS:
        own = [row for row in rows if row["kind"] == kind]
        for test in TESTS if own else ():
            ratio = np.median(
                [
                    row[test]["learned"]["area_ha"] / row[test]["plain"]["area_ha"]
                    for row in own
                ]
            )
            for prior in ("plain", "learned"):
                held = np.mean([row[test][prior]["held"] for row in own], axis=0)
                cells = " | ".join(
                    f"{100 * s:.0f} ± {100 * score.error(float(s), len(own)):.0f}"
                    for s in held
                )
                area = np.median([row[test][prior]["area_ha"] for row in own])
                lines.append(
                    f"| {kind} | {test} | {len(own)} | {prior} | {cells} | {area:.1f} "
                    f"| {f'{ratio:.2f}' if prior == 'learned' else ''} |"
                )
    return [*lines, ""]


def _rows(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()]


def main() -> None:
    """Run, or write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, default=40)
    parser.add_argument("--seed", type=int, default=71)
    parser.add_argument("--only", nargs="*", default=list(KINDS))
    parser.add_argument("--into", type=Path)
    parser.add_argument("--table", type=Path)
    args = parser.parse_args()
    if args.into:
        done = {(row["kind"], row["number"]) for row in _rows(args.into)}
        with args.into.open("a", encoding="utf-8") as out:
            for number in range(args.people):
                for kind in args.only:
                    if (kind, number) in done:
                        continue
                    key = [args.seed, list(KINDS).index(kind), number]
                    row = person(np.random.default_rng(key), kind)
                    out.write(json.dumps({"number": number, **row}) + "\n")
                    out.flush()
    source = args.table or args.into
    if source is None:
        parser.error("give --into or --table")
    lines = table(_rows(source))
    print("\n".join(lines))
    if args.table:
        command = (
            f"`seasons.py --people {args.people} --seed {args.seed} --into FILE`, "
            "per cent ± standard error; what is the same from hunt to hunt is in its "
            "docstring."
        )
        title = "## After five found hunts of one person"
        write_section("seasons", [title, "", command, "", *lines])


if __name__ == "__main__":
    main()
