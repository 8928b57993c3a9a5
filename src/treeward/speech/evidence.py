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

    margin: float  # notes against talk, nats a frame, of the saying it belongs to
    poorest: float  # the least margin of all sayings of the stretch
    agreed: bool  # the first pass heard the same note at the same time
    alone: bool  # the stretch is parted from talk by pauses
    pause_s: float  # the shorter of those, a second at most
    # What suppression left of the log power of its sound [nats]: 0 for all of it, -6
    # for next to nothing, as of noise taken for words; None where it was not at work.
    left: float | None
    words: int  # spoken words of the note
    talk: float  # share of the stretch in which the first pass heard words of talk
    sayings: int  # notes in the stretch, a departure with its bearing as one


def features(evidence: Evidence) -> tuple[float, ...]:
    """Give the numbers the regression works on, the constant first."""
    margin = min(max(evidence.margin, -3.0), 1.5)
    many = float(evidence.sayings > 1)
    return (
        1.0,
        margin,
        min(margin + 0.4, 0.0),  # steeper where talk explains the sound better
        float(evidence.agreed),
        float(evidence.alone),
        evidence.pause_s,
        float(evidence.left is not None),
        float(min(evidence.words, 5)),
        many,
        max(evidence.left or 0.0, -6.0),
        many * evidence.agreed,
        # "A station wagon would be handy": nothing else in it makes a note.
        many * min(max(evidence.poorest, -3.0), 0.0),
        many * evidence.talk,
    )


# 2869 notes weighed in 64 recordings (four speakers, talk, noise), 1227 of them right.
# Those of 24 recordings in which notes followed each other with hardly a pause or none
# count for less (HURRIED_WEIGHT of calibrate.py). Left out one speaker at a time, of
# notes stated above 0.98 99 % were right, between 0.95 and 0.98 97 %, between 0.8 and
# 0.95 90 %, between 0.5 and 0.8 68 %, below 0.5 3 %.
COEFFICIENTS = (
    *(2.4, 0.75, 2.91, 1.66, -0.81, 1.89, 1.42),
    *(-0.51, -0.82, 0.94, 0.54, 2.74, -3.06),
)


def probability(evidence: Evidence) -> float:
    """Give the share of notes with such evidence that are right."""
    pairs = zip(COEFFICIENTS, features(evidence), strict=True)
    return 1 / (1 + math.exp(-sum(c * x for c, x in pairs)))
