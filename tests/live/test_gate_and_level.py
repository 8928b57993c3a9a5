from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.audio import SAMPLE_RATE_HZ
from treeward.live.answer import TAIL_S, WINDOW_S, Gate, LevelMeter


def ones(seconds: float) -> np.ndarray:
    return np.ones(round(seconds * SAMPLE_RATE_HZ), np.float32)


def test_sound_outside_answers_goes_through_untouched() -> None:
    gate = Gate()
    gate.shut(1.0)
    gate.reopen(2.0)
    sound = ones(0.5)

    assert gate.mute(sound, 0.4) is sound
    assert gate.mute(sound, 2.0 + TAIL_S) is sound


@given(st.floats(0, 5), st.floats(0.05, 2), st.floats(0, 5), st.integers(1, 8000))
def test_exactly_the_answer_and_its_tail_are_muted(
    answer_s: float, length_s: float, chunk_s: float, samples: int
) -> None:
    gate = Gate()
    gate.shut(answer_s)
    start, end = gate.reopen(answer_s + length_s)
    sound = np.ones(samples, np.float32)

    muted = gate.mute(sound, chunk_s)

    at = chunk_s + np.arange(samples) / SAMPLE_RATE_HZ
    inside = (at > start + 1e-4) & (at < end - 1e-4)
    outside = (at < start - 1e-4) | (at > end + 1e-4)
    assert (end - start) == pytest.approx(length_s + TAIL_S)
    assert np.abs(muted[inside]).max(initial=0.0) < 0.1
    assert (muted[outside] == 1.0).all()


def test_an_answer_that_still_sounds_is_muted() -> None:
    gate = Gate()
    gate.shut(1.0)

    muted = gate.mute(ones(1.0), 0.5)

    assert (muted[:8000] == 1.0).all()
    assert np.abs(muted[8000:]).max() < 0.1


def test_what_replaces_the_answer_is_as_loud_as_the_background() -> None:
    gate = Gate()
    rng = np.random.default_rng(3)
    background = 0.004 * rng.standard_normal(SAMPLE_RATE_HZ, dtype=np.float32)
    for index in range(120):
        gate.mute(background, float(index))
    gate.shut(120.0)

    muted = gate.mute(ones(1.0), 120.0)

    assert float(np.sqrt(np.mean(muted**2))) == pytest.approx(0.004, rel=0.5)


def feed(meter: LevelMeter, sound: np.ndarray) -> str:
    for first in range(0, len(sound), 1600):
        meter.push(sound[first : first + 1600].astype(np.float32))
    return meter.level.warning


def test_level_of_a_full_scale_sine() -> None:
    t = np.arange(SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    level = LevelMeter().push((0.9 * np.sin(2 * np.pi * 440 * t)).astype(np.float32))

    assert level.peak_dbfs == pytest.approx(20 * np.log10(0.9), abs=0.01)
    assert level.rms_dbfs == pytest.approx(20 * np.log10(0.9 / np.sqrt(2)), abs=0.01)


def test_clipping_is_told_and_forgotten_when_it_ends() -> None:
    meter = LevelMeter()
    t = np.arange(round(2 * WINDOW_S * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    speech = 3.0 * np.sin(2 * np.pi * 200 * t)

    loud = feed(meter, np.clip(speech, -1, 1))
    soft = feed(meter, 0.1 * np.clip(speech, -1, 1))

    assert loud.startswith("too loud")
    assert soft == ""


@pytest.mark.parametrize("rms", [0.0, 1e-5])
def test_a_dead_microphone_is_told(rms: float) -> None:
    rng = np.random.default_rng(1)
    silence = rms * rng.standard_normal(round(2 * WINDOW_S * SAMPLE_RATE_HZ))

    assert feed(LevelMeter(), silence).startswith("silence")


def test_a_quiet_heath_is_no_fault() -> None:
    rng = np.random.default_rng(1)
    quiet = 10 ** (-60 / 20) * rng.standard_normal(round(3 * WINDOW_S * SAMPLE_RATE_HZ))

    assert feed(LevelMeter(), quiet) == ""


def test_nothing_is_judged_from_a_moment() -> None:
    assert feed(LevelMeter(), np.zeros(1600)) == ""
