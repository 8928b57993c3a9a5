"""What would help most, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from .case import Hunt
    from .evidence import Evidence
    from .grid import Grid
    from .records import Colony

_FEW_BEARINGS = 6  # common practice
_FEW_TRIPS = 4  # a bee's third or fourth shortest time stands for it


_DOUBT = 0.3  # two marks less likely than this to share a colony are worth a look


def doubtful_pairs(
    colonies: Iterable[Colony], pairs: Mapping[tuple[str, str], float]
) -> list[str]:
    """Name marks put in one colony that may well fly from two."""
    result = []
    for colony in colonies:
        for (one, other), share in pairs.items():
            if share < _DOUBT and {one, other} <= set(colony.marks):
                result.append(
                    f"{one} and {other} may fly from two colonies (they share one "
                    f"with {share:.0%}): more bearings and times of both would tell"
                )
    return result


def advice(hunt: Hunt, evidence: Evidence, grid: Grid) -> list[str]:
    """Return what one colony's data lack, most wanted first."""
    case = hunt.case
    result = []
    trips = sum(t.trips for t in case.times if t.bee in evidence.bees)
    bearings = int(evidence.use_bearing.sum())
    if not trips:
        result.append(
            "no times: mark two or three bees and time them from away to back, so "
            "that the line gets a length"
        )
    if not bearings:
        result.append(
            "no bearings: read the compass on marked bees as they leave, so that "
            "the ring becomes a patch"
        )
    elif bearings < _FEW_BEARINGS:
        result.append(
            f"{bearings} bearings only: read {_FEW_BEARINGS} or more, on bees that "
            "leave, after the first circling flights"
        )
    if 0 < trips < _FEW_TRIPS:
        result.append(
            f"{trips} trips only: a few more would show how long bees stay in the hive"
        )
    if len(hunt.stations_used) == 1 and trips and bearings:
        result.append(
            "one station only: speed and in-hive time of this hunt cannot be told "
            "from distance; a second station can"
        )
    cut = case.settings.distance_cut_m
    edge = np.hypot(*(grid.xy - case.origin_xy).T) > 0.95 * cut
    if grid.probability[edge].sum() > 0.05:
        result.append(
            f"the colony may lie beyond {cut / 1000:g} km, where the search stops; "
            "check the times, or raise distance_cut_m"
        )
    return result


def all_advice(colonies: Sequence[Colony]) -> list[str]:
    """Return the advice of all colonies; what is not true of each names its colony."""
    shared = [
        text
        for text in colonies[0].advice
        if all(text in other.advice for other in colonies)
    ]
    own = [
        f"colony {one.id}: {text}"
        for one in colonies
        for text in one.advice
        if text not in shared
    ]
    return own + shared if len(colonies) > 1 else shared
