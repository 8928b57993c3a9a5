"""Running sound at any rate to 16 kHz, without seams between chunks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from numpy.typing import NDArray


class Resampler:
    """Resamples mono float32 sound chunk by chunk (FFmpeg's resampler, by PyAV)."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._inner: Any = None
        if rate_hz != SAMPLE_RATE_HZ:
            import av

            self._inner = av.AudioResampler(
                format="flt", layout="mono", rate=SAMPLE_RATE_HZ
            )

    def push(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return what is ready after `samples`; some may stay inside."""
        if self._inner is None or not len(samples):
            return samples
        import av

        row = np.ascontiguousarray(samples[None, :], dtype=np.float32)
        frame = av.AudioFrame.from_ndarray(row, format="flt", layout="mono")
        frame.sample_rate = self._rate_hz
        return self._take(frame)

    def flush(self) -> NDArray[np.float32]:
        """Return what is left inside, at the end of the sound."""
        if self._inner is None:
            return np.zeros(0, np.float32)
        return self._take(None)

    def _take(self, frame: Any) -> NDArray[np.float32]:  # noqa: ANN401 (PyAV frame)
        parts = [out.to_ndarray().reshape(-1) for out in self._inner.resample(frame)]
        if not parts:
            return np.zeros(0, np.float32)
        return np.asarray(np.concatenate(parts), dtype=np.float32)
