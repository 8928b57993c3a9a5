"""The person's own map, drawn faintly under everything else."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Polygon

from .style import MUTED, drawable, halo

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from treeward.report.ground import Ground, GroundLine, GroundPicture, Sort
    from treeward.survey.frame import LocalFrame

    from .map_frame import Extent, Lettering

_ACROSS = 900  # points across the map at which a picture is looked up; choice
_FAINT = 0.6  # opacity of pictures, so that lines and areas show on them; choice
# Usual on maps: blue water, green woods, brown ways.
_COLOUR: dict[Sort, str] = {
    "water": "#6f9fbf", "wood": "#8fb08a", "way": "#9a7b5b", "other": MUTED,
}  # fmt: skip


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
    # imshow and plot may have moved the limits.
    axes.set_xlim(extent.west_m, extent.east_m)
    axes.set_ylim(extent.south_m, extent.north_m)
    axes.set_aspect("equal", adjustable="box")


def _draw_line(axes: Axes, line: GroundLine, frame: LocalFrame) -> None:
    xy = frame.to_xy(line.latitude_deg, line.longitude_deg)
    colour = _COLOUR[line.sort]
    if line.closed and line.sort in {"water", "wood"}:
        axes.add_patch(
            Polygon(xy, facecolor=colour, edgecolor=colour, alpha=0.35, zorder=0.7)
        )
    else:
        axes.plot(xy[:, 0], xy[:, 1], color=colour, linewidth=1.0, zorder=0.8,
                  linestyle=(0, (4, 1.5)) if line.sort == "way" else "-")  # fmt: skip


def resampled(
    picture: GroundPicture, frame: LocalFrame, extent: Extent, across: int = _ACROSS
) -> NDArray[np.uint8]:
    """Return a picture as the map shows it, north up; clear where it has nothing.

    Parameters
    ----------
    across
        Points from west to east.

    Returns
    -------
    array
        (rows, across, 4); each point is the pixel that its middle lies in.
    """
    from pyproj import Transformer

    high = max(1, round(across * extent.height_m / extent.width_m))
    x = extent.west_m + (np.arange(across) + 0.5) * extent.width_m / across
    y = extent.north_m - (np.arange(high) + 0.5) * extent.height_m / high
    lonlat = frame.to_lonlat(np.stack(np.meshgrid(x, y), axis=-1))
    to_picture = Transformer.from_crs("EPSG:4326", picture.crs, always_xy=True)
    east, north = to_picture.transform(lonlat[..., 0], lonlat[..., 1])
    a, b, c, d, e, f = picture.affine
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
