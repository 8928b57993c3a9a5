"""Small good recordings in every format, and WAV files whose headers lie."""

from __future__ import annotations

import io
import struct
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from hypothesis import strategies as st

if TYPE_CHECKING:
    from collections.abc import Sequence

RATE_HZ = 8000
_SAMPLES = (0.3 * np.sin(2 * np.pi * 440 * np.arange(RATE_HZ // 4) / RATE_HZ)).astype(
    np.float32
)
_NUMBERS = (
    0, 1, 2, 3, 4, 8, 16, 24, 32, 40, 64, 255, 1024, 1025, 8000, 16_000, 44_100,
    192_000, 0x7FFF, 0x8000, 0xFFFE, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF,
)  # fmt: skip


@cache
def SOUND_SEEDS() -> Sequence[bytes]:  # noqa: N802  (a constant that is costly to make)
    """Good recordings: a quarter of a second of a tone."""
    return [
        *(_by_soundfile(*one) for one in (
            ("WAV", "PCM_16", 1), ("WAV", "FLOAT", 2), ("WAVEX", "PCM_24", 2),
            ("WAV", "ULAW", 1), ("WAV", "IMA_ADPCM", 1), ("FLAC", "PCM_16", 1),
            ("OGG", "VORBIS", 1), ("OGG", "OPUS", 1), ("MP3", "MPEG_LAYER_III", 1),
            ("AIFF", "PCM_16", 1), ("CAF", "PCM_16", 1), ("W64", "PCM_16", 1),
            ("RF64", "PCM_16", 1), ("AU", "PCM_16", 1),
        )),
        *(_by_av(*one) for one in (("mp4", "aac"), ("matroska", "libopus"))),
        wav(samples=np.full(2000, np.nan, "<f4").tobytes(), tag=3, bits=32),
        wav(samples=np.full(2000, np.inf, "<f4").tobytes(), tag=3, bits=32),
        wav(samples=bytes(3200), channels=32),
    ]  # fmt: skip


@cache
def PIECE_SEEDS() -> Sequence[bytes]:  # noqa: N802  (a constant that is costly to make)
    """Good pieces of a listening, and sound that is none."""
    ours = [
        _by_soundfile(kind, "PCM_16", 1, rate_hz=16_000) for kind in ("WAV", "FLAC")
    ]
    return [*ours, *ours, *SOUND_SEEDS()[:3]]


def _by_soundfile(
    container: str, subtype: str, channels: int, *, rate_hz: int = RATE_HZ
) -> bytes:
    import soundfile

    out = io.BytesIO()
    rows = np.repeat(_SAMPLES[:, np.newaxis], channels, axis=1)
    soundfile.write(out, rows, rate_hz, format=container, subtype=subtype)
    return out.getvalue()


def _by_av(container: str, codec: str) -> bytes:
    import av

    out = io.BytesIO()
    with av.open(out, "w", format=container) as sink:
        stream = sink.add_stream(codec, rate=48_000)
        assert isinstance(stream, av.AudioStream)
        frame = av.AudioFrame.from_ndarray(
            _SAMPLES[np.newaxis], format="flt", layout="mono"
        )
        frame.sample_rate = RATE_HZ
        resampler = av.AudioResampler(
            format=stream.format.name, layout="mono", rate=48_000,
            frame_size=stream.frame_size or 960,
        )  # fmt: skip
        for part in [*resampler.resample(frame), *resampler.resample(None)]:
            sink.mux(stream.encode(part))
        sink.mux(stream.encode(None))
    return out.getvalue()


def wav(
    *,
    samples: bytes,
    tag: int = 1,
    channels: int = 1,
    rate: int = RATE_HZ,
    bits: int = 16,
    align: int | None = None,
    fmt_size: int = 16,
    data_size: int | None = None,
    riff_size: int | None = None,
    magic: bytes = b"RIFF",
    form: bytes = b"WAVE",
    before: bytes = b"",
) -> bytes:
    """Write a WAV file whose header says what it is told to say."""
    align = channels * bits // 8 if align is None else align
    head = struct.pack(
        "<HHIIHH",
        tag & 0xFFFF,
        channels & 0xFFFF,
        rate & 0xFFFFFFFF,
        (rate * align) & 0xFFFFFFFF,
        align & 0xFFFF,
        bits & 0xFFFF,
    )
    size = len(samples) if data_size is None else data_size
    body = (
        form + before + b"fmt " + struct.pack("<I", fmt_size & 0xFFFFFFFF) + head
        + b"data" + struct.pack("<I", size & 0xFFFFFFFF) + samples
    )  # fmt: skip
    whole = len(body) if riff_size is None else riff_size
    return magic + struct.pack("<I", whole & 0xFFFFFFFF) + body


@st.composite
def wav_files(draw: st.DrawFn) -> bytes:
    """Give WAV files with zero rates, 32 channels, huge sizes, samples that are NaN."""
    number = st.sampled_from(_NUMBERS)
    length = draw(st.sampled_from([0, 1, 2, 63, 4000]))
    tag = draw(st.sampled_from([1, 1, 3, 2, 6, 7, 17, 0x31, 0x55, 0xFFFE, 0]))
    bits = {3: 32, 6: 8, 7: 8, 17: 4}.get(tag, 16)
    match draw(st.integers(0, 3)):
        case 0:
            samples = np.full(length, np.nan, "<f4").tobytes()
        case 1:
            samples = bytes(length)
        case 2:
            samples = (_SAMPLES[:length] * 32767).astype("<i2").tobytes()
        case _:
            samples = draw(st.binary(max_size=64)) * (length // 64)
    lies = draw(
        st.dictionaries(
            st.sampled_from(
                [
                    "channels",
                    "rate",
                    "bits",
                    "align",
                    "fmt_size",
                    "data_size",
                    "riff_size",
                ]
            ),
            number,
            max_size=3,
        )
    )
    if draw(st.integers(0, 9)) == 0:
        lies["channels"] = 32
    asked: dict[str, int] = {"tag": tag, "bits": bits} | lies
    magic = draw(st.sampled_from([b"RIFF"] * 6 + [b"RIFX", b"RF64", b"riff", b"FFIR"]))
    form = draw(st.sampled_from([b"WAVE"] * 6 + [b"AVI ", b"wave"]))
    before = draw(
        st.sampled_from(
            [b""] * 4 + [b"LIST\xff\xff\xff\x7fINFO", b"JUNK\0\0\0\0", b"x"]
        )
    )
    return wav(samples=samples, magic=magic, form=form, before=before, **asked)
