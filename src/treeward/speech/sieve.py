"""Tells cheaply where in a window somebody may be speaking.

It only has to be sure where nobody speaks: what it lets through is decoded. On the
tuning recordings the weakest note stood 14 dB out of the quiet fifth of its window
(wind, water and insects at 8 dB, after the front end); steady noise stays within 10 dB.
Gusts and passing insects are let through.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import butter, sosfilt

from treeward.audio.records import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from numpy.typing import NDArray

BAND_HZ = (400.0, 3500.0)  # speech stands out most here; wind does not reach
RISE_DB = 12.0  # over the quiet level, in the middle of note and steady noise
QUIET_SHARE = 0.2  # of a window that is surely without speech
NEEDED_FRAMES = 4  # of 10 ms; the rise is already smoothed over six
MARGIN_S = 1.0  # kept before the first and after the last rise
_FRAME = 160  # samples, 10 ms
_SMOOTH = 6  # frames
_DEAF_DB = -90.0  # of full scale: quieter is below the last bit of most recorders


def spoken_part(samples: NDArray[np.float32]) -> tuple[int, int] | None:
    """Give the part of a window outside which nobody speaks.

    Parameters
    ----------
    samples
        Mono at 16 kHz, after the front end.

    Returns
    -------
    tuple of int or None
        First sample and the one after the last; None when nobody speaks at all.
    """
    frames = len(samples) // _FRAME
    if frames <= _SMOOTH:
        return 0, len(samples)
    band = butter(2, BAND_HZ, "band", fs=SAMPLE_RATE_HZ, output="sos")
    sound = sosfilt(band, samples[: frames * _FRAME])
    power = np.square(sound).reshape(frames, _FRAME).mean(axis=1)
    level_db = 10 * np.log10(
        np.convolve(power, np.ones(_SMOOTH) / _SMOOTH, "same") + 1e-12
    )
    quiet_db = max(float(np.quantile(level_db, QUIET_SHARE)), _DEAF_DB)
    risen = np.flatnonzero(level_db > quiet_db + RISE_DB)
    if len(risen) < NEEDED_FRAMES:
        return None
    margin = int(MARGIN_S * SAMPLE_RATE_HZ)
    first = int(risen[0]) * _FRAME - margin
    last = (int(risen[-1]) + 1) * _FRAME + margin
    return max(first, 0), min(last, len(samples))
