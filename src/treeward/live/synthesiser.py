"""A speech synthesiser that is on this machine already."""

from __future__ import annotations

import base64
import shutil
import subprocess
import sys
import tempfile
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

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
