"""The bundled acoustic model's own sound classes, as targets for training the map.

Read from the files in the PocketSphinx wheel: `means` and `variances` of 42 codebooks
(one for each phone), three streams (cepstra, their slope and curvature), 128 Gaussians
each of 13 numbers, and from `sendump` the weights of the three states of each phone.
The layout is that of PocketSphinx's ms_gauden.c and ptm_mgau.c.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pocketsphinx

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Numbers = NDArray[np.float32]

STATES = 3  # of each phone without regard to its neighbours; they come first
LEAST_VARIANCE = 1e-4  # PocketSphinx's varfloor
LEAST_WEIGHT = 1e-7  # PocketSphinx's mixwfloor
_WEIGHT_STEP = (1 << 10) * np.log(1.0001)  # of a stored weight, in nats
_END = b"endhdr\n"
_ORDER = 0x11223344


@dataclass(frozen=True, slots=True, kw_only=True)
class AcousticClasses:
    """Gaussians and weights, in streams x codebooks x Gaussians x ...."""

    means: Numbers  # (3, 42, 128, 13)
    variances: Numbers  # the same
    log_weights: Numbers  # (3, 42, 3 states, 128), nats


def bundled() -> AcousticClasses:
    """Read the model in the PocketSphinx wheel."""
    folder = Path(pocketsphinx.get_model_path("en-us/en-us"))
    means, variances = (_gaussians(folder / name) for name in ("means", "variances"))
    streams, books, gaussians = means.shape[:3]
    ids = _stored_weights(folder / "sendump", streams, gaussians)
    own = ids[:, :, : books * STATES].astype(np.float32)
    log_weights = -own.reshape(streams, gaussians, books, STATES) * _WEIGHT_STEP
    return AcousticClasses(
        means=means,
        variances=np.maximum(variances, LEAST_VARIANCE),
        log_weights=np.maximum(
            log_weights.transpose(0, 2, 3, 1), np.log(LEAST_WEIGHT)
        ).astype(np.float32),
    )


def _gaussians(path: Path) -> Numbers:
    raw = path.read_bytes()
    at = raw.index(_END) + len(_END)
    order, books, streams, gaussians = struct.unpack_from("<4i", raw, at)
    if order != _ORDER:
        raise ValueError(f"{path}: not in the byte order of this machine")
    at += 16 + 4 * streams  # lengths of the streams, all alike
    (count,) = struct.unpack_from("<i", raw, at)
    values = np.frombuffer(raw, "<f4", count, at + 4)
    return values.reshape(books, streams, gaussians, -1).transpose(1, 0, 2, 3).copy()


def _stored_weights(path: Path, streams: int, gaussians: int) -> NDArray[np.uint8]:
    raw = path.read_bytes()
    at = 0
    while True:
        (length,) = struct.unpack_from("<i", raw, at)
        at += 4
        if length == 0:
            break
        at += length
    rows, states = struct.unpack_from("<2i", raw, at)
    if rows != gaussians:
        raise ValueError(f"{path}: {rows} weights for {gaussians} Gaussians")
    left = np.frombuffer(raw, np.uint8, streams * gaussians * states, at + 8)
    return left.reshape(streams, gaussians, states)
