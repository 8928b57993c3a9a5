"""Where a phrase ends, in wind and water, soon enough to answer.

Speech stands out from the middle level of the last seconds by more than the
background's own swing. A phrase is over when most of the last frames do not stand out:
a single gust among them does not hold the answer up. Nor do gusts and bees that go on:
what is far softer than the phrase's own loudest part ends it too. Measured against
speech.endpoint's way, which waits for a level near the lowest of the last seconds and
so goes on for seconds in wind (tests/benchmarks/live/latency.py).
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from treeward.audio.records import SAMPLE_RATE_HZ, Block
from treeward.speech.level_frames import FRAME, SILENCE_DB, LevelFrames

QUIET_FRAMES = 40  # the last 0.4 s decide whether a phrase is over; measured
QUIET_SHARE = 0.85  # of them that must not stand out; measured
BEFORE_FRAMES = 33  # kept before the first frame that stands out
AFTER_FRAMES = 28  # and after the last: the softest end of a word
BEGIN_FRAMES = 5  # of the last eight must stand out, to begin
LONGEST_FRAMES = 800  # 8 s: nobody speaks a note that long
RISE_DB = 7.0  # speech begins this far over the middle level; guess
FALL_DB = 6.0  # and ends below this; guess
SWING_RISE_DB = 2.0  # over the swing, if that is more
LOUD_FRAMES = 8  # as many are as loud as the phrase's loud part; a click is shorter
DROP_DB = 22.0  # below the loud part nothing is speech of the same mouth; measured
LULL_FRAMES = 90  # without a frame near the loud part end a phrase; measured
LULL_DB = 12.0  # near: a word of the same breath is no softer; guess
LULL_AFTER_FRAMES = 40  # of such a lull are kept
BACKGROUND_FRAMES = 400  # whose middle level is the background's; measured
LEAST_FRAMES = 50  # before anything is known of the background
_LOOK_EVERY = 5  # frames
_SMOOTHING = 0.3

Samples = NDArray[np.float32]


class PhraseEnds:
    """Push running sound in, take phrases out as soon as they end."""

    def __init__(self) -> None:
        self._frames = LevelFrames()
        self._done = 0
        self._level = SILENCE_DB
        self._past: deque[float] = deque(maxlen=BACKGROUND_FRAMES)
        self._begin_db = self._end_db = SILENCE_DB
        self._above: deque[bool] = deque(maxlen=8)
        self._quiet: deque[bool] = deque(maxlen=QUIET_FRAMES)
        self._kept: deque[Samples] = deque(maxlen=BEFORE_FRAMES)
        self._open: list[Samples] = []
        self._open_db: list[float] = []  # levels of the open phrase
        self._loud_db = -np.inf  # of its loud part
        self._lull = 0  # frames since one near it

    @property
    def in_speech(self) -> bool:
        """Whether somebody is speaking now."""
        return bool(self._open)

    def push(self, samples: Samples) -> list[Block]:
        """Take sound that follows on; return the phrases that ended with it."""
        ended: list[Block] = []
        for frame, level_db in self._frames.push(samples):
            ended += self._frame(frame, level_db)
        return ended

    def flush(self) -> list[Block]:
        """End what is still open, at the end of the sound."""
        return self._end(len(self._open)) if self._open else []

    def _frame(self, frame: Samples, level_db: float) -> list[Block]:
        self._level += _SMOOTHING * (level_db - self._level)
        # Speech is no background, or notes said one after the other would become it.
        speech = bool(self._open) and self._level > self._begin_db
        (self._open_db if speech else self._past).append(self._level)
        if self._done % _LOOK_EVERY == 0:
            self._look()
        self._done += 1
        if not self._open:
            self._kept.append(frame)
            known = len(self._past) >= LEAST_FRAMES
            self._above.append(known and self._level > self._begin_db)
            if sum(self._above) >= BEGIN_FRAMES:
                self._open = list(self._kept)
                self._above.clear()
                self._quiet.clear()
                self._loud_db, self._lull = -np.inf, 0
            return []
        self._open.append(frame)
        self._quiet.append(self._level <= max(self._end_db, self._loud_db - DROP_DB))
        self._lull = 0 if self._level > self._loud_db - LULL_DB else self._lull + 1
        enough = len(self._quiet) == QUIET_FRAMES
        if enough and sum(self._quiet) >= QUIET_SHARE * QUIET_FRAMES:
            return self._end(len(self._open) - QUIET_FRAMES + AFTER_FRAMES)
        if self._lull >= LULL_FRAMES:
            return self._end(len(self._open) - LULL_FRAMES + LULL_AFTER_FRAMES)
        if len(self._open) >= LONGEST_FRAMES:
            self._past.extend(self._open_db)  # too long for a note: noise has grown
            return self._end(len(self._open))
        return []

    def _look(self) -> None:
        """Set the levels at which speech begins and ends, from the last seconds."""
        middle, low = np.quantile(self._past, (0.5, 0.2))
        swing = float(middle - low)
        begin = float(middle) + max(RISE_DB, swing + SWING_RISE_DB)
        self._begin_db = max(begin, SILENCE_DB)
        self._end_db = max(float(middle) + max(FALL_DB, swing), SILENCE_DB)
        if len(self._open_db) >= LOUD_FRAMES:
            loudest = np.partition(self._open_db, -LOUD_FRAMES)
            self._loud_db = float(loudest[-LOUD_FRAMES])

    def _end(self, count: int) -> list[Block]:
        frames, rest = self._open[:count], self._open[count:]
        first = self._done - len(self._open)
        self._open = []
        self._open_db = []
        self._kept.clear()
        self._kept.extend(rest[-BEFORE_FRAMES:])
        start_s = first * FRAME / SAMPLE_RATE_HZ
        return [Block(start_s=start_s, samples=np.concatenate(frames))]
