"""What audio hands to speech: blocks of mono 16 kHz samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

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
    sample_rate_hz: int
    channels: int
    container: str  # "WAV", "FLAC", "OGG", "mov,mp4,m4a"
    created: datetime | None  # container metadata; may be naive
