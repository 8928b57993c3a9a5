"""Any recording -> blocks of mono 16 kHz samples, with memory that does not grow.

WAV, FLAC, Ogg, Opus and MP3 are read by soundfile; what it does not know (.m4a,
.mp4, .mov, .amr, .3gp, and recordings whose header was never finished) by PyAV. The
sound of a film is as good as a memo.

What a stream of bytes is, from its first ones: plain sound has no name on it.
"""

from __future__ import annotations

import io
import logging
import os
import sys
import threading
from contextlib import contextmanager, nullcontext
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.errors import SoundError

from . import (
    MEND_COPY,
    READ_S,
    SAMPLE_RATE_HZ,
    Block,
    Resampler,
    SoundInfo,
    cut_off,
    mono,
    plausible,
)
from .packed import (
    chained,
    chained_chunks,
    open_container,
    open_packed,
    packed_chunks,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager
    from os import PathLike

    from numpy.typing import NDArray

    from . import Chunks


HEAD_BYTES = 4096  # enough for two frames of MPEG sound at any rate
# (place, bytes, what it is): as the formats' own standards name them.
_MARKS: tuple[tuple[int, bytes, str], ...] = (
    (0, b"fLaC", "FLAC, compressed sound"),
    (0, b"OggS", "Ogg, compressed sound"),
    (0, b"ID3", "MP3, compressed sound"),
    (0, b"#!AMR", "AMR, compressed sound"),
    (0, b"caff", "a CAF file"),
    (0, b".snd", "an AU file"),
    (0, b"\x1a\x45\xdf\xa3", "Matroska or WebM, compressed sound"),
    (0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "WMA, compressed sound"),
    (0, b"riff\x2e\x91\xcf\x11", "a Wave64 file"),
    (0, b"RF64", "an RF64 file"),
    (0, b"RIFX", "a RIFX file"),
    (0, b"wvpk", "WavPack, compressed sound"),
    (0, b"MAC ", "Monkey's Audio, compressed sound"),
    (0, b"FLV\x01", "a film"),
    (0, b"\x00\x00\x01\xba", "a film"),
    (8, b"AIFF", "an AIFF file"),
    (8, b"AIFC", "an AIFF file"),
    (4, b"ftyp", "MP4 or M4A, compressed sound"),
    (4, b"moov", "a film"),
    (0, b"PK\x03\x04", "a ZIP file"),
    (0, b"\x1f\x8b\x08", "a gzip file"),
    (0, b"%PDF-", "a PDF file"),
    (0, b"\x89PNG", "a picture"),
)
_MPEG1_KBIT = (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320)
_MPEG2_KBIT = (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160)
_MPEG_RATES_HZ = {3: (44_100, 48_000, 32_000), 2: (22_050, 24_000, 16_000),
                  0: (11_025, 12_000, 8000)}  # fmt: skip


def container_of(head: bytes) -> str:
    """Say what the first HEAD_BYTES of a stream belong to; "" for bare samples.

    "WAV" for WAV; otherwise in words, "FLAC, compressed sound".
    """
    if head[:4] == b"RIFF":
        return "WAV" if head[8:12] == b"WAVE" else "a RIFF file without plain sound"
    for at, mark, what in _MARKS:
        if head[at : at + len(mark)] == mark:
            return what
    if _follow_on(head, _mp3_frame_bytes):
        return "MP3, compressed sound"
    if _follow_on(head, _adts_frame_bytes):
        return "AAC, compressed sound"
    letters = all(32 <= byte < 127 or byte in b"\t\r\n" for byte in head)
    return "text" if letters and len(head) >= 64 else ""


def _follow_on(head: bytes, frame_bytes: Callable[[bytes], int]) -> bool:
    """Tell whether three frames follow each other: samples may look like one."""
    at = 0
    for _ in range(3):
        size = frame_bytes(head[at : at + 7])
        if not size:
            return False
        at += size
    return True


def _mp3_frame_bytes(header: bytes) -> int:
    """Give the bytes of a layer III frame (ISO/IEC 11172-3, 13818-3); 0: it is none."""
    if len(header) < 4 or header[0] != 0xFF or header[1] & 0xE6 != 0xE2:
        return 0
    version = header[1] >> 3 & 3
    rate_index, bit_index = header[2] >> 2 & 3, header[2] >> 4
    if version == 1 or rate_index == 3 or bit_index in {0, 15}:
        return 0
    kbit = (_MPEG1_KBIT if version == 3 else _MPEG2_KBIT)[bit_index]
    samples = 1152 if version == 3 else 576
    padding = header[2] >> 1 & 1
    return samples // 8 * kbit * 1000 // _MPEG_RATES_HZ[version][rate_index] + padding


def _adts_frame_bytes(header: bytes) -> int:
    """Give the length of an ADTS frame (ISO/IEC 13818-7); 0: it is none."""
    if len(header) < 7 or header[0] != 0xFF or header[1] & 0xF6 != 0xF0:
        return 0
    size = (header[3] & 3) << 11 | header[4] << 3 | header[5] >> 5
    return size if size >= 7 and header[2] >> 2 & 15 < 13 else 0


_KEYS = (
    "creation_time",
    "com.apple.quicktime.creationdate",
    "date",
    "origination_date",  # of a broadcast WAV (EBU Tech 3285)
)
_FIRST_YEAR, _LAST_YEAR = 1900, 2200  # others cannot be reckoned with


def creation_time(path: Path) -> datetime | None:
    """Read when a recording was begun from its container's metadata.

    Returns
    -------
    datetime or None
        Aware where the container names a zone, else naive; None where it says
        nothing, or only the day.
    """
    from av.error import FFmpegError

    try:
        with open_container(path) as container:
            found = dict(container.metadata)
            for stream in container.streams:
                found = dict(stream.metadata) | found
    except (FFmpegError, ValueError):
        return None
    lower = {key.lower(): value.strip() for key, value in found.items()}
    for key in _KEYS:
        text = lower.get(key, "")
        if key == "origination_date" and text:
            text = f"{text}T{lower.get('origination_time', '')}".rstrip("T")
        moment = _parsed(text)
        if moment is not None:
            return moment
    return None


def _parsed(text: str) -> datetime | None:
    if text[4:5] == ":":  # "2026:05:14 10:20:30", as cameras write it
        text = text.replace(":", "-", 2)
    if "T" not in text and " " not in text:  # a bare day says nothing of the time
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if _FIRST_YEAR <= moment.year <= _LAST_YEAR else None


MOST_CHUNKS = 1000  # before the samples of a WAV file; more is a spoilt header
SILENT_PEAK = 1e-5  # -100 dB of full scale: below the last bit of 16
_HUSHING = threading.RLock()
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
        chained_s = sum(length_s for _, length_s in chained(path))
        with _soundfile(path) as sound:
            return SoundInfo(
                path=path,
                duration_s=chained_s or sound.frames / sound.samplerate,
                container=sound.format,
                created=created,
            )
    with open_packed(path) as (container, stream):
        duration_s = None
        if stream.duration is not None and stream.time_base is not None:
            duration_s = float(stream.duration * stream.time_base)
        elif container.duration is not None:
            duration_s = container.duration / 1e6  # microseconds
        return SoundInfo(
            path=path,
            duration_s=duration_s,
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
            raise SoundError("holds no sound", where=str(path), mend=MEND_COPY)
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
        raise SoundError("is empty (0 bytes)", where=str(path), mend=MEND_COPY)
    if _has_endless_chunk(path, size):
        raise SoundError(
            "is not a recording that can be read (its header is spoilt)",
            where=str(path),
            mend=MEND_COPY,
        )
    return path


def _has_endless_chunk(path: Path, size: int) -> bool:
    """Tell whether a WAV or AIFF file has a chunk of remarks longer than the file.

    Decoders make room for all that a header promises, which may be gigabytes. The
    chunk of samples may promise too much: a recorder that lost power leaves it so.
    """
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] not in {b"RIFF", b"RF64", b"RIFX", b"FORM"}:
            return False
        big = head[:4] in {b"RIFX", b"FORM"}
        at = 12
        for _ in range(MOST_CHUNKS):
            file.seek(at)
            chunk = file.read(8)
            if len(chunk) < 8 or chunk[:4] in {b"data", b"SSND"}:
                return False
            length = int.from_bytes(chunk[4:], "big" if big else "little")
            at += 8 + length + length % 2
            if at > size + 1:
                return True
    return True


def _open_chunks(
    path: Path, start_s: float, faults: list[SoundError]
) -> tuple[Chunks, int]:
    if _for_soundfile(path):
        if links := chained(path):
            return chained_chunks(path, links, start_s, faults), SAMPLE_RATE_HZ
        with _soundfile(path) as sound:
            rate = int(sound.samplerate)
        return _soundfile_chunks(path, start_s, faults), rate
    with open_packed(path) as (_, stream):
        rate = int(stream.rate)
    return packed_chunks(path, start_s, faults), rate


def _named(path: Path) -> str | bytes:
    """Give a path as soundfile takes it, also one that is not UTF-8."""
    return str(path) if sys.platform == "win32" else os.fsencode(path)


def _for_soundfile(path: Path) -> bool:
    """Say whether soundfile reads this file, and finds something in it."""
    import soundfile

    try:
        with _hushed(), soundfile.SoundFile(_named(path)) as sound:
            # A recorder that lost power leaves a header that says nothing is there.
            good = plausible(sound.samplerate, sound.channels)
            return good and bool(0 < sound.frames < 1 << 62)
    except (soundfile.LibsndfileError, RuntimeError, TypeError):
        return False


@contextmanager
def _soundfile(path: Path) -> Iterator[Any]:
    import soundfile

    with _hushed():
        sound = soundfile.SoundFile(_named(path))
    with sound:
        yield sound


@contextmanager
def _hushed() -> Iterator[None]:
    """Keep what libmpg123 says of a broken MP3 off the terminal, beneath Python."""
    with _HUSHING:
        try:
            kept = os.dup(2)
        except OSError:  # it is closed: nothing can be said
            yield
            return
        try:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 2)
            os.close(nowhere)
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)


def _soundfile_chunks(path: Path, start_s: float, faults: list[SoundError]) -> Chunks:
    import soundfile

    with _soundfile(path) as sound:
        quiet = sound.format in {"WAV", "WAVEX", "FLAC", "OGG"}
        hushed: Callable[[], AbstractContextManager[None]]
        hushed = nullcontext if quiet else _hushed
        first = round(start_s * sound.samplerate)
        if first >= sound.frames:
            return
        done = first
        try:
            with hushed():
                sound.seek(first)
            step = max(int(sound.samplerate * READ_S), 1)
            while True:
                with hushed():
                    part = sound.read(step, dtype="float32", always_2d=True)
                if not len(part):
                    break
                done += len(part)
                yield mono(part)
        except (soundfile.LibsndfileError, ValueError) as error:  # ends before it says
            faults.append(cut_off(path, done / sound.samplerate, str(error)))
            return
        stated = max(sound.frames, _stated_frames(path, sound))
        if done < stated:
            why = f"the header says {stated / sound.samplerate:.1f} s"
            faults.append(cut_off(path, done / sound.samplerate, why))


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


def cut_clip(path: Path, start_s: float, end_s: float) -> bytes:
    """Cut a stretch out of a recording, as an Ogg file of 16 kHz mono.

    Raises
    ------
    SoundError
        If the recording cannot be read, or ends before the stretch.
    """
    import soundfile

    first_s = max(0.0, start_s)
    parts = []
    for block in read_blocks(path, start_s=first_s):
        parts.append(block.samples)
        if block.end_s >= end_s:
            break
    if not parts:
        raise SoundError(
            f"has no sound at second {first_s:.1f}",
            where=str(path),
            mend="See that it is the recording the notes were heard in.",
        )
    samples = np.concatenate(parts)[: max(1, int((end_s - first_s) * SAMPLE_RATE_HZ))]
    out = io.BytesIO()
    soundfile.write(out, samples, SAMPLE_RATE_HZ, format="OGG", subtype="VORBIS")
    return out.getvalue()
