"""Sound made easier to recognise: high-pass and noise taken off, block by block.

The noise suppressor is the log-spectral amplitude estimator of Ephraim, Malah 1985
(IEEE Trans. ASSP 33:443-445) with the decision-directed a-priori signal-to-noise
ratio of Ephraim, Malah 1984 (IEEE Trans. ASSP 32:1109-1121), over a running-minimum
noise estimate (Martin 1994, Proc. EUSIPCO, 1182-1185).
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import butter, sosfilt, sosfilt_zi
from scipy.special import exp1

from treeward.audio.records import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from numpy.typing import NDArray

WINDOW = 512  # samples, 32 ms
HOP = 160  # samples, 10 ms
HIGH_PASS_HZ = 80.0  # below any voice; wind and handling noise are there
GAIN_FLOOR = 0.2  # measured best for recognition; lower eats weak consonants
_FOLLOW = 0.98  # decision-directed weight, Ephraim, Malah 1984
_SMOOTH = 0.85  # of the power spectrum before its minimum is taken, guess
_MINIMUM_PARTS = 8  # parts of 0.25 s: a minimum over 2 s outlasts any note
_PART_FRAMES = 25
_MINIMUM_BIAS = 1.5  # the minimum lies below the mean by about this, Martin 1994
_LEAST_PRIOR = 10 ** (-25 / 10)
_MOST_POSTERIOR = 40.0**2
# exp(E1(v)/2) of Ephraim, Malah 1985 eq. 20 over log10(v), by table for speed.
_TABLE_FROM, _TABLE_TO, _TABLE_STEPS = -6.0, 3.0, 4500
_TABLE = np.exp(0.5 * exp1(10.0 ** np.linspace(_TABLE_FROM, _TABLE_TO, _TABLE_STEPS)))


class FrontEnd:
    """Cleans a stream of sound; what goes in comes out later by `delay` samples.

    Parameters
    ----------
    suppress
        Take noise off; without it only the high-pass and the dither are done.
    """

    delay = 0  # samples by which what comes out is shifted: none, it is only late

    def __init__(self, *, suppress: bool = True) -> None:
        self._suppress = suppress
        self._sos = butter(2, HIGH_PASS_HZ, "high", fs=SAMPLE_RATE_HZ, output="sos")
        self._state = sosfilt_zi(self._sos) * 0.0
        self._window = np.hanning(WINDOW + 1)[:-1]
        # Analysis and synthesis windows overlap-add to this.
        self._norm = float(np.sum(self._window**2)) / HOP
        self._pending: NDArray[np.float64] = np.zeros(WINDOW - HOP)
        self._overlap: NDArray[np.float64] = np.zeros(WINDOW)
        self._skip = WINDOW - HOP  # samples of the run-in, which are not sound
        self._noise = _NoiseFloor()
        self._amplitude2 = np.zeros(WINDOW // 2 + 1)

    def push(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take in samples and give out those that are ready."""
        if not len(samples):
            return np.zeros(0, np.float32)
        clean, self._state = sosfilt(self._sos, samples, zi=self._state)
        if not self._suppress:
            return np.asarray(clean, np.float32)
        buffer = np.concatenate([self._pending, clean])
        count = max((len(buffer) - WINDOW) // HOP + 1, 0)
        out = np.empty(count * HOP)
        if count:
            frames = np.lib.stride_tricks.sliding_window_view(buffer, WINDOW)[::HOP]
            spectra = np.fft.rfft(frames[:count] * self._window, axis=1)
            spectra *= self._gains(np.abs(spectra) ** 2)
            shaped = np.fft.irfft(spectra, WINDOW, axis=1) * (self._window / self._norm)
            for i in range(count):
                self._overlap += shaped[i]
                out[i * HOP : (i + 1) * HOP] = self._overlap[:HOP]
                self._overlap[:-HOP] = self._overlap[HOP:]
                self._overlap[-HOP:] = 0.0
        self._pending = buffer[count * HOP :]
        skipped = min(self._skip, len(out))
        self._skip -= skipped
        return out[skipped:].astype(np.float32)

    def flush(self) -> NDArray[np.float32]:
        """Give out the samples still held back, at the end of the sound."""
        if not self._suppress:
            return np.zeros(0, np.float32)
        held = len(self._pending)
        tail = self.push(np.zeros(WINDOW, np.float32))
        return tail[:held] if held else tail[:0]

    def _gains(self, power: NDArray[np.float64]) -> NDArray[np.float64]:
        noise = self._noise.track(power)
        posterior = np.minimum(power / noise, _MOST_POSTERIOR)
        gains = np.empty_like(power)
        amplitude2 = self._amplitude2
        for i in range(len(power)):
            prior = _FOLLOW * amplitude2 / noise[i] + (1 - _FOLLOW) * np.maximum(
                posterior[i] - 1, 0
            )
            np.maximum(prior, _LEAST_PRIOR, out=prior)
            ratio = prior / (1 + prior)
            place = np.log10(np.maximum(ratio * posterior[i], 1e-6)) - _TABLE_FROM
            index = (place * ((_TABLE_STEPS - 1) / (_TABLE_TO - _TABLE_FROM))).astype(
                int
            )
            gain = ratio * _TABLE[np.minimum(index, _TABLE_STEPS - 1)]
            np.clip(gain, GAIN_FLOOR, 1.0, out=gain)
            amplitude2 = gain * gain * power[i]
            gains[i] = gain
        self._amplitude2 = amplitude2
        return gains


class _NoiseFloor:
    """Running minimum of the smoothed power in each bin."""

    def __init__(self) -> None:
        self._smooth: NDArray[np.float64] | None = None
        self._parts: deque[NDArray[np.float64]] = deque(maxlen=_MINIMUM_PARTS)
        self._part: NDArray[np.float64] | None = None
        self._frames = 0

    def track(self, power: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the noise power for each frame of `power`, never zero."""
        noise = np.empty_like(power)
        for i, frame in enumerate(power):
            if self._smooth is None or self._part is None:
                self._smooth = frame + 1e-10
                self._part = self._smooth
            else:
                self._smooth = _SMOOTH * self._smooth + (1 - _SMOOTH) * (frame + 1e-10)
                self._part = np.minimum(self._part, self._smooth)
            self._frames += 1
            if self._frames >= _PART_FRAMES:
                self._parts.append(self._part)
                self._part, self._frames = self._smooth, 0
            least = self._part
            if self._parts:
                least = np.minimum(least, np.min(self._parts, axis=0))
            noise[i] = _MINIMUM_BIAS * least
        return noise
