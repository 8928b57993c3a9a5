"""A voice that hums instead of speaking, so that tests need no synthesis."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.simulate.sound import tidy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from treeward.simulate.sound import Voice


class ToneVoice:
    """A third of a second of tone for each word."""

    name = "tone"

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        """Hum `text`."""
        length = round(0.3 * rate_hz) * len(text.split())
        pitch_hz = 300 + seed % 200
        return tidy(np.sin(2 * np.pi * pitch_hz * np.arange(length) / rate_hz))


@pytest.fixture(scope="session")
def hum() -> Voice:
    """Return a voice that hums."""
    return ToneVoice()
