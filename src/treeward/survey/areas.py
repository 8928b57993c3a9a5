"""From cells to search areas: polygons with holes, one for each patch."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, cast

import numpy as np

from .records import AreaShape, Density, Polygon, SearchArea

if TYPE_CHECKING:
    from .evidence import Evidence
    from .frame import LocalFrame
    from .grid import Grid
    from .records import Floats, Ints

SHARES = (50, 90, 95)  # per cent
_LARGEST_RASTER = 600  # cells along a side of the picture
_SMALLEST_PATCH = 0.004  # of the probability; specks below it are dropped
_ALL_ROUND = 34  # of 36 sectors; choice


def raster(grid: Grid) -> tuple[Floats, Floats, Floats]:
    """Return the grid as a picture with a rim of zeros.

    Returns
    -------
    tuple
        (nx,) east and (ny,) north of the cell centres [m], (ny, nx) probability.
    """
    probability, index, cell = grid.probability, grid.index, grid.cell_m
    held = probability > probability.max() * 1e-9
    low = index[held].min(axis=0)
    extent = index[held].max(axis=0) - low + 1
    factor = max(1, int(np.ceil(extent.max() / _LARGEST_RASTER)))
    at = (index[held] - low) // factor + 1
    shape = (extent - 1) // factor + 3
    picture = np.zeros((shape[1], shape[0]))
    np.add.at(picture, (at[:, 1], at[:, 0]), probability[held])
    # Centre of the first big cell, from the centre of its first small one.
    first = grid.xy[0] + (low - index[0]) * cell + 0.5 * (factor - 1) * cell
    step = factor * cell
    east = first[0] + (np.arange(shape[0]) - 1) * step
    north = first[1] + (np.arange(shape[1]) - 1) * step
    return east, north, picture / picture.sum()


def density(grid: Grid, frame: LocalFrame) -> Density:
    """Return the posterior for pictures."""
    east, north, picture = raster(grid)
    xy = np.stack(np.meshgrid(east, north), axis=-1)
    lonlat = frame.to_lonlat(xy)
    return Density(
        latitude_deg=lonlat[..., 1], longitude_deg=lonlat[..., 0], probability=picture
    )


def search_areas(grid: Grid, frame: LocalFrame) -> dict[int, SearchArea]:
    """Return the smallest areas that hold 50, 90 and 95 %."""
    east, north, picture = raster(grid)
    return {
        share: _search_area(east, north, picture, share / 100.0, frame)
        for share in SHARES
    }


def _search_area(
    east: Floats, north: Floats, picture: Floats, share: float, frame: LocalFrame
) -> SearchArea:
    from contourpy import FillType, contour_generator

    cell_area = (east[1] - east[0]) * (north[1] - north[0])
    ordered = np.sort(picture, axis=None)[::-1]
    total = np.cumsum(ordered)
    last = int(np.searchsorted(total, share))
    level = 0.5 * (ordered[last] + ordered[min(last + 1, ordered.size - 1)])
    contours = contour_generator(
        x=east, y=north, z=picture, fill_type=FillType.OuterOffset
    )
    points, offsets = cast(
        "tuple[list[Floats], list[Ints]]", contours.filled(level, np.inf)
    )
    patches: list[tuple[float, Polygon]] = []
    for ring_points, ring_offsets in zip(points, offsets, strict=True):
        rings = [
            np.asarray(ring_points[start:end], dtype=np.float64)
            for start, end in itertools.pairwise(ring_offsets)
        ]
        probability = _held(rings[0], east, north, picture)
        patches.append((probability, _polygon(rings, frame)))
    patches.sort(key=lambda patch: -patch[0])
    kept = [p for held, p in patches if held >= _SMALLEST_PATCH] or [patches[0][1]]
    # Counted in cells (with the last one in part): less jagged than the polygons.
    before = total[last - 1] if last else 0.0
    area = (last + (share - before) / ordered[last]) * cell_area
    return SearchArea(probability=share, area_m2=float(area), polygons=tuple(kept))


def _crossings(start: Floats, end: Floats, y: Floats) -> Floats:
    """Return where the lines through sides reach each y; (n, m)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (end[:, 0] - start[:, 0]) / (end[:, 1] - start[:, 1])
        return np.asarray(start[:, 0] + (y - start[:, 1]) * slope)


def _held(ring: Floats, east: Floats, north: Floats, picture: Floats) -> float:
    """Return what the cells of a picture hold whose centres lie in a ring."""
    held = 0.0
    start, end = ring[:-1], ring[1:]
    for row in np.flatnonzero(
        (north >= ring[:, 1].min()) & (north <= ring[:, 1].max())
    ):
        sides = (start[:, 1] > north[row]) != (end[:, 1] > north[row])
        turns = np.sort(_crossings(start[sides], end[sides], north[row]))
        inside = np.searchsorted(turns, east, side="right") % 2 == 1
        held += float(picture[row, inside].sum())
    return held


def _polygon(rings: list[Floats], frame: LocalFrame) -> Polygon:
    def placed(ring: Floats, *, anticlockwise: bool) -> Floats:
        east, north = ring[:, 0], ring[:, 1]
        turn = float(np.sum(east[:-1] * north[1:] - east[1:] * north[:-1]))
        if (turn > 0) != anticlockwise:
            ring = ring[::-1]
        return frame.to_lonlat(ring)

    return Polygon(
        outer=placed(rings[0], anticlockwise=True),
        holes=tuple(placed(ring, anticlockwise=False) for ring in rings[1:]),
    )


def shape_of(area: SearchArea, evidence: Evidence, grid: Grid) -> AreaShape:
    """Return what the 90 % area looks like."""
    count = len(area.polygons)
    used = np.unique(evidence.case.bearing_station[evidence.use_bearing])
    if not evidence.has_times and not evidence.has_lines:
        return AreaShape.NOTHING_MEASURED
    around = grid.xy[grid.inside(0.9)] - evidence.case.origin_xy
    whole = _sectors(around) >= _ALL_ROUND
    if count > 1 and not whole:
        return AreaShape.PATCHES
    if not evidence.has_times and len(used) == 1:
        return AreaShape.WEDGE
    if whole:
        holes = any(polygon.holes for polygon in area.polygons)
        return AreaShape.RING if holes else AreaShape.DISC
    return _outline(around)


def _sectors(from_origin: Floats) -> int:
    """Return in how many sectors of ten degrees an area lies."""
    turn = np.degrees(np.arctan2(*from_origin.T)) % 360
    return len(np.unique(np.floor(turn / 10)))


def _outline(from_origin: Floats) -> AreaShape:
    """Return the shape of one patch, seen from where lining began."""
    distance = np.hypot(*from_origin.T)
    near, far = np.quantile(distance, (0.02, 0.98))
    if _sectors(from_origin) >= 10:
        return AreaShape.PART_OF_RING
    if far > 3.0 * max(near, 1.0) and far - near > 1000.0:
        return AreaShape.LONG_STRIP
    return AreaShape.PATCH
