"""Sound that PyAV reads: memos, films, and what libsndfile does not know."""

from __future__ import annotations

import io
from contextlib import contextmanager
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.errors import SoundError

from . import MEND_COPY, READ_S, Resampler, cut_off, mono, plausible

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from . import Chunks

    Link = tuple[int, int]  # first byte of a stream in a chained file, and its end

# Formats without a length: what FFmpeg tells is a guess from the bit rate.
_GUESSED = frozenset({"amr", "amrnb", "amrwb", "aac", "mp3"})
_MOST_MISSING_S = 600.0  # of silence in place of what cannot be decoded; choice


def open_container(path: Path) -> Any:  # noqa: ANN401
    """Open a recording by PyAV, and nothing else: a playlist must not reach out."""
    import av

    return av.open(str(path.resolve()), options={"protocol_whitelist": "file"})


@contextmanager
def open_packed(path: Path) -> Iterator[tuple[Any, Any]]:
    """Open a recording; give its container and its first stream of sound.

    Raises
    ------
    SoundError
        It is no recording, or one that no recorder makes.
    """
    from av.error import FFmpegError

    try:
        container = open_container(path)
    except (FFmpegError, ValueError) as error:
        raise SoundError(
            "is not a recording that can be read", where=str(path), mend=MEND_COPY
        ) from error
    with container:
        stream = next(iter(container.streams.audio), None)
        # A stream that no decoder is known for has not even the name of a rate.
        if stream is None or not getattr(stream, "rate", 0):
            raise SoundError(
                "is not a recording that can be read (it has no sound track)",
                where=str(path),
                mend=MEND_COPY,
            )
        if not plausible(stream.rate, stream.channels):
            raise SoundError(
                f"says that it has {stream.channels} channels of {stream.rate} samples "
                "a second, which no recorder makes",
                where=str(path),
                mend=MEND_COPY,
            )
        yield container, stream


def packed_chunks(path: Path, start_s: float, faults: list[SoundError]) -> Chunks:
    """Read the sound from `start_s` on; what is wrong with it goes to `faults`."""
    from av.error import FFmpegError

    with open_packed(path) as (container, stream):
        done = 0.0
        skip: int | None = None if start_s else 0
        try:
            if start_s:
                at = int(start_s / stream.time_base)
                container.seek(at, stream=stream, backward=True)
            for frame, missing_s in _frames(container, stream):
                part = mono(_as_rows(frame))
                if skip is None:
                    begins_s = frame.time if frame.time is not None else start_s
                    skip = max(round((start_s - begins_s) * frame.sample_rate), 0)
                elif missing_s:
                    gap = np.zeros(round(missing_s * frame.sample_rate), np.float32)
                    part = np.concatenate([gap, part])
                done += len(part) / frame.sample_rate
                dropped = min(skip, len(part))
                skip -= dropped
                if dropped < len(part):
                    yield part[dropped:]
        except FFmpegError as error:
            faults.append(cut_off(path, start_s + done, str(error.strerror)))
            return
        stated = container.duration
        if container.format.name in _GUESSED:
            return
        if stated and not start_s and done < stated / 1e6 - 0.5:
            why = f"the header says {stated / 1e6:.1f} s"
            faults.append(cut_off(path, done, why))


def _frames(container: Any, stream: Any) -> Iterator[tuple[Any, float]]:  # noqa: ANN401
    """Yield frames, and the seconds before each that the decoder knows nothing of.

    Phones leave out what is silent, and a bit may be wrong: the rest is good still.

    Raises
    ------
    FFmpegError
        Nothing good follows.
    """
    from av.error import FFmpegError, InvalidDataError

    missing_s = 0.0
    fault: FFmpegError | None = None
    try:
        for packet in container.demux(stream):
            try:
                frames = packet.decode()
            except InvalidDataError as error:
                missing_s += float((packet.duration or 0) * (packet.time_base or 0))
                if packet.size > 1:  # AMR: one byte says that nobody spoke
                    fault = error
                continue
            for frame in frames:
                yield frame, min(missing_s, _MOST_MISSING_S)
                missing_s, fault = 0.0, None
    except FFmpegError as error:
        fault = error
    if fault is not None:
        raise fault


def _as_rows(frame: Any) -> NDArray[np.float32]:  # noqa: ANN401
    """Give a frame of any sample format as (samples, channels) in [-1, 1]."""
    array = frame.to_ndarray()
    channels = frame.layout.nb_channels
    rows = array.T if frame.format.is_planar else array.reshape(-1, channels)
    if np.issubdtype(rows.dtype, np.integer):
        limits = np.iinfo(rows.dtype)
        middle = (int(limits.max) + int(limits.min) + 1) / 2
        scale = (int(limits.max) - int(limits.min) + 1) / 2
        return np.asarray((rows - middle) / scale, np.float32)
    return np.asarray(rows, np.float32)


_HEADER_BYTES = 27  # of a page, before its table of segments (RFC 3533, section 6)
_BEGINS = 0x02  # flag of a stream's first page
MOST_LINKS = 10_000  # more is no recording; choice


def links_of(path: Path) -> tuple[Link, ...]:
    """Return the streams that follow each other in an Ogg file; none in others."""
    size = path.stat().st_size
    starts: list[int] = []
    with path.open("rb") as file:
        at, began = 0, False
        while len(starts) < MOST_LINKS:
            file.seek(at)
            header = file.read(_HEADER_BYTES)
            if len(header) < _HEADER_BYTES or header[:4] != b"OggS":
                break
            begins = bool(header[5] & _BEGINS)
            if begins and not began:  # streams side by side begin together
                starts.append(at)
            began = begins
            table = file.read(header[26])
            at += _HEADER_BYTES + len(table) + sum(table)
    return tuple(pairwise([*starts, size]))


class LinkFile(io.FileIO):
    """One stream of a chained file, to be read as a file of its own."""

    def __init__(self, path: Path, link: Link) -> None:
        super().__init__(path)
        self._first, self._length = link[0], link[1] - link[0]
        self.seek(0)

    def tell(self) -> int:
        """Return the place in the stream."""
        return super().tell() - self._first

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        """Go to a place in the stream."""
        bases = {io.SEEK_SET: 0, io.SEEK_CUR: self.tell(), io.SEEK_END: self._length}
        super().seek(self._first + max(0, bases[whence] + offset))
        return self.tell()

    def readinto(self, buffer: bytearray | memoryview, /) -> int:  # type: ignore[override]
        """Read on."""
        left = max(0, self._length - self.tell())
        return super().readinto(memoryview(buffer).cast("B")[:left]) or 0


def chained(path: Path) -> list[tuple[Link, float]]:
    """Give the streams of a chained Ogg file with their seconds; none of others."""
    import soundfile

    links = links_of(path)
    if len(links) < 2:
        return []
    lengths = []
    for link in links:
        try:
            with LinkFile(path, link) as part, soundfile.SoundFile(part) as sound:
                good = plausible(sound.samplerate, sound.channels)
                lengths.append(sound.frames / sound.samplerate if good else 0.0)
        except soundfile.LibsndfileError:
            lengths.append(0.0)
    return list(zip(links, lengths, strict=True))


def chained_chunks(
    path: Path,
    links: list[tuple[Link, float]],
    start_s: float,
    faults: list[SoundError],
) -> Chunks:
    """Read the streams of a chained file one after the other, at SAMPLE_RATE_HZ."""
    import soundfile

    begins_s = 0.0
    for link, length_s in links:
        if not length_s:
            faults.append(cut_off(path, begins_s, "a part of it cannot be read"))
            continue
        ends_s = begins_s + length_s
        if start_s < ends_s:
            with LinkFile(path, link) as part, soundfile.SoundFile(part) as sound:
                sound.seek(round(max(start_s - begins_s, 0.0) * sound.samplerate))
                yield from Resampler(sound.samplerate).stream(_parts(sound))
        begins_s = ends_s


def _parts(sound: Any) -> Chunks:  # noqa: ANN401 (untyped)
    step = max(int(sound.samplerate * READ_S), 1)
    while len(part := sound.read(step, dtype="float32", always_2d=True)):
        yield mono(part)
