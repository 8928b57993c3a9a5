"""The synthetic speakers of the hearing benchmark, from four synthesis systems.

They are split for good: a "tune" speaker may be used to set the recognizer's
constants, a "judge" speaker only to measure. All run on this machine: hibari
(PyPI hibari-tts, Apache-2.0), and as separate programs, from Debian packages, flite
(BSD-like licence of Carnegie Mellon University), festival (likewise, of the
University of Edinburgh; voices festvox-kallpc16k, festvox-kdlpc16k,
festvox-us-slt-hts) and espeak-ng (GPL-3.0-or-later, called, not linked).
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
import soundfile

from treeward.simulate.sound import HibariVoice, Voice, retune, tidy

if TYPE_CHECKING:
    from numpy.typing import NDArray

Part = Literal["tune", "judge"]

PACES = (0.9, 1.0, 1.0, 1.1)  # speaking rates a speaker varies among; choice


class Program:
    """A synthesis program that reads a text and writes a WAV file."""

    def __init__(
        self, name: str, command: tuple[str, ...], *, pitch: float = 1.0
    ) -> None:
        self.name = name
        self._command, self._pitch = command, pitch

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        """Read `text` aloud; `seed` picks the pace."""
        pace = float(np.random.default_rng(seed).choice(PACES)) / self._pitch
        with tempfile.TemporaryDirectory() as room:
            wav, txt = Path(room, "out.wav"), Path(room, "in.txt")
            txt.write_text(text + "\n", encoding="utf-8")
            fill = {
                "wav": str(wav),
                "txt": str(txt),
                "text": text,
                "stretch": f"{1 / pace:.3f}",
                "words_per_min": str(round(155 * pace)),
            }
            subprocess.run(
                [part.format(**fill) for part in self._command],
                check=True,
                capture_output=True,
            )
            raw, from_hz = soundfile.read(wav, dtype="float64")
        return tidy(retune(raw, from_hz * self._pitch, rate_hz))


class Paced:
    """A hibari voice that varies its pace like the others."""

    def __init__(
        self, name: str, accent: Literal["british", "american"], pitch: float
    ) -> None:
        self.name = name
        self._voices = [HibariVoice(accent, pitch=pitch, pace=p) for p in (0.92, 1.05)]

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        """Read `text` aloud; `seed` picks the pace and the breath noise."""
        return self._voices[seed % 2].say(text, rate_hz=rate_hz, seed=seed)


def flite(voice: str, pitch: float = 1.0) -> Program:
    """Return a voice of flite."""
    command = ("flite", "-voice", voice, "--setf", "duration_stretch={stretch}")
    name = f"flite-{voice}" + ("" if pitch == 1.0 else f"-{pitch:g}")
    return Program(name, (*command, "-t", "{text}", "-o", "{wav}"), pitch=pitch)


def espeak(voice: str, pitch: int) -> Program:
    """Return a voice, or a variant of one, of espeak-ng."""
    command = ("espeak-ng", "-v", voice, "-p", str(pitch), "-s", "{words_per_min}")
    return Program(f"espeak-{voice}", (*command, "-w", "{wav}", "-f", "{txt}"))


def festival(voice: str) -> Program:
    """Return a voice of festival."""
    start = f"(begin (voice_{voice}) (Parameter.set 'Duration_Stretch {{stretch}}))"
    command = ("text2wave", "-eval", start, "-o", "{wav}", "{txt}")
    return Program(f"festival-{voice}", command)


def speakers(part: Part) -> list[Voice]:
    """Return the speakers of one part."""
    if part == "tune":
        return [
            Paced("hibari-british", "british", 0.92),
            flite("awb"),
            espeak("en-gb", 45),
            festival("kal_diphone"),
        ]
    return [
        Paced("hibari-american-low", "american", 0.8),
        flite("rms"),
        flite("slt"),
        espeak("en-us+f2", 55),
        festival("ked_diphone"),
    ]
