"""How often search areas hold the colony, from review.csv to the answer.

    python tests/benchmarks/whole_hunts/run.py [HUNTS] [--beyond]

Each hunt is drawn, written as a folder, and located
as a person would do it, pairing included. `--beyond` draws hunts outside what any
survey should expect.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from treeward.hunt.hunt import Hunt
from treeward.measures import Position
from treeward.simulate import SimulationSettings, simulate_hunt
from treeward.simulate.world import SKEW, line
from treeward.simulate.write import write_hunt

if TYPE_CHECKING:
    from treeward.survey.records import SearchArea

SHARES = (50, 90, 95)


def varying_share(spread: float) -> float:
    """Return what share of the usual in-hive time varies, for a given sd / mean.

    Of a share r, gamma-distributed with mode near one, and 1 - r that no trip falls
    under, sd / mean is r sqrt(k) / (k - 0.6) / (1 + 0.6 r / (k - 0.6)), k the shape.
    """
    width = np.sqrt(SKEW) / (SKEW - 0.6)
    return float(spread / (width - spread * 0.6 / (SKEW - 0.6)))


def draw_settings(rng: np.random.Generator) -> SimulationSettings:
    """Draw the settings of one hunt: one to four stations, two to eight bees."""
    calibration = bool(rng.random() < 0.25)  # a hive of known place is watched too
    settings = SimulationSettings(
        stations=int(rng.integers(1, 5)),
        bees=int(rng.integers(2, 9)),
        colonies=1,
        cargo="water" if rng.random() < 0.5 else "syrup",
        distance_m=(250.0, 2500.0),
        watch_min=float(rng.uniform(30.0, 75.0)),
        missed_share=float(rng.uniform(0.05, 0.07)),
        bearing_share=float(rng.uniform(0.2, 0.6)),
        calibration=calibration,
    )
    # Regular bees and irregular ones; drawn last, so that the rest of a seed stays.
    spread = float(rng.uniform(0.10, 0.45))
    return replace(settings, in_hive_varying_share=varying_share(spread))


def beyond(settings: SimulationSettings) -> SimulationSettings:
    """Return settings like these but outside what any survey should expect."""
    return replace(
        settings,
        speed_factor=(0.75, 0.9),
        in_hive_factor=(1.4, 1.8),
        compass_sd_deg=7.0,
        stray_share=0.15,
    )


def holds(area: SearchArea, place: Position) -> bool:
    """Tell whether a search area holds a place."""
    from matplotlib.path import Path as Ring

    point = (place.longitude_deg, place.latitude_deg)
    return any(
        Ring(patch.outer).contains_point(point)
        and not any(Ring(hole).contains_point(point) for hole in patch.holes)
        for patch in area.polygons
    )


def main() -> None:
    """Measure as many hunts as the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("hunts", type=int, nargs="?", default=40)
    parser.add_argument("--beyond", action="store_true")
    parser.add_argument("--seed", type=int, default=5)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    held = dict.fromkeys(SHARES, 0)
    off_m: list[float] = []
    area_ha: list[float] = []
    located = two = 0
    for seed in range(args.hunts):
        settings = draw_settings(rng)
        settings = beyond(settings) if args.beyond else settings
        with tempfile.TemporaryDirectory() as room:
            hunt = write_hunt(simulate_hunt(settings, seed), Path(room), sound=False)
            fix = Hunt(room).locate().fix
        colonies = fix.colonies if fix is not None else ()
        if not colonies:
            continue
        located += 1
        two += len(colonies) > 1
        found, home = colonies[0], hunt.colonies[0].position
        for share in SHARES:
            held[share] += holds(found.search_areas[share], home)
        best = Position(
            latitude_deg=found.best_latitude_deg, longitude_deg=found.best_longitude_deg
        )
        off_m.append(line(best, home)[1])
        area_ha.append(found.search_areas[90].area_m2 / 1e4)
    print(f"{located} of {args.hunts} hunts located, {two} said to have two colonies")
    for share, count in held.items():
        print(f"{share} % areas held the colony in {100 * count / located:.0f} %")
    print(
        f"median error {np.median(off_m):.0f} m, 90 % area {np.median(area_ha):.1f} ha"
    )


if __name__ == "__main__":
    main()
