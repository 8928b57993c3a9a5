"""Kept sound cut into stretches for the recognizer, in a thread of its own.

What the disk's thread has to tell goes the same way, in order, so that it never waits
for the journal.
"""

from __future__ import annotations

import queue
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.audio.blocks import SAMPLE_RATE_HZ, Block

from .level import LevelMeter

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from .ears import Ears
    from .gate import Gate
    from .watch_clock import Timeline

HELD_STRETCHES = 64  # waiting to be recognised
HELD_CHUNKS = 600  # a minute of sound that waits to be cut
LONGEST_S = 9.2  # of a stretch: speech.segments.LONGEST_S and sound around it


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """A chunk of sound that was given to the disk.

    `begins_s` counts from the beginning of what hangs together, `elapsed_s` is when its
    first sample was heard, as far as is known by then. `timeline` gives its place in
    the recording; None while that is not known yet.
    """

    samples: NDArray[np.float32]
    begins_s: float
    elapsed_s: float
    timeline: Timeline | None
    can_wait: bool  # its source can be told to wait

    @property
    def ends_s(self) -> float:
        """Second of what hangs together at which it ends."""
        return self.begins_s + len(self.samples) / SAMPLE_RATE_HZ


@dataclass(frozen=True, slots=True)
class _CutOff:
    """What hangs together ends here."""

    timeline: Timeline


class Cuts:
    """Cuts what is pushed, from `run`'s thread.

    Parameters
    ----------
    ears
        What cleans and cuts.
    gate
        Mutes our own answers; None where nothing is heard of them.
    on_unheard
        Told of seconds of the recording that were left to the second pass.
    paced
        False for a rehearsal as fast as it goes.
    """

    def __init__(
        self,
        ears: Ears,
        gate: Gate | None,
        *,
        on_unheard: Callable[[float, float], None],
        paced: bool,
    ) -> None:
        self._ears = ears
        self._gate = gate
        self._on_unheard = on_unheard
        self._items: queue.Queue[Sound | _CutOff | Callable[[], None] | None] = (
            queue.Queue()
        )
        self.stretches: queue.Queue[Block | None] = queue.Queue(
            HELD_STRETCHES if paced else 1
        )
        self._cutter = ears.make_segmenter()
        self._begins_s: float | None = None  # second at which the cutter began
        self._reached_s = 0.0
        self._can_wait = False
        self._waiting: list[Block] = []  # stretches whose place is not known yet
        self.meter = LevelMeter()
        self.fault = ""

    @property
    def in_speech(self) -> bool:
        """Whether somebody is speaking now."""
        return self._cutter.in_speech

    # --- from the disk's thread ----------------------------------------------

    def push(self, sound: Sound) -> None:
        """Take a chunk; returns at once where its source cannot wait."""
        if not sound.can_wait and self._items.qsize() >= HELD_CHUNKS:
            return  # `_take` sees that it is missing
        self._items.put(sound)
        if sound.can_wait:
            self._items.join()

    def place(self, timeline: Timeline) -> None:
        """Hand on what waits for its place."""
        self.tell(lambda: self._pass_on(timeline))

    def cut_off(self, timeline: Timeline) -> None:
        """End what hangs together; `timeline` holds its places."""
        self._items.put(_CutOff(timeline))

    def tell(self, call: Callable[[], None]) -> None:
        """Have something told from the cutter's thread, in its turn."""
        self._items.put(call)

    def end(self) -> None:
        """End `run` after what is waiting."""
        self._items.put(None)

    # --- the cutter's thread -------------------------------------------------

    def run(self) -> None:
        """Cut until `end`."""
        try:
            while (item := self._items.get()) is not None:
                try:
                    self._do(item)
                except Exception as error:  # noqa: BLE001 (sound is kept, and the session goes on)
                    self._give_up(error, item)
                finally:
                    self._items.task_done()
        finally:
            self.stretches.put(None)

    def _do(self, item: Sound | _CutOff | Callable[[], None]) -> None:
        match item:
            case Sound():
                self._take(item)
            case _CutOff():
                self._flush(item.timeline)
                self._reached_s = 0.0
            case _:
                item()

    def _take(self, sound: Sound) -> None:
        if sound.begins_s > self._reached_s + 1e-6 and sound.timeline is not None:
            self._flush(sound.timeline)
            at = sound.timeline.at
            self._on_unheard(at(self._reached_s), at(sound.begins_s))
        self._reached_s = sound.ends_s
        self._can_wait = sound.can_wait
        self.meter.push(sound.samples)
        samples = sound.samples
        if self._gate is not None:
            samples = self._gate.mute(samples, sound.elapsed_s)
        if self._begins_s is None:
            self._begins_s = sound.begins_s
        self._waiting += self._in_place(self._cutter.push(samples))
        if sound.timeline is not None:
            self._pass_on(sound.timeline)

    def _give_up(self, error: Exception, item: object) -> None:
        """Begin afresh after a fault of ours; the second pass hears what was lost."""
        self.fault = f"some sound is kept but was not heard ({type(error).__name__})"
        began_s = self._begins_s
        self._cutter, self._begins_s = self._ears.make_segmenter(), None
        if isinstance(item, Sound) and item.timeline is not None:
            from_s = item.begins_s - LONGEST_S if began_s is None else began_s
            at = item.timeline.at
            self._on_unheard(
                at(max(from_s, item.begins_s - LONGEST_S, 0.0)), at(item.ends_s)
            )

    def _in_place(self, blocks: Sequence[Block]) -> list[Block]:
        """Count stretches from the beginning of what hangs together."""
        began_s = self._begins_s or 0.0
        return [replace(b, start_s=b.start_s + began_s) for b in blocks]

    def _flush(self, timeline: Timeline) -> None:
        if self._begins_s is not None:
            self._waiting += self._in_place(self._cutter.flush())
            self._cutter, self._begins_s = self._ears.make_segmenter(), None
        self._pass_on(timeline)

    def _pass_on(self, timeline: Timeline) -> None:
        """Hand stretches to the recognizer, in seconds of the recording."""
        for cut in self._waiting:
            block = replace(cut, start_s=timeline.at(cut.start_s))
            if self._can_wait:
                self.stretches.put(block)
                continue
            try:
                self.stretches.put_nowait(block)
            except queue.Full:
                self._on_unheard(block.start_s, block.end_s)
        self._waiting.clear()
