"""The search areas of single days on the map: thin outlines, each with its date."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import PathPatch
from matplotlib.path import Path as DrawnPath

from .style import INK, drawable, halo

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from treeward.report.model import HuntResult
    from treeward.survey.frame import LocalFrame
    from treeward.survey.records import SearchArea

    from .map_frame import Extent, Lettering

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

    Parameters
    ----------
    content
        (n, 2) metres: what the dates should keep away from.
    """
    shown = drawn_days(result)
    taken = content
    for day in result.days:
        if day.day not in shown:
            continue
        number = shown.index(day.day)
        style: Any = (0, dash_of(number))
        for one in day.colonies:
            area = one.colony.search_areas.get(PERCENT)
            if area is None:
                continue
            outlines = list(area_outlines(area, frame))
            for outline in outlines:
                patch = PathPatch(outline, facecolor="none", edgecolor=INK, zorder=5,
                                  linewidth=1.1, linestyle=style)  # fmt: skip
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
