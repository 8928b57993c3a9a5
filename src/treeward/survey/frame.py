"""A flat local frame in metres, and the magnetic declination.

The frame is pyproj's azimuthal equidistant projection about the middle of the
stations: distances and azimuths from the middle are exact, and within 15 km of it
azimuths between any two points are off by less than 0.02 degrees, so true bearings
need no correction for grid convergence, as they would in UTM.

Rings on the plane: what lies in them, and what crosses them.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from pyproj import Transformer

    from .records import Bools, Floats


_MODEL_FILES = (  # first year of validity -> coefficients in pygeomag's wheel
    (2025.0, "wmm/WMM_2025.COF"),
    (2020.0, "wmm/WMM_2020.COF"),
    (2015.0, "wmm/WMM_2015v2.COF"),
)
_LAST_YEAR = 2030.0  # WMM2025 is valid until the end of 2029


@dataclass(frozen=True, slots=True)
class LocalFrame:
    """East and north in metres about a middle given in WGS84 degrees."""

    latitude_deg: float
    longitude_deg: float
    _forward: Transformer = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Set up the projection."""
        from pyproj import CRS, Transformer

        crs = CRS.from_proj4(
            f"+proj=aeqd +lat_0={self.latitude_deg!r} +lon_0={self.longitude_deg!r} "
            "+datum=WGS84 +units=m +no_defs"
        )
        forward = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
        object.__setattr__(self, "_forward", forward)

    @classmethod
    def about(cls, latitude_deg: Floats, longitude_deg: Floats) -> LocalFrame:
        """Return the frame about the middle of some places, also across 180 degrees."""
        first = float(longitude_deg[0])
        turned = (np.asarray(longitude_deg) - first + 180.0) % 360.0 - 180.0
        middle = (first + float(np.mean(turned)) + 180.0) % 360.0 - 180.0
        return cls(float(np.mean(latitude_deg)), middle)

    def to_xy(self, latitude_deg: Floats, longitude_deg: Floats) -> Floats:
        """Return (n, 2) east, north [m]."""
        x, y = self._forward.transform(
            np.atleast_1d(longitude_deg), np.atleast_1d(latitude_deg)
        )
        return np.stack([x, y], axis=-1).astype(np.float64)

    def to_lonlat(self, xy: Floats) -> Floats:
        """Return (..., 2) longitude, latitude [degrees] of east, north [m]."""
        lon, lat = self._forward.transform(xy[..., 0], xy[..., 1], direction="INVERSE")
        return np.stack([lon, lat], axis=-1).astype(np.float64)


def geodesic(
    latitude1_deg: float,
    longitude1_deg: float,
    latitude2_deg: float,
    longitude2_deg: float,
) -> tuple[float, float]:
    """Return the WGS84 geodesic from place 1 to place 2.

    Returns
    -------
    tuple
        Distance [m] and azimuth at place 1 [degrees clockwise from true north, 0-360].
    """
    from pyproj import Geod

    azimuth, _, distance = Geod(ellps="WGS84").inv(
        longitude1_deg, latitude1_deg, longitude2_deg, latitude2_deg
    )
    return float(distance), float(azimuth) % 360.0


class Placed(Protocol):
    """Whatever lies at a place."""

    @property
    def latitude_deg(self) -> float:
        """WGS84 latitude, degrees north."""

    @property
    def longitude_deg(self) -> float:
        """WGS84 longitude, degrees east."""


def way_between(one: Placed, two: Placed) -> tuple[float, float]:
    """Return the geodesic from one thing to another; see `geodesic`."""
    return geodesic(
        one.latitude_deg, one.longitude_deg, two.latitude_deg, two.longitude_deg
    )


def apart_m(one: Placed, two: Placed) -> float:
    """Return how far two things lie from one another [m]."""
    return way_between(one, two)[0]


def decimal_year(day: dt.date) -> float:
    """Return the year with its fraction, as the magnetic models count time."""
    start = dt.date(day.year, 1, 1).toordinal()
    length = dt.date(day.year + 1, 1, 1).toordinal() - start
    return day.year + (day.toordinal() - start) / length


def declination(
    latitude_deg: float,
    longitude_deg: float,
    when: float | dt.date,
    altitude_m: float = 0.0,
) -> tuple[float, float]:
    """Return the magnetic declination and its standard deviation.

    True bearing = magnetic bearing + declination (east positive).

    Parameters
    ----------
    latitude_deg, longitude_deg
        WGS84 degrees.
    when
        A date, or a decimal year, from 2015 until before 2030.
    altitude_m
        Height above the ellipsoid [m].

    Returns
    -------
    tuple
        Declination and its standard deviation [degrees], from the World Magnetic
        Model of that date (pygeomag).

    Raises
    ------
    ValueError
        For a place off the globe or a time no shipped model is valid for.
    """
    from pygeomag import GeoMag

    year = decimal_year(when) if isinstance(when, dt.date) else float(when)
    if not (np.isfinite(latitude_deg) and -90 <= latitude_deg <= 90):
        msg = f"latitude_deg: must lie between -90 and 90, not {latitude_deg}"
        raise ValueError(msg)
    if not (np.isfinite(longitude_deg) and -180 <= longitude_deg <= 360):
        msg = f"longitude_deg: must lie between -180 and 360, not {longitude_deg}"
        raise ValueError(msg)
    if not (np.isfinite(altitude_m) and -1000 <= altitude_m <= 850_000):
        msg = f"altitude_m: must lie between -1000 and 850000, not {altitude_m}"
        raise ValueError(msg)
    for start, coefficients in _MODEL_FILES:
        if start <= year < _LAST_YEAR:
            model = GeoMag(coefficients_file=coefficients)
            result = model.calculate(
                glat=float(latitude_deg),
                glon=float(longitude_deg),
                alt=altitude_m / 1000.0,
                time=year,
            )
            return float(result.d), float(result.calculate_uncertainty().d)
    msg = (
        f"when: {year:g} is outside the World Magnetic Models shipped (2015 until "
        "before 2030); set the clock of the hunt right or give true bearings"
    )
    raise ValueError(msg)


def inside_ring(xy: Floats, ring: Floats) -> Bools:
    """Return which of (n, 2) places lie in an (m, 2) ring, closed or not.

    By the even number of crossings of a ray eastwards with the ring's edges.
    """
    inside = np.zeros(len(xy), dtype=bool)
    near = ((xy >= ring.min(axis=0)) & (xy <= ring.max(axis=0))).all(axis=1)
    if not near.any():
        return inside
    x, y = xy[near].T
    odd = np.zeros(len(x), dtype=bool)
    for (x1, y1), (x2, y2) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        if y1 == y2:
            continue
        beside = (y1 > y) != (y2 > y)
        odd ^= beside & (x < x1 + (y - y1) * (x2 - x1) / (y2 - y1))
    inside[near] = odd
    return inside


def crosses(start: Floats, end: Floats, ring: Floats) -> Bools:
    """Return which of the straight ways from (n, 2) to (n, 2) meet a ring's ground."""
    one, two = ring, np.roll(ring, -1, axis=0)
    a, b = start[:, None, :], end[:, None, :]
    c, d = one[None, :, :], two[None, :, :]
    apart = ways_cross(a, b, c, d)
    return np.asarray(apart.any(axis=1) | inside_ring(0.5 * (start + end), ring))


def ways_cross(a: Floats, b: Floats, c: Floats, d: Floats) -> Bools:
    """Return which straight ways from a to b cross those from c to d, all (..., 2).

    Ways that only touch do not.
    """

    def side(a: Floats, b: Floats, c: Floats) -> Floats:
        return np.asarray(
            (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1])
            - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
        )

    apart = (side(a, b, c) * side(a, b, d) < 0) & (side(c, d, a) * side(c, d, b) < 0)
    return np.asarray(apart)
