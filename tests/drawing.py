"""What the quick round takes: fewer examples drawn at random, few of many cases."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable


def examples(most: int) -> int:
    """Return how many to draw of `most`, by the profile in force (`conftest.py`)."""
    whole = settings.get_profile("untimed").max_examples
    return most * settings().max_examples // whole


def mostly_slow(cases: Iterable[Any], *, quick: Collection[Any]) -> list[Any]:
    """Mark all cases of a test `slow` but those that the quick round takes too."""
    cases = list(cases)
    if missing := [case for case in quick if case not in cases]:
        message = f"no case of the test: {missing}"
        raise ValueError(message)
    return [
        case
        if case in quick
        else pytest.param(
            *(case if isinstance(case, tuple) else (case,)), marks=pytest.mark.slow
        )
        for case in cases
    ]
