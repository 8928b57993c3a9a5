"""How long does it take to find the tree: by habit, by strips, by the planned walk?

    python tests/benchmarks/searching/run.py --hunts 100 --into FILE
    python tests/benchmarks/searching/run.py --table FILE
    python tests/benchmarks/searching/run.py --looking 150 --into FILE
    python tests/benchmarks/searching/run.py --drawn 20 --into FILE

Each hunt is invented in `wood.py` and begins with an hour or so at one or two dishes.
From there three people look for the tree, each with the same eyes:

habit    walks down the mean line from the last dish, looking, from 0.3 to 2.5 times the
         median of the rules of thumb and back, each time 15 m further aside.
strips   sits where Treeward advised before it planned by time (the seat that leaves the
         smallest 90 % area, while that saves more than it costs, at most three times),
         then walks the strips of the 90 % area, likeliest first, again and again.
planner  follows the plan by time: sits where and as long as it says, or walks for half
         an hour or more, then hands in the phone's track, and is told anew.

With --looking nobody sits down again: the planned walk alone is walked, and where it
has found nothing, the areas are asked whether they still hold the tree. With --drawn
the map is a normal one and trees are drawn from it, so that what the areas do then
hangs on the looking alone, whose walkers and eyes are those of `wood.py`. --sight S
gives everybody eyes that see S times as far as the plan is told.

Whoever has not found a nest after `MOST_H` hours is counted with that time. A file is
resumed. Nothing of it is a pass or fail test.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.searching import strips as before
from benchmarks.searching import wood
from benchmarks.survey import world
from benchmarks.survey.population import HOME, metres, place
from treeward import survey
from treeward.survey import answer, next_station, search_plan
from treeward.survey.case import prepare
from treeward.survey.colonies import Group
from treeward.survey.evidence import Evidence
from treeward.survey.grid import Grid
from treeward.survey.own_prior import learned_of
from treeward.survey.search import Searching, Update, Walked, updated
from treeward.survey.search_plan import Ways

MOST_H = 40.0
BOUT_S = (1800.0, 1800.0, 3600.0, 7200.0)  # between plans; the last one goes on
LOOKED_H = (1.0, 2.0, 4.0)  # after which the areas are asked, with --looking
SHARES = (0.5, 0.9, 0.95)
DRAWN = 300  # trees of a map, with --drawn
SITTINGS = 3  # of the strips' person at most
SEARCH_HA_PER_H, WALK_M_PER_H, WORTH = 1.0, 2500.0, 0.8  # by which that person decides
CONDITIONS = ("family", "station and bee deviations", "all together")
HOW = Searching()


@dataclass(frozen=True)
class Solved:
    """What a survey gives of one colony."""

    hunt: Any
    evidence: Evidence
    grid: Any
    learned: Any
    stations: survey.Stations


def solved(watch: wood.Watch) -> Solved:
    """Survey the notes so far, as of one colony."""
    notes = watch.brought_home()
    hunt = prepare(
        notes.stations, notes.trips, notes.bearings, survey.Settings(), notes.wind
    )
    every = np.ones(len(hunt.case.bearing_bee), dtype=bool)
    group = Group(id="A", bees=frozenset(hunt.bees), use_bearing=every)
    evidence, grid = answer.solve(Evidence(hunt.case, group.bees, group.use_bearing))
    return Solved(hunt, evidence, grid, learned_of(evidence, grid), notes.stations)


def in_frame(one: Solved, xy: np.ndarray) -> np.ndarray:
    """Turn metres about the first dish into the survey's frame."""
    lat, lon = zip(*(place(p) for p in np.atleast_2d(xy)), strict=True)
    return np.asarray(one.hunt.frame.to_xy(np.array(lat), np.array(lon)))


def from_frame(one: Solved, xy: np.ndarray) -> np.ndarray:
    """Turn places in the survey's frame into metres about the first dish."""
    lonlat = one.hunt.frame.to_lonlat(np.atleast_2d(xy))
    return np.array([metres(lat, lon) for lon, lat in lonlat])


def levels(grid: Any, xy: np.ndarray) -> np.ndarray:
    """Return the smallest shares whose areas hold places; 1 beyond the map."""
    order = np.argsort(-grid.probability, kind="stable")
    share = np.empty(len(order))
    share[order] = np.cumsum(grid.probability[order])
    low = grid.index.min(axis=0)
    picture = np.ones(np.ptp(grid.index, axis=0) + 1)
    picture[tuple((grid.index - low).T)] = share
    corner = grid.xy[0] - (grid.index[0] - low + 0.5) * grid.cell_m
    at = np.floor((np.atleast_2d(xy) - corner) / grid.cell_m).astype(int)
    inside = ((at >= 0) & (at < picture.shape)).all(axis=1)
    result = np.ones(len(at))
    result[inside] = picture[tuple(at[inside].T)]
    return result


def level(grid: Any, xy: np.ndarray) -> float:
    """Return the smallest share whose area holds a place; 1 beyond the map."""
    return float(levels(grid, xy)[0])


def by_habit(watch: wood.Watch, walker: wood.Walker) -> None:
    """Walk down the line, as far as a rule of thumb says, and round about it."""
    notes = watch.brought_home()
    last = len(watch.dishes) - 1
    turn = np.radians(notes.bearings.bearing_true_deg[notes.bearings.station == last])
    if not len(turn):
        turn = np.radians(notes.bearings.bearing_true_deg)
    mean = np.angle(np.exp(1j * turn).mean()) if len(turn) else 0.0
    along = np.array([np.sin(mean), np.cos(mean)])
    aside = np.array([along[1], -along[0]])
    away_s = notes.trips.away_s if len(notes.trips.away_s) else np.array([300.0])
    rules = [r.distance_m for r in survey.hand_rules(float(np.quantile(away_s, 0.1)))]
    rules = [distance for distance in rules if np.isfinite(distance)]
    far = float(np.median(rules)) if rules else 800.0
    lane = 0
    while not over(walker):
        offset = 15.0 * ((lane + 1) // 2) * (-1) ** lane
        ends = [0.3 * far, 2.5 * far][:: 1 if lane % 2 == 0 else -1]
        for n, at in enumerate(ends):
            looking = n == 1
            to = watch.dishes[-1] + at * along + offset * aside
            walker.walk(to, HOW.look_mps if looking else HOW.walk_mps, looking=looking)
            if over(walker):
                return
        lane += 1


def by_strips(watch: wood.Watch, walker: wood.Walker) -> Solved:
    """Sit while the former advice says so, then walk the former strips."""
    one = solved(watch)
    for _ in range(SITTINGS):
        seat = former_seat(one)
        if seat is None:
            break
        to = from_frame(one, seat)[0]
        walker.walk(to, HOW.walk_mps, looking=False)
        walker.clock_s += next_station.SET_UP_S + 3600.0
        if over(walker):
            return one
        watch.sit(to, 60.0)
        one = solved(watch)
    while not over(walker):
        for strip in before.search_plan(one.grid, one.hunt.frame):
            start = metres(strip.start_latitude_deg, strip.start_longitude_deg)
            end = metres(strip.end_latitude_deg, strip.end_longitude_deg)
            walker.walk(start, HOW.walk_mps, looking=False)
            walker.walk(end, HOW.look_mps, looking=True)
            if over(walker):
                break
    return one


def former_seat(one: Solved) -> np.ndarray | None:
    """Return the seat by the 90 % area, if worth an hour, as it was decided before."""
    seats = next_station._seats(one.hunt)
    if not len(seats):
        return None
    xy, probability = next_station._coarse(one.grid)
    order = np.lexsort((xy[:, 1], xy[:, 0]))
    total = np.cumsum(probability[order])
    picks = (np.arange(24) + 0.5) / 24
    truths = xy[order[np.searchsorted(total, picks * total[-1])]]
    cargo = one.stations.cargo[next_station._standing(one.hunt)[1]]
    settings = one.evidence.case.settings
    errors = next_station._session_errors(settings, one.learned, cargo, 60.0)
    left = [
        next_station._area(
            probability * next_station._told(seat, xy, truths, errors, settings)
        ).mean()
        for seat in seats
    ]
    best = int(np.argmin(left))
    share = left[best] / float(next_station._area(probability[None, :])[0])
    area_ha = next_station.area_90_m2(one.grid) / 1e4
    walk = float(np.hypot(*(seats[best] - next_station._standing(one.hunt)[0])))
    saved_h = area_ha * (1 - share) / SEARCH_HA_PER_H
    if share > WORTH or saved_h < 1.0 + walk / WALK_M_PER_H:
        return None
    return np.asarray(seats[best])


def handed_in(one: Solved, walker: wood.Walker) -> Searching:
    """Return what the phone's track tells, and where the walker stands."""
    lonlat = [one.hunt.frame.to_lonlat(in_frame(one, part)) for part in walker.track]
    return Searching(
        walked=tuple(
            Walked(
                latitude_deg=part[:, 1],
                longitude_deg=part[:, 0],
                sweep_width_m=HOW.sweep_width_m,
            )
            for part in lonlat
        ),
        start=place(walker.at),
    )


def follow(
    one: Solved, walker: wood.Walker, walk: search_plan.WalkPlan | None, bout_s: float
) -> bool:
    """Walk a plan for a while; whether there was anything to walk."""
    until, began = walker.clock_s + bout_s, walker.clock_s
    for leg in walk.legs if walk else ():
        for passed in [*leg.way, leg.start]:
            walker.walk(from_frame(one, passed)[0], HOW.walk_mps, looking=False)
        walker.walk(from_frame(one, leg.end)[0], HOW.look_mps, looking=True)
        if walker.clock_s > until or over(walker):
            break
    return walker.clock_s > began


def by_plan(watch: wood.Watch, walker: wood.Walker) -> tuple[Solved, list[float]]:
    """Follow the plan by time, told anew after each bout."""
    one = solved(watch)
    planning: list[float] = []
    bouts = 0
    while not over(walker):
        begun = time.process_time()
        told = handed_in(one, walker)
        update = updated(one.grid, one.hunt.frame, told)
        grid = update.after
        seat, sitting, _ = next_station.choose(
            one.hunt,
            one.evidence,
            grid,
            one.stations,
            one.learned,
            searching=told,
            spent=update.effort,
        )
        walk = None if seat else search_plan.walk_from(one.hunt, update, told)
        planning.append(time.process_time() - begun)
        if seat is not None and sitting is not None:
            to = metres(seat.latitude_deg, seat.longitude_deg)
            walker.walk(to, HOW.walk_mps, looking=False)
            walker.clock_s += next_station.SET_UP_S + 60.0 * sitting.minutes
            if over(walker):
                break
            watch.sit(to, sitting.minutes)
            one = solved(watch)
            continue
        bout_s = BOUT_S[min(bouts, len(BOUT_S) - 1)]
        bouts += 1
        if not follow(one, walker, walk, bout_s):
            break
    return one, planning


def promised(before: Update, after: Update) -> float:
    """Return the chance that a bout was told to have found it."""
    return (after.found_by_now - before.found_by_now) / (1.0 - before.found_by_now)


def over(walker: wood.Walker) -> bool:
    """Whether it is found, or given up."""
    return walker.found_s is not None or walker.clock_s > 3600 * MOST_H


def hours(walker: wood.Walker) -> float:
    """Return the time to a nest, at most `MOST_H`."""
    return min(MOST_H, (walker.found_s or 1e9) / 3600)


def begun(seed: int, name: str, sight: float) -> tuple[wood.Watch, wood.Walker]:
    """Let a hunt begin: the same for everybody who looks for its tree."""
    rng = np.random.default_rng([22, seed])
    country = wood.Country.grown(rng)
    watch = wood.Watch(rng, world.CONDITIONS[name], country.lived_in[0])
    watch.sit(np.zeros(2), rng.uniform(30, 70))
    if rng.random() < 0.5:
        towards = np.arctan2(*country.lived_in[0])
        towards += np.radians(rng.uniform(-80, 80))
        step = rng.uniform(150, 400)
        watch.sit(step * np.array([np.sin(towards), np.cos(towards)]), 45.0)
    return watch, wood.Walker(rng, country, watch.dishes[-1], sight)


def one_looking(seed: int, name: str, sight: float) -> dict[str, Any]:
    """Look and look, and ask the areas now and then."""
    watch, walker = begun(100_000 + seed, name, sight)
    one = solved(watch)
    tree = in_frame(one, watch.tree)[0]
    asked_at = [(0.0, level(one.grid, tree))]
    bouts: list[list[float | bool]] = []
    for hour in LOOKED_H:
        while walker.clock_s < 3600 * hour and walker.found_s is None:
            told = handed_in(one, walker)
            update = updated(one.grid, one.hunt.frame, told)
            walk = search_plan.walk_from(one.hunt, update, told)
            if not follow(one, walker, walk, 1800.0):
                break
            after = updated(one.grid, one.hunt.frame, handed_in(one, walker))
            bouts.append([promised(update, after), walker.found_s is not None])
        if walker.found_s is not None:
            break
        told = handed_in(one, walker)
        asked_at.append(
            (hour, level(updated(one.grid, one.hunt.frame, told).after, tree))
        )
    return {"seed": seed, "condition": name, "levels": asked_at, "bouts": bouts}


def one_hunt(seed: int, name: str, sight: float) -> dict[str, Any]:
    """Let three people look in the same country after the same notes."""
    watch, walker = begun(seed, name, sight)
    by_habit(watch, walker)
    habit_h = hours(walker)
    watch, walker = begun(seed, name, sight)
    start = level((first := solved(watch)).grid, in_frame(first, watch.tree)[0])
    last = by_strips(watch, walker)
    strips_h = hours(walker)
    missed = level(last.grid, in_frame(last, watch.tree)[0])
    watch, walker = begun(seed, name, sight)
    end, planning = by_plan(watch, walker)
    return {
        "seed": seed,
        "condition": name,
        "far_m": float(np.hypot(*watch.tree)),
        "level_first": start,
        "level_strips": missed,
        "level_planner": level(end.grid, in_frame(end, watch.tree)[0]),
        "habit_h": habit_h,
        "strips_h": strips_h,
        "planner_h": hours(walker),
        "planning_s": max(planning),
        "sittings": len(watch.dishes),
    }


def one_drawn(seed: int, sight: float) -> dict[str, Any]:
    """Look for trees drawn from a normal map, and ask the map now and then.

    The walk goes on as if nothing were found; each tree counts by its chance to have
    been missed so far.
    """
    rng = np.random.default_rng([23, seed])
    sd_m = rng.uniform(50.0, 120.0)
    side = np.arange(int(10 * sd_m / 6.0))
    index = np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1).reshape(-1, 2)
    xy = (index + 0.5) * 6.0 - 5 * sd_m
    chance = np.exp(-0.5 * (xy**2).sum(axis=1) / sd_m**2)
    grid = Grid(np.asarray(xy, dtype=np.float64), index, 6.0, chance / chance.sum())
    trees = rng.normal(0.0, sd_m, size=(DRAWN, 2))
    frame = survey.LocalFrame(*HOME)
    one: Any = SimpleNamespace(hunt=SimpleNamespace(frame=frame), grid=grid)
    country = wood.Country(trees, trees, rng.gamma(3.0, 1 / 3.0, DRAWN) + 0.05)
    start = np.array([2.0 * sd_m, 0.0])
    walker = wood.Walker(rng, country, start, sight, counting=True)
    ways = Ways([], [], walk_mps=HOW.walk_mps, path_mps=HOW.path_mps)
    update = updated(grid, frame, handed_in(one, walker))
    after = [asked(update, trees, walker, 0.0)]
    for hour in LOOKED_H:
        while walker.clock_s < 3600 * hour:
            walk = search_plan.plan_walk(
                update.after, HOW, start=walker.at, ways=ways, spent=update.effort
            )
            if not follow(one, walker, walk, 1800.0):
                break
            update = updated(grid, frame, handed_in(one, walker))
        after.append(asked(update, trees, walker, hour))
    return {"seed": seed, "condition": "drawn", "after": after}


def asked(
    update: Update, trees: np.ndarray, walker: wood.Walker, hour: float
) -> dict[str, Any]:
    """Say how often areas hold the trees missed so far, and what was promised."""
    missed = np.exp(-walker.seen) * np.ones(len(trees))
    inside = levels(update.after, trees)
    return {
        "hour": hour,
        "missed": float(missed.mean()),
        "promised": update.found_by_now,
        "promised_half": update.found_if_half,
        "held": [float(missed @ (inside <= s) / missed.sum()) for s in SHARES],
    }


def table(rows: list[dict[str, Any]]) -> str:
    """Return the figures as Markdown."""
    lines = [
        "| hunts | N | habit: mean, 90 % [h] | strips | planner | planner / strips |",
        "|---|---|---|---|---|---|",
    ]
    groups = [("all", rows)]
    groups += [(f"`{c}`", [r for r in rows if r["condition"] == c]) for c in CONDITIONS]
    groups += [
        ("strips' 90 % area holds it", [r for r in rows if r["level_strips"] <= 0.9]),
        ("strips' 90 % area misses", [r for r in rows if r["level_strips"] > 0.9]),
    ]
    for name, some in groups:
        if not some:
            continue
        cells = []
        for who in ("habit_h", "strips_h", "planner_h"):
            spent = np.array([r[who] for r in some])
            cells.append(f"{spent.mean():.1f}, {np.quantile(spent, 0.9):.1f}")
        strips, planner = (
            np.array([r[who] for r in some]) for who in ("strips_h", "planner_h")
        )
        rng = np.random.default_rng(1)
        drawn = rng.integers(0, len(some), (2000, len(some)))
        ratio = planner.mean() / strips.mean()
        sd = float(np.std(planner[drawn].mean(axis=1) / strips[drawn].mean(axis=1)))
        lines.append(
            f"| {name} | {len(some)} | {' | '.join(cells)} | {ratio:.2f} ± {sd:.2f} |"
        )
    slowest = max(r["planning_s"] for r in rows)
    lines += ["", f"Slowest planning of all: {slowest:.1f} s of one core."]
    return "\n".join(lines)


def looking_table(rows: list[dict[str, Any]]) -> str:
    """Return how often areas hold a tree that was not found yet, as Markdown."""
    lines = [
        "| hunts | hours looked | not found yet | in 50 % area | in 90 % | in 95 % |",
        "|---|---|---|---|---|---|",
    ]
    groups = [("all", rows)]
    groups += [(f"`{c}`", [r for r in rows if r["condition"] == c]) for c in CONDITIONS]
    for name, some in groups:
        for hour in (0.0, *LOOKED_H):
            held_by = [lev for r in some for asked, lev in r["levels"] if asked == hour]
            if held_by:
                held = [np.mean([lev <= s for lev in held_by]) for s in SHARES]
                lines.append(
                    f"| {name} | {hour:g} | {len(held_by)} | "
                    + " | ".join(f"{100 * share:.0f} %" for share in held)
                    + " |"
                )
    return "\n".join(lines)


def drawn_table(rows: list[dict[str, Any]]) -> str:
    """Return how often areas hold a tree that was missed so far, as Markdown."""
    lines = [
        (
            "| hours looked | maps | found, promised | with half the sight "
            "| found indeed | in 50 % area | in 90 % | in 95 % |"
        ),
        "|---|---|---|---|---|---|---|---|",
    ]
    for number, hour in enumerate((0.0, *LOOKED_H)):
        some = [r["after"][number] for r in rows]
        columns = [
            np.array([one["promised"] for one in some]),
            np.array([one["promised_half"] for one in some]),
            1.0 - np.array([one["missed"] for one in some]),
            *np.array([one["held"] for one in some]).T,
        ]
        cells = [
            f"{100 * c.mean():.0f} ± {100 * c.std(ddof=1) / len(c) ** 0.5:.0f} %"
            for c in columns
        ]
        lines.append(f"| {hour:g} | {len(some)} | {' | '.join(cells)} |")
    return "\n".join(lines)


def main() -> None:
    """Run hunts into a file, or print its table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--hunts", type=int, default=30)
    parser.add_argument("--looking", type=int)
    parser.add_argument("--drawn", type=int)
    parser.add_argument("--sight", type=float, default=1.0)
    parser.add_argument("--into", type=Path)
    parser.add_argument("--table", type=Path)
    given = parser.parse_args()
    if given.table:
        rows = [json.loads(x) for x in given.table.read_text("utf-8").splitlines()]
        told = {"levels": looking_table, "after": drawn_table}
        kinds = [told[key] for key in told if key in rows[0]]
        print((kinds or [table])[0](rows))
        return
    done = set()
    if given.into and given.into.exists():
        known = given.into.read_text("utf-8").splitlines()
        done = {json.loads(x)["seed"] for x in known}
    for seed in range(given.drawn or given.looking or given.hunts):
        if seed in done:
            continue
        name = CONDITIONS[seed % len(CONDITIONS)]
        if given.drawn:
            row = one_drawn(seed, given.sight)
        else:
            one = one_looking if given.looking else one_hunt
            row = one(seed, name, given.sight)
        line = json.dumps(row)
        if given.into:
            with given.into.open("a", encoding="utf-8", newline="\n") as file:
                file.write(line + "\n")
        print(line, flush=True)


if __name__ == "__main__":
    main()
