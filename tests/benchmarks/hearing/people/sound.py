"""Levels, tempo and beds of noise, on mono sound at RATE_HZ.

The ratio of speech to noise is that of the active level of the notes (root mean square
of the 20 ms frames within 25 dB of the loudest of a note) to the level of the noise,
both over 100 to 8000 Hz.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import av
import av.filter
import numpy as np

from .sources import RATE_HZ, Sound

if TYPE_CHECKING:
    from collections.abc import Sequence

LEVEL_DBFS = -28.0  # active level of each note, as in the set for development
FRAME = RATE_HZ // 50  # 20 ms
ACTIVE_DB = 25.0  # below the loudest frame
TRIM_DB = 35.0  # below the loudest frame of a word silence begins; choice
SPAN_DB = 32.0  # below the loudest 5 ms of a note it has not begun; choice
EDGE_S = 0.03  # kept before and after a word; choice
FASTEST = 1.6  # times as fast as it was recorded, at most
GRAIN_S = (1.5, 3.5)  # length of the pieces that a bed is laid of; choice
FADE_S = 0.4  # between them; choice


@lru_cache
def _band(low_hz: float, high_hz: float) -> np.ndarray[Any, np.dtype[np.float64]]:
    from scipy import signal

    if high_hz >= RATE_HZ / 2:
        return np.asarray(
            signal.butter(4, low_hz, "highpass", fs=RATE_HZ, output="sos")
        )
    edges = (low_hz, high_hz)
    return np.asarray(signal.butter(4, edges, "bandpass", fs=RATE_HZ, output="sos"))


def in_band(sound: Sound, low_hz: float = 100.0, high_hz: float = 8000.0) -> Sound:
    """Return what lies between two frequencies."""
    from scipy import signal

    return np.asarray(signal.sosfilt(_band(low_hz, high_hz), sound), np.float64)


def frame_levels(sound: Sound) -> Sound:
    """Return the root mean square of each whole frame of 20 ms."""
    whole = len(sound) // FRAME
    frames = np.asarray(sound[: whole * FRAME]).reshape(whole, FRAME)
    return np.asarray(np.sqrt(np.mean(frames**2, axis=1)), np.float64)


def active_level(sound: Sound, low_hz: float = 100.0, high_hz: float = 8000.0) -> float:
    """Return the level of speech where somebody speaks, over a band."""
    levels = frame_levels(in_band(sound, low_hz, high_hz))
    loud = levels[levels >= levels.max() * 10 ** (-ACTIVE_DB / 20)]
    return float(np.sqrt(np.mean(loud**2)))


def at_level(sound: Sound, dbfs: float = LEVEL_DBFS) -> Sound:
    """Return the sound at an active level."""
    return sound * (10 ** (dbfs / 20) / active_level(sound))


def span(sound: Sound) -> tuple[int, int]:
    """Return from which sample to which something is said, to 5 ms."""
    size = FRAME // 4
    whole = len(sound) // size
    frames = in_band(sound)[: whole * size].reshape(whole, size)
    levels = np.sqrt(np.mean(frames**2, axis=1))
    loud = np.flatnonzero(levels >= levels.max() * 10 ** (-SPAN_DB / 20))
    return int(loud[0]) * size, (int(loud[-1]) + 1) * size


def trimmed(sound: Sound) -> Sound:
    """Return a word without the silence around it, but EDGE_S each side."""
    levels = frame_levels(in_band(sound))
    loud = np.flatnonzero(levels >= levels.max() * 10 ** (-TRIM_DB / 20))
    edge = round(EDGE_S * RATE_HZ)
    low = max(0, int(loud[0]) * FRAME - edge)
    return sound[low : (int(loud[-1]) + 1) * FRAME + edge]


def tempo(sound: Sound, factor: float) -> Sound:
    """Return the sound so many times as fast (0.5 to 2), at the same pitch."""
    graph = av.filter.Graph()
    source = graph.add_abuffer(
        sample_rate=RATE_HZ,
        format="flt",
        layout="mono",
        time_base=Fraction(1, RATE_HZ),
    )
    change = graph.add("atempo", f"{factor:.4f}")
    sink = graph.add("abuffersink")
    source.link_to(change)
    change.link_to(sink)
    graph.configure()
    frame = av.AudioFrame.from_ndarray(
        np.asarray(sound, np.float32)[None], format="flt", layout="mono"
    )
    frame.sample_rate, frame.pts = RATE_HZ, 0
    graph.push(frame)
    graph.push(None)
    parts = []
    while True:
        try:
            got = graph.pull()
        except (EOFError, BlockingIOError):
            break
        if isinstance(got, av.AudioFrame):
            parts.append(got.to_ndarray().ravel())
    return np.concatenate(parts).astype(np.float64)


def as_in_a_phrase(sound: Sound, text: str) -> Sound:
    """Bring a word said alone to the tempo of a short phrase.

    The length it is brought to, 0.1 s and 0.055 s a letter, is a guess; no word is
    made faster than FASTEST.
    """
    usual_s = 0.1 + 0.055 * len(text.replace(" ", ""))
    factor = min(FASTEST, len(sound) / RATE_HZ / usual_s)
    return tempo(sound, factor) if factor > 1 else sound


def bed(pieces: Sequence[Sound], length: int, rng: np.random.Generator) -> Sound:
    """Lay a bed of noise of `length` samples out of recordings, faded into each other.

    Each piece is first brought to the same level, since they come from many hands.
    """
    level = [np.sqrt(np.mean(in_band(each) ** 2)) for each in pieces]
    fade = round(FADE_S * RATE_HZ)
    rise = np.sin(np.linspace(0, np.pi / 2, fade))
    out = np.zeros(fade + length + round(GRAIN_S[1] * RATE_HZ))
    at = 0
    while at < fade + length:
        number = int(rng.integers(len(pieces)))
        piece = pieces[number]
        size = min(len(piece), round(rng.uniform(*GRAIN_S) * RATE_HZ))
        start = int(rng.integers(len(piece) - size + 1))
        grain = piece[start : start + size] / level[number]
        grain = grain * 10 ** (rng.normal(0, 1.5) / 20)
        ends = min(fade, size // 2)
        grain[:ends] *= rise[:ends] if ends == fade else np.linspace(0, 1, ends)
        grain[-ends:] *= rise[::-1][:ends] if ends == fade else np.linspace(1, 0, ends)
        out[at : at + size] += grain
        at += size - ends
    return out[fade : fade + length]  # without the first rise


def mixed(speech: Sound, noise: Sound, snr_db: float, level_dbfs: float) -> Sound:
    """Lay noise under speech whose notes have an active level, at a ratio."""
    level = np.sqrt(np.mean(in_band(noise) ** 2))
    gain = float(10 ** ((level_dbfs - snr_db) / 20) / level)
    return speech + gain * noise


def telephone(sound: Sound) -> Sound:
    """Return the sound as a telephone line carries it: 300 to 3400 Hz, 8 bit mu-law.

    Companding as in ITU-T G.711, in its continuous form.
    """
    from scipy import signal

    band = in_band(sound, 300.0, 3400.0)
    low = signal.resample_poly(band, 1, 2)
    low = np.clip(low / max(np.abs(low).max(), 1e-9), -1, 1)
    coded = np.sign(low) * np.log1p(255 * np.abs(low)) / np.log1p(255)
    coded = np.round(coded * 127) / 127
    back = np.sign(coded) * (np.expm1(np.abs(coded) * np.log1p(255)) / 255)
    return np.asarray(back, np.float64)
