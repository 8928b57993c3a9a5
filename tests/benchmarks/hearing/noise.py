"""Outdoor sound to put behind invented speech beside wind: running water, bees.

Made block by block and levelled as the wind in `treeward.simulate.sound`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from treeward.simulate.sound import Slow, WindNoise, band, levelled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.simulate.sound import Bed, Samples


class Water:
    """A small stream over stones: broad hiss and single bubbles."""

    BUBBLES_PER_S = 45.0  # guess, by ear

    def __init__(self, rng: np.random.Generator, rate_hz: int) -> None:
        self._rng, self._rate_hz = rng, rate_hz
        self._hiss = band(rng, 500.0, 6000.0, rate_hz)
        self._body = band(rng, 250.0, 1500.0, rate_hz)
        self._swell = Slow(rng, 0.8, rate_hz)
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
        self._near = [Slow(rng, 1.2, rate_hz) for _ in range(self.BEES)]
        self._waver = [Slow(rng, 0.3, rate_hz) for _ in range(self.BEES)]
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


_KINDS: dict[str, type[WindNoise | Water | Buzz]] = {
    "wind": WindNoise,
    "water": Water,
    "buzz": Buzz,
}
KINDS = (*_KINDS, "mixed")


def bed(kind: str, rng: np.random.Generator, rate_hz: int) -> Bed:
    """Make a background of unit level: wind, water, buzz, or all three mixed.

    Raises
    ------
    ValueError
        If the kind is unknown.
    """
    if kind == "mixed":
        return Mixed([bed(each, rng, rate_hz) for each in _KINDS])
    if kind not in _KINDS:
        raise ValueError(f"kind: unknown background {kind!r}, know {', '.join(KINDS)}")
    return levelled(_KINDS[kind], rng, rate_hz)
