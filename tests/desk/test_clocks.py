"""A corrected spoken time moves the clocks that hang on it, at the desk as well."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from treeward.desk.desk import Desk, clock_at
from treeward.desk.edits import CellEdit
from treeward.hunt.hunt import Hunt

if TYPE_CHECKING:
    from pathlib import Path

VTT = """\
WEBVTT

00:02.000 --> 00:03.500
station one

00:05.000 --> 00:07.000
time ten twenty

01:00.000 --> 01:01.000
yellow away

06:10.000 --> 06:11.000
yellow back
"""


@pytest.fixture
def narrated(tmp_path: Path) -> Desk:
    hunt = Hunt.create(tmp_path / "hunt", name="Marl", timezone="Europe/London")
    (hunt.recordings_dir / "2026-07-14 memo.vtt").write_text(VTT, "utf-8")
    hunt.transcribe()
    return Desk(hunt)


def clocks_of(desk: Desk) -> dict[str, float]:
    return {row["said"]: row["clock_s"] for row in desk.state()["rows"]}


def test_a_corrected_time_moves_the_clocks_shown_and_the_trips(narrated: Desk) -> None:
    before = clocks_of(narrated)
    time = next(row for row in narrated.sheet().rows if row.event.kind == "time")

    narrated.apply(
        [CellEdit(row=time.name, column="value", value="10:25", was="10:20")]
    )

    after = clocks_of(narrated)
    (trip,) = narrated.trips().trips
    assert after["yellow away"] - before["yellow away"] == 5 * 60
    assert trip.away_clock is not None
    assert trip.away_clock.timestamp() == after["yellow away"]
    assert trip.away_s == pytest.approx(310.0)


def test_a_row_is_placed_from_its_nearest_neighbour(narrated: Desk) -> None:
    rows = narrated.sheet().rows
    back = next(row.event for row in rows if row.event.kind == "back")
    assert back.clock is not None
    assert back.start_s is not None

    found = clock_at(rows, "2026-07-14 memo.vtt", back.start_s + 1.5)

    assert found is not None
    assert (found - back.clock).total_seconds() == 1.5
    assert clock_at(rows, "another.vtt", 10.0) is None
