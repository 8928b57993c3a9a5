"""A season through transcribe, review rows, trips and locate: time and memory.

    cd tests
    python -m benchmarks.scale.run STEP DIR

    make --hours 60       sound, a day of three hours for each recording
    hear --jobs 2         treeward transcribe; --stop-after S presses Ctrl-C
    fresh                 forget what was heard
    rows                  a digest of review.csv, to compare
    work                  treeward trips, treeward locate
    typed                 the same on a season of 20 days that was typed

Each prints a line and adds it to DIR.measured.txt. Linux only, for the memory.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import soundfile

TESTS = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TESTS))

from benchmarks.scale import season  # noqa: E402

TREEWARD = [sys.executable, "-m", "treeward"]


@dataclass
class Spent:
    """What a command took."""

    wall_s: float
    cpu_s: float  # of all its processes
    peak_mb: float  # resident, of all its processes together
    each_mb: float  # of the largest
    status: int


def watched(command: list[str], stop_after_s: float | None = None) -> Spent:
    """Run a command, with Ctrl-C after a while if wanted; look at its memory."""
    begun = time.monotonic()
    before = os.times()
    peak = each = 0.0
    process = subprocess.Popen(
        command, start_new_session=True, stdout=subprocess.DEVNULL
    )
    while process.poll() is None:
        sizes = resident_mb(process.pid)
        peak, each = max(peak, sum(sizes)), max([each, *sizes])
        spent_s = time.monotonic() - begun
        if stop_after_s is not None and spent_s > stop_after_s:
            os.killpg(process.pid, signal.SIGINT)
            stop_after_s = None
        time.sleep(0.2)
    after = os.times()
    cpu_s = (
        after.children_user
        + after.children_system
        - before.children_user
        - before.children_system
    )
    return Spent(time.monotonic() - begun, cpu_s, peak, each, process.returncode)


def resident_mb(session: int) -> list[float]:
    """Give the resident memory of each process of a session."""
    sizes = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rsplit(")", 1)[1].split()
            if int(fields[3]) == session:
                pages = int((stat.parent / "statm").read_text().split()[1])
                sizes.append(pages * os.sysconf("SC_PAGE_SIZE") / 1e6)
        except (OSError, IndexError):
            continue
    return sizes


def hours_of(directory: Path) -> float:
    """Give the hours of sound of a season."""
    files = (directory / "recordings").glob("*.flac")
    return float(sum(soundfile.info(path).duration for path in files)) / 3600


def tell(directory: Path, line: str) -> None:
    """Print a line and keep it."""
    load = os.getloadavg()[0]
    print(f"{line} | load {load:.1f}", flush=True)
    with directory.with_suffix(".measured.txt").open("a") as file:
        file.write(f"{line} | load {load:.1f}\n")


def hear(directory: Path, jobs: int, stop_after_s: float | None) -> None:
    """Transcribe the season."""
    command = [*TREEWARD, "transcribe", "--hunt", str(directory), "--jobs", str(jobs)]
    spent = watched(command, stop_after_s)
    stopped = ""
    if stop_after_s:
        # It ends with 0 when it was done before, or Ctrl-C did not reach it.
        what = "stopped at" if spent.status else "NOT stopped, though told to at"
        stopped = f" {what} {stop_after_s:.0f} s"
    tell(
        directory,
        f"hear {hours_of(directory):.0f} h --jobs {jobs}{stopped}: "
        f"wall {spent.wall_s:.0f} s, cpu {spent.cpu_s:.0f} s, "
        f"{spent.peak_mb:.0f} MB in all, {spent.each_mb:.0f} MB the largest, "
        f"status {spent.status}, rows {digest(directory)}",
    )


def digest(directory: Path) -> str:
    """Give the number of rows in review.csv and a digest of what they say."""
    try:
        text = (directory / "review.csv").read_bytes()
    except OSError:
        return "none"
    rows = len(text.splitlines()) - 1
    return f"{rows} {hashlib.sha256(text).hexdigest()[:12]}"


def work(directory: Path) -> None:
    """Pair and locate."""
    for command in ("trips", "locate"):
        spent = watched([*TREEWARD, command, "--hunt", str(directory)])
        tell(
            directory,
            f"{command}: wall {spent.wall_s:.1f} s, cpu {spent.cpu_s:.1f} s, "
            f"{spent.peak_mb:.0f} MB, status {spent.status}",
        )


def main() -> None:
    """Do one step."""
    parser = argparse.ArgumentParser(description=__doc__)
    steps = ("make", "hear", "fresh", "rows", "work", "typed")
    parser.add_argument("step", choices=steps)
    parser.add_argument("directory", type=Path)
    parser.add_argument("--hours", type=float, default=60)
    parser.add_argument("--quiet-db", type=float, default=season.QUIET_DB)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--stop-after", type=float)
    args = parser.parse_args()
    directory: Path = args.directory
    # Whoever starts this in the background has Ctrl-C ignored, by our children as well.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    if args.step == "make":
        begun = time.monotonic()
        invented = season.invent(round(args.hours / season.DAY_H))
        season.write_sound(invented, directory, quiet_db=args.quiet_db)
        tell(directory, f"made in {time.monotonic() - begun:.0f} s")
    elif args.step == "hear":
        hear(directory, args.jobs, args.stop_after)
    elif args.step == "fresh":
        shutil.rmtree(directory / ".treeward", ignore_errors=True)
        (directory / "review.csv").unlink(missing_ok=True)
    elif args.step == "rows":
        tell(directory, f"rows {digest(directory)}")
    elif args.step == "work":
        work(directory)
    else:
        season.write_typed(season.invent(20), directory)
        work(directory)


if __name__ == "__main__":
    main()
