"""Train the feature map; needs PyTorch, which nothing else here does.

    PYTHONPATH=tests python -m benchmarks.hearing.train_map OUT.npz DATA.npz ...

reads what make_training.py made and writes the weights for models/feature_map.npz in
half precision. Every hundredth stretch is held back; the loss on those is printed.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import torch
from torch import nn

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
        basis = np.stack([cepstra.cepstra_of(row) for row in np.eye(FILTERS)])
        clean = np.concatenate([each[2] for each in stretches])
        swing = (clean @ basis).std(axis=0)
        self._basis = torch.from_numpy((basis / swing).astype(np.float32))

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


def main() -> None:
    """Train and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("data", type=Path, nargs="+")
    parser.add_argument("--epochs", type=int, default=14)
    parser.add_argument("--start", type=Path, help="weights to go on from")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    rng = np.random.default_rng(args.seed)
    stretches = read(args.data)
    held_back = stretches[::HELD_BACK]
    learnt = [s for n, s in enumerate(stretches) if n % HELD_BACK]
    network, loss_of = Network(), Loss(learnt)
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
    optimiser = torch.optim.AdamW(network.parameters(), lr=1e-3, weight_decay=1e-3)
    steps = args.epochs * -(-len(learnt) // BATCH)
    schedule = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, max_lr=2e-3, total_steps=steps
    )
    for epoch in range(args.epochs):
        network.train()
        total = 0.0
        for both, whole, clean, there in batches(learnt, rng):
            loss = loss_of(network(both, whole), clean, there)
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            total += float(loss.detach()) * len(both)
        network.eval()
        with torch.no_grad():
            kept = [
                float(loss_of(network(both, whole), clean, there)) * len(both)
                for both, whole, clean, there in batches(held_back, None)
            ]
        shown = f"learnt {total / len(learnt):.4f}, "
        shown += f"held back {sum(kept) / len(held_back):.4f}"
        print(f"epoch {epoch + 1}: {shown}", flush=True)
        weights = {
            name.replace(".", "_"): value.detach().numpy().astype(np.float16)
            for name, value in network.state_dict().items()
        }
        np.savez_compressed(args.out, **weights)


if __name__ == "__main__":
    main()
