"""The network: a language model's layers, and what they say of bees and numbers.

The layers are those of all-MiniLM-L6-v2 (Wang et al. 2020, MiniLM, arXiv:2002.10957;
Apache 2.0), the last of them and what stands on them trained on labelled days of talk;
see models/README.md. Everything is computed in NumPy.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from treeward.files import free_speech_path
from treeward.language.kinds import EventKind

from .bees import MOST_BEES
from .inputs import LINE_KINDS, WordPieces
from .lines import MOST_NUMBERS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    F32 = NDArray[np.floating]

HEADS = 12  # of attention; Wang et al. (2020)
QUERIES = 2  # with which each bee looks at the line
NO = np.float32(-1e9)  # what may not be looked at


@dataclass(frozen=True, slots=True)
class Outputs:
    """What the network says of a line, as probabilities.

    `deeds` (B, 4): a bee left, came, was painted, is given up. `kinds` (5): pause,
    resume, station, wind, date. `numbers` (N): it is a note. `whose` (N, B + 1): which
    bee's, the last column nobody's. `agos` (N): so long ago she did it. `origins` (N):
    the wind is from there. `strengths` (4): of the wind, as in `STRENGTHS`.
    """

    deeds: F32
    kinds: F32
    numbers: F32
    whose: F32
    agos: F32
    origins: F32
    strengths: F32


@lru_cache(maxsize=1)
def load_network(path: Path | None = None) -> Network:
    """Load the network, the one that ships with Treeward if no other is named.

    It is kept until another is asked for.
    """
    path = path or free_speech_path()
    with np.load(path) as stored:
        weights = {name: stored[name] for name in stored.files}
    return Network(weights)


class Network:
    """The network's weights, and the computing with them."""

    def __init__(self, stored: Mapping[str, NDArray[np.generic]]) -> None:
        words = json.loads(bytes(stored["vocabulary"].astype(np.uint8)).decode())
        self.pieces = WordPieces(words)
        self._w = {
            name: _unpacked(stored, name)
            for name in stored
            if name != "vocabulary" and not name.endswith(".scale")
        }
        self.head = self._part("head.")
        self.layers: list[dict[str, F32]] = []
        while layer := self._part(f"layer.{len(self.layers)}."):
            self.layers.append(layer)

    def _part(self, prefix: str) -> dict[str, F32]:
        """Give the weights whose names begin so, by the rest of their names."""
        return {
            name.removeprefix(prefix): weight
            for name, weight in self._w.items()
            if name.startswith(prefix)
        }

    def read(self, tokens: NDArray[np.int32], segment: NDArray[np.int8]) -> F32:
        """Give the state of each token of each line: (lines, tokens, 384)."""
        w = self._w
        longest = max(1, int((tokens > 0).sum(1).max()))
        tokens, segment = tokens[:, :longest], segment[:, :longest]
        state = _norm(
            w["words"][tokens] + w["places"][:longest], w["norm.g"], w["norm.b"]
        )
        hidden = np.where(tokens > 0, np.float32(0), NO)[:, None, None, :]
        for number, layer in enumerate(self.layers):
            if number == len(self.layers) - int(w["trained"][0]):
                state = state + self.head["segv"][segment.astype(int)]
            state = self._layer(layer, state, hidden)
        return state

    @staticmethod
    def _layer(w: Mapping[str, F32], state: F32, hidden: F32) -> F32:
        lines, tokens, width = state.shape

        def split(x: F32) -> F32:
            parts = x.reshape(lines, tokens, HEADS, width // HEADS)
            return parts.transpose(0, 2, 1, 3)

        query, key = split(state @ w["q"] + w["qb"]), split(state @ w["k"] + w["kb"])
        value = split(state @ w["v"] + w["vb"])
        scale = np.float32((width // HEADS) ** -0.5)
        look = _softmax(query @ key.transpose(0, 1, 3, 2) * scale + hidden)
        seen = (look @ value).transpose(0, 2, 1, 3).reshape(state.shape)
        state = _norm(seen @ w["o"] + w["ob"] + state, w["g1"], w["b1"])
        wide = _gelu(state @ w["f"] + w["fb"])
        return _norm(wide @ w["d"] + w["db"] + state, w["g2"], w["b2"])

    def say(self, state: F32, line: Mapping[str, NDArray[np.generic]]) -> Outputs:
        """Say what a line holds, from its state (tokens, 384) and its inputs."""
        w = self.head
        size = len(state)
        mask = {
            name: np.asarray(line[name])[..., :size].astype(np.float32)
            for name in ("inside", "named", "beside", "pronouns", "at")
        }
        bees, pairs = np.asarray(line["bees"], np.float32), line["pairs"]
        outside = np.where(mask["inside"] > 0, np.float32(0), NO)
        named = _mean(mask["named"], state)
        told = mask["named"].any(-1, keepdims=True)
        named = np.where(told, named, w["nomen"])
        known = np.tanh(bees @ w["sw"] + w["sb"])
        asks = (np.concatenate([named, known], -1) @ w["qw"]).reshape(
            MOST_BEES, QUERIES, -1
        )
        keys = (state @ w["kw"]).reshape(size, QUERIES, -1)
        look = np.einsum("bnd,tnd->bnt", asks, keys) / np.float32(8) + outside
        seen = (_softmax(look) @ state).reshape(MOST_BEES, -1)
        pronoun = _mean(mask["pronouns"][None], state)
        bee = np.concatenate(
            [
                *(named, _mean(mask["beside"], state), seen),
                *(np.repeat(pronoun, MOST_BEES, 0), known),
            ],
            -1,
        )
        bee = _relu(_relu(bee @ w["cw"] + w["cb"]) @ w["c2"] + w["c2b"])
        deeds = bee @ w["co"] + w["cob"]
        of_kind = _softmax(w["lq"] @ state.T + outside) @ state
        kind = _relu(of_kind @ w["lw"] + w["lb"] + np.asarray(line["line"]) @ w["lx"])
        kinds = np.einsum("lz,lzo->l", kind, w["lo"]) + w["lob"]
        strengths = kind[LINE_KINDS.index(EventKind.WIND)] @ w["ws"] + w["wsb"]
        at, whole = _mean(mask["at"], state), _mean(mask["inside"][None], state)
        number = np.concatenate(
            [at, np.repeat(whole, MOST_NUMBERS, 0), np.asarray(line["numbers"])], -1
        )
        number = _relu(number @ w["vw"] + w["vb"])
        pair = np.concatenate(
            [
                np.repeat(number[:, None], MOST_BEES, 1),
                np.repeat(bee[None], MOST_NUMBERS, 0),
                np.asarray(pairs),
            ],
            -1,
        )
        pair = _relu(pair @ w["pw"] + w["pb"])
        alive = bees[:, -1] > 0
        whose = np.where(alive, (pair @ w["po"])[..., 0], NO)
        whose = np.concatenate([whose, number @ w["pn"]], -1)
        best = np.where(alive[None, :, None], pair, 0).max(1)
        numbers = np.concatenate([number, best], -1) @ w["vo"]
        return Outputs(
            deeds=_share(deeds),
            kinds=_share(kinds),
            numbers=_share(numbers[:, 0] + w["vob"]),
            whose=_softmax(whose),
            agos=_share((number @ w["an"])[:, 0] + w["anb"]),
            origins=_share((number @ w["wn"])[:, 0] + w["wnb"]),
            strengths=_softmax(strengths),
        )


def _unpacked(stored: Mapping[str, NDArray[np.generic]], name: str) -> F32:
    """Give a weight that was rounded to a byte, with a scale of its own a column."""
    weight = stored[name]
    if f"{name}.scale" in stored:
        scale = np.asarray(stored[f"{name}.scale"], np.float32)
        return np.asarray(weight, np.float32) * scale
    return np.asarray(weight, np.float32)


def _norm(x: F32, gain: F32, bias: F32) -> F32:
    middle = x - x.mean(-1, keepdims=True)
    spread = np.sqrt((middle**2).mean(-1, keepdims=True) + np.float32(1e-12))
    return np.asarray(middle / spread * gain + bias, np.float32)


def _softmax(x: F32) -> F32:
    weight = np.exp(x - x.max(-1, keepdims=True))
    return np.asarray(weight / weight.sum(-1, keepdims=True), np.float32)


def _gelu(x: F32) -> F32:
    """Hendrycks and Gimpel (2016), arXiv:1606.08415, with the error function."""
    return np.asarray(x * np.float32(0.5) * (1 + _erf(x * np.float32(0.5**0.5))))


def _erf(x: F32) -> F32:
    """Abramowitz and Stegun (1964), 7.1.26: within 1.5e-7."""
    t = 1 / (1 + np.float32(0.3275911) * np.abs(x))
    a = (0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429)
    total = np.zeros_like(x)
    for factor in reversed(a):
        total = (total + np.float32(factor)) * t
    return np.asarray(np.sign(x) * (1 - total * np.exp(-x * x)), np.float32)


def _relu(x: F32) -> F32:
    return np.maximum(x, np.float32(0))


def _share(x: F32) -> F32:
    return np.asarray(1 / (1 + np.exp(-x)), np.float32)


def _mean(mask: F32, state: F32) -> F32:
    """Average the states where the mask is set, zero where it never is."""
    count = np.maximum(mask.sum(-1, keepdims=True), np.float32(1))
    return np.asarray((mask @ state) / count, np.float32)
