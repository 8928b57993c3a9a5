"""What a station near a hive of known place teaches about the whole hunt.

Trips there have a known distance, so they weigh the nodes of flight speed and
in-hive time; bearings there have a known direction, so they weigh the nodes of
compass offset and spread. The hunted colony is another one, whose need may differ,
so the in-hive factor is blurred by `Settings.calibration_transfer_sd` on its way.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from . import directions as lines
from . import timing
from .records import log_sum_exp

if TYPE_CHECKING:
    from .evidence import BeeTimes, Case
    from .records import Floats, Ints

_FINE = 81  # nodes of ln g while calibrating


def taught(
    case: Case,
    *,
    hive_xy: Floats,
    times: list[BeeTimes],
    station: int,
    bearing_rad: Floats,
    rounding_rad: Floats,
    bee: Ints,
    observer: Ints,
) -> Case:
    """Return the case with its nodes weighed by what one calibration station saw.

    Parameters
    ----------
    case
        The hunt.
    hive_xy
        (2,) the known hive [m].
    times
        Trips of the bees of that station.
    station
        Its index.
    bearing_rad, rounding_rad, bee, observer
        (n,) bearings taken there, of which bee (-1 unknown) and by whom.
    """
    time_nodes, line_nodes = case.time_nodes, case.line_nodes
    if times:
        learned = _times(case, hive_xy, times)
        time_nodes = replace(
            time_nodes, log_weight=_normal(time_nodes.log_weight + learned)
        )
    step = (hive_xy - case.station_xy[station])[None, :]
    weight = line_nodes.offset_log_weight.copy()
    for one in np.unique(observer):
        own = observer == one
        by_bee = lines.bee_tables(
            bearing_rad[own], rounding_rad[own], bee[own], nodes=line_nodes
        )
        table = lines.station_table(np.sum(list(by_bee.values()), axis=0), line_nodes)
        seen = lines.look_up(table, step, line_nodes.offset_rad[one], line_nodes)
        # One constant for both kinds of hunt: calibration also tells which it is.
        weight[:, one] += seen[0] - float(seen.max())
    return replace(
        case,
        time_nodes=time_nodes,
        line_nodes=replace(line_nodes, offset_log_weight=weight),
    )


def _times(case: Case, hive_xy: Floats, times: list[BeeTimes]) -> Floats:
    """Return the log likelihood of calibration trips over the time nodes."""
    nodes, settings = case.time_nodes, case.settings
    span = nodes.ln_g[-1] - nodes.ln_g[0]
    fine = np.linspace(nodes.ln_g[0] - 0.1 * span, nodes.ln_g[-1] + 0.1 * span, _FINE)
    total = np.zeros((nodes.ln_f.size, _FINE, len(case.spreads)))
    for bee in times:
        kernel = timing.bee_kernel(
            timing.in_hive_median_s(bee.cargo, settings), fine, case.flight_nodes_s
        )
        for place, table in zip(bee.places, bee.tables, strict=True):
            flight = case.places[place].flight_s(hive_xy[None, :], settings, nodes)[0]
            over = timing.over_bees(table, kernel, case.near)
            seen = timing.look_up(
                over.reshape(len(over), -1), timing.flight_position(flight)
            )
            total += seen.reshape(total.shape)
    z = (nodes.ln_g[:, None] - fine[None, :]) / settings.calibration_transfer_sd
    blur = np.exp(-0.5 * z**2)
    blur /= blur.sum(axis=1, keepdims=True)
    top = total.max()
    mixed = np.einsum("fhk,gh->fgk", np.exp(total - top), blur, optimize=True)
    return np.asarray(np.log(mixed + 1e-300))


def _normal(log_weight: Floats) -> Floats:
    # One constant for both kinds of hunt: calibration also tells which it is.
    return np.asarray(log_weight - log_sum_exp(log_weight, axis=(0, 1, 2, 3)))
