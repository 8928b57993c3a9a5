"""What tests of several rooms share: an invented hunt typed by hand."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

HUNT_TOML = """\
[hunt]
name = "Marl Hollow"
timezone = "Europe/London"

[[station]]
id = "1"
position = "52.301200, -3.610400"
cargo = "water"

[[station]]
id = "2"
position = "52.304000, -3.613000"
cargo = "water"
"""

# Invented: two bees at station 1 fly about 210 degrees and are away about 5 minutes.
NOTES = [
    ("10:00:00", "station", "", "1"),
    ("10:01:00", "away", "yellow", ""),
    ("10:01:05", "bearing", "yellow", "211"),
    ("10:02:30", "away", "blue-white", ""),
    ("10:06:10", "back", "yellow", ""),
    ("10:07:20", "away", "yellow", ""),
    ("10:07:25", "bearing", "yellow", "206"),
    ("10:08:00", "back", "blue-white", ""),
    ("10:09:05", "away", "blue-white", ""),
    ("10:09:10", "bearing", "blue-white", "214"),
    ("10:12:20", "back", "yellow", ""),
    ("10:13:40", "away", "yellow", ""),
    ("10:14:20", "back", "blue-white", ""),
    ("10:15:30", "away", "blue-white", ""),
    ("10:18:45", "back", "yellow", ""),
    ("10:21:00", "back", "blue-white", ""),
]


@pytest.fixture
def typed_hunt(tmp_path: Path) -> Path:
    """Give a hunt folder with hunt.toml and a review.csv typed by hand."""
    folder = tmp_path / "hunt"
    folder.mkdir()
    (folder / "hunt.toml").write_text(HUNT_TOML, "utf-8")
    lines = ["clock,event,mark,value"]
    lines += [
        f"2026-07-14 {time},{kind},{mark},{value}" for time, kind, mark, value in NOTES
    ]
    (folder / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return folder


_skipped: list[str] = []


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Remember what was skipped."""
    if report.skipped and not hasattr(report, "wasxfail"):
        _skipped.append(report.nodeid)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail where TREEWARD_REQUIRE_ALL_TESTS says that nothing may be skipped."""
    if os.environ.get("TREEWARD_REQUIRE_ALL_TESTS") == "1" and _skipped:
        print("\nskipped, though no test may be: ", *_skipped, sep="\n  ")  # noqa: T201
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
