"""The sieve lets speech through and keeps steady noise back."""

from __future__ import annotations

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.speech.sieve import Rises, spoken_spans


def test_sieve_drops_steady_noise_and_keeps_speech_with_a_margin() -> None:
    rng = np.random.default_rng(0)
    noise = (0.01 * rng.standard_normal(10 * SAMPLE_RATE_HZ)).astype(np.float32)
    assert spoken_spans(noise) == []
    time_s = np.arange(SAMPLE_RATE_HZ // 2) / SAMPLE_RATE_HZ
    buzz = sum(np.sin(2 * np.pi * 150 * k * time_s) / k for k in range(1, 20))
    noise[64_000:72_000] += np.asarray(0.05 * buzz, np.float32)
    ((first, last),) = spoken_spans(noise)
    assert 40_000 < first <= 64_000 - 1_600
    assert 72_000 + 1_600 <= last < 96_000


def test_running_sound_rises_where_somebody_speaks() -> None:
    rng = np.random.default_rng(1)
    noise = (0.01 * rng.standard_normal(30 * SAMPLE_RATE_HZ)).astype(np.float32)
    time_s = np.arange(SAMPLE_RATE_HZ // 2) / SAMPLE_RATE_HZ
    harmonics = [np.sin(2 * np.pi * 150 * k * time_s) / k for k in range(1, 20)]
    voice = np.sum(harmonics, axis=0)
    begin = 20 * SAMPLE_RATE_HZ + 1000
    noise[begin : begin + len(voice)] += np.asarray(0.05 * voice, np.float32)
    rises = Rises()
    told = [rises.push(second) for second in np.split(noise, 30)]
    # What the quiet level is has to be heard first.
    assert told == [number < 2 or number == 20 for number in range(30)]
