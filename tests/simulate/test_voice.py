from __future__ import annotations

import sys
from typing import Any

import numpy as np
import pytest

from treeward.errors import SpeechError
from treeward.simulate import sound as voice


def test_a_missing_voice_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "hibari", None)
    with pytest.raises(
        SpeechError, match=r"hibari-tts is not installed.*pip install hibari-tts scipy"
    ):
        voice.HibariVoice()


def test_utterances_are_cut_and_levelled() -> None:
    hum = 0.01 * np.sin(2 * np.pi * 200 * np.arange(16_000) / 16_000)
    padded = np.concatenate([np.zeros(4000), hum, np.zeros(8000)])
    out = voice.tidy(padded)
    assert len(out) == pytest.approx(16_000, abs=50)
    level_dbfs = 20 * np.log10(voice.active_level(out.astype(np.float64)))
    assert level_dbfs == pytest.approx(voice.SPEECH_LEVEL_DBFS, abs=0.5)


def test_silence_stays_empty() -> None:
    assert len(voice.tidy(np.zeros(1000))) == 0


def test_resampling_keeps_the_pitch() -> None:
    hum = np.sin(2 * np.pi * 440 * np.arange(24_000) / 24_000)
    out = voice.retune(hum, 24_000, 16_000)
    assert len(out) == pytest.approx(16_000, abs=2)
    assert np.argmax(np.abs(np.fft.rfft(out))) == pytest.approx(440, abs=1)


@pytest.mark.slow
@pytest.mark.model
def test_the_packaged_voice_repeats_by_seed() -> None:
    pytest.importorskip("hibari", reason="hibari-tts is not installed")
    speaker: Any = voice.HibariVoice("british")
    first = speaker.say("yellow back", rate_hz=16_000, seed=1)
    assert 0.3 * 16_000 < len(first) < 1.5 * 16_000
    assert np.array_equal(first, speaker.say("yellow back", rate_hz=16_000, seed=1))
    deep = voice.HibariVoice("british", pitch=0.8)
    assert np.abs(deep.say("yellow back", rate_hz=16_000, seed=1)).max() < 1
