"""What is known of a voice: how it and the microphone colour sound, and its length.

A longer vocal tract moves all resonances down. The acoustic model was made of many
people and takes none of them as it is, so the spectrum is read at frequencies a little
higher or lower, whichever fits the notes heard so far best (Lee & Rose 1998, "A
frequency warping approach to speaker normalization", IEEE Transactions on Speech and
Audio Processing 6(1)).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from treeward.speech.cepstra import CENTRES_HZ, CepstralMean, cepstra_of, flat_log_mel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.speech.cepstra import Cepstra, LogMel

# What a frequency is multiplied by; people lie between 0.88 and 1.12 (Lee & Rose 1998).
FACTORS = (0.88, 0.94, 1.0, 1.06, 1.12)
AS_IT_IS = 1.0
# Standard deviation, in filters, of the curve that reads between them. It smooths the
# spectrum too: of 126 notes in noise (tuning speakers) 104 were heard so, 96 without.
SMOOTHED = 0.5
UNUSUAL_NATS = 10.0  # by which a factor must be better than none; guess
SETTLED_FRAMES = 700  # of notes, after which the factor stays; guess


class Voice:
    """Takes a voice in, and gives the cepstra of its speech as the model wants them."""

    def __init__(self) -> None:
        self._means = {
            factor: CepstralMean(start=_warped(flat_log_mel(), factor)[0])
            for factor in FACTORS
        }
        self._scores = dict.fromkeys(FACTORS, -UNUSUAL_NATS)
        self._scores[AS_IT_IS] = 0.0
        self._frames = 0

    @property
    def factor(self) -> float:
        """The factor that fits best so far."""
        return max(FACTORS, key=lambda factor: self._scores[factor])

    @property
    def settled(self) -> bool:
        """Whether enough was heard."""
        return self._frames >= SETTLED_FRAMES

    def take(self, log_mel: LogMel) -> None:
        """Count frames of speech into the mean."""
        for factor, mean in self._means.items():
            mean.take(_warped(log_mel, factor))

    def compare(self, scores: Sequence[float], frames: int) -> None:
        """Count in how well the same notes were explained at each of FACTORS, in nats.

        Parameters
        ----------
        scores
            One for each factor.
        frames
            How long the notes were.
        """
        for factor, score in zip(FACTORS, scores, strict=True):
            self._scores[factor] += score
        self._frames += frames

    def cepstra(self, log_mel: LogMel, factor: float | None = None) -> Cepstra:
        """Give the cepstra of speech, with the mean taken off.

        Parameters
        ----------
        log_mel
            As `treeward.speech.cepstra.log_mel_of` gives it, shape (frames, 25).
        factor
            One of FACTORS; that which fits best when None.
        """
        chosen = self.factor if factor is None else factor
        return self._means[chosen].off(_warped(log_mel, chosen))


def _warped(log_mel: LogMel, factor: float) -> Cepstra:
    return cepstra_of(log_mel @ _READ[factor].T)


def _reading(factor: float) -> LogMel:
    """Give the weights with which each filter is read from all of them, a row each."""
    filters = np.arange(len(CENTRES_HZ))
    at = np.interp(CENTRES_HZ * factor, CENTRES_HZ, filters)
    near = np.exp(-0.5 * ((filters - at[:, None]) / SMOOTHED) ** 2)
    return np.asarray(near / near.sum(axis=1, keepdims=True))


_READ = {factor: _reading(factor) for factor in FACTORS}
