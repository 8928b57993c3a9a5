"""Keeps the tool from hearing its own answer as a note.

While an answer sounds, what goes to the recognizer is replaced by sound like the
background just before, so that the noise floor it has learnt stays right. What goes
to the recording is untouched.
"""

from __future__ import annotations

import threading
from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio.blocks import SAMPLE_RATE_HZ

from .messages import Level

if TYPE_CHECKING:
    from numpy.typing import NDArray

TAIL_S = 0.25  # sound on its way through the card and the room; guess
RISE_PER_S = 1.25  # of the background, at most; guess
_QUIET_FRAME = 320  # samples, 20 ms


class Gate:
    """Spans of elapsed seconds in which our own answer sounds."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._spans: list[tuple[float, float]] = []
        self._open_since: float | None = None
        self._rng = np.random.default_rng(20)
        self._background = 0.0  # unknown

    def shut(self, now_s: float) -> None:
        """Close: an answer starts to sound."""
        with self._lock:
            if self._open_since is None:
                self._open_since = now_s

    def reopen(self, now_s: float) -> tuple[float, float]:
        """Open again after the answer; return the span that is not heard."""
        with self._lock:
            start = now_s if self._open_since is None else self._open_since
            span = (start, now_s + TAIL_S)
            self._open_since = None
            self._spans = [s for s in self._spans if s[1] > now_s - 60.0]
            self._spans.append(span)
            return span

    def mute(self, samples: NDArray[np.float32], start_s: float) -> NDArray[np.float32]:
        """Return the sound with our own answers replaced by background.

        Parameters
        ----------
        samples
            A chunk of sound.
        start_s
            Elapsed second of its first sample.
        """
        end_s = start_s + len(samples) / SAMPLE_RATE_HZ
        with self._lock:
            spans = list(self._spans)
            if self._open_since is not None:
                spans.append((self._open_since, end_s))
        hit = [(a, b) for a, b in spans if a < end_s and b > start_s]
        if not hit:
            self._learn(samples)
            return samples
        muted = samples.copy()
        for a, b in hit:
            first = max(0, int((a - start_s) * SAMPLE_RATE_HZ))
            last = min(len(samples), int(np.ceil((b - start_s) * SAMPLE_RATE_HZ)))
            noise = self._rng.standard_normal(last - first, dtype=np.float32)
            muted[first:last] = noise * np.float32(self._background)
        return muted

    def _learn(self, samples: NDArray[np.float32]) -> None:
        usable = len(samples) - len(samples) % _QUIET_FRAME
        if usable:
            frames = samples[:usable].reshape(-1, _QUIET_FRAME)
            quietest = float(np.sqrt(np.mean(np.square(frames), axis=1)).min())
            # Falls at once, rises slowly: speech is not background.
            rise = RISE_PER_S ** (len(samples) / SAMPLE_RATE_HZ)
            most = self._background * rise if self._background else quietest
            self._background = max(1e-5, min(quietest, most))


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
