"""Title and key beside the map sheet."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from matplotlib.patches import Rectangle

from treeward.positions import Position, format_position, utm_text
from treeward.report.bundles import bundles_by_bee
from treeward.report.compass import both_text, to_compass_deg
from treeward.report.days import day_text
from treeward.report.wording import (
    basis_sentence,
    colony_sentences,
    compass_sentence,
    for_colony,
    headline,
    seats,
)
from treeward.units import Units, bearing_text

from .map_layers import (
    GROUND_NAME,
    dash_of,
    drawn_days,
    ground_fill,
    ground_sorts,
    ground_stroke,
)
from .paint import paint_hex, split_mark
from .style import AREA, BEST, INK, MUTED, NEXT, PAPER, drawable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from treeward.report.bundles import LineBundle
    from treeward.report.model import HuntResult

_LINE = 0.0245  # height of one line of the key, share of the sheet
_LINES_EACH = 9  # more flight lines are listed by bee, without their bearings; choice
_OPACITY = {50: 0.55, 90: 0.29, 95: 0.14}  # as the nested areas add up on the map


class _Key:
    """Writes the key from the top down; what does not fit is counted, not drawn."""

    def __init__(self, axes: Axes) -> None:
        self.axes, self.y = axes, 1.0

    def room(self, lines: float = 1.0) -> bool:
        return self.y - lines * _LINE > 0.0

    def heading(self, text: str) -> None:
        self.y -= _LINE * 0.55
        self.axes.text(0.0, self.y, text, fontsize=8.5, fontweight="bold", va="top")
        self.y -= _LINE

    def text(self, text: str, *, indent: float = 0.0, muted: bool = False) -> None:
        lines = wrap(text, 46 - round(indent * 40))
        if not self.room(0.86 * len(lines)):
            return
        for line in lines:
            self.axes.text(indent, self.y, line, fontsize=7.8, va="top",
                           color=MUTED if muted else INK)  # fmt: skip
            self.y -= _LINE * 0.86

    def entry(self, text: str, second: str = "") -> float:
        """Write a line with room for a symbol before it; return the symbol's height."""
        middle = self.y - _LINE * 0.38
        self.axes.text(0.14, self.y, text, fontsize=8, va="top")
        self.y -= _LINE
        if second:
            self.axes.text(0.14, self.y + _LINE * 0.16, second, fontsize=7.2, va="top",
                           color=MUTED)  # fmt: skip
            self.y -= _LINE * 0.78
        return middle


def draw_key(figure: Figure, result: HuntResult, zone: str) -> None:
    """Write title, answer and key on the map sheet."""
    hunt = result.hunt_file.hunt
    figure.text(0.045, 0.962, drawable(hunt.name, 60), fontsize=16, fontweight="bold",
                va="center")  # fmt: skip
    figure.text(0.045, 0.925, headline(result), fontsize=10, va="center", color=MUTED)
    axes = figure.add_axes((0.715, 0.05, 0.262, 0.845))
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    key = _Key(axes)
    _places(key, result)
    _areas(key, result)
    _days(key, result)
    _lines(key, result)
    _ground(key, result)
    key.heading("How to read it")
    for sentence in _notes(result, zone):
        key.text(sentence, muted=True)
    day = result.created.astimezone(hunt.zone)
    figure.text(0.045, 0.018, "Ask the landowner before you enter. Stings can kill: do "
                "not go alone.", fontsize=7.5, color=INK)  # fmt: skip
    figure.text(0.977, 0.018, f"Treeward {result.software_version}, {day:%Y-%m-%d}",
                fontsize=6.5, ha="right", color=MUTED)  # fmt: skip


def _places(key: _Key, result: HuntResult) -> None:
    units = Units(result.hunt_file.hunt.units)
    key.heading("Places")
    for place in result.stations[:8]:
        where = Position(
            latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg
        )
        name = f", {place.name}" if place.name else ""
        y = key.entry(drawable(f"Station {place.id}{name}", 34), format_position(where))
        key.axes.plot([0.055], [y], marker="o", markersize=9, markerfacecolor=PAPER,
                      markeredgecolor=INK, markeredgewidth=1.3)  # fmt: skip
    if result.fix is None:
        return
    for colony in result.fix.colonies[:4]:
        where = Position(
            latitude_deg=colony.best_latitude_deg,
            longitude_deg=colony.best_longitude_deg,
        )
        several = len(result.fix.colonies) > 1
        name = f"Best place, colony {colony.id}" if several else "Best place"
        y = key.entry(drawable(name), format_position(where))
        key.axes.plot([0.055], [y], marker="*", markersize=14, markerfacecolor=BEST,
                      markeredgecolor=PAPER, markeredgewidth=0.8)  # fmt: skip
        try:
            grid = utm_text(where)
        except ValueError:
            continue
        key.axes.text(0.14, key.y + _LINE * 0.16, f"UTM {grid}", fontsize=7.2, va="top",
                      color=MUTED)  # fmt: skip
        key.y -= _LINE * 0.78
    for colony, place_next in seats(result)[:4]:
        walk = (
            f"{units.distance(place_next.walk_m)} from station "
            f"{place_next.from_station} on "
            + both_text(
                result,
                place_next.walk_bearing_true_deg,
                result.station(place_next.from_station),
            )
        )
        title = f"Next station{for_colony(result, colony)}"
        y = key.entry(drawable(title), drawable(walk, 60))
        key.axes.plot([0.055], [y], marker="s", markersize=8, markerfacecolor=NEXT,
                      markeredgecolor=PAPER, markeredgewidth=0.8)  # fmt: skip


def _areas(key: _Key, result: HuntResult) -> None:
    if result.fix is None or not result.fix.colonies:
        return
    units = Units(result.hunt_file.hunt.units)
    key.heading("Search area")
    for percent in sorted({p for c in result.fix.colonies for p in c.search_areas}):
        sizes = [
            units.area(colony.search_areas[percent].area_m2)
            for colony in result.fix.colonies
            if percent in colony.search_areas
        ]
        y = key.entry(f"{percent} % chance: {' and '.join(sizes)}")
        key.axes.add_patch(
            Rectangle((0.015, y - 0.008), 0.08, 0.016, facecolor=AREA, edgecolor="none",
                      alpha=_OPACITY.get(percent, 0.2))
        )  # fmt: skip
        key.axes.add_patch(
            Rectangle((0.015, y - 0.008), 0.08, 0.016, facecolor="none", edgecolor=AREA,
                      linewidth=1.6 if percent == 90 else 0.8,
                      linestyle="--" if percent == 95 else "-")
        )  # fmt: skip


def _days(key: _Key, result: HuntResult) -> None:
    for number, day in enumerate(drawn_days(result)):
        if not key.room(8):
            return
        y = key.entry(f"{day_text(day)} alone, 90 %")
        key.axes.add_patch(
            Rectangle((0.015, y - 0.008), 0.08, 0.016, facecolor="none", edgecolor=INK,
                      linewidth=1.1, linestyle=(0, dash_of(number)))
        )  # fmt: skip


def _lines(key: _Key, result: HuntResult) -> None:
    groups = bundles_by_bee(result)
    if not groups:
        return
    if len(groups) > _LINES_EACH:
        key.heading("Flight lines")
        entries = [(name, name) for name in dict.fromkeys(g.name for g in groups)]
    else:
        true = result.hunt_file.hunt.compass == "true"
        north = "true" if true else "by compass, true"
        key.heading(f"Flight lines: mean {north} (bearings)")
        entries = [
            (
                group.name,
                drawable(f"{group.name} from {group.station.id}", 24)
                + f": {_mean_text(result, group)} ({len(group.lines)})",
            )
            for group in groups
        ]
    for mark, text in entries:
        if not key.room(6):
            key.text("and more", indent=0.14, muted=True)
            return
        _line_symbol(key, key.entry(drawable(text, 44)), mark)


def _ground(key: _Key, result: HuntResult) -> None:
    """Explain the person's own map, where lines of it lie under the answer."""
    sorts = ground_sorts(result.ground)
    if not sorts or not key.room(2 + len(sorts)):
        return
    key.heading("Ground, from your own map")
    for sort, filled in sorts:
        y = key.entry(GROUND_NAME[sort])
        if filled:
            box = Rectangle((0.015, y - 0.008), 0.08, 0.016, **ground_fill(sort))
            key.axes.add_patch(box)
        else:
            key.axes.plot([0.015, 0.095], [y, y], **ground_stroke(sort))


def _mean_text(result: HuntResult, group: LineBundle) -> str:
    """Write "211°, 210°": as the person's compass reads, and true."""
    true = bearing_text(group.mean_true_deg)
    read_deg = to_compass_deg(result, group.mean_true_deg, group.station)
    if read_deg is None or result.hunt_file.hunt.compass == "true":
        return true
    return f"{bearing_text(read_deg)}, {true}"


def _line_symbol(key: _Key, y: float, mark: str) -> None:
    first, second = split_mark(mark)
    for colour, width, style in (
        (INK, 3.4, "-"),
        (paint_hex(first), 2.2, "-"),
        (paint_hex(second), 2.2, (0, (2, 2))),
    ):
        key.axes.plot([0.015, 0.095], [y, y], color=colour, linewidth=width,
                      linestyle=style, solid_capstyle="butt",
                      dash_capstyle="butt")  # fmt: skip


def _notes(result: HuntResult, zone: str) -> list[str]:
    # What a map cannot do without comes first: there may be no room for all.
    notes = [compass_sentence(result)]
    if zone:
        notes.append(f"Grid: UTM zone {zone}, WGS84; north is true north.")
    if result.fix is not None and len(result.fix.colonies) > 1:
        notes += [
            sentence
            for colony in result.fix.colonies
            for sentence in colony_sentences(result, colony)[:1]
        ]
    notes.append(basis_sentence(result))
    if bundles_by_bee(result):
        notes.append("Grey fans hold about two in three single bearings.")
    if result.fix is not None and any(c.search_plan for c in result.fix.colonies):
        notes.append(
            "Arrows: the strips to walk, in the order of their numbers, which finds "
            "the colony soonest."
        )
    if result.search is not None and result.search.searching.looked:
        notes.append("Ochre: ground looked at, where nothing was found.")
    if result.tracks:
        notes.append("Dotted grey: the way walked.")
    return notes
