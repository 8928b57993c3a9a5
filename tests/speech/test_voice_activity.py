"""The voice activity network: speech is noticed at any level, noise is not."""

from __future__ import annotations

import shutil
import subprocess
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from treeward.errors import SpeechError
from treeward.simulate.sound import retune
from treeward.speech import recognizer
from treeward.speech.recognizer import FRAME, VoiceActivity

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

RATE_HZ = 16_000


def probabilities(sound: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.array(VoiceActivity().push(sound.astype(np.float32)))


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> NDArray[np.float64]:
    """A second of silence, some words, a second of silence."""
    if shutil.which("espeak-ng") is None:
        pytest.skip("espeak-ng is not installed (apt install espeak-ng)")
    path = tmp_path_factory.mktemp("said") / "said.wav"
    subprocess.run(
        ["espeak-ng", "-w", path, "yellow back, bearing two one zero"], check=True
    )
    samples, rate_hz = soundfile.read(path)
    quiet = np.zeros(RATE_HZ)
    return np.concatenate([quiet, retune(samples, rate_hz, RATE_HZ), quiet])


@pytest.mark.model
def test_speech_is_noticed_where_it_is(said: NDArray[np.float64]) -> None:
    found = probabilities(said)

    second = RATE_HZ // FRAME
    assert len(found) == len(said) // FRAME
    assert (found[: second - 3] < 0.3).all()
    assert np.median(found[second + 3 : -second]) > 0.8


@pytest.mark.model
@pytest.mark.parametrize("quieter_db", [10, 20, 30, 40])
def test_level_does_not_matter(said: NDArray[np.float64], quieter_db: float) -> None:
    loud = probabilities(said) > 0.3
    quiet = probabilities(said * 10 ** (-quieter_db / 20)) > 0.3

    assert (loud == quiet).mean() > 0.9
    assert quiet.sum() > 0.8 * loud.sum()


@pytest.mark.slow
@pytest.mark.model
def test_silence_and_noise_are_no_speech() -> None:
    rng = np.random.default_rng(2)
    white = rng.standard_normal(20 * RATE_HZ)
    brown = np.cumsum(white)
    brown -= np.convolve(brown, np.ones(400) / 400, "same")
    for sound in (0 * white, 0.05 * white, 0.1 * brown / np.abs(brown).max()):
        assert (probabilities(sound) > 0.3).mean() < 0.02


@pytest.mark.model
def test_chunks_do_not_matter(said: NDArray[np.float64]) -> None:
    activity, sound = VoiceActivity(), said.astype(np.float32)
    parts = [
        p for n in range(0, len(sound), 777) for p in activity.push(sound[n : n + 777])
    ]

    assert parts == pytest.approx(probabilities(said), abs=1e-5)


def test_a_missing_network_is_one_line_with_its_mend(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    recognizer._network.cache_clear()
    monkeypatch.setattr(recognizer, "file_in_package", lambda *_: None)

    with pytest.raises(SpeechError, match="voice activity network") as caught:
        VoiceActivity()

    assert "\n" not in caught.value.line()
    assert "pip install" in caught.value.line()


def test_a_spoilt_network_names_its_file(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    spoilt = tmp_path / "silero_vad.onnx"
    spoilt.write_bytes(b"no network")
    recognizer._network.cache_clear()
    monkeypatch.setattr(recognizer, "file_in_package", lambda *_: spoilt)

    with pytest.raises(SpeechError, match="spoilt") as caught:
        VoiceActivity()

    assert str(spoilt) in caught.value.line()
    assert "\n" not in caught.value.line()
