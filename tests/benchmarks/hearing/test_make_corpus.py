"""Recordings hold what their truth says, with and without pauses between notes."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from .make_corpus import (
    IN_A_BREATH_S,
    RATE_HZ,
    SPEECH_LEVEL,
    Recording,
    Truth,
    notes_and_talk,
)

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


class Hum:
    """A third of a second of tone for each word."""

    name = "hum"

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        at_s = np.arange(round(0.3 * rate_hz) * len(text.split())) / rate_hz
        tone = np.sin(2 * np.pi * (300 + seed % 200) * at_s)
        return np.asarray(np.sqrt(2) * SPEECH_LEVEL * tone, np.float32)


def filled(hurry: float) -> Recording:
    truth = Truth("memo.wav", "tune", "mixed-30", "hum", "mixed", 30.0)
    recording = Recording(truth, np.random.default_rng(5))
    notes_and_talk(recording, Hum(), Hum(), 120.0, hurry)
    return recording


def close_by(recording: Recording) -> int:
    """Count pairs of notes that are hardly parted."""
    said = recording.truth.said
    return sum(
        one["role"] == other["role"] == "note"
        and other["start_s"] - one["end_s"] <= IN_A_BREATH_S[1] + 0.002
        for one, other in pairwise(said)
    )


def test_some_notes_await_no_pause_where_it_is_asked_for() -> None:
    hurried, usual = filled(0.8), filled(0.0)
    # Most notes are of one piece, so that few are close by themselves.
    assert close_by(hurried) > 2 * close_by(usual) + 10
    for recording in (hurried, usual):
        said = recording.truth.said
        assert all(a["end_s"] <= b["start_s"] + 0.002 for a, b in pairwise(said))
        for event in recording.truth.events:
            assert any(
                event["start_s"] == each["start_s"] and each["role"] == "note"
                for each in said
            )


@pytest.mark.slow
def test_what_is_written_is_where_the_truth_says(tmp_path: Path) -> None:
    recording = filled(0.0)
    recording.write(tmp_path, "mixed", 30.0)
    truth = json.loads((tmp_path / "memo.json").read_text(encoding="utf-8"))
    sound, rate_hz = soundfile.read(tmp_path / "memo.wav")
    assert rate_hz == RATE_HZ
    assert len(sound) / rate_hz == pytest.approx(truth["duration_s"], abs=0.001)
    for each in truth["said"]:
        part = sound[int(each["start_s"] * rate_hz) : int(each["end_s"] * rate_hz)]
        level = np.sqrt(np.mean(part**2)) / SPEECH_LEVEL
        # A friend stands up to 10 dB further off; wind at 30 dB adds next to nothing.
        assert 0.25 < level < 1.1
