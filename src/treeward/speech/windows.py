"""Cuts a stream into windows short enough to decode, where it is quietest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ, Block

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

LONGEST_S = 12.0  # longer windows decode no better and hold results back
SHORTEST_S = 4.0  # the level is looked at from here on; a guess
_PAUSE_S = 0.5  # a pause this long is preferred to a short dip
_FRAME = 160  # samples, 10 ms


def cut_windows(blocks: Iterable[Block]) -> Iterator[Block]:
    """Join blocks and cut them again at the quietest half second of each stretch.

    Parameters
    ----------
    blocks
        Sound in order. Blocks need not touch; a gap ends a window.

    Yields
    ------
    Block
        At most LONGEST_S long; together they hold every sample once.
    """
    longest = int(LONGEST_S * SAMPLE_RATE_HZ)
    held: list[NDArray[np.float32]] = []
    start_s, count = 0.0, 0
    for block in blocks:
        if count and abs(block.start_s - (start_s + count / SAMPLE_RATE_HZ)) > 0.01:
            yield Block(start_s=start_s, samples=np.concatenate(held))
            held, count = [], 0
        if not count:
            start_s = block.start_s
        held.append(block.samples)
        count += len(block.samples)
        while count > longest:
            joined = np.concatenate(held)
            cut = _quietest(joined[:longest])
            yield Block(start_s=start_s, samples=joined[:cut])
            held, count = [joined[cut:]], count - cut
            start_s += cut / SAMPLE_RATE_HZ
    if count:
        yield Block(start_s=start_s, samples=np.concatenate(held))


def _quietest(samples: NDArray[np.float32]) -> int:
    """Return the sample in the middle of the quietest stretch, late ones preferred."""
    frames = len(samples) // _FRAME
    power = np.square(samples[: frames * _FRAME], dtype=np.float64)
    level = np.log10(power.reshape(frames, _FRAME).mean(axis=1) + 1e-10)
    width = int(_PAUSE_S * SAMPLE_RATE_HZ / _FRAME)
    mean = np.convolve(level, np.ones(width) / width, "same")
    first = int(SHORTEST_S * SAMPLE_RATE_HZ / _FRAME)
    inside = mean[first : frames - width // 2]
    return (first + int(np.argmin(inside))) * _FRAME
