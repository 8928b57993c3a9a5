"""A hunt's answer beside the colonies that were found: forecast against find.

Where a find lies: as typed, by a phone's track or a note; and shared, roughly.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from statistics import median
from typing import TYPE_CHECKING

from treeward.errors import HuntError
from treeward.language.kinds import EventKind
from treeward.positions import parse_position
from treeward.report.advice_wording import HAND_RULES
from treeward.report.finds import smallest_around
from treeward.report.model import FindCheck, RuleCheck, StationCheck
from treeward.survey.frame import geodesic

from .finds import coarse, read_finds
from .places import find_tracks
from .searching import standing_notes
from .tracks import position_at, read_gpx

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date
    from pathlib import Path

    from treeward.notes.events import Event
    from treeward.positions import Position
    from treeward.report.model import HuntResult, StationPlace
    from treeward.survey.records import Colony

    from .finds import FindTable, FoundFile
    from .folder import HuntFolder


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


def maybe_another(colony: Colony, find: FindTable) -> bool:
    """Tell whether a find may be of another colony than the answer's it is taken for.

    It lies outside the 95 % area, and does not name it.
    """
    return find.colony != colony.id and _inside(colony, find) is None


def first_finds(
    finds: Sequence[FindTable], checks: Mapping[str, FindCheck]
) -> dict[str, str]:
    """Return the find that counts for each colony of the answer: a colony once.

    Of several it is the one that names the colony, else the one that its areas and its
    best place are nearest to, else the one that was kept first.

    Parameters
    ----------
    finds
        Of one hunt.
    checks
        Find -> its comparison.
    """
    first: dict[str, tuple[tuple[bool, int, float], str]] = {}
    for find in finds:
        if (check := checks.get(find.id)) is None:
            continue
        named = find.colony == check.colony
        rank = (not named, check.holds_percent or 100, check.off_m)
        if check.colony not in first or rank < first[check.colony][0]:
            first[check.colony] = rank, find.id
    return {colony: find for colony, (_, find) in first.items()}


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


def typed_place(text: str) -> Position:
    """Read a position that was typed.

    Raises
    ------
    HuntError
        If it is none.
    """
    try:
        return parse_position(text)
    except ValueError as error:
        raise HuntError(
            str(error), mend='Write it like "52.304500, -3.613300".'
        ) from error


def place_at(hunt: HuntFolder, clock_text: str) -> tuple[Position, date]:
    """Return where the hunt's GPX track was at a time, and the day.

    Raises
    ------
    HuntError
        If the time cannot be read, or no track of the hunt knows it.
    """
    try:
        clock = datetime.fromisoformat(clock_text.strip())
    except ValueError as error:
        raise HuntError(
            f"{clock_text!r} is no time", mend='Write it like "2026-07-14 15:20".'
        ) from error
    if clock.tzinfo is None:
        clock = clock.replace(tzinfo=hunt.zone)
    return _tracked(hunt, clock, f"at {clock:%Y-%m-%d %H:%M}"), clock.date()


def noted_place(
    hunt: HuntFolder, events: Sequence[Event]
) -> tuple[Position, date | None, str]:
    """Return where the latest note says found, the day, and its words.

    Where it was: as typed in it, else where the phone was. A note in doubt does not
    count before somebody looked at it. The day is None where none was told.

    Parameters
    ----------
    hunt
        With the tracks.
    events
        Its notes that count.

    Raises
    ------
    HuntError
        If no note says so with a time, or no track of the hunt knows that time.
    """
    sure = [
        event
        for event in standing_notes(events)
        if event.kind is EventKind.FOUND and not event.doubtful
    ]
    notes = [(event.clock, event.value) for event in sure if event.clock is not None]
    if not notes:
        for place in filter(None, map(typed_in, sure)):
            return place, None, ""
        raise HuntError(
            "no note with a time, and without doubt, says found",
            where=str(hunt.review_path),
            mend='Say where: treeward found --position "52.304500, -3.613300"',
        )
    clock, words = max(notes)
    day = clock.astimezone(hunt.zone).date()
    if (typed := _position(words)) is not None:
        return typed, day, ""
    place = _tracked(hunt, clock, f"when {clock:%H:%M} was noted as found")
    return place, day, words


def typed_in(event: Event) -> Position | None:
    """Return the position that a note holds as its value, None for words."""
    return _position(event.value)


def _position(text: str) -> Position | None:
    try:
        return parse_position(text)
    except ValueError:
        return None


def _tracked(hunt: HuntFolder, clock: datetime, when: str) -> Position:
    tracks = find_tracks(hunt.path, hunt.file.map.ground)
    for path in tracks:
        if (place := position_at(read_gpx(path), clock)) is not None:
            return place
    raise HuntError(
        f"no track of this hunt says where you were {when}"
        + ("" if tracks else "; there is no GPX file in it"),
        where=str(hunt.path / "tracks"),
        mend="Put your phone's GPX file of that day there, or give --position.",
    )


def shared_geojson(finds: FoundFile, square_m: float | None) -> str:
    """Write the finds for others as GeoJSON (RFC 7946): a place, a year, a nest.

    Parameters
    ----------
    square_m
        Side of the square of the UTM grid whose middle stands for the place; None for
        the places as they are.
    """
    features = []
    for find in finds.find:
        here = find.position
        if square_m is not None:
            rough = coarse(here, square_m)
            place = [rough.longitude_deg, rough.latitude_deg]
        else:
            place = [round(here.longitude_deg, 6), round(here.latitude_deg, 6)]
        features.append(
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": place},
                "properties": {
                    "find": find.id,
                    "year": find.found.year,
                    "nest": find.nest,
                    "rounded_to_m": square_m or 0,
                },
            }
        )
    whole = {"type": "FeatureCollection", "features": features}
    return json.dumps(whole, indent=1) + "\n"
