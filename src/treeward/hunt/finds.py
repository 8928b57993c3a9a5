"""found.toml: the colonies that were found, and what was seen of them since.

The file lies in the hunt's folder and nothing of it goes into results/ unless asked
for: the place of a wild colony is not everybody's to know. It is only ever added to, so
that what a person wrote into it stays as they wrote it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar, get_args

from pydantic import Field, ValidationError, model_validator

from treeward.errors import HuntError
from treeward.files import read_whole, write_text
from treeward.hunt_tables import Id, Place, TomlTable, parse_toml, toml_text
from treeward.positions import format_position

from .folder import quoted, toml_value

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from treeward.positions import Position

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
STATES: tuple[str, ...] = get_args(State)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Coarse:
    """A place rounded to the middle of a square of the UTM grid, for sharing."""

    latitude_deg: float
    longitude_deg: float
    square_m: float


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

    Where another has its id by now it gets the next free one.

    Parameters
    ----------
    hunt
        Whose found.toml.
    find
        What was found.
    another
        It is another colony than the one that is kept at this spot.

    Raises
    ------
    HuntError
        If a find at this spot is kept already, the file as it is has a fault, or
        another command is writing.
    """

    def lines(before: FoundFile) -> list[str]:
        known = None if another else _at_that_spot(before, find)
        if known is not None:
            raise HuntError(
                f"find {known.id} is kept already, within {SAME_SPOT_M:g} m of there",
                where=str(hunt.path / FILE),
                mend=f"A look at it: treeward found --again {known.id} --state alive; "
                "another colony: --another.",
            )
        taken = any(one.id == find.id for one in before.find)
        new = find.model_copy(update={"id": before.free_id()}) if taken else find
        return _find_lines(new)

    return _append(hunt, lines)


def _at_that_spot(finds: FoundFile, find: FindTable) -> FindTable | None:
    from treeward.survey.frame import geodesic

    here = find.position
    for known in finds.find:
        there = known.position
        apart_m, _ = geodesic(
            here.latitude_deg,
            here.longitude_deg,
            there.latitude_deg,
            there.longitude_deg,
        )
        if apart_m <= SAME_SPOT_M:
            return known
    return None


def checked(table: type[T], values: Mapping[str, Any], *, named: str = "{}") -> T:
    """Check what was told of a find, or of a look, as found.toml is checked.

    Parameters
    ----------
    table
        `FindTable` or `LookTable`.
    values
        By key.
    named
        How the person knows a key: "--{}".

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
    return _append(hunt, lambda _: _look_lines(look))


def found_text(finds: FoundFile) -> str:
    """Return a whole new found.toml."""
    parts = [_find_lines(find) for find in finds.find]
    parts += [_look_lines(look) for look in finds.look]
    return _HEAD + "".join("\n" + "\n".join(lines) + "\n" for lines in parts)


def _find_lines(find: FindTable) -> list[str]:
    lines = ["[[find]]"]
    for key, value in find.model_dump(exclude_defaults=True).items():
        if key == "position":
            lines.append(f"position = {quoted(format_position(find.position))}")
        else:
            lines.append(f"{key} = {toml_value(value)}")
    return lines


def _look_lines(look: LookTable) -> list[str]:
    return ["[[look]]"] + [
        f"{key} = {toml_value(value)}"
        for key, value in look.model_dump(exclude_defaults=True).items()
    ]


def coarse(position: Position, square_m: float) -> Coarse:
    """Round a place to the middle of its square of the UTM grid (WGS84).

    Everybody in a square gets the same point, so that several hunts of one tree give
    away no more than one.

    Raises
    ------
    HuntError
        Beyond UTM's 80 S to 84 N.
    """
    from pyproj import Transformer

    from treeward.positions import parse_position, utm_text

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
    rounded = parse_position(f"{latitude:.5f}, {longitude:.5f}")
    return Coarse(
        latitude_deg=rounded.latitude_deg,
        longitude_deg=rounded.longitude_deg,
        square_m=square_m,
    )


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
