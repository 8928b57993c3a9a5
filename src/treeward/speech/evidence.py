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
    alone: bool  # the stretch is parted from talk by pauses
    pause_s: float  # the shorter of those, a second at most
    noisy: bool  # the feature map was at work
    words: int  # spoken words of the note
    sayings: int  # notes in the stretch, a departure with its bearing as one


def features(evidence: Evidence) -> tuple[float, ...]:
    """Give the numbers the regression works on, the constant first."""
    margin = min(max(evidence.margin, -3.0), 1.5)
    return (
        1.0,
        margin,
        min(margin + 0.4, 0.0),  # steeper where talk explains the sound better
        float(evidence.agreed),
        float(evidence.alone),
        evidence.pause_s,
        float(evidence.noisy),
        float(min(evidence.words, 5)),
        float(evidence.sayings > 1),
    )


# 1239 notes weighed in 20 recordings by four speakers and one of talk, 424 right. Left
# out one speaker at a time, of notes stated above 0.95 98 % were right, between 0.8 and
# 0.95 93 %, between 0.5 and 0.8 71 %, below 0.5 1 %. How sure the first pass was, the
# best path through the lattice of notes, and whether a note came out without the map
# or without suppression too, told nothing more (log loss .073, and .072 with them all).
COEFFICIENTS = (0.29, 2.8, 1.3, 1.28, 1.78, 2.63, -0.7, -0.94, -3.65)


def probability(evidence: Evidence) -> float:
    """Give the share of notes with such evidence that are right."""
    pairs = zip(COEFFICIENTS, features(evidence), strict=True)
    return 1 / (1 + math.exp(-sum(c * x for c, x in pairs)))
