"""However a session ends, what was spoken has its note, and nobody sees a traceback."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from live import stand_in

if TYPE_CHECKING:
    from collections.abc import Iterator

SLOW_EARS = f"""
import sys, time
sys.path.insert(0, {str(Path(stand_in.__file__).parents[1])!r})
from live import stand_in
decode = stand_in.BeepRecognizer.decode
def slow(self, stretch):
    time.sleep(0.7)
    return decode(self, stretch)
stand_in.BeepRecognizer.decode = slow
stand_in.main()
"""
NOTES = [(0.3 + n, "red", "away" if n % 2 else "back") for n in range(6)]
PCM = np.rint(stand_in.spoken_at(NOTES, 6.2) * 32767).astype("<i2").tobytes()
posix = pytest.mark.skipif(sys.platform == "win32", reason="signals are others there")
pytestmark = pytest.mark.slow


@pytest.fixture
def processes() -> Iterator[list[subprocess.Popen[bytes]]]:
    started: list[subprocess.Popen[bytes]] = []
    yield started
    for process in started:
        process.kill()
        for pipe in (process.stdin, process.stdout, process.stderr):
            if pipe is not None:
                pipe.close()
        process.wait()


def start(hunt_dir: Path, *arguments: str, **options: Any) -> subprocess.Popen[bytes]:
    settings: dict[str, Any] = {
        "stdin": subprocess.PIPE,
        "stdout": subprocess.PIPE,
        "stderr": subprocess.PIPE,
        "env": {**os.environ, "PYTHONUNBUFFERED": "1"},
    }
    return subprocess.Popen(
        [sys.executable, "-c", SLOW_EARS, "--hunt", str(hunt_dir), "--plain",
         "--no-sounds", "--input", "-", *arguments],
        **(settings | options),
    )  # fmt: skip


def feed(process: subprocess.Popen[bytes]) -> None:
    assert process.stdin is not None
    for first in range(0, len(PCM), 3200):
        process.stdin.write(PCM[first : first + 3200])
        process.stdin.flush()
        time.sleep(0.05)  # twice as fast as it was spoken


def notes_of(hunt_dir: Path) -> list[str]:
    with (hunt_dir / "review.csv").open(encoding="utf-8-sig", newline="") as file:
        return [row["event"] for row in csv.DictReader(file)]


@posix
@pytest.mark.parametrize("times", [1, 3])
def test_ctrl_c_waits_for_the_notes_of_what_was_spoken(
    hunt_dir: Path, processes: list[subprocess.Popen[bytes]], times: int
) -> None:
    process = start(hunt_dir)
    processes.append(process)
    feed(process)
    for _ in range(times):
        process.send_signal(signal.SIGINT)
        time.sleep(0.2)
    said, fault = process.communicate(timeout=30)

    assert (process.returncode, fault) == (0, b"")
    assert b"6 notes" in said
    assert notes_of(hunt_dir) == [kind for _, _, kind in NOTES]


@posix
def test_a_reader_that_leaves_does_not_end_the_session(
    hunt_dir: Path, processes: list[subprocess.Popen[bytes]]
) -> None:
    process = start(hunt_dir)
    processes.append(process)
    assert process.stdout is not None
    process.stdout.close()
    feed(process)
    assert process.stdin is not None
    process.stdin.close()
    assert process.stderr is not None
    fault = process.stderr.read()

    assert b"Traceback" not in fault
    assert b"Exception" not in fault
    process.wait(timeout=30)
    assert len(notes_of(hunt_dir)) == 6
