"""The shortest way on foot from place to place, round what must not be entered.

Straight over the ground where nothing is in between; else over the corners of what is
left out, and along paths, which are walked faster.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .polygons import crosses, inside_ring

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .arrays import Bools, Floats

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
