"""Whoever reads along may leave: the command comes to its end, without a traceback."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from drawing import mostly_slow

HUNTS = Path(__file__).parents[1] / "fixtures" / "hunts"
posix = pytest.mark.skipif(sys.platform == "win32", reason="no such shell there")


def run(
    *arguments: str, stdout: int, unbuffered: str = ""
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "treeward", *arguments],
        stdout=stdout, stderr=subprocess.PIPE, text=True, check=False,
        env={**os.environ, "PYTHONUNBUFFERED": unbuffered},
    )  # fmt: skip


def left_pipe() -> int:
    """Return the writing end of a pipe that nobody reads."""
    reading, writing = os.pipe()
    os.close(reading)
    return writing


@pytest.fixture
def hunt_dir(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HUNTS / "slate_fold", tmp_path / "hunt"))


@pytest.mark.slow
@pytest.mark.parametrize("unbuffered", mostly_slow(["", "1"], quick=["1"]))
@pytest.mark.parametrize(
    "command",
    mostly_slow(
        [["--help"], ["phrases"], ["models"], ["trips"], ["review", "--json"]],
        quick=[["--help"], ["trips"]],
    ),
)
def test_a_pipe_that_was_left_ends_nothing(
    hunt_dir: Path, command: list[str], unbuffered: str
) -> None:
    of_hunt = command[0] in {"trips", "review"}
    more = ["--hunt", str(hunt_dir)] if of_hunt else []
    writing = left_pipe()

    done = run(*command, *more, stdout=writing, unbuffered=unbuffered)
    os.close(writing)

    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.slow
def test_results_are_written_though_nobody_reads_along(hunt_dir: Path) -> None:
    shutil.rmtree(hunt_dir / "results", ignore_errors=True)
    writing = left_pipe()

    done = run("locate", "--hunt", str(hunt_dir), stdout=writing)
    os.close(writing)

    # Where drawing takes seconds, stderr says that it is at work.
    said = [line for line in done.stderr.splitlines() if not line.endswith(" ...")]
    assert (done.returncode, said) == (0, [])
    assert (hunt_dir / "results" / "report.html").is_file()


@pytest.mark.slow
@posix
@pytest.mark.parametrize(
    "closed",
    mostly_slow([">&-", "2>&-", ">&- 2>&-", "<&- >&- 2>&-"], quick=["<&- >&- 2>&-"]),
)
def test_streams_that_are_closed_from_the_start(hunt_dir: Path, closed: str) -> None:
    before = {p: p.read_bytes() for p in hunt_dir.rglob("*") if p.is_file()}

    done = subprocess.run(
        ["/bin/sh", "-c", f'"$0" -m treeward trips --hunt "$1" {closed}',
         sys.executable, str(hunt_dir)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert (done.returncode, done.stderr) == (0, "")
    for path, content in before.items():  # no word of the program went into a file
        assert path.read_bytes() == content


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device there")
def test_an_output_without_room_is_told_in_one_line(hunt_dir: Path) -> None:
    full = os.open("/dev/full", os.O_WRONLY)

    done = run("trips", "--hunt", str(hunt_dir), stdout=full)
    os.close(full)

    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1
    assert "No space left" in done.stderr
