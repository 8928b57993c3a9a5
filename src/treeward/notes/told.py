"""A note with a value, found in the text of sentences, and steps through that text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from treeward.language.kinds import EventKind

    from .bee_names import Named
    from .flags import Flag

MOST_WORDS = 10  # no value is longer
ROUGH = (
    r"(?:about|around|roughly|approximately|nearly|almost|coming up to|getting on for"
    r"|maybe|gone|just after|just before|a bit after|a bit before)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A note with a value, said from `start` to `end` of the text.

    `named` is the bee where one is named; `of_view` asks for the bee in view.
    """

    kind: EventKind
    start: int
    end: int
    value: str = ""
    named: Named | None = None
    of_view: bool = False
    flags: tuple[Flag, ...] = ()
    options: tuple[str, ...] = ()


def words_from(text: str, place: int) -> list[str]:
    """Give the words from `place` to the next border."""
    border = re.compile(r"[.?,] |$").search(text, place)
    end = border.start() if border else len(text)
    return text[place:end].split()[:MOST_WORDS]


def place_after(text: str, place: int, words: int) -> int:
    """Give the place after so many words."""
    for _ in range(words):
        place = text.index(" ", place) + 1
    return place
