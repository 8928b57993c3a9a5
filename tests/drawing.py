"""How many examples a test draws at random: all of them, or the quick round's share."""

from __future__ import annotations

from hypothesis import settings


def examples(most: int) -> int:
    """Return how many to draw of `most`, by the profile in force (`conftest.py`)."""
    whole = settings.get_profile("untimed").max_examples
    return most * settings().max_examples // whole
