"""Whether an answer's areas hold the truth."""

from __future__ import annotations

import numpy as np
from matplotlib.path import Path

from treeward import survey


def holds(area: survey.SearchArea, lat: float, lon: float) -> bool:
    """Return whether the polygons of an area hold a place."""
    for polygon in area.polygons:
        if Path(polygon.outer).contains_point((lon, lat)) and not any(
            Path(hole).contains_point((lon, lat)) for hole in polygon.holes
        ):
            return True
    return False


def off_m(colony: survey.Colony, lat: float, lon: float) -> float:
    """Return how far the best place is from the truth [m]."""
    distance, _ = survey.geodesic(
        colony.best_latitude_deg, colony.best_longitude_deg, lat, lon
    )
    return distance


def error(share: float, count: int) -> float:
    """Return the standard error of a share."""
    return float(np.sqrt(share * (1 - share) / max(count, 1)))
