"""What a stream of bytes is, from its first ones: plain sound has no name on it."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

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
    import av
    from av.error import FFmpegError

    try:
        options = {"protocol_whitelist": "file"}  # a playlist must not reach out
        with av.open(str(path.resolve()), options=options) as container:
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
