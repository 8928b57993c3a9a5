"""Rings for map files: closed, right-handed, on one side of 180 degrees."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from treeward.survey.records import Polygon

Ring = list[list[float]]  # [[longitude, latitude], ...] degrees, closed


def signed_area(ring: Ring) -> float:
    """Return the area in square degrees, positive for an anticlockwise ring."""
    points = np.asarray(ring, dtype=float)
    x, y = points[:, 0] - points[0, 0], points[:, 1] - points[0, 1]
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2


def _unwrapped(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """Make longitudes run on beyond 180 where the ring crosses it."""
    points = np.array(ring, dtype=float)
    points[:, 0] = np.rad2deg(np.unwrap(np.deg2rad(points[:, 0])))
    return points


def _half(
    points: NDArray[np.float64], at_deg: float, *, west: bool
) -> list[list[float]]:
    """Keep what lies west (or east) of a meridian; Sutherland and Hodgman 1974."""
    kept: list[list[float]] = []
    side = (points[:, 0] - at_deg) * (-1 if west else 1)
    for i in range(len(points) - 1):
        (x0, y0), (x1, y1) = points[i], points[i + 1]
        if side[i] >= 0:
            kept.append([float(x0), float(y0)])
        if side[i] * side[i + 1] < 0:
            share = (at_deg - x0) / (x1 - x0)
            kept.append([at_deg, float(y0 + share * (y1 - y0))])
    return kept


def _finish(points: list[list[float]], *, anticlockwise: bool) -> Ring | None:
    ring = [[round(lon, 7), round(lat, 7)] for lon, lat in points]
    ring = [p for i, p in enumerate(ring) if i == 0 or p != ring[i - 1]]
    if ring and ring[0] != ring[-1]:
        ring.append(list(ring[0]))
    if len(ring) < 4:
        return None
    return ring if (signed_area(ring) > 0) == anticlockwise else ring[::-1]


def _pieces(ring: NDArray[np.float64], *, anticlockwise: bool) -> list[Ring]:
    points = _unwrapped(ring)
    if len(points) == 0:
        return []
    if not np.array_equal(points[0], points[-1]):
        points = np.vstack([points, points[:1]])
    low, high = points[:, 0].min(), points[:, 0].max()
    parts = [points.tolist()]
    cut = 180.0 if high > 180 else -180.0
    if low < cut < high:
        parts = [_half(points, cut, west=True), _half(points, cut, west=False)]
    rings = []
    for part in parts:
        middle = sum(lon for lon, _ in part) / max(len(part), 1)
        turn = -360.0 if middle > 180 else 360.0 if middle < -180 else 0.0
        moved = [[lon + turn, lat] for lon, lat in part]
        if (done := _finish(moved, anticlockwise=anticlockwise)) is not None:
            rings.append(done)
    return rings


def polygon_rings(polygon: Polygon) -> Iterator[list[Ring]]:
    """Yield polygons as [outer, hole, ...], cut at 180 degrees where they cross it.

    The outer ring runs anticlockwise and holes clockwise, each closed (RFC 7946,
    sections 3.1.6 and 3.1.9). A ring without an area is left out.
    """
    outers = _pieces(polygon.outer, anticlockwise=True)
    holes = [
        piece for hole in polygon.holes for piece in _pieces(hole, anticlockwise=False)
    ]
    for outer in outers:
        if len(outers) == 1:
            yield [outer, *holes]
        else:
            east = outer[0][0] > 0
            yield [outer, *(hole for hole in holes if (hole[0][0] > 0) == east)]


def line_pieces(lonlat: Sequence[tuple[float, float]]) -> list[Ring]:
    """Cut a line where it crosses 180 degrees; each piece ends on its own side.

    Parameters
    ----------
    lonlat
        Its points, degrees; two neighbours are never half the globe apart.
    """
    pieces: list[Ring] = [[list(lonlat[0])]] if lonlat else []
    for (lon0, lat0), (lon1, lat1) in pairwise(lonlat):
        step = (lon1 - lon0 + 180.0) % 360.0 - 180.0
        if abs(lon1 - lon0) > 180.0 and step:
            edge = 180.0 if step > 0 else -180.0
            share = (edge - lon0) / step
            if 0.0 < share < 1.0:
                latitude = round(lat0 + share * (lat1 - lat0), 7)
                pieces[-1].append([edge, latitude])
                pieces.append([[-edge, latitude]])
            else:  # a point on the meridian itself: only its sign is another
                pieces.append([[-edge, lat0]])
        pieces[-1].append([lon1, lat1])
    return pieces
