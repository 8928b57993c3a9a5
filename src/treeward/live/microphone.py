"""The microphone, by PortAudio; lost and picked up again.

What makes the answer sound: PortAudio, else a program found here, else the bell.
"""

from __future__ import annotations

import contextlib
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from treeward.audio import SAMPLE_RATE_HZ, Resampler
from treeward.errors import SoundError

from .messages import Chunk

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray


CHUNK_S = 0.1
QUEUE_CHUNKS = 300  # half a minute, while a slow disk holds things up
SILENT_STREAM_S = 2.0  # no sound for this long: the microphone is gone; guess
RETRY_S = 1.0
_MEND_PORTAUDIO = (
    "Install it: pip install sounddevice, and on Debian or Ubuntu "
    "apt install libportaudio2; or feed sound by --input -."
)
_OWN_OUTPUT = ("monitor", "loopback", "stereo mix", "what u hear")


def sounddevice() -> Any:  # noqa: ANN401 (untyped module)
    """Return the sounddevice module.

    Raises
    ------
    SoundError
        It, or PortAudio below it, is not installed.
    """
    try:
        import sounddevice as module
    except ImportError:
        raise SoundError(
            "the microphone needs the sounddevice package", mend=_MEND_PORTAUDIO
        ) from None
    except OSError as error:
        raise SoundError(
            f"PortAudio cannot be used ({error})", mend=_MEND_PORTAUDIO
        ) from None
    return module


def input_devices() -> list[tuple[int, str, int]]:
    """Return (number, name, default rate in Hz) of each device that records."""
    return [
        (number, str(device["name"]), int(device["default_samplerate"]))
        for number, device in enumerate(sounddevice().query_devices())
        if device["max_input_channels"] > 0
    ]


def device_warning(name: str) -> str:
    """Return what is suspicious about a device's name, or ""."""
    if any(word in name.lower() for word in _OWN_OUTPUT):
        return f"wrong microphone: {name} records what this computer plays"
    return ""


class MicrophoneSource:
    """Sound from a device that records.

    `device` is a number or part of the name as `--devices` lists it, None the system's
    own; `now_s` gives the elapsed second of listening.
    """

    live = True

    def __init__(self, device: str | int | None, now_s: Callable[[], float]) -> None:
        self._device = device
        self._now_s = now_s
        self._stopped = threading.Event()
        self._queue: queue.Queue[tuple[NDArray[np.float32], float]] = queue.Queue(
            QUEUE_CHUNKS
        )
        self._dropped = False
        self._lost = ""  # why sound is missing before the next chunk
        self._arrival_s = 0.0
        self._rate_hz = SAMPLE_RATE_HZ
        self.name = str(self._look_up()["name"])
        self._stream = self._open()  # a fault at the start is the person's to mend

    def _look_up(self) -> dict[str, Any]:
        sd = sounddevice()
        try:
            found: dict[str, Any] = sd.query_devices(self._device, "input")
        except (ValueError, sd.PortAudioError) as error:
            raise self._missing(error) from None
        return found

    def _missing(self, error: Exception) -> SoundError:
        """Say which there is not; PortAudio's own words are of its inside."""
        if self._device is None:
            return SoundError(
                "there is no microphone",
                mend="Plug one in; `treeward listen --devices` lists those there are.",
            )
        if "multiple" in str(error).lower():
            return SoundError(
                f"several microphones are called {self._device!r}",
                mend="Name one by its number: `treeward listen --devices`.",
            )
        return SoundError(
            f"there is no microphone {self._device!r}",
            mend="`treeward listen --devices` lists those there are.",
        )

    def _open(self) -> Any:  # noqa: ANN401 (untyped)
        sd = sounddevice()
        try:
            sd.check_input_settings(
                device=self._device, channels=1, samplerate=SAMPLE_RATE_HZ
            )
            self._rate_hz = SAMPLE_RATE_HZ
        except (ValueError, sd.PortAudioError):
            self._rate_hz = int(self._look_up()["default_samplerate"])
        try:
            stream = sd.InputStream(
                samplerate=self._rate_hz,
                blocksize=int(self._rate_hz * CHUNK_S),
                device=self._device,
                channels=1,
                dtype="float32",
                callback=self._on_sound,
            )
            stream.start()
        except (ValueError, sd.PortAudioError):
            raise SoundError(
                "the microphone cannot be opened",
                where=self.name,
                mend="Close what else records, or choose another by --device.",
            ) from None
        return stream

    def _on_sound(
        self,
        data: NDArray[np.float32],
        frames: int,  # noqa: ARG002
        when: object,  # noqa: ARG002
        status: Any,  # noqa: ANN401, ARG002 (lateness tells what was lost)
    ) -> None:
        if self._stopped.is_set():
            raise sounddevice().CallbackAbort
        try:
            self._queue.put((data[:, 0].copy(), self._now_s()), timeout=0.5)
        except queue.Full:
            self._dropped = True

    def stop(self) -> None:
        """End soon."""
        self._stopped.set()

    def chunks(self) -> Iterator[Chunk]:
        """Yield sound; when the microphone goes away, wait for it to come back."""
        try:
            while True:
                for samples in Resampler(self._rate_hz).stream(self._arrays()):
                    yield Chunk(
                        samples=samples, arrival_s=self._arrival_s, lost=self._lost
                    )
                    self._lost = ""
                if self._stopped.is_set():
                    return
                # An empty chunk tells the session at once; sound may follow.
                self._lost = "the microphone was away"
                nothing = np.zeros(0, np.float32)
                yield Chunk(samples=nothing, arrival_s=self._now_s(), lost=self._lost)
                self._reopen()
        finally:
            self._close()

    def _arrays(self) -> Iterator[NDArray[np.float32]]:
        """Yield what the device gives, until it gives nothing any more."""
        while not self._stopped.is_set():
            try:
                samples, self._arrival_s = self._queue.get(timeout=SILENT_STREAM_S)
            except queue.Empty:
                return
            if self._dropped:
                self._dropped, self._lost = False, "this computer could not keep up"
            yield samples
        while True:  # what was spoken before the end
            try:
                samples, self._arrival_s = self._queue.get_nowait()
            except queue.Empty:
                return
            yield samples

    def _reopen(self) -> None:
        """Try until the microphone is there again, or we are stopped."""
        while not self._stopped.wait(RETRY_S):
            self._close()
            sd = sounddevice()
            try:
                # PortAudio lists devices only once unless it is started afresh.
                sd._terminate()
                sd._initialize()
                self._stream = self._open()
            except (SoundError, sd.PortAudioError):
                continue
            return

    def _close(self) -> None:
        sd = sounddevice()
        try:
            self._stream.abort(ignore_errors=True)
            self._stream.close(ignore_errors=True)
        except sd.PortAudioError:
            return


class Player(Protocol):
    """Plays sound and returns when it is over."""

    name: str

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> str | None:
        """Play mono samples to their end; never raises.

        Returns in a line why nothing could be heard, None where it was played.
        """


class PortAudioPlayer:
    """Plays by sounddevice."""

    name = "PortAudio"

    def __init__(self) -> None:
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
