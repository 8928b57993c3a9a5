"""hunt.toml: what a hunt is called, where its stations are, what is known.

Every key but [hunt] name, timezone and the stations' id is optional.
"""

from __future__ import annotations

import re
import tomllib
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal, cast
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from treeward.errors import HuntError
from treeward.positions import Position, parse_position
from treeward.whole_file import read_whole

if TYPE_CHECKING:
    from pathlib import Path

    from pydantic_core import ErrorDetails


def _position(value: object) -> object:
    if isinstance(value, Position):
        return value
    if not isinstance(value, str):
        msg = f'{value!r} is not text; write it in quotes: "52.301200, -3.610400"'
        raise ValueError(msg)  # noqa: TRY004  (pydantic turns only ValueError into a report)
    return parse_position(value)


def _mark(value: object) -> object:
    return " ".join(value.lower().split()) if isinstance(value, str) else value


Place = Annotated[Position, BeforeValidator(_position)]
Mark = Annotated[str, BeforeValidator(_mark), Field(min_length=1)]
Cargo = Literal["water", "syrup", "nectar"]
Key = Annotated[str, Field(min_length=1, max_length=60)]
Pair = tuple[
    Annotated[float, Field(gt=0)], Annotated[float, Field(gt=0)]
]  # low and high


_ZONE_REACH_DEG = 40.0  # no civil time zone strays further from its meridian; guess
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f-\x9f]")
_MOST_BYTES = 1 << 20  # a hunt of a thousand stations takes a tenth of it


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)

    @field_validator("*", mode="before")
    @classmethod
    def _can_be_shown(cls, value: object) -> object:
        for text in value if isinstance(value, list) else [value]:
            if isinstance(text, str) and (found := _CONTROL.search(text)):
                raise ValueError(f"holds {found[0]!a}, which cannot be shown")
        return value


class HuntTable(_Table):
    """[hunt]: the hunt as a whole."""

    name: Key
    timezone: str
    units: Literal["metric", "imperial"] = "metric"
    compass: Literal["magnetic", "true"] = "magnetic"
    altitude_m: float = Field(default=0.0, ge=-500, le=9000)
    marks: tuple[Mark, ...] = ()  # painted in this hunt; empty: any may be said

    @field_validator("timezone")
    @classmethod
    def _zone_exists(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError):
            msg = f'{value!r} is no IANA time zone such as "Europe/London"'
            raise ValueError(msg) from None
        return value

    @property
    def zone(self) -> ZoneInfo:
        """The hunt's time zone."""
        return ZoneInfo(self.timezone)


class StationTable(_Table):
    """[[station]]: a place where marked bees are watched."""

    id: Key
    position: Place | None = None  # None: taken from a GPX track or waypoint
    cargo: Cargo = "water"
    name: str = ""

    @field_validator("id", mode="before")
    @classmethod
    def _id_as_text(cls, value: object) -> object:
        return str(value) if isinstance(value, int) else value


class KnownHiveTable(_Table):
    """[[known_hive]]: a hive that is not looked for; its bees are left out."""

    name: Key
    position: Place
    marks: tuple[Mark, ...] = ()


class ColonyTable(_Table):
    """[[colony]]: marks that the person says belong to one colony."""

    id: Key
    marks: tuple[Mark, ...] = Field(min_length=1)


class CalibrationTable(_Table):
    """[calibration]: trips between a station and a hive of known place."""

    station: Key
    hive: Place
    marks: tuple[Mark, ...] = ()  # empty: every mark seen at that station


class ModelTable(_Table):
    """[model]: overrides of what the survey assumes; each is a 90 % range."""

    flight_speed_out_m_per_s: Pair | None = None
    flight_speed_home_m_per_s: Pair | None = None
    in_hive_s: Pair | None = None
    compass_sd_deg: float | None = Field(default=None, ge=0, le=45)
    prior_distance_median_m: float | None = Field(default=None, gt=10, le=10_000)
    prior_distance_sigma: float | None = Field(default=None, gt=0.05, le=3)
    prior_distance_max_m: float | None = Field(default=None, gt=50, le=20_000)

    @field_validator(
        "flight_speed_out_m_per_s", "flight_speed_home_m_per_s", "in_hive_s"
    )
    @classmethod
    def _low_before_high(cls, value: Pair | None) -> Pair | None:
        if value is not None and value[0] >= value[1]:
            msg = f"[{value[0]:g}, {value[1]:g}] must be low, then high"
            raise ValueError(msg)
        return value


class SpeechTable(_Table):
    """[speech]: how notes are heard in this hunt."""

    # Rows of less confidence are flagged; as notes.parser.DOUBT_BELOW.
    flag_below: float = Field(default=0.9, ge=0, le=1)
    model: str | None = None  # name or folder of another speech model
    keep_talk: bool = True  # results/talk.vtt: what was said between the notes


class WalkTable(_Table):
    """[walk]: where the next station may be."""

    limit_m: float = Field(default=1000.0, gt=0, le=20_000)
    leave_out: tuple[tuple[Place, ...], ...] = ()  # polygons not to enter

    @field_validator("leave_out")
    @classmethod
    def _three_corners(
        cls, value: tuple[tuple[Position, ...], ...]
    ) -> tuple[tuple[Position, ...], ...]:
        if any(len(ring) < 3 for ring in value):
            msg = "an area to leave out needs three corners or more"
            raise ValueError(msg)
        return value


OSM_TILES = "https://tile.openstreetmap.org/{z}/{x}/{y}.png"
OSM_CREDIT = "© OpenStreetMap contributors"


class MapTable(_Table):
    """[map]: whose map pictures `treeward locate --online-map` shows."""

    tiles: str = OSM_TILES
    credit: str = ""

    @field_validator("tiles")
    @classmethod
    def _is_a_template(cls, value: str) -> str:
        parts = urlsplit(value)
        if parts.scheme not in {"https", "http"} or not re.fullmatch(
            r"[A-Za-z0-9.-]+(:\d+)?", parts.netloc
        ):
            msg = f"{value!r} is no address that begins with https:// and a server"
            raise ValueError(msg)
        if any(part not in value for part in ("{z}", "{x}", "{y}")):
            msg = f"{value!r} must hold {{z}}, {{x}} and {{y}}"
            raise ValueError(msg)
        return value

    @model_validator(mode="after")
    def _has_a_credit(self) -> MapTable:
        if self.credit:
            return self
        if not self.server.endswith("openstreetmap.org"):
            msg = f"credit must say whose map pictures {self.server} gives"
            raise ValueError(msg)
        object.__setattr__(self, "credit", OSM_CREDIT)
        return self

    @property
    def server(self) -> str:
        """The server that is asked, with its port where it is not the usual one."""
        return urlsplit(self.tiles).netloc


class HuntFile(_Table):
    """The whole of hunt.toml."""

    hunt: HuntTable
    station: tuple[StationTable, ...] = ()
    known_hive: tuple[KnownHiveTable, ...] = ()
    colony: tuple[ColonyTable, ...] = ()
    calibration: CalibrationTable | None = None
    model: ModelTable = ModelTable()
    walk: WalkTable = WalkTable()
    speech: SpeechTable = SpeechTable()
    map: MapTable = MapTable()
    start: dict[str, str] = Field(default_factory=dict)
    # [start]: recording's file name -> "2026-07-14 10:20", as --start would say
    same_bee: tuple[Mark, ...] = ()
    # marks that are one bee on every day; otherwise each day has its own

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
        owners: dict[str, str] = {}
        for colony in self.colony:
            for mark in colony.marks:
                if mark in owners:
                    msg = f"mark {mark!r} stands in two colonies"
                    raise ValueError(msg)
                owners[mark] = colony.id
        return self


def read_hunt_file(path: Path) -> HuntFile:
    """Read and check hunt.toml.

    Raises
    ------
    HuntError
        One line naming file, key and mend; the first fault where there are many,
        with their number.
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
    try:
        table = tomllib.loads(raw.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError as error:
        raise HuntError(
            f"byte {error.start} is not UTF-8",
            where=str(path),
            mend="Save the file as UTF-8.",
        ) from error
    except (ValueError, RecursionError) as error:  # also of a number too long to read
        raise HuntError(
            f"is not valid TOML: {error}",
            where=str(path),
            mend='Write text in quotes, key = "value", one on a line.',
        ) from error
    return parse_hunt_table(table, where=str(path))


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
        "known_hive": KnownHiveTable,
        "colony": ColonyTable,
        "calibration": CalibrationTable,
        "model": ModelTable,
        "walk": WalkTable,
        "speech": SpeechTable,
        "map": MapTable,
    },
)
