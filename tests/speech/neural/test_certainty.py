"""How sure a reading is: always a probability."""

from __future__ import annotations

import numpy as np
import pytest

from treeward.speech.neural import search
from treeward.speech.neural.search import plain, share_right, syllables


@pytest.mark.parametrize(
    ("text", "count"), [("yellow back", 3), ("two one zero", 4), ("", 1)]
)
def test_syllables_are_runs_of_vowels(text: str, count: int) -> None:
    # "one" counts two and "two" one: it is a rough measure of length only.
    assert abs(syllables(text) - count) <= 1


def test_plain_text_has_no_capitals_and_marks() -> None:
    assert plain("Yellow back. Two-ten!") == "yellow back two ten"


def test_a_share_is_between_nought_and_one_whatever_the_evidence() -> None:
    rng = np.random.default_rng(3)
    for scale in (1.0, 1e3, 1e6):
        for _ in range(20):
            share = share_right(scale * rng.standard_normal(len(search._WEIGHTS)))
            assert 0 <= share <= 1
