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
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from . import lines, timing
from .arrays import log_sum_exp

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from .arrays import Bools, Floats, Ints
    from .case import Hunt
    from .evidence import Case

CROWD = 0.25  # concentration of the prior over partitions: two bees share one 4 in 5
CLAIM_ODDS = 6.0  # guess; keeps wrongly claimed colonies below 3 in 100 hunts
_DRAWS = 32
_DIRECTIONS, _RINGS = 120, 40
_NEAREST_M = 25.0
_PAIRS_UP_TO = 24  # bees; above, joining starts from groups grown one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Bees of one colony."""

    id: str
    bees: frozenset[int]
    use_bearing: Bools  # (B,) of the case


@dataclass(slots=True)
class _Scores:
    """Log likelihood of each bee over draws of the shared unknowns and places."""

    by_bee: dict[int, NDArray[np.float32]]  # (draws, places)
    log_prior: Floats  # (places,)
    _known: dict[frozenset[int], Floats] = field(default_factory=dict)

    def group(self, bees: frozenset[int]) -> Floats:
        """Return the log evidence of one colony for each draw; (draws,)."""
        if bees not in self._known:
            total = np.sum([self.by_bee[bee] for bee in sorted(bees)], axis=0)
            self._known[bees] = log_sum_exp(
                np.asarray(total + self.log_prior, dtype=np.float64), axis=1
            )
        return self._known[bees]

    def partition(self, groups: list[frozenset[int]]) -> float:
        """Return the log posterior of a partition, up to a constant."""
        from math import lgamma

        by_draw = np.sum([self.group(bees) for bees in groups], axis=0)
        prior = sum(float(np.log(CROWD)) + lgamma(len(bees)) for bees in groups)
        return float(log_sum_exp(np.asarray(by_draw), axis=0)) + prior


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
    scores = _scores(hunt)
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
    scores: _Scores, start: list[frozenset[int]], fixed: list[frozenset[int]]
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
    scores: _Scores, groups: list[frozenset[int]], fixed: list[frozenset[int]]
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


def _grown(scores: _Scores, bees: list[int]) -> list[frozenset[int]]:
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


def _scores(hunt: Hunt) -> _Scores:
    case = hunt.case
    reach = np.log(case.settings.distance_cut_m)
    edges = np.linspace(np.log(_NEAREST_M), reach, _RINGS + 1)
    u = 0.5 * (edges[1:] + edges[:-1])
    v = np.arange(_DIRECTIONS) * (2 * np.pi / _DIRECTIONS)
    r, turn = (a.ravel() for a in np.meshgrid(np.exp(u), v, indexing="ij"))
    xy = case.origin_xy + np.stack([r * np.sin(turn), r * np.cos(turn)], axis=-1)
    log_prior = case.log_prior(xy) + 2 * np.log(r)
    log_prior -= log_sum_exp(log_prior, axis=0)
    draws = _draw(case)
    by_bee = {}
    for bee in hunt.bees:
        value = np.zeros((_DRAWS, len(xy)))
        _add_times(case, bee, draws, xy, value)
        _add_lines(case, bee, draws, xy, value)
        by_bee[bee] = value.astype(np.float32)
    return _Scores(by_bee, log_prior)


def _draw(case: Case) -> Ints:
    """Return (draws, 4) node indices of speed, in-hive, offset and spread."""
    # Additive recurrence with powers of the root of x^6 = x + 1: even in 5-D.
    root = 1.1347241384015194
    k = np.arange(1, _DRAWS + 1)[:, None]
    uniform = (0.5 + k * root ** -np.arange(1.0, 6.0)) % 1.0
    result = np.zeros((_DRAWS, 4), dtype=np.intp)
    times, of_lines = (
        np.exp(nodes.log_weight) for nodes in (case.time_nodes, case.line_nodes)
    )
    by_kind = times.sum(axis=(1, 2)) * of_lines.sum(axis=(1, 2))
    poor = uniform[:, 4] > by_kind[0] / by_kind.sum()
    for column, weight in ((0, times), (2, of_lines)):
        for n in range(_DRAWS):
            joint = weight[int(poor[n])]
            i = _pick(joint.sum(axis=1), uniform[n, column])
            j = _pick(joint[i], uniform[n, column + 1])
            result[n, column : column + 2] = i, j
    return result


def _pick(weight: Floats, uniform: float) -> int:
    total = np.cumsum(weight)
    return int(np.searchsorted(total / total[-1], uniform))


def _add_times(case: Case, bee: int, draws: Ints, xy: Floats, value: Floats) -> None:
    nodes = case.time_nodes
    for times in case.times:
        if times.bee != bee:
            continue
        kernel = timing.bee_kernel(
            timing.in_hive_median_s(times.cargo, case.settings),
            nodes.ln_g,
            case.flight_nodes_s,
        )
        for place, table in zip(times.places, times.tables, strict=True):
            integrated = timing.over_bees(table, kernel)
            flight = case.places[place].flight_s(xy, case.settings)
            for n, (i, j, _, _) in enumerate(draws):
                at = timing.flight_position(flight * np.exp(-nodes.ln_f[i]))
                value[n] += timing.look_up(integrated[:, j : j + 1], at)[:, 0]


def _add_lines(case: Case, bee: int, draws: Ints, xy: Floats, value: Floats) -> None:
    nodes = case.line_nodes
    own = np.flatnonzero(case.bearing_bee == bee)
    for station in np.unique(case.bearing_station[own]):
        here = own[case.bearing_station[own] == station]
        table = lines.line_table(case.bearing_rad[here], case.rounding_rad[here], nodes)
        east, north = (xy - case.station_xy[station]).T
        direction = np.arctan2(east, north)
        for n, (_, _, i, j) in enumerate(draws):
            at = lines.direction_position(direction + nodes.offset_rad[i])
            value[n] += timing.look_up(table[:, j : j + 1], at)[:, 0]


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
