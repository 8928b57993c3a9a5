"""The frame round the map: extent, grid in UTM, degrees, scale bar, north."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Polygon as DrawnPolygon
from matplotlib.patches import Rectangle

from treeward.measures import MILE_M, YARD_M, Position, utm_text

from . import FAINT, INK, MUTED, PAPER, halo

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from treeward.measures import UnitSystem
    from treeward.survey.frame import LocalFrame

_SCALE_SHARE = 0.28  # the scale bar takes at most so much of the width; choice
BOX_GAP = 0.012  # between the map's rim and the box of scale and north, share; choice
_SMALLEST_M = 200.0  # m, the least a map shows; choice
# Seconds of arc between marked degrees, from which a fitting step is taken.
_ARC_STEPS_S = (
    1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 18000,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Lettering:
    """How large a map's letters are, in points, and about how many grid lines it has.

    A drawing that a phone shows a hand wide has fewer and larger ones.
    """

    small_pt: float = 6.5
    text_pt: float = 8.0
    grid_lines: int = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """What the map shows, in metres east and north of the frame's middle."""

    west_m: float
    east_m: float
    south_m: float
    north_m: float

    @property
    def width_m(self) -> float:
        """West to east."""
        return self.east_m - self.west_m

    @property
    def height_m(self) -> float:
        """South to north."""
        return self.north_m - self.south_m


def extent_about(
    points: NDArray[np.float64], *, shape: float, margin: float = 0.14
) -> Extent:
    """Return the extent that holds all points and is `shape` times as wide as high.

    Points are (n, 2) east, north in metres, n of 1 or more; the margin is the share of
    their span that is left free on each side.
    """
    low, high = points.min(axis=0), points.max(axis=0)
    middle, span = (low + high) / 2, np.maximum(high - low, 1.0) * (1 + 2 * margin)
    width = max(float(span[0]), float(span[1]) * shape, _SMALLEST_M)
    height = width / shape
    return Extent(
        west_m=float(middle[0]) - width / 2,
        east_m=float(middle[0]) + width / 2,
        south_m=float(middle[1]) - height / 2,
        north_m=float(middle[1]) + height / 2,
    )


def nice_step(span: float, pieces: float) -> float:
    """Return 1, 2 or 5 times a power of ten that cuts a span into so many pieces."""
    raw = span / pieces
    power: float = 10.0 ** math.floor(math.log10(raw))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= raw * 0.999)


def set_extent(axes: Axes, extent: Extent) -> None:
    """Fix the axes to an extent, metres alike both ways."""
    axes.set_xlim(extent.west_m, extent.east_m)
    axes.set_ylim(extent.south_m, extent.north_m)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xticks([])
    axes.set_yticks([])


def draw_utm_grid(
    axes: Axes, frame: LocalFrame, extent: Extent, look: Lettering
) -> str:
    """Draw the UTM grid with its figures at the top and right; return the zone.

    Returns "" where UTM ends, near the poles.
    """
    middle = frame.to_lonlat(
        np.array([[extent.west_m + extent.width_m / 2,
                   extent.south_m + extent.height_m / 2]])
    )[0]  # fmt: skip
    place = Position(latitude_deg=float(middle[1]), longitude_deg=float(middle[0]))
    try:
        zone = utm_text(place).split()[0]
    except ValueError:
        return ""
    from pyproj import Transformer

    epsg = (32600 if place.latitude_deg >= 0 else 32700) + int(zone[:-1])
    to_grid = Transformer.from_crs("EPSG:4326", f"EPSG:{epsg}", always_xy=True)
    corners = frame.to_lonlat(
        np.array([[x, y] for x in (extent.west_m, extent.east_m)
                  for y in (extent.south_m, extent.north_m)])
    )  # fmt: skip
    grid_x, grid_y = to_grid.transform(corners[:, 0], corners[:, 1])
    step = nice_step(min(extent.width_m, extent.height_m), look.grid_lines)
    margin = step * 0.22
    for along_east in (True, False):
        held, run = (grid_x, grid_y) if along_east else (grid_y, grid_x)
        first = math.ceil(float(np.min(held)) / step) * step
        for value in np.arange(first, float(np.max(held)), step):
            ramp = np.linspace(float(np.min(run)) - step, float(np.max(run)) + step, 30)
            level = np.full_like(ramp, value)
            pair = (level, ramp) if along_east else (ramp, level)
            lon, lat = to_grid.transform(*pair, direction="INVERSE")
            xy = frame.to_xy(lat, lon)
            axes.plot(xy[:, 0], xy[:, 1], color=FAINT, linewidth=0.7, zorder=1)
            figure_text = f"{value:.0f}"
            if along_east:
                at = float(np.interp(extent.north_m, xy[:, 1], xy[:, 0]))
                if extent.west_m + margin < at < extent.east_m - margin:
                    axes.annotate(figure_text + " E", (at, extent.north_m), (0, 3),
                                  textcoords="offset points", ha="center", va="bottom",
                                  fontsize=look.small_pt, color=MUTED)  # fmt: skip
            else:
                at = float(np.interp(extent.east_m, xy[:, 0], xy[:, 1]))
                if extent.south_m + margin < at < extent.north_m - margin:
                    axes.annotate(figure_text + " N", (extent.east_m, at), (3, 0),
                                  textcoords="offset points", ha="left", va="center",
                                  rotation=90, fontsize=look.small_pt,
                                  color=MUTED)  # fmt: skip
    return zone


def arc_text(value_deg: float, letters: str, *, seconds: bool) -> str:
    """Write degrees, minutes and seconds; `letters` are those for plus and minus."""
    letter = letters[0] if value_deg >= 0 else letters[1]
    whole = round(abs(value_deg) * 3600)
    text = f"{whole // 3600}°{whole % 3600 // 60:02d}\u2032"
    return text + (f"{whole % 60:02d}\u2033" if seconds else "") + letter


def draw_degrees(
    axes: Axes, frame: LocalFrame, extent: Extent, look: Lettering
) -> None:
    """Mark longitude along the bottom and latitude along the left."""
    for along_bottom in (True, False):
        corner = [extent.west_m, extent.south_m]
        if along_bottom:
            ends = np.array([corner, [extent.east_m, extent.south_m]])
            values = np.unwrap(frame.to_lonlat(ends)[:, 0], period=360)
            reach, letters = extent.width_m, "EW"
        else:
            ends = np.array([corner, [extent.west_m, extent.north_m]])
            values = frame.to_lonlat(ends)[:, 1]
            reach, letters = extent.height_m, "NS"
        pieces = look.grid_lines - along_bottom
        span_s = float(values[1] - values[0]) * 3600
        step = next((s for s in _ARC_STEPS_S if s >= span_s / pieces), None)
        if step is None:
            continue
        count = math.ceil(float(values[0]) * 3600 / step)
        ticks, texts = [], []
        while (value := count * step / 3600) < values[1]:
            share = (value - values[0]) / (values[1] - values[0])
            ticks.append(corner[0 if along_bottom else 1] + share * reach)
            shown = (value + 180) % 360 - 180 if along_bottom else value
            texts.append(arc_text(shown, letters, seconds=step < 60))
            count += 1
        set_ticks = axes.set_xticks if along_bottom else axes.set_yticks
        set_ticks(ticks, texts)
    axes.tick_params(labelsize=look.small_pt, length=4, labelcolor=MUTED)
    for label in axes.get_yticklabels():
        label.set_rotation(90)
        label.set_verticalalignment("center")


def scale_length(width_m: float, system: UnitSystem) -> tuple[float, str]:
    """Return a round length of about a quarter of the map, in metres, and its text."""
    most = _SCALE_SHARE * width_m
    if system == "metric":
        metres = _round_below(most)
        return metres, f"{metres:g} m" if metres < 1000 else f"{metres / 1000:g} km"
    if most < MILE_M / 2:
        yards = _round_below(most / YARD_M)
        return yards * YARD_M, f"{yards:g} yards"
    miles = max(m for m in (0.5, 1, 2, 5, 10, 20, 50, 100) if m * MILE_M <= most)
    text = {0.5: "half a mile", 1: "1 mile"}.get(miles, f"{miles:g} miles")
    return miles * MILE_M, text


def _round_below(value: float) -> float:
    """Return the largest 1, 2 or 5 times a power of ten that is not above a value."""
    power: float = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in (5, 2, 1) if step * power <= value * 1.001)


def scale_box(extent: Extent, system: UnitSystem) -> tuple[float, float]:
    """Return width and height of the box of scale and north, as shares of the map."""
    length, _ = scale_length(extent.width_m, system)
    return length / extent.width_m + 0.11, 0.115


def emptiest_corner(
    extent: Extent, content: NDArray[np.float64], width: float, height: float
) -> tuple[bool, bool, int]:
    """Return where the corner box with the least in it is, and how much that is.

    That is at the right, at the top, and how many points of the content lie within.
    """
    share_x = (content[:, 0] - extent.west_m) / extent.width_m
    share_y = (content[:, 1] - extent.south_m) / extent.height_m
    width, height = width + BOX_GAP, height + BOX_GAP
    found = []
    for top in (False, True):
        for right in (False, True):
            x = 1 - share_x if right else share_x
            y = 1 - share_y if top else share_y
            count = int(np.sum((x > 0) & (x < width) & (y > 0) & (y < height)))
            found.append((count, top, right))
    count, top, right = min(found)
    return right, top, count


def draw_scale_and_north(
    axes: Axes,
    extent: Extent,
    content: NDArray[np.float64],
    system: UnitSystem,
    look: Lettering,
) -> None:
    """Draw the scale bar and the north arrow in the emptiest corner."""
    length, text = scale_length(extent.width_m, system)
    bar = length / extent.width_m
    box_w, box_h = scale_box(extent, system)
    right, top, _ = emptiest_corner(extent, content, box_w, box_h)
    left = 1 - box_w - BOX_GAP if right else BOX_GAP
    base = 1 - box_h - BOX_GAP if top else BOX_GAP
    shape = extent.width_m / extent.height_m
    axes.add_patch(
        Rectangle((left, base), box_w, box_h, transform=axes.transAxes, zorder=20,
                  facecolor=PAPER, edgecolor=FAINT, linewidth=0.8, alpha=0.92)
    )  # fmt: skip
    x, y, thick = left + 0.025, base + 0.03, 0.012
    for half in range(2):
        axes.add_patch(
            Rectangle((x + half * bar / 2, y), bar / 2, thick, zorder=21,
                      transform=axes.transAxes, facecolor=PAPER if half else INK,
                      edgecolor=INK, linewidth=0.7)
        )  # fmt: skip
    axes.text(x + bar / 2, y + thick + 0.012, text, transform=axes.transAxes,
              ha="center", va="bottom", fontsize=look.text_pt, zorder=21)  # fmt: skip
    tip_x, tip_y = left + box_w - 0.035, base + box_h - 0.045
    wide, tall = 0.011, 0.055
    for side in (-1, 1):
        corners = [(tip_x, tip_y), (tip_x + side * wide, tip_y - tall),
                   (tip_x, tip_y - tall * 0.75)]  # fmt: skip
        axes.add_patch(
            DrawnPolygon(corners, closed=True, transform=axes.transAxes, zorder=21,
                         facecolor=INK if side < 0 else PAPER, edgecolor=INK,
                         linewidth=0.7)
        )  # fmt: skip
    axes.text(tip_x, tip_y + 0.004 * shape, "N", transform=axes.transAxes, ha="center",
              va="bottom", fontsize=look.text_pt, fontweight="bold", zorder=21,
              path_effects=halo())  # fmt: skip
