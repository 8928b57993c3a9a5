"""Voice activity for tests whose sounds are no speech: whatever is loud is a voice."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from treeward.speech.recognizer import FRAME

if TYPE_CHECKING:
    from numpy.typing import NDArray

IN_USE = "treeward.speech.recognizer.VoiceActivity"  # what a test puts it in place of
LOUD = 0.01  # of full scale, RMS of a frame


class LoudActivity:
    """Stands in for `VoiceActivity`: 1 for a loud frame, 0 for a quiet one."""

    def __init__(self) -> None:
        self._rest = np.zeros(0, np.float32)

    def push(self, samples: NDArray[np.float32]) -> list[float]:
        sound = np.concatenate((self._rest, samples))
        count = len(sound) // FRAME
        self._rest = sound[count * FRAME :]
        frames = sound[: count * FRAME].reshape(count, FRAME)
        return [
            float(math.sqrt(float(np.mean(np.square(frame)))) > LOUD)
            for frame in frames
        ]
