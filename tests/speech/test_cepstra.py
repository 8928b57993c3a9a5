"""Cepstra against those of PocketSphinx itself, the reference for its own model."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pocketsphinx
import pytest

from treeward.speech.cepstra import (
    CEPSTRA,
    HOP,
    CepstralMean,
    cepstra_of,
    log_mel_of,
    smoothed,
)


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> pocketsphinx.Decoder:
    """PocketSphinx with the bundled model, its noise removal off."""
    room = tmp_path_factory.mktemp("model") / "en-us"
    shutil.copytree(pocketsphinx.get_model_path("en-us/en-us"), room)
    settings = (room / "feat.params").read_text(encoding="utf-8")
    assert "-remove_noise yes" in settings
    quiet = settings.replace("-remove_noise yes", "-remove_noise no")
    (room / "feat.params").write_text(quiet, encoding="utf-8")
    words = room / "words.dict"
    words.write_text("yellow Y EH L OW\n", encoding="utf-8")
    return pocketsphinx.Decoder(
        hmm=str(room), dict=str(words), lm=None, keyphrase="yellow", loglevel="FATAL"
    )


def cepstra(samples: np.ndarray) -> np.ndarray:
    return cepstra_of(log_mel_of(samples))


def sound(seed: int, seconds: float) -> np.ndarray:
    """Noise that swells and fades through the spectrum, as speech does."""
    random = np.random.default_rng(seed)
    at_s = np.arange(int(seconds * 16_000)) / 16_000
    carrier = np.sin(2 * np.pi * (200 + 900 * at_s) * at_s)
    swell = 0.3 * (1 + np.sin(2 * np.pi * 3 * at_s))
    return np.asarray(swell * carrier + 0.02 * random.standard_normal(len(at_s)))


@pytest.mark.parametrize("seed", [1, 2])
def test_the_mean_is_that_of_pocketsphinx(
    reference: pocketsphinx.Decoder, seed: int
) -> None:
    samples = sound(seed, 6.0)
    whole = (np.clip(samples, -1, 1) * 32767).astype("<i2")
    reference.start_utt()
    reference.process_raw(whole.tobytes(), no_search=True, full_utt=True)
    reference.end_utt()
    theirs = [float(part) for part in reference.get_cmn(False).split(",")]
    ours = cepstra(whole / 32767).mean(axis=0)
    # PocketSphinx fills the last two windows up with silence, ours ends before them.
    np.testing.assert_allclose(ours, theirs, atol=0.15)


def test_one_row_every_ten_milliseconds() -> None:
    found = cepstra(sound(3, 1.0))
    assert found.shape == (1 + (16_000 - 410) // HOP, CEPSTRA)
    assert cepstra(np.zeros(300)).shape == (0, CEPSTRA)
    assert np.isfinite(cepstra(np.zeros(16_000))).all()


def test_louder_moves_the_first_cepstrum_alone() -> None:
    quiet, loud = cepstra(sound(4, 1.0)), cepstra(4 * sound(4, 1.0))
    moved = (loud - quiet).mean(axis=0)
    assert moved[0] == pytest.approx(np.log(16) * 25 / np.sqrt(25), rel=1e-3)
    np.testing.assert_allclose(moved[1:], 0, atol=0.01)


def test_smoothing_spreads_a_peak_and_keeps_what_is_flat() -> None:
    flat, peak = np.full((2, 25), 7.0), np.zeros((1, 25))
    peak[0, 12] = 1.0
    np.testing.assert_allclose(smoothed(flat), flat)
    spread = smoothed(peak)[0]
    assert spread.argmax() == 12
    assert 0.7 < spread[12] < 0.9
    assert spread[11] == pytest.approx(spread[13])
    assert spread.sum() == pytest.approx(1.0, abs=1e-3)


def test_the_mean_forgets_what_was_long_ago() -> None:
    mean = CepstralMean()
    before, now = np.full((5000, CEPSTRA), 3.0), np.full((9000, CEPSTRA), -2.0)
    mean.take(before.astype(np.float32))
    assert np.abs(mean.off(before.astype(np.float32))).max() < 1.5
    for part in np.split(now.astype(np.float32), 18):
        mean.take(part)
    assert np.abs(mean.off(now.astype(np.float32))).max() < 0.5


def test_without_anything_heard_a_usual_mean_is_taken_off() -> None:
    start = np.array([CepstralMean.START], np.float32)
    # Single precision holds seven digits of 64.6.
    np.testing.assert_allclose(CepstralMean().off(start), 0, atol=1e-5)


def test_the_model_has_the_settings_that_are_built_in() -> None:
    folder = Path(pocketsphinx.get_model_path("en-us/en-us"))
    words = (folder / "feat.params").read_text(encoding="utf-8").split()
    settings = dict(zip(words[::2], words[1::2], strict=True))
    assert settings["-lowerf"] == "130"
    assert settings["-upperf"] == "6800"
    assert settings["-nfilt"] == "25"
    assert settings["-transform"] == "dct"
    assert settings["-lifter"] == "22"
