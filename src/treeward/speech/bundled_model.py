"""Word pairs and their likelihoods out of the language model in PocketSphinx's wheel.

PocketSphinx can use that model but neither write it out as text nor mix it with
another, so its file is read here. The layout is that of PocketSphinx 5
(src/lm/ngram_model_trie.c, lm_trie.c, lm_trie_quant.c, bitarr.c): a header, the
number of n-grams of each order, tables of quantised values, single words as
(log probability, log back-off, first pair), then pairs packed bit by bit in the
order of their LAST word, each (first word, back-off, probability, first triple).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from treeward.errors import SpeechError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

LOG_BASE = 1.0001  # of every log in the file (src/util/logmath.c)
_HEADER = b"Trie Language Model"
_QUANT_BITS = 16  # src/lm/lm_trie_quant.c
_UNIGRAM = np.dtype([("prob", "<f4"), ("backoff", "<f4"), ("next", "<u4")])


@dataclass(frozen=True, slots=True, kw_only=True)
class BundledModel:
    """Single words and word pairs; all likelihoods are natural logarithms."""

    words: tuple[str, ...]
    log_prob: NDArray[np.float64]  # (V,)
    log_backoff: NDArray[np.float64]  # (V,)
    pair_first: NDArray[np.int32]  # (P,) index of the earlier word
    pair_second: NDArray[np.int32]  # (P,)
    pair_log_prob: NDArray[np.float64]  # (P,) of the second, given the first


def read_bundled_model(path: Path) -> BundledModel:
    """Read words and pairs of a language model in PocketSphinx's binary form.

    Parameters
    ----------
    path
        `en-us.lm.bin` of the wheel, or another of the same kind with triples.

    Raises
    ------
    SpeechError
        The file is of another kind, or cut off.
    """
    data = path.read_bytes()
    try:
        return _parse(data)
    except (struct.error, ValueError, IndexError) as error:
        raise SpeechError(
            f"is not a language model that can be read ({error})",
            where=str(path),
            mend="Install it again: pip install --force-reinstall pocketsphinx",
        ) from error


def _parse(data: bytes) -> BundledModel:
    if not data.startswith(_HEADER):
        msg = "unknown header"
        raise ValueError(msg)
    at = len(_HEADER)
    order = data[at]
    if order != 3:
        msg = f"order {order} instead of 3"
        raise ValueError(msg)
    counts = struct.unpack_from(f"<{order}I", data, at + 1)
    at += 1 + 4 * order + 4  # the last four bytes once told the quantisation
    bins = 1 << _QUANT_BITS
    pair_bins = np.frombuffer(data, "<f4", bins, at)
    at += 4 * bins * (2 * (order - 2) + 1)
    single = np.frombuffer(data, _UNIGRAM, counts[0] + 1, at)
    at += single.nbytes
    word_bits = counts[0].bit_length()
    pair_bits = word_bits + 2 * _QUANT_BITS + counts[2].bit_length()
    pair_bytes = ((1 + counts[1]) * pair_bits + 7) // 8 + 8
    packed = np.frombuffer(data, np.uint8, pair_bytes, at)
    at += pair_bytes
    at += ((1 + counts[2]) * (word_bits + _QUANT_BITS) + 7) // 8 + 8
    (text_bytes,) = struct.unpack_from("<I", data, at)
    words = data[at + 4 : at + 4 + text_bytes].decode().split("\0")[:-1]
    if len(words) != counts[0]:
        msg = f"{len(words)} words instead of {counts[0]}"
        raise ValueError(msg)

    bounds = single["next"].astype(np.int64)
    numbers = np.arange(bounds[0], bounds[-1], dtype=np.int64)
    offsets = numbers * pair_bits
    first = _bits(packed, offsets, word_bits)
    quantised = _bits(packed, offsets + word_bits + _QUANT_BITS, _QUANT_BITS)
    second = np.repeat(np.arange(counts[0], dtype=np.int32), np.diff(bounds))
    unit = np.log(LOG_BASE)
    return BundledModel(
        words=tuple(words),
        log_prob=single["prob"][:-1].astype(np.float64) * unit,
        log_backoff=single["backoff"][:-1].astype(np.float64) * unit,
        pair_first=first.astype(np.int32),
        pair_second=second,
        pair_log_prob=pair_bins[quantised].astype(np.float64) * unit,
    )


def _bits(
    packed: NDArray[np.uint8], offsets: NDArray[np.int64], width: int
) -> NDArray[np.int64]:
    """Take `width` (at most 25) bits at each bit offset, lowest bit first."""
    value = np.zeros(len(offsets), np.int64)
    for byte in range(4):
        value |= packed[(offsets >> 3) + byte].astype(np.int64) << (8 * byte)
    return (value >> (offsets & 7)) & ((1 << width) - 1)
