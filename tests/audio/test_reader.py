"""Recordings of every kind, whole, cut off, silent, or no recording at all."""

from __future__ import annotations

import io
import itertools
import os
import struct
import sys
import tracemalloc
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import av
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.audio import SAMPLE_RATE_HZ
from treeward.audio.reader import probe, read_blocks
from treeward.errors import SoundError

if TYPE_CHECKING:
    from numpy.typing import NDArray

TONE_HZ = 440.0


def tone(seconds: float, rate: int) -> NDArray[np.float64]:
    time_s = np.arange(int(seconds * rate)) / rate
    return 0.3 * np.sin(2 * np.pi * TONE_HZ * time_s)


def late_tone(seconds: float, rate: int) -> NDArray[np.float64]:
    """One second of silence, then the tone."""
    samples = tone(seconds, rate)
    samples[:rate] = 0
    return samples


def onset_s(samples: NDArray[np.float32]) -> float:
    return float(np.argmax(np.abs(samples) > 0.1) / SAMPLE_RATE_HZ)


def pitch_hz(samples: NDArray[np.float32]) -> float:
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(np.argmax(spectrum) * SAMPLE_RATE_HZ / len(samples))


def read_all(path: Path, start_s: float = 0.0) -> NDArray[np.float32]:
    blocks = [block.samples for block in read_blocks(path, start_s=start_s)]
    return np.concatenate(blocks) if blocks else np.zeros(0, np.float32)


def encode(path: Path, codec: str, samples: NDArray[np.float64], rate: int) -> None:
    """Write sound into a film or memo container with PyAV."""
    with av.open(str(path), "w") as container:
        container.metadata["creation_time"] = "2026-05-14T10:20:30Z"
        stream = container.add_stream(codec, rate=rate)
        assert isinstance(stream, av.AudioStream)
        frame = av.AudioFrame.from_ndarray(
            samples.astype(np.float32)[np.newaxis], format="fltp", layout="mono"
        )
        frame.sample_rate = rate
        fifo = av.AudioFifo()
        fifo.write(frame)
        while part := fifo.read(1024, partial=True):
            container.mux(stream.encode(part))
        container.mux(stream.encode(None))


@pytest.mark.slow
@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 44100, 48000, 96000])
@pytest.mark.parametrize("channels", [1, 2, 32])
def test_any_rate_and_channels_keep_time_and_level(
    tmp_path: Path, rate: int, channels: int
) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.stack([tone(2.3, rate)] * channels, axis=1), rate)
    heard = read_all(path)
    assert len(heard) == pytest.approx(2.3 * SAMPLE_RATE_HZ, abs=2)
    wanted = tone(2.3, SAMPLE_RATE_HZ)[: len(heard)]
    inner = slice(200, -200)
    assert np.abs(heard[: len(wanted)] - wanted)[inner].max() < 1e-3


@pytest.mark.parametrize(
    ("name", "container"),
    [("a.flac", "FLAC"), ("a.ogg", "OGG"), ("a.mp3", "MP3"), ("a.wav", "WAV")],
)
def test_formats_of_soundfile(tmp_path: Path, name: str, container: str) -> None:
    path = tmp_path / name
    soundfile.write(path, late_tone(3.0, 44100), 44100)
    info = probe(path)
    assert info.container == container
    assert info.duration_s == pytest.approx(3.0, abs=0.06)
    heard = read_all(path)
    assert onset_s(heard) == pytest.approx(1.0, abs=0.05)
    assert pitch_hz(heard[20000:36000]) == pytest.approx(TONE_HZ, abs=1)


def test_opus(tmp_path: Path) -> None:
    path = tmp_path / "a.opus"
    soundfile.write(path, tone(2.0, 48000), 48000, format="OGG", subtype="OPUS")
    heard = read_all(path)
    assert len(heard) == pytest.approx(2.0 * SAMPLE_RATE_HZ, abs=400)
    assert np.abs(heard).max() == pytest.approx(0.3, abs=0.03)


@pytest.mark.parametrize("name", ["a.m4a", "a.mp4", "a.mov", "a.3gp"])
def test_sound_of_phones_and_films(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    encode(path, "aac", late_tone(3.0, 44100), 44100)
    info = probe(path)
    assert info.duration_s == pytest.approx(3.0, abs=0.1)
    assert info.created == datetime(2026, 5, 14, 10, 20, 30, tzinfo=UTC)
    heard = read_all(path)
    assert onset_s(heard) == pytest.approx(1.0, abs=0.05)
    assert pitch_hz(heard[20000:36000]) == pytest.approx(TONE_HZ, abs=1)
    late = read_all(path, start_s=1.5)
    assert np.corrcoef(late[4000:16000], heard[28000:40000])[0, 1] > 0.99


@settings(max_examples=20, deadline=None)
@given(
    block_s=st.floats(0.01, 3.0),
    start_s=st.floats(0.0, 1.9),
    rate=st.sampled_from([16000, 44100]),
)
def test_blocks_touch_and_hold_everything(
    tmp_path_factory: pytest.TempPathFactory, block_s: float, start_s: float, rate: int
) -> None:
    path = tmp_path_factory.mktemp("blocks") / "a.wav"
    soundfile.write(path, tone(2.0, rate), rate)
    blocks = list(read_blocks(path, block_s=block_s, start_s=start_s))
    assert blocks[0].start_s == pytest.approx(start_s, abs=1e-4)
    for before, after in itertools.pairwise(blocks):
        assert after.start_s == pytest.approx(before.end_s, abs=1e-9)
    assert blocks[-1].end_s == pytest.approx(2.0, abs=1e-3)


def test_broken_samples_become_silence(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    samples = tone(1.0, 16000)
    samples[100], samples[200], samples[300] = np.nan, np.inf, -7.0
    soundfile.write(path, samples, 16000, subtype="FLOAT")
    heard = read_all(path)
    assert np.isfinite(heard).all()
    assert heard[100] == 0
    assert heard[200] == 1
    assert heard[300] == -1


@pytest.mark.parametrize("name", ["a.wav", "a.flac", "a.mp3", "a.ogg"])
def test_cut_off_recording_yields_what_is_there_and_says_so(
    tmp_path: Path, name: str
) -> None:
    path = tmp_path / name
    rng = np.random.default_rng(1)
    samples = tone(8.0, 16000) + 0.01 * rng.standard_normal(8 * 16000)
    soundfile.write(path, samples, 16000)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    faults: list[SoundError] = []
    blocks = list(read_blocks(path, warn=faults.append))
    assert 2.0 < blocks[-1].end_s < 6.0
    if name not in {"a.ogg", "a.mp3"}:  # these headers hold no length
        assert len(faults) == 1
        assert "cut off after" in faults[0].line()
        assert name in faults[0].line()


def test_header_that_was_never_finished(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    pcm = (tone(2.0, 16000) * 32767).astype("<i2").tobytes()
    form = struct.pack("<HHIIHH", 1, 1, 16000, 32000, 2, 16)
    head = b"RIFF" + struct.pack("<I", 0) + b"WAVEfmt " + struct.pack("<I", 16) + form
    path.write_bytes(head + b"data" + struct.pack("<I", 0) + pcm)
    heard = read_all(path)
    assert len(heard) == pytest.approx(2.0 * SAMPLE_RATE_HZ, abs=1)


@pytest.mark.parametrize("name", ["a.m4a", "a.mp4"])
def test_film_without_its_index_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    encode(path, "aac", tone(3.0, 44100), 44100)
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(SoundError, match="is not a recording that can be read"):
        list(read_blocks(path))


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b"[0:05] yellow back\n", "is not a recording"),
        (b"#EXTM3U\nhttp://example.invalid/a.mp3\n", "is not a recording|no sound"),
        (b"\x00" * 5000, "is not a recording"),
        (b"RIFF\x24\x00\x00\x00WAVEfmt ", "is not a recording|holds no sound"),
    ],
)
def test_what_is_not_sound_is_refused_in_one_line(
    tmp_path: Path, content: bytes, message: str
) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(content)
    with pytest.raises(SoundError, match=message) as caught:
        list(read_blocks(path))
    assert "\n" not in caught.value.line()
    assert "a.wav" in caught.value.line()
    with pytest.raises(SoundError, match=message):
        probe(path)


def test_missing_file_and_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SoundError, match="cannot be opened"):
        list(read_blocks(tmp_path / "none.wav"))
    with pytest.raises(SoundError, match="is a folder"):
        list(read_blocks(tmp_path))


def test_silent_recording_is_refused_at_its_end(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros(32000), 16000)
    with pytest.raises(SoundError, match=r"silent throughout \(2 s\)"):
        list(read_blocks(path))


def test_sound_of_no_length_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros(0), 16000)
    with pytest.raises(SoundError, match=r"no sound|not a recording"):
        list(read_blocks(path))


def test_start_after_the_end_gives_nothing(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, tone(1.0, 16000), 16000)
    assert read_all(path, start_s=5.0).size == 0


@pytest.mark.slow
def test_memory_does_not_grow_with_length(tmp_path: Path) -> None:
    peaks = []
    for minutes in (1, 8):
        path = tmp_path / f"{minutes}.wav"
        with soundfile.SoundFile(path, "w", 44100, 1) as file:
            for _ in range(minutes * 6):
                file.write(tone(10.0, 44100))
        tracemalloc.start()
        for _ in read_blocks(path):
            pass
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0]
    assert peaks[1] < 20e6


def chained(path: Path, *links: tuple[int, str, float, float]) -> Path:
    """Write Ogg streams of (rate, codec, pitch, seconds), one after the other."""
    data = b""
    for rate_hz, codec, pitch_hz, length_s in links:
        t = np.arange(round(rate_hz * length_s)) / rate_hz
        out = io.BytesIO()
        tone = 0.3 * np.sin(2 * np.pi * pitch_hz * t)
        soundfile.write(out, tone, rate_hz, format="OGG", subtype=codec)
        data += out.getvalue()
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    "links",
    [
        ((16_000, "VORBIS", 400, 2.0), (16_000, "VORBIS", 1000, 3.0)),
        ((48_000, "OPUS", 400, 2.0), (48_000, "OPUS", 1000, 3.0)),
        ((16_000, "VORBIS", 400, 2.0), (44_100, "VORBIS", 1000, 3.0)),
    ],
)
def test_every_stream_of_a_chained_ogg_file_is_heard(
    tmp_path: Path, links: tuple[tuple[int, str, float, float], ...]
) -> None:
    path = chained(tmp_path / "two.ogg", *links)

    whole = np.concatenate([b.samples for b in read_blocks(path)])
    later = np.concatenate([b.samples for b in read_blocks(path, start_s=3.0)])

    assert probe(path).duration_s == pytest.approx(5.0, abs=0.02)
    assert len(whole) == pytest.approx(5 * SAMPLE_RATE_HZ, abs=400)
    assert pitch_of(whole[8000:24_000]) == pytest.approx(400, abs=2)
    assert pitch_of(whole[48_000:64_000]) == pytest.approx(1000, abs=2)
    assert len(later) == pytest.approx(2 * SAMPLE_RATE_HZ, abs=400)
    assert later[4000:8000] == pytest.approx(whole[52_000:56_000], abs=0.02)


def test_a_chained_file_cut_off_in_its_second_stream_says_so(tmp_path: Path) -> None:
    path = chained(
        tmp_path / "cut.ogg", (16_000, "VORBIS", 400, 2.0), (16_000, "VORBIS", 9e2, 3)
    )
    data = path.read_bytes()
    path.write_bytes(data[: data.rindex(b"\x05vorbis") + 40])
    faults: list[SoundError] = []

    whole = np.concatenate([b.samples for b in read_blocks(path, warn=faults.append)])

    assert len(whole) == pytest.approx(2 * SAMPLE_RATE_HZ, abs=400)
    assert "cut off after 2.0 s" in faults[0].line()


def pitch_of(sound: NDArray[np.float32]) -> float:
    peak = np.argmax(np.abs(np.fft.rfft(sound)))
    return float(peak) * SAMPLE_RATE_HZ / len(sound)


@pytest.mark.parametrize("silences", [False, True])
def test_a_whole_amr_file_is_not_called_cut_off(tmp_path: Path, silences: bool) -> None:
    """3GPP TS 26.101: frames of 32 bytes at 12.2 kbit/s, 1 where nobody speaks."""
    rng = np.random.default_rng(3)
    frames = [
        b"\x7c" if silences and n % 100 > 30 else b"\x3c" + rng.bytes(31)
        for n in range(1000)
    ]
    path = tmp_path / "memo.amr"
    path.write_bytes(b"#!AMR\n" + b"".join(frames))
    faults: list[SoundError] = []

    count = sum(len(b.samples) for b in read_blocks(path, warn=faults.append))

    assert faults == []
    # Silence at the very end is left out.
    assert count / SAMPLE_RATE_HZ == pytest.approx(18.62 if silences else 20.0, abs=0.1)


@pytest.mark.skipif(sys.platform != "linux", reason="names are UTF-8 there")
@pytest.mark.parametrize("suffix", [b".wav", b".flac", b".m4a"])
def test_a_name_that_is_not_utf8(tmp_path: Path, suffix: bytes) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9" + suffix))
    good = tmp_path / f"good{suffix.decode()}"
    if suffix == b".m4a":
        with av.open(str(good), "w") as container:
            stream = container.add_stream("aac", rate=16_000)
            frame = av.AudioFrame.from_ndarray(
                np.zeros((1, 16_000), np.float32) + 0.1, format="fltp", layout="mono"
            )
            frame.sample_rate = 16_000
            for packet in (*stream.encode(frame), *stream.encode(None)):
                container.mux(packet)
    else:
        soundfile.write(good, np.full(16_000, 0.1), 16_000)
    good.rename(path)

    assert probe(path).duration_s == pytest.approx(1.0, abs=0.1)
    assert sum(len(b.samples) for b in read_blocks(path)) >= 15_000


@pytest.mark.parametrize("start_s", [0.0, 2.0])
def test_a_broken_mp3_is_told_in_our_words_alone(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], start_s: float
) -> None:
    path = tmp_path / "broken.mp3"
    soundfile.write(path, tone(5.0, 16_000), 16_000)
    data = bytearray(path.read_bytes())
    data[3000:3400] = bytes(400)
    path.write_bytes(bytes(data) + b"no sound" * 100)

    probe(path)
    count = sum(len(b.samples) for b in read_blocks(path, start_s=start_s))
    os.write(2, b"still open")

    assert count > (4.5 - start_s) * SAMPLE_RATE_HZ
    assert capfd.readouterr().err == "still open"
