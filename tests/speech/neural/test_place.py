"""When a note was said: tones in noise, through a recogniser that hears loudness."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from treeward.speech.neural.model import place_notes

RATE_HZ = 16_000
TIME_S = np.arange(3 * RATE_HZ) / RATE_HZ


class Loudness:
    """Finds a note likeliest where it has as much sound as it has pieces."""

    def states(self, samples: Any) -> Any:
        return samples

    def weigh(self, states: Any, pieces: Any) -> Any:
        loud_s = float((np.abs(states) > 0.02).sum()) / RATE_HZ
        return np.array([-abs(loud_s - 0.3 * len(pieces))])


def placed(
    noise: float, spans: list[tuple[float, float]], notes: list[list[int]]
) -> list[tuple[float, float]]:
    tones = sum(np.sin(2 * np.pi * hz * TIME_S) for hz in (250, 700, 1400, 2900))
    on = sum((a <= TIME_S) & (b > TIME_S) for a, b in spans)
    sound = noise * np.random.default_rng(5).standard_normal(len(TIME_S))
    sound += 0.1 * tones * on
    model: Any = Loudness()
    voiced = [(spans[0][0], spans[-1][1])]
    return place_notes(model, sound.astype(np.float32), notes, voiced)


@pytest.mark.parametrize("noise", [0.001, 0.003])
@pytest.mark.parametrize("start_s", [0.8, 1.13])
def test_a_tone_in_noise_begins_within_30_ms(noise: float, start_s: float) -> None:
    ((begin_s, _),) = placed(noise, [(start_s, start_s + 0.7)], [[1, 2]])

    assert begin_s == pytest.approx(start_s, abs=0.03)


def test_two_notes_are_parted_at_the_dip() -> None:
    first, second = placed(0.001, [(0.8, 1.4), (1.5, 2.1)], [[1, 2], [3, 4]])

    assert 1.3 < first[1] <= second[0] < 1.6
