"""What every reader of recordings does with samples, and says of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from treeward.errors import SoundError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    Chunks = Iterator[NDArray[np.float32]]

MOST_CHANNELS = 64  # more is not a sound recording
LEAST_RATE_HZ = 4000  # telephones sample 8000 times a second; less is no speech; choice
MOST_RATE_HZ = 768_000  # the fastest recorders for sound; more is a spoilt header
READ_S = 1.0  # libsndfile and memory are both content with a second at a time
MEND_COPY = "Copy it from the recorder again, or convert it to WAV"


def plausible(rate_hz: int, channels: int) -> bool:
    """Tell whether a recorder may have made this."""
    return LEAST_RATE_HZ <= rate_hz <= MOST_RATE_HZ and 0 < channels <= MOST_CHANNELS


def mono(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    """Mix (samples, channels) into one channel in [-1, 1], whatever floats they are."""
    finite = np.nan_to_num(rows, nan=0.0, posinf=1.0, neginf=-1.0)
    if finite.shape[1] == 1:
        mixed = finite[:, 0]
    else:  # in double precision: two samples at a float's end would add up to infinity
        mixed = finite.mean(axis=1, dtype=np.float64)
    return np.asarray(np.clip(mixed, -1, 1), np.float32)


def cut_off(path: Path, at_s: float, why: str) -> SoundError:
    """Say that a recording ends at a second, and why that is known."""
    return SoundError(
        f"is cut off after {at_s:.1f} s ({why.strip().rstrip('.')})",
        where=str(path),
        mend="What is there was used; copy it again if there should be more",
    )
