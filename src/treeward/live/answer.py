"""Answers by ear, one after the other, with the gate shut while they sound."""

from __future__ import annotations

import base64
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from treeward.language.kinds import KINDS, EventKind

from .messages import Alarm

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from .gate import Gate
    from .players import Player

MOST_WAITING = 3  # older words are left out, so that answers never lag behind


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One thing to sound."""

    tones: tuple[str, ...]
    words: str = ""  # read aloud too, where a synthesiser is used
    shown: str = ""  # all of it, where a screen has room for more than words
    asked_s: float | None = None  # elapsed second at which the phrase ended


class Answerer:
    """Sounds answers in a thread of its own.

    Parameters
    ----------
    player, synthesiser
        What plays, and what reads aloud (None: tones only).
    gate
        Shut while anything sounds.
    now_s
        Elapsed second of listening.
    on_span
        Called with the elapsed span of each answer, and whether it held words.
    """

    def __init__(
        self,
        player: Player,
        synthesiser: Synthesiser | None,
        gate: Gate,
        now_s: Callable[[], float],
        *,
        on_span: Callable[[float, float, str], None] | None = None,
        on_latency: Callable[[float], None] | None = None,
    ) -> None:
        self._player = player
        self._synthesiser = synthesiser
        self._gate = gate
        self._now_s = now_s
        self._on_span = on_span
        self._on_latency = on_latency
        self._queue: queue.Queue[Answer | None] = queue.Queue()
        self._thread = threading.Thread(target=self._run, name="answer", daemon=True)
        self._thread.start()

    def say(self, answer: Answer) -> None:
        """Sound an answer as soon as those before it are over; returns at once."""
        self._queue.put(answer)

    def close(self) -> None:
        """Sound what is waiting, then end."""
        self._queue.put(None)
        self._thread.join(timeout=30.0)

    def _run(self) -> None:
        while (answer := self._queue.get()) is not None:
            self._sound(answer)

    def _sound(self, answer: Answer) -> None:
        began = self._now_s()
        self._gate.shut(began)
        if answer.asked_s is not None and self._on_latency is not None:
            self._on_latency(began - answer.asked_s)
        words = ""
        try:
            for name in answer.tones:
                self._player.play(tone(name), RATE_HZ)
            if answer.words and self._queue.qsize() < MOST_WAITING:
                words = self._read(answer.words)
        finally:
            start, end = self._gate.reopen(self._now_s())
            if self._on_span is not None:
                self._on_span(start, end, words)

    def _read(self, words: str) -> str:
        if self._synthesiser is None:
            return ""
        spoken = self._synthesiser.say(words)
        if spoken is None:
            return ""
        self._player.play(*spoken)
        return words


RATE_HZ = 24_000
AMPLITUDE = 0.5
_FADE_S = 0.008  # against clicks
_GAP_S = 0.025

SAY_AGAIN = "say again"
NOT_KEPT = "not kept"

# Each is a row of (start Hz, end Hz, seconds); 0 Hz is silence. Those of notes stand in
# the table of kinds.
_SHAPES: dict[str, tuple[tuple[float, float, float], ...]] = {
    **{kind: KINDS[kind].tone for kind in EventKind},
    SAY_AGAIN: ((700, 700, 0.10), (700, 1400, 0.18)),
    NOT_KEPT: ((600, 600, 0.12), (500, 500, 0.12), (600, 600, 0.12), (500, 500, 0.12)),
    Alarm.DUE: ((1047, 1047, 0.30),),
    Alarm.FAULT: ((523, 523, 0.18), (0, 0, 0.06), (523, 523, 0.18)),
    Alarm.MENDED: ((523, 523, 0.08), (784, 784, 0.08), (1047, 1047, 0.10)),
    Alarm.SUNSET: ((1047, 1047, 0.14), (784, 784, 0.14), (659, 659, 0.20)),
    Alarm.GET_UP: ((659, 659, 0.14), (0, 0, 0.04), (988, 988, 0.22)),
}
_SOFT: dict[str, float] = {
    Alarm.DUE: 0.25,
    Alarm.SUNSET: 0.5,
    Alarm.GET_UP: 0.5,
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


TIMEOUT_S = 10.0
_POWERSHELL = (
    "Add-Type -AssemblyName System.Speech;"
    "$s=New-Object System.Speech.Synthesis.SpeechSynthesizer;"
    "$s.SetOutputToWaveFile('{out}');$s.Speak('{text}');$s.Dispose()"
)


class Synthesiser:
    """Reads words aloud into samples, by a program found here."""

    def __init__(self, name: str, command: Callable[[str, Path], list[str]]) -> None:
        self.name = name
        self._command = command
        self._read = lru_cache(maxsize=200)(self._run)

    def say(self, text: str) -> tuple[NDArray[np.float32], int] | None:
        """Return mono samples and their rate in Hz, or None if it does not work."""
        return self._read(text)

    def _run(self, text: str) -> tuple[NDArray[np.float32], int] | None:
        import soundfile

        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "words.wav"
            try:
                subprocess.run(  # noqa: S603 (a fixed program, words as one argument)
                    self._command(text, out),
                    check=True,
                    capture_output=True,
                    timeout=TIMEOUT_S,
                )
                samples, rate = soundfile.read(out, dtype="float32", always_2d=True)
            except (OSError, subprocess.SubprocessError, soundfile.LibsndfileError):
                return None
        return np.asarray(samples.mean(axis=1), dtype=np.float32), int(rate)


def find_synthesiser() -> Synthesiser | None:
    """Return the first synthesiser found here, or None."""
    for program in ("espeak-ng", "espeak"):
        if path := shutil.which(program):
            return Synthesiser(program, partial(_espeak, path))
    if sys.platform == "darwin" and (path := shutil.which("say")):
        return Synthesiser("say", partial(_say, path))
    if sys.platform == "win32" and (path := shutil.which("powershell")):
        return Synthesiser("System.Speech", partial(_powershell, path))
    return None


def _espeak(path: str, text: str, out: Path) -> list[str]:
    return [path, "-s", "165", "-w", str(out), "--", text]


def _say(path: str, text: str, out: Path) -> list[str]:
    return [path, "-o", str(out), "--data-format=LEI16@22050", "--", text]


def _powershell(path: str, text: str, out: Path) -> list[str]:
    quoted = text.replace("'", "''")
    script = _POWERSHELL.format(out=str(out).replace("'", "''"), text=quoted)
    encoded = base64.b64encode(script.encode("utf-16-le")).decode()
    return [path, "-NoProfile", "-EncodedCommand", encoded]
