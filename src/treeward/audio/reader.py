"""Any recording -> blocks of mono 16 kHz samples, with memory that does not grow.

WAV, FLAC, Ogg, Opus and MP3 are read by soundfile; what it does not know (.m4a,
.mp4, .mov, .amr, .3gp, and recordings whose header was never finished) by PyAV. The
sound of a film is as good as a memo.
"""

from __future__ import annotations

import logging
import os
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio.metadata import creation_time
from treeward.audio.ogg_links import LinkFile, links_of
from treeward.audio.records import SAMPLE_RATE_HZ, Block, SoundInfo
from treeward.audio.resample import Resampler
from treeward.errors import SoundError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from os import PathLike

    from numpy.typing import NDArray

    from treeward.audio.ogg_links import Link

    Chunks = Iterator[NDArray[np.float32]]

MOST_CHANNELS = 64  # more is not a sound recording
LEAST_RATE_HZ = 4000  # telephones sample 8000 times a second; less is no speech; choice
MOST_RATE_HZ = 768_000  # the fastest recorders for sound; more is a spoilt header
MOST_CHUNKS = 1000  # before the samples of a WAV file; more is a spoilt header
SILENT_PEAK = 1e-5  # -100 dB of full scale: below the last bit of 16
# Formats without a length: what FFmpeg tells is a guess from the bit rate.
_GUESSED = frozenset({"amr", "amrnb", "amrwb", "aac", "mp3"})
_MOST_MISSING_S = 600.0  # of silence in place of what cannot be decoded; choice
_READ_S = 1.0  # libsndfile and memory are both content with a second at a time
_MEND_COPY = "Copy it from the recorder again, or convert it to WAV"
_log = logging.getLogger(__name__)


def probe(path: str | PathLike[str]) -> SoundInfo:
    """Say what a recording says of itself, without reading its sound.

    Raises
    ------
    SoundError
        The file is missing, empty, or holds no sound that can be read.
    """
    path = _existing(path)
    created = creation_time(path)
    if _for_soundfile(path):
        chained_s = sum(length_s for _, length_s in _chained(path))
        with _soundfile(path) as sound:
            return SoundInfo(
                path=path,
                duration_s=chained_s or sound.frames / sound.samplerate,
                sample_rate_hz=sound.samplerate,
                channels=sound.channels,
                container=sound.format,
                created=created,
            )
    with _container(path) as (container, stream):
        duration_s = None
        if stream.duration is not None and stream.time_base is not None:
            duration_s = float(stream.duration * stream.time_base)
        elif container.duration is not None:
            duration_s = container.duration / 1e6  # microseconds
        return SoundInfo(
            path=path,
            duration_s=duration_s,
            sample_rate_hz=stream.rate,
            channels=stream.channels,
            container=container.format.name,
            created=created,
        )


def read_blocks(
    path: str | PathLike[str],
    *,
    block_s: float = 1.0,
    start_s: float = 0.0,
    warn: Callable[[SoundError], None] | None = None,
) -> Iterator[Block]:
    """Read a recording as blocks of mono 16 kHz samples.

    Parameters
    ----------
    path
        The recording, of any rate and number of channels.
    block_s
        Length of a block in seconds; the last may be shorter.
    start_s
        Where to begin, in seconds from the start of the recording.
    warn
        Told when a recording is cut off: what is there has been yielded by then.
        The default writes to the log.

    Yields
    ------
    Block
        Touching each other, in order.

    Raises
    ------
    SoundError
        The file is missing, empty, silent throughout, or not sound.
    """
    path = _existing(path)
    if start_s < 0 or block_s <= 0:
        raise ValueError(f"start_s {start_s}, block_s {block_s} must not be negative")
    faults: list[SoundError] = []
    chunks, rate = _open_chunks(path, start_s, faults)
    size = max(round(block_s * SAMPLE_RATE_HZ), 1)
    position = round(start_s * SAMPLE_RATE_HZ)
    peak, seen = 0.0, 0
    for sound in _regroup(Resampler(rate).stream(chunks), size):
        samples = np.clip(sound, -1, 1)  # the resampler overshoots at full scale
        peak = max(peak, float(np.abs(samples).max()))
        seen += len(samples)
        yield Block(start_s=position / SAMPLE_RATE_HZ, samples=samples)
        position += len(samples)
    for fault in faults:
        (warn or _log_fault)(fault)
    if start_s == 0:
        if not seen:
            raise SoundError("holds no sound", where=str(path), mend=_MEND_COPY)
        if peak < SILENT_PEAK:
            raise SoundError(
                f"is silent throughout ({seen / SAMPLE_RATE_HZ:.0f} s)",
                where=str(path),
                mend="Check which microphone the recorder was set to",
            )


def _log_fault(fault: SoundError) -> None:
    _log.warning("%s", fault.line())


def _existing(path: str | PathLike[str]) -> Path:
    path = Path(path)
    if path.is_dir():
        raise SoundError("is a folder", where=str(path), mend="Name the recording")
    try:
        size = path.stat().st_size
    except OSError as error:
        raise SoundError(
            f"cannot be opened ({error.strerror or error})",
            where=str(path),
            mend="Check the name and that the file may be read",
        ) from error
    if size == 0:
        raise SoundError("is empty (0 bytes)", where=str(path), mend=_MEND_COPY)
    if _has_endless_chunk(path, size):
        raise SoundError(
            "is not a recording that can be read (its header is spoilt)",
            where=str(path),
            mend=_MEND_COPY,
        )
    return path


def _has_endless_chunk(path: Path, size: int) -> bool:
    """Tell whether a WAV or AIFF file has a chunk of remarks longer than the file.

    Decoders make room for all that a header promises, which may be gigabytes. The
    chunk of samples may promise too much: a recorder that lost power leaves it so.
    """
    with path.open("rb") as file:
        head = file.read(12)
        order = {b"RIFF": "little", b"RF64": "little", b"RIFX": "big", b"FORM": "big"}
        if (name := order.get(head[:4])) is None:
            return False
        at = 12
        for _ in range(MOST_CHUNKS):
            file.seek(at)
            chunk = file.read(8)
            if len(chunk) < 8 or chunk[:4] in {b"data", b"SSND"}:
                return False
            length = int.from_bytes(chunk[4:], "big" if name == "big" else "little")
            at += 8 + length + length % 2
            if at > size + 1:
                return True
    return True


def _open_chunks(
    path: Path, start_s: float, faults: list[SoundError]
) -> tuple[Chunks, int]:
    if _for_soundfile(path):
        if links := _chained(path):
            return _chained_chunks(path, links, start_s, faults), SAMPLE_RATE_HZ
        with _soundfile(path) as sound:
            rate = int(sound.samplerate)
        return _soundfile_chunks(path, start_s, faults), rate
    with _container(path) as (_, stream):
        rate = int(stream.rate)
    return _container_chunks(path, start_s, faults), rate


def _named(path: Path) -> str | bytes:
    """Give a path as soundfile takes it, also one that is not UTF-8."""
    return str(path) if sys.platform == "win32" else os.fsencode(path)


def _for_soundfile(path: Path) -> bool:
    """Say whether soundfile reads this file, and finds something in it."""
    import soundfile

    try:
        with soundfile.SoundFile(_named(path)) as sound:
            # A recorder that lost power leaves a header that says nothing is there.
            plausible = _plausible(sound.samplerate, sound.channels)
            return plausible and bool(0 < sound.frames < 1 << 62)
    except (soundfile.LibsndfileError, RuntimeError, TypeError):
        return False


def _plausible(rate_hz: int, channels: int) -> bool:
    return LEAST_RATE_HZ <= rate_hz <= MOST_RATE_HZ and 0 < channels <= MOST_CHANNELS


@contextmanager
def _soundfile(path: Path) -> Iterator[Any]:
    import soundfile

    with soundfile.SoundFile(_named(path)) as sound:
        yield sound


@contextmanager
def _container(path: Path) -> Iterator[tuple[Any, Any]]:
    import av
    from av.error import FFmpegError

    local_only = {"protocol_whitelist": "file"}  # a playlist must not reach out
    try:
        container = av.open(str(path.resolve()), options=local_only)
    except (FFmpegError, ValueError) as error:
        raise SoundError(
            "is not a recording that can be read", where=str(path), mend=_MEND_COPY
        ) from error
    with container:
        stream = next(iter(container.streams.audio), None)
        # A stream that no decoder is known for has not even the name of a rate.
        if stream is None or not getattr(stream, "rate", 0):
            raise SoundError(
                "is not a recording that can be read (it has no sound track)",
                where=str(path),
                mend=_MEND_COPY,
            )
        if not _plausible(stream.rate, stream.channels):
            raise SoundError(
                f"says that it has {stream.channels} channels of {stream.rate} samples "
                "a second, which no recorder makes",
                where=str(path),
                mend=_MEND_COPY,
            )
        yield container, stream


def _soundfile_chunks(path: Path, start_s: float, faults: list[SoundError]) -> Chunks:
    import soundfile

    with soundfile.SoundFile(_named(path)) as sound:
        first = round(start_s * sound.samplerate)
        if first >= sound.frames:
            return
        done = first
        try:
            sound.seek(first)
            step = max(int(sound.samplerate * _READ_S), 1)
            while len(part := sound.read(step, dtype="float32", always_2d=True)):
                done += len(part)
                yield _mono(part)
        except (soundfile.LibsndfileError, ValueError) as error:  # ends before it says
            faults.append(_cut_off(path, done / sound.samplerate, str(error)))
            return
        stated = max(sound.frames, _stated_frames(path, sound))
        if done < stated:
            faults.append(
                _cut_off(
                    path,
                    done / sound.samplerate,
                    f"the header says {stated / sound.samplerate:.1f} s",
                )
            )


def _chained(path: Path) -> list[tuple[Link, float]]:
    """Give the streams of a chained Ogg file with their seconds; none of others."""
    import soundfile

    links = links_of(path)
    if len(links) < 2:
        return []
    lengths = []
    for link in links:
        try:
            with LinkFile(path, link) as part, soundfile.SoundFile(part) as sound:
                good = _plausible(sound.samplerate, sound.channels)
                lengths.append(sound.frames / sound.samplerate if good else 0.0)
        except soundfile.LibsndfileError:
            lengths.append(0.0)
    return list(zip(links, lengths, strict=True))


def _chained_chunks(
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
            faults.append(_cut_off(path, begins_s, "a part of it cannot be read"))
            continue
        ends_s = begins_s + length_s
        if start_s < ends_s:
            with LinkFile(path, link) as part, soundfile.SoundFile(part) as sound:
                sound.seek(round(max(start_s - begins_s, 0.0) * sound.samplerate))
                yield from Resampler(sound.samplerate).stream(_parts(sound))
        begins_s = ends_s


def _parts(sound: Any) -> Chunks:  # noqa: ANN401 (untyped)
    step = max(int(sound.samplerate * _READ_S), 1)
    while len(part := sound.read(step, dtype="float32", always_2d=True)):
        yield _mono(part)


def _cut_off(path: Path, at_s: float, why: str) -> SoundError:
    return SoundError(
        f"is cut off after {at_s:.1f} s ({why.strip().rstrip('.')})",
        where=str(path),
        mend="What is there was used; copy it again if there should be more",
    )


def _stated_frames(path: Path, sound: Any) -> int:  # noqa: ANN401
    """Give the frames a WAV header speaks of, which may be more than there are."""
    if sound.format not in {"WAV", "WAVEX"}:
        return 0
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] != b"RIFF":
            return 0
        align = 1
        while len(chunk := file.read(8)) == 8:
            size = int.from_bytes(chunk[4:], "little")
            if chunk[:4] == b"fmt ":
                align = int.from_bytes(file.read(min(size, 16))[12:14], "little")
                file.seek(max(size - 16, 0), 1)
            elif chunk[:4] == b"data":
                unfinished = size in {0, 0xFFFFFFFF}
                return 0 if unfinished else size // max(align, 1)
            else:
                file.seek(size + size % 2, 1)
    return 0


def _container_chunks(path: Path, start_s: float, faults: list[SoundError]) -> Chunks:
    from av.error import FFmpegError

    with _container(path) as (container, stream):
        done = 0.0
        skip: int | None = None if start_s else 0
        try:
            if start_s:
                at = int(start_s / stream.time_base)
                container.seek(at, stream=stream, backward=True)
            for frame, missing_s in _frames(container, stream):
                part = _mono(_as_rows(frame))
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
            faults.append(_cut_off(path, start_s + done, str(error.strerror)))
            return
        stated = container.duration
        if container.format.name in _GUESSED:
            return
        if stated and not start_s and done < stated / 1e6 - 0.5:
            why = f"the header says {stated / 1e6:.1f} s"
            faults.append(_cut_off(path, done, why))


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


def _mono(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    finite = np.nan_to_num(rows, nan=0.0, posinf=1.0, neginf=-1.0)
    if finite.shape[1] == 1:
        mixed = finite[:, 0]
    else:  # in double precision: two samples at a float's end would add up to infinity
        mixed = finite.mean(axis=1, dtype=np.float64)
    return np.asarray(np.clip(mixed, -1, 1), np.float32)


def _regroup(chunks: Chunks, size: int) -> Chunks:
    held: list[NDArray[np.float32]] = []
    count = 0
    for chunk in chunks:
        held.append(chunk)
        count += len(chunk)
        while count >= size:
            joined = np.concatenate(held)
            yield joined[:size]
            held, count = [joined[size:]], count - size
    if count:
        yield np.concatenate(held)
