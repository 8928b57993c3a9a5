"""Sound from its source to the disk and to the recognizer's queue.

Two threads: one takes sound from the source, one keeps it, watches for gaps and cuts
it. Nothing in the first waits for the disk.
"""

from __future__ import annotations

import queue
import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.errors import TreewardError
from treeward.live.ears import Cutter
from treeward.live.level import LevelMeter
from treeward.live.watch_clock import GAP_S, SampleClock

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from treeward.audio.records import Block
    from treeward.live.ears import Ears
    from treeward.live.gate import Gate
    from treeward.live.records import Chunk, Source
    from treeward.live.sound_keeper import SoundKeeper
    from treeward.live.watch_clock import WatchClock

PIECE_S = 600.0  # a recording is ended at the next pause after this; choice
PIECE_MOST_S = 660.0  # and at this, pause or not
HELD_CHUNKS = 600  # a minute of sound between source and disk
REHEARSED_CHUNKS = 4  # played fast, time must not run ahead of the notes
HELD_STRETCHES = 64  # waiting to be recognised
DISK_RETRY_S = 5.0


@dataclass(slots=True)
class Recording:
    """One piece of the session's sound: its name and its clock."""

    name: str
    clock: SampleClock = field(default_factory=SampleClock)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Sound that is missing, between two elapsed seconds."""

    from_s: float
    to_s: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Sound with speech in it, to be recognised."""

    block: Block
    recording: Recording


class Intake:
    """Runs the two sound threads.

    Parameters
    ----------
    on_gap, on_piece, on_lost, on_unheard
        Told of missing sound after it has ended; of each recording that ends, with
        its start and clock; of a source that went silent; of a stretch that could
        not wait for the recognizer.
    """

    def __init__(
        self,
        source: Source,
        keeper: SoundKeeper,
        ears: Ears,
        watch: WatchClock,
        gate: Gate | None,
        *,
        on_gap: Callable[[Gap], None],
        on_piece: Callable[[str, datetime, SampleClock], None],
        on_lost: Callable[[str], None],
        on_unheard: Callable[[Stretch], None],
        on_clock_set: Callable[[float], None],
        paced: bool = True,
    ) -> None:
        self._source = source
        self._keeper = keeper
        self._ears = ears
        self._watch = watch
        self._gate = gate
        self._on_gap = on_gap
        self._on_piece = on_piece
        self._on_lost = on_lost
        self._on_unheard = on_unheard
        self._on_clock_set = on_clock_set
        self._chunks: queue.Queue[Chunk | None] = queue.Queue(
            HELD_CHUNKS if paced else REHEARSED_CHUNKS
        )
        self.stretches: queue.Queue[Stretch | None] = queue.Queue(
            HELD_STRETCHES if paced else 1
        )
        self._recording: Recording | None = None
        self._cutter = Cutter(ears)
        self._last_s = watch.now_s()  # elapsed second up to which sound is there
        self._try_disk_s = 0.0
        self.meter = LevelMeter()
        self.heard_samples = 0
        self.worst_drift_s = 0.0
        self.fault: Exception | None = None
        self._threads = [
            threading.Thread(target=self._draw, name="source", daemon=True),
            threading.Thread(target=self._keep, name="keep", daemon=True),
        ]

    def start(self) -> None:
        """Begin."""
        for thread in self._threads:
            thread.start()

    def _draw(self) -> None:
        try:
            for chunk in self._source.chunks():
                self._chunks.put(chunk)
        except (TreewardError, OSError, ValueError) as error:
            self.fault = error
        finally:
            self._chunks.put(None)

    def _keep(self) -> None:
        try:
            while (chunk := self._chunks.get()) is not None:
                self._take(chunk)
        except Exception as error:  # noqa: BLE001 (told by the main thread; a thread would die unheard)
            self.fault = error
            self._source.stop()
            while self._chunks.get() is not None:
                pass
        finally:
            self._end_recording()
            self.stretches.put(None)

    def _take(self, chunk: Chunk) -> None:
        if chunk.lost and not len(chunk.samples):
            self._end_recording()
            self._on_lost(chunk.lost)
            return
        if not len(chunk.samples):
            return
        self._watch_for_gap(chunk)
        recording = self._recording_for(chunk)
        recording.clock.push(len(chunk.samples), chunk.arrival_s)
        if recording.name and not self._keeper.write(chunk.samples):
            # Not even memory holds it: what follows belongs to no recording until
            # the disk takes sound again, and then begins a new one.
            self._end_recording()
            recording = self._recording = Recording("")
            recording.clock.push(len(chunk.samples), chunk.arrival_s)
        drift = recording.clock.drift_s()
        if abs(drift) > abs(self.worst_drift_s):
            self.worst_drift_s = drift
        self.heard_samples += len(chunk.samples)
        self._last_s = chunk.arrival_s
        self.meter.push(chunk.samples)
        samples = chunk.samples
        if self._gate is not None:
            end_s = recording.clock.elapsed_at(
                recording.clock.end_sample / SAMPLE_RATE_HZ
            )
            samples = self._gate.mute(samples, end_s - len(samples) / SAMPLE_RATE_HZ)
        for block in self._cutter.push(samples):
            self._pass_on(Stretch(block=block, recording=recording))
        length_s = recording.clock.end_sample / SAMPLE_RATE_HZ
        if length_s > PIECE_MOST_S or (
            length_s > PIECE_S and not self._cutter.in_speech
        ):
            self._end_recording()

    def _watch_for_gap(self, chunk: Chunk) -> None:
        length_s = len(chunk.samples) / SAMPLE_RATE_HZ
        why = chunk.lost
        moved = self._watch.wall_moved_s() if self._source.live else 0.0
        if moved > GAP_S and self._watch.sleeps_unseen:
            self._watch.take_sleep(moved)
            self._end_recording()
            self._on_gap(
                Gap(
                    from_s=self._last_s,
                    to_s=self._last_s + moved,
                    why="the computer slept",
                )
            )
        elif moved:
            self._on_clock_set(moved)
        if self._recording is not None and self._source.live and not why:
            late_s = self._recording.clock.late_s(len(chunk.samples), chunk.arrival_s)
            if late_s > GAP_S:
                why = "the computer slept or stood still"
        if why:
            self._end_recording()
            begun_s = max(chunk.arrival_s - length_s, self._last_s)
            self._on_gap(Gap(from_s=self._last_s, to_s=begun_s, why=why))

    def _recording_for(self, chunk: Chunk) -> Recording:
        """Return the recording that a chunk belongs to, begun where there is none."""
        now = self._recording
        if now is not None and (
            now.name or self._cutter.in_speech or chunk.arrival_s < self._try_disk_s
        ):
            return now
        self._end_recording()
        self._try_disk_s = chunk.arrival_s + DISK_RETRY_S
        begun_s = chunk.arrival_s - len(chunk.samples) / SAMPLE_RATE_HZ
        kept = self._keeper.begin(self._watch.at(begun_s))
        self._recording = Recording(self._keeper.name if kept else "")
        return self._recording

    def _end_recording(self) -> None:
        recording, self._recording = self._recording, None
        if recording is None:
            return
        for block in self._cutter.flush():
            self._pass_on(Stretch(block=block, recording=recording))
        self._cutter = Cutter(self._ears)
        if recording.name:
            start = self._watch.at(recording.clock.first_offset_s or 0.0)
            self._on_piece(recording.name, start, recording.clock)
            self._keeper.end()

    def _pass_on(self, stretch: Stretch) -> None:
        if not self._source.live:
            self.stretches.put(stretch)
            return
        try:
            self.stretches.put_nowait(stretch)
        except queue.Full:
            self._on_unheard(stretch)

    def join(self, timeout_s: float | None = None) -> None:
        """Wait until both threads are done."""
        for thread in self._threads:
            thread.join(timeout_s)
