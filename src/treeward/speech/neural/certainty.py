"""How sure a reading is: the share of such readings that are right.

A logistic regression on what the search and the free text say, fitted on people's words
in real noise amid other people's talk (tests/benchmarks/hearing/calibrate.py). What
counts most is how much likelier the recogniser finds its own free text than the note,
and whether a wider and a narrower piece of the sound are read alike.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from treeward.language.kinds import KINDS, NUMBERS, EventKind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from treeward.language.note_graph import GraphNote

    from .model import Said
    from .search import Reading

TAKEN_FROM = 0.4  # readings less sure than this are taken for talk
SYLLABLE_S = 0.2  # of speech; people's usual pace
_RUNS_ON_S = 0.35  # a shorter pause beside a note: it may be part of talk; guess
_LONE = frozenset(kind for kind in EventKind if KINDS[kind].alone)  # a word or two
_VOWELS = re.compile("[aeiouy]+")
_NOT_LETTERS = re.compile("[^a-z0-9 ]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What one window of sound says: freely, and as notes."""

    start_s: float
    end_s: float
    free: Said
    text: str  # the free text
    readings: Sequence[Reading]  # the likeliest first


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What stands around a reading. All in seconds."""

    voiced_s: float  # in which somebody speaks
    pause_before_s: float
    pause_after_s: float


def evidence(look: Look, other: Look, beside: Beside) -> NDArray[np.float64]:
    """Gather what tells right readings from wrong ones, for a look's best reading.

    Parameters
    ----------
    look
        Has at least one reading.
    other
        The same speech with more, or less, sound around it.
    beside
        What stands around it.
    """
    best, free = look.readings[0], look.free
    said = " ".join(note.text for note in best.notes)
    pieces, free_pieces = len(best.pieces) + 1, len(free.pieces) + 1
    ratio = best.log_p - free.log_p
    margin = 10.0
    if len(look.readings) > 1:
        margin = best.log_p - look.readings[1].log_p
    pace = math.log(max(beside.voiced_s, 0.03) / syllables(said) / SYLLABLE_S)
    kinds = {note.part("kind") for note in best.notes}
    same = bool(other.readings) and other.readings[0].meaning == best.meaning
    known = any(reading.meaning == best.meaning for reading in other.readings)
    other_ratio = other.readings[0].log_p - other.free.log_p if same else -16.0
    return np.array(
        [
            np.clip(ratio, -16, 4),
            np.clip(ratio, -16, 0) ** 2 / 16,
            np.clip(best.best_log_p / pieces, -5, 0),
            np.clip(margin, 0, 6),
            np.clip(math.log(pieces / free_pieces), -1.5, 1),
            np.clip(pace, -2, 2),
            np.clip(pace, -2, 2) ** 2,
            kinds <= _LONE,
            any(_is_number(note) for note in best.notes),
            np.clip(free.log_p / free_pieces, -3, 0),
            plain(look.text) == said,
            np.clip(best.log_p, -20, 0),
            len(best.notes) > 1,
            min(beside.pause_before_s, beside.pause_after_s) < _RUNS_ON_S,
            same,
            np.clip(other_ratio, -16, 4),
            known,
        ],
        dtype=np.float64,
    )


def _is_number(note: GraphNote) -> bool:
    """Tell whether a note is a number that was announced."""
    holds = KINDS[EventKind(note.part("kind"))].holds
    return holds in NUMBERS and bool(note.part("value"))


def syllables(text: str) -> int:
    """Count the syllables of words, roughly: runs of vowels."""
    return sum(max(1, len(_VOWELS.findall(word))) for word in text.split()) or 1


def plain(text: str) -> str:
    """Give text without capitals and punctuation."""
    return " ".join(_NOT_LETTERS.sub(" ", text.lower()).split())


def share_right(found: NDArray[np.float64]) -> float:
    """Give the probability that a reading with this evidence is right."""
    z = _OFFSET + float(_WEIGHTS @ found)
    return 1 / (1 + math.exp(-max(min(z, 30.0), -30.0)))


def share_of_each(look: Look, share: float) -> list[float]:
    """Give the probability that each note of a look's best reading is right.

    Where readings differ in one note, the others are surer than the whole.
    """
    top = look.readings[0].log_p
    weights = [math.exp(reading.log_p - top) for reading in look.readings]
    total, rest = sum(weights), 1 - 1 / sum(weights)
    shares = []
    for number, note in enumerate(look.readings[0].notes):
        agree = sum(
            weight
            for weight, reading in zip(weights, look.readings, strict=True)
            if len(reading.notes) > number
            and reading.notes[number].meaning == note.meaning
        )
        won = (agree - 1) / total / rest if rest > 1e-9 else 0.0
        shares.append(share + (1 - share) * min(max(won, 0.0), 1.0) * _ONE_DIFFERS)
    return shares


_ONE_DIFFERS = 0.8  # of a doubt that concerns another note only; guess
_OFFSET = 2.869
_WEIGHTS = np.array(
    [
        *(0.0062, -0.233, 0.8189, 0.4183, -0.1309, 0.2529, -0.3568, -4.6989, -1.1168),
        *(0.5228, -0.2978, 0.0827, 0.8024, -0.3768, 0.332, 0.0654, -0.3697),
    ]
)
