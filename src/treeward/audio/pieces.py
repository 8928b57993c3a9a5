"""A long recording is heard in pieces, which may be heard at the same time.

The cuts depend on the sound alone, and an engine hears each stretch by itself, so that
the same is heard however many work at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from treeward.errors import SoundError

    from .blocks import Block

LONGEST_S = 1800.0  # so that two processes have work on an hour; choice
LOOK_S = 20.0  # before and after an even cut, for a pause to cut in; guess
_PAUSE_S = 1.0  # the quietest second is cut in its middle
_STEP_S = 0.05
# Where the place of a sample is known without decoding all before it. Elsewhere (bare
# AAC, AMR) a jump is a guess from the bit rate, and the times would be wrong.
JUMPS_EXACTLY = frozenset(
    {
        "WAV", "WAVEX", "W64", "RF64", "FLAC", "AIFF", "CAF", "AU", "OGG", "MP3",
        "mov,mp4,m4a,3gp,3g2,mj2", "matroska,webm",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A stretch of a recording that is heard by itself; seconds of the recording."""

    number: int
    start_s: float
    end_s: float | None  # None: to the end, wherever that is

    def length_s(self, total_s: float | None) -> float:
        """Give its length; 0 where that is not known."""
        end_s = self.end_s if self.end_s is not None else total_s
        return max((end_s or 0.0) - self.start_s, 0.0)


WHOLE = Piece(number=0, start_s=0.0, end_s=None)


def pieces_of(
    path: Path,
    *,
    duration_s: float | None,
    container: str,
    longest_s: float = LONGEST_S,
) -> tuple[Piece, ...]:
    """Cut a recording into even pieces, each cut moved to a pause beside it.

    Parameters
    ----------
    path
        The recording.
    duration_s, container
        What `treeward.audio.reader.probe` says of it.
    longest_s
        Length above which a recording is cut, in seconds.

    Raises
    ------
    SoundError
        The recording cannot be read.
    """
    from .reader import read_blocks

    if container not in JUMPS_EXACTLY or not duration_s or duration_s <= longest_s:
        return (WHOLE,)
    count = math.ceil(duration_s / longest_s)
    look_s = min(LOOK_S, duration_s / count / 4)
    cuts = [0.0]
    for number in range(1, count):
        low_s = number * duration_s / count - look_s
        blocks = []
        for block in read_blocks(path, start_s=low_s, warn=lambda _: None):
            blocks.append(block)
            if block.end_s >= low_s + 2 * look_s:
                break
        if not blocks:
            break  # the recording is cut off before here
        cuts.append(round(low_s + _quietest_s(blocks), 2))
    ends = [*cuts[1:], None]
    return tuple(
        Piece(number=number, start_s=start_s, end_s=end_s)
        for number, (start_s, end_s) in enumerate(zip(cuts, ends, strict=True))
    )


def read_piece(
    path: Path, piece: Piece, *, from_s: float, warn: Callable[[SoundError], None]
) -> Iterator[Block]:
    """Read the blocks of a piece from `from_s` on, a second of the recording."""
    from .blocks import SAMPLE_RATE_HZ, Block
    from .reader import read_blocks

    for block in read_blocks(path, start_s=from_s, warn=warn):
        if piece.end_s is None or block.end_s < piece.end_s:
            yield block
            continue
        count = round((piece.end_s - block.start_s) * SAMPLE_RATE_HZ)
        if count > 0:
            yield Block(start_s=block.start_s, samples=block.samples[:count])
        return


def _quietest_s(blocks: list[Block]) -> float:
    """Give the middle of the quietest second of blocks, from the first one's start."""
    import numpy as np

    from .blocks import SAMPLE_RATE_HZ

    sound = np.concatenate([block.samples for block in blocks])
    step = int(_STEP_S * SAMPLE_RATE_HZ)
    steps = len(sound) // step
    width = int(_PAUSE_S / _STEP_S)
    if steps <= width:
        return 0.0
    power = np.square(sound[: steps * step], dtype=np.float64)
    level = np.log10(power.reshape(steps, step).mean(axis=1) + 1e-10)
    mean = np.convolve(level, np.ones(width) / width, "valid")
    return float(int(np.argmin(mean)) + width / 2) * _STEP_S
