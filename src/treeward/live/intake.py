"""Sound from its source to the disk and to the recognizer's queue.

Two threads: one takes sound from the source, one keeps it, watches for gaps and cuts
it. Nothing in the first waits for the disk.
"""

from __future__ import annotations

import math
import queue
import threading
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.errors import TreewardError
from treeward.live.level import LevelMeter
from treeward.live.watch_clock import GAP_S, SampleClock

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from treeward.audio.records import Block
    from treeward.live.ears import Ears
    from treeward.live.gate import Gate
    from treeward.live.records import Chunk, Source
    from treeward.live.sound_keeper import SoundKeeper
    from treeward.live.watch_clock import WatchClock

PIECE_S = 600.0  # a piece is ended at the next pause after this; choice
PIECE_MOST_S = 660.0  # and at this, pause or not
HELD_CHUNKS = 600  # a minute of sound between source and disk
REHEARSED_CHUNKS = 4  # played fast, time must not run ahead of the notes
HELD_STRETCHES = 64  # waiting to be recognised
DISK_RETRY_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Sound that is missing, between two elapsed seconds."""

    from_s: float
    to_s: float
    why: str


class Intake:
    """Runs the two sound threads.

    Parameters
    ----------
    on_gap, on_piece, on_lost, on_unheard
        Told of missing sound after it has ended; of each piece that begins, with its
        second and the sound card's drift so far; of a source that went silent; of a
        stretch that could not wait for the recognizer.
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
        on_piece: Callable[[float, float], None],
        on_lost: Callable[[str], None],
        on_unheard: Callable[[Block], None],
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
        self.stretches: queue.Queue[Block | None] = queue.Queue(
            HELD_STRETCHES if paced else 1
        )
        self._clock = SampleClock()
        self._cutter = ears.make_segmenter()
        self._piece_s = 0.0
        self._last_s = watch.now_s()  # elapsed second up to which sound is there
        self._try_disk_s = -math.inf
        self.meter = LevelMeter()
        self.heard_samples = 0
        self.worst_drift_s = 0.0
        self.fault: Exception | None = None
        self._threads = [
            threading.Thread(target=self._draw, name="source", daemon=True),
            threading.Thread(target=self._keep, name="keep", daemon=True),
        ]

    @property
    def current_offset_s(self) -> float:
        """Elapsed second at which the sound card's second 0 fell, as it runs now."""
        return self._clock.offset_s

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
            self._break()
            self.stretches.put(None)

    def _take(self, chunk: Chunk) -> None:
        if not len(chunk.samples):
            if chunk.lost:
                self._break()
                self._on_lost(chunk.lost)
            return
        self._watch_for_gap(chunk)
        clock = self._clock
        clock.push(len(chunk.samples), chunk.arrival_s)
        if abs(drift := clock.drift_s()) > abs(self.worst_drift_s):
            self.worst_drift_s = drift
        length_s = len(chunk.samples) / SAMPLE_RATE_HZ
        start_s = clock.elapsed_at(clock.end_sample / SAMPLE_RATE_HZ - length_s)
        self._store(chunk.samples, start_s)
        self.heard_samples += len(chunk.samples)
        self._last_s = start_s + length_s
        self.meter.push(chunk.samples)
        samples = chunk.samples
        if self._gate is not None:
            samples = self._gate.mute(samples, start_s)
        self._pass_on(self._cutter.push(samples))

    def _store(self, samples: NDArray[np.float32], start_s: float) -> None:
        """Keep sound on disk, in pieces that end where nobody speaks."""
        keeper = self._keeper
        age_s = start_s - self._piece_s
        if keeper.writing and (
            age_s > PIECE_MOST_S or (age_s > PIECE_S and not self._cutter.in_speech)
        ):
            keeper.end()
            self._try_disk_s = -math.inf
        if not keeper.writing and start_s >= self._try_disk_s:
            self._piece_s, self._try_disk_s = start_s, start_s + DISK_RETRY_S
            if keeper.begin(max(0.0, start_s)):
                self._on_piece(start_s, self._clock.drift_s())
        if keeper.writing and not keeper.write(samples):
            keeper.end()  # a minute of it waits in memory already: a hole follows
            self._try_disk_s = start_s + DISK_RETRY_S

    def _watch_for_gap(self, chunk: Chunk) -> None:
        length_s = len(chunk.samples) / SAMPLE_RATE_HZ
        why = chunk.lost
        moved = self._watch.wall_moved_s() if self._source.live else 0.0
        if moved > GAP_S and self._watch.sleeps_unseen:
            self._watch.take_sleep(moved)
            self._break()
            woke_s = self._last_s + moved
            why = "the computer slept"
            self._on_gap(Gap(from_s=self._last_s, to_s=woke_s, why=why))
            self._last_s = woke_s
            return
        if moved:
            self._on_clock_set(moved)
        if self._source.live and not why:
            late_s = self._clock.late_s(len(chunk.samples), chunk.arrival_s)
            if late_s > GAP_S:
                why = "the computer slept or stood still"
        if why:
            self._break()
            begun_s = max(chunk.arrival_s - length_s, self._last_s)
            self._on_gap(Gap(from_s=self._last_s, to_s=begun_s, why=why))

    def _break(self) -> None:
        """End what hangs together: sound is missing from here on."""
        self._pass_on(self._cutter.flush())
        self._cutter = self._ears.make_segmenter()
        self._clock = SampleClock()
        self._keeper.end()
        self._try_disk_s = -math.inf

    def _pass_on(self, blocks: Sequence[Block]) -> None:
        """Hand stretches to the recognizer, in seconds of the session."""
        for cut in blocks:
            start_s = self._clock.elapsed_at(cut.start_s)
            block = replace(cut, start_s=start_s)
            if not self._source.live:
                self.stretches.put(block)
                continue
            try:
                self.stretches.put_nowait(block)
            except queue.Full:
                self._on_unheard(block)

    def close(self) -> None:
        """Stop the source and wait until what it gave is kept and cut."""
        self._source.stop()
        source, keep = self._threads
        if not source.ident:
            return  # never started
        source.join(timeout=5.0)  # an open device must be closed before we exit
        if source.is_alive():  # waits for input that may never come
            self._chunks.put(None)
        keep.join(timeout=30.0)
