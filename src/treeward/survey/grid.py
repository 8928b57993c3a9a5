"""A grid over the map that refines itself where the probability is.

Square cells are halved level by level. A level keeps the cells that hold all but
4e-4 of the mass, and their neighbours; near stations, where a bearing or a short
flight gives patches smaller than the first cells, cells are halved in any case.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from .arrays import Bools, Floats, Ints

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
    log_evidence
        Log of the integral of the density given to `refine`.
    """

    xy: Floats
    index: Ints
    cell_m: float
    probability: Floats
    log_evidence: float

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
            log_evidence=float(top + np.log(total) + 2 * np.log(cell)),
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
