"""Keeps the tool from hearing its own answer as a note.

While an answer sounds, what goes to the recognizer is replaced by sound like the
background just before, so that the noise floor it has learnt stays right. What goes
to the recording is untouched.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio.blocks import SAMPLE_RATE_HZ

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
