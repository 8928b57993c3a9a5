"""Sound from standard input or a file, in small chunks of 16 kHz mono.

Which moment a sample was heard at: clocks that survive a closed lid.

Three clocks are told apart. The *wall* clock may be set while we listen. The
*elapsed* clock never jumps and, where the system has one that does, goes on while
the machine sleeps. The *sample* clock is the sound card's crystal, some tens of
parts per million off. An event's clock is sample -> elapsed -> wall, so that setting
the wall clock moves nothing, and the crystal's drift is followed.
"""

from __future__ import annotations

import math
import queue
import struct
import sys
import threading
import time
from collections import deque
from dataclasses import dataclass, field
from datetime import datetime
from typing import IO, TYPE_CHECKING

import numpy as np

from treeward.audio import SAMPLE_RATE_HZ, Resampler, mono
from treeward.audio.reader import HEAD_BYTES, container_of
from treeward.errors import SoundError

from .messages import Chunk

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from datetime import tzinfo

    from numpy.typing import NDArray

    from treeward.audio import Block


OFFSET_WINDOW_S = 20.0  # over which the promptest chunk sets the offset; guess
GAP_S = 2.5  # later than this and sound was lost: card buffers hold < 1 s; guess
_STEPS_KEPT = 8  # pieces of minutes: no stretch of speech is older
STEP_S = 1.0  # a wall clock that moved this far against elapsed was set; guess


def elapsed_s() -> float:
    """Return seconds that never jump and, on Linux, go on through sleep."""
    # A type checker follows the platform in a statement only.
    if sys.platform == "linux":
        now_s = time.clock_gettime(time.CLOCK_BOOTTIME)
    else:
        now_s = time.monotonic()
    return now_s


class WatchClock:
    """Wall time of an elapsed second, fixed once when listening begins.

    Parameters
    ----------
    zone
        The hunt's time zone.
    start
        What the wall clock said at the start; the computer's own time by default
        (a rehearsal from a file gives the recording's).
    early_s
        Whole seconds by which second 0 lies before now: a pipe may hold sound that
        is older than we are.
    """

    def __init__(
        self,
        zone: tzinfo,
        *,
        start: datetime | None = None,
        early_s: float = 0.0,
        elapsed: Callable[[], float] = elapsed_s,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._elapsed = elapsed
        self._wall = wall
        # Whether sleep is missing from elapsed seconds: true of macOS alone.
        self.sleeps_unseen = elapsed is elapsed_s and sys.platform == "darwin"
        self._zero_s = elapsed()
        self._wall_zero_s = wall()
        if start is None:
            # Second 0 is a whole second, as the recording's name will say it.
            over_s = self._wall_zero_s % 1.0 + early_s
            self._zero_s -= over_s
            self._wall_zero_s -= over_s
            start = datetime.fromtimestamp(round(self._wall_zero_s), tz=zone)
        self.start = start.astimezone(zone)

    def restart(self) -> None:
        """Let second 0 be now: a rehearsal's first sound has come."""
        self._zero_s = self._elapsed()
        self._wall_zero_s = self._wall()

    def now_s(self) -> float:
        """Return seconds since listening began."""
        return self._elapsed() - self._zero_s

    def at(self, since_start_s: float) -> datetime:
        """Return the wall time of a second since the start, in the hunt's zone."""
        moment = self.start.timestamp() + since_start_s
        return datetime.fromtimestamp(moment, tz=self.start.tzinfo)

    def wall_moved_s(self) -> float:
        """Return how far the wall clock was set against elapsed, then forget it.

        Zero for less than STEP_S. Where the elapsed clock stands still in sleep
        (macOS) a sleep looks like this too; sound missing at the same moment is
        what tells it apart (see `take_sleep`).
        """
        moved = (self._wall() - self._wall_zero_s) - self.now_s()
        if abs(moved) < STEP_S:
            return 0.0
        self._wall_zero_s += moved
        return moved

    def take_sleep(self, slept_s: float) -> None:
        """Move elapsed on by a sleep that this system's elapsed clock left out."""
        self._zero_s -= slept_s
        self._wall_zero_s -= slept_s


@dataclass(slots=True)
class SampleClock:
    """Elapsed second of each sample of one recording, from when chunks arrived.

    A chunk can be late but never early, so the promptest one within
    OFFSET_WINDOW_S gives the offset: elapsed = sample / SAMPLE_RATE_HZ + offset.
    """

    first_offset_s: float | None = None
    end_sample: int = 0  # samples seen so far
    _recent: deque[tuple[int, float]] = field(default_factory=deque)

    def late_s(self, samples: int, arrival_s: float) -> float:
        """Return how much later a chunk arrived than the recording lets expect."""
        if not self._recent:
            return 0.0
        return arrival_s - (self.end_sample + samples) / SAMPLE_RATE_HZ - self.offset_s

    @property
    def offset_s(self) -> float:
        """Elapsed second of the recording's first sample, as the clock runs now."""
        if not self._recent:
            return self.first_offset_s or 0.0
        return self._recent[0][1]

    def push(self, samples: int, arrival_s: float) -> None:
        """Take note of a chunk of `samples` whose last one arrived at `arrival_s`."""
        self.end_sample += samples
        offset = arrival_s - self.end_sample / SAMPLE_RATE_HZ
        oldest = self.end_sample - int(OFFSET_WINDOW_S * SAMPLE_RATE_HZ)
        # A falling queue: its head is always the smallest of the window.
        while self._recent and self._recent[-1][1] >= offset:
            self._recent.pop()
        self._recent.append((self.end_sample, offset))
        while self._recent[0][0] < oldest:
            self._recent.popleft()
        if self.first_offset_s is None:
            self.first_offset_s = offset
        elif self.end_sample <= SAMPLE_RATE_HZ * OFFSET_WINDOW_S:
            self.first_offset_s = min(self.first_offset_s, offset)

    def drift_s(self) -> float:
        """Return how far the sound card has run off the elapsed clock so far."""
        if self.first_offset_s is None:
            return 0.0
        return self.offset_s - self.first_offset_s


@dataclass(frozen=True, slots=True)
class Timeline:
    """Second of the recording for each second of sound that hangs together.

    The one clock of sound and notes: a piece of sound is put where this says, and so
    is every note heard in it. `steps` holds from which second of the sound on how much
    is added; what was placed once stays there.
    """

    steps: tuple[tuple[float, float], ...] = ()

    @property
    def offset_s(self) -> float:
        """What is added now."""
        return self.steps[-1][1] if self.steps else 0.0

    def step(self, from_s: float, offset_s: float) -> Timeline:
        """Return the same, with another offset from a second of the sound on."""
        before = tuple(step for step in self.steps if step[0] < from_s)
        return Timeline((*before[-_STEPS_KEPT:], (from_s, offset_s)))

    def at(self, second: float) -> float:
        """Return the second of the recording of a second of the sound."""
        offset_s = self.steps[0][1] if self.steps else 0.0
        for from_s, step_s in self.steps:
            if from_s > second + 1e-6:
                break
            offset_s = step_s
        return second + offset_s


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
        return mono(values.reshape(-1, self.channels))


class Pipe:
    """Bytes of a stream as they come, each lot with the moment it came at.

    A thread of its own reads from the start, so that nothing waits in a pipe, which
    holds two seconds of sound, while an engine is opened. What comes faster than it is
    taken waits in the pipe once LOTS_HELD lots are here.
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

    It is read until it ends, or a Pipe reads it already. `now_s` gives the elapsed
    second of listening, for when a chunk arrived; `raw` says how raw sound is to be
    read, and a WAV header overrides it.
    """

    live = True
    name = "standard input"

    def __init__(
        self,
        stream: IO[bytes] | Pipe,
        now_s: Callable[[], float],
        *,
        raw: PcmFormat | None = None,
    ) -> None:
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

    The `blocks` follow on, as audio.reader gives them. `now_s` gives the elapsed second
    of listening; `time`, the rehearsal's own, is moved on with the sound, and without
    it that plays at real speed. `on_start` is called when the first is about to come.
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
