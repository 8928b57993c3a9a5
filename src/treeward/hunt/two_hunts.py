"""What two hunts have in common: their hunt.toml as one, and notes that both hold.

What one note tells of bees is told once, in whichever folders it lies. So of hunts that
share most of the smaller one's notes (a merged hunt and its parts, or copies), a colony
found in both counts in the one that holds more of them.
"""

from __future__ import annotations

import glob
import os
import string
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from treeward.errors import TreewardError
from treeward.hunt_file import hunt_toml_text
from treeward.hunt_tables import parse_toml
from treeward.survey.frame import apart_m

from .folder import quoted, toml_value
from .hunt import Hunt

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from treeward.measures import Position

    from .finds import FindTable, LookTable
    from .folder import HuntFolder


ONE_PLACE_M = 30.0  # two fixes of one station by phones; guess
_PLAIN_TABLES = ("model", "walk", "speech", "map", "calibration")


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of the two hunts as it goes into the merged one.

    `who` is the person, where hunt.toml names none for a recording. `recordings` gives
    the name of every recording, and of typed notes (""), in the merged hunt, `stations`
    the id of every station there, and `placed` its position, wherever that was known
    from. `marks` are those that occur in its notes.
    """

    hunt: Hunt
    who: str
    recordings: Mapping[str, str]
    placed: Mapping[str, Position]
    stations: Mapping[str, str]
    marks: frozenset[str]


def station_names(
    one: HuntFolder,
    other: HuntFolder,
    one_placed: Mapping[str, Position],
    other_placed: Mapping[str, Position],
) -> dict[str, str]:
    """Return the second hunt's station ids as the merged hunt calls them.

    One of the same id within `ONE_PLACE_M`, or whose place one of the two does not
    know, is the same station; one elsewhere gets a letter, "1b".
    """
    taken = {station.id for station in one.file.station}
    every = taken | {station.id for station in other.file.station}
    names: dict[str, str] = {}
    for station in other.file.station:
        here, there = one_placed.get(station.id), other_placed.get(station.id)
        apart = station.id in taken and here and there and apart_m(here, there)
        if not apart or apart <= ONE_PLACE_M:
            names[station.id] = station.id
            continue
        new = next(
            f"{station.id}{letter}"
            for letter in (*string.ascii_lowercase[1:], *map(str, range(2, 1000)))
            if f"{station.id}{letter}" not in every | set(names.values())
        )
        names[station.id] = new
    return names


def merged_toml(
    one: Side, other: Side, into: Path, *, name: str
) -> tuple[str, list[str]]:
    """Return the merged hunt.toml, and lines about what could not go into it.

    What both say of the whole (units, compass, [model], [walk] and the like) is as the
    first says; bearings of the second are marked where its compass was another.

    Raises
    ------
    HuntError
        If one of the two cannot be read.
    """
    tables, others = _raw(one.hunt), _raw(other.hunt)
    told: list[str] = []
    merged: dict[str, Any] = {}
    both = one.marks & other.marks
    if same := _same_bees(tables, others, both, told):
        merged["same_bee"] = same
    if learned := _learned_from(one, other, into):
        merged["learned_from"] = learned
    merged["hunt"] = _whole(tables["hunt"], others["hunt"], name)
    merged["station"] = _stations(one, other)
    merged["recording"] = [*_recordings(one), *_recordings(other)]
    known = [*tables.get("known_hive", []), *others.get("known_hive", [])]
    merged["known_hive"] = [t for i, t in enumerate(known) if t not in known[:i]]
    merged["colony"] = _colonies(tables, others, both, told)
    starts = {
        side.recordings.get(key, key): value
        for side, raw in ((other, others), (one, tables))
        for key, value in raw.get("start", {}).items()
    }
    merged["start"] = starts
    for key in _PLAIN_TABLES:
        mine, theirs = tables.get(key), others.get(key)
        if key == "calibration" and theirs:
            theirs = theirs | {"station": other.stations[str(theirs["station"])]}
        if mine and theirs and mine != theirs:
            told.append(f"[{key}] is as {one.who} has it; {other.who} has it otherwise")
        merged[key] = mine or theirs or {}
    return _text(merged), told


def _raw(hunt: HuntFolder) -> dict[str, Any]:
    path = hunt.path / "hunt.toml"
    _ = hunt.file  # checked, with a line for the person
    return parse_toml(hunt_toml_text(path), where=str(path))


def _whole(mine: dict[str, Any], theirs: dict[str, Any], name: str) -> dict[str, Any]:
    whole = {**mine, "name": name}
    marks = [mine.get("marks", []), theirs.get("marks", [])]
    whole.pop("marks", None)
    if all(marks):  # with one empty, any mark may be said
        whole["marks"] = list(dict.fromkeys([*marks[0], *marks[1]]))
    return whole


def _same_bees(
    mine: dict[str, Any], theirs: dict[str, Any], both: frozenset[str], told: list[str]
) -> list[str]:
    """Join the marks that are one bee everywhere, but those that both people used."""
    every = dict.fromkeys([*mine.get("same_bee", []), *theirs.get("same_bee", [])])
    normal = {mark: " ".join(mark.lower().split()) for mark in every}
    told += [
        f"{mark} was painted by both: two bees, so it is left out of the bees that "
        "are the same everywhere (same_bee)"
        for mark in every
        if normal[mark] in both
    ]
    return [mark for mark in every if normal[mark] not in both]


def _learned_from(one: Side, other: Side, into: Path) -> str:
    """Return the way to the first season.json that one of the hunts names."""
    for side in (one, other):
        if named := side.hunt.file.learned_from:
            path = os.path.realpath(side.hunt.path / named)
            try:
                way = os.path.relpath(path, os.path.realpath(into))
            except ValueError:  # on another drive
                way = path
            return way.replace(os.sep, "/")
    return ""


def _stations(one: Side, other: Side) -> list[dict[str, Any]]:
    """Return the stations with their positions, those that both have once."""
    tables: dict[str, dict[str, Any]] = {}
    for side in (one, other):
        for station in side.hunt.file.station:
            new = side.stations[station.id]
            table = tables.setdefault(new, {"id": new, "cargo": station.cargo})
            if station.name and "name" not in table:
                table["name"] = station.name
            if (place := side.placed.get(station.id)) and "position" not in table:
                table["position"] = place
    return list(tables.values())


def _recordings(side: Side) -> list[dict[str, Any]]:
    """Return who spoke each recording and where, one by one and without patterns."""
    sole = [s.id for s in side.hunt.file.station]
    tables = []
    for old, new in side.recordings.items():
        table = {"name": glob.escape(new)}
        table["observer"] = (side.hunt.file.observer_of(old) or side.who)[:60]
        station = side.hunt.file.station_of(old)
        if not station and len(sole) == 1:
            station = sole[0]  # where it was the only one, nobody had to say it
        if station:
            table["station"] = side.stations[station]
        tables.append(table)
    return tables


def _colonies(
    mine: dict[str, Any], theirs: dict[str, Any], both: frozenset[str], told: list[str]
) -> list[dict[str, Any]]:
    """Join the colonies; a mark that both people used says no longer which bee."""
    ids = {table["id"] for table in mine.get("colony", [])}
    joined = [dict(table) for table in mine.get("colony", [])]
    for table in theirs.get("colony", []):
        new = table["id"]
        if new in ids:
            new = next(c for c in string.ascii_uppercase if c not in ids)
        ids.add(new)
        joined.append({**table, "id": new})
    kept = []
    for table in joined:
        marks = [m for m in table["marks"] if " ".join(m.lower().split()) not in both]
        if len(marks) < len(table["marks"]):
            told.append(
                f"colony {table['id']} lost marks that both people painted: "
                f"{', '.join(m for m in table['marks'] if m not in marks)}"
            )
        if marks:
            kept.append({**table, "marks": marks})
    return kept


def _text(tables: Mapping[str, Any]) -> str:
    """Write tables as TOML: plain keys first, then tables, then arrays of tables."""
    lines = ["# Made of two hunts by treeward merge.", ""]
    for key, value in tables.items():
        if not isinstance(value, dict) and not _is_tables(value):
            lines.append(f"{key} = {toml_value(value)}")
    for key, value in tables.items():
        if isinstance(value, dict) and value:
            lines += ["", f"[{key}]", *_keys(value)]
        elif _is_tables(value):
            for table in value:
                lines += ["", f"[[{key}]]", *_keys(table)]
    return "\n".join(lines) + "\n"


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(one, dict) for one in value)


def _keys(table: Mapping[str, Any]) -> list[str]:
    return [f"{_key(key)} = {toml_value(value)}" for key, value in table.items()]


def _key(key: str) -> str:
    bare = set(string.ascii_letters + string.digits + "_-")
    return key if key and set(key) <= bare else quoted(key)


def folder_name(who: str) -> str:
    """Write a name as a short one of a folder: letters, digits, "-" and "_"."""
    plain = "".join(c if c.isalnum() or c in "-_" else "-" for c in who)
    return plain.strip("-")[:40].lower() or "other"


_SHARED = 0.5  # of the smaller's notes; two people at one dish share fewer; guess

Notes = frozenset[tuple["datetime", str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundColony:
    """A colony that was found, its hunt, and what was seen of it since.

    `parts` are folders of other hunts that hold the same notes and this find, as the
    parts of a merged hunt do; `looks` holds what they know of it as well. `shared_with`
    names all hunts that hold the same notes, with a find or without.
    """

    hunt: str  # name in hunt.toml
    folder: Path
    find: FindTable
    looks: tuple[LookTable, ...]
    parts: tuple[Path, ...] = ()
    shared_with: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What it is called in lists: the hunt's name and the find's."""
        return f"{self.hunt} {self.find.id}"


def notes_of(folder: Path) -> Notes:
    """Return a hunt's notes by clock, kind and mark; none where they cannot be read."""
    try:
        rows = Hunt(folder, plain=True).rows()
    except TreewardError:  # told where the hunt is located
        return frozenset()
    return frozenset(
        (row.event.clock, row.event.kind.value, row.event.mark)
        for row in rows
        if row.event.clock is not None
    )


def shares_notes(one: Notes, other: Notes) -> bool:
    """Tell whether two hunts share most of the notes of the one that has fewer."""
    fewer = min(len(one), len(other))
    return fewer > 0 and len(one & other) > _SHARED * fewer


def counted_once(
    colonies: Sequence[FoundColony], names: Mapping[Path, str]
) -> tuple[list[FoundColony], list[str]]:
    """Return each find once, and a line for every one that stands in a larger hunt."""
    if not colonies or len(names) < 2:
        return list(colonies), []
    notes = {folder: notes_of(folder) for folder in names}
    kept: list[FoundColony] = []
    told: list[str] = []
    for one in sorted(colonies, key=lambda c: -len(notes[c.folder])):
        at = _again(one, kept, notes)
        if at is None:
            kept.append(one)
            continue
        first = kept[at]
        looks = dict.fromkeys(first.looks)
        looks |= dict.fromkeys(
            look.model_copy(update={"find": first.find.id}) for look in one.looks
        )
        kept[at] = replace(
            first,
            looks=tuple(sorted(looks, key=lambda look: look.seen)),
            parts=(*first.parts, one.folder),
        )
        told.append(
            f"{one.folder}: its find {one.find.id} is find {first.find.id} of "
            f"{first.folder}, which holds the same notes, and counts there, once"
        )
    order = [(one.folder, one.find.id) for one in colonies]
    kept.sort(key=lambda one: order.index((one.folder, one.find.id)))
    return [_with_names(one, names, notes) for one in kept], told


def _with_names(
    one: FoundColony, names: Mapping[Path, str], notes: Mapping[Path, Notes]
) -> FoundColony:
    shared = (
        name
        for folder, name in names.items()
        if folder != one.folder and shares_notes(notes[one.folder], notes[folder])
    )
    return replace(one, shared_with=tuple(dict.fromkeys(shared)))


def _again(
    one: FoundColony, kept: Sequence[FoundColony], notes: Mapping[Path, Notes]
) -> int | None:
    """Return which of the finds kept so far is this one, in another folder."""
    own = notes[one.folder]
    for index, other in enumerate(kept):
        if (
            other.folder != one.folder
            and one.folder not in other.parts
            and apart_m(one.find.position, other.find.position) <= ONE_PLACE_M
            and shares_notes(own, notes[other.folder])
        ):
            return index
    return None
