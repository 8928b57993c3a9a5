"""Short sounds, one for each kind of note, told apart without looking.

Pitches lie where laptop speakers are good and wind is not (500-2500 Hz). What comes
rises ("back"), what goes falls ("away"); a question rises at its end ("say again").
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from treeward.notes.events import EventKind

from .messages import Alarm

if TYPE_CHECKING:
    from numpy.typing import NDArray

RATE_HZ = 24_000
AMPLITUDE = 0.5
_FADE_S = 0.008  # against clicks
_GAP_S = 0.025

SAY_AGAIN = "say again"
NOT_KEPT = "not kept"

# Each is a row of (start Hz, end Hz, seconds); 0 Hz is silence.
_SHAPES: dict[str, tuple[tuple[float, float, float], ...]] = {
    EventKind.BACK: ((880, 880, 0.08), (1320, 1320, 0.12)),
    EventKind.AWAY: ((1320, 1320, 0.08), (880, 880, 0.12)),
    EventKind.MARK: ((1047, 1047, 0.05),) * 3,
    EventKind.BEARING: ((1568, 1568, 0.22),),
    EventKind.TIME: ((2093, 2093, 0.03), (0, 0, 0.09), (1568, 1568, 0.03)),
    EventKind.STATION: ((659, 659, 0.10), (659, 659, 0.10)),
    EventKind.DATE: ((494, 494, 0.05), (740, 740, 0.05), (494, 494, 0.05)),
    EventKind.WIND: ((700, 1900, 0.13), (1900, 700, 0.13)),
    EventKind.DURATION: ((988, 988, 0.06), (1175, 1175, 0.06), (988, 988, 0.06)),
    EventKind.MISSED: ((740, 520, 0.22),),
    EventKind.PAUSE: ((1175, 1175, 0.07), (880, 880, 0.07), (587, 587, 0.14)),
    EventKind.RESUME: ((587, 587, 0.07), (880, 880, 0.07), (1175, 1175, 0.14)),
    EventKind.SCRATCH: ((1760, 900, 0.07), (1760, 900, 0.07), (1760, 600, 0.10)),
    EventKind.REMARK: ((1175, 1175, 0.06),),
    SAY_AGAIN: ((700, 700, 0.10), (700, 1400, 0.18)),
    NOT_KEPT: ((600, 600, 0.12), (500, 500, 0.12), (600, 600, 0.12), (500, 500, 0.12)),
    Alarm.DUE: ((1047, 1047, 0.30),),
    Alarm.FAULT: ((523, 523, 0.18), (0, 0, 0.06), (523, 523, 0.18)),
    Alarm.MENDED: ((523, 523, 0.08), (784, 784, 0.08), (1047, 1047, 0.10)),
    Alarm.SUNSET: ((1047, 1047, 0.14), (784, 784, 0.14), (659, 659, 0.20)),
}
_SOFT: dict[str, float] = {
    Alarm.DUE: 0.25,
    Alarm.SUNSET: 0.5,
}  # share of the usual loudness


def sound_names() -> tuple[str, ...]:
    """Return the names of all sounds."""
    return tuple(str(name) for name in _SHAPES)


def tone(name: str) -> NDArray[np.float32]:
    """Return a sound by name, mono at RATE_HZ.

    Raises
    ------
    KeyError
        There is no sound of that name.
    """
    parts: list[NDArray[np.float64]] = []
    silence = np.zeros(int(_GAP_S * RATE_HZ))
    for start_hz, end_hz, length_s in _SHAPES[name]:
        parts += [_note(start_hz, end_hz, length_s), silence]
    return (AMPLITUDE * _SOFT.get(name, 1.0) * np.concatenate(parts)).astype(np.float32)


def _note(start_hz: float, end_hz: float, length_s: float) -> NDArray[np.float64]:
    n = int(length_s * RATE_HZ)
    if start_hz == 0:
        return np.zeros(n)
    phase = 2 * np.pi * np.cumsum(np.linspace(start_hz, end_hz, n)) / RATE_HZ
    # A second harmonic carries farther through a small speaker than a pure tone.
    wave = (np.sin(phase) + 0.35 * np.sin(2 * phase)) / 1.35
    fade = min(int(_FADE_S * RATE_HZ), n // 2)
    shape = np.ones(n)
    shape[:fade] = np.linspace(0, 1, fade)
    shape[n - fade :] = np.linspace(1, 0, fade)
    return np.asarray(wave * shape)
