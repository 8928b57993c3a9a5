"""Sound made easier to recognise: rumble off, and noise where it covers speech.

Spectral suppression by minimum statistics and log-spectral amplitude was tried here
and lost more notes than it won (first decode, two tuning speakers in running water at
15 dB: 10 of 53 notes heard, 18 without; with neural suppression 30), so that without
the optional package for that the sound is left alone. What it was before is kept for a
while: an engine may hear more in both than in either.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.signal import butter, sosfilt

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.speech import neural

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from treeward.audio.records import Block

    Samples = NDArray[np.float32]

HIGH_PASS_HZ = 80.0  # below any voice; wind and handling noise are there
SUPPRESSED_SHARE = 0.95  # the rest is as it was
TURNED_DOWN = 0.03  # of noise where nobody speaks, about what suppression leaves
KEPT_S = 30.0  # of sound as it came; longer than a window with all that lags; choice


class _Kept(NamedTuple):
    first: int  # sample
    sound: Samples
    noisy: bool

    @property
    def end(self) -> int:
        return self.first + len(self.sound)


def _joined(parts: list[_Kept], first: int, end: int) -> Samples:
    """Give the samples from `first` to `end` out of the parts that hold them."""
    if not parts:
        return np.zeros(0, np.float32)
    sound = np.concatenate([kept.sound for kept in parts])
    return sound[first - parts[0].first :][: end - first]


class FrontEnd:
    """Cleans a stream of sound: as much comes out as went in, some of it later.

    Parameters
    ----------
    suppress
        Look out for noise, and take it off where it calls for that; without it only
        the high-pass is done.
    in_batches
        Noise may be taken off seconds of sound at a time, which is faster; for
        recordings, not for live listening.
    """

    def __init__(self, *, suppress: bool = True, in_batches: bool = False) -> None:
        self._sos = butter(2, HIGH_PASS_HZ, "high", fs=SAMPLE_RATE_HZ, output="sos")
        self._filter = np.zeros((len(self._sos), 2))
        self._watch = neural.NoiseWatch() if suppress else None
        self._can_suppress = suppress and neural.is_available()
        self._kept: deque[_Kept] = deque()
        self._suppressor: neural.NeuralSuppressor | None = None
        self._in_batches = in_batches
        self._suppressing = False
        self._held: Samples = np.zeros(0, np.float32)  # taken, not yet given out
        self._run_in = 0  # samples it gives out that are not wanted

    def push(self, samples: Samples, *, spoken: bool = True) -> Samples:
        """Take in samples and give out those that are ready.

        Parameters
        ----------
        samples
            Sound that follows on what was pushed before.
        spoken
            Whether somebody may be speaking in it. Where nobody does, noise that
            calls for suppression is only turned down, which costs nothing.
        """
        if not len(samples):
            return np.zeros(0, np.float32)
        filtered, self._filter = sosfilt(self._sos, samples, zi=self._filter)
        sound = np.asarray(filtered, np.float32)
        if self._watch is None:
            return sound
        noisy = self._watch.push(sound)
        self._keep(sound, noisy=noisy)
        if not self._can_suppress:
            return sound
        wanted = noisy and spoken
        before = np.zeros(0, np.float32)
        if wanted and not self._suppressing:
            self._begin()
        elif self._suppressing and not wanted:
            before = self._end()
        if not self._suppressing or self._suppressor is None:
            return np.concatenate([before, sound * TURNED_DOWN if noisy else sound])
        self._held = np.concatenate([self._held, sound])
        return self._given(self._suppressor.push(sound))

    def flush(self) -> Samples:
        """Give out the samples still held back, at the end of the sound."""
        return self._end() if self._suppressing else np.zeros(0, np.float32)

    def before(self, first: int, end: int) -> Samples | None:
        """Give sound of the last KEPT_S as it was before noise was taken off.

        Parameters
        ----------
        first, end
            First sample and the one after the last, counted from the first pushed.

        Returns
        -------
        array or None
            With the high-pass only; None where no noise calls for more.
        """
        parts = self._parts(first, end)
        if not any(kept.noisy for kept in parts) or parts[0].first > first:
            return None
        return _joined(parts, first, end)

    def with_plain(self, stretch: Block, begun_s: float = 0.0) -> Block:
        """Put beside a stretch of what was given out the sound as it was before.

        Parameters
        ----------
        stretch
            Cut out of the cleaned sound.
        begun_s
            Second of the recording at which the first sample was pushed.
        """
        first = round((stretch.start_s - begun_s) * SAMPLE_RATE_HZ)
        return replace(stretch, plain=self.before(first, first + len(stretch.samples)))

    def _parts(self, first: int, end: int) -> list[_Kept]:
        return [kept for kept in self._kept if kept.first < end and kept.end > first]

    def _keep(self, sound: Samples, *, noisy: bool) -> None:
        end = self._kept[-1].end if self._kept else 0
        self._kept.append(_Kept(end, sound, noisy))
        oldest = self._kept[-1].end - int(KEPT_S * SAMPLE_RATE_HZ)
        while self._kept[0].end < oldest:
            self._kept.popleft()

    def _begin(self) -> None:
        if self._suppressor is None:
            self._suppressor = neural.NeuralSuppressor(in_batches=self._in_batches)
        self._suppressor.restart()
        self._suppressing = True
        end = self._kept[-1].first  # what comes now is not run in with
        first = max(end - int(self._suppressor.run_in_s * SAMPLE_RATE_HZ), 0)
        last = _joined(self._parts(first, end), first, end)
        self._run_in = len(last)
        self._given(self._suppressor.push(last))

    def _end(self) -> Samples:
        self._suppressing = False
        if self._suppressor is None:
            return np.zeros(0, np.float32)
        rest = self._given(self._suppressor.flush())
        last, self._held = self._held, np.zeros(0, np.float32)
        return np.concatenate([rest, last])

    def _given(self, samples: Samples) -> Samples:
        dropped = min(self._run_in, len(samples))
        self._run_in -= dropped
        given = samples[dropped:][: len(self._held)]
        plain, self._held = self._held[: len(given)], self._held[len(given) :]
        return SUPPRESSED_SHARE * given + (1 - SUPPRESSED_SHARE) * plain
