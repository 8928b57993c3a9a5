"""Sound from its source to the disk.

Two threads: one takes sound from the source, one writes it to the disk. The second
waits for the disk alone: cutting, hearing and the journal have threads of their own
(ears.py, session.py), to which it only hands on.
"""

from __future__ import annotations

import math
import queue
import threading
from typing import TYPE_CHECKING

from treeward.audio import SAMPLE_RATE_HZ
from treeward.errors import TreewardError
from treeward.hunt.journal import LONGEST_MS

from .ears import Cuts, HeldSound
from .streams import GAP_S, STEP_S, SampleClock, Timeline

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.audio.recorder import Recorder

    from .answer import Gate
    from .messages import Chunk, Source
    from .streams import WatchClock

PIECE_S = 600.0  # a piece is ended at the next pause after this; choice
PIECE_MOST_S = 660.0  # and at this, pause or not
HELD_CHUNKS = 600  # a minute of sound between source and disk
REHEARSED_CHUNKS = 4  # played fast, time must not run ahead of the notes
DISK_RETRY_S = 5.0
SETTLE_S = 0.5  # after which it is known how old the first sound was; guess
SETTLE_SOUND_S = 5.0  # or after so much sound: more than a pipe and a card hold; guess
MISPLACED_S = 0.02  # first sound put this far off is moved to its place; choice
MISSING_S = 0.25  # sound this far behind the clock has a hole in it; guess
BACK_MOST_S = 0.1  # cut off between pieces, of a card that runs fast; choice
CARD_OFF = 3e-4  # no card's crystal is further off; guess
LONGEST_S = LONGEST_MS / 1000  # of a session, which becomes one recording
LEAVE_S = 5.0  # for an open device to be closed before we exit


class Intake:
    """Runs the sound's threads.

    Parameters
    ----------
    on_gap, on_piece, on_lost, on_unheard, on_clock_set, on_full
        Told, from the cutter's thread, of missing sound after it has ended, between two
        seconds of the recording and why; of each piece that begins, with its second and
        the sound card's drift so far; of a source that went silent; of seconds that the
        recognizer could not take; of the computer's clock being set; of the end of a
        session that is LONGEST_S long.
    paced
        False for a rehearsal as fast as it goes; of no effect where the source is live
        and cannot wait.
    """

    def __init__(
        self,
        source: Source,
        keeper: Recorder,
        watch: WatchClock,
        gate: Gate | None,
        *,
        on_gap: Callable[[float, float, str], None],
        on_piece: Callable[[float, float], None],
        on_lost: Callable[[str], None],
        on_unheard: Callable[[float, float], None],
        on_clock_set: Callable[[float], None],
        on_full: Callable[[str], None],
        paced: bool = True,
    ) -> None:
        self._source = source
        self._keeper = keeper
        self._watch = watch
        self._on_gap = on_gap
        self._on_piece = on_piece
        self._on_lost = on_lost
        self._on_clock_set = on_clock_set
        self._on_full = on_full
        self._full = False
        paced = paced or source.live
        self._chunks: queue.Queue[Chunk | None] = queue.Queue(
            HELD_CHUNKS if paced else REHEARSED_CHUNKS
        )
        self.cuts = Cuts(gate, on_unheard=on_unheard, paced=paced)
        self._clock = SampleClock()
        self._timeline = Timeline()
        self._settled = False
        self._first_arrival_s = 0.0
        self._earliest_s = 0.0  # that sound may be put at
        self._last_s = watch.now_s()  # second of the recording up to which sound is
        self._piece_s = 0.0
        self._try_disk_s = -math.inf
        self.heard_samples = 0
        self.worst_drift_s = 0.0
        self.fault: Exception | None = None
        self._threads = [
            threading.Thread(target=self._draw, name="source", daemon=True),
            threading.Thread(target=self._keep, name="keep", daemon=True),
            threading.Thread(target=self.cuts.run, name="cut", daemon=True),
        ]

    def start(self) -> None:
        """Begin."""
        for thread in self._threads:
            thread.start()

    def close(self) -> None:
        """Stop the source and wait until what it gave is kept and cut."""
        self._source.stop()
        source, keep, cut = self._threads
        if not source.ident:
            return  # never started
        source.join(timeout=LEAVE_S)
        if source.is_alive():  # waits for input that may never come
            self._chunks.put(None)
        keep.join()
        cut.join()

    def _draw(self) -> None:
        try:
            for chunk in self._source.chunks():
                self._chunks.put(chunk)
        except (TreewardError, OSError, ValueError) as error:
            self.fault = error
        finally:
            self._chunks.put(None)

    # --- the disk's thread ---------------------------------------------------

    def _keep(self) -> None:
        try:
            while (chunk := self._next()) is not None:
                self._take(chunk)
            self._break()
        except Exception as error:  # noqa: BLE001 (told by the main thread; a thread would die unheard)
            self.fault = error
            self._source.stop()
            while self._chunks.get() is not None:
                pass
        finally:
            self.cuts.end()

    def _next(self) -> Chunk | None:
        while True:
            unsettled = self._timeline.steps and not self._settled
            try:
                return self._chunks.get(timeout=SETTLE_S if unsettled else None)
            except queue.Empty:  # nothing more comes: what is here is all there was
                self._settle(self._clock.end_sample / SAMPLE_RATE_HZ)
                self.cuts.place(self._timeline)

    def _take(self, chunk: Chunk) -> None:
        if not len(chunk.samples):
            if chunk.lost:
                self._break()
                self.cuts.tell(lambda: self._on_lost(chunk.lost))
            return
        if self._full or self._last_s >= LONGEST_S:
            self._end_full()
            return
        self._watch_for_gap(chunk)
        clock = self._clock
        begins_s = clock.end_sample / SAMPLE_RATE_HZ  # of the sound that hangs together
        clock.push(len(chunk.samples), chunk.arrival_s)
        self._place(chunk, begins_s)
        self._store(chunk, begins_s)
        self.heard_samples += len(chunk.samples)
        ends_s = begins_s + len(chunk.samples) / SAMPLE_RATE_HZ
        self._last_s = self._timeline.at(begins_s) + ends_s - begins_s
        self.cuts.push(
            HeldSound(
                samples=chunk.samples,
                begins_s=begins_s,
                elapsed_s=begins_s + clock.offset_s,
                timeline=self._timeline if self._settled else None,
                # What comes faster than it was spoken can wait in its pipe.
                can_wait=not self._source.live
                or self._last_s > chunk.arrival_s + STEP_S,
            )
        )

    def _end_full(self) -> None:
        """End a session as long as a recording may be, and leave what still comes."""
        if not self._full:
            self._full = True
            self._source.stop()
            said = (
                f"{LONGEST_S / 3600:.0f} h of sound are kept, as long as one recording "
                "may be: listening has ended; start it again to go on"
            )
            self.cuts.tell(lambda: self._on_full(said))

    # --- where sound is put --------------------------------------------------

    def _place(self, chunk: Chunk, begins_s: float) -> None:
        """Bring the timeline up to a chunk."""
        offset_s = max(self._clock.offset_s, self._earliest_s)
        if not self._timeline.steps:
            self._first_arrival_s = chunk.arrival_s
            self._timeline = self._timeline.step(0.0, offset_s)
            self._settled = not self._source.live
            return
        if not self._settled:
            waited_s = chunk.arrival_s - self._first_arrival_s
            if waited_s >= SETTLE_S or begins_s >= SETTLE_SOUND_S:
                self._settle(begins_s)
            return
        if abs(drift := self._clock.drift_s()) > abs(self.worst_drift_s):
            self.worst_drift_s = drift
        if self._clock.offset_s - self._timeline.offset_s > MISSING_S:
            self._end_piece()  # what follows is put where it belongs

    def _settle(self, begins_s: float) -> None:
        """Fix where the first sound lies, which may have waited in a pipe or a card.

        It is kept from its first chunk on, under the second at which that came. What
        came more promptly after it tells how old it was; then its piece is moved to its
        place. No stretch is handed on before, so that no note can lie beside its sound.
        """
        self._settled = True
        came_s = self._timeline.offset_s
        offset_s = max(self._clock.offset_s, self._earliest_s)
        if came_s - offset_s <= MISPLACED_S:
            return
        self._timeline = Timeline().step(0.0, offset_s)
        if self._keeper.writing and begins_s > 0:
            moved_s = self._piece_s - (came_s - offset_s)
            self._keeper.end(moved_to_s=max(0.0, moved_s))
            self._try_disk_s = -math.inf

    def _correct(self, begins_s: float) -> None:
        """Follow the clock where a piece begins.

        Silence fills what is missing. Of sound that a card running fast made too much
        of, little is cut off at a time; more than a card can be off is no card's doing
        (a stream that comes faster than it was spoken), and stays as it is.
        """
        ahead_s = self._timeline.offset_s - self._clock.offset_s
        if ahead_s > STEP_S:
            return
        back_s = min(ahead_s, BACK_MOST_S, CARD_OFF * begins_s)
        offset_s = self._timeline.offset_s - back_s
        if self._settled and offset_s != self._timeline.offset_s:
            self._timeline = self._timeline.step(begins_s, offset_s)

    def _end_piece(self) -> None:
        self._keeper.end()
        self._try_disk_s = -math.inf

    def _store(self, chunk: Chunk, begins_s: float) -> None:
        """Keep sound on disk, in pieces that end where nobody speaks."""
        keeper = self._keeper
        start_s = self._timeline.at(begins_s)
        age_s = start_s - self._piece_s
        if keeper.writing and (
            age_s > PIECE_MOST_S or (age_s > PIECE_S and not self.cuts.in_speech)
        ):
            self._end_piece()
        if not keeper.writing and start_s >= self._try_disk_s:
            if begins_s:
                self._correct(begins_s)
            start_s = max(0.0, self._timeline.at(begins_s))
            self._piece_s, self._try_disk_s = start_s, start_s + DISK_RETRY_S
            if keeper.begin(start_s):
                drift_s = self._clock.drift_s()
                self.cuts.tell(lambda: self._on_piece(start_s, drift_s))
        if keeper.writing and not keeper.write(chunk.samples):
            keeper.end()  # a minute of it waits in memory already: a hole follows
            self._try_disk_s = start_s + DISK_RETRY_S

    # --- what is missing -----------------------------------------------------

    def _watch_for_gap(self, chunk: Chunk) -> None:
        length_s = len(chunk.samples) / SAMPLE_RATE_HZ
        why = chunk.lost
        moved = self._watch.wall_moved_s() if self._source.live else 0.0
        if moved > GAP_S and self._watch.sleeps_unseen:
            self._watch.take_sleep(moved)
            self._break()
            self._tell_gap(self._last_s + moved, "the computer slept")
            return
        if moved:
            self.cuts.tell(lambda: self._on_clock_set(moved))
        if self._source.live and not why:
            late_s = self._clock.late_s(len(chunk.samples), chunk.arrival_s)
            if late_s > GAP_S:
                why = "the computer slept or stood still"
        if why:
            self._break()
            self._tell_gap(max(chunk.arrival_s - length_s, self._last_s), why)

    def _tell_gap(self, to_s: float, why: str) -> None:
        from_s = self._last_s
        self.cuts.tell(lambda: self._on_gap(from_s, to_s, why))
        self._last_s = self._earliest_s = to_s

    def _break(self) -> None:
        """End what hangs together: sound is missing from here on."""
        if not self._settled:
            self._settle(self._clock.end_sample / SAMPLE_RATE_HZ)
        self.cuts.cut_off(self._timeline)
        self._end_piece()
        self._clock = SampleClock()
        if self.heard_samples:
            self._earliest_s = self._last_s
        self._timeline = Timeline()
        self._settled = False
