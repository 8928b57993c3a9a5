"""Answers by ear, one after the other, with the gate shut while they sound.

Keeps the tool from hearing its own answer as a note.

While an answer sounds, what goes to the recognizer is replaced by sound like the
background just before, so that the noise floor it has learnt stays right. What goes
to the recording is untouched.
"""

from __future__ import annotations

import base64
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
from collections import deque
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio import SAMPLE_RATE_HZ
from treeward.language.kinds import KINDS, EventKind

from .messages import Alarm, Level

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from .microphone import Player


MOST_WAITING = 3  # older words are left out, so that answers never lag behind


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One thing to sound."""

    tones: tuple[str, ...]
    words: str = ""  # read aloud too, where a synthesiser is used
    shown: str = ""  # all of it, where a screen has room for more than words
    asked_s: float | None = None  # elapsed second at which the phrase ended


class Answerer:
    """Sounds answers in a thread of its own, the gate shut meanwhile.

    Without a `synthesiser` in tones only. `now_s` gives the elapsed second of
    listening; `on_span` is called with the elapsed span of each answer and its words.
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

    def __init__(self, command: Callable[[str, Path], list[str]]) -> None:
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
            return Synthesiser(partial(_espeak, path))
    if sys.platform == "darwin" and (path := shutil.which("say")):
        return Synthesiser(partial(_say, path))
    if sys.platform == "win32" and (path := shutil.which("powershell")):
        return Synthesiser(partial(_powershell, path))
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


TAIL_S = 0.25  # sound on its way through the card and the room; guess
RISE_PER_S = 1.25  # of the background, at most; guess
_QUIET_FRAME = 320  # samples, 20 ms


class Gate:
    """Spans of elapsed seconds in which our own answer sounds."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._spans: list[tuple[float, float]] = []
        self._open_since: float | None = None
        self._rng = np.random.default_rng(20)
        self._background = 0.0  # unknown

    def shut(self, now_s: float) -> None:
        """Close: an answer starts to sound."""
        with self._lock:
            if self._open_since is None:
                self._open_since = now_s

    def reopen(self, now_s: float) -> tuple[float, float]:
        """Open again after the answer; return the span that is not heard."""
        with self._lock:
            start = now_s if self._open_since is None else self._open_since
            span = (start, now_s + TAIL_S)
            self._open_since = None
            self._spans = [s for s in self._spans if s[1] > now_s - 60.0]
            self._spans.append(span)
            return span

    def mute(self, samples: NDArray[np.float32], start_s: float) -> NDArray[np.float32]:
        """Return a chunk with our own answers replaced by background.

        `start_s` is the elapsed second of its first sample.
        """
        end_s = start_s + len(samples) / SAMPLE_RATE_HZ
        with self._lock:
            spans = list(self._spans)
            if self._open_since is not None:
                spans.append((self._open_since, end_s))
        hit = [(a, b) for a, b in spans if a < end_s and b > start_s]
        if not hit:
            self._learn(samples)
            return samples
        muted = samples.copy()
        for a, b in hit:
            first = max(0, int((a - start_s) * SAMPLE_RATE_HZ))
            last = min(len(samples), int(np.ceil((b - start_s) * SAMPLE_RATE_HZ)))
            noise = self._rng.standard_normal(last - first, dtype=np.float32)
            muted[first:last] = noise * np.float32(self._background)
        return muted

    def _learn(self, samples: NDArray[np.float32]) -> None:
        usable = len(samples) - len(samples) % _QUIET_FRAME
        if usable:
            frames = samples[:usable].reshape(-1, _QUIET_FRAME)
            quietest = float(np.sqrt(np.mean(np.square(frames), axis=1)).min())
            # Falls at once, rises slowly: speech is not background.
            rise = RISE_PER_S ** (len(samples) / SAMPLE_RATE_HZ)
            most = self._background * rise if self._background else quietest
            self._background = max(1e-5, min(quietest, most))


WINDOW_S = 5.0  # over which faults are looked for; choice
CLIP_AT = 0.985  # of full scale; a limiter rounds just below it
CLIPPED_SHARE = 0.002  # of samples in the window; guess
SILENT_DBFS = -72.0  # below the self-noise of any live microphone; guess
FLOOR_DBFS = -120.0


class LevelMeter:
    """Follows the sound; used from one thread, read from any."""

    def __init__(self) -> None:
        self._window: deque[tuple[int, float, int, float]] = deque()
        self._samples = 0
        self.level = Level(rms_dbfs=FLOOR_DBFS, peak_dbfs=FLOOR_DBFS)

    def push(self, samples: NDArray[np.float32]) -> Level:
        """Take a chunk of sound; return how loud it is and what is wrong."""
        if not len(samples):
            return self.level
        size = np.abs(samples)
        power = float(np.mean(np.square(samples, dtype=np.float64)))
        peak = float(size.max())
        clipped = int(np.count_nonzero(size >= CLIP_AT))
        self._window.append((len(samples), power * len(samples), clipped, peak))
        self._samples += len(samples)
        while self._samples - self._window[0][0] > WINDOW_S * SAMPLE_RATE_HZ:
            self._samples -= self._window.popleft()[0]
        self.level = Level(
            rms_dbfs=dbfs(np.sqrt(power)), peak_dbfs=dbfs(peak), warning=self._warning()
        )
        return self.level

    def _warning(self) -> str:
        if self._samples < 0.9 * WINDOW_S * SAMPLE_RATE_HZ:
            return ""
        if sum(w[2] for w in self._window) > CLIPPED_SHARE * self._samples:
            return "too loud: turn the microphone down or move it away"
        power = sum(w[1] for w in self._window) / self._samples
        if dbfs(np.sqrt(power)) < SILENT_DBFS:
            return "silence: the microphone is off, muted, or the wrong one"
        return ""


def dbfs(amplitude: float) -> float:
    """Return an amplitude, or a root mean square, in dB of full scale."""
    return max(FLOOR_DBFS, 20.0 * float(np.log10(max(amplitude, 1e-6))))
