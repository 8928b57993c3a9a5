"""What the hunt taught of the unknowns that all its bees share."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .arrays import Floats
    from .evidence import Evidence
    from .grid import Grid


def learned_of(evidence: Evidence, grid: Grid) -> dict[str, tuple[float, float]]:
    """Return median and sd of the shared unknowns, given all of one colony's data."""
    likeliest = grid.inside(0.98)
    # A tenth of the cells says as much about four numbers as all of them.
    step = max(1, len(likeliest) // 300)
    chosen = likeliest[::step]
    share = grid.probability[chosen] / grid.probability[chosen].sum()
    shared = evidence.shared(grid.xy[chosen], share)
    case = evidence.case
    result = {}
    if evidence.has_times:
        times = shared.times
        result["flight_speed_factor"] = _summary(
            np.exp(case.time_nodes.ln_f), times.sum(axis=(1, 2))
        )
        result["in_hive_factor"] = _summary(
            np.exp(case.time_nodes.ln_g), times.sum(axis=(0, 2))
        )
        result["trip_spread"] = _summary(
            np.array([spread.sigma for spread in case.spreads]), times.sum(axis=(0, 1))
        )
    if evidence.has_lines:
        # Of several observers the one who read most; the others' are their own.
        read = np.bincount(case.bearing_observer[evidence.use_bearing])
        one = int(np.argmax(read))
        result["compass_offset_deg"] = _summary(
            np.degrees(case.line_nodes.offset_rad[one]), shared.offsets[one]
        )
        result["bearing_sd_deg"] = _summary(
            np.degrees(case.line_nodes.sd_rad), shared.scatter
        )
        result["station_line_sd_deg"] = _summary(
            np.degrees(case.line_nodes.station_rad), shared.scatter
        )
    return result


def _summary(nodes: Floats, weight: Floats) -> tuple[float, float]:
    values, place = np.unique(nodes, return_inverse=True)
    by_value = np.bincount(place, weights=weight) / weight.sum()
    mean = float(values @ by_value)
    sd = float(np.sqrt(max(0.0, (values - mean) ** 2 @ by_value)))
    total = np.cumsum(by_value)
    median = float(np.interp(0.5, total - 0.5 * by_value, values))
    return median, sd
