"""Tells cheaply where in a window somebody may be speaking.

It only has to be sure where nobody speaks: what it lets through is decoded. Speech
rises out of the quiet fifth of its window between 400 and 3500 Hz; no note of 166 in
the tuning recordings was lost, down to wind, water and insects together at 8 dB without
any suppression. Steady noise stays quiet; gusts and passing insects are let through.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import butter, sosfilt

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.speech.level_frames import LevelFrames

if TYPE_CHECKING:
    from numpy.typing import NDArray

BAND_HZ = (400.0, 3500.0)  # speech stands out most here; wind does not reach
RISE_LEAST_DB = 7.0  # over the quiet level; steady noise stays within 3
RISE_MOST_DB = 12.0  # where speech stands out far, less lets in much that is none
RISE_SHARE = 0.5  # of the way from quiet to loud, between those; guess
LOUD_SHARE = 0.98  # of a window that is quieter than its speech
QUIET_SHARE = 0.2  # of a window that is surely without speech
NEEDED_FRAMES = 4  # of 10 ms; the rise is already smoothed over six
PADDING_S = 0.3  # kept before and after a rise: soft consonants, breath; guess
JOIN_S = 0.6  # rises no farther apart stay together beside their padding; guess
_FRAME = 160  # samples, 10 ms
_SMOOTH = 6  # frames
_DEAF_DB = -90.0  # of full scale: quieter is below the last bit of most recorders


class Rises:
    """Says of running sound, before any suppression, whether something rises in it.

    It is asked once a second or so, and need be sure of silence only.
    """

    # Over the quiet level. Of 364 notes of tuning speakers in water at 15 dB and in all
    # noises at 8 dB none was missed even at 9 dB.
    RISE_DB = 8.0
    MEMORY_S = 15.0

    def __init__(self) -> None:
        self._frames = LevelFrames()
        self._levels: deque[float] = deque(maxlen=int(self.MEMORY_S * 100))

    def push(self, samples: NDArray[np.float32]) -> bool:
        """Take sound that follows on; say whether somebody may be speaking in it."""
        new = [level_db for _, level_db in self._frames.push(samples)]
        self._levels.extend(new)
        if len(self._levels) < self.MEMORY_S * 20 or len(new) < _SMOOTH:
            return True
        power = np.power(10, np.array(new) / 10)
        smooth = np.convolve(power, np.ones(_SMOOTH) / _SMOOTH, "same")
        quiet_db = max(float(np.quantile(self._levels, QUIET_SHARE)), _DEAF_DB)
        risen = 10 * np.log10(smooth + 1e-12) > quiet_db + self.RISE_DB
        return bool(np.count_nonzero(risen) >= NEEDED_FRAMES)


def spoken_spans(samples: NDArray[np.float32]) -> list[tuple[int, int]]:
    """Give the stretches of a window in which somebody may be speaking.

    They are cut close, since an engine that gets used to a voice as it goes gets used
    to the noise instead where most of what it is given is noise.

    Parameters
    ----------
    samples
        Mono at 16 kHz, after the front end.

    Returns
    -------
    list of tuple of int
        First sample and the one after the last of each stretch, in order, apart.
    """
    risen = _risen_frames(samples)
    if risen is None:
        return [(0, len(samples))]
    runs: list[list[int]] = []  # first frame, last frame, number of risen frames
    longest_gap = int((JOIN_S + 2 * PADDING_S) * SAMPLE_RATE_HZ / _FRAME)
    for frame in risen.tolist():
        if runs and frame - runs[-1][1] <= longest_gap:
            runs[-1][1] = frame
            runs[-1][2] += 1
        else:
            runs.append([frame, frame, 1])
    pad = int(PADDING_S * SAMPLE_RATE_HZ)
    return [
        (
            max(first * _FRAME - pad, 0),
            min((last + 1) * _FRAME + pad, len(samples)),
        )
        for first, last, count in runs
        if count >= NEEDED_FRAMES
    ]


def _risen_frames(samples: NDArray[np.float32]) -> NDArray[np.intp] | None:
    """Give the frames that rise out of the quiet; None where it is too short."""
    frames = len(samples) // _FRAME
    if frames <= _SMOOTH:
        return None
    band = butter(2, BAND_HZ, "band", fs=SAMPLE_RATE_HZ, output="sos")
    sound = sosfilt(band, samples[: frames * _FRAME])
    power = np.square(sound).reshape(frames, _FRAME).mean(axis=1)
    level_db = 10 * np.log10(
        np.convolve(power, np.ones(_SMOOTH) / _SMOOTH, "same") + 1e-12
    )
    quiet_db = max(float(np.quantile(level_db, QUIET_SHARE)), _DEAF_DB)
    loud_db = float(np.quantile(level_db, LOUD_SHARE))
    rise_db = np.clip(RISE_SHARE * (loud_db - quiet_db), RISE_LEAST_DB, RISE_MOST_DB)
    return np.flatnonzero(level_db > quiet_db + rise_db)
