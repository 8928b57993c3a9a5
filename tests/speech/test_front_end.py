"""The front end keeps speech and time, and lowers steady noise."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.audio.records import SAMPLE_RATE_HZ, Block
from treeward.speech.endpoint import Endpointer
from treeward.speech.front_end import FrontEnd
from treeward.speech.windows import LONGEST_S, cut_windows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Samples = NDArray[np.float32]


def voice(seconds: float, *, level: float = 0.1) -> Samples:
    """Give a voice-like buzz."""
    time_s = np.arange(int(seconds * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    buzz = sum(np.sin(2 * np.pi * 140 * k * time_s) / k for k in range(1, 25))
    return np.asarray(level * buzz, np.float32)


def hiss(seconds: float, level: float, seed: int = 0) -> Samples:
    rng = np.random.default_rng(seed)
    noise = level * rng.standard_normal(int(seconds * SAMPLE_RATE_HZ))
    return np.asarray(noise, np.float32)


def through(front_end: FrontEnd, sound: Samples, sizes: Sequence[int]) -> Samples:
    parts, at = [], 0
    for size in sizes:
        parts.append(front_end.push(sound[at : at + size]))
        at += size
    parts += [front_end.push(sound[at:]), front_end.flush()]
    return np.concatenate(parts)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(0, 5000), max_size=8), st.booleans())
def test_cutting_into_blocks_changes_nothing(sizes: list[int], suppress: bool) -> None:
    sound = hiss(1.5, 0.05) + voice(1.5)
    whole = through(FrontEnd(suppress=suppress), sound, [])
    assert len(whole) == len(sound)
    cut = through(FrontEnd(suppress=suppress), sound, sizes)
    np.testing.assert_allclose(cut, whole, atol=1e-6)


def test_steady_noise_is_lowered_and_a_voice_kept_in_time() -> None:
    sound = hiss(6.0, 0.01)
    sound[48_000:64_000] += voice(1.0)
    clean = through(FrontEnd(), sound, [])
    before, during = clean[32_000:46_000], clean[49_000:63_000]
    assert np.std(before) < 0.5 * 0.01
    assert np.std(during) == pytest.approx(np.std(sound[49_000:63_000]), rel=0.15)
    lag = np.argmax(np.correlate(during[200:-200], sound[49_000:63_000], "valid")[::-1])
    assert abs(int(lag) - 200) <= 2


def test_digital_silence_stays_finite() -> None:
    clean = through(FrontEnd(), np.zeros(32_000, np.float32), [])
    assert np.isfinite(clean).all()
    assert np.abs(clean).max() < 1e-6


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(1, 60_000), min_size=1, max_size=12))
def test_windows_hold_every_sample_once(sizes: list[int]) -> None:
    rng = np.random.default_rng(1)
    blocks, at = [], 0
    for size in sizes:
        samples = rng.standard_normal(size).astype(np.float32)
        blocks.append(Block(start_s=at / SAMPLE_RATE_HZ, samples=samples))
        at += size
    windows = list(cut_windows(blocks))
    joined = np.concatenate([window.samples for window in windows])
    np.testing.assert_array_equal(joined, np.concatenate([b.samples for b in blocks]))
    for window in windows:
        assert len(window.samples) <= LONGEST_S * SAMPLE_RATE_HZ
    ends = [0.0, *(window.end_s for window in windows)]
    for window, end_s in zip(windows, ends, strict=False):
        assert window.start_s == pytest.approx(end_s, abs=1e-4)


def test_windows_are_cut_in_the_pause() -> None:
    sound = hiss(20.0, 0.001)
    for start in (0.0, 3.2, 6.5, 9.9, 12.5, 15.5):
        at = int(start * SAMPLE_RATE_HZ)
        sound[at : at + 40_000] += voice(2.5)
    first = next(iter(cut_windows([Block(start_s=0.0, samples=sound)])))
    pauses = ((2.5, 3.2), (5.7, 6.5), (9.0, 9.9))
    assert any(low < first.end_s < high for low, high in pauses)


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.01])
@pytest.mark.parametrize("size", [160, 1000, 16_000])
def test_endpointer_keeps_phrases_whole_and_apart(noise: float, size: int) -> None:
    sound = hiss(12.0, noise) if noise else np.zeros(192_000, np.float32)
    spoken = [(1.0, 1.6), (3.0, 4.5), (6.0, 6.3), (6.6, 7.5), (9.0, 10.0)]
    for low_s, high_s in spoken:
        at = int(low_s * SAMPLE_RATE_HZ)
        part = voice(high_s - low_s)
        sound[at : at + len(part)] += part
    endpointer = Endpointer(start_s=5.0)
    closed = []
    for at in range(0, len(sound), size):
        closed += endpointer.push(sound[at : at + size])
    closed += endpointer.flush()
    # A pause of 0.3 s stands inside a note; longer ones part notes.
    wanted = [(1.0, 1.6), (3.0, 4.5), (6.0, 7.5), (9.0, 10.0)]
    assert len(closed) == len(wanted)
    for block, (low_s, high_s) in zip(closed, wanted, strict=True):
        assert 5 + low_s - 0.5 < block.start_s <= 5 + low_s
        assert 5 + high_s <= block.end_s < 5 + high_s + 0.6
        at = int((block.start_s - 5.0) * SAMPLE_RATE_HZ)
        np.testing.assert_array_equal(
            block.samples, sound[at : at + len(block.samples)]
        )


def test_endpointer_closes_half_a_second_after_the_last_word() -> None:
    sound = np.concatenate([hiss(2.0, 0.002), voice(1.0), hiss(2.0, 0.002, 1)])
    endpointer = Endpointer()
    for at in range(0, len(sound), 160):
        if endpointer.push(sound[at : at + 160]):
            assert at / SAMPLE_RATE_HZ < 3.0 + 0.65
            assert not endpointer.in_speech
            break
    else:
        pytest.fail("nothing was closed")


def test_endpointer_cuts_speech_without_end() -> None:
    endpointer = Endpointer()
    time_s = np.arange(30 * SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    syllables = voice(30.0) * (0.55 + 0.45 * np.sin(2 * np.pi * 4 * time_s))
    sound = np.concatenate([hiss(1, 0.001), syllables.astype(np.float32)])
    closed = list(endpointer.push(sound))
    closed += endpointer.flush()
    assert len(closed) >= 3
    assert all(len(b.samples) <= 12.1 * SAMPLE_RATE_HZ for b in closed)
    for before, after in itertools.pairwise(closed):
        assert after.start_s == pytest.approx(before.end_s, abs=1e-6)
