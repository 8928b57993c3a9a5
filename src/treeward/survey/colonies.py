"""Which bees share a colony.

For a set of bees, the evidence that they share one colony is the integral over all
places of prior times likelihood. Partitions of the bees are compared by the product
of these, the unknowns of the hunt being shared by all colonies: they are drawn once
from their prior by a low-discrepancy sequence, and every partition is averaged over
the same draws. The prior over partitions is a Chinese restaurant process, which
makes up for there being many ways to split.

Groups are found by joining: from every bee on its own, the two groups that gain most
are joined, until one is left, and the best partition on the way is taken. A second
colony is claimed only when its odds against fewer are better than `CLAIM_ODDS`.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .bee_scores import Scores, score_bees

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .arrays import Bools
    from .case import Hunt

CLAIM_ODDS = 3.0  # guess; of 100 hunts with every trouble, 3 were split wrongly
_PAIRS_UP_TO = 24  # bees; above, joining starts from groups grown one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Bees of one colony."""

    id: str
    bees: frozenset[int]
    use_bearing: Bools  # (B,) of the case


def group_bees(
    hunt: Hunt, names: tuple[str, ...]
) -> tuple[list[Group], Mapping[tuple[str, str], float]]:
    """Return the colonies, and how likely each two marks share one.

    Parameters
    ----------
    hunt
        A prepared hunt.
    names
        Marks, by index of bee.
    """
    assigned = hunt.case.settings.assigned
    everything = np.ones(len(hunt.case.bearing_bee), dtype=bool)
    fixed: dict[str, frozenset[int]] = {}
    for bee in hunt.bees:
        if names[bee] in assigned:
            key = assigned[names[bee]]
            fixed[key] = fixed.get(key, frozenset()) | {bee}
    if len(hunt.bees) < 2:
        name = next(iter(fixed), "A")
        return [Group(id=name, bees=frozenset(hunt.bees), use_bearing=everything)], {}
    scores = score_bees(hunt)
    free = [bee for bee in hunt.bees if names[bee] not in assigned]
    start = list(fixed.values()) + _grown(scores, free)
    best = _joined(scores, start, list(fixed.values()))
    pairs: dict[tuple[str, str], float] = {}
    if len(hunt.bees) <= _PAIRS_UP_TO:
        for i, j in itertools.combinations(hunt.bees, 2):
            together = scores.partition([frozenset({i, j})])
            apart = scores.partition([frozenset({i}), frozenset({j})])
            pairs[names[i], names[j]] = float(1.0 / (1.0 + np.exp(apart - together)))
    return _named(hunt, best, fixed), pairs


def _joined(
    scores: Scores, start: list[frozenset[int]], fixed: list[frozenset[int]]
) -> list[frozenset[int]]:
    """Join groups step by step; return the partition to claim."""

    def owners(group: frozenset[int]) -> int:
        return sum(bool(group & own) for own in fixed)

    current = list(start)
    path = [(scores.partition(current), current)]
    while True:
        options = []
        for a, b in itertools.combinations(range(len(current)), 2):
            union = current[a] | current[b]
            if owners(union) > 1:
                continue
            rest = [g for k, g in enumerate(current) if k not in {a, b}]
            options.append((scores.partition([*rest, union]), a, b))
        if not options:
            break
        _, a, b = max(options)
        union = current[a] | current[b]
        current = [g for k, g in enumerate(current) if k not in {a, b}] + [union]
        current = _settled(scores, current, fixed)
        path.append((scores.partition(current), current))
    # From the fewest colonies up, each claim must be worth its odds.
    path.reverse()
    claimed = path[0]
    for candidate in path[1:]:
        extra = len(candidate[1]) - len(claimed[1])
        if candidate[0] > claimed[0] + extra * np.log(CLAIM_ODDS):
            claimed = candidate
    return claimed[1]


def _settled(
    scores: Scores, groups: list[frozenset[int]], fixed: list[frozenset[int]]
) -> list[frozenset[int]]:
    """Move single bees between groups while that helps."""
    bound = frozenset().union(*fixed) if fixed else frozenset()
    best = scores.partition(groups)
    for _ in range(3):
        moved = False
        for bee in sorted(frozenset().union(*groups) - bound):
            home = next(k for k, g in enumerate(groups) if bee in g)
            if len(groups[home]) == 1:
                continue
            for other in range(len(groups)):
                if other == home:
                    continue
                trial = list(groups)
                trial[home] = groups[home] - {bee}
                trial[other] = groups[other] | {bee}
                value = scores.partition(trial)
                if value > best + 1e-9:
                    groups, best, moved = trial, value, True
                    break
        if not moved:
            break
    return groups


def _grown(scores: Scores, bees: list[int]) -> list[frozenset[int]]:
    """Return bees on their own, or, if many, in groups grown one by one."""
    if len(bees) <= _PAIRS_UP_TO:
        return [frozenset({bee}) for bee in bees]
    groups: list[frozenset[int]] = []
    for bee in bees:
        options = [
            scores.partition([*groups[:k], g | {bee}, *groups[k + 1 :]])
            for k, g in enumerate(groups)
        ]
        alone = scores.partition([*groups, frozenset({bee})])
        if options and max(options) >= alone:
            k = int(np.argmax(options))
            groups[k] |= {bee}
        else:
            groups.append(frozenset({bee}))
    return groups


def _named(
    hunt: Hunt, groups: list[frozenset[int]], fixed: dict[str, frozenset[int]]
) -> list[Group]:
    """Name groups: as assigned, else A, B, ... by the number of trips."""
    case = hunt.case

    def weight(group: frozenset[int]) -> tuple[int, int, int]:
        trips = sum(t.trips for t in case.times if t.bee in group)
        seen = int(np.isin(case.bearing_bee, list(group)).sum())
        return (-trips, -seen, min(group))

    letters = (
        letter
        for size in (1, 2)
        for word in itertools.product("ABCDEFGHIJKLMNOPQRSTUVWXYZ", repeat=size)
        if (letter := "".join(word)) not in fixed
    )
    single = len(groups) == 1
    result = []
    for group in sorted(groups, key=weight):
        given = [key for key, own in fixed.items() if group & own]
        use = np.isin(case.bearing_bee, list(group))
        if single:
            use |= case.bearing_bee < 0
        result.append(
            Group(id=given[0] if given else next(letters), bees=group, use_bearing=use)
        )
    return result
