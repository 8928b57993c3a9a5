"""Sound from standard input or a file, in small chunks of 16 kHz mono."""

from __future__ import annotations

import struct
import threading
import time
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.audio.resample import Resampler
from treeward.errors import SoundError
from treeward.live.records import Chunk

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    from treeward.audio.records import Block

CHUNK_S = 0.1
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
        if self.channels > 1:
            values = values.reshape(-1, self.channels).mean(axis=1, dtype=np.float32)
        return values


class StreamSource:
    """A WAV or raw PCM stream, as `arecord`, `ffmpeg` or a phone sends it.

    Parameters
    ----------
    stream
        Binary stream; read until it ends.
    now_s
        Elapsed second of listening, for when a chunk arrived.
    raw
        How raw sound is to be read; a WAV header overrides it.
    """

    live = True

    def __init__(
        self,
        stream: IO[bytes],
        now_s: Callable[[], float],
        *,
        raw: PcmFormat | None = None,
        name: str = "standard input",
    ) -> None:
        self.name = name
        self._stream = stream
        self._now_s = now_s
        self._raw = raw or PcmFormat()
        self._stopped = threading.Event()

    def stop(self) -> None:
        """End after the chunk that is being waited for."""
        self._stopped.set()

    def chunks(self) -> Iterator[Chunk]:
        """Yield sound as it comes.

        Raises
        ------
        SoundError
            The stream is neither WAV nor raw sound that we can read.
        """
        head = self._read(12)
        if head[:4] in (b"fLaC", b"OggS", b"ID3\x03", b"ID3\x04"):
            raise SoundError(
                "the stream is compressed sound", where=self.name, mend=_MEND_STREAM
            )
        if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
            form, rest = self._wav_format(), b""
        else:
            form, rest = self._raw, head
        for samples in Resampler(form.rate_hz).stream(self._arrays(form, rest)):
            yield Chunk(samples=samples, arrival_s=self._now_s())

    def _arrays(self, form: PcmFormat, rest: bytes) -> Iterator[NDArray[np.float32]]:
        size = max(1, int(form.rate_hz * CHUNK_S)) * form.frame_bytes
        while not self._stopped.is_set():
            data = rest + self._read(size - len(rest))
            rest = b""
            whole = len(data) - len(data) % form.frame_bytes
            if whole:
                yield form.decode(data[:whole])
            if len(data) < size:
                return

    def _read(self, size: int) -> bytes:
        """Read `size` bytes, fewer only at the end of the stream."""
        parts: list[bytes] = []
        while size > 0:
            data = self._stream.read(size)
            if not data:
                break
            parts.append(data)
            size -= len(data)
        return b"".join(parts)

    def _wav_format(self) -> PcmFormat:
        form: PcmFormat | None = None
        while len(head := self._read(8)) == 8:
            tag, size = struct.unpack("<4sI", head)
            if tag == b"data":
                if form is None:
                    break
                return form
            body = self._read(size + size % 2)
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
