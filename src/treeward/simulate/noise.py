"""Outdoor sound to put behind invented speech: wind, running water, bees.

Every bed is endless and made block by block, so an hour of it costs no more memory
than a second. Levels are set against speech: `gain_for` gives the factor that puts a
bed a stated number of decibels below a stated speech level.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Samples = NDArray[np.float64]

LEVEL_BAND_HZ = (100.0, 7000.0)  # rumble below is not counted as noise; choice
PILOT_S = 90.0  # length of the stretch by which a level is measured; choice


class Bed(Protocol):
    """A kind of background sound that never ends."""

    def block(self, n: int) -> Samples:
        """Return the next `n` samples."""


class _Filtered:
    """White noise through a filter whose state is kept between blocks."""

    def __init__(self, rng: np.random.Generator, b: Samples, a: Samples) -> None:
        self._rng, self._b, self._a = rng, b, a
        self._state = np.zeros(max(len(a), len(b)) - 1)

    def block(self, n: int) -> Samples:
        from scipy.signal import lfilter

        out, self._state = lfilter(
            self._b, self._a, self._rng.standard_normal(n), zi=self._state
        )
        return np.asarray(out, dtype=np.float64)


def _band(rng: np.random.Generator, low_hz: float, high_hz: float, rate_hz: int) -> Bed:
    from scipy.signal import butter

    top = min(high_hz, 0.46 * rate_hz)
    b, a = butter(1, [low_hz, top], btype="bandpass", fs=rate_hz)
    return _Filtered(rng, b, a)


class _Slow:
    """A slow random curve (standard normal, correlated over `time_s`), interpolated."""

    STEP_S = 0.05

    def __init__(self, rng: np.random.Generator, time_s: float, rate_hz: int) -> None:
        self._rng = rng
        self._keep = float(np.exp(-self.STEP_S / time_s))
        self._step = round(self.STEP_S * rate_hz)
        self._here = float(rng.standard_normal())
        self._next = self._move(self._here)
        self._at = 0

    def _move(self, value: float) -> float:
        fresh = np.sqrt(1 - self._keep**2) * self._rng.standard_normal()
        return float(self._keep * value + fresh)

    def block(self, n: int) -> Samples:
        out = np.empty(n)
        done = 0
        while done < n:
            take = min(self._step - self._at, n - done)
            share = (self._at + np.arange(take)) / self._step
            out[done : done + take] = (1 - share) * self._here + share * self._next
            done += take
            self._at += take
            if self._at == self._step:
                self._at = 0
                self._here, self._next = self._next, self._move(self._next)
        return out


class WindNoise:
    """Wind over a microphone: rumble, hiss of heath and grass, and gusts."""

    def __init__(self, rng: np.random.Generator, rate_hz: int) -> None:
        self._rumble = _band(rng, 20.0, 180.0, rate_hz)
        self._roar = _band(rng, 120.0, 700.0, rate_hz)
        self._hiss = _band(rng, 700.0, 5000.0, rate_hz)
        self._gust = _Slow(rng, 2.5, rate_hz)
        self._flutter = _Slow(rng, 0.15, rate_hz)

    def block(self, n: int) -> Samples:
        """Return the next `n` samples."""
        gust = np.exp(0.6 * self._gust.block(n))
        flutter = np.exp(0.5 * self._flutter.block(n))
        low = 4.0 * self._rumble.block(n) * gust * flutter
        return (
            low
            + 0.8 * self._roar.block(n) * gust * flutter
            + (0.12 * self._hiss.block(n) * gust**1.5)
        )


class Water:
    """A small stream over stones: broad hiss and single bubbles."""

    BUBBLES_PER_S = 45.0  # guess, by ear

    def __init__(self, rng: np.random.Generator, rate_hz: int) -> None:
        self._rng, self._rate_hz = rng, rate_hz
        self._hiss = _band(rng, 500.0, 6000.0, rate_hz)
        self._body = _band(rng, 250.0, 1500.0, rate_hz)
        self._swell = _Slow(rng, 0.8, rate_hz)
        self._tail = np.zeros(round(0.12 * rate_hz))

    def block(self, n: int) -> Samples:
        """Return the next `n` samples."""
        swell = np.exp(0.25 * self._swell.block(n))
        out = swell * (0.7 * self._hiss.block(n) + 0.5 * self._body.block(n))
        room = np.zeros(n + len(self._tail))
        room[: len(self._tail)] += self._tail
        t = np.arange(len(self._tail)) / self._rate_hz
        for _ in range(self._rng.poisson(self.BUBBLES_PER_S * n / self._rate_hz)):
            at = int(self._rng.integers(0, n))
            pitch_hz = float(np.exp(self._rng.uniform(np.log(500.0), np.log(2800.0))))
            size = float(self._rng.exponential(0.5))
            ring = np.exp(-t * pitch_hz / 25.0)
            chirp = np.sin(2 * np.pi * pitch_hz * t * (1 + 1.5 * t))
            room[at : at + len(t)] += size * ring * chirp
        self._tail = room[n:].copy()
        return out + room[:n]


FALL = 1.4  # of a buzz's harmonics, as a power: 8 dB an octave; guess


class Buzz:
    """Bees at the dish: several, each passing close now and then."""

    BEES = 3

    def __init__(self, rng: np.random.Generator, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._near = [_Slow(rng, 1.2, rate_hz) for _ in range(self.BEES)]
        self._waver = [_Slow(rng, 0.3, rate_hz) for _ in range(self.BEES)]
        # Wingbeat of bees near the hive about 170 Hz, hovering up to 250: guess.
        self._pitch_hz = [float(rng.uniform(170.0, 250.0)) for _ in range(self.BEES)]
        self._phase = [float(rng.uniform(0.0, 1.0)) for _ in range(self.BEES)]

    def block(self, n: int) -> Samples:
        """Return the next `n` samples."""
        out = np.zeros(n)
        for bee in range(self.BEES):
            pitch = self._pitch_hz[bee] * (1 + 0.04 * self._waver[bee].block(n))
            phase = self._phase[bee] + np.cumsum(pitch) / self._rate_hz
            self._phase[bee] = float(phase[-1] % 1.0)
            near = np.exp(self._near[bee].block(n) - 0.5)
            tone = np.zeros(n)
            for harmonic in range(1, 13):
                tone += np.sin(2 * np.pi * harmonic * phase) / harmonic**FALL
            out += near * tone
        return out


class Mixed:
    """Several beds together at equal level."""

    def __init__(self, beds: Sequence[Bed]) -> None:
        self._beds = tuple(beds)

    def block(self, n: int) -> Samples:
        """Return the next `n` samples."""
        total = np.zeros(n)
        for each in self._beds:
            total += each.block(n)
        return np.asarray(total / np.sqrt(len(self._beds)))


class _Levelled:
    """A bed scaled so that its usual level in LEVEL_BAND_HZ is one."""

    def __init__(self, bed: Bed, scale: float) -> None:
        self._bed, self._scale = bed, scale

    def block(self, n: int) -> Samples:
        return self._scale * self._bed.block(n)


_KINDS: dict[str, type[WindNoise | Water | Buzz]] = {
    "wind": WindNoise,
    "water": Water,
    "buzz": Buzz,
}
KINDS = (*_KINDS, "mixed")


def bed(kind: str, rng: np.random.Generator, rate_hz: int) -> Bed:
    """Make a background of unit level.

    Parameters
    ----------
    kind
        "wind", "water", "buzz", or "mixed" (all three).
    rng
        Where the randomness comes from.
    rate_hz
        Sample rate.

    Raises
    ------
    ValueError
        If the kind is unknown.
    """
    if kind == "mixed":
        return Mixed([bed(each, rng, rate_hz) for each in _KINDS])
    if kind not in _KINDS:
        raise ValueError(f"kind: unknown background {kind!r}, know {', '.join(KINDS)}")
    pilot = _KINDS[kind](rng, rate_hz).block(round(PILOT_S * rate_hz))
    return _Levelled(_KINDS[kind](rng, rate_hz), 1.0 / band_level(pilot, rate_hz))


def band_level(samples: Samples, rate_hz: int) -> float:
    """Return the root mean square of `samples` within LEVEL_BAND_HZ."""
    from scipy.signal import butter, sosfilt

    low_hz, high_hz = LEVEL_BAND_HZ
    sections = butter(
        2, [low_hz, min(high_hz, 0.46 * rate_hz)], "bandpass", fs=rate_hz, output="sos"
    )
    heard = np.asarray(sosfilt(sections, samples))
    return float(np.sqrt(np.mean(heard**2)))


def gain_for(speech_level: float, snr_db: float) -> float:
    """Return the factor for a bed of unit level to lie `snr_db` below speech."""
    return float(speech_level * 10 ** (-snr_db / 20))
