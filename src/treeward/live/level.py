"""The level meter, and what it says about a microphone that is not right."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio.blocks import SAMPLE_RATE_HZ

from .messages import Level

if TYPE_CHECKING:
    from numpy.typing import NDArray

WINDOW_S = 5.0  # over which faults are looked for; choice
CLIP_AT = 0.985  # of full scale; a limiter rounds just below it
CLIPPED_SHARE = 0.002  # of samples in the window; guess
SILENT_DBFS = -72.0  # below the self-noise of any live microphone; guess
FLOOR_DBFS = -120.0


class LevelMeter:
    """Follows the sound; used from one thread, read from any."""

    def __init__(self) -> None:
        self._window: deque[tuple[int, float, int, float]] = deque()
        self._samples = 0
        self.level = Level(rms_dbfs=FLOOR_DBFS, peak_dbfs=FLOOR_DBFS)

    def push(self, samples: NDArray[np.float32]) -> Level:
        """Take a chunk of sound; return how loud it is and what is wrong."""
        if not len(samples):
            return self.level
        size = np.abs(samples)
        power = float(np.mean(np.square(samples, dtype=np.float64)))
        peak = float(size.max())
        clipped = int(np.count_nonzero(size >= CLIP_AT))
        self._window.append((len(samples), power * len(samples), clipped, peak))
        self._samples += len(samples)
        while self._samples - self._window[0][0] > WINDOW_S * SAMPLE_RATE_HZ:
            self._samples -= self._window.popleft()[0]
        self.level = Level(
            rms_dbfs=_db(np.sqrt(power)), peak_dbfs=_db(peak), warning=self._warning()
        )
        return self.level

    def _warning(self) -> str:
        if self._samples < 0.9 * WINDOW_S * SAMPLE_RATE_HZ:
            return ""
        if sum(w[2] for w in self._window) > CLIPPED_SHARE * self._samples:
            return "too loud: turn the microphone down or move it away"
        power = sum(w[1] for w in self._window) / self._samples
        if _db(np.sqrt(power)) < SILENT_DBFS:
            return "silence: the microphone is off, muted, or the wrong one"
        return ""


def _db(amplitude: float) -> float:
    return max(FLOOR_DBFS, 20.0 * float(np.log10(max(amplitude, 1e-6))))
