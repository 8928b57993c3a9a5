"""A grid over the map that refines itself where the probability is.

Square cells are halved level by level. A level keeps the cells that hold all but
4e-4 of the mass, and their neighbours; near stations, where a bearing or a short
flight gives patches smaller than the first cells, cells are halved in any case.

Draw the quadrature nodes together where much data leaves little to integrate.

With dozens of bees or bearings the shared unknowns are known better than the step
between their nodes, and the posterior would break up into one bump for each node.
A first solution on the wide nodes says where they are; the same number of nodes is
then laid over that range.

From cells to search areas: polygons with holes, one for each patch.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast

import numpy as np

from .evidence import Case, Evidence, Shared
from .records import AreaShape, Density, Polygon, SearchArea

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from .frame import LocalFrame
    from .records import Bools, Floats, Ints

FIRST_CELLS = 52  # across the map at level 0
KEPT_MASS = 1.0 - 4e-4  # at each level; some five levels lose a fifth of a per cent
ENOUGH_CELLS = 450  # in the 90 % area, for an area good to about 1 %
ENOUGH_IN_HALF = 70  # in the 50 % area
_MORE_THAN_ENOUGH = 8  # times the cells, where little of the area holds half; choice
_HIDE_UNTIL = 4  # levels: from here on no patch hides between cells
_LOST = 1e-2  # of the mass: a patch whose cells may stay coarse
LAST_LEVEL = 11  # cells of 12 km / 52 / 2**11 = 11 cm


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells of one size that hold the posterior.

    Attributes
    ----------
    xy
        (n, 2) cell centres [m].
    index
        (n, 2) column and row of each cell.
    cell_m
        Side of a cell [m].
    probability
        (n,) sums to one.
    """

    xy: Floats
    index: Ints
    cell_m: float
    probability: Floats

    def inside(self, share: float) -> Ints:
        """Return the cells of the smallest area that holds `share`, likeliest first."""
        order = np.argsort(-self.probability, kind="stable")
        total = np.cumsum(self.probability[order])
        return np.asarray(order[: int(np.searchsorted(total, share)) + 1])

    def best(self) -> Floats:
        """Return the place with the most probability round about it; (2,).

        The peak of the density smoothed by the radius of the 50 % area: a single
        cell's peak hangs on where a quadrature node happens to lie.
        """
        half, most = self.inside(0.5), self.inside(0.95)
        half = half[:: max(1, len(half) // 300)]
        most = most[:: max(1, len(most) // 3000)]
        radius = np.sqrt(len(self.inside(0.5)) / np.pi) * self.cell_m
        apart = self.xy[half][:, None, :] - self.xy[most][None, :, :]
        near = np.exp(-0.5 * (apart**2).sum(axis=2) / radius**2)
        return np.asarray(self.xy[half[int(np.argmax(near @ self.probability[most]))]])


def posterior(
    evidence: Evidence,
    *,
    enough_cells: int = ENOUGH_CELLS,
    kept_mass: float = KEPT_MASS,
) -> Grid:
    """Return the posterior of one group of bees over the map; see `refine`."""
    case = evidence.case
    return refine(
        evidence.log_density,
        case.origin_xy,
        case.settings.distance_cut_m,
        case.station_xy,
        enough_cells=enough_cells,
        kept_mass=kept_mass,
    )


def refine(
    log_density: Callable[[Floats], Floats],
    centre: Floats,
    half_width_m: float,
    sharp_at: Floats,
    *,
    enough_cells: int = ENOUGH_CELLS,
    kept_mass: float = KEPT_MASS,
) -> Grid:
    """Return the posterior on cells fine enough for its areas.

    Parameters
    ----------
    log_density
        (n, 2) places to log density [per m^2, any constant]; -inf where impossible.
    centre, half_width_m
        The square to look at.
    sharp_at
        (s, 2) places about which narrow peaks may hide: the stations.
    enough_cells
        Cells wanted in the 90 % area.
    kept_mass
        Share of the mass whose cells are halved; the rest is left out.
    """
    corner = np.asarray(centre, dtype=np.float64) - half_width_m
    cell = 2.0 * half_width_m / FIRST_CELLS
    level, side = 0, np.arange(FIRST_CELLS)
    index = np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1).reshape(-1, 2)
    xy = corner + (index + 0.5) * cell
    value = log_density(xy)
    sharp_at = _worth_a_look(log_density, value, sharp_at, cell)
    while True:
        possible = np.isfinite(value)
        if not possible.any():
            msg = "log_density: no place is possible"
            raise ValueError(msg)
        top = value[possible].max()
        mass = np.where(possible, np.exp(value - top), 0.0)
        total = mass.sum()
        grid = Grid(
            xy=xy,
            index=index.astype(np.intp),
            cell_m=cell,
            probability=mass / total,
        )
        of_nine, of_half = len(grid.inside(0.9)), len(grid.inside(0.5))
        fine = of_nine >= enough_cells and (
            of_half >= enough_cells * ENOUGH_IN_HALF / ENOUGH_CELLS
            or of_nine >= _MORE_THAN_ENOUGH * enough_cells
        )
        hidden = level < _HIDE_UNTIL and _near(xy, sharp_at, 3.0 * cell).any()
        if (fine and not hidden) or level == LAST_LEVEL:
            return grid
        keep = np.zeros(len(xy), dtype=bool)
        keep[grid.inside(kept_mass)] = True
        if hidden:
            keep |= _near(xy, sharp_at, 3.0 * cell) & possible
        index = _halve(_with_neighbours(index[keep], FIRST_CELLS * 2**level))
        cell /= 2.0
        level += 1
        xy = corner + (index + 0.5) * cell
        value = log_density(xy)


def _worth_a_look(
    log_density: Callable[[Floats], Floats],
    coarse: Floats,
    places: Floats,
    cell_m: float,
) -> Floats:
    """Return the places about which a patch may hide between coarse cells.

    Rings of probes, each standing for the ground about it, show whether there is
    mass to speak of, beside what the coarse cells hold.
    """
    if not len(places):
        return places
    away = cell_m * 2.0 ** -np.arange(-1.0, 5.0)
    turn = np.arange(12) * (np.pi / 6)
    around = away[:, None, None] * np.stack([np.sin(turn), np.cos(turn)], axis=-1)
    probes = (places[:, None, None, :] + around).reshape(-1, 2)
    found = log_density(probes).reshape(len(places), -1)
    top = max(float(found.max()), float(coarse.max()))
    ground = np.repeat(np.pi * away**2 / turn.size, turn.size)
    near = np.exp(found - top) @ ground
    rest = np.exp(coarse - top).sum() * cell_m**2
    return np.asarray(places[near > _LOST * (near.sum() + rest)])


def _near(xy: Floats, places: Floats, radius_m: float) -> Bools:
    near = np.zeros(len(xy), dtype=bool)
    for place in places:
        near |= np.hypot(*(xy - place).T) <= radius_m
    return near


def _with_neighbours(index: Ints, width: int) -> Ints:
    steps = np.array([(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)])
    around = (index[:, None, :] + steps[None, :, :]).reshape(-1, 2)
    around = around[((around >= 0) & (around < width)).all(axis=1)]
    key = np.unique(around[:, 0] * width + around[:, 1])
    return np.stack([key // width, key % width], axis=-1)


def _halve(index: Ints) -> Ints:
    steps = np.array([(0, 0), (0, 1), (1, 0), (1, 1)])
    return np.asarray((2 * index[:, None, :] + steps[None, :, :]).reshape(-1, 2))


_REACH = 4.0  # standard deviations kept to either side
_SLACK = 1.0  # and steps of the wide nodes, since they blur what they show
_PRUNED = 1e-3  # of the posterior weight on one axis
_MOST_CELLS = 250  # likeliest cells, to weigh the nodes by
_ROUGH_CELLS = 20  # in the 90 % area, to see where the unknowns are
_ROUGH_MASS = 0.99  # halved at each level of that
MANY_BEES = 10
MANY_STATIONS = 5


def much_data(case: Case, bees: Collection[int], use_bearing: Bools) -> bool:
    """Return whether the nodes should be drawn together before solving."""
    stations = len(np.unique(case.bearing_station[use_bearing]))
    return len(bees) > MANY_BEES or stations > MANY_STATIONS


def focused_evidence(evidence: Evidence) -> tuple[Evidence, Shared]:
    """Return the evidence on nodes drawn together, and its wide nodes' weights."""
    weights = _rough_weights(evidence)
    narrow = focused(evidence.case, weights)
    return Evidence(narrow, evidence.bees, evidence.use_bearing), weights


def pruned_evidence(evidence: Evidence) -> Evidence:
    """Return the evidence without the nodes that say nothing."""
    case = pruned(evidence.case, _rough_weights(evidence))
    return Evidence(case, evidence.bees, evidence.use_bearing)


def _rough_weights(evidence: Evidence) -> Shared:
    """Return the weights of the nodes, from a rough solution."""
    rough = posterior(evidence, enough_cells=_ROUGH_CELLS, kept_mass=_ROUGH_MASS)
    likeliest = rough.inside(0.99)[:_MOST_CELLS]
    share = rough.probability[likeliest] / rough.probability[likeliest].sum()
    return evidence.shared(rough.xy[likeliest], share)


def pruned(case: Case, weights: Shared) -> Case:
    """Return the case without nodes whose posterior weights are next to nothing.

    Parameters
    ----------
    case
        The hunt.
    weights
        Posterior weights of the nodes.
    """
    of_f = _worth_keeping(weights.times.sum(axis=(1, 2)))
    of_g = _worth_keeping(weights.times.sum(axis=(0, 2)))
    of_k = _worth_keeping(weights.times.sum(axis=(0, 1)))
    near = case.near[of_k]
    bees = np.flatnonzero(near.any(axis=0))
    scatter = _worth_keeping(weights.scatter)
    nodes = case.time_nodes
    return replace(
        case,
        spreads=tuple(case.spreads[k] for k in of_k),
        near=near[:, bees],
        times=tuple(
            replace(times, tables=tuple(table[bees] for table in times.tables))
            for times in case.times
        ),
        time_nodes=replace(
            nodes,
            ln_f=nodes.ln_f[of_f],
            slow_out=nodes.slow_out[of_f],
            slow_home=nodes.slow_home[of_f],
            compensation=nodes.compensation[of_f],
            ln_g=nodes.ln_g[of_g],
            log_weight=nodes.log_weight[:, of_f][:, :, of_g][..., of_k],
        ),
        line_nodes=case.line_nodes.only(scatter),
    )


def _worth_keeping(weight: Floats) -> Ints:
    """Return the nodes that hold all but `_PRUNED` of the weight, in order."""
    order = np.argsort(-weight)
    total = np.cumsum(weight[order]) / weight.sum()
    return np.sort(order[: int(np.searchsorted(total, 1.0 - _PRUNED)) + 1])


def focused(case: Case, weights: Shared) -> Case:
    """Return the case with nodes over the range that holds the posterior.

    Parameters
    ----------
    case
        The hunt.
    weights
        Posterior weights of the nodes.
    """
    time_nodes, line_nodes = case.time_nodes, case.line_nodes
    # Each speed is there once for each share of the wind that is made up for.
    shares = time_nodes.ln_f.size // len(np.unique(time_nodes.ln_f))
    old_f = time_nodes.ln_f[: time_nodes.ln_f.size // shares]
    of_f = weights.times.sum(axis=(1, 2)).reshape(shares, -1).sum(axis=0)
    ln_f = _narrowed(old_f, of_f)
    ln_g = _narrowed(time_nodes.ln_g, weights.times.sum(axis=(0, 2)))
    weight = np.concatenate(
        [
            _moved(part, old_f, ln_f, axis=1)
            for part in np.split(time_nodes.log_weight, shares, axis=1)
        ],
        axis=1,
    )
    weight = _moved(weight, time_nodes.ln_g, ln_g, axis=2)

    def on_speed(values: Floats) -> Floats:
        return np.tile(np.interp(ln_f, old_f, values[: old_f.size]), shares)

    offset = line_nodes.offset_rad.copy()
    by_offset = line_nodes.offset_log_weight.copy()
    for one, own in enumerate(weights.offsets):
        old = line_nodes.offset_rad[one]
        offset[one] = _narrowed(old, own)
        by_offset[:, one] = _moved(by_offset[:, one], old, offset[one], axis=1)
    return replace(
        case,
        time_nodes=replace(
            time_nodes,
            ln_f=np.tile(ln_f, shares),
            ln_g=ln_g,
            slow_out=on_speed(time_nodes.slow_out),
            slow_home=on_speed(time_nodes.slow_home),
            log_weight=weight,
        ),
        line_nodes=replace(line_nodes, offset_rad=offset, offset_log_weight=by_offset),
    )


def _narrowed(nodes: Floats, weight: Floats) -> Floats:
    weight = weight / weight.sum()
    mean = weight @ nodes
    sd = np.sqrt(weight @ (nodes - mean) ** 2)
    reach = _REACH * sd + _SLACK * (nodes[1] - nodes[0])
    low, high = max(mean - reach, nodes[0]), min(mean + reach, nodes[-1])
    return np.linspace(low, high, nodes.size)


def _moved(log_weight: Floats, old: Floats, new: Floats, axis: int) -> Floats:
    """Interpolate log weights along one axis; only their ratios matter."""
    return np.apply_along_axis(lambda row: np.interp(new, old, row), axis, log_weight)


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
