"""On the map: ground that was looked at, and the walk that is laid out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Polygon

from .style import INK, LOOKED

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from treeward.report.model import HuntResult
    from treeward.survey.frame import LocalFrame

_PT_PER_IN = 72.0


def draw_looked(axes: Axes, result: HuntResult, frame: LocalFrame) -> None:
    """Shade the ground that was looked at, as wide as a nest is seen."""
    told = result.search.searching if result.search else None
    if told is None or not told.looked:
        return
    # A line's width in points is a width on the ground once the extent is set.
    box = axes.get_window_extent()
    points = box.width * _PT_PER_IN / axes.figure.dpi
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
    for colony in result.fix.colonies if result.fix else ():
        last = None
        for strip in colony.search_plan:
            lonlat = [
                *strip.way,
                (strip.start_longitude_deg, strip.start_latitude_deg),
                (strip.end_longitude_deg, strip.end_latitude_deg),
            ]
            lon, lat = np.array(lonlat).T
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
