"""How far the colony is: each bee's distance, and all together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import MaxNLocator

from treeward.units import Units

from .style import (
    AREA,
    INK,
    LONGEST_NAME,
    MUTED,
    PAGE_IN,
    draw_dot,
    drawable,
    left_margin,
    mark_colours,
    new_figure,
    plain_axes,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from treeward.report.model import HuntResult, StationPlace
    from treeward.survey.records import BeeDistance, Colony

    Floats = NDArray[np.float64]

_ROW_IN = 0.46
_TOGETHER_BINS = 50
_POINTS = 90  # of a curve, at least, that has more: it looks the same; choice
_KEY = (
    "dot: median   thick: one chance in two   thin: nine in ten",
    "brackets: published rules of thumb",
)
_KEY_LINE_IN = 0.16


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One curve: a bee's, or all together from a station."""

    name: str
    station: str
    mark: str | None  # None: all together
    grid_m: Floats
    density: Floats
    low50_m: float | None
    high50_m: float | None
    low90_m: float
    median_m: float
    high90_m: float
    rules_m: tuple[float, ...]


def distance_from_station(
    colony: Colony, place: StationPlace
) -> tuple[Floats, Floats] | None:
    """Return the posterior of a colony's distance from a station.

    Returns
    -------
    tuple or None
        Distances [m] and their density [1/m], each (n,), from the posterior on the
        map; None where that is empty.
    """
    from pyproj import Geod

    weights = np.asarray(colony.density.probability, dtype=float).ravel()
    if weights.size == 0 or not np.isfinite(weights).all() or weights.sum() <= 0:
        return None
    lat = np.asarray(colony.density.latitude_deg, dtype=float).ravel()
    lon = np.asarray(colony.density.longitude_deg, dtype=float).ravel()
    _, _, metres = Geod(ellps="WGS84").inv(
        np.full_like(lon, place.longitude_deg),
        np.full_like(lat, place.latitude_deg),
        lon,
        lat,
    )
    order = np.argsort(metres)
    cumulated = np.cumsum(weights[order]) / weights.sum()
    ordered = np.asarray(metres)[order]
    low = float(ordered[int(np.searchsorted(cumulated, 0.001))])
    last = min(int(np.searchsorted(cumulated, 0.999)), len(ordered) - 1)
    high = float(ordered[last])
    if high <= low:
        return None
    density, edges = np.histogram(
        metres, bins=_TOGETHER_BINS, range=(low, high), weights=weights, density=True
    )
    middles = (edges[1:] + edges[:-1]) / 2
    # Cells of the map's grid leave teeth in a histogram of distances; a short
    # running mean takes them out.
    window = np.hanning(11)[1:-1]
    smooth = np.convolve(density, window / window.sum(), mode="same")
    return middles, smooth


def _bee_row(bee: BeeDistance) -> _Row:
    return _Row(
        name=bee.bee,
        station=bee.station,
        mark=bee.bee,
        grid_m=np.asarray(bee.distance_m, dtype=float),
        density=np.asarray(bee.density_per_m, dtype=float),
        low50_m=bee.low50_m,
        high50_m=bee.high50_m,
        low90_m=bee.low90_m,
        median_m=bee.median_m,
        high90_m=bee.high90_m,
        rules_m=tuple(rule.distance_m for rule in bee.hand_rules),
    )


def _rows(result: HuntResult) -> list[_Row]:
    if result.fix is None:
        return []
    rows = []
    stations = dict.fromkeys(
        [place.id for place in result.stations] + [b.station for b in result.fix.bees]
    )
    several = len(result.fix.colonies) > 1
    for station in stations:
        rows += [_bee_row(bee) for bee in result.fix.bees if bee.station == station]
        place = result.station(station)
        for colony in result.fix.colonies:
            if place is None or station not in colony.distance_m:
                continue
            low, median, high = colony.distance_m[station]
            curve = distance_from_station(colony, place)
            empty = np.zeros(0)
            rows.append(
                _Row(
                    name=f"colony {colony.id}" if several else "together",
                    station=station,
                    mark=None,
                    grid_m=curve[0] if curve else empty,
                    density=curve[1] if curve else empty,
                    low50_m=None,
                    high50_m=None,
                    low90_m=low,
                    median_m=median,
                    high90_m=high,
                    rules_m=(),
                )
            )
    return rows


def _reach_m(rows: list[_Row]) -> float:
    """Return the end of the axis: one bee's long tail must not squeeze the rest."""
    return 1.35 * max(min(row.high90_m, 2.2 * row.median_m) for row in rows)


def distance_figure(result: HuntResult, width_in: float = PAGE_IN) -> Figure | None:
    """Draw the distance of each bee and all together, by station.

    Returns None where no distance was estimated.
    """
    rows = _rows(result)
    if not rows:
        return None
    units = Units(result.hunt_file.hunt.units)
    stations = list(dict.fromkeys(row.station for row in rows))
    narrow = width_in < PAGE_IN
    key = _KEY if narrow else ("   ".join(_KEY),)
    above = 0.16 + _KEY_LINE_IN * len(key)
    total = len(rows) * _ROW_IN + 0.34 * len(stations) + 0.63 + above
    figure = new_figure(width_in, total)
    left = left_margin((row.name for row in rows), width_in)
    height = (total - 0.5 - above) / total
    axes = figure.add_axes((left, 0.5 / total, 0.98 - left, height))
    plain_axes(axes)
    reach = _reach_m(rows) / units.picture_unit_m
    y, ticks, names = 0.0, [], []
    for station in stations:
        axes.text(0, y + 0.35, drawable(f"from station {station}"), fontsize=8,
                  fontweight="bold", va="center")  # fmt: skip
        y -= 0.75
        for row in rows:
            if row.station != station:
                continue
            _draw_row(axes, row, y, units, reach)
            ticks.append(y)
            names.append(drawable(row.name, LONGEST_NAME))
            y -= 1.0
    axes.set_yticks(ticks, names)
    for label, row in zip(axes.get_yticklabels(), _by_station(rows), strict=True):
        if row.mark is None:
            label.set_fontweight("bold")
    axes.set_xlim(0, reach)
    axes.set_ylim(y + 0.55, 0.7)
    even = MaxNLocator(4 if narrow else 8).tick_values(0, reach)
    axes.set_xticks([tick for tick in even if tick <= reach])
    axes.grid(visible=True, axis="x")
    axes.set_axisbelow(True)
    axes.set_xlabel(f"distance, {units.picture_unit}", fontsize=8.5)
    axes.tick_params(axis="x", labelsize=8)
    for number, line in enumerate(key):
        figure.text(0.02 if narrow else left,
                    (total - 0.16 - _KEY_LINE_IN * number) / total, line,
                    fontsize=7.5, color=MUTED, va="center")  # fmt: skip
    return figure


def _by_station(rows: list[_Row]) -> list[_Row]:
    stations = list(dict.fromkeys(row.station for row in rows))
    return [row for station in stations for row in rows if row.station == station]


def _draw_row(axes: Axes, row: _Row, y: float, units: Units, reach: float) -> None:
    one = units.picture_unit_m
    face = mark_colours(row.mark)[0] if row.mark is not None else AREA
    if row.density.size and np.max(row.density) > 0:
        height = 0.66 * row.density / np.max(row.density)
        x = row.grid_m / one
        keep = np.flatnonzero((x <= reach) & (height > 0.003))
        keep = keep[:: max(1, len(keep) // _POINTS)]
        axes.fill_between(x[keep], y, y + height[keep], facecolor=face, zorder=2,
                          alpha=0.45 if row.mark is not None else 0.30,
                          edgecolor="none")  # fmt: skip
        axes.plot(x[keep], y + height[keep], color=MUTED if row.mark else AREA,
                  linewidth=0.8, zorder=3)  # fmt: skip
    if row.high90_m / one > reach:
        axes.plot([reach], [y], marker=">", markersize=5, zorder=6, clip_on=False,
                  color=INK if row.mark is not None else AREA)  # fmt: skip
    axes.plot([row.low90_m / one, row.high90_m / one], [y, y], linewidth=1.3, zorder=4,
              color=INK if row.mark is not None else AREA)  # fmt: skip
    if row.low50_m is not None and row.high50_m is not None:
        axes.plot([row.low50_m / one, row.high50_m / one], [y, y], color=INK,
                  linewidth=3.4, solid_capstyle="butt", zorder=5)  # fmt: skip
    if row.mark is not None:
        draw_dot(axes, row.median_m / one, y, row.mark, 9.5)
    else:
        axes.plot([row.median_m / one], [y], marker="o", markersize=8, color=AREA,
                  zorder=6)  # fmt: skip
    rules = [rule for rule in row.rules_m if np.isfinite(rule)]
    if rules:
        low, high = min(rules) / one, max(rules) / one
        base, tick = y - 0.20, 0.07
        axes.plot([low, low, high, high], [base + tick, base, base, base + tick],
                  color=MUTED, linewidth=1.0, zorder=4)  # fmt: skip
