"""Numbers in words on a typed line: "six and a half minutes", "quarter past ten"."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.language.number_words import NUMBER_WORDS
from treeward.language.times_of_day import read_duration

from .clocked_numbers import Token

if TYPE_CHECKING:
    from collections.abc import Sequence

BEGIN_NUMBERS = frozenset({*NUMBER_WORDS, "half", "quarter", "a", "an"})


def spoken_duration(run: Sequence[str]) -> tuple[Token, int] | None:
    """Read a duration from the first of some words, and how many it takes.

    None where there is none: a unit has to be written.

    Examples
    --------
    >>> spoken_duration(["half", "a", "minute", "ago"])[0].value
    '30'
    """
    if run[0] not in BEGIN_NUMBERS:
        return None
    reading = read_duration(run)
    if reading is None or not reading.seconds:
        return None
    said = " ".join(run[: reading.used])
    return Token("duration", f"{reading.seconds:g}", said), reading.used
