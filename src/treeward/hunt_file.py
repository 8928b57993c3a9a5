"""hunt.toml: what a hunt is called, where its stations are, what is known.

Every key but [hunt] name, timezone and the stations' id is optional.

season.json: what own found hunts taught, for hunts to take as their prior.

`treeward season` writes it; hunt.toml names it: learned_from = "../season.json". It
holds where hunts were to a tenth of a degree, for telling regions apart, and no find.
"""

from __future__ import annotations

import json
from datetime import datetime
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING, Annotated, Any, Literal, cast

from pydantic import BaseModel, Field, PrivateAttr, ValidationError, model_validator

from treeward.errors import HuntError
from treeward.files import read_whole, write_text
from treeward.hunt_tables import (
    CalibrationTable,
    Cargo,
    ColonyTable,
    HuntTable,
    KnownHiveTable,
    MapTable,
    Mark,
    ModelTable,
    Pair,
    RecordingTable,
    SearchedTable,
    SearchTable,
    SpeechTable,
    StationTable,
    TomlTable,
    WalkTable,
    parse_toml,
    toml_text,
)

if TYPE_CHECKING:
    from pathlib import Path

    from pydantic_core import ErrorDetails


__all__ = ["Cargo", "HuntFile", "Pair", "parse_hunt_table", "read_hunt_file"]

_ZONE_REACH_DEG = 40.0  # no civil time zone strays further from its meridian; guess
_MOST_BYTES = 1 << 20  # a hunt of a thousand stations takes a tenth of it


class HuntFile(TomlTable):
    """The whole of hunt.toml."""

    hunt: HuntTable
    station: tuple[StationTable, ...] = ()
    recording: tuple[RecordingTable, ...] = ()
    known_hive: tuple[KnownHiveTable, ...] = ()
    colony: tuple[ColonyTable, ...] = ()
    calibration: CalibrationTable | None = None
    model: ModelTable = ModelTable()
    walk: WalkTable = WalkTable()
    search: SearchTable = SearchTable()
    searched: tuple[SearchedTable, ...] = ()
    speech: SpeechTable = SpeechTable()
    map: MapTable = MapTable()
    start: dict[str, str] = Field(default_factory=dict)
    # [start]: recording's file name -> "2026-07-14 10:20", as --start would say
    same_bee: tuple[Mark, ...] = ()
    # marks that are one bee on every day and at every station; otherwise each day has
    # its own, and whether she moved to another station is left open

    learned_from: str = ""
    # season.json whose lessons replace the plain prior; its way from the hunt's folder
    _season: SeasonFile | None = PrivateAttr(default=None)

    @property
    def season(self) -> SeasonFile | None:
        """What `learned_from` holds; None for the plain prior."""
        return self._season

    def take_season(self, season: SeasonFile, *, learned_from: str) -> None:
        """Heed a season's lessons from here on, as if hunt.toml named it."""
        object.__setattr__(self, "learned_from", learned_from)
        self._season = season

    @model_validator(mode="after")
    def _places_fit_the_zone(self) -> HuntFile:
        """Catch a longitude written before the latitude: both are on the globe."""
        offset = datetime(2025, 1, 1, tzinfo=self.hunt.zone).utcoffset()
        expected_deg = (
            offset.total_seconds() if offset else 0.0
        ) / 240  # 15 deg an hour
        for station in self.station:
            place = station.position
            if place is None or abs(place.longitude_deg) > 90:
                continue
            off_deg = abs(place.longitude_deg - expected_deg)
            off_swapped_deg = abs(place.latitude_deg - expected_deg)
            if off_deg > _ZONE_REACH_DEG and off_swapped_deg < _ZONE_REACH_DEG:
                msg = (
                    f"station {station.id!r} lies far outside {self.hunt.timezone}: "
                    "the longitude seems to stand first; write the latitude first, "
                    f'"{place.longitude_deg:g}, {place.latitude_deg:g}"'
                )
                raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _names_fit(self) -> HuntFile:
        ids = [station.id for station in self.station]
        if doubled := sorted({i for i in ids if ids.count(i) > 1}):
            msg = f"station id {doubled[0]!r} stands twice"
            raise ValueError(msg)
        if self.calibration and self.calibration.station not in ids:
            msg = (
                f"calibration names station {self.calibration.station!r}, "
                f"but the stations are {', '.join(ids) or 'none'}"
            )
            raise ValueError(msg)
        for one in self.recording:
            if one.station and one.station not in ids:
                msg = (
                    f"recording {one.name!r} names station {one.station!r}, "
                    f"but the stations are {', '.join(ids) or 'none'}"
                )
                raise ValueError(msg)
        owners: dict[str, str] = {}
        for colony in self.colony:
            for mark in colony.marks:
                if mark in owners:
                    msg = f"mark {mark!r} stands in two colonies"
                    raise ValueError(msg)
                owners[mark] = colony.id
        return self

    def observer_of(self, recording: str) -> str:
        """Return who spoke a recording; "" where hunt.toml does not say."""
        return next((r.observer for r in self._told_of(recording) if r.observer), "")

    @property
    def said_stations(self) -> tuple[str, ...]:
        """The stations' ids, and their names where they have one."""
        ids = [station.id for station in self.station]
        return (*ids, *(one.name for one in self.station if one.name))

    def station_of(self, recording: str) -> str:
        """Return the station that hunt.toml gives a recording; "" for none."""
        return next((r.station for r in self._told_of(recording) if r.station), "")

    def _told_of(self, recording: str) -> list[RecordingTable]:
        if not recording:
            return []
        return [r for r in self.recording if fnmatchcase(recording, r.name)]


def read_hunt_file(path: Path, *, plain: bool = False) -> HuntFile:
    """Read and check hunt.toml, and the season.json that it names.

    Parameters
    ----------
    path
        The file.
    plain
        Heed no season.json: the plain prior.

    Raises
    ------
    HuntError
        One line naming file, key and mend; the first fault where there are many,
        with their number.
    """
    where = str(path)
    table = parse_toml(hunt_toml_text(path), where=where)
    parsed = parse_hunt_table(table, where=where)
    if parsed.learned_from and not plain:
        parsed._season = read_season(path.parent / parsed.learned_from)
    return parsed


def hunt_toml_text(path: Path) -> str:
    """Return hunt.toml as text.

    Raises
    ------
    HuntError
        If it is missing, too large, or not UTF-8.
    """
    raw = read_whole(
        path,
        most_bytes=_MOST_BYTES,
        error=HuntError,
        too_large="This is no hunt.toml; see that the right one lies there.",
        missing=(
            "there is no hunt.toml here",
            (
                f"Start a hunt with: treeward new {path.parent.name or 'DIR'}, "
                "or name its folder with --hunt DIR."
            ),
        ),
    )
    return toml_text(raw, where=str(path))


def parse_hunt_table(table: dict[str, Any], *, where: str) -> HuntFile:
    """Check a table that was read from hunt.toml."""
    try:
        return HuntFile.model_validate(table)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        what, mend = _describe(faults[0], table)
        if len(faults) > 1:
            mend += f" ({len(faults) - 1} more after this one.)"
        raise HuntError(what, where=where, mend=mend) from error


def _describe(fault: ErrorDetails, table: dict[str, Any]) -> tuple[str, str]:
    key = _key_text(fault["loc"], table)
    given = fault["input"]
    match fault["type"]:
        case "extra_forbidden":
            allowed = ", ".join(_known_keys(fault["loc"])) or "none"
            return f"{key} is not a key that Treeward knows", f"It may be: {allowed}."
        case "missing":
            return f"{key} is missing", "Add it; `treeward new` shows how it looks."
        case "literal_error":
            expected = fault.get("ctx", {}).get("expected", "")
            return f"{key} = {given!r} is not allowed", f"Write {expected}."
        case "value_error":
            said = str(fault["msg"]).removeprefix("Value error, ")
            return (f"{key}: {said}" if key else said), "Correct it in hunt.toml."
        case _:
            return f"{key} = {given!r}: {fault['msg'].lower()}", "Correct it."


def _key_text(loc: tuple[int | str, ...], table: dict[str, Any]) -> str:
    parts: list[str] = []
    node: object = table
    for step in loc:
        if isinstance(step, int):
            node = node[step] if isinstance(node, list) and step < len(node) else None
            name = node.get("id") if isinstance(node, dict) else None
            parts[-1:] = [f"{parts[-1] if parts else ''}[{name or step + 1}]"]
        else:
            node = node.get(step) if isinstance(node, dict) else None
            parts.append(step)
    return ".".join(parts)


def _known_keys(loc: tuple[int | str, ...]) -> list[str]:
    model: type[BaseModel] = HuntFile
    for step in loc[:-1]:
        if isinstance(step, int):
            continue
        inner = _TABLES.get(step)
        if inner is None:
            return []
        model = inner
    return list(model.model_fields)


_TABLES: dict[str, type[BaseModel]] = cast(
    "dict[str, type[BaseModel]]",
    {
        "hunt": HuntTable,
        "station": StationTable,
        "recording": RecordingTable,
        "known_hive": KnownHiveTable,
        "colony": ColonyTable,
        "calibration": CalibrationTable,
        "model": ModelTable,
        "walk": WalkTable,
        "search": SearchTable,
        "searched": SearchedTable,
        "speech": SpeechTable,
        "map": MapTable,
    },
)


_MOST_SEASON_BYTES = 4 << 20  # some thousand hunts; choice
Number = Annotated[float, Field(allow_inf_nan=False, ge=-1e12, le=1e12)]
Precision = Annotated[float, Field(allow_inf_nan=False, ge=0, le=1e12)]


class OffsetTable(TomlTable):
    """How much too far clockwise an observer read: precision [1/deg^2], times mean."""

    observer: str = ""
    precision: Precision
    weighted: Number


class LessonTable(TomlTable):
    """What one find taught; see `survey.lessons.Lesson`.

    `latitude_deg` and `longitude_deg` are of the hunt, to a tenth of a degree;
    `shared_with` names hunts that hold the same notes.
    """

    hunt: str
    shared_with: tuple[str, ...] = ()
    find: str = ""
    latitude_deg: Annotated[float, Field(ge=-90, le=90)]
    longitude_deg: Annotated[float, Field(ge=-180, le=180)]
    cargos: tuple[Cargo, ...] = ()
    trips: Annotated[int, Field(ge=0)] = 0
    bearings: Annotated[int, Field(ge=0)] = 0
    precision: tuple[tuple[Number, Number], tuple[Number, Number]]
    weighted: tuple[Number, Number]
    offsets: tuple[OffsetTable, ...] = ()


class SeasonFile(TomlTable):
    """The whole of season.json."""

    format: Literal["treeward season 1"] = "treeward season 1"
    lessons: tuple[LessonTable, ...] = ()

    def without(self, hunt: str) -> SeasonFile:
        """Return it without what the notes of a hunt taught: none is its own prior."""
        kept = (x for x in self.lessons if hunt not in (x.hunt, *x.shared_with))
        return SeasonFile(lessons=tuple(kept))


def read_season(path: Path) -> SeasonFile:
    """Read season.json.

    Raises
    ------
    HuntError
        One line that names the file and what is wrong with it.
    """
    raw = read_whole(
        path,
        most_bytes=_MOST_SEASON_BYTES,
        error=HuntError,
        too_large="This is no season.json; see that learned_from names the right one.",
        missing=(
            "there is no such file, but learned_from in hunt.toml names it",
            "Write it with treeward season DIR, or take learned_from out.",
        ),
    )
    mend = "Write it anew with treeward season DIR, or take learned_from out."
    try:
        return SeasonFile.model_validate(json.loads(raw))
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        key = ".".join(str(step) for step in fault["loc"])
        what = f"{key}: {fault['msg'].lower()}"
        raise HuntError(what, where=str(path), mend=mend) from error
    except (ValueError, RecursionError) as error:
        raise HuntError(
            f"is no season of Treeward's ({error})", where=str(path), mend=mend
        ) from error


def write_season(path: Path, season: SeasonFile) -> None:
    """Write season.json, as a whole or not at all."""
    whole = season.model_dump(mode="json")
    write_text(path, json.dumps(whole, indent=1, allow_nan=False) + "\n")
