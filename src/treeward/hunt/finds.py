"""found.toml: the colonies that were found, and what was seen of them since.

The file lies in the hunt's folder and nothing of it goes into results/ unless asked
for: the place of a wild colony is not everybody's to know. It is only ever added to, so
that what a person wrote into it stays as they wrote it.

A hunt's answer beside the colonies that were found: forecast against find.

Where a find lies: as typed, by a phone's track or a note; and shared, roughly.
"""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime
from statistics import median
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar, get_args

from pydantic import Field, ValidationError, model_validator

from treeward.errors import HuntError
from treeward.files import read_whole, write_text
from treeward.hunt_tables import Id, Place, TomlTable, parse_toml, toml_text
from treeward.language.kinds import EventKind
from treeward.measures import format_position, parse_position, position_in, utm_text
from treeward.report.advice_wording import HAND_RULES
from treeward.report.looking import smallest_around
from treeward.report.model import FindCheck, RuleCheck, StationCheck
from treeward.survey.frame import apart_m

from .folder import toml_value
from .places import find_tracks
from .searching import standing_notes
from .tracks import IdleTrackError, position_at, read_gpx

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from treeward.measures import Position
    from treeward.notes.events import Event
    from treeward.report.model import HuntResult
    from treeward.survey.records import Colony

    from .folder import HuntFolder

FILE = "found.toml"
_MOST_BYTES = 1 << 20  # some thousand colonies; choice
_PATIENCE_S = 5.0  # for another command that writes into the hunt; choice
SAME_SPOT_M = 30.0  # two finds of one tree are no farther apart, by phones; guess
_HEAD = """\
# The colonies found in this hunt, and what was seen of them later. A colony's place is
# not everybody's to know: this file stays in the hunt's folder, and no report, table
# or map holds any of it unless you ask. You may correct it here.
"""

Nest = Literal["tree", "wall", "building", "rock", "ground", "box", "other"]
State = Literal["alive", "dead", "moved in", "not looked at"]
NESTS: tuple[str, ...] = get_args(Nest)
T = TypeVar("T", bound=TomlTable)
Line = Annotated[str, Field(max_length=200)]


class FindTable(TomlTable):
    """[[find]]: a colony, where and when it was found, and what is there.

    `height_m` is of the entrance above the ground; `entrance` says where it faces and
    how it looks; `may_know` are people who may be told. `colony` is the hunt's name
    for it ("A") where there were several.
    """

    id: Id
    position: Place
    found: date
    placed_by: Literal["typed", "track", "note"] = "typed"
    nest: Nest = "tree"
    height_m: float | None = Field(default=None, ge=-50, le=150)
    entrance: Line = ""
    colony: Line = ""
    photos: tuple[Line, ...] = ()
    may_know: tuple[Line, ...] = ()
    remark: Annotated[str, Field(max_length=2000)] = ""


class LookTable(TomlTable):
    """[[look]]: what was seen of a found colony on a day."""

    find: Id
    seen: date
    state: State
    remark: Annotated[str, Field(max_length=2000)] = ""


class FoundFile(TomlTable):
    """The whole of found.toml."""

    find: tuple[FindTable, ...] = ()
    look: tuple[LookTable, ...] = ()

    @model_validator(mode="after")
    def _ids_fit(self) -> FoundFile:
        ids = [find.id for find in self.find]
        if doubled := sorted({i for i in ids if ids.count(i) > 1}):
            msg = f"find id {doubled[0]!r} stands twice"
            raise ValueError(msg)
        for look in self.look:
            if look.find not in ids:
                msg = (
                    f"a look names find {look.find!r}, but the finds are "
                    f"{', '.join(ids) or 'none'}"
                )
                raise ValueError(msg)
        return self

    def looks_of(self, find_id: str) -> tuple[LookTable, ...]:
        """Return the looks at one colony, by day."""
        own = (look for look in self.look if look.find == find_id)
        return tuple(sorted(own, key=lambda look: look.seen))

    def free_id(self) -> str:
        """Return the next number that no find has."""
        taken = {find.id for find in self.find}
        return next(str(n) for n in range(1, len(taken) + 2) if str(n) not in taken)


def read_finds(hunt_dir: Path) -> FoundFile:
    """Read found.toml; without one nothing was found.

    Raises
    ------
    HuntError
        One line that names the file, the find and the key.
    """
    path = hunt_dir / FILE
    if not path.exists():
        return FoundFile()
    return _checked(_text(path), str(path))


def add_find(hunt: HuntFolder, find: FindTable, *, another: bool = False) -> FoundFile:
    """Add a find to the end of found.toml, and return what then stands there.

    Where another has its id by now it gets the next free one. `another` says that it
    is another colony than the one that is kept at this spot.

    Raises
    ------
    HuntError
        If a find at this spot is kept already, the file as it is has a fault, or
        another command is writing.
    """

    def lines(before: FoundFile) -> list[str]:
        near = (
            k for k in before.find if apart_m(k.position, find.position) <= SAME_SPOT_M
        )
        if not another and (known := next(near, None)) is not None:
            raise HuntError(
                f"find {known.id} is kept already, within {SAME_SPOT_M:g} m of there",
                where=str(hunt.path / FILE),
                mend=f"A look at it: treeward found --again {known.id} --state alive; "
                "another colony: say so (--another).",
            )
        taken = any(one.id == find.id for one in before.find)
        new = find.model_copy(update={"id": before.free_id()}) if taken else find
        return _lines("find", new)

    return _append(hunt, lines)


def checked(table: type[T], values: Mapping[str, Any], *, named: str = "{}") -> T:
    """Check what was told of a find, or of a look, as found.toml is checked.

    `named` is how the person knows a key: "--{}".

    Raises
    ------
    HuntError
        Naming the key.
    """
    try:
        return table.model_validate(values)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        key = str(fault["loc"][0]).replace("_", "-") if fault["loc"] else ""
        said = str(fault["msg"]).removeprefix("Value error, ")
        raise HuntError(f"{named.format(key)}: {said[:1].lower()}{said[1:]}") from error


def day_told(hunt: HuntFolder, day: date | None) -> date:
    """Return the day that was told, today where none was.

    Raises
    ------
    HuntError
        If it is still to come.
    """
    today = datetime.now(tz=UTC).astimezone(hunt.zone).date()
    if day is not None and day > today:
        raise HuntError(
            f"the day {day.isoformat()} is still to come", mend="Correct the day."
        )
    return day or today


def add_look(hunt: HuntFolder, look: LookTable) -> FoundFile:
    """Add a look at a colony that was found to the end of found.toml.

    Raises
    ------
    HuntError
        If the file as it is has a fault, or knows no such find.
    """
    return _append(hunt, lambda _: _lines("look", look))


def found_text(finds: FoundFile) -> str:
    """Return a whole new found.toml."""
    parts = [_lines("find", find) for find in finds.find]
    parts += [_lines("look", look) for look in finds.look]
    return _HEAD + "".join("\n" + "\n".join(lines) + "\n" for lines in parts)


def _lines(name: str, table: FindTable | LookTable) -> list[str]:
    keys = table.model_dump(exclude_defaults=True)
    said = [f"{key} = {toml_value(getattr(table, key))}" for key in keys]
    return [f"[[{name}]]", *said]


def coarse(position: Position, square_m: float) -> Position:
    """Round a place to the middle of its square of the UTM grid (WGS84).

    Everybody in a square gets the same point, so that several hunts of one tree give
    away no more than one.

    Raises
    ------
    HuntError
        Beyond UTM's 80 S to 84 N.
    """
    from pyproj import Transformer

    try:
        zone, _, _ = utm_text(position).split()
    except ValueError as error:
        raise HuntError(
            f"the place {format_position(position)} cannot be rounded: {error}",
            where=FILE,
            mend="Correct the position there.",
        ) from error
    epsg = (32600 if zone[-1] >= "N" else 32700) + int(zone[:-1])
    both = Transformer.from_crs("EPSG:4326", f"EPSG:{epsg}", always_xy=True)
    grid = both.transform(position.longitude_deg, position.latitude_deg)
    east, north = ((value // square_m + 0.5) * square_m for value in grid)
    longitude, latitude = both.transform(east, north, direction="INVERSE")
    # As it will be written, so that it is one point for all.
    return parse_position(f"{latitude:.5f}, {longitude:.5f}")


def _append(hunt: HuntFolder, made: Callable[[FoundFile], list[str]]) -> FoundFile:
    path = hunt.path / FILE
    with hunt.locked("found", wait_s=_PATIENCE_S):
        before = _text(path) if path.exists() else _HEAD
        lines = made(_checked(before, str(path)))  # a faulty file is not made longer
        gap = "" if before.endswith("\n") else "\n"
        after = f"{before}{gap}\n" + "\n".join(lines) + "\n"
        checked = _checked(after, str(path))
        write_text(path, after, within=hunt.path)
    return checked


def _text(path: Path) -> str:
    raw = read_whole(
        path,
        most_bytes=_MOST_BYTES,
        error=HuntError,
        too_large="This is no found.toml; see that the right one lies there.",
    )
    return toml_text(raw, where=str(path))


def _checked(text: str, where: str) -> FoundFile:
    try:
        return FoundFile.model_validate(parse_toml(text, where=where))
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        steps = [str(s + 1) if isinstance(s, int) else s for s in fault["loc"]]
        key = " ".join(steps)
        said = str(fault["msg"]).removeprefix("Value error, ")
        raise HuntError(
            f"{key}: {said}" if key else said, where=where, mend="Correct it there."
        ) from error


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
    return min(
        colonies,
        key=lambda one: (inside_area(one, find) or 100, apart_m(one, find.position)),
    )


def inside_area(colony: Colony, find: FindTable) -> int | None:
    """Return the smallest search area that holds a find: 50, 90, 95; None for none."""
    here = find.position
    return smallest_around(colony, here.latitude_deg, here.longitude_deg)


def _check(result: HuntResult, find: FindTable, colony: Colony) -> FindCheck:
    places = {place.id: place for place in result.stations}
    return FindCheck(
        find=find.id,
        found=find.found,
        colony=colony.id,
        off_m=apart_m(colony, find.position),
        holds_percent=inside_area(colony, find),
        area_90_m2=colony.search_areas[90].area_m2,
        stations=tuple(
            StationCheck(
                station=station,
                true_m=apart_m(places[station], find.position),
                low90_m=low,
                median_m=middle,
                high90_m=high,
                rules=_rules(result, colony, station),
            )
            for station, (low, middle, high) in colony.distance_m.items()
            if station in places
        ),
    )


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
        for place in filter(None, (position_in(event.value) for event in sure)):
            return place, None, ""
        raise HuntError(
            "no note with a time, and without doubt, says found",
            where=str(hunt.review_path),
            mend='Say where: treeward found --position "52.304500, -3.613300"',
        )
    latest, words = max(notes)
    clock = latest.astimezone(hunt.zone)
    day = clock.date()
    if (typed := position_in(words)) is not None:
        return typed, day, ""
    place = _tracked(hunt, clock, f"when {clock:%H:%M} was noted as found")
    return place, day, words


def _tracked(hunt: HuntFolder, clock: datetime, when: str) -> Position:
    tracks = find_tracks(hunt.path, hunt.file.map.ground)
    for path in tracks:
        with suppress(IdleTrackError):  # another may tell
            if (place := position_at(read_gpx(path).points, clock)) is not None:
                return place
    raise HuntError(
        f"no track of this hunt says where you were {when}"
        + ("" if tracks else "; there is no GPX file in it"),
        where=str(hunt.path / "tracks"),
        mend="Put your phone's GPX file of that day there, or give --position.",
    )


def shared_geojson(finds: FoundFile, square_m: float | None) -> str:
    """Write the finds for others as GeoJSON (RFC 7946): a place, a year, a nest.

    The middle of a square of the UTM grid, of this side, stands for the place; with
    None the places are as they are.
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
