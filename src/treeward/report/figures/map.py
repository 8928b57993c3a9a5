"""The map: stations, flight lines with their spread, search areas, where to go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from matplotlib.patches import PathPatch, Wedge
from matplotlib.transforms import ScaledTranslation

from treeward.report.flight_lines import bundles_by_bee, bundles_by_colony
from treeward.report.sketch import LINE_DEFAULT_M, line_length_m
from treeward.report.wording import seats
from treeward.survey.frame import LocalFrame

from . import (
    AREA,
    BEST,
    INK,
    MUTED,
    NEXT,
    PAPER,
    drawable,
    halo,
    mark_colours,
    new_figure,
)
from .map_frame import (
    Extent,
    Lettering,
    draw_degrees,
    draw_scale_and_north,
    draw_utm_grid,
    emptiest_corner,
    extent_about,
    scale_box,
    set_extent,
)
from .map_layers import (
    area_edge,
    area_outlines,
    draw_days,
    draw_ground,
    draw_key,
    draw_looked,
    draw_walk,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from treeward.report.flight_lines import LineBundle
    from treeward.report.model import HuntResult
    from treeward.survey.frame import Placed

    Points = NDArray[np.float64]

Form = Literal["sheet", "page", "phone"]
ON_PAGES: dict[str, Form] = {"map": "page", "map-phone": "phone"}  # by drawings' names
_MARGINS = (0.14, 0.2, 0.27, 0.35, 0.45)  # free on each side, share; choice
_LETTERS = 0.04  # of the map, below a place that has a name; about what they take
_LINE_PT = 2.9  # width of a flight line with its rim
_TOGETHER_DEG = 1.0  # lines less apart hide one another for most of their way; choice
_NUMBERS_PT = 16.0  # least distance between two numbers of strips; choice
AREA_OPACITY = {95: 0.13, 90: 0.17, 50: 0.30}


def map_frame(result: HuntResult) -> LocalFrame | None:
    """Return the local frame of a hunt's map; None where no place is known."""
    if not result.stations:
        return None
    return LocalFrame.about(
        np.array([place.latitude_deg for place in result.stations]),
        np.array([place.longitude_deg for place in result.stations]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Form:
    """Size of the sheet in inches, and what of it the map takes."""

    size_in: tuple[float, float]
    axes: tuple[float, float, float, float]  # left, bottom, width, height; shares


LETTERING: dict[Form, Lettering] = {
    "sheet": Lettering(),
    "page": Lettering(),
    "phone": Lettering(small_pt=8.5, text_pt=9.5, grid_lines=3),
}
_FORMS: dict[Form, _Form] = {
    "sheet": _Form(
        size_in=(11.69, 8.27),  # A4 on its side
        axes=(0.045, 0.055, 0.635, 0.83),
    ),
    "page": _Form(size_in=(8.2, 6.4), axes=(0.045, 0.05, 0.915, 0.905)),
    "phone": _Form(size_in=(4.2, 4.6), axes=(0.085, 0.07, 0.835, 0.865)),
}


def map_figure(result: HuntResult, form: Form) -> Figure | None:
    """Draw the map; None where no station has a position.

    The form is "sheet" for A4 on its side, with title and key beside the map; "page"
    for the map alone, as the report shows it, or "phone" for a screen a hand wide.
    """
    frame = map_frame(result)
    if frame is None:
        return None
    chosen, look = _FORMS[form], LETTERING[form]
    figure = new_figure(*chosen.size_in)
    axes = figure.add_axes(chosen.axes)
    covered = _covered(result, frame)
    extent = _extent(chosen, result, frame, covered)
    set_extent(axes, extent)
    if result.ground is not None:
        box = scale_box(extent, result.hunt_file.hunt.units)
        right, top, _ = emptiest_corner(extent, covered, *box)
        draw_ground(
            axes, result.ground, frame, extent, look, credit_left=right and not top
        )
    zone = draw_utm_grid(axes, frame, extent, look)
    draw_degrees(axes, frame, extent, look)
    _draw_tracks(axes, result, frame)
    _draw_areas(axes, result, frame)
    _draw_lines(axes, result, frame)
    draw_looked(axes, result, frame)
    draw_walk(axes, result, frame)
    apart_m = _NUMBERS_PT * extent.width_m / (72 * chosen.axes[2] * chosen.size_in[0])
    _number_strips(axes, result, frame, look, apart_m)
    _draw_spots(axes, result, frame, look)
    draw_days(axes, result, frame, extent=extent, content=covered, look=look)
    draw_scale_and_north(axes, extent, covered, result.hunt_file.hunt.units, look)
    if form == "sheet":
        draw_key(figure, result, zone)
    return figure


def map_place(
    result: HuntResult, frame: LocalFrame, form: Form
) -> tuple[Extent, tuple[float, float, float, float]]:
    """Return what `map_figure` shows in a form, and where on the drawing.

    That is left, top, width and height in points, from the drawing's top left corner.
    """
    chosen = _FORMS[form]
    wide, high = (72 * inches for inches in chosen.size_in)
    left, bottom, width, height = chosen.axes
    box = (left * wide, (1 - bottom - height) * high, width * wide, height * high)
    return _extent(chosen, result, frame, _covered(result, frame)), box


def _extent(
    chosen: _Form, result: HuntResult, frame: LocalFrame, covered: Points
) -> Extent:
    """Return the extent: as wide as it must be for a corner to be free.

    That is where scale and north go.
    """
    shape = chosen.axes[2] * chosen.size_in[0] / (chosen.axes[3] * chosen.size_in[1])
    points, system = _content(result, frame), result.hunt_file.hunt.units
    extents = [extent_about(points, shape=shape, margin=m) for m in _MARGINS]
    taken = [emptiest_corner(e, covered, *scale_box(e, system))[2] for e in extents]
    return extents[taken.index(min(taken))]


def _covered(result: HuntResult, frame: LocalFrame) -> Points:
    """Return points all over what the scale must not cover, (n, 2) metres."""
    found = [_content(result, frame)]
    for colony in result.colonies:
        for area in colony.search_areas.values():
            for outline in area_outlines(area, frame):
                corners = np.asarray(outline.vertices, dtype=np.float64)
                low, high = corners.min(axis=0), corners.max(axis=0)
                side = [np.linspace(low[i], high[i], 25) for i in (0, 1)]
                inside = np.stack(np.meshgrid(*side), axis=-1).reshape(-1, 2)
                found.append(inside[outline.contains_points(inside)])
        found += [
            frame.to_xy(
                np.linspace(strip.start_latitude_deg, strip.end_latitude_deg, 9),
                np.linspace(strip.start_longitude_deg, strip.end_longitude_deg, 9),
            )
            for strip in colony.search_plan
        ]
    found += [
        frame.to_xy(np.array(track.latitude_deg), np.array(track.longitude_deg))
        for track in result.tracks
    ]
    steps = np.linspace(0.0, 1.0, 40)[:, None]
    for group in bundles_by_bee(result):
        start, way = _line(result, frame, group)
        found.append(start + steps * way)
    content: Points = np.vstack(found)
    # Names stand below stations and seats, and reach to their sides.
    below = float(np.ptp(content[:, 1]) + 1.0) * _LETTERS
    named = found[0][: len(result.stations) + 2 * len(seats(result))]
    offsets = ([0.0, -below], [below, -below], [-below, -below], [below, 0.0])
    return np.vstack([content, *(named + np.array(offset) for offset in offsets)])


def _line(
    result: HuntResult, frame: LocalFrame, group: LineBundle
) -> tuple[Points, Points]:
    """Where a flight line begins and how far it goes from there, metres."""
    turn = np.radians(group.mean_true_deg)
    way = line_length_m(result, group) * np.array([np.sin(turn), np.cos(turn)])
    return _at(frame, group.station), way


def _at(frame: LocalFrame, where: Placed) -> Points:
    """East and north of one place, metres."""
    lat, lon = np.array([where.latitude_deg]), np.array([where.longitude_deg])
    place: Points = frame.to_xy(lat, lon)[0]
    return place


def _content(result: HuntResult, frame: LocalFrame) -> Points:
    """Everything the map has to show, (n, 2) metres."""
    rings: list[Points] = []
    for colony in result.colonies:
        if colony.search_areas:
            widest = colony.search_areas[max(colony.search_areas)]
            rings += [polygon.outer for polygon in widest.polygons]
    places: list[Placed] = [*result.stations, *result.colonies]
    places += [place for _, place in seats(result)]
    spots = np.stack([_at(frame, place) for place in places])
    outlines = [frame.to_xy(ring[:, 1], ring[:, 0]) for ring in rings if len(ring)]
    if not outlines and len(spots) == 1:  # nothing found yet: leave room for the lines
        reach = np.array([[-1.0, -1.0], [1.0, 1.0]]) * LINE_DEFAULT_M
        outlines = [spots + reach]
    return np.vstack([spots, *outlines])


def _draw_areas(axes: Axes, result: HuntResult, frame: LocalFrame) -> None:
    for colony in result.colonies:
        for percent in sorted(colony.search_areas, reverse=True):
            look = {"facecolor": AREA, "alpha": AREA_OPACITY.get(percent, 0.15)}
            for whole in area_outlines(colony.search_areas[percent], frame):
                axes.add_patch(PathPatch(whole, zorder=3, edgecolor="none", **look))
                axes.add_patch(PathPatch(whole, zorder=4, **area_edge(percent)))


def _draw_lines(axes: Axes, result: HuntResult, frame: LocalFrame) -> None:
    for group in bundles_by_colony(result):
        x, y = _at(frame, group.station)
        length = line_length_m(result, group)
        middle = 90 - group.mean_true_deg
        axes.add_patch(
            Wedge((x, y), length, middle - group.spread_deg, middle + group.spread_deg,
                  facecolor=MUTED, edgecolor="none", alpha=0.13, zorder=2)
        )  # fmt: skip
    drawn: list[LineBundle] = []
    for group in bundles_by_bee(result):
        start, way = _line(result, frame, group)
        xs, ys = zip(start, start + way, strict=True)
        first, second = mark_colours(group.name)
        # Beside those that it would lie upon, of which nothing would be seen.
        aside_pt = _LINE_PT * sum(_lie_together(group, other) for other in drawn)
        drawn.append(group)
        turn = np.radians(group.mean_true_deg)
        right_in = aside_pt / 72 * np.cos(turn)
        up_in = -aside_pt / 72 * np.sin(turn)
        aside = ScaledTranslation(right_in, up_in, axes.figure.dpi_scale_trans)
        at = axes.transData + aside
        axes.plot(xs, ys, color=INK, linewidth=_LINE_PT, zorder=6, transform=at,
                  solid_capstyle="butt")  # fmt: skip
        axes.plot(xs, ys, color=first, linewidth=1.9, zorder=7, transform=at,
                  solid_capstyle="butt")  # fmt: skip
        if second != first:
            axes.plot(xs, ys, color=second, linewidth=1.9, zorder=8,
                      transform=at, linestyle=(0, (4, 4)),
                      dash_capstyle="butt")  # fmt: skip


def _lie_together(one: LineBundle, other: LineBundle) -> bool:
    apart_deg = (one.mean_true_deg - other.mean_true_deg + 180) % 360 - 180
    return one.station.id == other.station.id and abs(apart_deg) < _TOGETHER_DEG


def _draw_tracks(axes: Axes, result: HuntResult, frame: LocalFrame) -> None:
    for track in result.tracks:
        if len(track.latitude_deg) < 2:
            continue
        xy = frame.to_xy(np.array(track.latitude_deg), np.array(track.longitude_deg))
        axes.plot(xy[:, 0], xy[:, 1], color=MUTED, linewidth=1.0, zorder=5,
                  linestyle=(0, (1, 1.6)))  # fmt: skip


def _number_strips(
    axes: Axes, result: HuntResult, frame: LocalFrame, look: Lettering, apart_m: float
) -> None:
    """Write a number where each strip begins, if nothing else stands there.

    The first one's stands beside what is there.
    """
    places: list[Placed] = [*result.stations, *result.colonies]
    taken = [_at(frame, place) for place in places]
    for _, seat in seats(result):
        taken.append(_at(frame, seat))
        taken.append(taken[-1] - [0.0, apart_m])  # its name
    for colony in result.colonies:
        for number, strip in enumerate(colony.search_plan, start=1):
            lat, lon = strip.start_latitude_deg, strip.start_longitude_deg
            at = frame.to_xy(np.array([lat]), np.array([lon]))[0]
            near = min(taken, key=lambda other: float(np.hypot(*(at - other))))
            near_m = float(np.hypot(*(at - near)))
            if near_m < apart_m and number == 1:  # where to begin is always told
                aside = (at - near) / near_m if near_m else np.array([1.0, 0.0])
                at = near + aside * apart_m
            elif near_m < apart_m:
                continue
            taken.append(at)
            name = colony.id if result.several else ""
            axes.annotate(drawable(f"{name}{number}", 8), (at[0], at[1]), (0, 0),
                          textcoords="offset points", ha="center", va="center",
                          fontsize=look.small_pt, fontweight="bold", zorder=10,
                          annotation_clip=True, path_effects=halo(1.8))  # fmt: skip


def _draw_spots(
    axes: Axes, result: HuntResult, frame: LocalFrame, look: Lettering
) -> None:
    for place in result.stations:
        x, y = _at(frame, place)
        axes.plot([x], [y], marker="o", markersize=14, zorder=12, markerfacecolor=PAPER,
                  markeredgecolor=INK, markeredgewidth=1.6)  # fmt: skip
        if len(place.id) <= 2:
            axes.text(x, y, drawable(place.id), ha="center", va="center_baseline",
                      fontsize=9, fontweight="bold", zorder=13)  # fmt: skip
        else:
            axes.annotate(drawable(place.id, 16), (x, y), (0, -10), zorder=13,
                          textcoords="offset points", ha="center", va="top",
                          fontsize=look.text_pt, fontweight="bold",
                          path_effects=halo())  # fmt: skip
    for colony in result.colonies:
        x, y = _at(frame, colony)
        axes.plot([x], [y], marker="*", markersize=19, zorder=14, markerfacecolor=BEST,
                  markeredgecolor=PAPER, markeredgewidth=1.2)  # fmt: skip
        if result.several:
            axes.annotate(drawable(colony.id, 8), (x, y), (11, 8), fontsize=11,
                          textcoords="offset points", fontweight="bold", zorder=15,
                          path_effects=halo())  # fmt: skip
    for colony, place_next in seats(result):
        x, y = _at(frame, place_next)
        axes.plot([x], [y], marker="s", markersize=11, zorder=12, markerfacecolor=NEXT,
                  markeredgecolor=PAPER, markeredgewidth=1.4)  # fmt: skip
        text = drawable(f"next, {colony.id}", 12) if result.several else "next"
        axes.annotate(text, (x, y), (0, -9), textcoords="offset points", ha="center",
                      va="top", fontsize=look.text_pt, zorder=13,
                      path_effects=halo())  # fmt: skip
