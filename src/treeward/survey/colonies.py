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

The evidence that a set of bees shares one colony.

The unknowns of the hunt are drawn once, by a low-discrepancy sequence, and every
partition of the bees is averaged over the same draws. Places are cells in log
distance and direction, split where the likelihood of a draw peaks.

Bees of one colony share the deviation of their station's line, bees of two colonies do
not: so the bearings of a group at a station are one table, with the deviation
integrated out for the group and not for each bee.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace
from math import lgamma
from typing import TYPE_CHECKING

import numpy as np

from . import directions as lines
from . import timing
from .evidence import Evidence
from .grid import focused_evidence, much_data
from .records import log_sum_exp

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from .case import CheckedHunt
    from .evidence import Case
    from .records import Bools, Floats, Ints


CROWD = 0.25  # concentration of the prior over partitions: two bees share one 4 in 5
_DRAWS = 32
_DIRECTIONS, _RINGS = 120, 40
_NEAREST_M = 25.0
_HALVINGS, _BEST = 3, 2  # rounds of splitting, cells split in each draw
_KEPT_TOTALS = 40  # groups whose likelihoods are kept to build others from


@dataclass(frozen=True, slots=True)
class _Draws:
    """Node indices of the shared unknowns, and how much each draw counts."""

    speed: Ints  # (draws,)
    hive: Ints
    spread: Ints
    offset: Ints  # (draws, observers)
    scatter: Ints
    log_weight: Floats  # (draws,)


@dataclass(frozen=True, slots=True)
class _Seat:
    """One observer's bearings at one station."""

    station: int
    observer: int
    by_bee: Mapping[int, Floats]  # (ANGLES, ns), blurred by the bee's own deviation


@dataclass(slots=True)
class Scores:
    """Log likelihood of groups of bees over draws of the shared unknowns and places."""

    case: Case
    draws: _Draws
    times: dict[int, NDArray[np.float32]]  # bee -> (draws, places)
    seats: list[_Seat]
    where: list[NDArray[np.intp]]  # for each seat (draws, places), into its table
    log_prior: Floats  # (places,)
    _known: dict[frozenset[int], Floats] = field(default_factory=dict)
    _totals: dict[frozenset[int], NDArray[np.float32]] = field(default_factory=dict)
    _lines: dict[tuple[int, frozenset[int]], timing.Table] = field(default_factory=dict)

    def group(self, bees: frozenset[int]) -> Floats:
        """Return the log evidence of one colony for each draw; (draws,)."""
        if bees not in self._known:
            value = self.total(bees) + self.log_prior.astype(np.float32)
            top = value.max(axis=1)
            likelihood = np.exp(value - top[:, None])
            self._known[bees] = np.log(likelihood.sum(axis=1, dtype=np.float64)) + top
        return self._known[bees]

    def total(self, bees: frozenset[int]) -> NDArray[np.float32]:
        """Return the log likelihood of one colony; (draws, places)."""
        if bees not in self._totals:
            base = self._nearest(bees)
            new = bees - base
            if base:
                total = self._totals[base].copy()
            else:
                total = np.zeros_like(next(iter(self.times.values())))
            for bee in sorted(new):
                total += self.times[bee]
            for n, seat in enumerate(self.seats):
                own = bees.intersection(seat.by_bee)
                before = base.intersection(seat.by_bee)
                if own != before:
                    total += self._of_seat(n, own)
                    if before:
                        total -= self._of_seat(n, before)
            while len(self._totals) >= _KEPT_TOTALS:
                del self._totals[next(iter(self._totals))]
            self._totals[bees] = total
        return self._totals[bees]

    def _nearest(self, bees: frozenset[int]) -> frozenset[int]:
        """Return the largest kept group that these bees hold."""
        inside = [known for known in self._totals if known < bees]
        return max(inside, key=len, default=frozenset())

    def _of_seat(self, number: int, bees: frozenset[int]) -> NDArray[np.float32]:
        key = (number, bees)
        if key not in self._lines:
            by_bee = self.seats[number].by_bee
            table = np.sum([by_bee[bee] for bee in sorted(bees)], axis=0)
            self._lines[key] = lines.station_table(table, self.case.line_nodes)
        return np.take(self._lines[key].ravel(), self.where[number])

    def partition(self, groups: list[frozenset[int]]) -> float:
        """Return the log posterior of a partition, up to a constant."""
        by_draw = np.sum([self.group(bees) for bees in groups], axis=0)
        prior = sum(float(np.log(CROWD)) + lgamma(len(bees)) for bees in groups)
        return float(log_sum_exp(by_draw + self.draws.log_weight, axis=0)) + prior


def score_bees(hunt: CheckedHunt) -> Scores:
    """Return every bee's likelihood over draws of the shared unknowns and places."""
    case = hunt.case
    everything = np.ones(len(hunt.bearing_used), dtype=bool)
    if much_data(case, hunt.bees, everything):
        # Draws from the prior would all miss what so much data says of the hunt; a
        # split would then be claimed to make up for it. Draws from the posterior of
        # one colony lean towards one, and clear splits stand all the same.
        whole = Evidence(case, frozenset(hunt.bees), everything)
        narrow, _ = focused_evidence(whole)
        _, of_one = focused_evidence(narrow)
        case = narrow.case
        seats = _seats_of(case)
        draws = _draw(
            of_one.times[None], of_one.offsets[None], of_one.scatter[None], None
        )
    else:
        seats = _seats_of(case)
        nodes = case.line_nodes
        draws = _draw(
            np.exp(case.time_nodes.log_weight),
            np.exp(log_sum_exp(nodes.offset_log_weight, axis=3)),
            np.exp(nodes.scatter_log_weight),
            (_spread_fit(case, hunt.bees), _scatter_fit(seats, nodes.sd_rad.size)),
        )
    # Only nodes of scatter that were drawn are looked up.
    used, scatter = np.unique(draws.scatter, return_inverse=True)
    draws = replace(draws, scatter=np.ravel(scatter))
    case = replace(case, line_nodes=case.line_nodes.only(used))
    seats = [
        replace(seat, by_bee={bee: own[:, used] for bee, own in seat.by_bee.items()})
        for seat in seats
    ]
    cells = _Cells.polar(case)
    scores = _scored(case, hunt.bees, draws, seats, cells)
    everyone = frozenset(hunt.bees)
    for _ in range(_HALVINGS):
        total = scores.total(everyone) + cells.log_mass(case)
        best = np.unique(np.argpartition(-total, _BEST, axis=1)[:, :_BEST])
        kept = np.setdiff1d(np.arange(len(cells.u)), best)
        finer = cells.split(best)
        added = _scored(case, hunt.bees, draws, seats, finer)
        scores.times = {
            bee: np.concatenate([value[:, kept], added.times[bee]], axis=1)
            for bee, value in scores.times.items()
        }
        scores.where = [
            np.concatenate([old[:, kept], new], axis=1)
            for old, new in zip(scores.where, added.where, strict=True)
        ]
        scores._totals.clear()
        cells = cells.only(kept).joined(finer)
    log_prior = cells.log_mass(case)
    scores.log_prior = log_prior - log_sum_exp(log_prior, axis=0)
    return scores


def _seats_of(case: Case) -> list[_Seat]:
    """Return the bearings of marked bees, by station and observer."""
    marked = np.flatnonzero(case.bearing_bee >= 0)
    return [
        _Seat(
            station,
            observer,
            lines.bee_tables(
                case.bearing_rad[own],
                case.rounding_rad[own],
                case.bearing_bee[own],
                nodes=case.line_nodes,
            ),
        )
        for station, observer, own in case.seats(marked)
    ]


def _spread_fit(case: Case, bees: tuple[int, ...]) -> Floats:
    """Return how well each spread suits the bees, wherever they may fly; (nk,)."""
    fit = np.zeros(len(case.spreads))
    for times in case.times:
        if times.bee in bees:
            for table in times.tables:
                best = table.max(axis=(1, 2)).astype(np.float64)
                fit += np.log(case.near @ np.exp(best - best.max())) + best.max()
    return np.asarray(fit - fit.max())


def _scatter_fit(seats: list[_Seat], count: int) -> Floats:
    """Return how well each scatter suits the bees, wherever they may fly; (ns,)."""
    fit = np.zeros(count)
    for seat in seats:
        for table in seat.by_bee.values():
            fit += table.max(axis=0)
    return np.asarray(fit - fit.max())


@dataclass(frozen=True, slots=True)
class _Cells:
    """Cells in log distance and direction about the first station."""

    u: Floats
    v: Floats
    du: Floats
    dv: Floats

    @classmethod
    def polar(cls, case: Case) -> _Cells:
        low, high = np.log(_NEAREST_M), np.log(case.settings.distance_cut_m)
        du, dv = (high - low) / _RINGS, 2 * np.pi / _DIRECTIONS
        u, v = np.meshgrid(
            low + (np.arange(_RINGS) + 0.5) * du,
            np.arange(_DIRECTIONS) * dv,
            indexing="ij",
        )
        size = np.ones(u.size)
        return cls(u.ravel(), v.ravel(), du * size, dv * size)

    def xy(self, case: Case) -> Floats:
        way = np.stack([np.sin(self.v), np.cos(self.v)], axis=-1)
        return np.asarray(case.origin_xy + np.exp(self.u)[:, None] * way)

    def log_mass(self, case: Case) -> Floats:
        """Return the log prior mass of each cell."""
        area = 2 * self.u + np.log(self.du * self.dv)
        return np.asarray(case.log_prior(self.xy(case)) + area)

    def only(self, chosen: Ints) -> _Cells:
        return _Cells(self.u[chosen], self.v[chosen], self.du[chosen], self.dv[chosen])

    def split(self, chosen: Ints) -> _Cells:
        """Return some cells split into three by three."""
        step = np.array([-1.0, 0.0, 1.0]) / 3.0
        du, dv = self.du[chosen], self.dv[chosen]
        u = self.u[chosen, None, None] + du[:, None, None] * step[:, None]
        v = self.v[chosen, None, None] + dv[:, None, None] * step[None, :]
        return _Cells(
            np.broadcast_to(u, (len(chosen), 3, 3)).ravel(),
            np.broadcast_to(v, (len(chosen), 3, 3)).ravel(),
            np.repeat(du / 3.0, 9),
            np.repeat(dv / 3.0, 9),
        )

    def joined(self, other: _Cells) -> _Cells:
        return _Cells(
            np.append(self.u, other.u),
            np.append(self.v, other.v),
            np.append(self.du, other.du),
            np.append(self.dv, other.dv),
        )


def _scored(
    case: Case, bees: tuple[int, ...], draws: _Draws, seats: list[_Seat], cells: _Cells
) -> Scores:
    """Return the likelihoods of the trips, and where bearings are looked up."""
    xy = cells.xy(case)
    nodes = case.time_nodes
    shape = (len(draws.speed), len(xy))
    times = {bee: np.zeros(shape, dtype=np.float32) for bee in bees}
    positions: dict[int, Floats] = {}
    for one in case.times:
        if one.bee not in times:
            continue
        kernel = timing.bee_kernel(
            timing.in_hive_median_s(one.cargo, case.settings),
            nodes.ln_g,
            case.flight_nodes_s,
        )
        for place, table in zip(one.places, one.tables, strict=True):
            if place not in positions:
                flight = case.places[place].flight_s(xy, case.settings, nodes)
                positions[place] = timing.flight_position(flight)
            over = timing.over_bees(table, kernel, case.near)
            for n in range(shape[0]):
                column = over[:, draws.hive[n], draws.spread[n]][:, None]
                at = positions[place][:, draws.speed[n]]
                times[one.bee][n] += timing.look_up(column, at)[:, 0]
    where = []
    of_lines = case.line_nodes
    for seat in seats:
        step = xy - case.station_xy[seat.station]
        size = np.round(of_lines.deviation_position(np.hypot(*step.T))).astype(np.intp)
        offset = of_lines.offset_rad[seat.observer][draws.offset[:, seat.observer]]
        turn = np.arctan2(step[:, 0], step[:, 1])[None, :] + offset[:, None]
        row = np.round(lines.direction_position(turn)).astype(np.intp) % lines.ANGLES
        row += size[None, :] * lines.ANGLES
        where.append(row * of_lines.sd_rad.size + draws.scatter[:, None])
    return Scores(case, draws, times, seats, where, np.zeros(len(xy)))


def _draw(
    times: Floats,
    offsets: Floats,
    scatter: Floats,
    towards: tuple[Floats, Floats] | None,
) -> _Draws:
    """Draw node indices of the shared unknowns.

    Parameters
    ----------
    times, offsets, scatter
        (k, nf, ng, nk), (k, observers, no) and (k, ns) weights of the nodes for k
        kinds of hunt.
    towards
        Log fit of the spreads and of the scatters, to draw more of those that suit;
        each draw then counts for so much less.
    """
    log_weight = np.zeros(_DRAWS)
    if towards is not None:
        times = times * np.exp(towards[0])
        scatter = scatter * np.exp(towards[1])
    observers = offsets.shape[1]
    # Additive recurrence with powers of the root of x^(d + 1) = x + 1: even in d
    # dimensions.
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (6 + observers))
    n = np.arange(1, _DRAWS + 1)[:, None]
    uniform = (0.5 + n * root ** -np.arange(1.0, 6.0 + observers)) % 1.0
    by_kind = times.sum(axis=(1, 2, 3)) * scatter.sum(axis=1)
    picks = np.zeros((_DRAWS, 4), dtype=np.intp)
    offset = np.zeros((_DRAWS, observers), dtype=np.intp)
    for row, own, at in zip(picks, offset, uniform, strict=True):
        kind = _pick(by_kind, at[4])
        row[0] = _pick(times[kind].sum(axis=(1, 2)), at[0])
        row[1] = _pick(times[kind, row[0]].sum(axis=1), at[1])
        row[2] = _pick(times[kind, row[0], row[1]], at[2])
        row[3] = _pick(scatter[kind], at[3])
        for one in range(observers):
            own[one] = _pick(offsets[kind, one], at[5 + one])
    if towards is not None:
        log_weight = -towards[0][picks[:, 2]] - towards[1][picks[:, 3]]
    speed, hive, spread, of_scatter = picks.T
    return _Draws(speed, hive, spread, offset, of_scatter, log_weight)


def _pick(weight: Floats, uniform: float) -> int:
    total = np.cumsum(weight)
    return min(int(np.searchsorted(total / total[-1], uniform)), weight.size - 1)


CLAIM_ODDS = 3.0  # guess; of 100 hunts with every trouble, 3 were split wrongly
_PAIRS_UP_TO = 24  # bees; above, joining starts from groups grown one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Bees of one colony."""

    id: str
    bees: frozenset[int]
    use_bearing: Bools  # (B,) of the case


def group_bees(
    hunt: CheckedHunt, names: tuple[str, ...]
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
    hunt: CheckedHunt, groups: list[frozenset[int]], fixed: dict[str, frozenset[int]]
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
