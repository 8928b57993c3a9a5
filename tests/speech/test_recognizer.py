"""A hearing that goes on after a stop hears what a whole one does."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.speech.recognizer import transcribe
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

LENGTH_S = 60


class Note:
    """An engine that hears a note in every stretch, and remembers the stretches."""

    name = "note"
    model = "1"

    def __init__(self) -> None:
        self.heard: list[tuple[float, float]] = []

    def decode(self, stretch: Block) -> Utterance | None:
        spoken = [stretch.start_s + at for span in stretch.voiced for at in span]
        self.heard.append((round(spoken[0], 3), round(spoken[-1], 3)))
        word = Word(
            text="yellow back",
            start_s=spoken[0],
            end_s=spoken[-1],
            confidence=0.9,
            source=WordSource.PHRASE,
        )
        return Utterance(words=(word,), start_s=word.start_s, end_s=word.end_s)


def hums() -> NDArray[np.float32]:
    """Hums of another pitch and length each, which tire the ear for voices."""
    rng = np.random.default_rng(5)
    time_s = np.arange(LENGTH_S * SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    pitch = 140 * (1 + 0.2 * np.sin(2 * np.pi * 0.11 * time_s))
    phase = 2 * np.pi * np.cumsum(pitch) / SAMPLE_RATE_HZ
    voice = sum(np.sin(k * phase) / k for k in range(1, 20))
    burst = 0.5 * (1 + np.sign(np.sin(2 * np.pi * 0.35 * time_s)))
    sound = 0.1 * voice * burst + 0.002 * rng.standard_normal(len(time_s))
    return np.asarray(sound, np.float32)


def blocks_of(sound: NDArray[np.float32]) -> Iterator[Block]:
    for second, at in enumerate(range(0, len(sound), SAMPLE_RATE_HZ)):
        yield Block(start_s=float(second), samples=sound[at : at + SAMPLE_RATE_HZ])


@pytest.mark.parametrize("every", [pytest.param(1, marks=pytest.mark.slow), 10])
def test_a_hearing_goes_on_wherever_it_was_stopped(every: int) -> None:
    sound, whole, marks = hums(), Note(), [0.0]
    told = list(transcribe(blocks_of(sound), whole, progress=marks.append))
    assert len(told) > 6

    for mark in marks[:-1:every]:
        again, later = Note(), list[float]()
        rest = transcribe(blocks_of(sound), again, progress=later.append, from_s=mark)
        heard = [round(utterance.start_s, 3) for utterance in rest]

        assert heard == [round(u.start_s, 3) for u in told if u.start_s >= mark]
        assert np.round(later, 3).tolist() == [
            round(one, 3) for one in marks if one > mark
        ]
