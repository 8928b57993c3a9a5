"""Rings on the plane: what lies in them, and what crosses them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .arrays import Bools, Floats


def inside_ring(xy: Floats, ring: Floats) -> Bools:
    """Return which of (n, 2) places lie in an (m, 2) ring, closed or not.

    By the even number of crossings of a ray eastwards with the ring's edges.
    """
    inside = np.zeros(len(xy), dtype=bool)
    near = ((xy >= ring.min(axis=0)) & (xy <= ring.max(axis=0))).all(axis=1)
    if not near.any():
        return inside
    x, y = xy[near].T
    odd = np.zeros(len(x), dtype=bool)
    for (x1, y1), (x2, y2) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        if y1 == y2:
            continue
        beside = (y1 > y) != (y2 > y)
        odd ^= beside & (x < x1 + (y - y1) * (x2 - x1) / (y2 - y1))
    inside[near] = odd
    return inside


def crosses(start: Floats, end: Floats, ring: Floats) -> Bools:
    """Return which of the straight ways from (n, 2) to (n, 2) meet a ring's ground."""
    one, two = ring, np.roll(ring, -1, axis=0)

    def side(a: Floats, b: Floats, c: Floats) -> Floats:
        return np.asarray(
            (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1])
            - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
        )

    a, b = start[:, None, :], end[:, None, :]
    c, d = one[None, :, :], two[None, :, :]
    apart = (side(a, b, c) * side(a, b, d) < 0) & (side(c, d, a) * side(c, d, b) < 0)
    return np.asarray(apart.any(axis=1) | inside_ring(0.5 * (start + end), ring))
