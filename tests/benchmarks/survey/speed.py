"""What locating costs against size, in seconds and megabytes, as a table and picture.

    python tests/benchmarks/survey/speed.py

Each size runs in a process of its own, so that its peak memory is its own.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.survey.coverage import write_section
from treeward import survey

SIZES = [  # stations, bees, trips, bearings
    (1, 4, 40, 20),
    (3, 6, 100, 50),
    (5, 8, 200, 80),
    (10, 20, 600, 250),
    (20, 40, 1500, 600),
    (50, 100, 5000, 2000),
]
PICTURE = Path(__file__).with_name("speed.png")


def hunt(
    stations: int, bees: int, trips: int, bearings: int
) -> tuple[survey.Stations, survey.Trips, survey.Bearings]:
    """Return a hunt of a size: bees that visit one to three stations each."""
    rng = np.random.default_rng(stations)
    frame = survey.LocalFrame(52.3012, -3.6104)
    spots = rng.uniform(-900.0, 900.0, size=(stations, 2))
    nest = np.array([500.0, 700.0])
    seats = [
        rng.choice(stations, size=min(stations, int(rng.integers(1, 4))), replace=False)
        for _ in range(bees)
    ]
    bee = rng.integers(bees, size=trips)
    seat = np.array([rng.choice(seats[b]) for b in bee])
    stay = 120.0 * np.exp(0.2 * rng.standard_normal(bees))
    away = np.hypot(*(nest - spots).T)[seat] * 0.2872 / 0.95
    away = away * (1 + 0.05 * rng.standard_normal(trips))
    away += stay[bee] * np.exp(0.25 * rng.standard_normal(trips))
    long_ = rng.random(trips) < 0.08
    away[long_] += rng.exponential(400.0, size=int(long_.sum()))
    line_bee = rng.integers(bees, size=bearings)
    line_seat = np.array([rng.choice(seats[b]) for b in line_bee])
    turn = np.degrees(np.arctan2(*(nest - spots).T))[line_seat]
    turn = (turn + 2.0 + 8.0 * rng.standard_normal(bearings)) % 360.0
    lonlat = frame.to_lonlat(spots)
    water: survey.Cargo = "water"
    return (
        survey.Stations(
            id=tuple(str(i + 1) for i in range(stations)),
            latitude_deg=lonlat[:, 1],
            longitude_deg=lonlat[:, 0],
            cargo=(water,) * stations,
        ),
        survey.Trips(
            bees=tuple(f"bee{b}" for b in range(bees)),
            bee=bee,
            station=seat,
            away_s=np.round(np.maximum(away, 1.0)),
            round_trip=rng.random(trips) < 0.1,
            rounding_s=np.zeros(trips),
            cycles=np.ones(trips, dtype=np.intp),
        ),
        survey.Bearings(
            bee=line_bee,
            station=line_seat,
            bearing_true_deg=np.round(turn) % 360.0,
            rounding_deg=np.ones(bearings),
        ),
    )


def peak_mb() -> float:
    """Return this process's peak memory [MB]."""
    import resource

    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used / (1024.0 if sys.platform != "darwin" else 1024.0**2)


def one(size: tuple[int, int, int, int]) -> None:
    """Measure one size in this process and print it."""
    data = hunt(*size)
    survey.locate(*hunt(1, 2, 10, 5))  # imports and first calls are not the matter
    times = []
    for _ in range(1 if size[2] > 1000 else 3):
        start, busy = time.perf_counter(), time.process_time()
        fix = survey.locate(*data)
        times.append(
            (
                time.process_time() - busy,
                time.perf_counter() - start,
                peak_mb(),
                fix.colonies[0].search_areas[90].area_m2 / 1e4,
                len(fix.colonies),
            )
        )
    print(json.dumps(min(times)))


def main() -> None:
    """Run every size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--one", type=int)
    args = parser.parse_args()
    if args.one is not None:
        one(SIZES[args.one])
        return
    lines = [
        "## Speed and memory",
        "",
        (
            "`python tests/benchmarks/survey/speed.py`; seconds of processor time and "
            "of the clock on one core of a shared machine, best of three (of one above "
            "1,000 trips)."
        ),
        "",
        (
            "| stations | bees | trips | bearings | processor s | clock s | peak MB "
            "| 90 % area ha | colonies |"
        ),
        "|---|---|---|---|---|---|---|---|---|",
    ]
    points = []
    for number, size in enumerate(SIZES):
        done = subprocess.run(
            [sys.executable, __file__, "--one", str(number)],
            check=True,
            capture_output=True,
            text=True,
        )
        cpu, wall, mb, area, colonies = json.loads(done.stdout)
        points.append((size[2] + size[3], cpu, mb))
        sizes = " | ".join(f"{n:,}" for n in size)
        lines.append(
            f"| {sizes} | {cpu:.2f} | {wall:.2f} | {mb:.0f} | {area:.2f} | {colonies} |"
        )
        print(lines[-1], flush=True)
    picture(points)
    write_section("speed", [*lines, "", f"![Cost against size]({PICTURE.name})"])


def picture(points: list[tuple[int, float, float]]) -> None:
    """Draw cost against size."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    rows, seconds, megabytes = zip(*points, strict=True)
    figure, (left, right) = plt.subplots(1, 2, figsize=(8, 3), layout="constrained")
    for axis, values, label in (
        (left, seconds, "processor time [s]"),
        (right, megabytes, "peak memory [MB]"),
    ):
        axis.plot(rows, values, "o-")
        axis.set(xscale="log", xlabel="trips and bearings", ylabel=label)
        axis.grid(alpha=0.3)
    left.set_yscale("log")
    figure.savefig(PICTURE, dpi=110)


if __name__ == "__main__":
    main()
