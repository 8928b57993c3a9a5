"""What would help most, as kinds with numbers; sentences are made elsewhere."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from .records import Advice, AdviceKind

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
) -> list[Advice]:
    """Name marks put in one colony that may well fly from two."""
    return [
        Advice(kind=AdviceKind.MAYBE_TWO_COLONIES, marks=pair, probability=share)
        for colony in colonies
        for pair, share in pairs.items()
        if share < _DOUBT and set(pair) <= set(colony.marks)
    ]


def advice(hunt: Hunt, evidence: Evidence, grid: Grid) -> list[Advice]:
    """Return what one colony's data lack, most wanted first."""
    case = hunt.case
    result = []
    trips = sum(t.trips for t in case.times if t.bee in evidence.bees)
    bearings = int(evidence.use_bearing.sum())
    if not trips:
        result.append(Advice(kind=AdviceKind.NO_TIMES))
    if not bearings:
        result.append(Advice(kind=AdviceKind.NO_BEARINGS))
    elif bearings < _FEW_BEARINGS:
        few = AdviceKind.FEW_BEARINGS
        result.append(Advice(kind=few, count=bearings, wanted=_FEW_BEARINGS))
    if 0 < trips < _FEW_TRIPS:
        result.append(Advice(kind=AdviceKind.FEW_TRIPS, count=trips))
    if len(hunt.stations_used) == 1 and trips and bearings:
        result.append(Advice(kind=AdviceKind.ONE_STATION))
    cut = case.settings.distance_cut_m
    edge = np.hypot(*(grid.xy - case.origin_xy).T) > 0.95 * cut
    if grid.probability[edge].sum() > 0.05:
        result.append(Advice(kind=AdviceKind.MAYBE_BEYOND, distance_m=cut))
    return result


def all_advice(colonies: Sequence[Colony]) -> list[Advice]:
    """Return the advice of all colonies; what is not true of each names its colony."""
    shared = [
        one
        for one in colonies[0].advice
        if all(one in other.advice for other in colonies)
    ]
    own = [
        replace(said, colony=one.id)
        for one in colonies
        for said in one.advice
        if said not in shared
    ]
    return own + shared if len(colonies) > 1 else shared
