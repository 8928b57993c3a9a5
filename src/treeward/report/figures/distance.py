"""How far the colony is: each bee's distance, and all together.

How long each bee was away, and which part of it is taken as flight.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from . import (
    AREA,
    FLIGHT,
    IN_HIVE,
    INK,
    LONGEST_NAME,
    MUTED,
    PAGE_IN,
    draw_dots,
    drawable,
    left_margin,
    mark_colours,
    new_figure,
    plain_axes,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from treeward.measures import Units
    from treeward.report.model import HuntResult, StationPlace
    from treeward.survey.records import BeeDistance, Colony
    from treeward.trips.table import Trip

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

    Distances [m] and their density [1/m], each (n,), from the posterior on the map;
    None where that is empty.
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
    rows = []
    stations = dict.fromkeys(
        [place.id for place in result.stations] + [b.station for b in result.bees]
    )
    for station in stations:
        rows += [_bee_row(bee) for bee in result.bees if bee.station == station]
        place = result.station(station)
        for colony in result.colonies:
            if place is None or station not in colony.distance_m:
                continue
            low, median, high = colony.distance_m[station]
            curve = distance_from_station(colony, place)
            empty = np.zeros(0)
            rows.append(
                _Row(
                    name=f"colony {colony.id}" if result.several else "together",
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


def distance_figure(result: HuntResult, width_in: float = PAGE_IN) -> Figure | None:
    """Draw the distance of each bee and all together, by station.

    Returns None where no distance was estimated.
    """
    rows = _rows(result)
    if not rows:
        return None
    units = result.units
    stations = list(dict.fromkeys(row.station for row in rows))
    narrow = width_in < PAGE_IN
    key = _KEY if narrow else ("   ".join(_KEY),)
    above = 0.16 + _KEY_LINE_IN * len(key)
    total = len(rows) * _ROW_IN + 0.34 * len(stations) + 0.63 + above
    figure, axes, left = _rows_below(above, total, width_in, (r.name for r in rows))
    # One bee's long tail must not squeeze the rest.
    reach_m = 1.35 * max(min(row.high90_m, 2.2 * row.median_m) for row in rows)
    reach = reach_m / units.picture_unit_m
    y = 0.0
    places: dict[float, str] = {}
    for station in stations:
        _name_station(axes, y + 0.35, f"from station {station}")
        y -= 0.75
        for row in rows:
            if row.station == station:
                _draw_row(axes, row, y, units, reach)
                places[y] = row.name
                y -= 1.0
    _name_rows(axes, places)
    for label, row in zip(axes.get_yticklabels(), rows, strict=True):
        if row.mark is None:
            label.set_fontweight("bold")
    axes.set_xlim(0, reach)
    axes.set_ylim(y + 0.55, 0.7)
    ticks_at = MaxNLocator(4 if narrow else 8)
    _scale(axes, reach, ticks_at, f"distance, {units.picture_unit}")
    for number, line in enumerate(key):
        figure.text(0.02 if narrow else left,
                    (total - 0.16 - _KEY_LINE_IN * number) / total, line,
                    fontsize=7.5, color=MUTED, va="center")  # fmt: skip
    return figure


def _rows_below(
    above_in: float, total_in: float, width_in: float, names: Iterable[str]
) -> tuple[Figure, Axes, float]:
    """Return a figure, axes for rows of those names, and where these begin in it.

    The rows leave `above_in` at the top and half an inch at the bottom.
    """
    figure = new_figure(width_in, total_in)
    left = left_margin(names, width_in)
    height = (total_in - 0.5 - above_in) / total_in
    axes = figure.add_axes((left, 0.5 / total_in, 0.98 - left, height))
    plain_axes(axes)
    return figure, axes, left


def _name_station(axes: Axes, y: float, text: str) -> None:
    axes.text(0, y, drawable(text), fontsize=8, fontweight="bold", va="center")


def _name_rows(axes: Axes, names: Mapping[float, str]) -> None:
    """Write names to the left of rows, by their heights."""
    axes.set_yticks(list(names), [drawable(n, LONGEST_NAME) for n in names.values()])


def _scale(axes: Axes, reach: float, ticks_at: MaxNLocator, label: str) -> None:
    """Draw the scale below the rows."""
    axes.set_xticks([at for at in ticks_at.tick_values(0, reach) if at <= reach])
    axes.grid(visible=True, axis="x")
    axes.set_axisbelow(True)
    axes.set_xlabel(label, fontsize=8.5)
    axes.tick_params(axis="x", labelsize=8)


def _draw_row(axes: Axes, row: _Row, y: float, units: Units, reach: float) -> None:
    one = units.picture_unit_m
    ink = INK if row.mark is not None else AREA
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
                  color=ink)  # fmt: skip
    axes.plot([row.low90_m / one, row.high90_m / one], [y, y], linewidth=1.3, zorder=4,
              color=ink)  # fmt: skip
    if row.low50_m is not None and row.high50_m is not None:
        axes.plot([row.low50_m / one, row.high50_m / one], [y, y], color=INK,
                  linewidth=3.4, solid_capstyle="butt", zorder=5)  # fmt: skip
    if row.mark is not None:
        draw_dots(axes, [row.median_m / one], y, row.mark, 9.5)
    else:
        axes.plot([row.median_m / one], [y], marker="o", markersize=8, color=AREA,
                  zorder=6)  # fmt: skip
    rules = [rule for rule in row.rules_m if np.isfinite(rule)]
    if rules:
        low, high = min(rules) / one, max(rules) / one
        base, tick = y - 0.20, 0.07
        axes.plot([low, low, high, high], [base + tick, base, base, base + tick],
                  color=MUTED, linewidth=1.0, zorder=4)  # fmt: skip


_AWAY_KEY_LINE_IN = 0.18
_KEY_UNIT_IN = 0.0693  # of the key's own measure; some letters take one
# Dots are rimmed one by one up to so many a row; more are drawn at once, or the page
# would grow with every trip.
_DOTS_ONE_BY_ONE = 40
# Trips timed from landing to landing hold the loading too: another shape.
_SHAPES: dict[str, Literal["o", "D"]] = {"away": "o", "round": "D"}
_DOT_SHARE = 0.010  # of the axis: dots nearer to one another than this are told apart
_LIFT = 0.24  # of a row, by which the second of them is lifted
_MOST_LIFTS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class _AwayRow:
    bee: str
    mark: str
    station: str
    trips: tuple[Trip, ...]
    distance: BeeDistance | None


def _away_rows(result: HuntResult) -> list[_AwayRow]:
    distances = {(bee.bee, bee.station): bee for bee in result.bees}
    groups: dict[tuple[str, str], list[Trip]] = {}
    for trip in result.table.trips:
        groups.setdefault((trip.station, trip.bee), []).append(trip)
    return [
        _AwayRow(
            bee=bee,
            mark=trips[0].mark,
            station=station,
            trips=tuple(trips),
            distance=distances.get((bee, station)),
        )
        for (station, bee), trips in sorted(groups.items(), key=lambda item: item[0][0])
    ]


def _longest_shown_s(trips: Sequence[Trip]) -> float:
    """Return the end of the axis: a missed night must not squeeze all other dots."""
    every = sorted(trip.away_s for trip in trips)
    used = [trip.away_s for trip in trips if trip.used]
    limit = 2.5 * (max(used) if used else every[len(every) // 2])
    return max(away for away in every if away <= limit)


def away_figure(result: HuntResult, width_in: float = PAGE_IN) -> Figure | None:
    """Draw away times as dots, the part taken as flight as a bar beneath.

    Returns None where no trip was timed.
    """
    rows = _away_rows(result)
    if not rows:
        return None
    stations = list(dict.fromkeys(row.station for row in rows))
    narrow = width_in < PAGE_IN
    above = 0.35 + (_AWAY_KEY_LINE_IN if narrow else 0.0)
    total = len(rows) * 0.36 + 0.30 * len(stations) + 0.6 + above
    figure, axes, _ = _rows_below(above, total, width_in, (r.bee for r in rows))
    longest = _longest_shown_s([trip for row in rows for trip in row.trips]) / 60
    y = 0.0
    places: dict[float, str] = {}
    for station in stations:
        _name_station(axes, y, f"station {station}")
        y -= 0.95
        for row in rows:
            if row.station == station:
                _draw_away_row(axes, row, y, longest, result)
                places[y] = row.bee
                y -= 1.15
    _name_rows(axes, places)
    axes.set_ylim(y + 0.45, 0.5)
    axes.set_xlim(0, longest * 1.03)
    ticks_at = MaxNLocator(5 if narrow else 9, integer=True)
    _scale(axes, longest, ticks_at, "minutes away")
    kinds = {trip.timing for row in rows for trip in row.trips if trip.used}
    _away_key(figure, with_rounds="round" in kinds)
    return figure


def flight_s(result: HuntResult, distance_m: float) -> float:
    """Return the time that flying out and home takes, at this hunt's speed."""
    settings = result.settings
    factor = settings.flight_speed_factor
    if result.fix is not None:
        factor = result.fix.learned.get("flight_speed_factor", (factor, 0.0))[0]
    out, home = settings.flight_speed_out_mps, settings.flight_speed_home_mps
    return distance_m * (1 / out + 1 / home) / factor


def _draw_away_row(
    axes: Axes, row: _AwayRow, y: float, longest: float, result: HuntResult
) -> None:
    if row.distance is not None:
        shortest = row.distance.shortest_away_s / 60
        flight = flight_s(result, row.distance.median_m) / 60
        # Where the flight alone would take longer, the estimate does not rest on
        # these trips, and there is nothing to split.
        stay = shortest - flight
        bars = ((0.0, stay, IN_HIVE), (stay, flight, FLIGHT)) if stay > 0 else ()
        for start, width, colour in bars:
            axes.add_patch(
                Rectangle((start, y - 0.40), width, 0.16, facecolor=colour, zorder=2,
                          edgecolor="none")
            )  # fmt: skip
    many = len(row.trips) > _DOTS_ONE_BY_ONE
    shown = [trip for trip in row.trips if trip.away_s / 60 <= longest]
    lifts = (
        [0.0] * len(shown) if many else _lifts([t.away_s / 60 for t in shown], longest)
    )
    together: dict[str, list[float]] = {}
    for trip, lift in zip(shown, lifts, strict=True):
        minutes = trip.away_s / 60
        if not trip.used:
            _draw_left_out(axes, minutes, y + lift)
        elif many:
            together.setdefault(trip.timing, []).append(minutes)
        else:
            shape = _SHAPES[trip.timing]
            draw_dots(axes, [minutes], y + lift, row.mark, 9.0, shape=shape)
    for timing, some in together.items():
        draw_dots(axes, some, y, row.mark, 6.5, shape=_SHAPES[timing])
    if beyond := len(row.trips) - len(shown):
        axes.text(longest * 1.02, y, f"{beyond} longer →", ha="right", va="center",
                  fontsize=7.5, color=MUTED)  # fmt: skip


def _lifts(minutes: Sequence[float], longest: float) -> list[float]:
    """Return how far each dot is lifted, so that trips as long as another show too."""
    near = longest * _DOT_SHARE
    lifts: list[float] = []
    for number, at in enumerate(minutes):
        taken = {
            lifts[k]
            for k, other in enumerate(minutes[:number])
            if abs(other - at) < near
        }
        free = (
            step * _LIFT for step in range(_MOST_LIFTS) if step * _LIFT not in taken
        )
        lifts.append(next(free, 0.0))
    return lifts


def _draw_left_out(axes: Axes, x: float, y: float) -> None:
    axes.plot([x], [y], marker="o", markersize=7, markerfacecolor="none", zorder=4,
              markeredgecolor=MUTED, markeredgewidth=1.0)  # fmt: skip
    axes.plot([x], [y], marker="x", markersize=4, color=MUTED, zorder=5,
              markeredgewidth=0.9)  # fmt: skip


def _away_key(figure: Figure, *, with_rounds: bool) -> None:
    """Draw the key above: in one line, or two where the picture is narrow."""
    width_in, total = figure.get_size_inches()
    narrow = width_in < PAGE_IN
    left = 0.02 if narrow else 0.135
    lines = 2 if narrow else 1
    tall_in = 0.22 + _AWAY_KEY_LINE_IN * (lines - 1)
    axes = figure.add_axes(
        (left, (total - 0.05 - tall_in) / total, 0.98 - left, tall_in / total)
    )
    axes.set_axis_off()
    axes.set_xlim(0, (0.98 - left) * width_in / _KEY_UNIT_IN)
    axes.set_ylim(0.5 - (lines - 1) * 0.8 - 0.5, 1)
    entries = [("a trip, used", "o"), ("left out", "x")]
    if with_rounds:
        entries.insert(1, ("with the loading", "D"))
    x = 1.0
    for text, shape in entries:
        if shape == "x":
            _draw_left_out(axes, x, 0.5)
        else:
            axes.plot([x], [0.5], marker=shape, markeredgewidth=1.0,
                      markersize=6.5 if shape == "o" else 5.5,
                      markerfacecolor=MUTED, markeredgecolor=INK)  # fmt: skip
        axes.text(x + 1.5, 0.5, text, fontsize=7.5, va="center")
        x += 4.0 + 0.95 * len(text)
    y = 0.5
    if narrow:
        x, y = 1.0, y - 0.8
    for text, colour in (
        ("taken as time in the hive", IN_HIVE),
        ("taken as flight, both ways", FLIGHT),
    ):
        axes.add_patch(Rectangle((x - 1, y - 0.12), 3.2, 0.24, facecolor=colour))
        axes.text(x + 3.2, y, text, fontsize=7.5, va="center")
        x += 6.0 + 0.95 * len(text)
