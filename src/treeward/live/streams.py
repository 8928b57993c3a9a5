"""Sound from standard input or a file, in small chunks of 16 kHz mono."""

from __future__ import annotations

import math
import queue
import struct
import threading
import time
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING

import numpy as np

from treeward.audio.blocks import SAMPLE_RATE_HZ, Resampler
from treeward.audio.reader import HEAD_BYTES, container_of
from treeward.errors import SoundError

from .messages import Chunk
from .watch_clock import elapsed_s

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    from treeward.audio.blocks import Block

CHUNK_S = 0.1
LOT_BYTES = 1 << 15  # read at once, at most
LOTS_HELD = 256  # 8 MiB at most, four minutes of plain sound
STOP_WAITS_S = 0.3  # for what was spoken before the end to come through; guess
_NOTHING_S = 0.02
MOST_REMARK_BYTES = 1 << 24  # before the samples of a WAV stream; more is spoilt
ENDLESS_BYTES = 0x7F00_0000  # arecord, sox and ffmpeg write more than this; measured
_MEND_STREAM = "Send 16-bit mono, for example: arecord -t wav -f S16_LE -r 16000 -c 1 -"


@dataclass(frozen=True, slots=True, kw_only=True)
class PcmFormat:
    """How the bytes of a stream are to be read."""

    rate_hz: int = SAMPLE_RATE_HZ
    channels: int = 1
    kind: str = "<i2"  # "<i2", "<i4", "<f4"

    @property
    def frame_bytes(self) -> int:
        """Bytes of one sample of every channel."""
        return np.dtype(self.kind).itemsize * self.channels

    def decode(self, data: bytes) -> NDArray[np.float32]:
        """Return the bytes as mono samples in [-1, 1]."""
        raw = np.frombuffer(data, dtype=self.kind)
        scale = {"<i2": 32768.0, "<i4": 2147483648.0}.get(self.kind, 1.0)
        values = raw.astype(np.float32) / np.float32(scale)
        if self.kind == "<f4":  # a float may be anything
            values = np.clip(np.nan_to_num(values, posinf=1.0, neginf=-1.0), -1.0, 1.0)
        if self.channels > 1:
            values = values.reshape(-1, self.channels).mean(axis=1, dtype=np.float32)
        return values


class Pipe:
    """Bytes of a stream as they come, each lot with the moment it came at.

    A thread of its own reads from the start, so that nothing waits in a pipe, which
    holds two seconds of sound, while an engine is opened. What comes faster than it is
    taken waits in the pipe once LOTS_HELD lots are here.

    Parameters
    ----------
    stream
        Binary stream; read until it ends.
    """

    def __init__(self, stream: IO[bytes]) -> None:
        # Beneath Python's buffer: a thread that waits in there for ever would keep the
        # program from ending.
        self._stream = getattr(stream, "raw", stream)
        self._read = getattr(self._stream, "read1", self._stream.read)
        self._lots: queue.Queue[tuple[bytes, float] | OSError] = queue.Queue(LOTS_HELD)
        self._rest = b""
        self._ended = False
        self._stopped_s = math.inf
        self.began_s = self._came_s = elapsed_s()
        threading.Thread(target=self._run, name="pipe", daemon=True).start()

    def _run(self) -> None:
        try:
            while elapsed_s() < self._stopped_s + STOP_WAITS_S:
                data = self._read(LOT_BYTES)
                if data is None:  # a pipe that does not wait, and has nothing
                    time.sleep(_NOTHING_S)
                    continue
                self._lots.put((data, elapsed_s()))
                if not data:
                    return
        except OSError as error:
            self._lots.put(error)
        except ValueError as error:  # closed beneath us
            self._lots.put(OSError(str(error)))

    def stop(self) -> None:
        """End soon, after what has come by now."""
        self._stopped_s = min(self._stopped_s, elapsed_s())

    @property
    def age_s(self) -> float:
        """Seconds since the bytes that were read last came."""
        return elapsed_s() - self._came_s

    def read(self, size: int) -> bytes:
        """Read `size` bytes, fewer only at the end.

        Raises
        ------
        OSError
            The stream could not be read.
        """
        while len(self._rest) < size and not self._ended:
            stopped = self._stopped_s < math.inf
            try:
                lot = self._lots.get(timeout=STOP_WAITS_S)
            except queue.Empty:
                self._ended = stopped
                continue
            if isinstance(lot, OSError):
                raise lot
            data, self._came_s = lot
            late = self._came_s > self._stopped_s + STOP_WAITS_S
            self._ended = not data or late
            if not late:
                self._rest += data
        data, self._rest = self._rest[:size], self._rest[size:]
        return data

    def put_back(self, data: bytes) -> None:
        """Have bytes read again."""
        self._rest = data + self._rest


class StreamSource:
    """A WAV or raw PCM stream, as `arecord`, `ffmpeg` or a phone sends it.

    Parameters
    ----------
    stream
        Binary stream, read until it ends; or a Pipe that reads it already.
    now_s
        Elapsed second of listening, for when a chunk arrived.
    raw
        How raw sound is to be read; a WAV header overrides it.
    """

    live = True

    def __init__(
        self,
        stream: IO[bytes] | Pipe,
        now_s: Callable[[], float],
        *,
        raw: PcmFormat | None = None,
        name: str = "standard input",
    ) -> None:
        self.name = name
        self._pipe = stream if isinstance(stream, Pipe) else Pipe(stream)
        self._now_s = now_s
        self._raw = raw or PcmFormat()
        self._left: int | None = None  # bytes of sound that the header speaks of

    def stop(self) -> None:
        """End after what has come by now."""
        self._pipe.stop()

    def chunks(self) -> Iterator[Chunk]:
        """Yield sound as it comes.

        Raises
        ------
        SoundError
            The stream is neither WAV nor raw sound that we can read.
        """
        head = self._pipe.read(HEAD_BYTES)
        if (what := container_of(head)) and what != "WAV":
            raise SoundError(
                f"the stream is {what}, not plain sound",
                where=self.name,
                mend=_MEND_STREAM,
            )
        self._pipe.put_back(head)
        form = self._wav_format() if what else self._raw
        for samples in Resampler(form.rate_hz).stream(self._arrays(form)):
            yield Chunk(samples=samples, arrival_s=self._now_s() - self._pipe.age_s)

    def _arrays(self, form: PcmFormat) -> Iterator[NDArray[np.float32]]:
        size = max(1, int(form.rate_hz * CHUNK_S)) * form.frame_bytes
        while True:
            wanted = size if self._left is None else min(size, self._left)
            data = self._pipe.read(wanted)
            if self._left is not None:
                self._left -= len(data)
            whole = len(data) - len(data) % form.frame_bytes
            if whole:
                yield form.decode(data[:whole])
            if len(data) < size:
                return

    def _wav_format(self) -> PcmFormat:
        form: PcmFormat | None = None
        self._pipe.read(12)
        while len(head := self._pipe.read(8)) == 8:
            tag, size = struct.unpack("<4sI", head)
            if tag == b"data":
                if form is None:
                    break
                # Who cannot go back to the header writes no length, or the longest.
                self._left = size if 0 < size < ENDLESS_BYTES else None
                return form
            if size > MOST_REMARK_BYTES:
                break
            body = self._pipe.read(size + size % 2)
            if tag == b"fmt " and len(body) >= 16:
                form = self._fmt(body)
        raise SoundError(
            "the WAV stream has no sound in it", where=self.name, mend=_MEND_STREAM
        )

    def _fmt(self, body: bytes) -> PcmFormat:
        code, channels, rate, _, _, bits = struct.unpack("<HHIIHH", body[:16])
        if code == 0xFFFE and len(body) >= 26:  # WAVE_FORMAT_EXTENSIBLE: subformat
            code = struct.unpack("<H", body[24:26])[0]
        kind = {(1, 16): "<i2", (1, 32): "<i4", (3, 32): "<f4"}.get((code, bits))
        if kind is None or not channels or not 4000 <= rate <= 384_000:
            raise SoundError(
                f"the WAV stream has {bits} bits, {channels} channels, {rate} Hz "
                f"(format {code})",
                where=self.name,
                mend=_MEND_STREAM,
            )
        return PcmFormat(rate_hz=rate, channels=channels, kind=kind)


class RehearsalTime:
    """Elapsed seconds that follow the sound of a file instead of the clock."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> float:
        """Return the second the rehearsal has come to."""
        return self.seconds


class BlocksSource:
    """A file (or anything else in blocks), at its own speed or as fast as it goes.

    Parameters
    ----------
    blocks
        Sound that follows on, as audio.reader gives it.
    now_s
        Elapsed second of listening.
    time
        The rehearsal's own time, moved on with the sound; None plays at real speed.
    on_start
        Called when the first sound is about to come.
    """

    live = False

    def __init__(
        self,
        blocks: Iterable[Block],
        now_s: Callable[[], float],
        *,
        name: str,
        time: RehearsalTime | None = None,
        on_start: Callable[[], None] | None = None,
    ) -> None:
        self.name = name
        self._on_start = on_start
        self._blocks = blocks
        self._now_s = now_s
        self._time = time
        self._stopped = threading.Event()

    def stop(self) -> None:
        """End before the next chunk."""
        self._stopped.set()

    def chunks(self) -> Iterator[Chunk]:
        """Yield the sound in chunks of CHUNK_S, paced as asked."""
        size = int(CHUNK_S * SAMPLE_RATE_HZ)
        if self._on_start is not None:
            self._on_start()
        start_s = self._now_s()
        played = 0
        for block in self._blocks:
            for first in range(0, len(block.samples), size):
                samples = block.samples[first : first + size]
                played += len(samples)
                due_s = start_s + played / SAMPLE_RATE_HZ
                if self._time is not None:
                    self._time.seconds += len(samples) / SAMPLE_RATE_HZ
                elif (wait := due_s - self._now_s()) > 0:
                    time.sleep(wait)
                if self._stopped.is_set():
                    return
                yield Chunk(samples=samples, arrival_s=due_s)
