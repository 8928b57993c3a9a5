"""Cuts running sound into stretches with speech in them, soon after each ends.

Speech is told from the level between the deepest voice and the sharpest consonant
against a floor that follows the surroundings; PocketSphinx's own endpointer clips
and merges short notes.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from treeward.audio.records import SAMPLE_RATE_HZ, Block
from treeward.speech.level_frames import FRAME, SILENCE_DB, LevelFrames

QUIET_S = 0.45  # quiet that ends a stretch: longer than a pause inside a note
BEFORE_S = 0.25  # kept before the first frame of speech, for weak consonants
AFTER_S = 0.2  # and after the last
SHORTEST_S = 0.12  # of speech in a stretch; a click is shorter
LONGEST_S = 12.0  # a stretch is closed then, speech or not
RISE_DB = 10.0  # over the floor begins speech; guess
FALL_DB = 7.0  # and below this over the floor it ends; guess
BEGIN_FRAMES = 5  # of the last eight that must be over, to begin
_FLOOR_S = 6.0  # the floor is the lowest level of this long, and rises no faster
_SMOOTHING = 0.2  # of the level from frame to frame
_FLOOR_STEPS = 16

Samples = NDArray[np.float32]


class Endpointer:
    """Push sound in, take closed stretches out.

    Parameters
    ----------
    start_s
        Second of the recording at which the first sample lies.
    quiet_s
        Quiet that ends a stretch, in seconds.
    """

    def __init__(self, *, start_s: float = 0.0, quiet_s: float = QUIET_S) -> None:
        self._start_s = start_s
        self._quiet_frames = int(quiet_s / 0.01)
        self._frames = LevelFrames()
        self._done = 0  # frames taken in
        self._level: float | None = None
        self._floor = _Floor()
        self._recent: deque[bool] = deque(maxlen=8)
        self._kept: deque[Samples] = deque(maxlen=int(BEFORE_S / 0.01) + 8)
        self._open: list[Samples] = []
        self._levels: list[float] = []
        self._first = 0  # frame at which the open stretch begins
        self._quiet = 0  # frames of quiet at its end
        self._speech = 0  # frames of speech in it

    @property
    def in_speech(self) -> bool:
        """Whether somebody is speaking now."""
        return bool(self._open)

    def push(self, samples: Samples) -> list[Block]:
        """Take sound that follows on; return the stretches that closed with it."""
        closed: list[Block] = []
        for frame, level_db in self._frames.push(samples):
            closed += self._frame(frame, level_db)
        return closed

    def flush(self) -> list[Block]:
        """Close what is still open, at the end of the sound."""
        return self._close(len(self._open)) if self._open else []

    def _frame(self, frame: Samples, level_db: float) -> list[Block]:
        level = level_db if self._level is None else self._level
        level += _SMOOTHING * (level_db - level)
        self._level = level
        floor = self._floor.track(level)
        self._done += 1
        if not self._open:
            self._kept.append(frame)
            self._recent.append(level > max(floor + RISE_DB, SILENCE_DB))
            if sum(self._recent) >= BEGIN_FRAMES:
                self._open = list(self._kept)
                self._levels = [level_db] * len(self._open)
                self._first = self._done - len(self._open)
                self._quiet, self._speech = 0, BEGIN_FRAMES
                self._recent.clear()
            return []
        self._open.append(frame)
        self._levels.append(level_db)
        if level > max(floor + FALL_DB, SILENCE_DB):
            self._speech += 1
            self._quiet = 0
        else:
            self._quiet += 1
        if self._quiet >= self._quiet_frames:
            return self._close(len(self._open) - self._quiet + int(AFTER_S / 0.01))
        if len(self._open) >= LONGEST_S / 0.01:
            half = len(self._levels) // 2
            smooth = np.convolve(self._levels[half:], np.ones(20) / 20, "same")
            return self._close(half + int(np.argmin(smooth)), goes_on=True)
        return []

    def _close(self, count: int, *, goes_on: bool = False) -> list[Block]:
        frames, rest = self._open[:count], self._open[count:]
        start_s = self._start_s + self._first * FRAME / SAMPLE_RATE_HZ
        enough = self._speech >= SHORTEST_S / 0.01
        if goes_on:
            self._open = rest
            self._levels = self._levels[count:]
            self._first += count
        else:
            self._open = []
            self._kept.clear()
            self._kept.extend(rest[-(self._kept.maxlen or 0) :])
        if not enough or not frames:
            return []
        return [Block(start_s=start_s, samples=np.concatenate(frames))]


class _Floor:
    """The lowest level of the last seconds, kept in a few parts."""

    def __init__(self) -> None:
        self._parts: deque[float] = deque(maxlen=_FLOOR_STEPS)
        self._lowest = float("inf")
        self._count = 0
        self._size = int(_FLOOR_S / 0.01 / _FLOOR_STEPS)

    def track(self, level_db: float) -> float:
        self._lowest = min(self._lowest, level_db)
        self._count += 1
        if self._count >= self._size:
            self._parts.append(self._lowest)
            self._lowest, self._count = level_db, 0
        return min(self._lowest, *self._parts) if self._parts else self._lowest
