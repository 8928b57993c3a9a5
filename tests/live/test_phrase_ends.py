from __future__ import annotations

import numpy as np
import pytest

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.live.phrase_ends import PhraseEnds

PHRASES = [(3.0, 0.8), (6.0, 1.0), (9.0, 0.7), (12.0, 1.5)]


def speech(seconds: float, seed: int) -> np.ndarray:
    """Noise in the speech band, loud and soft like syllables."""
    rng = np.random.default_rng(seed)
    n = round(seconds * SAMPLE_RATE_HZ)
    t = np.arange(n) / SAMPLE_RATE_HZ
    syllables = 0.55 + 0.45 * np.sin(2 * np.pi * 4 * t)
    carrier = np.sin(2 * np.pi * 700 * t) + 0.5 * rng.standard_normal(n)
    return 0.1 * syllables * carrier


def scene(noise: float, gusts: bool = False) -> np.ndarray:
    rng = np.random.default_rng(2)
    n = 16 * SAMPLE_RATE_HZ
    sound = noise * rng.standard_normal(n)
    if gusts:
        step = SAMPLE_RATE_HZ // 10
        swing = 10 ** (rng.normal(0, 3.0, n // step) / 20)
        sound *= np.repeat(swing, step)
    for start_s, length_s in PHRASES:
        first = round(start_s * SAMPLE_RATE_HZ)
        words = speech(length_s, first)
        sound[first : first + len(words)] += words
    return sound.astype(np.float32)


@pytest.mark.parametrize(
    ("noise", "gusts"), [(1e-4, False), (0.005, False), (0.01, False), (0.005, True)]
)
def test_every_phrase_comes_out_whole_and_soon(noise: float, gusts: bool) -> None:
    ends = PhraseEnds()
    sound = scene(noise, gusts)
    closed = []
    for first in range(0, len(sound), 800):
        at_s = (first + 800) / SAMPLE_RATE_HZ
        closed += [(block, at_s) for block in ends.push(sound[first : first + 800])]

    for start_s, length_s in PHRASES:
        end_s = start_s + length_s
        found = [
            (block, at_s)
            for block, at_s in closed
            if block.start_s <= start_s + 0.05 and block.end_s >= end_s - 0.05
        ]
        assert len(found) == 1, start_s
        assert found[0][1] - end_s < 0.7, start_s


def test_blocks_hold_the_sound_of_their_seconds() -> None:
    ends = PhraseEnds()
    sound = scene(0.002)

    blocks = [
        b for i in range(0, len(sound), 777) for b in ends.push(sound[i : i + 777])
    ]

    assert blocks
    for block in blocks:
        first = round(block.start_s * SAMPLE_RATE_HZ)
        assert np.array_equal(block.samples, sound[first : first + len(block.samples)])


def test_silence_and_steady_noise_hold_no_phrase() -> None:
    rng = np.random.default_rng(1)
    noise = (0.02 * rng.standard_normal(10 * SAMPLE_RATE_HZ)).astype(np.float32)

    assert PhraseEnds().push(np.zeros(10 * SAMPLE_RATE_HZ, np.float32)) == []
    assert PhraseEnds().push(noise) == []


def test_a_phrase_that_is_cut_off_by_the_end_is_given() -> None:
    ends = PhraseEnds()
    ends.push(scene(0.002)[: round(3.5 * SAMPLE_RATE_HZ)])

    assert ends.in_speech
    (block,) = ends.flush()
    assert block.end_s == pytest.approx(3.5, abs=0.02)
    assert not ends.in_speech


def test_endless_talk_is_cut_into_pieces_that_can_be_recognised() -> None:
    ends = PhraseEnds()
    talk = speech(40.0, 3).astype(np.float32)
    quiet = np.full(5 * SAMPLE_RATE_HZ, 1e-5, np.float32)

    blocks = ends.push(np.concatenate([quiet, talk]))

    assert max(len(b.samples) for b in blocks) <= 8 * SAMPLE_RATE_HZ


def test_notes_in_close_order_are_all_kept() -> None:
    """Speech that fills most of the last seconds must not become the background."""
    rng = np.random.default_rng(3)
    time_s = np.arange(int(0.9 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    order = np.arange(1, 20)[:, None]
    voice = 0.1 * (np.sin(2 * np.pi * 150 * order * time_s) / order).sum(axis=0)
    pause = np.zeros(int(0.55 * SAMPLE_RATE_HZ))
    notes = 20
    sound = np.concatenate([pause, pause, *([voice, pause] * notes), pause])
    sound += 0.001 * rng.standard_normal(len(sound))
    ends = PhraseEnds()

    phrases = ends.push(sound.astype(np.float32)) + ends.flush()

    assert len(phrases) == notes
    assert all(len(p.samples) >= len(voice) for p in phrases)
