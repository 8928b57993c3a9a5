"""Hunts that somebody else made to write outside themselves, drawn at random.

Each has one to three links (to a file, a folder, nothing, itself, a chain of links, or
a file shared by a hard link) where Treeward writes, replaces, joins or removes, and
perhaps what a killed command would have left, finds with photos, and a map and a season
that hunt.toml names. Every command that writes or lists is run on it;
outside, nothing may be another byte or another name. PYTHONPATH=tests python -m
benchmarks.faults.hostile --count 1000
"""

from __future__ import annotations

import argparse
import json
import os
import random
import tempfile
import time
from collections import Counter
from pathlib import Path

from benchmarks.faults import record
from faults import test_links as hostile
from treeward import within
from treeward.report import writing

AIMS = ("", "deep", "deep/in", ".profile", "report.html", "a.flac", "nowhere", "x/y")
SHAPES = ("link", "link", "link", "relative", "chain", "itself", "hard link")
GROUND = '{"type": "Point", "coordinates": [-3.61, 52.3]}'
PLACES = sorted({place for place, _ in hostile.LINKS})


def put(folder: Path, place: str, home: Path, draw: random.Random) -> str:
    """Put something hostile at a place of the hunt; return what it is."""
    shape = draw.choice(SHAPES)
    aim = home / draw.choice(AIMS)
    path = folder / place
    if shape == "hard link":
        if not aim.is_file():
            aim = home / ".profile"
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_dir() and not path.is_symlink():
            return ""
        path.unlink(missing_ok=True)
        path.hardlink_to(aim)
        return shape
    if shape == "relative":
        aim = Path(os.path.relpath(aim, path.parent))
    elif shape == "itself":
        aim = Path(path.name)
    elif shape == "chain":
        step = folder / f"step-{draw.randrange(10**6)}"
        step.symlink_to(aim)
        aim = step
    hostile.put_link(folder, place, aim)
    return shape


def one(seed: int) -> tuple[str, str]:
    """Make one hostile hunt and work on it; return what came of it, and its shapes."""
    draw = random.Random(seed)  # noqa: S311 (for attacks to be made again)
    within.BY_DESCRIPTOR = bool(seed % 4)  # a quarter as where there are none
    with tempfile.TemporaryDirectory() as root:
        home = hostile.outside(Path(root))
        folder = hostile.hunt_in(Path(root))
        shapes = []
        if draw.random() < 0.5:
            (folder / "found.toml").write_text(hostile.FOUND, "utf-8")
        if draw.random() < 0.2:
            (folder / "hunt.toml").write_text(hostile.WITH_MAP, "utf-8")
            (folder / "season.json").write_text("{}", "utf-8")
            (folder / "ground.geojson").write_text(GROUND, "utf-8")
        for place in draw.sample(PLACES, draw.choice((1, 1, 2, 3))):
            try:
                shapes.append(put(folder, place, home, draw))
            except OSError:
                continue  # a link before it stands in its way
        if draw.random() < 0.3:
            left = folder / f".treeward-docs-{draw.randrange(10**6)}"
            left.mkdir()
            said = draw.choice(hostile.LEFTOVERS)
            (left / "complete.json").write_text(json.dumps(said), "utf-8")
            (left / ".profile").write_bytes(b"echo theirs\n")
            (folder / "docs").symlink_to(home)
        before = hostile.seen(home)
        try:
            refused = hostile.work_all(folder)
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            return f"breach: {type(error).__name__}: {error}"[:200], str(shapes)
        if hostile.seen(home) != before:
            return "breach: changed outside", str(shapes)
        return ("refused" if refused else "worked"), str(shapes)


def main() -> None:
    """Work on hunts and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--first", type=int, default=1)
    options = parser.parse_args()
    setattr(writing, "_write_all", hostile.write_few)  # noqa: B010 (a stand-in)
    began = time.monotonic()
    outcomes: Counter[str] = Counter()
    for seed in range(options.first, options.first + options.count):
        outcome, shapes = one(seed)
        outcomes[outcome.partition(":")[0]] += 1
        if outcome.startswith("breach"):
            print(seed, outcome, shapes, flush=True)
    lines = [
        "| hostile hunts | refused in a line | worked within | breaches | minutes |",
        "|---|---|---|---|---|",
        (
            f"| {options.count} | {outcomes['refused']} | {outcomes['worked']} | "
            f"{outcomes['breach']} | {(time.monotonic() - began) / 60:.1f} |"
        ),
    ]
    record.write("hostile", lines)
    print("\n".join(lines))


if __name__ == "__main__":
    main()
