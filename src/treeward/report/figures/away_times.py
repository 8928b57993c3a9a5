"""How long each bee was away, and which part of it is taken as flight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from .style import (
    FLIGHT,
    IN_HIVE,
    INK,
    LONGEST_NAME,
    MUTED,
    PAGE_IN,
    draw_dot,
    draw_dots,
    drawable,
    left_margin,
    new_figure,
    plain_axes,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from treeward.report.model import HuntResult
    from treeward.survey.records import BeeDistance
    from treeward.trips.table import Trip

_KEY_LINE_IN = 0.18
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
    distances = {(b.bee, b.station): b for b in (result.fix.bees if result.fix else ())}
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
    above = 0.35 + (_KEY_LINE_IN if narrow else 0.0)
    total = len(rows) * 0.36 + 0.30 * len(stations) + 0.6 + above
    figure = new_figure(width_in, total)
    left = left_margin((row.bee for row in rows), width_in)
    height = (total - 0.5 - above) / total
    axes = figure.add_axes((left, 0.5 / total, 0.98 - left, height))
    plain_axes(axes)
    longest = _longest_shown_s([trip for row in rows for trip in row.trips]) / 60
    y, ticks, names = 0.0, [], []
    for station in stations:
        axes.text(0, y, drawable(f"station {station}"), fontsize=8, fontweight="bold",
                  va="center")  # fmt: skip
        y -= 0.95
        for row in rows:
            if row.station != station:
                continue
            _draw_away_row(axes, row, y, longest, result)
            ticks.append(y)
            names.append(drawable(row.bee, LONGEST_NAME))
            y -= 1.15
    axes.set_yticks(ticks, names)
    axes.set_ylim(y + 0.45, 0.5)
    axes.set_xlim(0, longest * 1.03)
    even = MaxNLocator(5 if narrow else 9, integer=True).tick_values(0, longest)
    axes.set_xticks([tick for tick in even if tick <= longest])
    axes.grid(visible=True, axis="x")
    axes.set_axisbelow(True)
    axes.set_xlabel("minutes away", fontsize=8.5)
    axes.tick_params(axis="x", labelsize=8)
    kinds = {trip.timing for row in rows for trip in row.trips if trip.used}
    _away_key(figure, with_rounds="round" in kinds)
    return figure


def flight_s(result: HuntResult, distance_m: float) -> float:
    """Return the time that flying out and home takes, at this hunt's speed."""
    factor = result.settings.flight_speed_factor
    if result.fix is not None:
        factor = result.fix.learned.get("flight_speed_factor", (factor, 0.0))[0]
    return distance_m * result.flight_s_per_m / factor


def _draw_away_row(
    axes: Axes, row: _AwayRow, y: float, longest: float, result: HuntResult
) -> None:
    if row.distance is not None:
        shortest = row.distance.shortest_away_s / 60
        flight = flight_s(result, row.distance.median_m) / 60
        # Where the flight alone would take longer, the estimate does not rest on
        # these trips, and there is nothing to split.
        fits = flight < shortest
        for start, width, colour in (
            (
                (0.0, shortest - flight, IN_HIVE),
                (shortest - flight, flight, FLIGHT),
            )
            if fits
            else ()
        ):
            axes.add_patch(
                Rectangle((start, y - 0.40), width, 0.16, facecolor=colour, zorder=2,
                          edgecolor="none")
            )  # fmt: skip
    beyond, many = 0, len(row.trips) > _DOTS_ONE_BY_ONE
    shown: list[Trip] = []
    for trip in row.trips:
        if trip.away_s / 60 > longest:
            beyond += 1
        else:
            shown.append(trip)
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
            draw_dot(axes, minutes, y + lift, row.mark, 9.0, shape=_SHAPES[trip.timing])
    for timing, some in together.items():
        draw_dots(axes, some, y, row.mark, 6.5, shape=_SHAPES[timing])
    if beyond:
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
    tall_in = 0.22 + _KEY_LINE_IN * (lines - 1)
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
