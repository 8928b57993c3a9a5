from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from treeward.simulate import SimulatedHunt, SimulationSettings, simulate_hunt
from treeward.simulate.sound import RATE_HZ, SoundSettings, render

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.simulate.sound import Voice


@pytest.fixture(scope="module")
def rendered(
    tmp_path_factory: pytest.TempPathFactory, hum: Voice
) -> tuple[SimulatedHunt, SimulatedHunt, Path]:
    room = tmp_path_factory.mktemp("sound")
    plain = simulate_hunt(SimulationSettings(stations=1, watch_min=8, bees=3), 1)
    spoken = render(
        plain,
        room,
        observer=hum,
        friend=hum,
        settings=SoundSettings(snr_db=30.0, talk_share=0.8),
    )
    return plain, spoken, room


@pytest.mark.slow
def test_every_event_is_spoken_in_order(
    rendered: tuple[SimulatedHunt, SimulatedHunt, Path],
) -> None:
    plain, spoken, _ = rendered
    assert [(e.kind, e.mark, e.value) for e in spoken.events] == [
        (e.kind, e.mark, e.value) for e in plain.events
    ]
    for before, after in zip(plain.events, spoken.events, strict=True):
        assert before.start_s is not None
        assert after.start_s is not None
        assert before.clock is not None
        assert after.clock is not None
        assert -2e-3 < after.start_s - before.start_s < 3.0
        shift_s = (after.clock - before.clock).total_seconds()
        assert shift_s == pytest.approx(after.start_s - before.start_s, abs=2e-3)


def test_sound_is_where_the_events_say(
    rendered: tuple[SimulatedHunt, SimulatedHunt, Path],
) -> None:
    _, spoken, room = rendered
    samples, rate_hz = soundfile.read(room / spoken.stations[0].recording)
    assert rate_hz == RATE_HZ
    assert np.abs(samples).max() < 1
    for event in spoken.events:
        assert event.start_s is not None
        assert event.end_s is not None
        inside = samples[int(event.start_s * rate_hz) : int(event.end_s * rate_hz)]
        level_dbfs = 10 * np.log10(np.mean(inside**2))
        assert -26 < level_dbfs < -16


def test_talk_keeps_clear_of_notes(
    rendered: tuple[SimulatedHunt, SimulatedHunt, Path],
) -> None:
    _, spoken, _ = rendered
    assert any(said.event is None for said in spoken.script)
    for before, after in pairwise(spoken.script):
        assert after.start_s > before.start_s


def test_no_part_file_is_left(
    rendered: tuple[SimulatedHunt, SimulatedHunt, Path],
) -> None:
    _, spoken, room = rendered
    assert [path.name for path in room.iterdir()] == [spoken.stations[0].recording]
