"""The evidence that a set of bees shares one colony.

The unknowns of the hunt are drawn once, by a low-discrepancy sequence, and every
partition of the bees is averaged over the same draws. Places are cells in log
distance and direction, split where the likelihood of a draw peaks.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import lgamma
from typing import TYPE_CHECKING

import numpy as np

from . import lines, timing
from .arrays import log_sum_exp
from .evidence import Evidence
from .focus import focused_evidence, much_data

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .arrays import Floats, Ints
    from .case import Hunt
    from .evidence import Case

CROWD = 0.25  # concentration of the prior over partitions: two bees share one 4 in 5
_DRAWS = 32
_DIRECTIONS, _RINGS = 120, 40
_NEAREST_M = 25.0
_HALVINGS, _BEST = 3, 2  # rounds of splitting, cells split in each draw


@dataclass(slots=True)
class Scores:
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
        by_draw = np.sum([self.group(bees) for bees in groups], axis=0)
        prior = sum(float(np.log(CROWD)) + lgamma(len(bees)) for bees in groups)
        return float(log_sum_exp(np.asarray(by_draw), axis=0)) + prior


def score_bees(hunt: Hunt) -> Scores:
    """Return every bee's likelihood over draws of the shared unknowns and places."""
    whole = Evidence(
        hunt.case, frozenset(hunt.bees), np.ones(len(hunt.bearing_used), dtype=bool)
    )
    case = hunt.case
    weights = np.exp(case.time_nodes.log_weight), np.exp(case.line_nodes.log_weight)
    if much_data(whole):
        # Draws from the prior would all miss what so much data says of the hunt; a
        # split would then be claimed to make up for it. Draws from the posterior of
        # one colony lean towards one, and clear splits stand all the same.
        narrow, _ = focused_evidence(whole)
        _, of_one = focused_evidence(narrow)
        case = narrow.case
        weights = of_one[0][None], of_one[1][None]
    draws = _draw(*weights)
    cells = _Cells.polar(case)
    by_bee = _by_bee(case, hunt.bees, draws, cells)
    for _ in range(_HALVINGS):
        total = np.sum(list(by_bee.values()), axis=0) + cells.log_mass(case)
        best = np.unique(np.argpartition(-total, _BEST, axis=1)[:, :_BEST])
        kept = np.setdiff1d(np.arange(len(cells.u)), best)
        finer = cells.split(best)
        added = _by_bee(case, hunt.bees, draws, finer)
        by_bee = {
            bee: np.concatenate([value[:, kept], added[bee]], axis=1)
            for bee, value in by_bee.items()
        }
        cells = cells.only(kept).joined(finer)
    log_prior = cells.log_mass(case)
    return Scores(by_bee, log_prior - log_sum_exp(log_prior, axis=0))


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


def _by_bee(
    case: Case, bees: tuple[int, ...], draws: Ints, cells: _Cells
) -> dict[int, NDArray[np.float32]]:
    """Return each bee's log likelihood; (draws, cells)."""
    xy = cells.xy(case)
    result = {}
    for bee in bees:
        value = np.zeros((_DRAWS, len(xy)))
        _add_times(case, bee, draws, xy, value)
        _add_lines(case, bee, draws, xy, value)
        result[bee] = value.astype(np.float32)
    return result


def _draw(times: Floats, of_lines: Floats) -> Ints:
    """Draw node indices of speed, in-hive, offset and spread.

    Parameters
    ----------
    times, of_lines
        (k, nf, ng) and (k, no, ns) weights of the nodes for k kinds of hunt.

    Returns
    -------
    numpy.ndarray
        (draws, 4).
    """
    # Additive recurrence with powers of the root of x^6 = x + 1: even in 5-D.
    root = 1.1347241384015194
    n = np.arange(1, _DRAWS + 1)[:, None]
    uniform = (0.5 + n * root ** -np.arange(1.0, 6.0)) % 1.0
    by_kind = times.sum(axis=(1, 2)) * of_lines.sum(axis=(1, 2))
    result = np.zeros((_DRAWS, 4), dtype=np.intp)
    for row, at in zip(result, uniform, strict=True):
        kind = _pick(by_kind, at[4])
        row[0] = _pick(times[kind].sum(axis=1), at[0])
        row[1] = _pick(times[kind, row[0]], at[1])
        row[2] = _pick(of_lines[kind].sum(axis=1), at[2])
        row[3] = _pick(of_lines[kind, row[2]], at[3])
    return result


def _pick(weight: Floats, uniform: float) -> int:
    total = np.cumsum(weight)
    return min(int(np.searchsorted(total / total[-1], uniform)), weight.size - 1)


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
