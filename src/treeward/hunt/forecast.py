"""A hunt's answer beside the colonies that were found: forecast against find."""

from __future__ import annotations

from dataclasses import replace
from statistics import median
from typing import TYPE_CHECKING

from treeward.report.advice_wording import HAND_RULES
from treeward.report.finds import smallest_around
from treeward.report.model import FindCheck, RuleCheck, StationCheck
from treeward.survey.frame import geodesic

from .finds import coarse, read_finds

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from treeward.report.model import HuntResult, StationPlace
    from treeward.survey.records import Colony

    from .finds import FindTable


SHARED_SQUARE_M = 1000.0  # a place in a report is rounded to it; choice


def with_finds(result: HuntResult, hunt_dir: Path) -> HuntResult:
    """Return a result whose report holds its finds, their places rounded.

    Raises
    ------
    HuntError
        If found.toml has a fault.
    """
    finds = read_finds(hunt_dir).find
    rough = {}
    for find in finds:
        place = coarse(find.position, SHARED_SQUARE_M)
        rough[find.id] = (
            f"{place.latitude_deg:.3f}, {place.longitude_deg:.3f}, the middle of a "
            "square of a kilometre that holds it"
        )
    checks = check_finds(result, finds)
    return replace(
        result,
        finds=tuple(replace(one, coarse_text=rough[one.find]) for one in checks),
    )


def check_finds(
    result: HuntResult, finds: Sequence[FindTable]
) -> tuple[FindCheck, ...]:
    """Compare every find with the colony of the answer that it is taken for.

    Empty where nothing was located.
    """
    if result.fix is None:
        return ()
    return tuple(
        _check(result, find, colony)
        for find in finds
        if (colony := colony_of(result, find)) is not None
    )


def colony_of(result: HuntResult, find: FindTable) -> Colony | None:
    """Return the colony of the answer that was found.

    It is the one that the find names; else that whose search area holds the find with
    the smallest share, and of several or none the one with the nearest best place.
    """
    colonies = result.fix.colonies if result.fix else ()
    named = next((one for one in colonies if one.id == find.colony), None)
    if named is not None or not colonies:
        return named
    return min(colonies, key=lambda one: (_inside(one, find) or 100, _off_m(one, find)))


def _inside(colony: Colony, find: FindTable) -> int | None:
    here = find.position
    return smallest_around(colony, here.latitude_deg, here.longitude_deg)


def _off_m(colony: Colony, find: FindTable) -> float:
    return _apart_m(colony.best_latitude_deg, colony.best_longitude_deg, find)


def _check(result: HuntResult, find: FindTable, colony: Colony) -> FindCheck:
    places = {place.id: place for place in result.stations}
    return FindCheck(
        find=find.id,
        found=find.found,
        colony=colony.id,
        off_m=_off_m(colony, find),
        holds_percent=_inside(colony, find),
        area_90_m2=colony.search_areas[90].area_m2,
        stations=tuple(
            StationCheck(
                station=station,
                true_m=_true_m(places[station], find),
                low90_m=low,
                median_m=middle,
                high90_m=high,
                rules=_rules(result, colony, station),
            )
            for station, (low, middle, high) in colony.distance_m.items()
            if station in places
        ),
    )


def _true_m(place: StationPlace, find: FindTable) -> float:
    return _apart_m(place.latitude_deg, place.longitude_deg, find)


def _apart_m(latitude_deg: float, longitude_deg: float, find: FindTable) -> float:
    there = find.position
    distance_m, _ = geodesic(
        latitude_deg, longitude_deg, there.latitude_deg, there.longitude_deg
    )
    return distance_m


def _rules(result: HuntResult, colony: Colony, station: str) -> tuple[RuleCheck, ...]:
    """Gather what each rule of thumb said of the colony's bees at a station."""
    bees = result.fix.bees if result.fix else ()
    by_name: dict[tuple[str, str], list[float]] = {}
    for bee in bees:
        if bee.station == station and bee.bee in colony.marks:
            for rule in bee.hand_rules:
                key = HAND_RULES[rule.kind]
                by_name.setdefault(key, []).append(rule.distance_m)
    return tuple(
        RuleCheck(
            name=name,
            source=source,
            bees=len(said),
            said_m=median(said),
            low_m=min(said),
            high_m=max(said),
        )
        for (name, source), said in by_name.items()
    )
