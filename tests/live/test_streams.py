from __future__ import annotations

import io
import os
import struct
import threading
import time
from typing import TYPE_CHECKING

import av
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from drawing import examples
from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.audio.reader import container_of
from treeward.errors import SoundError
from treeward.live import microphone
from treeward.live.microphone import MicrophoneSource, device_warning
from treeward.live.streams import BlocksSource, PcmFormat, RehearsalTime, StreamSource

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.live.messages import Chunk, Source

rng = np.random.default_rng(5)
SOUND = (0.2 * rng.standard_normal(SAMPLE_RATE_HZ * 2)).astype(np.float32)


class Dribble(io.RawIOBase):
    """A pipe that gives a few bytes at a time."""

    def __init__(self, data: bytes, sizes: list[int]) -> None:
        self._data = io.BytesIO(data)
        self._sizes = sizes
        self._turn = 0

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        if self._sizes:
            size = min(size, self._sizes[self._turn % len(self._sizes)])
            self._turn += 1
        return self._data.read(size)


def heard(source: Source) -> np.ndarray:
    return np.concatenate([chunk.samples for chunk in source.chunks()])


def pcm16(sound: np.ndarray) -> bytes:
    return bytes(np.rint(sound * 32767).astype("<i2").tobytes())


def wav(
    sound: np.ndarray, rate_hz: int = SAMPLE_RATE_HZ, subtype: str = "PCM_16"
) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, sound, rate_hz, subtype=subtype, format="WAV")
    return out.getvalue()


@pytest.mark.slow
@settings(max_examples=10, deadline=None)
@given(st.lists(st.integers(301, 5000), max_size=5))
def test_raw_sound_comes_through_whatever_the_pipe_does(sizes: list[int]) -> None:
    source = StreamSource(Dribble(pcm16(SOUND), sizes), time.monotonic)  # type: ignore[arg-type]

    assert heard(source) == pytest.approx(SOUND, abs=1e-4)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_32", "FLOAT"])
def test_wav_streams_say_how_they_are_to_be_read(subtype: str) -> None:
    stereo = np.stack([SOUND, -0.5 * SOUND], axis=1)

    source = StreamSource(io.BytesIO(wav(stereo, subtype=subtype)), time.monotonic)

    assert heard(source) == pytest.approx(0.25 * SOUND, abs=1e-4)


def test_wav_from_a_pipe_has_no_length() -> None:
    """As arecord and ffmpeg write it when they cannot go back to the header."""
    data = bytearray(wav(SOUND))
    struct.pack_into("<I", data, 4, 0xFFFFFFFF)
    struct.pack_into("<I", data, data.index(b"data") + 4, 0xFFFFFFFF)

    source = StreamSource(io.BytesIO(bytes(data)), time.monotonic)

    assert len(heard(source)) == len(SOUND)


@pytest.mark.parametrize("rate_hz", [8000, 44_100, 48_000])
def test_other_rates_become_16_khz(rate_hz: int) -> None:
    t = np.arange(rate_hz * 2) / rate_hz
    tone = 0.3 * np.sin(2 * np.pi * 1000 * t)

    samples = heard(StreamSource(io.BytesIO(wav(tone, rate_hz)), time.monotonic))

    spectrum = np.abs(np.fft.rfft(samples[4000:20_000]))
    assert len(samples) == pytest.approx(2 * SAMPLE_RATE_HZ, abs=64)
    assert int(np.argmax(spectrum)) == 1000


def test_raw_rate_and_channels_can_be_told() -> None:
    stereo = np.repeat(SOUND, 2)
    raw = PcmFormat(rate_hz=SAMPLE_RATE_HZ, channels=2)

    source = StreamSource(io.BytesIO(pcm16(stereo)), time.monotonic, raw=raw)

    assert heard(source) == pytest.approx(SOUND, abs=1e-4)


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"fLaC" + bytes(100), "compressed"),
        (b"OggS" + bytes(100), "compressed"),
        (b"RIFF" + bytes(4) + b"WAVE", "no sound in it"),
        (wav(SOUND[:100], subtype="PCM_24"), "24 bits"),
        (wav(SOUND[:100], subtype="ALAW"), "format 6"),
    ],
)
def test_streams_that_cannot_be_read_are_refused(data: bytes, what: str) -> None:
    source = StreamSource(io.BytesIO(data), time.monotonic)

    with pytest.raises(SoundError, match=what):
        list(source.chunks())


@pytest.mark.parametrize("worst", [np.nan, np.inf, -np.inf, 1e38, -3.4e38])
def test_floats_of_any_kind_become_sound(worst: float) -> None:
    sound = SOUND.copy()
    sound[1000::100] = worst
    stereo = np.stack([sound, sound], axis=1)

    samples = heard(
        StreamSource(io.BytesIO(wav(stereo, subtype="FLOAT")), time.monotonic)
    )

    assert np.abs(samples).max() <= 1.0
    assert np.isfinite(samples).all()
    assert samples[:1000] == pytest.approx(SOUND[:1000], abs=1e-4)


def encoded(form: str, codec: str) -> bytes:
    out = io.BytesIO()
    with av.open(out, "w", format=form) as container:
        stream = container.add_stream(codec, rate=44_100)
        assert isinstance(stream, av.AudioStream)
        for first in range(0, 44_100, 1152):
            part = np.resize(SOUND[first % 20_000 :], (1, 1152))
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="mono")
            frame.sample_rate = 44_100
            for packet in stream.encode(frame):
                container.mux(packet)
        for packet in stream.encode(None):
            container.mux(packet)
    return out.getvalue()


def as_file(form: str, subtype: str) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, SOUND, SAMPLE_RATE_HZ, format=form, subtype=subtype)
    return out.getvalue()


@pytest.mark.parametrize(
    ("make", "what"),
    [
        (lambda: encoded("mp3", "mp3"), "MP3"),
        (lambda: encoded("mp3", "mp3")[45:], "MP3"),  # without its ID3 tag
        (lambda: encoded("adts", "aac"), "AAC"),
        (lambda: encoded("ipod", "aac"), "M4A"),
        (lambda: encoded("matroska", "aac"), "Matroska"),
        (lambda: as_file("AIFF", "PCM_16"), "AIFF"),
        (lambda: as_file("CAF", "PCM_16"), "CAF"),
        (lambda: as_file("AU", "PCM_16"), "AU"),
        (lambda: as_file("W64", "PCM_16"), "Wave64"),
        (lambda: as_file("RF64", "PCM_16"), "RF64"),
        (lambda: as_file("OGG", "VORBIS"), "Ogg"),
        (lambda: b"#!AMR\n" + bytes(500), "AMR"),
        (lambda: b"RIFF\0\0\0\0AVI LIST" + bytes(500), "RIFF"),
        (lambda: b"0:01 yellow back\n" * 100, "text"),
    ],
    ids=["id3", "mp3", "adts", "m4a", "mkv", "aiff", "caf", "au", "w64", "rf64", "ogg",
         "amr", "avi", "text"],
)  # fmt: skip
def test_containers_are_not_taken_for_bare_samples(
    make: Callable[[], bytes], what: str
) -> None:
    with pytest.raises(SoundError, match=rf"the stream is .*{what}"):
        heard(StreamSource(io.BytesIO(make()), time.monotonic))


@given(st.binary(min_size=200, max_size=4000))
@settings(max_examples=examples(300), deadline=None)
def test_bare_samples_are_hardly_ever_taken_for_a_container(data: bytes) -> None:
    assert container_of(b"\x00\x01\x02" + data) == ""


def test_what_follows_the_sound_of_a_wav_stream_is_not_heard() -> None:
    data = wav(SOUND) + b"LIST" + struct.pack("<I", 4000) + b"\x7f" * 4000

    assert len(heard(StreamSource(io.BytesIO(data), time.monotonic))) == len(SOUND)


def test_a_wav_header_that_promises_gigabytes_of_remarks_is_refused() -> None:
    data = wav(SOUND)[:12] + b"LIST" + struct.pack("<I", 0xFFFFFFF0) + bytes(5000)

    with pytest.raises(SoundError, match="no sound in it"):
        heard(StreamSource(io.BytesIO(data), time.monotonic))


@pytest.mark.skipif(not hasattr(os, "set_blocking"), reason="no such pipes")
def test_a_pipe_that_does_not_wait_is_read_to_its_end() -> None:
    reading, writing = os.pipe()
    os.set_blocking(reading, False)
    data = pcm16(SOUND)

    def feed() -> None:
        with os.fdopen(writing, "wb", buffering=0) as pipe:
            for first in range(0, len(data), 6400):
                pipe.write(data[first : first + 6400])
                time.sleep(0.03)

    feeder = threading.Thread(target=feed)
    feeder.start()
    with os.fdopen(reading, "rb") as stream:
        samples = heard(StreamSource(stream, time.monotonic))
    feeder.join()

    assert samples == pytest.approx(SOUND, abs=1e-4)


def test_what_came_before_the_end_is_still_given() -> None:
    reading, writing = os.pipe()
    os.write(writing, pcm16(SOUND[:16_000]))
    with os.fdopen(reading, "rb") as stream:
        source = StreamSource(stream, time.monotonic)
        source.stop()
        samples = heard(source)
        os.close(writing)

    assert len(samples) == 16_000


def test_a_file_played_fast_moves_the_rehearsals_own_time() -> None:
    clock = RehearsalTime()
    blocks = [Block(start_s=0.0, samples=SOUND), Block(start_s=2.0, samples=SOUND)]

    chunks = list(BlocksSource(blocks, clock, name="a", time=clock).chunks())

    assert clock.seconds == pytest.approx(4.0)
    assert chunks[-1].arrival_s == pytest.approx(4.0)
    assert sum(len(c.samples) for c in chunks) == 4 * SAMPLE_RATE_HZ


def test_a_file_played_at_its_own_speed_takes_its_time() -> None:
    blocks = [Block(start_s=0.0, samples=SOUND[:8000])]
    start_s = time.monotonic()

    begun: list[float] = []
    source = BlocksSource(
        blocks,
        time.monotonic,
        name="a",
        on_start=lambda: begun.append(time.monotonic()),
    )

    chunks = list(source.chunks())

    assert len(begun) == 1
    assert chunks[0].arrival_s == pytest.approx(begun[0] + 0.1, abs=0.05)
    assert time.monotonic() - start_s >= 0.49
    assert len(chunks) == 5


class FakeSoundDevice:
    """PortAudio with a microphone that is pulled out after `fails_after` chunks."""

    class PortAudioError(Exception):
        pass

    def __init__(self, fails_after: int, reopen_fails: int = 1) -> None:
        self.fails_after = fails_after
        self.reopen_fails = reopen_fails
        self.opened = 0
        self.restarted = 0
        self.sent = 0

    def query_devices(self, device: object, kind: str) -> dict[str, object]:  # noqa: ARG002
        if device == "nowhere":
            msg = "No input device matching 'nowhere'"
            raise ValueError(msg)
        return {"name": "test microphone", "default_samplerate": 16_000.0}

    def check_input_settings(self, **_: object) -> None:
        if self.opened and self.restarted <= self.reopen_fails:
            msg = "gone"
            raise self.PortAudioError(msg)

    def _terminate(self) -> None:
        self.restarted += 1

    def _initialize(self) -> None:
        pass

    def InputStream(self, **options: object) -> object:  # noqa: N802
        fake = self
        if fake.opened and fake.restarted <= fake.reopen_fails:
            msg = "gone"
            raise self.PortAudioError(msg)
        fake.opened += 1
        callback = options["callback"]
        first = fake.opened == 1

        class Stream:
            def start(self) -> None:
                self.thread = threading.Thread(target=self.run, daemon=True)
                self.thread.start()

            def run(self) -> None:
                for number in range(fake.fails_after if first else 20):
                    data = np.full((1600, 1), 0.01 * number, np.float32)
                    callback(data, 1600, None, None)  # type: ignore[operator]
                    fake.sent += 1

            def abort(self, **_: bool) -> None:
                pass

            def close(self, **_: bool) -> None:
                self.thread.join()

        return Stream()


def test_microphone_unplugged_is_told_and_picked_up_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    fake = FakeSoundDevice(fails_after=3)
    monkeypatch.setattr(microphone, "sounddevice", lambda: fake)
    monkeypatch.setattr(microphone, "SILENT_STREAM_S", 0.2)
    monkeypatch.setattr(microphone, "RETRY_S", 0.02)
    source = MicrophoneSource(None, time.monotonic)
    chunks: list[Chunk] = []

    for chunk in source.chunks():
        chunks.append(chunk)
        if len(chunks) == 3 + 1 + 20:
            source.stop()

    assert source.name == "test microphone"
    assert [c.lost for c in chunks[:3]] == ["", "", ""]
    assert (len(chunks[3].samples), chunks[3].lost) == (0, "the microphone was away")
    assert (len(chunks[4].samples), chunks[4].lost) == (1600, "the microphone was away")
    assert {c.lost for c in chunks[5:]} == {""}
    assert fake.restarted == 2  # the first attempt found it still away


def test_what_was_spoken_before_the_end_comes_from_the_microphone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    fake = FakeSoundDevice(fails_after=10)
    monkeypatch.setattr(microphone, "sounddevice", lambda: fake)
    source = MicrophoneSource(None, time.monotonic)
    while fake.sent < 10:
        time.sleep(0.01)

    source.stop()

    assert sum(len(chunk.samples) for chunk in source.chunks()) == 16_000


def test_no_such_microphone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(microphone, "sounddevice", lambda: FakeSoundDevice(1))

    with pytest.raises(SoundError, match=r"there is no microphone 'nowhere'"):
        MicrophoneSource("nowhere", time.monotonic)


def test_no_microphone_at_all_is_told_without_portaudios_own_words(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    fake = FakeSoundDevice(1)

    def none(*_: object) -> dict[str, object]:
        raise fake.PortAudioError("Error querying device -1")

    monkeypatch.setattr(fake, "query_devices", none)
    monkeypatch.setattr(microphone, "sounddevice", lambda: fake)

    with pytest.raises(SoundError) as raised:
        MicrophoneSource(None, time.monotonic)

    assert raised.value.line() == (
        "there is no microphone. Plug one in; `treeward listen --devices` lists those "
        "there are."
    )


@pytest.mark.parametrize(
    ("name", "suspicious"),
    [
        ("Monitor of Built-in Audio", True),
        ("Stereo Mix (Realtek)", True),
        ("USB Microphone", False),
    ],
)
def test_a_device_that_hears_the_computer_itself_is_suspicious(
    name: str, suspicious: bool
) -> None:
    assert bool(device_warning(name)) == suspicious
