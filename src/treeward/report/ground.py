"""The person's own map under the answer: pictures and lines, wherever from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Sort = Literal["water", "wood", "way", "other"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundPicture:
    """A picture of the ground with its place on the globe.

    Attributes
    ----------
    pixels
        (rows, columns, 4) red, green, blue and opacity, 0-255; the first row is the
        northern one, or whichever `affine` says.
    crs
        What pyproj takes for a reference system: "EPSG:27700", or WKT.
    affine
        a, b, c, d, e, f: x = a column + b row + c and y = d column + e row + f, where
        column and row 0 are the outer corner of the first pixel.
    """

    pixels: NDArray[np.uint8]
    crs: str
    affine: tuple[float, float, float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundLine:
    """A path, a stream or the outline of a wood or a lake; WGS84 degrees.

    Holes of an outline are not drawn.
    """

    longitude_deg: NDArray[np.float64]  # (n,)
    latitude_deg: NDArray[np.float64]  # (n,)
    closed: bool = False
    sort: Sort = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """All that lies under the answer, in the order in which it is drawn."""

    pictures: tuple[GroundPicture, ...] = ()
    lines: tuple[GroundLine, ...] = ()
    credit: str = ""
