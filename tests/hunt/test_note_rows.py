"""The sound of a note as the report plays it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from treeward.hunt.review_update import clips_of
from treeward.report.model import NoteRow

if TYPE_CHECKING:
    from pathlib import Path

RATE_HZ = 16_000


def row(
    start_s: float | None, end_s: float | None, recording: str = "a.wav"
) -> NoteRow:
    return NoteRow(
        row="r1",
        recording=recording,
        start_s=start_s,
        end_s=end_s,
        clock=None,
        said="yellow away",
        heard="yellow away",
        confidence=0.9,
        flag="",
        decision="",
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Give a recording of 100 s that is loud from 10 to 12 s only."""
    samples = np.zeros(100 * RATE_HZ, dtype=np.float32)
    loud = np.arange(2 * RATE_HZ) / RATE_HZ
    samples[10 * RATE_HZ : 12 * RATE_HZ] = 0.5 * np.sin(2 * np.pi * 440 * loud)
    soundfile.write(tmp_path / "a.wav", samples, RATE_HZ)
    return tmp_path


@pytest.mark.parametrize(
    ("start_s", "end_s", "length_s", "loud_from_s"),
    [
        (10.0, 12.0, 4.5, 1.5),  # 1.5 s before the note and 1 s after it
        (10.0, None, 2.5, 1.5),  # a note whose end is not known
        (10.0, 90.0, 62.5, 1.5),  # an end typed wrongly: a minute
        (1.0, 12.0, 13.0, 10.0),  # the recording begins 1 s before the note
    ],
)
def test_a_clip_begins_before_the_note_and_ends_after_it(
    folder: Path,
    start_s: float,
    end_s: float | None,
    length_s: float,
    loud_from_s: float,
) -> None:
    clip = clips_of([row(start_s, end_s)], folder)["r1"]

    samples, rate_hz = soundfile.read(io.BytesIO(clip))
    assert len(samples) / rate_hz == pytest.approx(length_s, abs=0.05)
    loud = np.flatnonzero(np.abs(samples) > 0.2)
    assert loud[0] / rate_hz == pytest.approx(loud_from_s, abs=0.05)


def test_a_note_without_sound_has_no_clip(folder: Path) -> None:
    notes = [row(None, None), row(3.0, 4.0, "b.wav"), row(500.0, 501.0)]

    assert clips_of(notes, folder) == {}
