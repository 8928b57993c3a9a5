"""Fit the confidence of notes to the share that is right.

    PYTHONPATH=tests python -m benchmarks.hearing.calibrate CORPUS --hurried OTHER

runs the embedded engine over the "tune" part of corpora, compares every note that it
weighed with what was said, and prints the coefficients for
treeward.speech.evidence.COEFFICIENTS with a reliability table. The table is made by
leaving out one speaker at a time, so that it tells of speakers not fitted to.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize

from benchmarks.hearing.scoring import WITHIN_S, is_right, reliability
from treeward.audio.reader import read_blocks
from treeward.notes.parser import parse_notes
from treeward.speech.evidence import features
from treeward.speech.phrasebook import PhraseBook
from treeward.speech.recognizer import transcribe
from treeward.speech.records import Utterance
from treeward.speech.sphinx import SphinxRecognizer, WeighedNote
from treeward.speech.token_words import note_words

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]

HURRIED_WEIGHT = 0.3  # people pause after most notes; choice
PENALTY = 0.3  # on the squares of the coefficients: few speakers, many features


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One note that was weighed, and whether it was said."""

    condition: str
    speaker: str
    text: str
    features: tuple[float, ...]
    right: bool
    weight: float = 1.0


def cases_of(
    weighed: list[WeighedNote],
    truth: dict[str, object],
    book: PhraseBook,
    *,
    weight: float = 1.0,
) -> list[Case]:
    """Compare the notes of one recording with its truth."""
    said = truth["events"]
    assert isinstance(said, list)
    cases = []
    for note in weighed:
        words = tuple(note_words(note.note, note.start_s, 1.0))
        utterance = Utterance(
            words=words, start_s=words[0].start_s, end_s=words[-1].end_s
        )
        events = parse_notes([utterance], book)
        right = bool(events) and all(
            any(
                is_right(event, each)
                and abs((event.start_s or 0.0) - float(each["start_s"])) <= WITHIN_S
                for each in said
            )
            for event in events
        )
        cases.append(
            Case(
                condition=str(truth["condition"]),
                speaker=str(truth["speaker"]),
                text=note.note.text,
                features=features(note.evidence),
                right=right,
                weight=weight,
            )
        )
    return cases


def fit(inputs: Numbers, right: Numbers, weights: Numbers) -> Numbers:
    """Fit a logistic regression with a ridge on all but the constant."""
    ridge = np.full(inputs.shape[1], PENALTY)
    ridge[0] = 0.0

    def loss(coefficients: Numbers) -> tuple[float, Numbers]:
        z = inputs @ coefficients
        value = weights @ (np.logaddexp(0, z) - right * z)
        value += float(ridge @ coefficients**2)
        slope = inputs.T @ (weights * (1 / (1 + np.exp(-z)) - right))
        slope += 2 * ridge * coefficients
        return float(value), slope

    found = minimize(loss, np.zeros(inputs.shape[1]), jac=True, method="L-BFGS-B")
    return np.asarray(found.x)


def left_out(cases: list[Case]) -> list[tuple[float, bool]]:
    """State each case's confidence, fitted on the other speakers only."""
    stated = []
    for speaker in sorted({case.speaker for case in cases}):
        others = [case for case in cases if case.speaker != speaker]
        coefficients = fit(*arrays(others))
        own = [case for case in cases if case.speaker == speaker]
        inputs, _, _ = arrays(own)
        confidence = 1 / (1 + np.exp(-inputs @ coefficients))
        pairs = zip(confidence, own, strict=True)
        stated += [(float(c), case.right) for c, case in pairs]
    return stated


def arrays(cases: list[Case]) -> tuple[Numbers, Numbers, Numbers]:
    """Give features, answers and weights of cases as arrays."""
    inputs = np.array([case.features for case in cases])
    right = np.array([case.right for case in cases], dtype=float)
    return inputs, right, np.array([case.weight for case in cases])


def main() -> None:
    """Run, fit, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("corpora", type=Path, nargs="+")
    parser.add_argument(
        "--hurried",
        type=Path,
        nargs="+",
        default=[],
        help="made with make_corpus --hurry; count for less",
    )
    parser.add_argument("--only", default="", help="part of condition_speaker")
    args = parser.parse_args()
    book = PhraseBook.load()
    cases: list[Case] = []
    corpora = [*args.corpora, *args.hurried]
    for file in (path for corpus in corpora for path in sorted(corpus.glob("*.json"))):
        truth = json.loads(file.read_text(encoding="utf-8"))
        if truth["part"] != "tune" or args.only not in file.stem:
            continue
        weighed: list[WeighedNote] = []
        engine = SphinxRecognizer(book)  # anew, as each is by another speaker
        engine.on_note = weighed.append
        for _ in transcribe(read_blocks(file.parent / truth["recording"]), engine):
            pass
        weight = HURRIED_WEIGHT if file.parent in args.hurried else 1.0
        cases += cases_of(weighed, truth, book, weight=weight)
    coefficients = fit(*arrays(cases))
    print(f"{len(cases)} notes weighed, {sum(case.right for case in cases)} right")
    print("COEFFICIENTS =", tuple(round(float(c), 2) for c in coefficients))
    for label, count, share in reliability(left_out(cases)):
        print(f"stated {label}: {count} notes, {share:.2f} right")


if __name__ == "__main__":
    main()
