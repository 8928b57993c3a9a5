"""Fit how sure the embedded engine is to the share of its readings that are right.

    PYTHONPATH=tests python -m benchmarks.hearing.calibrate CORPUS...

Each CORPUS is a folder of recordings (.ogg or .flac) with NAME.truth.json and, where it
has a phrase book of its own, NAME.phrasebook.toml beside them, as `people/build.py`
writes them. Every run of spans that the engine would weigh is read and compared with
what was said there, and a logistic regression is fitted. The reliability table is made
by leaving out every other half minute, so that it tells of notes not fitted to; whoever
judges takes other speakers. Prints the constants of treeward.speech.neural.search.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from benchmarks.hearing.scoring import reliability
from treeward.audio.reader import read_blocks
from treeward.files import phrasebook_path
from treeward.language.phrasebook import PhraseBook
from treeward.speech.neural.engine import NeuralRecognizer, possible_runs
from treeward.speech.recognizer import EMBEDDED, Segmenter, embedded_folder

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from treeward.audio import Block
    from treeward.speech.neural.engine import Run

    Numbers = NDArray[np.float64]

PENALTY = 3e-3  # on the squares of the standardised weights, per case; choice
ROUNDS = 60  # of Newton's method; it settles in ten
BLOCK_S = 30.0  # of sound held out together
BESIDE_S = 0.35  # a note's middle so near a run belongs to it


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One reading, and whether just this was said."""

    second: float
    evidence: Numbers
    right: bool


def cases_of(sound: Path) -> Iterator[Case]:
    """Read every run of a recording."""
    truth = json.loads(_beside(sound, ".truth.json").read_text(encoding="utf-8"))
    own = _beside(sound, ".phrasebook.toml")
    books = (phrasebook_path(), own) if own.is_file() else (phrasebook_path(),)
    folder = embedded_folder()
    if folder is None:
        sys.exit("The embedded model is not installed.")
    engine = NeuralRecognizer(PhraseBook.load(*books), folder, name=EMBEDDED)
    for stretch in _stretches(read_blocks(sound)):
        last = len(stretch.voiced) - 1
        for run in ((0, last), *possible_runs(stretch.voiced)):
            found = engine.read(stretch, *run)
            if found.evidence is not None:
                yield Case(
                    second=stretch.start_s,
                    evidence=found.evidence,
                    right=_is_right(found, stretch, truth["events"]),
                )


def _stretches(blocks: Iterable[Block]) -> Iterator[Block]:
    segmenter = Segmenter()
    for block in blocks:
        yield from segmenter.push(block.samples)
    yield from segmenter.flush()


def _beside(sound: Path, ending: str) -> Path:
    return sound.with_name(sound.stem + ending)


def _is_right(run: Run, stretch: Block, events: list[dict[str, Any]]) -> bool:
    start_s = stretch.start_s + stretch.voiced[run.first][0] - BESIDE_S
    end_s = stretch.start_s + stretch.voiced[run.last][1] + BESIDE_S
    said = [
        (each["event"], each["mark"], _plain(each["event"], each["value"]))
        for each in events
        if start_s < (each["start_s"] + each["end_s"]) / 2 < end_s
    ]
    heard = [
        (
            note.part("kind"),
            note.part("mark"),
            _plain(note.part("kind"), note.part("value")),
        )
        for note in run.notes
    ]
    return said == heard


def _plain(kind: str, value: str) -> str:
    if kind == "time":
        hour, minute = value.split(":")[:2]
        return f"{int(hour) % 12}:{minute}"
    return str(int(value) % 360) if kind == "bearing" and value.isdigit() else value


def fit(evidence: Numbers, right: Numbers) -> tuple[float, Numbers]:
    """Fit offset and weights by Newton's method on the penalised likelihood."""
    middle, spread = evidence.mean(axis=0), evidence.std(axis=0) + 1e-6
    columns = np.column_stack([np.ones(len(right)), (evidence - middle) / spread])
    weights = np.zeros(columns.shape[1])
    penalty = np.full(len(weights), PENALTY * len(right))
    penalty[0] = 1e-6
    for _ in range(ROUNDS):
        share = 1 / (1 + np.exp(-columns @ weights))
        slope = columns.T @ (right - share) - penalty * weights
        curve = (columns * (share * (1 - share))[:, None]).T @ columns
        weights += np.linalg.solve(curve + np.diag(penalty), slope)
    plain = weights[1:] / spread
    return float(weights[0] - plain @ middle), plain


def main() -> None:
    """Fit what the arguments name."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("corpus", type=Path, nargs="+")
    cases: list[Case] = []
    for folder in parser.parse_args().corpus:
        for sound in sorted([*folder.glob("*.ogg"), *folder.glob("*.flac")]):
            found = list(cases_of(sound))
            count = sum(case.right for case in found)
            print(f"{sound.stem}: {len(found)} runs, {count} right", file=sys.stderr)
            cases += found
    evidence = np.array([case.evidence for case in cases])
    right: Numbers = np.array([case.right for case in cases], dtype=np.float64)
    half = np.array([int(case.second / BLOCK_S) % 2 for case in cases], dtype=np.intp)
    shares: Numbers = np.empty(len(cases), dtype=np.float64)
    for part in (0, 1):
        offset, weights = fit(evidence[half != part], right[half != part])
        z = offset + evidence[half == part] @ weights
        shares[half == part] = 1 / (1 + np.exp(-z))
    stated = list(zip(shares.tolist(), (right > 0).tolist(), strict=True))
    for label, count, share in reliability(stated):
        print(f"stated {label}: {count} readings, {share:.3f} right")
    offset, weights = fit(evidence, right)
    print(f"_OFFSET = {offset:.4f}")
    print(f"_WEIGHTS = {[round(float(weight), 4) for weight in weights]}")


if __name__ == "__main__":
    main()
