"""Running sound as frames of 10 ms with their levels in the band of speech."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import butter, sosfilt

from treeward.audio.records import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

FRAME = 160  # samples, 10 ms
BAND_HZ = (250.0, 3800.0)  # telephone band: speech is there, wind mostly is not
SILENCE_DB = -75.0  # of full scale; below it nothing counts as speech


class LevelFrames:
    """Push sound of any length in, take whole frames out."""

    def __init__(self) -> None:
        self._sos = butter(2, BAND_HZ, "band", fs=SAMPLE_RATE_HZ, output="sos")
        self._filter = np.zeros((len(self._sos), 2))
        self._pending: Samples = np.zeros(0, np.float32)

    def push(self, samples: Samples) -> Iterator[tuple[Samples, float]]:
        """Take sound that follows on; yield frames and their levels, dB of full scale.

        The frames are the sound as it came, unfiltered.
        """
        sound = np.concatenate([self._pending, samples])
        count = len(sound) // FRAME
        self._pending = sound[count * FRAME :]
        if not count:
            return
        frames = sound[: count * FRAME].reshape(count, FRAME)
        banded, self._filter = sosfilt(self._sos, frames.ravel(), zi=self._filter)
        power = np.square(banded).reshape(count, FRAME).mean(axis=1)
        levels_db = 10 * np.log10(power + 1e-12)
        yield from zip(frames, levels_db.tolist(), strict=True)
