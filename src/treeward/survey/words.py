"""The answer in words: what shape it has, and what the hunt taught."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .arrays import Floats
    from .evidence import Evidence
    from .grid import Grid
    from .records import SearchArea

_ALL_ROUND = 34  # of 36 sectors
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


ACRE_M2 = 4046.8564224  # international acre
YARD_M = 0.9144  # exact


def area(square_metres: float, *, imperial: bool = False) -> str:
    """Return an area in hectares or acres, with two significant digits."""
    value, unit = (
        (square_metres / ACRE_M2, "acres") if imperial else (square_metres / 1e4, "ha")
    )
    return f"{_two_digits(value)} {unit}"


def length(metres: float, *, imperial: bool = False) -> str:
    """Return a walk in metres or yards, to the ten."""
    value, unit = (metres / YARD_M, "yd") if imperial else (metres, "m")
    return f"{round(value, -1):.0f} {unit}"


def _two_digits(value: float) -> str:
    if value <= 0 or value >= 10:
        return f"{value:.0f}"
    digits = 1 - int(np.floor(np.log10(value)))
    return f"{value:.{digits}f}".rstrip("0").rstrip(".")


def shape(area: SearchArea, evidence: Evidence, grid: Grid) -> str:
    """Return what the 90 % area looks like: a patch, two patches, a ring, a wedge."""
    count = len(area.polygons)
    used = np.unique(evidence.case.bearing_station[evidence.use_bearing])
    if not evidence.has_times and not evidence.has_lines:
        return "nothing measured yet: the prior alone"
    around = grid.xy[grid.inside(0.9)] - evidence.case.origin_xy
    whole = _sectors(around) >= _ALL_ROUND
    if count > 1 and not whole:
        number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
        return f"{number} patches"
    if not evidence.has_times and len(used) == 1:
        return "a wedge: direction without distance"
    if whole:
        holes = any(polygon.holes for polygon in area.polygons)
        return "a ring" if holes else "a disc about the station"
    return _outline(around)


def _sectors(from_origin: Floats) -> int:
    """Return in how many sectors of ten degrees an area lies."""
    turn = np.degrees(np.arctan2(*from_origin.T)) % 360
    return len(np.unique(np.floor(turn / 10)))


def _outline(from_origin: Floats) -> str:
    """Return the shape of one patch, seen from where lining began."""
    distance = np.hypot(*from_origin.T)
    near, far = np.quantile(distance, (0.02, 0.98))
    if _sectors(from_origin) >= 10:
        return "part of a ring"
    if far > 3.0 * max(near, 1.0) and far - near > 1000.0:
        return "a long strip"
    return "a patch"


def learned(evidence: Evidence, grid: Grid) -> dict[str, tuple[float, float]]:
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
