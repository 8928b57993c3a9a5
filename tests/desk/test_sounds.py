from __future__ import annotations

import io
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.desk.sources import BIN_S, Shelf, clip_samples, clip_wav, outline_of
from treeward.errors import SoundError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


def ramp(seconds: float) -> NDArray[np.float32]:
    return np.linspace(-0.9, 0.9, round(seconds * SAMPLE_RATE_HZ), dtype=np.float32)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    recordings = tmp_path / "recordings"
    (recordings / "monday").mkdir(parents=True)
    sound = ramp(4.0)
    soundfile.write(recordings / "memo.wav", sound, SAMPLE_RATE_HZ, subtype="PCM_16")
    soundfile.write(recordings / "monday" / "b.wav", sound, SAMPLE_RATE_HZ)
    (recordings / "memo.vtt").write_text("WEBVTT\n")
    (recordings / "alone.vtt").write_text("WEBVTT\n")
    (tmp_path / "secret.wav").write_bytes((recordings / "memo.wav").read_bytes())
    return recordings


def test_a_clip_holds_just_the_samples_asked_for(folder: Path) -> None:
    samples = clip_samples(folder / "memo.wav", 1.25, 2.0)

    expected = ramp(4.0)[round(1.25 * SAMPLE_RATE_HZ) : 2 * SAMPLE_RATE_HZ]
    assert len(samples) == len(expected)
    assert np.allclose(samples, expected, atol=1e-3)


def test_a_clip_is_a_wav_file_and_ends_where_the_recording_ends(folder: Path) -> None:
    sound, rate = soundfile.read(io.BytesIO(clip_wav(folder / "memo.wav", 3.5, 9.0)))

    assert rate == SAMPLE_RATE_HZ
    assert len(sound) == SAMPLE_RATE_HZ // 2


def test_a_clip_from_before_the_start_begins_at_the_start(folder: Path) -> None:
    assert len(clip_samples(folder / "memo.wav", -2.0, 1.0)) == SAMPLE_RATE_HZ


@pytest.mark.parametrize("end", [1.0, 0.5, 62.0, float("nan")])
def test_a_clip_must_end_within_a_minute(folder: Path, end: float) -> None:
    with pytest.raises(ValueError, match="within a minute"):
        clip_samples(folder / "memo.wav", 1.0, end)


def test_a_clip_past_the_end_is_refused(folder: Path) -> None:
    with pytest.raises(SoundError, match="no sound at 7 s"):
        clip_samples(folder / "memo.wav", 7.0, 8.0)


@pytest.mark.parametrize("sizes", [[16000], [100, 320, 15580], [319, 1, 15680]])
def test_the_outline_does_not_depend_on_the_blocks(sizes: list[int]) -> None:
    sound = np.random.default_rng(7).uniform(-1, 1, 16000).astype(np.float32)
    edges = np.cumsum([0, *sizes])
    blocks = [
        Block(start_s=float(a / SAMPLE_RATE_HZ), samples=sound[a:b])
        for a, b in pairwise(edges)
    ]

    pairs = np.frombuffer(b"".join(outline_of(blocks)), np.int8).reshape(-1, 2)

    bins = sound.reshape(-1, round(BIN_S * SAMPLE_RATE_HZ))
    assert np.array_equal(pairs[:, 0], np.rint(bins.min(axis=1) * 127))
    assert np.array_equal(pairs[:, 1], np.rint(bins.max(axis=1) * 127))


def test_the_shelf_finds_recordings_by_name_and_transcripts_sound(
    folder: Path,
) -> None:
    shelf = Shelf(folder)

    memo, below, spoken = (
        shelf.sound_for(name) for name in ("memo.wav", "monday/b.wav", "memo.vtt")
    )

    assert memo is not None
    assert below is not None
    assert spoken is not None
    assert memo.duration_s == pytest.approx(4.0)
    assert spoken.path == memo.path
    assert shelf.by_key(memo.key) == memo


@pytest.mark.parametrize(
    "name", ["", "alone.vtt", "../secret.wav", "monday", "gone.wav", "/etc/passwd"]
)
def test_the_shelf_gives_nothing_else(folder: Path, name: str) -> None:
    shelf = Shelf(folder)

    assert shelf.sound_for(name) is None
    assert shelf.by_key(name) is None
    assert shelf.outline(name) is None
