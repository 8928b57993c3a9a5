from __future__ import annotations

import sys
import tomllib
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from treeward.errors import HuntError, SpeechError
from treeward.hunt_file import read_hunt_file
from treeward.review.file import read_review
from treeward.simulate import SimulationSettings, simulate_hunt
from treeward.simulate.write import truth_toml, write_hunt

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.simulate.sound import Voice

SMALL = SimulationSettings(stations=2, watch_min=10, bees=3, calibration=True)


def test_events_are_written_as_a_review_file(tmp_path: Path) -> None:
    hunt = write_hunt(simulate_hunt(SMALL, 1), tmp_path / "hunt", sound=False)
    rows = read_review(tmp_path / "hunt" / "review.csv", ZoneInfo("Europe/London"))
    assert [(r.event.kind, r.event.mark, r.event.value) for r in rows] == [
        (e.kind, e.mark, e.value) for e in hunt.events
    ]
    assert all(row.event.clock is not None for row in rows)


def test_the_hunt_file_is_valid_and_tells_nothing_of_the_colony(tmp_path: Path) -> None:
    hunt = write_hunt(simulate_hunt(SMALL, 1), tmp_path, sound=False)
    read = read_hunt_file(tmp_path / "hunt.toml")
    assert [station.id for station in read.station] == ["1", "2", "C"]
    assert read.calibration is not None
    assert len(read.calibration.marks) == 3
    sought = f"{hunt.colonies[0].position.latitude_deg:.4f}"
    assert sought not in (tmp_path / "hunt.toml").read_text(encoding="utf-8")


def test_the_truth_can_be_read_back() -> None:
    hunt = simulate_hunt(SMALL, 1)
    truth = tomllib.loads(truth_toml(hunt))
    assert truth["seed"] == 1
    assert len(truth["event"]) == len(hunt.events)
    assert len(truth["trip"]) == len(hunt.trips)
    assert truth["colony"][0]["latitude_deg"] == pytest.approx(
        hunt.colonies[0].position.latitude_deg, abs=1e-6
    )


def test_a_hunt_that_is_there_is_not_overwritten(tmp_path: Path) -> None:
    write_hunt(simulate_hunt(SMALL, 1), tmp_path, sound=False)
    with pytest.raises(HuntError, match="Name another folder"):
        write_hunt(simulate_hunt(SMALL, 2), tmp_path, sound=False)


@pytest.mark.slow
def test_sound_goes_into_recordings(tmp_path: Path, hum: Voice) -> None:
    one = SimulationSettings(stations=1, watch_min=3, bees=1)
    hunt = write_hunt(
        simulate_hunt(one, 1), tmp_path, sound=True, observer=hum, friend=hum
    )
    recording = tmp_path / "recordings" / hunt.stations[0].recording
    assert recording.stat().st_size > 10_000
    assert not (tmp_path / "review.csv").exists()


def test_without_a_voice_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "hibari", None)
    with pytest.raises(SpeechError, match="hibari-tts"):
        write_hunt(simulate_hunt(SMALL, 1), tmp_path / "hunt", sound=True)
    assert not (tmp_path / "hunt").exists()
