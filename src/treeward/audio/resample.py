"""Any rate to 16 kHz, chunk by chunk."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .blocks import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray


class Resampler:
    """Changes the rate of a mono stream to 16 kHz with FFmpeg's resampler.

    Parameters
    ----------
    rate_hz
        Rate of what comes in, in Hz.
    """

    def __init__(self, rate_hz: int) -> None:
        if rate_hz <= 0:
            raise ValueError(f"rate_hz must be positive, not {rate_hz}")
        self._rate_hz = rate_hz

    def stream(
        self, chunks: Iterator[NDArray[np.float32]]
    ) -> Iterator[NDArray[np.float32]]:
        """Yield the chunks at 16 kHz; what is held back comes at the end."""
        if self._rate_hz == SAMPLE_RATE_HZ:
            yield from chunks
            return
        import av

        resampler = av.AudioResampler(format="flt", layout="mono", rate=SAMPLE_RATE_HZ)
        for chunk in chunks:
            row = np.ascontiguousarray(chunk, np.float32)[np.newaxis]
            frame = av.AudioFrame.from_ndarray(row, format="flt", layout="mono")
            frame.sample_rate = self._rate_hz
            for out in resampler.resample(frame):
                yield out.to_ndarray()[0]
        for out in resampler.resample(None):
            yield out.to_ndarray()[0]
