"""Voices of people with longer and shorter vocal tracts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.simulate.voice import HibariVoice
from treeward.speech.cepstra import CENTRES_HZ, log_mel_of
from treeward.speech.vocal_tract import AS_IT_IS, FACTORS, SETTLED_FRAMES, Voice

scores = st.lists(st.floats(-1e4, 0), min_size=len(FACTORS), max_size=len(FACTORS))


def resonance(hz: float) -> np.ndarray:
    """Give a frame with one peak, wide enough to be seen by several filters."""
    mel = 2595 * np.log10(1 + CENTRES_HZ / 700)
    at = 2595 * np.log10(1 + hz / 700)
    return np.asarray([8 + 3 * np.exp(-0.5 * ((mel - at) / 200) ** 2)])


@pytest.mark.parametrize("factor", FACTORS)
def test_a_resonance_is_moved_to_where_the_model_knows_it(factor: float) -> None:
    voice = Voice()
    flat = np.full((1, len(CENTRES_HZ)), 8.0)

    def shape(hz: float, read_at: float) -> np.ndarray:
        there = voice.cepstra(resonance(hz), read_at)
        return np.asarray(there - voice.cepstra(flat, read_at))[:, 1:]

    usual = shape(1500.0, AS_IT_IS)
    # Who has every resonance higher is read at higher frequencies.
    off = np.abs(shape(1500.0 * factor, factor) - usual).max()
    unread = np.abs(shape(1500.0 * factor, AS_IT_IS) - usual).max()
    # On the mel scale a peak gets a little narrower or wider as it moves.
    assert off <= unread / 3


def test_nobody_is_known_at_first() -> None:
    voice = Voice()
    assert voice.factor == AS_IT_IS
    assert not voice.settled


@given(st.lists(st.tuples(scores, st.integers(1, 400)), min_size=1, max_size=20))
def test_the_best_sum_wins_unless_the_usual_is_near(
    heard: list[tuple[list[float], int]],
) -> None:
    voice = Voice()
    for each, frames in heard:
        voice.compare(each, frames)
    sums = np.sum([each for each, _ in heard], axis=0)
    best, usual = sums.max(), sums[FACTORS.index(AS_IT_IS)]
    chosen = sums[FACTORS.index(voice.factor)]
    assert voice.factor == AS_IT_IS or chosen == pytest.approx(best)
    assert chosen >= usual - 1e-6
    assert voice.settled == (sum(frames for _, frames in heard) >= SETTLED_FRAMES)


def test_the_order_of_what_was_said_does_not_matter_to_the_mean() -> None:
    said = HibariVoice("british").say("yellow back", rate_hz=16_000, seed=1)
    log_mel = log_mel_of(said)
    one, other = Voice(), Voice()
    for part in np.array_split(log_mel, 5):
        one.take(part)
    for part in reversed(np.array_split(log_mel, 5)):
        other.take(part)
    for factor in FACTORS:
        np.testing.assert_allclose(
            one.cepstra(log_mel, factor), other.cepstra(log_mel, factor), atol=1e-3
        )
