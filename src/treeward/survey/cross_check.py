"""Lenth, Huber and Andrews points of a group's bearings, placed on the globe."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import classical
from . import directions as lines
from .records import ClassicalFix

if TYPE_CHECKING:
    from .evidence import Evidence
    from .frame import LocalFrame

_ESTIMATES = 5  # bearings below which an estimated spread is worth nothing
_FAR_M = 50_000.0  # a point beyond this is an accident of nearly parallel lines


def classical_fixes(evidence: Evidence, frame: LocalFrame) -> tuple[ClassicalFix, ...]:
    """Return the textbook points, or none where bearings come from one station."""
    case = evidence.case
    used = np.flatnonzero(evidence.use_bearing)
    if len(np.unique(case.bearing_station[used])) < 2:
        return ()
    x, y = case.station_xy[case.bearing_station[used]].T
    bearing = np.degrees(case.bearing_rad[used]) % 360.0
    kappa, taken = None, None
    if len(used) < _ESTIMATES:
        taken = case.settings.bearing_sd_deg
        kappa = float(lines.concentration(np.array([np.radians(taken)]))[0])
    crossings = len(classical.crossings(x, y, bearing))
    result = []
    for estimator in (classical.lenth_mle, classical.huber, classical.andrews):
        try:
            found = estimator(x, y, bearing, kappa=kappa)
        except ValueError:
            continue  # the lines fix no point; the posterior says what they do
        if np.hypot(found.x, found.y) > _FAR_M or found.ellipse_area() > _FAR_M**2:
            continue
        place = frame.to_lonlat(np.array([found.x, found.y]))
        result.append(
            ClassicalFix(
                method=found.method,
                latitude_deg=float(place[1]),
                longitude_deg=float(place[0]),
                ellipse_95=frame.to_lonlat(found.ellipse(95)),
                area_95_m2=found.ellipse_area(95),
                bearings=len(used),
                crossings=crossings,
                spread_taken_deg=taken,
            )
        )
    return tuple(result)
