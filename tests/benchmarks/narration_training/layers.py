"""The network in JAX, for training.

`treeward.notes.trained.network` computes the same.
"""

from __future__ import annotations

import json
import struct
from typing import TYPE_CHECKING, Any

import jax
import jax.numpy as jnp
import numpy as np

from treeward.language.kinds import EventKind
from treeward.notes.trained.bees import MOST_BEES
from treeward.notes.trained.inputs import (
    BEE_FEATURES,
    LINE_FEATURES,
    LINE_KINDS,
    MOST_NUMBERS,
    NUMBER_FEATURES,
    PAIR_FEATURES,
    STRENGTHS,
)
from treeward.notes.trained.network import HEADS, QUERIES

if TYPE_CHECKING:
    from pathlib import Path

Weights = dict[str, Any]

WIDTH, KNOWN, HIDDEN, BEE = 384, 64, 128, 64
LAYER = {
    "q": "attention.self.query.weight",
    "qb": "attention.self.query.bias",
    "k": "attention.self.key.weight",
    "kb": "attention.self.key.bias",
    "v": "attention.self.value.weight",
    "vb": "attention.self.value.bias",
    "o": "attention.output.dense.weight",
    "ob": "attention.output.dense.bias",
    "g1": "attention.output.LayerNorm.weight",
    "b1": "attention.output.LayerNorm.bias",
    "f": "intermediate.dense.weight",
    "fb": "intermediate.dense.bias",
    "d": "output.dense.weight",
    "db": "output.dense.bias",
    "g2": "output.LayerNorm.weight",
    "b2": "output.LayerNorm.bias",
}


def load(path: Path) -> Weights:
    """Read a safetensors file."""
    raw = path.read_bytes()
    size = struct.unpack("<Q", raw[:8])[0]
    found = {}
    for name, about in json.loads(raw[8 : 8 + size]).items():
        if name != "__metadata__" and about["dtype"] == "F32":
            first, last = about["data_offsets"]
            numbers = np.frombuffer(raw[8 + size + first : 8 + size + last], np.float32)
            found[name] = numbers.reshape(about["shape"])
    return found


def layer_of(base: Weights, number: int) -> Weights:
    """Give one layer's weights, matrices to be multiplied from the right."""
    found = {}
    for short, name in LAYER.items():
        weight = base[f"encoder.layer.{number}.{name}"]
        found[short] = weight.T if weight.ndim == 2 else weight
    return found


def norm(x: Any, gain: Any, bias: Any) -> Any:
    middle = x - x.mean(-1, keepdims=True)
    return middle / jnp.sqrt((middle**2).mean(-1, keepdims=True) + 1e-12) * gain + bias


def layer(w: Any, x: Any, mask: Any) -> Any:
    lines, tokens, width = x.shape

    def split(a: Any) -> Any:
        return a.reshape(lines, tokens, HEADS, width // HEADS).transpose(0, 2, 1, 3)

    q, k = split(x @ w["q"] + w["qb"]), split(x @ w["k"] + w["kb"])
    v = split(x @ w["v"] + w["vb"])
    look = q @ k.transpose(0, 1, 3, 2) / np.sqrt(width // HEADS)
    look = jax.nn.softmax(look + jnp.where(mask, 0.0, -1e9)[:, None, None, :], -1)
    seen = (look @ v).transpose(0, 2, 1, 3).reshape(x.shape)
    x = norm(seen @ w["o"] + w["ob"] + x, w["g1"], w["b1"])
    wide = jax.nn.gelu(x @ w["f"] + w["fb"], approximate=False)
    return norm(wide @ w["d"] + w["db"] + x, w["g2"], w["b2"])


def new_head(key: Any) -> Weights:
    keys = iter(jax.random.split(key, 40))

    def w(rows: int, columns: int, scale: float = 1.0) -> Any:
        drawn = jax.random.normal(next(keys), (rows, columns))
        return drawn * np.sqrt(1.0 / rows) * scale

    z, kinds = jnp.zeros, len(LINE_KINDS)
    return {
        "segv": z((3, WIDTH)),
        "nomen": w(1, WIDTH, 0.1)[0],
        "sw": w(BEE_FEATURES, KNOWN),
        "sb": z(KNOWN),
        "qw": w(WIDTH + KNOWN, QUERIES * 64),
        "kw": w(WIDTH, QUERIES * 64),
        "cw": w(WIDTH * 5 + KNOWN, HIDDEN),
        "cb": z(HIDDEN),
        "c2": w(HIDDEN, BEE),
        "c2b": z(BEE),
        "co": w(BEE, 4, 0.1),
        "cob": jnp.full(4, -2.0),
        "lq": w(kinds, WIDTH, 0.1),
        "lw": w(WIDTH, 64),
        "lb": z(64),
        "lx": w(LINE_FEATURES, 64, 0.3),
        "lob": jnp.full(kinds, -2.0),
        "lo": w(64, 1, 0.3)[None].repeat(kinds, 0),
        "vw": w(WIDTH * 2 + NUMBER_FEATURES, HIDDEN),
        "vb": z(HIDDEN),
        "vo": w(HIDDEN + 64, 1, 0.1),
        "vob": jnp.full(1, -1.0),
        "pw": w(HIDDEN + BEE + PAIR_FEATURES, 64),
        "pb": z(64),
        "po": w(64, 1, 0.1),
        "pn": w(HIDDEN, 1, 0.1),
        "an": w(HIDDEN, 1, 0.1),
        "anb": jnp.full(1, -2.0),
        "wn": w(HIDDEN, 1, 0.1),
        "wnb": jnp.full(1, -2.0),
        "ws": w(64, len(STRENGTHS), 0.3),
        "wsb": z(len(STRENGTHS)),
    }


def mean(mask: Any, state: Any) -> Any:
    mask = mask.astype(jnp.float32)
    return (mask @ state) / jnp.maximum(mask.sum(-1, keepdims=True), 1)


def dropped(x: Any, key: Any, share: Any) -> Any:
    if key is None:
        return x
    return x * jax.random.bernoulli(key, 1 - share, x.shape) / (1 - share)


def said(w: Any, state: Any, b: Any, key: Any = None) -> Any:
    """Give the logits of deeds, kinds, numbers, whose, agos, origins and strengths."""
    k = [None] * 6 if key is None else list(jax.random.split(key, 6))
    lines = state.shape[0]
    outside = jnp.where(b["inside"], 0.0, -1e9)
    named = mean(b["named"], state)
    named = jnp.where(b["named"].any(-1)[..., None], named, w["nomen"])
    known = jnp.tanh(b["bees"] @ w["sw"] + w["sb"])
    asks = jnp.concatenate([named, known], -1) @ w["qw"]
    asks = asks.reshape(lines, MOST_BEES, QUERIES, 64)
    keys = (state @ w["kw"]).reshape(lines, -1, QUERIES, 64)
    look = jnp.einsum("bcnd,btnd->bcnt", asks, keys) / 8 + outside[:, None, None]
    seen = jnp.einsum("bcnt,btd->bcnd", jax.nn.softmax(look, -1), state)
    pronoun = mean(b["pronouns"][:, None], state)
    bee = [
        *(named, mean(b["beside"], state), seen.reshape(lines, MOST_BEES, -1)),
        *(jnp.broadcast_to(pronoun, named.shape), known),
    ]
    bee = dropped(jnp.concatenate(bee, -1), k[0], 0.2)
    bee = jax.nn.relu(bee @ w["cw"] + w["cb"])
    bee = jax.nn.relu(dropped(bee, k[1], 0.2) @ w["c2"] + w["c2b"])
    deeds = bee @ w["co"] + w["cob"]
    look = jnp.einsum("ld,btd->blt", w["lq"], state) + outside[:, None]
    kind = jnp.einsum("blt,btd->bld", jax.nn.softmax(look, -1), state)
    kind = dropped(kind, k[2], 0.2) @ w["lw"] + w["lb"]
    kind = jax.nn.relu(kind + (b["line"] @ w["lx"])[:, None])
    kinds = jnp.einsum("blz,lzo->bl", kind, w["lo"]) + w["lob"]
    at, whole = mean(b["at"], state), mean(b["inside"][:, None], state)
    number = [at, jnp.broadcast_to(whole, at.shape), b["numbers"]]
    number = dropped(jnp.concatenate(number, -1), k[3], 0.2)
    number = jax.nn.relu(number @ w["vw"] + w["vb"])
    shape = (lines, MOST_NUMBERS, MOST_BEES)
    pair = [
        jnp.broadcast_to(number[:, :, None], (*shape, HIDDEN)),
        jnp.broadcast_to(bee[:, None], (*shape, BEE)),
        b["pairs"],
    ]
    pair = dropped(jnp.concatenate(pair, -1), k[4], 0.1)
    pair = jax.nn.relu(pair @ w["pw"] + w["pb"])
    alive = b["bees"][..., 39] > 0
    whose = jnp.where(alive[:, None], (pair @ w["po"])[..., 0], -1e9)
    whose = jnp.concatenate([whose, number @ w["pn"]], -1)
    best = jnp.max(jnp.where(alive[:, None, :, None], pair, 0), 2)
    numbers = (jnp.concatenate([number, best], -1) @ w["vo"])[..., 0] + w["vob"]
    agos = (number @ w["an"])[..., 0] + w["anb"]
    origins = (number @ w["wn"])[..., 0] + w["wnb"]
    strengths = kind[:, LINE_KINDS.index(EventKind.WIND)] @ w["ws"] + w["wsb"]
    return deeds, kinds, numbers, whose, agos, origins, strengths


def cross(logit: Any, truth: Any) -> Any:
    return jnp.maximum(logit, 0) - logit * truth + jnp.log1p(jnp.exp(-jnp.abs(logit)))


def top(params: Any, state: Any, b: Any) -> Any:
    mask = b["tokens"] > 0
    state = state + params["head"]["segv"][b["segment"].astype(jnp.int32)]
    for one in params["tops"]:
        state = layer(one, state, mask)
    return state


def loss(params: Any, state: Any, b: Any, key: Any) -> Any:
    state = top(params, state, b)
    deeds, kinds, numbers, whose, agos, origins, strengths = said(
        params["head"], state, b, key
    )
    lines = state.shape[0]
    of_deeds = (cross(deeds, b["y_deeds"]) * b["n_deeds"]).sum() / lines
    of_kinds = (cross(kinds, b["y_kinds"]) * b["n_kinds"]).sum() / lines
    of_numbers = (cross(numbers, b["y_numbers"]) * b["n_numbers"]).sum() / lines
    told = (b["y_whose"] >= 0) & (b["y_numbers"] + b["y_agos"] > 0)
    right = jnp.maximum(b["y_whose"], 0)[..., None]
    share = jnp.take_along_axis(jax.nn.log_softmax(whose, -1), right, -1)[..., 0]
    of_whose = -(share * told).sum() / lines
    of_agos = (cross(agos, b["y_agos"]) * b["n_agos"]).sum() / lines
    of_origins = (cross(origins, b["y_origins"]) * b["n_numbers"]).sum() / lines
    told = b["y_strength"] >= 0
    right = jnp.maximum(b["y_strength"], 0)[..., None]
    share = jnp.take_along_axis(jax.nn.log_softmax(strengths, -1), right, -1)[..., 0]
    of_strengths = -(share * told).sum() / lines
    parts = jnp.array(
        [of_deeds, of_kinds, of_numbers, of_whose, of_agos, of_origins, of_strengths]
    )
    return parts.sum(), parts
