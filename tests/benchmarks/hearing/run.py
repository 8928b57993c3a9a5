"""Measure how well synthetic voices' notes are heard in made noise.

    PYTHONPATH=tests python -m benchmarks.hearing.run CORPUS [--write]

CORPUS is a folder made by make_corpus. Each system runs in a process of its own, one
after the other, so that its peak memory is its own. `--write` puts the tables into
RESULTS.md beside this file, above what was written there by hand.
"""

from __future__ import annotations

import argparse
import json
import platform
import resource
import subprocess
import sys
import time
from collections import defaultdict
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.hearing.scoring import Tally, compare, reliability

SYSTEMS = ("treeward", "marks named")
NOTE_COLUMNS = (
    "condition",
    "system",
    "notes",
    "recall",
    "precision",
    "unflagged precision",
    "wrong unflagged",
    "time error s, median / 95 %",
    "x real time (CPU)",
)
QUIET_COLUMNS = (
    "condition",
    "system",
    "minutes",
    "false events an hour, unflagged / all",
    "x real time (CPU)",
)
BY_HAND = "## Beside the tables"  # from here on RESULTS.md is kept as it is
WITHOUT_NOTES = ("talk-only", "noise-only")


def hear_all(system: str, corpus: Path, only: str) -> dict[str, Any]:
    """Run one system over the corpus; to be called in a fresh process."""
    from benchmarks.hearing.systems import open_system

    tallies: dict[str, Tally] = defaultdict(Tally)
    faults: list[str] = []
    engine = open_system(system)
    for truth_file in sorted(corpus.glob("*.json")):
        truth = json.loads(truth_file.read_text(encoding="utf-8"))
        if only not in truth_file.stem:
            continue
        engine.get_ready(corpus / truth["recording"])
        wall_s, cpu_s = time.perf_counter(), time.process_time()
        events = engine.hear(corpus / truth["recording"])
        tally = compare(events, truth["events"])
        tally.wall_s = time.perf_counter() - wall_s
        tally.cpu_s = time.process_time() - cpu_s
        tally.duration_s, tally.talk_s = truth["duration_s"], truth["talk_s"]
        tallies[truth["condition"]] += tally
        faults += _faults(truth, events)
        print(
            f"{system} {truth_file.stem}: {tally.right}/{tally.said} right, "
            f"{tally.heard} heard, {tally.wall_s:.0f} s",
            file=sys.stderr,
        )
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "tallies": {name: asdict(tally) for name, tally in tallies.items()},
        "peak_mb": peak_mb,
        "faults": faults,
    }


def _faults(truth: dict[str, Any], events: list[Any]) -> list[str]:
    """Describe each event that is wrong or was not said, for looking into."""
    from benchmarks.hearing.scoring import _apart_s, is_right

    out = []
    for event in events:
        near = [s for s in truth["events"] if _apart_s(event, s) <= 1.0]
        if not any(is_right(event, each) for each in near):
            said = [
                each["text"]
                for each in truth["said"]
                if each["start_s"] - 1 < (event.start_s or 0) < each["end_s"] + 0.5
            ]
            out.append(
                f"{truth['recording']} {event.start_s or 0:.1f} s: {event.kind} "
                f"{event.mark} {event.value} (confidence {event.confidence:.2f}"
                f"{', flagged' if event.flags else ''}) where was said: {said}"
            )
    return out


def _head(columns: tuple[str, ...]) -> tuple[str, str]:
    return f"| {' | '.join(columns)} |", "|---" * len(columns) + "|"


def table(found: dict[str, dict[str, Any]]) -> str:
    """Lay all figures out as Markdown."""
    rows = [*_head(NOTE_COLUMNS)]
    quiet = [*_head(QUIET_COLUMNS)]
    totals: dict[str, Tally] = {}
    names = sorted({name for each in found.values() for name in each["tallies"]})
    for condition in names:
        for system, result in found.items():
            if condition not in result["tallies"]:
                continue
            tally = Tally(**result["tallies"][condition])
            totals.setdefault(system, Tally())
            totals[system] += tally
            speed = tally.duration_s / max(tally.cpu_s, 1e-9)
            if condition in WITHOUT_NOTES:
                hours = tally.duration_s / 3600
                quiet.append(
                    f"| {condition} | {system} | {tally.duration_s / 60:.0f} "
                    f"| {tally.heard_unflagged / hours:.1f} "
                    f"/ {tally.heard / hours:.1f} "
                    f"| {speed:.1f} |"
                )
            else:
                rows.append(_row(condition, system, tally, speed))
    out = ["## Notes amid talk", "", *rows, "", "## No notes at all", "", *quiet, ""]
    out += ["## Stated confidence against share right", ""]
    out += ["| system | stated | events | share right |", "|---|---|---|---|"]
    for system, total in totals.items():
        for label, count, share in reliability(total.stated):
            out.append(f"| {system} | {label} | {count} | {share:.3f} |")
    out += ["", "## Peak memory", ""]
    out += [f"- {name}: {each['peak_mb']:.0f} MB" for name, each in found.items()]
    return "\n".join(out) + "\n"


def _row(condition: str, system: str, tally: Tally, speed: float) -> str:
    late = tally.late_s or [float("nan")]
    clean = tally.right_unflagged / max(tally.heard_unflagged, 1)
    return (
        f"| {condition} | {system} | {tally.said} | {tally.recall:.3f} "
        f"| {tally.precision:.3f} | {clean:.3f} | {tally.wrong_unflagged} "
        f"| {np.median(late):.2f} / {np.percentile(late, 95):.2f} | {speed:.1f} |"
    )


def main() -> None:
    """Measure what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("corpus", type=Path)
    parser.add_argument("--systems", default=",".join(SYSTEMS), help="with commas")
    parser.add_argument("--only", default="", help="part of condition_speaker")
    parser.add_argument("--write", action="store_true", help="update RESULTS.md")
    parser.add_argument("--faults", type=Path, help="file for all that went wrong")
    parser.add_argument(
        "--keep",
        type=Path,
        help="folder: what is there already, of a "
        "run that was stopped, is not measured again",
    )
    parser.add_argument("--child", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        print(json.dumps(hear_all(args.child, args.corpus, args.only)))
        return
    found: dict[str, dict[str, Any]] = {}
    for system in args.systems.split(","):
        kept = args.keep / f"{system}.json" if args.keep else None
        if kept and kept.exists():
            found[system] = json.loads(kept.read_text(encoding="utf-8"))
            continue
        command = [sys.executable, "-m", "benchmarks.hearing.run", str(args.corpus)]
        command += ["--child", system, "--only", args.only]
        done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
        found[system] = json.loads(done.stdout)
        if kept:
            kept.parent.mkdir(parents=True, exist_ok=True)
            kept.write_text(done.stdout, encoding="utf-8")
    text = table(found)
    print(text)
    if args.faults:
        lines = [f"{name}: {line}" for name in found for line in found[name]["faults"]]
        args.faults.write_text("\n".join(lines) + "\n", encoding="utf-8")
    if args.write:
        parts = {
            json.loads(each.read_text(encoding="utf-8"))["part"]
            for each in args.corpus.glob("*.json")
        }
        head = (
            "# How well spoken notes are heard\n\nMade by `python -m "
            "benchmarks.hearing.run CORPUS --write`; see run.py and make_corpus.py.\n"
            f"Speakers of the part: {', '.join(sorted(parts))}. "
            f"Python {platform.python_version()}, {platform.machine()}.\n"
            "The speakers are synthetic, the noise is made: speech that "
            "people make outdoors will be harder.\n\n"
        )
        results = Path(__file__).with_name("RESULTS.md")
        written = results.read_text(encoding="utf-8") if results.exists() else ""
        _, mark, by_hand = written.partition(BY_HAND)
        results.write_text(head + text + "\n" + mark + by_hand, encoding="utf-8")


if __name__ == "__main__":
    main()
