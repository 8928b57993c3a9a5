"""Places and outlines that a person gave, and that cannot be where they say.

A latitude and a longitude changed about put ground into the sea, where it has no effect
and nobody notices.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from treeward.report.model import SearchDoubt, SearchDoubtKind
from treeward.survey.frame import inside_ring
from treeward.survey.records import Settings

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from treeward.hunt_file import HuntFile
    from treeward.positions import Position

    Floats = NDArray[np.float64]

EARTH_M = 6_371_009.0  # mean radius (IUGG)


def lonlat(places: Sequence[Position]) -> Floats:
    """Return (n, 2) longitude and latitude, degrees."""
    return np.array([(p.longitude_deg, p.latitude_deg) for p in places]).reshape(-1, 2)


def reach_of(hunt_file: HuntFile) -> float:
    """Return how far from a station the colony is looked for [m]."""
    own = hunt_file.model.prior_distance_max_m
    return own if own is not None else Settings().distance_cut_m


def far_doubts(
    given: Iterable[tuple[str, Floats]], stations: Sequence[Position], reach_m: float
) -> list[SearchDoubt]:
    """Say of what was given that none of it lies where the colony is looked for.

    Parameters
    ----------
    given
        What it is called, and (n, 2) longitude and latitude of its places, or of an
        outline's corners.
    stations
        Where the bees were watched; without any nothing is said.
    reach_m
        How far from them the colony may be.
    """
    here = lonlat(stations)
    found = []
    for name, places in given if len(here) else ():
        if not len(places) or _nearest_m(places, here) <= reach_m:
            continue
        if len(places) > 2 and inside_ring(here, places).any():
            continue  # an outline of all the country
        swapped = _nearest_m(places[:, ::-1], here) <= reach_m
        found.append(
            SearchDoubt(
                kind=SearchDoubtKind.SWAPPED if swapped else SearchDoubtKind.FAR,
                where=name,
                metres=_nearest_m(places, here),
            )
        )
    return found


def crosses_itself(ring: Floats) -> bool:
    """Tell whether two sides of an outline cross; sides that share a corner do not.

    Parameters
    ----------
    ring
        (n, 2) corners, closed or not.
    """
    if len(ring) > 1 and np.array_equal(ring[0], ring[-1]):
        ring = ring[:-1]
    begin, end = ring, np.roll(ring, -1, axis=0)
    for one in range(len(ring)):
        others = np.arange(one + 2, len(ring) - (one == 0))
        a, b, c, d = begin[one], end[one], begin[others], end[others]
        if (
            (_side(a, b, c) * _side(a, b, d) < 0)
            & (_side(c, d, a) * _side(c, d, b) < 0)
        ).any():
            return True
    return False


def _side(one: Floats, two: Floats, place: Floats) -> Floats:
    """Return on which side of the way between two places others lie: its sign."""
    along, off = two - one, place - one
    side: Floats = along[..., 0] * off[..., 1] - along[..., 1] * off[..., 0]
    return side


def _nearest_m(places: Floats, here: Floats) -> float:
    """Return how near any place comes to any of others (haversine) [m]."""
    lon, lat = np.radians(places).T
    nearest = np.inf
    for lon0, lat0 in np.radians(here):
        half = np.sin((lat - lat0) / 2) ** 2
        half += np.cos(lat) * np.cos(lat0) * np.sin((lon - lon0) / 2) ** 2
        arc = 2 * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))
        nearest = min(nearest, float(arc.min()) * EARTH_M)
    return nearest
