"""What a note "searched here, nothing" says was looked at."""

from __future__ import annotations

import re
from enum import StrEnum


class LookedAt(StrEnum):
    """What was looked at, and held no colony."""

    GROUND = "ground"  # the way walked since the note before
    TREE = "tree"  # the one that one stands at
    WALL = "wall"  # along a wall, since the note before
    DISH = "dish"  # no bee visits a dish here


_WORDS: tuple[tuple[LookedAt, frozenset[str]], ...] = (
    (LookedAt.DISH, frozenset({"bee", "bees", "dish", "feeder", "visitors"})),
    (LookedAt.TREE, frozenset({"tree", "trunk", "hole", "hollow"})),
    (LookedAt.WALL, frozenset({"wall", "walls", "bank", "hedge"})),
)


def looked_at(words: str) -> LookedAt:
    """Return what words tell was looked at; the ground about where they do not.

    Examples
    --------
    >>> looked_at("tree checked nothing")
    <LookedAt.TREE: 'tree'>
    >>> looked_at("nothing along the wall")
    <LookedAt.WALL: 'wall'>
    >>> looked_at("")
    <LookedAt.GROUND: 'ground'>
    """
    said = set(re.findall(r"[a-z]+", words.casefold()))
    return next((what for what, of in _WORDS if said & of), LookedAt.GROUND)
