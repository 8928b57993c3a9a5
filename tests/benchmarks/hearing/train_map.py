"""Train the feature map; needs PyTorch, which nothing else here does.

    PYTHONPATH=tests python -m benchmarks.hearing.train_map OUT.npz DATA.npz ...

reads what make_training.py made and writes the weights for models/feature_map.npz in
half precision. Every hundredth stretch is held back; the loss on those is printed:
how far off cepstra are, and how much less the acoustic model knows its own sounds.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import torch
from torch import nn

from benchmarks.hearing.acoustic_classes import bundled
from treeward.speech import cepstra
from treeward.speech.cepstra import FILTERS
from treeward.speech.feature_map import CENTRE, DILATIONS, LEAN, QUANTILES, SWING

if TYPE_CHECKING:
    from collections.abc import Iterator

HIDDEN = 192
BATCH = 16  # stretches
UNSUPPRESSED = 0.2  # of stretches are shown as if there were no suppressor; choice
SHIFT = 0.5  # standard deviation of a change of level, in nats; choice
HELD_BACK = 100
DELTA_FRAMES, DELTA_WEIGHT = 2, 0.5  # the change between frames counts too; choice
BASIS = np.stack([cepstra.cepstra_of(row) for row in np.eye(FILTERS)])  # 25 x 13
CLASS_EVERY = 4  # frames; neighbours are alike
CLASS_SCALE = 0.5  # of acoustic scores, which are too sure of themselves; choice


class Network(nn.Module):  # type: ignore[misc]  # torch is no dependency
    """The same as treeward.speech.feature_map, to be trained."""

    def __init__(self) -> None:
        super().__init__()
        self.first = nn.Conv1d(2 * FILTERS, HIDDEN, 9, padding=4)
        self.stretch = nn.Linear(4 * FILTERS, HIDDEN)
        self.inner_2 = nn.Conv1d(HIDDEN, HIDDEN, 5, padding=4, dilation=DILATIONS[0])
        self.inner_4 = nn.Conv1d(HIDDEN, HIDDEN, 5, padding=8, dilation=DILATIONS[1])
        self.last = nn.Conv1d(HIDDEN, 2 * FILTERS, 1)

    def forward(self, both: torch.Tensor, whole: torch.Tensor) -> torch.Tensor:
        """Map (batch, 50, frames) and (batch, 100) to (batch, 25, frames)."""
        hidden = torch.relu(self.first(both) + self.stretch(whole)[:, :, None])
        hidden = hidden + torch.relu(self.inner_2(hidden))
        hidden = hidden + torch.relu(self.inner_4(hidden))
        out = self.last(hidden)
        trust = torch.sigmoid(out[:, FILTERS:] + LEAN)
        return trust * both[:, :FILTERS] + (1 - trust) * out[:, :FILTERS]


def read(paths: list[Path]) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Give cleaned, plain and clean log mel powers of each stretch, centred."""
    found = []
    for path in paths:
        with np.load(path) as kept:
            ends = np.cumsum(kept["lengths"])[:-1]
            three = [
                np.split((kept[name].astype(np.float32) - CENTRE) / SWING, ends)
                for name in ("cleaned", "plain", "clean")
            ]
        found += list(zip(*three, strict=True))
    return found


def batches(
    stretches: list[tuple[np.ndarray, np.ndarray, np.ndarray]],
    rng: np.random.Generator | None,
) -> Iterator[tuple[torch.Tensor, ...]]:
    """Yield stretches of like length together; with `rng` varied a little."""
    order = sorted(range(len(stretches)), key=lambda n: len(stretches[n][0]))
    groups = [order[at : at + BATCH] for at in range(0, len(order), BATCH)]
    for number in rng.permutation(len(groups)) if rng else range(len(groups)):
        group = [stretches[n] for n in groups[number]]
        longest = max(len(each[0]) for each in group)
        both = np.zeros((len(group), longest, 2 * FILTERS), np.float32)
        clean = np.zeros((len(group), longest, FILTERS), np.float32)
        there = np.zeros((len(group), longest), np.float32)
        whole = np.zeros((len(group), 4 * FILTERS), np.float32)
        for row, (taken_off, plain, target) in enumerate(group):
            n = len(plain)
            shift = float(rng.normal(0, SHIFT / SWING)) if rng else 0.0
            blunt = rng is not None and rng.random() < UNSUPPRESSED
            left = plain if blunt else taken_off
            both[row, :n] = np.hstack([left, plain]) + shift
            whole[row] = np.quantile(both[row, :n], QUANTILES, axis=0).ravel()
            clean[row, :n] = target + shift
            there[row, :n] = 1
        yield tuple(
            torch.from_numpy(np.ascontiguousarray(each))
            for each in (both.transpose(0, 2, 1), whole, clean, there)
        )


class Loss:
    """How far cepstra are off, each against its own swing in clean speech."""

    def __init__(
        self, stretches: list[tuple[np.ndarray, np.ndarray, np.ndarray]]
    ) -> None:
        clean = np.concatenate([each[2] for each in stretches])
        swing = (clean @ BASIS).std(axis=0)
        self._basis = torch.from_numpy((BASIS / swing).astype(np.float32))

    def __call__(
        self, mapped: torch.Tensor, clean: torch.Tensor, there: torch.Tensor
    ) -> torch.Tensor:
        """Give the mean square over the frames that are there."""
        off = (mapped.transpose(1, 2) - clean) @ self._basis
        change = off[:, DELTA_FRAMES:] - off[:, :-DELTA_FRAMES]
        both = there[:, DELTA_FRAMES:]
        level = (off.square().mean(dim=2) * there).sum() / there.sum()
        delta = (change.square().mean(dim=2) * both).sum() / both.sum()
        return level + DELTA_WEIGHT * delta


class ClassLoss:
    """How much of what the acoustic model knows of clean speech is lost, in nats.

    That is the Kullback-Leibler divergence of its 126 sounds (three states of each
    phone), in a frame of mapped speech, from those in the same frame of clean speech.
    """

    def __init__(self) -> None:
        model = bundled()
        inverse = 1 / model.variances
        squares = (model.means**2 * inverse + np.log(model.variances)).sum(axis=-1)
        streams, _, _, size = model.means.shape
        both = np.concatenate([-0.5 * inverse, model.means * inverse], axis=-1)
        self._slopes = torch.from_numpy(both.reshape(streams, -1, 2 * size))
        self._constants = torch.from_numpy(-0.5 * squares.reshape(streams, -1))
        weights = np.exp(model.log_weights).transpose(0, 1, 3, 2)
        self._weights = torch.from_numpy(np.ascontiguousarray(weights))
        self._basis = torch.from_numpy((BASIS * SWING).astype(np.float32))

    def __call__(
        self, mapped: torch.Tensor, clean: torch.Tensor, there: torch.Tensor, first: int
    ) -> torch.Tensor:
        """Give the mean over every fourth frame that is there, beginning at `first`."""
        clean_cepstra = clean @ self._basis
        mean = (clean_cepstra * there[:, :, None]).sum(dim=1, keepdim=True)
        mean = mean / there.sum(dim=1)[:, None, None]
        # Three frames on either side are in the curvature.
        picked = there[:, 6:][:, first::CLASS_EVERY].bool()
        with torch.no_grad():
            wanted = self._scores(clean_cepstra - mean, picked, first)
        found = self._scores(mapped.transpose(1, 2) @ self._basis - mean, picked, first)
        return (wanted.exp() * (wanted - found)).sum(dim=1).mean()

    def _scores(
        self, still: torch.Tensor, picked: torch.Tensor, first: int
    ) -> torch.Tensor:
        slope = still[:, 4:] - still[:, :-4]
        curve = slope[:, 2:] - slope[:, :-2]
        scores = []
        for number, stream in enumerate((still[:, 3:-3], slope[:, 1:-1], curve)):
            x = stream[:, first::CLASS_EVERY][picked]
            near = torch.cat([x**2, x], dim=1) @ self._slopes[number].T
            near = (near + self._constants[number]).unflatten(
                1, self._weights.shape[1:3]
            )
            top = near.amax(dim=2, keepdim=True).detach()
            held = torch.einsum(
                "ncg,cgs->ncs", (near - top).exp(), self._weights[number]
            )
            scores.append(held.log() + top)
        total = torch.stack(scores).sum(dim=0)
        return torch.log_softmax(CLASS_SCALE * total.flatten(1), dim=1)


def main() -> None:
    """Train and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("data", type=Path, nargs="+")
    parser.add_argument("--epochs", type=int, default=14)
    parser.add_argument("--start", type=Path, help="weights to go on from")
    parser.add_argument("--classes", type=float, default=0.2, help="weight of sounds")
    parser.add_argument("--rate", type=float, default=2e-3, help="of learning, highest")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    rng = np.random.default_rng(args.seed)
    stretches = read(args.data)
    held_back = stretches[::HELD_BACK]
    learnt = [s for n, s in enumerate(stretches) if n % HELD_BACK]
    network, loss_of, class_loss_of = Network(), Loss(learnt), ClassLoss()
    if args.start:
        with np.load(args.start) as kept:
            network.load_state_dict(
                {
                    name: torch.from_numpy(
                        kept[name.replace(".", "_")].astype(np.float32)
                    )
                    for name in network.state_dict()
                }
            )
    optimiser = torch.optim.AdamW(network.parameters(), lr=args.rate, weight_decay=1e-3)
    steps = args.epochs * -(-len(learnt) // BATCH)
    schedule = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, max_lr=args.rate, total_steps=steps
    )
    for epoch in range(args.epochs):
        network.train()
        total = np.zeros(2)
        for both, whole, clean, there in batches(learnt, rng):
            mapped = network(both, whole)
            off = loss_of(mapped, clean, there)
            first = int(rng.integers(CLASS_EVERY))
            lost = class_loss_of(mapped, clean, there, first)
            optimiser.zero_grad()
            (off + args.classes * lost).backward()
            nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            total += len(both) * np.array([off.item(), lost.item()])
        network.eval()
        kept = np.zeros(2)
        with torch.no_grad():
            for both, whole, clean, there in batches(held_back, None):
                mapped = network(both, whole)
                off = loss_of(mapped, clean, there)
                lost = class_loss_of(mapped, clean, there, 0)
                kept += len(both) * np.array([off.item(), lost.item()])
        learnt_off, learnt_lost = total / len(learnt)
        kept_off, kept_lost = kept / len(held_back)
        shown = f"learnt {learnt_off:.4f} and {learnt_lost:.3f}, "
        shown += f"held back {kept_off:.4f} and {kept_lost:.3f}"
        print(f"epoch {epoch + 1}: {shown}", flush=True)
        weights = {
            name.replace(".", "_"): value.detach().numpy().astype(np.float16)
            for name, value in network.state_dict().items()
        }
        np.savez_compressed(args.out, **weights)


if __name__ == "__main__":
    main()
