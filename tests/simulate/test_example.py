from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from simulate.example import SEED, SETTINGS, write_typed
from treeward.hunt_file import read_hunt_file
from treeward.simulate import simulate_hunt
from treeward.simulate.write import hunt_toml

FIXTURES = Path(__file__).parents[2] / "fixtures"
EXAMPLE = FIXTURES / "example_hunt"


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    return tomllib.loads((FIXTURES / "example_truth.toml").read_text(encoding="utf-8"))


def test_the_seed_still_gives_the_example(truth: dict[str, Any]) -> None:
    hunt = simulate_hunt(SETTINGS, SEED)
    assert truth["seed"] == SEED
    assert hunt_toml(hunt) == (EXAMPLE / "hunt.toml").read_text(encoding="utf-8")
    assert [
        (e["kind"], e.get("mark", ""), e.get("value", "")) for e in truth["event"]
    ] == [(event.kind, event.mark, event.value) for event in hunt.events]
    home = hunt.colonies[0].position
    assert truth["colony"][0]["latitude_deg"] == pytest.approx(
        home.latitude_deg, abs=1e-6
    )


@pytest.mark.slow
def test_the_recordings_hold_the_events(truth: dict[str, Any]) -> None:
    files = {path.name: path for path in (EXAMPLE / "recordings").iterdir()}
    assert {event["recording"] for event in truth["event"]} == set(files)
    minutes = 0.0
    for name, path in files.items():
        samples, rate_hz = soundfile.read(path)
        minutes += len(samples) / rate_hz / 60
        assert np.abs(samples).max() < 0.95
        for event in truth["event"]:
            if event["recording"] == name:
                cut = samples[
                    int(event["start_s"] * rate_hz) : int(event["end_s"] * rate_hz)
                ]
                assert -27 < 10 * np.log10(np.mean(cut**2)) < -15
    assert 20 <= minutes <= 30
    assert sum(path.stat().st_size for path in files.values()) < 5.5e6


def test_every_bee_has_trips_enough(truth: dict[str, Any]) -> None:
    seen = [t["mark"] for t in truth["trip"] if t["away_noted"] and t["back_noted"]]
    marks = truth["colony"][0]["marks"]
    assert len(marks) == 4
    assert min(seen.count(mark) for mark in marks) >= 5


def test_the_example_says_that_its_bees_are_the_same_at_every_station(
    truth: dict[str, Any],
) -> None:
    read = read_hunt_file(EXAMPLE / "hunt.toml")

    marks = set(truth["colony"][0]["marks"])
    assert set(read.same_bee) == marks
    for station in read.station:
        seen = {t["mark"] for t in truth["trip"] if t["station"] == station.id}
        assert seen == marks


def test_the_example_tells_nothing_of_the_colony(truth: dict[str, Any]) -> None:
    assert sorted(path.name for path in EXAMPLE.iterdir()) == [
        "hunt.toml",
        "recordings",
    ]
    read = read_hunt_file(EXAMPLE / "hunt.toml")
    home = truth["colony"][0]
    for station in read.station:
        assert station.position is not None
        assert abs(station.position.latitude_deg - home["latitude_deg"]) > 1e-3


def test_the_typed_hunts_still_come_out_of_their_seeds(tmp_path: Path) -> None:
    write_typed(tmp_path)
    made = {path.relative_to(tmp_path) for path in tmp_path.rglob("*.*")}
    assert len(made) == 6
    for path in made:
        kept = (FIXTURES / "hunts" / path).read_text(encoding="utf-8")
        assert (tmp_path / path).read_text(encoding="utf-8") == kept
