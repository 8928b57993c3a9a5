"""Do areas hold the colony in a world that knows nothing of the survey's model?

    python tests/benchmarks/survey/conditions.py --hunts 60 --into FILE
    python tests/benchmarks/survey/conditions.py --table FILE

The first draws hunts of `world.py` under each condition in turn and appends one line
of JSON a hunt to FILE, going on where FILE stops, so that a run may be cut short. The
second writes what is in FILE to RESULTS.md beside this file (--title names the table).
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.survey import population, score, world
from benchmarks.survey.coverage import write_section
from treeward import survey
from treeward.survey import answer, case, colonies, grid

SHARES = (50, 90, 95)


def judged(hunt: world.WorldHunt) -> dict[str, Any]:
    """Locate one hunt and say how it went.

    The half of `survey.locate` that says where colonies are; the next station, the
    pictures and the advice are left out for the time they take.
    """
    begin = time.process_time()
    prepared = case.prepare(
        hunt.stations, hunt.trips, hunt.bearings, survey.Settings(), hunt.wind
    )
    if len(hunt.truth_xy) > 1:  # only told apart, not located
        return _told_apart(hunt, colonies.group_bees(prepared, hunt.trips.bees)[0])
    groups, _, _, grids = answer.solve_hunt(prepared, hunt.trips.bees)
    found = grid.search_areas(grids[0], prepared.frame)
    busy = time.process_time() - begin
    lat, lon = population.place(hunt.truth_xy[0])
    # A wrongly split hunt counts by its first colony, as a person would walk.
    best = prepared.frame.to_lonlat(grids[0].best())
    return _told_apart(hunt, groups) | {
        "held": [score.holds(found[k], lat, lon) for k in SHARES],
        "error_m": survey.geodesic(float(best[1]), float(best[0]), lat, lon)[0],
        "area_ha": found[90].area_m2 / 1e4,
        "stations": len(hunt.stations.id),
        "away_m": float(np.hypot(*hunt.truth_xy[0])),
        "busy_s": busy,
    }


def _told_apart(hunt: world.WorldHunt, groups: list[colonies.Group]) -> dict[str, Any]:
    owner = hunt.colony_of_bee
    pure = all(len({owner[bee] for bee in g.bees}) <= 1 for g in groups)
    return {
        "colonies": len(groups),
        "right": pure and len(groups) == len(hunt.truth_xy),
    }


def run(into: Path, names: list[str], hunts: int, seed: int) -> None:
    """Append hunts until each condition has its number; a few of each in turn."""
    done = {(row["condition"], row["number"]) for row in _rows(into)}
    with into.open("a", encoding="utf-8") as out:
        for number in range(hunts):
            for name in names:
                if (name, number) in done:
                    continue
                key = [seed, list(world.CONDITIONS).index(name), number]
                hunt = world.invent(np.random.default_rng(key), world.CONDITIONS[name])
                row = {"condition": name, "number": number, **judged(hunt)}
                out.write(json.dumps(row) + "\n")
                out.flush()


def table(rows: list[dict[str, Any]]) -> list[str]:
    """Return the table of coverage by condition, and how colonies were told apart."""
    by_name: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        by_name[row["condition"]].append(row)
    lines = [
        (
            "| condition | n | 50 % area | 90 % area | 95 % area | median error m "
            "| median 90 % area ha | split wrongly % | median s |"
        ),
        "|---|---|---|---|---|---|---|---|---|",
    ]
    apart = []
    for name, conditions in world.CONDITIONS.items():
        own = by_name.get(name, [])
        if not own:
            continue
        n = len(own)
        if conditions.lines_apart_deg:
            right = float(np.mean([r["right"] for r in own]))
            more = float(np.mean([r["colonies"] > 1 for r in own]))
            apart.append(
                f"- {name}: {n} hunts, more than one claimed in {100 * more:.0f} %, "
                f"every bee with its own in {100 * right:.0f} ± "
                f"{100 * score.error(right, n):.0f} %."
            )
            continue
        held = np.mean([r["held"] for r in own], axis=0)
        cells = " | ".join(
            f"{100 * s:.1f} ± {100 * score.error(float(s), n):.1f}" for s in held
        )
        error, area, busy = (
            np.median([r[key] for r in own]) for key in ("error_m", "area_ha", "busy_s")
        )
        split = 100 * np.mean([r["colonies"] > 1 for r in own])
        lines.append(
            f"| {name} | {n} | {cells} | {error:.0f} | {area:.2f} | {split:.1f} "
            f"| {busy:.2f} |"
        )
    one = [row for row in rows if "held" in row]
    held = np.mean([row["held"] for row in one], axis=0) if one else np.zeros(3)
    cells = " | ".join(
        f"{100 * s:.1f} ± {100 * score.error(float(s), len(one)):.1f}" for s in held
    )
    split = 100 * np.mean([row["colonies"] > 1 for row in one]) if one else 0.0
    lines.append(f"| all of these | {len(one)} | {cells} | | | {split:.1f} | |")
    return [*lines, "", *apart, ""]


def _rows(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()]


def main() -> None:
    """Run, or write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hunts", type=int, default=60)
    parser.add_argument("--seed", type=int, default=70)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--into", type=Path)
    parser.add_argument("--table", type=Path)
    parser.add_argument("--section", default="world")
    parser.add_argument("--title", default="In a world written apart from the model")
    parser.add_argument("--quiet-file", action="store_true")
    args = parser.parse_args()
    if args.into:
        run(args.into, args.only or list(world.CONDITIONS), args.hunts, args.seed)
    source = args.table or args.into
    if source is None:
        parser.error("give --into or --table")
    lines = table(_rows(source))
    print("\n".join(lines))
    if args.table and not args.quiet_file:
        command = (
            f"`conditions.py --hunts {args.hunts} --seed {args.seed} --into FILE`, "
            "per cent ± standard error; what is counted is in its docstring."
        )
        write_section(args.section, [f"## {args.title}", "", command, "", *lines])


if __name__ == "__main__":
    main()
