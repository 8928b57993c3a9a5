"""Draw the quadrature nodes together where much data leaves little to integrate.

With dozens of bees or bearings the shared unknowns are known better than the step
between their nodes, and the posterior would break up into one bump for each node.
A first solution on the wide nodes says where they are; the same number of nodes is
then laid over that range.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from .evidence import Case, Evidence, Shared
from .grid import refine

if TYPE_CHECKING:
    from collections.abc import Collection

    from .arrays import Bools, Floats, Ints

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
    case = evidence.case
    rough = refine(
        evidence.log_density,
        case.origin_xy,
        case.settings.distance_cut_m,
        case.station_xy,
        enough_cells=_ROUGH_CELLS,
        kept_mass=_ROUGH_MASS,
    )
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
