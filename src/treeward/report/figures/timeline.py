"""When each bee came and went, against the clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from matplotlib.patches import Rectangle

from treeward.trips.table import timed_ends

from . import (
    FAINT,
    INK,
    LONGEST_NAME,
    MUTED,
    PAGE_IN,
    drawable,
    left_margin,
    mark_colours,
    new_figure,
    plain_axes,
)

if TYPE_CHECKING:
    from datetime import date, tzinfo

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from treeward.report.model import HuntResult
    from treeward.trips.table import Trip, Visit

_ROW_IN = 0.30
_BETWEEN_IN = 0.85
_TICK_MINUTES = (1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 240, 360)
_KEY_TEXT = "box: at the station   line: away, used   dotted: away, left out"
_TICK_IN = 0.55  # between two clock times below; choice
_WORDS_IN, _NAME_IN = 0.40, 0.12  # that "station 1" and "1" take above a bar; choice
_MOST_DAYS = 10  # so many days are drawn, the newest; the tables have all; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class _Day:
    """What was seen on one day, in the hunt's own time zone."""

    day: date
    visits: tuple[Visit, ...]
    trips: tuple[Trip, ...]

    def bee_of(self, visit: Visit) -> str:
        """Return the bee a visit belongs to; a trip that shares a row knows her too."""
        if visit.bee:
            return visit.bee
        for trip in self.trips:
            if (trip.away_row and trip.away_row == visit.away_row) or (
                trip.back_row and trip.back_row == visit.back_row
            ):
                return trip.bee
        return visit.mark

    def bees(self) -> list[str]:
        names = [self.bee_of(v) for v in self.visits] + [t.bee for t in self.trips]
        return list(dict.fromkeys(names))

    def moments(self) -> list[tuple[float, str]]:
        """Return when something was seen [POSIX s] and at which station, in order."""
        seen = [(v.back_clock, v.station) for v in self.visits]
        seen += [(v.away_clock, v.station) for v in self.visits]
        seen += [(c, t.station) for t in self.trips for c in timed_ends(t) if c]
        return sorted((clock.timestamp(), station) for clock, station in seen)


def _same_day(result: HuntResult, trip: Trip) -> date | None:
    zone = result.hunt_file.hunt.zone
    clocks = [c.astimezone(zone).date() for c in timed_ends(trip) if c]
    return clocks[0] if clocks and clocks[0] == clocks[-1] else None


def _days(result: HuntResult) -> list[_Day]:
    zone = result.hunt_file.hunt.zone
    visits, trips = result.table.visits, result.table.trips
    found = {v.back_clock.astimezone(zone).date() for v in visits}
    found |= {day for t in trips if (day := _same_day(result, t)) is not None}
    return [
        _Day(
            day=day,
            visits=tuple(
                v for v in visits if v.back_clock.astimezone(zone).date() == day
            ),
            trips=tuple(t for t in trips if _same_day(result, t) == day),
        )
        for day in sorted(found)
    ]


def timeline_figure(result: HuntResult, width_in: float = PAGE_IN) -> Figure | None:
    """Draw every bee's visits against the clock, one strip for each day.

    Returns None where no visit and no trip has a clock time.
    """
    days = _days(result)[-_MOST_DAYS:]
    if not days:
        return None
    heights = [max(len(day.bees()), 2) * _ROW_IN for day in days]
    total = sum(heights) + _BETWEEN_IN * len(days) + 0.2
    figure = new_figure(width_in, total)
    left = left_margin((bee for day in days for bee in day.bees()), width_in)
    top = total - 0.72
    for day, height in zip(days, heights, strict=True):
        axes = figure.add_axes(
            (left, (top - height) / total, 0.98 - left, height / total)
        )
        _draw_day(axes, day, result, (0.98 - left) * width_in)
        top -= height + _BETWEEN_IN
    start = left if width_in >= PAGE_IN else 0.02
    figure.text(start, (total - 0.1) / total, _KEY_TEXT, fontsize=7.5, color=MUTED,
                va="center")  # fmt: skip
    return figure


def _draw_day(axes: Axes, day: _Day, result: HuntResult, wide_in: float) -> None:
    bees = day.bees()
    rows = {bee: len(bees) - 1 - number for number, bee in enumerate(bees)}
    plain_axes(axes)
    for row in rows.values():
        axes.axhline(row, color=FAINT, linewidth=0.7, zorder=1)
    for trip in day.trips:
        start, end = timed_ends(trip)
        if start is None or end is None:
            continue
        ends = [start.timestamp(), end.timestamp()]
        axes.plot(ends, [rows[trip.bee]] * 2, color=MUTED, zorder=2,
                  linewidth=1.6 if trip.used else 1.2,
                  linestyle="-" if trip.used else (0, (1, 1.5)))  # fmt: skip
    for visit in day.visits:
        _draw_visit(axes, visit, rows[day.bee_of(visit)])
    moments = day.moments()
    low, high = moments[0][0], moments[-1][0]
    room = max((high - low) * 0.02, 60.0)
    axes.set_xlim(low - room, high + room)
    axes.set_ylim(-0.6, max(len(bees), 2) - 0.4)
    axes.set_yticks(list(rows.values()), [drawable(bee, LONGEST_NAME) for bee in rows])
    most = max(3, min(8, int(wide_in / _TICK_IN)))
    ticks = clock_ticks(low, high, result.hunt_file.hunt.zone, most=most)
    axes.set_xticks([at for at, _ in ticks], [text for _, text in ticks], fontsize=8)
    _draw_stations(axes, day, wide_in)
    axes.set_title(f"{day.day:%A} {day.day.day} {day.day:%B %Y}", loc="left",
                   fontsize=9, fontweight="bold", pad=17)  # fmt: skip


def _draw_visit(axes: Axes, visit: Visit, row: int) -> None:
    start, end = visit.back_clock.timestamp(), visit.away_clock.timestamp()
    first, second = mark_colours(visit.mark)
    opacity = 1.0 if visit.used else 0.5
    for bottom, height, colour in ((-0.27, 0.54, second), (0.0, 0.27, first)):
        axes.add_patch(
            Rectangle((start, row + bottom), end - start, height, zorder=3,
                      facecolor=colour, edgecolor="none", alpha=opacity)
        )  # fmt: skip
    axes.add_patch(
        Rectangle((start, row - 0.27), end - start, 0.54, zorder=4, facecolor="none",
                  edgecolor=INK, linewidth=0.9, alpha=opacity)
    )  # fmt: skip


def clock_ticks(
    low: float, high: float, zone: tzinfo, *, most: int = 8
) -> list[tuple[float, str]]:
    """Return round clock times between two POSIX times, with their text.

    The texts are in `zone`; on the night the clocks change they skip or repeat, as
    the clocks do.
    """
    minutes = next(
        (m for m in _TICK_MINUTES if (high - low) / 60 / m <= most), _TICK_MINUTES[-1]
    )
    start = datetime.fromtimestamp(low, zone).replace(minute=0, second=0, microsecond=0)
    ticks, at = [], start.timestamp()
    while at <= high:
        if at >= low:
            ticks.append((at, f"{datetime.fromtimestamp(at, zone):%H:%M}"))
        at += minutes * 60
    return ticks


def _station_spans(day: _Day) -> list[tuple[str, float, float]]:
    """When which station was watched, in the order of time."""
    spans: list[tuple[str, float, float]] = []
    for moment, station in day.moments():
        if spans and spans[-1][0] == station:
            spans[-1] = (station, spans[-1][1], moment)
        else:
            spans.append((station, moment, moment))
    return spans


def _draw_stations(axes: Axes, day: _Day, wide_in: float) -> None:
    spans = _station_spans(day)
    low, high = axes.get_xlim()
    if len(spans) > 12:  # two people at two stations at once: bars would be a comb
        return
    for station, start, end in spans:
        axes.plot([start, end], [1.04, 1.04], color=INK, linewidth=1.2, clip_on=False,
                  transform=axes.get_xaxis_transform(),
                  solid_capstyle="butt")  # fmt: skip
        long_in = (end - start) / (high - low) * wide_in
        words = f"station {station}" if long_in > _WORDS_IN else station
        if long_in > _NAME_IN:
            axes.text((start + end) / 2, 1.06, drawable(words, 18),
                      transform=axes.get_xaxis_transform(), fontsize=7.5, ha="center",
                      va="bottom", color=MUTED)  # fmt: skip
