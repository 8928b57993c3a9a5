"""The network in PyTorch, for training.

`treeward.notes.trained.network` computes the same.
"""

from __future__ import annotations

import json
import struct
from typing import TYPE_CHECKING, Any

import numpy as np
import torch
from torch.nn import functional as F  # noqa: N812  (as everybody calls it)

from treeward.language.kinds import EventKind
from treeward.notes.trained.bees import MOST_BEES
from treeward.notes.trained.inputs import (
    BEE_FEATURES,
    LINE_FEATURES,
    LINE_KINDS,
    NUMBER_FEATURES,
    PAIR_FEATURES,
    STRENGTHS,
)
from treeward.notes.trained.lines import MOST_NUMBERS
from treeward.notes.trained.network import HEADS, QUERIES

if TYPE_CHECKING:
    from pathlib import Path

    from torch import Tensor

Weights = dict[str, Any]

WIDTH, KNOWN, HIDDEN, BEE = 384, 64, 128, 64
DROPPED = 0.1  # of what a layer adds, as its makers trained it
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
        found[short] = torch.tensor(weight.T.copy() if weight.ndim == 2 else weight)
    return found


def norm(x: Tensor, gain: Tensor, bias: Tensor) -> Tensor:
    return F.layer_norm(x, (WIDTH,), gain, bias, 1e-12)


def layer(w: Weights, x: Tensor, mask: Tensor, *, drop: float = 0.0) -> Tensor:
    lines, tokens, width = x.shape

    def split(name: str) -> Tensor:
        made = x @ w[name] + w[f"{name}b"]
        return made.view(lines, tokens, HEADS, width // HEADS).transpose(1, 2)

    seen = F.scaled_dot_product_attention(
        split("q"), split("k"), split("v"), attn_mask=mask[:, None, None, :]
    )
    seen = seen.transpose(1, 2).reshape(x.shape)
    seen = F.dropout(seen @ w["o"] + w["ob"], drop)
    x = norm(seen + x, w["g1"], w["b1"])
    wide = F.gelu(x @ w["f"] + w["fb"])
    wide = F.dropout(wide @ w["d"] + w["db"], drop)
    return norm(wide + x, w["g2"], w["b2"])


def new_head() -> Weights:
    def w(rows: int, columns: int, scale: float = 1.0) -> Tensor:
        return torch.randn(rows, columns) * rows**-0.5 * scale

    z, kinds = torch.zeros, len(LINE_KINDS)
    return {
        "segv": z(3, WIDTH),
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
        "cob": torch.full((4,), -2.0),
        "lq": w(kinds, WIDTH, 0.1),
        "lw": w(WIDTH, 64),
        "lb": z(64),
        "lx": w(LINE_FEATURES, 64, 0.3),
        "lob": torch.full((kinds,), -2.0),
        "lo": w(64, 1, 0.3).repeat(kinds, 1, 1),
        "vw": w(WIDTH * 2 + NUMBER_FEATURES, HIDDEN),
        "vb": z(HIDDEN),
        "vo": w(HIDDEN + 64, 1, 0.1),
        "vob": torch.full((1,), -1.0),
        "pw": w(HIDDEN + BEE + PAIR_FEATURES, 64),
        "pb": z(64),
        "po": w(64, 1, 0.1),
        "pn": w(HIDDEN, 1, 0.1),
        "an": w(HIDDEN, 1, 0.1),
        "anb": torch.full((1,), -2.0),
        "wn": w(HIDDEN, 1, 0.1),
        "wnb": torch.full((1,), -2.0),
        "ws": w(64, len(STRENGTHS), 0.3),
        "wsb": z(len(STRENGTHS)),
    }


def mean(mask: Tensor, state: Tensor) -> Tensor:
    mask = mask.to(state.dtype)
    return (mask @ state) / mask.sum(-1, keepdim=True).clamp(min=1)


def said(w: Weights, state: Tensor, b: Weights, *, drop: bool = False) -> list[Tensor]:
    """Give the logits of deeds, kinds, numbers, whose, agos, origins and strengths."""
    lines = state.shape[0]

    def dropped(x: Tensor, share: float) -> Tensor:
        return F.dropout(x, share, training=drop)

    outside = torch.where(b["inside"], 0.0, -1e9)
    named = mean(b["named"], state)
    named = torch.where(b["named"].any(-1, keepdim=True), named, w["nomen"])
    known = torch.tanh(b["bees"] @ w["sw"] + w["sb"])
    asks = torch.cat([named, known], -1) @ w["qw"]
    asks = asks.view(lines, MOST_BEES, QUERIES, 64)
    keys = (state @ w["kw"]).view(lines, -1, QUERIES, 64)
    look = torch.einsum("bcnd,btnd->bcnt", asks, keys) / 8 + outside[:, None, None]
    seen = torch.einsum("bcnt,btd->bcnd", look.softmax(-1), state)
    pronoun = mean(b["pronouns"][:, None], state)
    bee = torch.cat(
        [
            *(named, mean(b["beside"], state), seen.reshape(lines, MOST_BEES, -1)),
            *(pronoun.expand_as(named), known),
        ],
        -1,
    )
    bee = F.relu(dropped(bee, 0.2) @ w["cw"] + w["cb"])
    bee = F.relu(dropped(bee, 0.2) @ w["c2"] + w["c2b"])
    deeds = bee @ w["co"] + w["cob"]
    look = torch.einsum("ld,btd->blt", w["lq"], state) + outside[:, None]
    kind = torch.einsum("blt,btd->bld", look.softmax(-1), state)
    kind = dropped(kind, 0.2) @ w["lw"] + w["lb"]
    kind = F.relu(kind + (b["line"] @ w["lx"])[:, None])
    kinds = torch.einsum("blz,lzo->bl", kind, w["lo"]) + w["lob"]
    at, whole = mean(b["at"], state), mean(b["inside"][:, None], state)
    number = torch.cat([at, whole.expand_as(at), b["numbers"]], -1)
    number = F.relu(dropped(number, 0.2) @ w["vw"] + w["vb"])
    shape = (lines, MOST_NUMBERS, MOST_BEES)
    pair = torch.cat(
        [
            number[:, :, None].expand(*shape, HIDDEN),
            bee[:, None].expand(*shape, BEE),
            b["pairs"],
        ],
        -1,
    )
    pair = F.relu(dropped(pair, 0.1) @ w["pw"] + w["pb"])
    alive = b["bees"][..., -1] > 0
    whose = torch.where(alive[:, None], (pair @ w["po"])[..., 0], -1e9)
    whose = torch.cat([whose, number @ w["pn"]], -1)
    best = torch.where(alive[:, None, :, None], pair, 0.0).amax(2)
    numbers = (torch.cat([number, best], -1) @ w["vo"])[..., 0] + w["vob"]
    agos = (number @ w["an"])[..., 0] + w["anb"]
    origins = (number @ w["wn"])[..., 0] + w["wnb"]
    strengths = kind[:, LINE_KINDS.index(EventKind.WIND)] @ w["ws"] + w["wsb"]
    return [deeds, kinds, numbers, whose, agos, origins, strengths]


def top(params: Weights, state: Tensor, b: Weights, *, drop: float) -> Tensor:
    mask = b["tokens"] > 0
    state = state + params["head"]["segv"][b["segment"].long()]
    for one in params["tops"]:
        state = layer(one, state, mask, drop=drop)
    return state


def loss(params: Weights, state: Tensor, b: Weights) -> Tensor:
    """Give the loss by part, in the order of `said`."""
    state = top(params, state, b, drop=DROPPED)
    made = said(params["head"], state, b, drop=True)
    deeds, kinds, numbers, whose, agos, origins, strengths = made
    lines = state.shape[0]

    def cross(logit: Tensor, truth: str, counts: str) -> Tensor:
        return F.binary_cross_entropy_with_logits(
            logit, b[truth], b[counts], reduction="sum"
        )

    def choice(logit: Tensor, truth: Tensor, told: Tensor) -> Tensor:
        right = torch.where(told, truth.long(), -1)
        return F.cross_entropy(
            logit.flatten(0, -2), right.flatten(), ignore_index=-1, reduction="sum"
        )

    told = (b["y_whose"] >= 0) & (b["y_numbers"] + b["y_agos"] > 0)
    parts = [
        cross(deeds, "y_deeds", "n_deeds"),
        cross(kinds, "y_kinds", "n_kinds"),
        cross(numbers, "y_numbers", "n_numbers"),
        choice(whose, b["y_whose"], told),
        cross(agos, "y_agos", "n_agos"),
        cross(origins, "y_origins", "n_numbers"),
        choice(strengths, b["y_strength"], b["y_strength"] >= 0),
    ]
    return torch.stack(parts) / lines
