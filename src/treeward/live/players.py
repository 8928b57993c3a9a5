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

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> None:
        """Play mono samples to their end; never raises."""


class PortAudioPlayer:
    """Plays by sounddevice."""

    name = "PortAudio"

    def __init__(self) -> None:
        from treeward.live.microphone import sounddevice

        self._sd = sounddevice()
        try:
            self._sd.query_devices(None, "output")
        except (ValueError, self._sd.PortAudioError) as error:
            raise SoundError("there is no loudspeaker") from error

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> None:
        """Play to the end."""
        with contextlib.suppress(ValueError, self._sd.PortAudioError):
            self._sd.play(samples, rate_hz, blocking=True)


class ProgramPlayer:
    """Plays a WAV file by a program that comes with the system."""

    def __init__(self, name: str, command: Callable[[Path], list[str]]) -> None:
        self.name = name
        self._command = command

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> None:
        """Play to the end."""
        import soundfile

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "answer.wav"
            try:
                soundfile.write(path, samples, rate_hz, subtype="PCM_16")
                subprocess.run(  # noqa: S603 (a fixed program and our own file)
                    self._command(path), check=False, capture_output=True, timeout=30
                )
            except (OSError, subprocess.SubprocessError, soundfile.LibsndfileError):
                return


class SilentPlayer:
    """Plays nothing: answers are seen only."""

    name = "none"

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> None:
        """Do nothing."""


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


def _play_file(command: tuple[str, ...], wav: Path) -> list[str]:
    return [*command, str(wav)]


def _powershell(path: str, wav: Path) -> list[str]:
    quoted = str(wav).replace("'", "''")
    script = f"(New-Object Media.SoundPlayer '{quoted}').PlaySync()"
    return [path, "-NoProfile", "-Command", script]
