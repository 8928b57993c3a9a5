"""The walk that finds the nest soonest: which strips, in which order, by when.

The likeliest ground is cut into short strips a sweep width apart. From where one stands
the next strip is the one that promises most for the minutes it takes to get there and
to look along it, with a look at the one after it. A strip that was looked along keeps
its share of what a look misses (`search.hidden`), and may be walked again
before a poor strip is walked at all. Several cuttings of the ground are tried; the plan
whose mean time is shortest stays.

The shortest way on foot from place to place, round what must not be entered.

Straight over the ground where nothing is in between; else over the corners of what is
left out, and along paths, which are walked faster.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .frame import crosses, inside_ring
from .grid import search_areas
from .records import Searched, Strip
from .search import HALF, MOST_EFFORT, expected_effort_m2, hidden

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from .case import CheckedHunt
    from .frame import LocalFrame
    from .grid import Grid
    from .records import Bools, Floats, Ints, Sitting
    from .search import Searching, Update


_MOST_NODES = 240  # corners and places along paths; choice
_CLEAR_M = 2.0  # a corner is passed at this distance; choice


class Ways:
    """Walking times about polygons and along paths, in the local frame.

    Parameters
    ----------
    left_out
        (n, 2) rings that no way may enter [m].
    paths
        (n, 2) lines [m].
    walk_mps, path_mps
        Speed over the ground and along a path.
    """

    def __init__(
        self,
        left_out: Sequence[Floats],
        paths: Sequence[Floats],
        *,
        walk_mps: float,
        path_mps: float,
    ) -> None:
        self.left_out = list(left_out)
        self._walk_mps = walk_mps
        corners = [_outside(ring) for ring in self.left_out]
        along = _spaced(paths, _MOST_NODES - sum(map(len, corners)))
        nodes = [*corners, *along]
        self._node_xy = np.concatenate(nodes) if nodes else np.empty((0, 2))
        count = len(self._node_xy)
        apart = _apart(self._node_xy, self._node_xy)
        self._time_s = np.where(
            self._seen(self._node_xy, self._node_xy), apart / walk_mps, np.inf
        )
        first = sum(map(len, corners))
        for line in along:
            own = np.arange(first, first + len(line))
            steps = apart[own[:-1], own[1:]] / path_mps
            open_ = self._seen_along(line[:-1], line[1:])
            for a, b, step in zip(own[:-1][open_], own[1:][open_], steps[open_],
                                  strict=True):  # fmt: skip
                self._time_s[a, b] = self._time_s[b, a] = min(step, self._time_s[a, b])
            first += len(line)
        # Floyd and Warshall, with the first step of each way kept.
        self._next = np.tile(np.arange(count), (count, 1))
        for by in range(count):
            over = self._time_s[:, by, None] + self._time_s[None, by, :]
            shorter = over < self._time_s
            self._time_s[shorter] = over[shorter]
            self._next[shorter] = np.broadcast_to(
                self._next[:, by, None], self._next.shape
            )[shorter]

    def clear(self, xy: Floats) -> Bools:
        """Return which of (n, 2) places may be entered."""
        free = np.ones(len(xy), dtype=bool)
        for ring in self.left_out:
            free &= ~inside_ring(xy, ring)
        return free

    def straight(self, start: Floats, end: Floats) -> Bools:
        """Return which straight ways from (n, 2) to (n, 2) enter nothing left out."""
        return self._seen_along(start, end)

    def from_nodes(self, places: Floats) -> Floats:
        """Return the time from each node straight to each of (n, 2) places [s].

        Worked out once for places that are asked for often.
        """
        apart = _apart(self._node_xy, places)
        seen = self._seen(self._node_xy, places)
        return np.asarray(np.where(seen, apart / self._walk_mps, np.inf))

    def times(self, start: Floats, places: Floats, from_nodes: Floats) -> Floats:
        """Return the walking time from a place to each of (n, 2) others [s]."""
        here = start[None, :]
        direct: Floats = np.hypot(*(places - here).T) / self._walk_mps
        if not len(self._node_xy):
            return direct
        if self.left_out:
            open_ = self._seen_along(np.broadcast_to(here, places.shape), places)
            direct = np.where(open_, direct, np.inf)
        to_nodes = (self.from_nodes(here)[:, 0][:, None] + self._time_s).min(axis=0)
        over = (to_nodes[:, None] + from_nodes).min(axis=0)
        return np.asarray(np.minimum(direct, over))

    def way(self, start: Floats, end: Floats) -> Floats:
        """Return the (m, 2) places to pass between two others; none if straight on."""
        nodes = self._node_xy
        if not len(nodes):
            return nodes
        one, two = self.from_nodes(start[None, :])[:, 0], self.from_nodes(end[None, :])
        total = one[:, None] + self._time_s + two[:, 0][None, :]
        a, b = np.unravel_index(int(np.argmin(total)), total.shape)
        direct = np.hypot(*(end - start)) / self._walk_mps
        open_ = bool(self._seen_along(start[None, :], end[None, :])[0])
        if (open_ and direct <= total[a, b]) or not np.isfinite(total[a, b]):
            return nodes[:0]
        passed = [int(a)]
        while passed[-1] != b:
            passed.append(int(self._next[passed[-1], b]))
        return nodes[passed]

    def _seen(self, one: Floats, two: Floats) -> Bools:
        """Return (n, m): which of the straight ways enter nothing left out."""
        if not self.left_out or not len(one):
            return np.ones((len(one), len(two)), dtype=bool)
        start = np.repeat(one, len(two), axis=0)
        end = np.tile(two, (len(one), 1))
        return self._seen_along(start, end).reshape(len(one), len(two))

    def _seen_along(self, start: Floats, end: Floats) -> Bools:
        free = np.ones(len(start), dtype=bool)
        for ring in self.left_out:
            free &= ~crosses(start, end, ring)
        return free


def _apart(one: Floats, two: Floats) -> Floats:
    apart: Floats = np.hypot(*(one[:, None, :] - two[None, :, :]).transpose(2, 0, 1))
    return apart


def _outside(ring: Floats) -> Floats:
    """Return places just outside the corners of a ring, whatever its turn."""
    ring = ring[:-1] if len(ring) > 1 and (ring[0] == ring[-1]).all() else ring
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)

    def unit(step: Floats) -> Floats:
        return np.asarray(step / np.maximum(np.hypot(*step.T), 1e-9)[:, None])

    aside = unit(before - ring) + unit(after - ring)
    flat = np.hypot(*aside.T) < 1e-6
    aside[flat] = (unit(after - ring) @ np.array([[0.0, 1.0], [-1.0, 0.0]]))[flat]
    near = ring + _CLEAR_M * unit(aside)
    inward = inside_ring(near, ring)
    return np.asarray(np.where(inward[:, None], ring - _CLEAR_M * unit(aside), near))


def _spaced(paths: Sequence[Floats], most: int) -> list[Floats]:
    """Return paths with places at even steps, `most` of them in all."""
    lengths = [np.hypot(*np.diff(line, axis=0).T) for line in paths]
    total = sum(float(length.sum()) for length in lengths)
    if most < 2 or not total:
        return []
    step = max(20.0, total / max(1, most - 2 * len(paths)))
    result = []
    for line, length in zip(paths, lengths, strict=True):
        reached = np.concatenate([[0.0], np.cumsum(length)])
        if not reached[-1]:
            continue
        at = np.linspace(0.0, reached[-1], max(2, int(np.ceil(reached[-1] / step)) + 1))
        result.append(
            np.stack([np.interp(at, reached, line[:, k]) for k in (0, 1)], axis=-1)
        )
    return result


STRIP_M = 60.0  # longest piece of a lane decided on at once; choice
PLAN_S = 6 * 3600.0  # more is not walked before the next plan; choice
MOST_STRIPS = 60  # in the plan: nobody follows more; choice
_MOST_PIECES = 500  # of the ground cut up: larger ground gets wider lanes; choice
_LOOKED_AT = 8  # best next pieces of which the one after is tried; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces:
    """Ground cut into short strips; k of them.

    `effort` is W l / A of one walk along each, `spent` what its ground got before.
    """

    ends: Floats  # (k, 2, 2) metres
    held: Floats  # (k,) probability
    effort: Floats  # (k,)
    spent: Floats  # (k,)
    lane: Ints  # (k,)
    cells: Ints  # (n,) of the grid, that lie in a strip
    strip: Ints  # (n,) in which


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """A strip as it is walked."""

    start: Floats  # (2,)
    end: Floats  # (2,)
    way: Floats  # (m, 2) passed on the way to its start
    reach_s: float  # walking to its start
    look_s: float
    found: float  # chance that it is found here and not before
    lane: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkPlan:
    """A plan: strips in order, and how soon they find.

    Attributes
    ----------
    legs
        In the order in which they are walked.
    mean_s
        Mean time to the nest, with what the plan leaves searched at best afterwards.
    found_if_half
        Chance that the walk finds it where one sees half as far as W says; the map it
        sets out from is as it stands.
    """

    legs: tuple[Leg, ...]
    mean_s: float
    found_if_half: float = 0.0

    @property
    def found(self) -> float:
        """Chance that the walk finds the nest."""
        return sum(leg.found for leg in self.legs)


def plan_walk(
    grid: Grid,
    searching: Searching,
    *,
    start: Floats,
    ways: Ways,
    longest_s: float = PLAN_S,
    spent: Floats | None = None,
) -> WalkPlan:
    """Return the walk that finds the nest soonest.

    Parameters
    ----------
    grid
        Where the nest probably is.
    searching
        Sweep width and speeds.
    start
        (2,) where one stands, in the grid's frame [m].
    ways
        What must not be entered, and paths.
    longest_s
        How long a walk to plan.
    spent
        (n,) effort W l / A that the grid's cells got before; None for none.
    """
    chosen = _worth_walking(grid, searching, ways, longest_s)
    best: WalkPlan | None = None
    spent = np.zeros(len(grid.xy)) if spent is None else spent
    spent = np.minimum(spent, MOST_EFFORT)
    for turned in (False, True) if len(chosen) else ():
        pieces = _cut(grid, chosen, spent, searching, ways, turned=turned)
        if not len(pieces.held):
            continue
        for ahead in (False, True):
            walker = _Walker(grid, pieces, searching, ways, spent)
            walk = walker.walk(start, longest_s, ahead=ahead)
            if best is None or walk.mean_s < best.mean_s:
                best = walk
    return best or WalkPlan(legs=(), mean_s=mean_search_s(grid, searching, spent))


def mean_search_s(
    grid: Grid, searching: Searching, spent: Floats | float = 0.0
) -> float:
    """Return the mean time to the nest if one were at once where it pays most [s].

    `spent` is the effort W l / A that the cells got before.
    """
    effort = float(expected_effort_m2(grid.probability, grid.cell_m**2, spent))
    return effort / (searching.sweep_width_m * searching.look_mps)


def walk_from(hunt: CheckedHunt, update: Update, searching: Searching) -> WalkPlan:
    """Return the walk from where the person stands, round what is left out."""
    frame, settings = hunt.frame, hunt.case.settings
    if searching.start is not None:
        lat, lon = searching.start
        start = frame.to_xy(np.array([lat]), np.array([lon]))[0]
    elif hunt.stations_used:
        start = hunt.case.station_xy[hunt.stations_used[-1]]
    else:
        start = hunt.case.origin_xy
    ways = Ways(
        [frame.to_xy(r[:, 1], r[:, 0]) for r in map(np.asarray, settings.leave_out)],
        [frame.to_xy(line[:, 1], line[:, 0]) for line in searching.paths],
        walk_mps=searching.walk_mps,
        path_mps=searching.path_mps,
    )
    return plan_walk(
        update.after, searching, start=start, ways=ways, spent=update.effort
    )


def searched(
    update: Update,
    searching: Searching,
    frame: LocalFrame,
    walk: WalkPlan,
    sitting: Sitting | None,
) -> Searched:
    """Return what looking has told, and what looking on would take."""
    return Searched(
        found_by_now=update.found_by_now if searching.looked else 0.0,
        found_if_half=update.found_if_half if searching.looked else 0.0,
        still_inside=update.still_inside,
        before_area=search_areas(update.before, frame)[90],
        ground_used=update.ground_used,
        mean_s=walk.mean_s,
        plan_s=sum(leg.reach_s + leg.look_s for leg in walk.legs),
        plan_finds=walk.found,
        plan_finds_if_half=walk.found_if_half,
        sitting=sitting,
    )


def strips(
    walk: WalkPlan, frame: LocalFrame, *, most: int = MOST_STRIPS
) -> tuple[Strip, ...]:
    """Return a walk's strips at the door, pieces of a lane in a row joined."""
    result: list[Strip] = []
    clock = 0.0
    for run in _runs(walk.legs):
        first, last = run[0], run[-1]
        clock += sum(leg.reach_s + leg.look_s for leg in run)
        (lon1, lat1), (lon2, lat2) = frame.to_lonlat(np.stack([first.start, last.end]))
        result.append(
            Strip(
                start_latitude_deg=float(lat1),
                start_longitude_deg=float(lon1),
                end_latitude_deg=float(lat2),
                end_longitude_deg=float(lon2),
                probability=float(sum(leg.found for leg in run)),
                way=tuple(
                    (float(lon), float(lat))
                    for lon, lat in (
                        frame.to_lonlat(first.way) if len(first.way) else first.way
                    )
                ),
                done_s=float(clock),
            )
        )
        if len(result) == most:
            break
    return tuple(result)


def _runs(legs: Sequence[Leg]) -> Iterator[list[Leg]]:
    """Give legs that go straight on from one another together."""
    run: list[Leg] = []
    for leg in legs:
        if run and not (
            leg.lane == run[-1].lane
            and not len(leg.way)
            and np.hypot(*(leg.start - run[-1].end)) < 1.0
            and (leg.end - leg.start) @ (run[-1].end - run[-1].start) > 0
        ):
            yield run
            run = []
        run.append(leg)
    if run:
        yield run


def _worth_walking(
    grid: Grid, searching: Searching, ways: Ways, longest_s: float
) -> Ints:
    """Return the likeliest cells, twice what can be looked along in the time."""
    order = grid.inside(0.98)
    order = order[ways.clear(grid.xy[order]) & (grid.probability[order] > 0)]
    area_m2 = 2.0 * longest_s * searching.look_mps * searching.sweep_width_m
    return order[: int(np.ceil(area_m2 / grid.cell_m**2))]


def _cut(
    grid: Grid,
    chosen: Ints,
    spent: Floats,
    searching: Searching,
    ways: Ways,
    *,
    turned: bool,
) -> Pieces:
    """Cut cells into strips along, or across, the longer axis of them all."""
    xy, held = grid.xy[chosen], grid.probability[chosen]
    middle = held @ xy / held.sum()
    centred = xy - middle
    _, vectors = np.linalg.eigh((centred * held[:, None]).T @ centred)
    long, cross = (vectors[:, 0], vectors[:, 1]) if turned else vectors.T[::-1]
    along, across = centred @ long, centred @ cross
    cell, width_m = grid.cell_m, searching.sweep_width_m
    # A lane narrower than a cell would have no ground of its own.
    lane_m = max(width_m, cell)
    while len(xy) * cell**2 / (lane_m * STRIP_M) > _MOST_PIECES:
        lane_m *= 1.25
    lane = np.floor(across / lane_m + 0.5).astype(np.intp)
    piece = np.floor(along / STRIP_M).astype(np.intp)
    key = np.stack([lane, piece], axis=1)
    distinct, place = np.unique(key, axis=0, return_inverse=True)
    place = np.ravel(place)
    count = len(distinct)
    share = np.asarray(np.bincount(place, weights=held, minlength=count), np.float64)
    cells = np.bincount(place, minlength=count)
    before = np.bincount(place, weights=spent[chosen], minlength=count) / cells
    ground = cells * cell**2
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, place, along)
    np.maximum.at(high, place, along)
    # Half a cell beyond the outer cells' middles, but not into the next strip.
    low = np.maximum(low - cell / 2, distinct[:, 1] * STRIP_M)
    high = np.minimum(high + cell / 2, (distinct[:, 1] + 1) * STRIP_M)
    high = np.maximum(high, low + 1.0)
    offset = distinct[:, 0] * lane_m
    ends = middle + np.stack(
        [at[:, None] * long + offset[:, None] * cross for at in (low, high)], axis=1
    )
    effort = width_m * (high - low) / ground
    open_ = ways.straight(ends[:, 0], ends[:, 1])
    open_ &= ways.clear(ends[:, 0]) & ways.clear(ends[:, 1])
    number = np.where(open_, np.cumsum(open_) - 1, -1)[place]
    return Pieces(
        ends=ends[open_],
        held=share[open_],
        effort=effort[open_],
        spent=before[open_],
        lane=distinct[open_, 0],
        cells=chosen[number >= 0],
        strip=number[number >= 0],
    )


class _Walker:
    """Walks strips, each time to the one that promises most."""

    def __init__(
        self,
        grid: Grid,
        pieces: Pieces,
        searching: Searching,
        ways: Ways,
        spent: Floats,
    ) -> None:
        self._spent = spent
        self._grid, self._pieces, self._searching = grid, pieces, searching
        self._ways = ways
        count = len(pieces.held)
        # Each strip may be begun at either end: entries 0..k-1, then k..2k-1.
        self._entry = np.concatenate([pieces.ends[:, 0], pieces.ends[:, 1]])
        self._leave = np.concatenate([pieces.ends[:, 1], pieces.ends[:, 0]])
        self._strip = np.tile(np.arange(count), 2)
        self._from_nodes = ways.from_nodes(self._entry)
        length = np.hypot(*(pieces.ends[:, 1] - pieces.ends[:, 0]).T)
        self._look_s = np.tile(length / searching.look_mps, 2)
        self._onward: dict[int, Floats] = {}

    def walk(self, start: Floats, longest_s: float, *, ahead: bool) -> WalkPlan:
        """Return a walk; with `ahead` the strip after the next counts too."""
        held, spent = self._pieces.held.copy(), self._pieces.spent.copy()
        here, clock, mean = start, 0.0, 0.0
        reach = self._ways.times(start, self._entry, self._from_nodes)
        legs: list[Leg] = []
        effort = self._pieces.effort
        while clock < longest_s:
            # A second look misses a larger share of what is there than the first.
            miss = hidden(spent + effort) / hidden(spent)
            gain = (held * (1.0 - miss))[self._strip]
            cost = reach + self._look_s
            rate = gain / cost
            best = int(np.argmax(rate))
            if not rate[best] > 0:
                break
            if ahead:
                tried = np.argpartition(-rate, min(_LOOKED_AT, len(rate) - 1))
                best = max(
                    (int(n) for n in tried[:_LOOKED_AT]),
                    key=lambda n: self._rate_of_two(n, gain, cost, miss),
                )
            strip = int(self._strip[best])
            legs.append(
                Leg(
                    start=self._entry[best],
                    end=self._leave[best],
                    way=self._ways.way(here, self._entry[best]),
                    reach_s=float(reach[best]),
                    look_s=float(self._look_s[best]),
                    found=float(gain[best]),
                    lane=int(self._pieces.lane[strip]),
                )
            )
            # It is found, on average, in the middle of the strip.
            mean += gain[best] * (clock + reach[best] + self._look_s[best] / 2)
            clock += cost[best]
            held[strip] *= miss[strip]
            spent[strip] += effort[strip]
            here, reach = self._leave[best], self._reach_from(best)
        mean += self._rest_s(held, spent, clock)
        begun = self._pieces.spent
        seen = 1.0 - hidden(HALF * spent) / hidden(HALF * begun)
        return WalkPlan(
            legs=tuple(legs),
            mean_s=float(mean),
            found_if_half=float(self._pieces.held @ seen),
        )

    def _reach_from(self, entry: int) -> Floats:
        if entry not in self._onward:
            self._onward[entry] = self._ways.times(
                self._leave[entry], self._entry, self._from_nodes
            )
        return self._onward[entry]

    def _rate_of_two(
        self, first: int, gain: Floats, cost: Floats, miss: Floats
    ) -> float:
        """Return the best rate of a strip and one after it."""
        strip = self._strip[first]
        after = np.where(self._strip == strip, gain * miss[strip], gain)
        more = self._reach_from(first) + self._look_s
        return float(np.max((gain[first] + after) / (cost[first] + more)))

    def _rest_s(self, held: Floats, by_strip: Floats, clock: float) -> float:
        """Return what the nests that the walk misses add to the mean time."""
        left = self._grid.probability.copy()
        pieces = self._pieces
        left[pieces.cells] *= (held / pieces.held)[pieces.strip]
        spent = self._spent.copy()
        spent[pieces.cells] = by_strip[pieces.strip]
        missed = float(left.sum())
        effort = float(expected_effort_m2(left, self._grid.cell_m**2, spent))
        rate = self._searching.sweep_width_m * self._searching.look_mps
        return missed * (clock + effort / rate)
