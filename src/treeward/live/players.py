"""What makes the answer sound: PortAudio, else a program found here, else the bell."""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import sys
import tempfile
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from treeward.errors import SoundError

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray


class Player(Protocol):
    """Plays sound and returns when it is over."""

    name: str

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> str | None:
        """Play mono samples to their end; never raises.

        Returns
        -------
        str or None
            Why nothing could be heard, in a line; None where it was played.
        """


class PortAudioPlayer:
    """Plays by sounddevice."""

    name = "PortAudio"

    def __init__(self) -> None:
        from .microphone import sounddevice

        self._sd = sounddevice()
        try:
            self._sd.query_devices(None, "output")
        except (ValueError, self._sd.PortAudioError) as error:
            raise SoundError("there is no loudspeaker") from error

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> str | None:
        """Play to the end."""
        try:
            self._sd.play(samples, rate_hz, blocking=True)
        except (ValueError, self._sd.PortAudioError) as error:
            return _line(str(error))
        return None


class ProgramPlayer:
    """Plays a WAV file by a program that comes with the system."""

    def __init__(self, name: str, command: Callable[[Path], list[str]]) -> None:
        self.name = name
        self._command = command

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> str | None:
        """Play to the end."""
        import soundfile

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "answer.wav"
            try:
                soundfile.write(path, samples, rate_hz, subtype="PCM_16")
                length_s = len(samples) / rate_hz
                done = subprocess.run(  # noqa: S603 (a fixed program and our own file)
                    self._command(path),
                    check=False,
                    capture_output=True,
                    timeout=30 + length_s,
                )
            except subprocess.TimeoutExpired:
                return f"{self.name} did not come to an end"
            except (OSError, soundfile.LibsndfileError) as error:
                return f"{self.name}: {_line(str(error))}"
        if done.returncode == 0:
            return None
        said = _line(done.stderr.decode("utf-8", "replace"))
        return f"{self.name}: {said or f'ended with status {done.returncode}'}"


class SilentPlayer:
    """Plays nothing: answers are seen only."""

    name = "none"

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> str | None:
        """Do nothing."""
        del samples, rate_hz
        return "no loudspeaker was found"


def find_player() -> Player:
    """Return the best player found here; SilentPlayer when there is none."""
    with contextlib.suppress(SoundError):
        return PortAudioPlayer()
    for program, options in (("paplay", ()), ("aplay", ("-q",)), ("afplay", ())):
        if path := shutil.which(program):
            return ProgramPlayer(program, partial(_play_file, (path, *options)))
    if sys.platform == "win32" and (path := shutil.which("powershell")):
        return ProgramPlayer("SoundPlayer", partial(_powershell, path))
    return SilentPlayer()


def _line(text: str) -> str:
    """Return the first line of what a program or library said."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[0][:160] if lines else ""


def _play_file(command: tuple[str, ...], wav: Path) -> list[str]:
    return [*command, str(wav)]


def _powershell(path: str, wav: Path) -> list[str]:
    quoted = str(wav).replace("'", "''")
    script = f"(New-Object Media.SoundPlayer '{quoted}').PlaySync()"
    return [path, "-NoProfile", "-Command", script]
