"""Sound on disk as it comes, playable whatever happens to us.

A session is one recording, kept in pieces of some minutes while it lasts. A piece is
a WAV file whose header is put right after every write, so that it can be played after
`kill -9`; its name holds the millisecond of the session at which it begins. A piece
that is complete is turned into FLAC. At the end the pieces are joined.
"""

from __future__ import annotations

import os
import shutil
import struct
import threading
import time
from collections import deque
from contextlib import ExitStack
from typing import IO, TYPE_CHECKING

import numpy as np

from treeward.errors import TreewardError
from treeward.within import held

from . import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.within import Held

HEADER_BYTES = 44  # RIFF, fmt and data headers of a plain PCM WAV file
BYTES_PER_SAMPLE = 2
BACKLOG_S = 60.0  # sound held in memory while the disk is full; choice
FLUSH_EVERY_S = 1.0  # a power cut loses no more than this
_FULL = "the disk is full"
SPARE_BYTES = 1 << 20  # left free on the disk, for the notes; choice
LOOK_EVERY_S = 1.0  # at the room on the disk


def wav_header(data_bytes: int) -> bytes:
    """Return the header of a 16-bit mono WAV file with `data_bytes` of sound."""
    return struct.pack(
        "<4sI4s4sIHHIIHH4sI",
        b"RIFF",
        36 + data_bytes,
        b"WAVE",
        b"fmt ",
        16,
        1,
        1,
        SAMPLE_RATE_HZ,
        SAMPLE_RATE_HZ * BYTES_PER_SAMPLE,
        BYTES_PER_SAMPLE,
        8 * BYTES_PER_SAMPLE,
        b"data",
        data_bytes,
    )


def as_pcm16(samples: NDArray[np.float32]) -> bytes:
    """Return samples in [-1, 1] as 16-bit little-endian PCM; louder ones clip."""
    scaled = np.rint(samples * np.float32(32768.0))
    return bytes(np.clip(scaled, -32768, 32767).astype("<i2").tobytes())


class Recorder:
    """Writes running sound into pieces in `folder`; used from one thread.

    The folder, made if it is not there, is held open from the start, and what becomes
    of its name since leads nowhere else. No link below `within`, the hunt that it
    belongs to, is followed.
    """

    def __init__(self, folder: Path, *, within: Path | None = None) -> None:
        self._open = ExitStack()
        self._folder = self._open.enter_context(
            held(within or folder, folder, make=True)
        )
        self.fault = ""  # what keeps sound from being written
        self.kept_samples = 0  # on disk, of all pieces
        self._wav: str | None = None  # its name
        self._fd = -1
        self._data = 0
        self._backlog: deque[bytes] = deque()
        self._backlog_bytes = 0
        self._looked_s = float("-inf")
        self._room = True
        self._flusher = _Flusher()
        self._finishing: list[threading.Thread] = []

    @property
    def writing(self) -> bool:
        """Whether a piece is open."""
        return self._wav is not None

    def begin(self, at_s: float) -> bool:
        """Begin a piece whose first sample is `at_s` seconds into the session.

        Returns False, and sets `fault`, when there is no room for it.
        """
        if not self._has_room(anew=True):
            self.fault = _FULL
            return False
        try:
            wav = self._free_name(at_s)
            flags = os.O_RDWR | os.O_CREAT | os.O_EXCL
            self._fd = self._folder.descriptor(wav, flags)
        except (OSError, TreewardError) as error:
            self.fault = _say(error)
            return False
        try:
            _write_all(self._fd, wav_header(0))
        except OSError as error:
            os.close(self._fd)
            self._fd = -1
            self._folder.remove(wav)
            self.fault = _say(error)
            return False
        self._wav, self._data, self.fault = wav, 0, ""
        self._flusher.watch(self._fd)
        return True

    def _free_name(self, at_s: float) -> str:
        """Name a piece by its millisecond; the next one where that is taken."""
        at_ms = round(at_s * 1000)
        while any(self._folder.look(f"{at_ms:010d}.{end}") for end in ("wav", "flac")):
            at_ms += 1
        return f"{at_ms:010d}.wav"

    def write(self, samples: NDArray[np.float32]) -> bool:
        """Add sound; return False when it could not even be held in memory.

        While the disk is full up to BACKLOG_S of sound waits in memory.
        """
        if self._wav is None:
            return False
        pcm = as_pcm16(samples)
        limit = int(BACKLOG_S * SAMPLE_RATE_HZ) * BYTES_PER_SAMPLE
        if self._backlog_bytes + len(pcm) > limit:
            return False
        self._backlog.append(pcm)
        self._backlog_bytes += len(pcm)
        self._drain()
        return True

    def _has_room(self, *, anew: bool = False) -> bool:
        """Tell whether the disk has room for sound beside the notes."""
        now_s = time.monotonic()
        if anew or now_s - self._looked_s > LOOK_EVERY_S:
            self._looked_s = now_s
            try:
                self._room = shutil.disk_usage(self._folder.path).free > SPARE_BYTES
            except OSError:
                self._room = True  # the write itself will say
        return self._room

    def _drain(self) -> None:
        if not self._has_room():
            self.fault = _FULL
            return
        try:
            since_look = 0
            while self._backlog:
                if since_look > SPARE_BYTES // 8:  # a minute that waited is much
                    since_look = 0
                    if not self._has_room(anew=True):
                        self.fault = _FULL
                        return
                since_look += len(self._backlog[0])
                _write_all(self._fd, self._backlog[0])
                done = len(self._backlog.popleft())
                self._backlog_bytes -= done
                self._data += done
                self.kept_samples += done // BYTES_PER_SAMPLE
                self._mend_header()
            self.fault = ""
        except OSError as error:
            self.fault = _say(error)
            # Half a chunk may be there: the next try starts where the good end is.
            end = HEADER_BYTES + self._data
            try:
                os.ftruncate(self._fd, end)
                os.lseek(self._fd, end, os.SEEK_SET)
            except OSError:
                pass

    def _mend_header(self) -> None:
        os.lseek(self._fd, 0, os.SEEK_SET)
        _write_all(self._fd, wav_header(self._data))
        os.lseek(self._fd, HEADER_BYTES + self._data, os.SEEK_SET)

    def end(self, *, moved_to_s: float | None = None) -> None:
        """Close the piece and turn it into FLAC in the background.

        `moved_to_s` is the second of the session at which it began after all.
        """
        if self._wav is None:
            return
        self._flusher.watch(-1)
        wav, fd, data = self._wav, self._fd, self._data
        self._wav, self._fd = None, -1
        self._backlog.clear()
        self._backlog_bytes = 0
        try:
            os.close(fd)
            if data == 0:
                self._folder.remove(wav)
                return
            if moved_to_s is not None:
                place = self._free_name(moved_to_s)
                self._folder.replace(wav, place)
                wav = place
        except (OSError, TreewardError) as error:
            self.fault = _say(error)
        thread = threading.Thread(
            target=_flush_and_finish, args=(self._folder, wav), name="flac"
        )
        thread.start()
        self._finishing = [t for t in self._finishing if t.is_alive()] + [thread]

    def wait(self) -> None:
        """Wait until every closed piece has become FLAC."""
        for thread in self._finishing:
            thread.join()
        self._finishing.clear()

    def close(self) -> None:
        """End the piece, wait for FLAC, stop flushing."""
        self.end()
        self.wait()
        self._flusher.stop()
        self._open.close()


class _Flusher:
    """Sends a file's sound to the disk every second, off the sound's thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._fd = -1
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="flush", daemon=True)
        self._thread.start()

    def watch(self, fd: int) -> None:
        with self._lock:
            self._fd = fd

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stop.wait(FLUSH_EVERY_S):
            with self._lock:
                # A descriptor of its own: whoever ends the piece need not wait.
                fd = os.dup(self._fd) if self._fd >= 0 else -1
            if fd < 0:
                continue
            try:
                os.fsync(fd)
            except OSError:
                pass  # the next write says what is wrong
            finally:
                os.close(fd)


def _flush_and_finish(folder: Held, wav: str) -> None:
    try:
        folder.flush(wav)
        finish_piece(folder, wav)
    except (OSError, TreewardError):
        return  # it stays as it is, and is joined as it is


def finish_piece(folder: Held, wav: str) -> str | None:
    """Turn a closed piece into FLAC; return the name of what now holds the sound.

    The WAV is put right first (a crash can leave its header behind its sound) and
    stays where FLAC does not fit or does not read back whole. None: no sound in it.
    """
    import soundfile

    with folder.open_file(wav, "r+b") as file:
        samples = mend_wav(file)
    if samples == 0:
        folder.remove(wav)
        return None
    try:
        free = shutil.disk_usage(folder.path).free
    except OSError:
        free = 0
    if free < samples * BYTES_PER_SAMPLE + SPARE_BYTES:
        return wav  # the next start tries again
    flac, part = f"{wav.removesuffix('.wav')}.flac", f"{wav}.part"
    folder.remove(part)
    try:
        with (
            folder.lent(wav) as whole,
            soundfile.SoundFile(whole, closefd=False) as sound,
            folder.lent(part, new=True) as made,
            soundfile.SoundFile(
                made, "w", SAMPLE_RATE_HZ, 1, "PCM_16", format="FLAC", closefd=False
            ) as out,
        ):
            frames = sound.frames
            for block in sound.blocks(SAMPLE_RATE_HZ * 10, dtype="int16"):
                out.write(block)
        folder.flush(part)
        good = frames_of(folder, part) == frames
    except (OSError, soundfile.LibsndfileError):
        good = False
    if not good:
        folder.remove(part)
        return wav
    folder.replace(part, flac)
    folder.remove(wav)
    return flac


def frames_of(folder: Held, name: str) -> int:
    """Return how many samples a file says that it holds.

    Raises
    ------
    OSError, soundfile.LibsndfileError
        It cannot be read.
    """
    import soundfile

    with (
        folder.lent(name) as given,
        soundfile.SoundFile(given, closefd=False) as sound,
    ):
        return int(sound.frames)


def mend_wav(wav: IO[bytes]) -> int:
    """Make a piece's header agree with its length; return its samples."""
    size = wav.seek(0, os.SEEK_END)
    data = max(0, size - HEADER_BYTES) // BYTES_PER_SAMPLE * BYTES_PER_SAMPLE
    wav.seek(0)
    if wav.read(HEADER_BYTES) != wav_header(data):
        wav.seek(0)
        wav.write(wav_header(data))
        wav.truncate(HEADER_BYTES + data)
    return data // BYTES_PER_SAMPLE


def _write_all(fd: int, data: bytes) -> None:
    view = memoryview(data)
    while view:
        view = view[os.write(fd, view) :]


def _say(error: OSError | TreewardError) -> str:
    import errno

    if isinstance(error, TreewardError):
        return f"sound cannot be written ({error.where} {error.what})"
    if error.errno in (errno.ENOSPC, errno.EDQUOT if hasattr(errno, "EDQUOT") else -1):
        return _FULL
    return f"sound cannot be written ({error.strerror or error})"
