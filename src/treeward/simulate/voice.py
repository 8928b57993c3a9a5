"""Voices that read the invented notes aloud.

A voice is anything with a name and `say`. The one that comes along is hibari
(PyPI hibari-tts, Apache-2.0), an optional dependency; tests bring others.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Literal, Protocol

import numpy as np

from treeward.errors import SpeechError

if TYPE_CHECKING:
    from numpy.typing import NDArray

SPEECH_LEVEL_DBFS = -20.0  # level of speech while it is heard; common for memos
SILENCE_BELOW_PEAK_DB = 40.0  # quieter ends of an utterance are cut off; choice


class Voice(Protocol):
    """Something that reads a line aloud."""

    @property
    def name(self) -> str:
        """Name of the voice, stable over runs."""

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        """Return mono samples of `text` at `rate_hz`, about SPEECH_LEVEL_DBFS."""


# The voice in the wheel learnt American sounds only. British ones it never met come
# out as something else ("back" as "bank"), so each is said by its nearest neighbour;
# what stays British is the r that is not said, and the vowels of single words.
NEAREST_SOUND = str.maketrans(
    {
        "a": "æ",
        "ɒ": "\N{LATIN SMALL LETTER ALPHA}",
        "Q": "O",
        "\N{MODIFIER LETTER TRIANGULAR COLON}": None,
    }
)


class HibariVoice:
    """The voice in the hibari-tts wheel, with British or American pronunciations.

    Parameters
    ----------
    accent
        Whose pronunciations are read. The wheel holds both word lists and one voice,
        an American one.
    pitch
        Factor on pitch and voice size together: 0.82 sounds like a bigger person.
    pace
        Speaking rate, 1 is usual.
    """

    RATE_HZ = 24_000

    def __init__(
        self,
        accent: Literal["british", "american"] = "british",
        *,
        pitch: float = 1.0,
        pace: float = 1.0,
    ) -> None:
        try:
            hibari = import_module("hibari")
            g2p = import_module("hibari.g2p")
        except ImportError as error:
            raise SpeechError(
                "no voice to read the notes aloud: hibari-tts is not installed",
                mend="Install it by: pip install hibari-tts; "
                "or ask for events without sound.",
            ) from error
        self._accent, self._pitch, self._pace = accent, pitch, pace
        self._reader = hibari.Hibari(g2p=g2p.G2P(british=accent == "british"))

    @property
    def name(self) -> str:
        """Name of the voice."""
        return f"hibari-{self._accent}-{self._pitch:g}"

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        """Read `text` aloud; the same seed gives the same samples."""
        # Slower reading and faster playing (or the reverse) shift pitch alone.
        speed = self._pace / self._pitch
        sentences = self._reader.phonemize(text)
        if self._accent == "british":
            sentences = [sounds.translate(NEAREST_SOUND) for sounds in sentences]
        parts = [
            np.asarray(self._reader.from_phonemes(sounds, speed=speed, seed=seed))
            for sounds in sentences
        ]
        raw = np.concatenate([*parts, np.zeros(0)])
        played = retune(raw, self.RATE_HZ * self._pitch, rate_hz)
        return tidy(played)


def retune(
    samples: NDArray[np.float64], from_hz: float, to_hz: float
) -> NDArray[np.float64]:
    """Resample from one rate to another."""
    from fractions import Fraction

    from scipy.signal import resample_poly

    ratio = Fraction(to_hz / from_hz).limit_denominator(500)
    if ratio == 1:
        return samples
    return np.asarray(resample_poly(samples, ratio.numerator, ratio.denominator))


def tidy(samples: NDArray[np.float64]) -> NDArray[np.float32]:
    """Cut silent ends and bring an utterance to SPEECH_LEVEL_DBFS.

    The level is the root mean square over the loud half of 20 ms frames (at 16 kHz),
    so that pauses inside the utterance do not count.
    """
    peak = float(np.max(np.abs(samples), initial=0.0))
    if peak == 0.0:
        return np.zeros(0, np.float32)
    loud = np.flatnonzero(np.abs(samples) > peak * 10 ** (-SILENCE_BELOW_PEAK_DB / 20))
    cut = samples[loud[0] : loud[-1] + 1]
    scaled = cut * 10 ** (SPEECH_LEVEL_DBFS / 20) / active_level(cut)
    # Peaks near full scale are rounded off as a recorder's limiter would.
    return np.asarray(np.tanh(scaled), dtype=np.float32)


def active_level(samples: NDArray[np.float64], frame: int = 320) -> float:
    """Return the root mean square over the louder half of the frames."""
    usable = len(samples) - len(samples) % frame
    if usable == 0:
        return float(np.sqrt(np.mean(samples**2)))
    power = np.mean(samples[:usable].reshape(-1, frame) ** 2, axis=1)
    return float(np.sqrt(np.mean(power[power >= np.median(power)])))
