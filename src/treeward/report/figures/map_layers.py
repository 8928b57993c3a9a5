"""What lies under, on and beside the map.

The person's own ground, single days, the search; title and key.
"""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import PathPatch, Polygon, Rectangle
from matplotlib.path import Path as DrawnPath

from treeward.measures import bearing_text
from treeward.report.flight_lines import bundles_by_bee, to_compass_deg
from treeward.report.sketch import strip_lonlat
from treeward.report.wording import (
    area_sizes,
    basis_sentence,
    colony_sentences,
    compass_sentence,
    day_text,
    for_colony,
    headline,
    place_texts,
    seats,
    walk_text,
)

from . import (
    AREA,
    BEST,
    INK,
    LOOKED,
    MUTED,
    NEXT,
    PAPER,
    drawable,
    halo,
    mark_colours,
)
from .map_frame import set_extent

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from treeward.report.flight_lines import LineBundle
    from treeward.report.model import (
        Ground,
        GroundLine,
        GroundPicture,
        HuntResult,
        Sort,
    )
    from treeward.survey.frame import LocalFrame
    from treeward.survey.records import SearchArea

    from .map_frame import Extent, Lettering


_ACROSS = 900  # points across the map at which a picture is looked up; choice
_FAINT = 0.6  # opacity of pictures, so that lines and areas show on them; choice
# Usual on maps: green woods, brown ways. Water is no blue, which areas of chance are,
# and lies under them as lines, so that it is told from them without colour too.
GROUND_COLOUR: dict[Sort, str] = {
    "water": "#2f7f78", "wood": "#8fb08a", "way": "#9a7b5b", "other": MUTED,
}  # fmt: skip
GROUND_NAME: dict[Sort, str] = {
    "water": "water", "wood": "wood", "way": "path or road", "other": "other outline",
}  # fmt: skip
_FILLED: frozenset[Sort] = frozenset({"water", "wood"})


def ground_sorts(ground: Ground | None) -> list[tuple[Sort, bool]]:
    """Return what is drawn of the person's own map, and whether as areas."""
    lines = ground.lines if ground is not None else ()
    return [
        (sort, sort in _FILLED and any(o.closed for o in lines if o.sort == sort))
        for sort in GROUND_NAME
        if any(line.sort == sort for line in lines)
    ]


def draw_ground(
    axes: Axes,
    ground: Ground,
    frame: LocalFrame,
    extent: Extent,
    look: Lettering,
    *,
    credit_left: bool = False,
) -> None:
    """Draw what lies under the answer, and whose it is."""
    for picture in ground.pictures:
        axes.imshow(
            resampled(picture, frame, extent), zorder=0.5, alpha=_FAINT,
            interpolation="none", aspect="auto",
            extent=(extent.west_m, extent.east_m, extent.south_m, extent.north_m),
        )  # fmt: skip
    for line in ground.lines:
        _draw_line(axes, line, frame)
    if ground.credit:
        side = 0 if credit_left else 1  # the other has the scale
        axes.annotate(drawable(ground.credit, 60), (side, 0), (3 - 6 * side, 3),
                      ha="left" if credit_left else "right", va="bottom",
                      xycoords="axes fraction", textcoords="offset points",
                      fontsize=look.small_pt * 0.9, color=MUTED,
                      zorder=19, path_effects=halo(1.8))  # fmt: skip
    set_extent(axes, extent)  # imshow and plot may have moved it


def _draw_line(axes: Axes, line: GroundLine, frame: LocalFrame) -> None:
    xy = frame.to_xy(line.latitude_deg, line.longitude_deg)
    if line.closed and line.sort in _FILLED:
        axes.add_patch(Polygon(xy, zorder=0.7, **ground_fill(line.sort)))
    else:
        axes.plot(xy[:, 0], xy[:, 1], zorder=0.8, **ground_stroke(line.sort))


def ground_fill(sort: Sort) -> dict[str, Any]:
    """Return how an area of the ground is filled."""
    colour = GROUND_COLOUR[sort]
    if sort == "water":
        return {"facecolor": "none", "edgecolor": colour, "hatch": "-----",
                "linewidth": 0.9, "alpha": 0.75}  # fmt: skip
    return {"facecolor": colour, "edgecolor": colour, "alpha": 0.35}


def ground_stroke(sort: Sort) -> dict[str, Any]:
    """Return how a line of the ground is drawn."""
    dashes: Any = (0, (4, 1.5)) if sort == "way" else "-"
    return {"color": GROUND_COLOUR[sort], "linewidth": 1.0, "linestyle": dashes}


_ROUND_GLOBE = {"EPSG:3857": 2 * np.pi * 6378137.0}  # m; its sphere's equator


def resampled(
    picture: GroundPicture, frame: LocalFrame, extent: Extent, across: int = _ACROSS
) -> NDArray[np.uint8]:
    """Return a picture as the map shows it, north up; clear where it has nothing.

    It is (rows, across, 4); each point is the pixel that its middle lies in.
    """
    from pyproj import CRS, Transformer

    high = max(1, round(across * extent.height_m / extent.width_m))
    x = extent.west_m + (np.arange(across) + 0.5) * extent.width_m / across
    y = extent.north_m - (np.arange(high) + 0.5) * extent.height_m / high
    lonlat = frame.to_lonlat(np.stack(np.meshgrid(x, y), axis=-1))
    crs = CRS.from_user_input(picture.crs)
    to_picture = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    east, north = to_picture.transform(lonlat[..., 0], lonlat[..., 1])
    a, b, c, d, e, f = picture.affine
    if round_globe := 360.0 if crs.is_geographic else _ROUND_GLOBE.get(picture.crs):
        # Such a picture may run on beyond 180 degrees.
        first = c + (a * picture.pixels.shape[1] - round_globe) / 2
        east = (east - first) % round_globe + first
    matrix = np.linalg.inv(np.array([[a, b], [d, e]]))
    off = np.stack([east - c, north - f], axis=-1)
    with np.errstate(invalid="ignore"):
        place = np.floor(off @ matrix.T)
    rows, columns = picture.pixels.shape[:2]
    column, row = place[..., 0], place[..., 1]
    there = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
    shown = np.zeros((high, across, 4), dtype=np.uint8)
    shown[there] = picture.pixels[
        row[there].astype(np.intp), column[there].astype(np.intp)
    ]
    return shown


MOST_DAYS = 5  # so many days are outlined, the newest; the table has all; choice
PERCENT = 90
# Dashes tell the days apart without colour; in points, as matplotlib wants them.
_DASHES = ((5, 2), (1, 1.4), (7, 2, 1, 2), (3, 1, 1, 1, 1, 1), (9, 3))
_EDGE = 0.06  # share of the map along its rim that stays free of dates


def drawn_days(result: HuntResult) -> list[date]:
    """Return the days whose areas are outlined, oldest first."""
    return [day.day for day in result.days if day.colonies][-MOST_DAYS:]


def dash_of(number: int) -> tuple[float, ...]:
    """Return the dash pattern of the day with that number among those drawn."""
    return tuple(float(part) for part in _DASHES[number % len(_DASHES)])


def day_edge(number: int) -> dict[str, Any]:
    """Return how the outline of the day with that number is drawn."""
    return {"facecolor": "none", "edgecolor": INK, "linewidth": 1.1,
            "linestyle": (0, dash_of(number))}  # fmt: skip


def area_edge(percent: int) -> dict[str, Any]:
    """Return how the outline of a search area is drawn."""
    return {"facecolor": "none", "edgecolor": AREA,
            "linewidth": 1.6 if percent == 90 else 0.8,
            "linestyle": "--" if percent == 95 else "-"}  # fmt: skip


def area_outlines(area: SearchArea, frame: LocalFrame) -> Iterator[DrawnPath]:
    """Yield a path for each patch of a search area, holes and all, in metres."""
    for polygon in area.polygons:
        parts = []
        for ring in (polygon.outer, *polygon.holes):
            if len(ring) < 3:
                continue
            xy = frame.to_xy(ring[:, 1], ring[:, 0])
            codes = np.full(len(xy), DrawnPath.LINETO, dtype=np.uint8)
            codes[0], codes[-1] = DrawnPath.MOVETO, DrawnPath.CLOSEPOLY
            parts.append(DrawnPath(xy, codes))
        if parts:
            yield DrawnPath.make_compound_path(*parts)


def draw_days(
    axes: Axes,
    result: HuntResult,
    frame: LocalFrame,
    *,
    extent: Extent,
    content: NDArray[np.float64],
    look: Lettering,
) -> None:
    """Outline where each day alone puts the colonies.

    The dates keep away from the content, (n, 2) metres.
    """
    shown = drawn_days(result)
    taken = content
    for day in result.days:
        if day.day not in shown:
            continue
        number = shown.index(day.day)
        for one in day.colonies:
            area = one.colony.search_areas.get(PERCENT)
            if area is None:
                continue
            outlines = list(area_outlines(area, frame))
            for outline in outlines:
                patch = PathPatch(outline, zorder=5, **day_edge(number))
                patch.set_gid(f"day-{number}")
                axes.add_patch(patch)
            points = np.vstack([outline.vertices for outline in outlines])
            place = _free_place(points, extent, taken)
            if place is None:
                continue
            text = axes.annotate(
                drawable(f"{day.day.day} {day.day:%b}"), (place[0], place[1]),
                ha="center", va="center", fontsize=look.text_pt * 0.9, zorder=16,
                path_effects=halo(),
            )  # fmt: skip
            text.set_gid(f"day-{number}")
            taken = np.vstack([taken, place[None, :], place[None, :]])


def _free_place(
    outline: NDArray[np.float64], extent: Extent, taken: NDArray[np.float64]
) -> NDArray[np.float64] | None:
    """Return the point of an outline, well within the map, farthest from the rest."""
    share_x = (outline[:, 0] - extent.west_m) / extent.width_m
    share_y = (outline[:, 1] - extent.south_m) / extent.height_m
    inner = (np.abs(share_x - 0.5) < 0.5 - _EDGE) & (
        np.abs(share_y - 0.5) < 0.5 - _EDGE
    )
    points = outline[inner]
    if not len(points):
        return None
    gaps = np.hypot(
        (points[:, None, 0] - taken[None, :, 0]) / extent.width_m,
        (points[:, None, 1] - taken[None, :, 1]) / extent.height_m,
    ).min(axis=1)
    chosen: NDArray[np.float64] = points[int(np.argmax(gaps))]
    return chosen


def draw_looked(axes: Axes, result: HuntResult, frame: LocalFrame) -> None:
    """Shade the ground that was looked at, as wide as a nest is seen."""
    told = result.search.searching if result.search else None
    if told is None or not told.looked:
        return
    # A line's width in points, 72 to the inch, is one on the ground in a set extent.
    box = axes.get_window_extent()
    points = box.width * 72 / axes.figure.dpi
    metres = abs(axes.get_xlim()[1] - axes.get_xlim()[0])
    for way in told.walked:
        xy = frame.to_xy(way.latitude_deg, way.longitude_deg)
        axes.plot(xy[:, 0], xy[:, 1], color=LOOKED, alpha=0.5, zorder=4.5,
                  linewidth=max(1.5, way.sweep_width_m * points / metres),
                  solid_capstyle="round", solid_joinstyle="round")  # fmt: skip
    for area in told.looked_over:
        ring = frame.to_xy(area.ring[:, 1], area.ring[:, 0])
        axes.add_patch(
            Polygon(ring, facecolor=LOOKED, edgecolor="none", alpha=0.5, zorder=4.5)
        )
    for spot in told.spots:
        at = frame.to_xy(np.array([spot.latitude_deg]), np.array([spot.longitude_deg]))
        size = max(4.0, 2 * spot.radius_m * points / metres)
        axes.plot(at[:, 0], at[:, 1], marker="o", markersize=size, zorder=4.5,
                  color=LOOKED, alpha=0.5, markeredgewidth=0)  # fmt: skip


def draw_walk(axes: Axes, result: HuntResult, frame: LocalFrame) -> None:
    """Draw strips as arrows, and the way from one to the next as a fine line."""
    for colony in result.colonies:
        last = None
        for strip in colony.search_plan:
            lon, lat = np.array(strip_lonlat(strip)).T
            xy = frame.to_xy(lat, lon)
            way = xy[:-1] if last is None else np.vstack([last, xy[:-1]])
            axes.plot(way[:, 0], way[:, 1], color=INK, linewidth=0.5, alpha=0.6,
                      linestyle=(0, (1, 2)), zorder=9)  # fmt: skip
            axes.annotate(
                "", xy=(xy[-1, 0], xy[-1, 1]), xytext=(xy[-2, 0], xy[-2, 1]), zorder=9,
                arrowprops={
                    "arrowstyle": "-|>,head_length=0.3,head_width=0.12",
                    "color": INK,
                    "linewidth": 0.6,
                    "alpha": 0.75,
                    "shrinkA": 0,
                    "shrinkB": 0,
                },
            )  # fmt: skip
            last = xy[-1]


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

    def entry(self, text: str, *below: str) -> float:
        """Write a line with room for a symbol before it; return the symbol's height."""
        middle = self.y - _LINE * 0.38
        self.axes.text(0.14, self.y, text, fontsize=8, va="top")
        self.y -= _LINE
        for line in filter(None, below):
            self.axes.text(0.14, self.y + _LINE * 0.16, line, fontsize=7.2, va="top",
                           color=MUTED)  # fmt: skip
            self.y -= _LINE * 0.78
        return middle

    def box(self, y: float, **look: Any) -> None:  # noqa: ANN401  (matplotlib's own)
        """Draw an area's symbol at a height."""
        self.axes.add_patch(Rectangle((0.015, y - 0.008), 0.08, 0.016, **look))

    def line(self, y: float, **look: Any) -> None:  # noqa: ANN401
        """Draw a line's symbol at a height."""
        self.axes.plot([0.015, 0.095], [y, y], **look)


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
    key.heading("Places")
    for place in result.stations[:8]:
        name = f", {place.name}" if place.name else ""
        degrees, _ = place_texts(place)
        y = key.entry(drawable(f"Station {place.id}{name}", 34), degrees)
        key.axes.plot([0.055], [y], marker="o", markersize=9, markerfacecolor=PAPER,
                      markeredgecolor=INK, markeredgewidth=1.3)  # fmt: skip
    for colony in result.colonies[:4]:
        degrees, grid = place_texts(colony)
        name = f"Best place{for_colony(result, colony)}"
        y = key.entry(drawable(name), degrees, f"UTM {grid}" if grid else "")
        key.axes.plot([0.055], [y], marker="*", markersize=14, markerfacecolor=BEST,
                      markeredgecolor=PAPER, markeredgewidth=0.8)  # fmt: skip
    for colony, place_next in seats(result)[:4]:
        walk = walk_text(result, place_next)
        title = f"Next station{for_colony(result, colony)}"
        y = key.entry(drawable(title), drawable(walk, 60))
        key.axes.plot([0.055], [y], marker="s", markersize=8, markerfacecolor=NEXT,
                      markeredgecolor=PAPER, markeredgewidth=0.8)  # fmt: skip


def _areas(key: _Key, result: HuntResult) -> None:
    if not result.colonies:
        return
    key.heading("Search area")
    for percent, sizes in area_sizes(result).items():
        y = key.entry(f"{percent} % chance: {' and '.join(sizes)}")
        opacity = _OPACITY.get(percent, 0.2)
        key.box(y, facecolor=AREA, edgecolor="none", alpha=opacity)
        key.box(y, **area_edge(percent))


def _days(key: _Key, result: HuntResult) -> None:
    for number, day in enumerate(drawn_days(result)):
        if not key.room(8):
            return
        y = key.entry(f"{day_text(day)} alone, 90 %")
        key.box(y, **day_edge(number))


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
        y = key.entry(drawable(text, 44))
        ends = {"solid_capstyle": "butt", "dash_capstyle": "butt"}
        first, second = mark_colours(mark)
        key.line(y, color=INK, linewidth=3.4, **ends)
        key.line(y, color=first, linewidth=2.2, **ends)
        key.line(y, color=second, linewidth=2.2, linestyle=(0, (2, 2)), **ends)


def _ground(key: _Key, result: HuntResult) -> None:
    """Explain the person's own map, where lines of it lie under the answer."""
    sorts = ground_sorts(result.ground)
    if not sorts or not key.room(2 + len(sorts)):
        return
    key.heading("Ground, from your own map")
    for sort, filled in sorts:
        y = key.entry(GROUND_NAME[sort])
        if filled:
            key.box(y, **ground_fill(sort))
        else:
            key.line(y, **ground_stroke(sort))


def _mean_text(result: HuntResult, group: LineBundle) -> str:
    """Write "211°, 210°": as the person's compass reads, and true."""
    true = bearing_text(group.mean_true_deg)
    read_deg = to_compass_deg(result, group.mean_true_deg, group.station)
    if read_deg is None or result.hunt_file.hunt.compass == "true":
        return true
    return f"{bearing_text(read_deg)}, {true}"


def _notes(result: HuntResult, zone: str) -> list[str]:
    # What a map cannot do without comes first: there may be no room for all.
    notes = [compass_sentence(result)]
    if zone:
        notes.append(f"Grid: UTM zone {zone}, WGS84; north is true north.")
    if bundles_by_bee(result):
        notes.append("Grey fans hold about two in three single bearings.")
    if any(colony.search_plan for colony in result.colonies):
        notes.append(
            "Arrows: the strips to walk, in the order of their numbers, which finds "
            "the colony soonest."
        )
    if result.search is not None and result.search.searching.looked:
        notes.append("Ochre: ground looked at, where nothing was found.")
    if result.tracks:
        notes.append("Dotted grey: the way walked.")
    if result.several:
        notes += [
            sentence
            for colony in result.colonies
            for sentence in colony_sentences(result, colony)[:1]
        ]
    notes.append(basis_sentence(result))
    return notes
