"""Which moment a sample was heard at: clocks that survive a closed lid.

Three clocks are told apart. The *wall* clock may be set while we listen. The
*elapsed* clock never jumps and, where the system has one that does, goes on while
the machine sleeps. The *sample* clock is the sound card's crystal, some tens of
parts per million off. An event's clock is sample -> elapsed -> wall, so that setting
the wall clock moves nothing, and the crystal's drift is followed.
"""

from __future__ import annotations

import sys
import time
from collections import deque
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

from treeward.audio.blocks import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import tzinfo

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
    anchors: list[tuple[int, float]] = field(default_factory=list)
    _recent: deque[tuple[int, float]] = field(default_factory=deque)
    _end: int = 0

    @property
    def end_sample(self) -> int:
        """Samples seen so far."""
        return self._end

    def late_s(self, samples: int, arrival_s: float) -> float:
        """Return how much later a chunk arrived than the recording lets expect."""
        if not self._recent:
            return 0.0
        return arrival_s - (self._end + samples) / SAMPLE_RATE_HZ - self.offset_s

    @property
    def offset_s(self) -> float:
        """Elapsed second of the recording's first sample, as the clock runs now."""
        if not self._recent:
            return self.first_offset_s or 0.0
        return self._recent[0][1]

    def push(self, samples: int, arrival_s: float) -> None:
        """Take note of a chunk of `samples` whose last one arrived at `arrival_s`."""
        self._end += samples
        offset = arrival_s - self._end / SAMPLE_RATE_HZ
        oldest = self._end - int(OFFSET_WINDOW_S * SAMPLE_RATE_HZ)
        # A falling queue: its head is always the smallest of the window.
        while self._recent and self._recent[-1][1] >= offset:
            self._recent.pop()
        self._recent.append((self._end, offset))
        while self._recent[0][0] < oldest:
            self._recent.popleft()
        if self.first_offset_s is None:
            self.first_offset_s = offset
        elif self._end <= SAMPLE_RATE_HZ * OFFSET_WINDOW_S:
            self.first_offset_s = min(self.first_offset_s, offset)
        self._anchor()

    def _anchor(self) -> None:
        if not self.anchors or self._end - self.anchors[-1][0] >= 60 * SAMPLE_RATE_HZ:
            self.anchors.append((self._end, self._end / SAMPLE_RATE_HZ + self.offset_s))

    def elapsed_at(self, second: float) -> float:
        """Return the elapsed second of a second within this recording."""
        return second + self.offset_s

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
