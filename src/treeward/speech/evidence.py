"""How sure a note is: the evidence of several decodes as one probability.

The coefficients were fitted by logistic regression on the "tune" part of
tests/benchmarks/hearing (see calibrate.py there); its "judge" speakers took no part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

# "Fourteen" and "forty" are told apart by one weak consonant. Of 25 such numbers on the
# tuning recordings stated above 0.5, 22 were right; the others stood above 0.9.
TWIN_CONFIDENCE = 0.75  # the most that is stated of a number that has a twin
_TEENS = [
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
_TENS = ["thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
_TWINS = dict(zip(_TEENS + _TENS, _TENS + _TEENS, strict=True))
_ONES = frozenset(
    ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
)


def twins(words: Sequence[str]) -> Iterator[tuple[str, ...]]:
    """Give the readings in which a teen is a ten or the other way about."""
    for place, word in enumerate(words):
        after = words[place + 1] if place + 1 < len(words) else ""
        if word in _TENS and after in _ONES:  # "forty one" has no twin
            continue
        if word in _TWINS:
            yield (*words[:place], _TWINS[word], *words[place + 1 :])


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What speaks for one note and against it."""

    margin: float  # notes against talk, nats a frame, of the whole stretch
    agreed: bool  # the first pass heard the same note at the same time
    posterior: float  # of the first pass where it agreed, else 0
    alone: bool  # the stretch is parted from talk by pauses
    words: int  # spoken words of the note
    sayings: int  # notes in the stretch, a departure with its bearing as one
    repeated: bool  # the best path through the lattice of notes holds it too
    phrase_posterior: float  # of its least sure word there; 0 for an anchor and number


def features(evidence: Evidence) -> tuple[float, ...]:
    """Give the numbers the regression works on, the constant first."""
    margin = min(max(evidence.margin, -3.0), 1.5)
    return (
        1.0,
        margin,
        min(margin + 0.4, 0.0),  # steeper where talk explains the sound better
        float(evidence.agreed),
        evidence.posterior,
        float(evidence.alone),
        float(min(evidence.words, 5)),
        float(evidence.sayings > 1),
        float(evidence.repeated),
        evidence.phrase_posterior,
    )


# 940 notes weighed in 20 recordings by four speakers and one of talk, 416 right. Left
# out one speaker at a time, of notes stated above 0.9 98 % were right, between 0.7 and
# 0.9 87 %, between 0.5 and 0.7 73 %, below 0.5 1 %.
COEFFICIENTS = (-0.76, 2.44, 1.03, 0.67, 0.89, 1.64, -0.32, -3.37, 0.83, 2.0)


def probability(evidence: Evidence) -> float:
    """Give the share of notes with such evidence that are right."""
    pairs = zip(COEFFICIENTS, features(evidence), strict=True)
    return 1 / (1 + math.exp(-sum(c * x for c, x in pairs)))
