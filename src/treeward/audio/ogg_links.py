"""Ogg files of several streams one after the other, which libsndfile reads as one.

Recorders that stop and go on, and files that were put together, are chained so (RFC
3533, section 4). libsndfile hears the first alone and says that this was all.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from .resample import Resampler
from .samples import READ_S, cut_off, mono, plausible

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.errors import SoundError

    from .samples import Chunks

_HEADER_BYTES = 27  # of a page, before its table of segments (RFC 3533, section 6)
_BEGINS = 0x02  # flag of a stream's first page
MOST_LINKS = 10_000  # more is no recording; choice


@dataclass(frozen=True, slots=True)
class Link:
    """Bytes of one stream in a chained file."""

    first: int
    end: int


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
    if not starts:
        return ()
    return tuple(
        Link(first, end) for first, end in zip(starts, [*starts[1:], size], strict=True)
    )


class LinkFile(io.RawIOBase):
    """One stream of a chained file, to be read as a file of its own."""

    def __init__(self, path: Path, link: Link) -> None:
        self._file = path.open("rb")
        self._link = link
        self._at = 0

    def readable(self) -> bool:
        """Tell that it can be read."""
        return True

    def seekable(self) -> bool:
        """Tell that it can be sought in."""
        return True

    def tell(self) -> int:
        """Return the place in the stream."""
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        """Go to a place in the stream."""
        length = self._link.end - self._link.first
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: length}[whence]
        self._at = max(0, base + offset)
        return self._at

    def readinto(self, buffer: bytearray | memoryview, /) -> int:  # type: ignore[override]
        """Read on."""
        view = memoryview(buffer).cast("B")
        left = self._link.end - self._link.first - self._at
        if left <= 0:
            return 0
        self._file.seek(self._link.first + self._at)
        data = self._file.read(min(len(view), left))
        view[: len(data)] = data
        self._at += len(data)
        return len(data)

    def close(self) -> None:
        """Close the file."""
        self._file.close()
        super().close()


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
