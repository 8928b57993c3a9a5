"""What audio hands to speech: blocks of mono 16 kHz samples.

Any rate to 16 kHz, chunk by chunk.

What every reader of recordings does with samples, and says of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from treeward.errors import SoundError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime
    from pathlib import Path

    from numpy.typing import NDArray

    Chunks = Iterator[NDArray[np.float32]]


SAMPLE_RATE_HZ = 16_000  # what both speech engines' models were trained on
LONGEST_S = 1e7  # of a recording, 115 days; what is beyond is a slip; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A stretch of sound: float32 mono samples in [-1, 1] at SAMPLE_RATE_HZ."""

    start_s: float  # seconds from the start of the recording
    samples: NDArray[np.float32]  # shape (n,)
    # Where somebody speaks in it, (start, end) in seconds from its first sample.
    voiced: tuple[tuple[float, float], ...] = ()

    @property
    def end_s(self) -> float:
        """Second at which the block ends."""
        return self.start_s + len(self.samples) / SAMPLE_RATE_HZ

    @property
    def spoken(self) -> tuple[tuple[float, float], ...]:
        """Where somebody speaks; all of it where nobody told."""
        return self.voiced or ((0.0, self.end_s - self.start_s),)


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundInfo:
    """What a recording says of itself."""

    path: Path
    duration_s: float | None  # None where the container does not say
    container: str  # "WAV", "FLAC", "OGG", "mov,mp4,m4a"
    created: datetime | None  # container metadata; may be naive


class Resampler:
    """Changes the rate of a mono stream to 16 kHz with FFmpeg's resampler."""

    def __init__(self, rate_hz: int) -> None:
        if rate_hz <= 0:
            raise ValueError(f"rate_hz must be positive, not {rate_hz}")
        self._rate_hz = rate_hz

    def stream(
        self, chunks: Iterator[NDArray[np.float32]]
    ) -> Iterator[NDArray[np.float32]]:
        """Yield the chunks at 16 kHz; what is held back comes at the end."""
        if self._rate_hz == SAMPLE_RATE_HZ:
            yield from chunks
            return
        import av

        resampler = av.AudioResampler(format="flt", layout="mono", rate=SAMPLE_RATE_HZ)
        for chunk in chunks:
            row = np.ascontiguousarray(chunk, np.float32)[np.newaxis]
            frame = av.AudioFrame.from_ndarray(row, format="flt", layout="mono")
            frame.sample_rate = self._rate_hz
            for out in resampler.resample(frame):
                yield out.to_ndarray()[0]
        for out in resampler.resample(None):
            yield out.to_ndarray()[0]


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
