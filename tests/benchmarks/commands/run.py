"""How long the commands take and what memory a long recording needs.

    python tests/benchmarks/commands/run.py [--long-hours 2] [--write]

The example hunt is worked on in a folder of its own. The long recording is its sound
over and over. Processor seconds are the child's own, so that a busy machine does not
count; the clock's stand beside. POSIX only (peak memory is the operating system's).
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import soundfile

from treeward.files import example_hunt_dir

RESULTS = Path(__file__).parent / "RESULTS.md"


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One command, run as a person runs it."""

    clock_s: float
    processor_s: float
    peak_mb: float


def run(arguments: list[str], folder: Path) -> Run:
    """Run the program in a process of its own."""
    began = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, "-m", "treeward", *arguments],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        sys.exit(f"treeward {' '.join(arguments)} failed with {child.returncode}")
    return Run(
        clock_s=time.perf_counter() - began,
        processor_s=usage.ru_utime + usage.ru_stime,
        peak_mb=usage.ru_maxrss / 1024,
    )


def median_run(arguments: list[str], folder: Path, times: int) -> Run:
    """Run a command several times; the median of each figure."""
    runs = [run(arguments, folder) for _ in range(times)]
    return Run(
        clock_s=statistics.median(r.clock_s for r in runs),
        processor_s=statistics.median(r.processor_s for r in runs),
        peak_mb=statistics.median(r.peak_mb for r in runs),
    )


def long_recording(path: Path, hours: float) -> float:
    """Write the example's sound over and over; return its seconds."""
    written = 0
    sources = sorted((example_hunt_dir() / "recordings").glob("*.ogg"))
    rate = soundfile.info(sources[0]).samplerate
    with soundfile.SoundFile(path, "w", rate, 1, format="FLAC") as out:
        while written < hours * 3600 * rate:
            for source in sources:
                for block in soundfile.blocks(source, rate, dtype="float32"):
                    out.write(block)
                    written += len(block)
    return float(written / rate)


def main() -> None:
    """Measure, print, and write the table where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--long-hours", type=float, default=2.0)
    parser.add_argument("--write", action="store_true", help="update RESULTS.md")
    arguments = parser.parse_args()
    rows = ["| command | clock s | processor s | peak MB | times real time |",
            "|---|---|---|---|---|"]  # fmt: skip

    def note(name: str, measured: Run, sound_s: float | None = None) -> None:
        times = f"{sound_s / measured.processor_s:.1f}" if sound_s else ""
        rows.append(
            f"| {name} | {measured.clock_s:.2f} | {measured.processor_s:.2f} | "
            f"{measured.peak_mb:.0f} | {times} |"
        )
        print(rows[-1], flush=True)

    with tempfile.TemporaryDirectory() as folder:
        hunt = Path(shutil.copytree(example_hunt_dir(), Path(folder) / "hunt"))
        note("`treeward --help`, median of 9", median_run(["--help"], hunt, 9))
        sound_s = sum(
            soundfile.info(path).duration for path in hunt.glob("recordings/*.ogg")
        )
        minutes = f"{sound_s / 60:.0f} min"
        note(
            f"`treeward transcribe`, the example ({minutes})",
            run(["transcribe"], hunt),
            sound_s,
        )
        note("`treeward trips`, median of 5", median_run(["trips"], hunt, 5))
        note("`treeward locate`, median of 5", median_run(["locate"], hunt, 5))
        if arguments.long_hours:
            long = Path(folder) / "long"
            run(["new", str(long), "--timezone", "Europe/London"], Path(folder))
            sound = long / "recordings" / "2026-07-14_1000.flac"
            sound_s = long_recording(sound, arguments.long_hours)
            note(
                f"`treeward transcribe`, one file of {sound_s / 3600:.1f} h",
                run(["transcribe"], long),
                sound_s,
            )
    page = resource.getpagesize()
    head = (
        "# Commands: time and memory\n\n"
        "`python tests/benchmarks/commands/run.py --write`; times real time are by "
        f"processor seconds, one process ({os.cpu_count()} cores seen, pages of "
        f"{page} bytes, a shared machine).\n\n"
    )
    if arguments.write:
        RESULTS.write_text(head + "\n".join(rows) + "\n", "utf-8")


if __name__ == "__main__":
    main()
