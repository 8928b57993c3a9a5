"""Do areas hold the colony as often as they say, and how sharp are they?

    python tests/benchmarks/survey/coverage.py --hunts 400

Draws hunts inside and outside the population, and hunts with one and two colonies;
compares with the oracles on the first --oracle of them; prints a table and writes it
to RESULTS.md beside this file (--quiet-file leaves the file alone). --only-oracle asks
the oracles alone.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.survey import oracle, population, score
from treeward import survey

SHARES = (50, 90, 95)
RESULTS = Path(__file__).with_name("RESULTS.md")


@dataclass
class Tally:
    """What a run over many hunts found."""

    held: list[tuple[bool, ...]] = field(default_factory=list)
    error_m: list[float] = field(default_factory=list)
    area_ha: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    seats: list[int] = field(default_factory=list)
    calibrated: list[bool] = field(default_factory=list)
    colonies: list[int] = field(default_factory=list)
    knowing: list[oracle.Answer] = field(default_factory=list)
    doubtful: list[oracle.Answer] = field(default_factory=list)
    truth_xy: list[population.Floats] = field(default_factory=list)  # of those asked


def run(hunts: int, drawn: population.Population, seed: int, asked: int = 0) -> Tally:
    """Locate hunts with one colony; ask the oracle about the first `asked`."""
    tally = Tally()
    for number in range(hunts):
        hunt = population.invent(np.random.default_rng([seed, number]), drawn)
        start = time.perf_counter()
        fix = survey.locate(hunt.stations, hunt.trips, hunt.bearings, hunt.settings)
        tally.seconds.append(time.perf_counter() - start)
        lat, lon = population.place(hunt.truth_xy[0])
        tally.colonies.append(len(fix.colonies))
        # A wrongly split hunt counts by its first colony, as a person would walk.
        colony = fix.colonies[0]
        tally.held.append(
            tuple(score.holds(colony.search_areas[k], lat, lon) for k in SHARES)
        )
        tally.error_m.append(score.off_m(colony, lat, lon))
        tally.area_ha.append(colony.search_areas[90].area_m2 / 1e4)
        tally.seats.append(len(hunt.stations.id) - len(hunt.settings.calibrations))
        tally.calibrated.append(bool(hunt.settings.calibrations))
        if number < asked:
            tally.knowing.append(oracle.ask(hunt, drawn))
            tally.doubtful.append(oracle.ask(hunt, drawn, doubtful=True))
            tally.truth_xy.append(hunt.truth_xy[0])
    return tally


def coverage_lines(name: str, tally: Tally) -> list[str]:
    """Return the table of how often areas held the colony."""
    held = np.array(tally.held)
    seats, calibrated = np.array(tally.seats), np.array(tally.calibrated)
    groups = [("all", np.ones(len(held), dtype=bool))]
    groups += [(f"{n} station{'s' * (n > 1)}", seats == n) for n in (1, 2, 3, 4)]
    groups += [("calibrated", calibrated), ("not calibrated", ~calibrated)]
    lines = [
        f"### {name}",
        "",
        (
            "| hunts | n | 50 % area | 90 % area | 95 % area | median error m "
            "| median 90 % area ha |"
        ),
        "|---|---|---|---|---|---|---|",
    ]
    for label, chosen in groups:
        n = int(chosen.sum())
        if not n:
            continue
        shares = held[chosen].mean(axis=0)
        cells = " | ".join(
            f"{100 * s:.1f} ± {100 * score.error(float(s), n):.1f}" for s in shares
        )
        error = np.median(np.array(tally.error_m)[chosen])
        area = np.median(np.array(tally.area_ha)[chosen])
        lines.append(f"| {label} | {n} | {cells} | {error:.0f} | {area:.2f} |")
    return [*lines, ""]


def sharpness_lines(tally: Tally, name: str) -> list[str]:
    """Return how the answers compare with the oracles' on the same hunts.

    One knows that no line deviates in these hunts, the other does not.
    """
    n = len(tally.knowing)
    if not n:
        return []
    own_m, own_ha = np.array(tally.error_m[:n]), np.array(tally.area_ha[:n])
    lines = [
        f"### Against the oracles, on {n} hunts {name}",
        "",
        (
            "| | median error m | survey's / its | median 90 % area ha "
            "| survey's / its, median hunt by hunt | 50 % area holds "
            "| 90 % area holds |"
        ),
        "|---|---|---|---|---|---|---|",
    ]
    held = np.array(tally.held[:n])[:, :2].mean(axis=0)
    shares = " | ".join(f"{100 * s:.0f} ± {100 * score.error(s, n):.0f}" for s in held)
    lines.append(
        f"| survey | {np.median(own_m):.1f} | | {np.median(own_ha):.2f} | | {shares} |"
    )
    for label, answers in (
        ("knows that no line deviates", tally.knowing),
        ("does not know it", tally.doubtful),
    ):
        error_m = np.array(
            [
                np.hypot(*(a.best_xy - truth))
                for a, truth in zip(answers, tally.truth_xy, strict=True)
            ]
        )
        area_ha = np.array([a.area_90_m2 / 1e4 for a in answers])
        held = np.mean([(a.holds_50, a.holds_90) for a in answers], axis=0)
        shares = " | ".join(
            f"{100 * s:.0f} ± {100 * score.error(s, n):.0f}" for s in held
        )
        lines.append(
            f"| {label} | {np.median(error_m):.1f} "
            f"| {np.median(own_m) / np.median(error_m):.2f} "
            f"| {np.median(area_ha):.2f} | {np.median(own_ha / area_ha):.2f} "
            f"| {shares} |"
        )
    return [*lines, ""]


def claims(seed: int, number: int) -> int:
    """Return how many colonies are claimed in a hunt with one."""
    hunt = population.invent(np.random.default_rng([seed, number]), population.INSIDE)
    fix = survey.locate(hunt.stations, hunt.trips, hunt.bearings, hunt.settings)
    return len(fix.colonies)


def colony_lines(hunts: int, seed: int, ones: Tally) -> list[str]:
    """Return how often two colonies were told apart, and claimed where there is one."""
    claimed = exact = 0
    for number in range(hunts):
        hunt = population.invent(
            np.random.default_rng([seed, number]), population.INSIDE, colonies=2
        )
        fix = survey.locate(hunt.stations, hunt.trips, hunt.bearings, hunt.settings)
        owner = dict(zip(hunt.trips.bees, hunt.colony_of_bee, strict=True))
        pure = all(len({owner[m] for m in c.marks}) == 1 for c in fix.colonies)
        claimed += len(fix.colonies) > 1
        exact += pure and len(fix.colonies) == 2
    wrong = float(np.mean(np.array(ones.colonies) > 1))
    count = len(ones.colonies)
    return [
        "### Colonies",
        "",
        (
            f"- Two colonies, directions 50 degrees or more apart, two or more bees "
            f"with four visits or more each, {hunts} hunts: more than one claimed in "
            f"{100 * claimed / hunts:.1f} %, every bee with its own in "
            f"{100 * exact / hunts:.1f} %."
        ),
        (
            f"- One colony, {count} hunts: more than one claimed in {100 * wrong:.1f} "
            f"± {100 * score.error(wrong, count):.1f} %."
        ),
        "",
    ]


def main() -> None:
    """Run all of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hunts", type=int, default=400)
    parser.add_argument("--oracle", type=int, default=200)
    parser.add_argument("--two", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--quiet-file", action="store_true")
    parser.add_argument("--only-colonies", action="store_true")
    parser.add_argument("--only-oracle", action="store_true")
    args = parser.parse_args()
    if args.only_colonies:
        tally = Tally(colonies=[claims(args.seed, n) for n in range(args.hunts)])
        lines = colony_lines(args.two, args.seed + 2, tally)
        print("\n".join(lines))
        return
    if args.only_oracle:
        tally = run(args.oracle, population.INSIDE, args.seed, args.oracle)
        lines = sharpness_lines(tally, "inside the population")
        print("\n".join(lines))
        if not args.quiet_file:
            command = (
                f"`python tests/benchmarks/survey/coverage.py --only-oracle --oracle "
                f"{args.oracle} --seed {args.seed}`; per cent ± standard error."
            )
            write_section("oracles", ["## Against oracles", "", command, "", *lines])
        return
    inside = run(args.hunts, population.INSIDE, args.seed, min(args.oracle, args.hunts))
    text = coverage_lines("Inside the population", inside)
    print("\n".join(text), flush=True)
    more = sharpness_lines(inside, "inside the population")
    print("\n".join(more), flush=True)
    free = run(args.hunts, population.FREE, args.seed, min(args.oracle, args.hunts))
    name = "with the spread of in-hive times free, 0.10 to 0.45"
    more += coverage_lines(f"Inside, {name}", free) + sharpness_lines(free, name)
    print("\n".join(more), flush=True)
    outside = run(args.hunts, population.OUTSIDE, args.seed + 1)
    last = coverage_lines(
        "Outside it: speed 0.75-0.9, in-hive 1.4-1.8, compass sd 7, 15 % strays",
        outside,
    )
    print("\n".join(last), flush=True)
    apart = colony_lines(args.two, args.seed + 2, inside) if args.two else []
    print("\n".join(apart), flush=True)
    seconds = np.array(inside.seconds)
    cost = [
        (
            f"Median {np.median(seconds):.2f} s, longest {seconds.max():.2f} s for one "
            "call of `locate` on these hunts (one core of a shared machine)."
        ),
    ]
    print("\n".join(cost))
    if not args.quiet_file:
        head = [
            "## Coverage and sharpness",
            "",
            (
                f"`python tests/benchmarks/survey/coverage.py --hunts {args.hunts} "
                f"--oracle {args.oracle} --two {args.two} --seed {args.seed}`; "
                "per cent ± standard error."
            ),
            "",
        ]
        write_section("coverage", [*head, *text, *more, *last, *apart, *cost])


def write_section(name: str, lines: list[str]) -> None:
    """Replace one section of RESULTS.md, between its markers."""
    start, end = f"<!-- {name} -->", f"<!-- end {name} -->"
    body = "\n".join([start, *lines, end])
    old = RESULTS.read_text("utf-8") if RESULTS.exists() else "# Survey benchmarks\n"
    if start in old and end in old:
        before, rest = old.split(start, 1)
        new = before + body + rest.split(end, 1)[1]
    else:
        new = old.rstrip("\n") + "\n\n" + body + "\n"
    RESULTS.write_text(new, "utf-8")


if __name__ == "__main__":
    main()
