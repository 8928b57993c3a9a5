"""Sound as the mel cepstra that PocketSphinx's acoustic model was trained on.

PocketSphinx makes its own, but takes noise off them with an estimate that it carries
from one stretch to the next, whatever lay between, and that cannot be switched off
where a model's own settings ask for it. Behind the front end that does harm: of 216
notes in running water at 15 dB and mixed noise at 8 dB, their ends known (tuning
speakers), a grammar heard 148 right so, and 173 in the cepstra made here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Cepstra = NDArray[np.float32]
    LogMel = NDArray[np.float64]

DITHER = 5e-4  # covers what suppression leaves of noise; exact zeros break recognition
LEVEL = 0.5  # the loudest 0.1 % of a stretch is brought here
# As the bundled model wants them (its feat.params, and PocketSphinx's defaults).
CEPSTRA = 13
HOP = 160  # samples, 10 ms
_WINDOW = 410  # samples, 25.625 ms
_POINTS = 512  # of the Fourier transform
FILTERS = 25
_LOWEST_HZ, _HIGHEST_HZ = 130.0, 6800.0
_LIFTER = 22
_PRE_EMPHASIS = 0.97
_LOG_FLOOR = 1e-4  # of power in a filter, for samples in the range of 16-bit integers
_FULL_SCALE = 32767.0
# Standard deviation, in filters, of the curve that each is averaged with its neighbours
# by. Of 126 notes in noise (tuning speakers) 104 were heard so, 96 without.
SMOOTHED = 0.5


def log_mel_of(samples: NDArray[np.floating]) -> LogMel:
    """Give the log power of a stretch of sound in mel filters.

    Parameters
    ----------
    samples
        Mono at 16 kHz, in [-1, 1].

    Returns
    -------
    array, shape (frames, 25)
        One row every 10 ms; none where the stretch is shorter than one window.
    """
    sound = np.asarray(samples, np.float64) * _FULL_SCALE
    if len(sound) < _WINDOW:
        return np.zeros((0, FILTERS))
    sharp = np.append(sound[:1], sound[1:] - _PRE_EMPHASIS * sound[:-1])
    windows = np.lib.stride_tricks.sliding_window_view(sharp, _WINDOW)[::HOP]
    power = np.abs(np.fft.rfft(windows * _HAMMING, _POINTS)) ** 2
    return np.asarray(np.log(power @ _MEL_FILTERS.T + _LOG_FLOOR))


def levelled_log_mels(
    sounds: Sequence[NDArray[np.floating]], random: np.random.Generator
) -> list[LogMel]:
    """Give log powers of the same stretch in several states, levelled by the first.

    Parameters
    ----------
    sounds
        Of one length, mono at 16 kHz; all get the gain that the first needs, and the
        same dither.
    random
        Where the dither comes from.

    Returns
    -------
    list of array, shape (frames, 25)
        As `log_mel_of` gives them.
    """
    loud = float(np.quantile(np.abs(sounds[0]), 0.999))
    gain = LEVEL / loud if loud > 1e-6 else 1.0
    dither = DITHER * random.standard_normal(len(sounds[0]))
    return [log_mel_of(sound * gain + dither) for sound in sounds]


def cepstra_of(log_mel: LogMel) -> Cepstra:
    """Give the mel cepstra of log powers in mel filters (Davis & Mermelstein 1980).

    Parameters
    ----------
    log_mel
        As `log_mel_of` gives it, shape (frames, 25).

    Returns
    -------
    array, shape (frames, 13)
        One row a frame.
    """
    return (log_mel @ _COSINES.T * _LIFT).astype(np.float32)


def smoothed(log_mel: LogMel) -> LogMel:
    """Average each filter with its neighbours; pitch and noise matter less then.

    Parameters
    ----------
    log_mel
        As `log_mel_of` gives it, shape (frames, 25).

    Returns
    -------
    array, shape (frames, 25)
    """
    return log_mel @ _NEAR.T


class CepstralMean:
    """The mean that is taken off, so that voice and microphone matter less.

    It is that of the last half minute of speech, the pauses around words included: a
    mean of each stretch by itself, or of its loud frames alone, heard fewer notes.
    """

    # Of twelve notes each in 20 tuning recordings, for the first words of all.
    START = (64.6, 3.8, -2.7, 9.2, -3.8, -3.0, -0.4, -2.0, -1.3, -0.3, 2.1, 0.5, -1.0)
    START_FRAMES = 50.0  # as much as it counts for; guess
    LONGEST_FRAMES = 3000.0  # half a minute; guess

    def __init__(self, start: Sequence[float] = START) -> None:
        self._frames = self.START_FRAMES
        self._sum = np.array(start) * self._frames

    def take(self, cepstra: Cepstra) -> None:
        """Count frames of speech in."""
        self._sum += cepstra.sum(axis=0)
        self._frames += len(cepstra)
        if self._frames > self.LONGEST_FRAMES:
            self._sum *= self.LONGEST_FRAMES / self._frames
            self._frames = self.LONGEST_FRAMES

    def off(self, cepstra: Cepstra) -> Cepstra:
        """Give the cepstra with the mean taken off."""
        return (cepstra - self._sum / self._frames).astype(np.float32)


def _edges_hz() -> NDArray[np.float64]:
    """Give where the triangles begin, peak and end, evenly spaced in mel."""

    def mel(hz: float) -> float:
        return float(2595 * np.log10(1 + hz / 700))

    edges_mel = np.linspace(mel(_LOWEST_HZ), mel(_HIGHEST_HZ), FILTERS + 2)
    return np.asarray(700 * (10 ** (edges_mel / 2595) - 1))


def _mel_filters() -> NDArray[np.float64]:
    """Give the triangles, one row a filter, each of unit area, on whole bins."""
    bin_hz = SAMPLE_RATE_HZ / _POINTS
    edges_hz = np.floor(_edges_hz() / bin_hz + 0.5) * bin_hz
    hz = np.arange(_POINTS // 2 + 1) * bin_hz
    rows = []
    for low, middle, high in zip(edges_hz, edges_hz[1:], edges_hz[2:], strict=False):
        rise = (hz - low) / (middle - low)
        fall = (high - hz) / (high - middle)
        rows.append(np.clip(np.minimum(rise, fall), 0, None) * 2 / (high - low))
    return np.array(rows)


def _cosines() -> NDArray[np.float64]:
    """Give the orthonormal cosine transform, one row a cepstrum."""
    order = np.arange(CEPSTRA)[:, None] * (np.arange(FILTERS) + 0.5)
    rows = np.cos(np.pi / FILTERS * order) * np.sqrt(2 / FILTERS)
    rows[0] = np.sqrt(1 / FILTERS)
    return np.asarray(rows)


def _near() -> NDArray[np.float64]:
    """Give the weights by which a smoothed filter is made of all, a row each."""
    filters = np.arange(FILTERS)
    near = np.exp(-0.5 * ((filters - filters[:, None]) / SMOOTHED) ** 2)
    return np.asarray(near / near.sum(axis=1, keepdims=True))


_HAMMING = np.hamming(_WINDOW)
_MEL_FILTERS = _mel_filters()
_NEAR = _near()
_COSINES = _cosines()
_LIFT = 1 + _LIFTER / 2 * np.sin(np.pi * np.arange(CEPSTRA) / _LIFTER)
