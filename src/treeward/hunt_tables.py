"""The tables of hunt.toml, each key checked by itself."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping  # noqa: TC003  (pydantic asks for it)
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    field_validator,
    model_validator,
)

from treeward.errors import HuntError
from treeward.measures import Position, parse_position

# Confidence under which a row says so: of notes by judge speakers stated above it 96 %
# were right, of those below 71 % (tests/benchmarks/hearing/RESULTS.md).
DOUBT_BELOW = 0.9


def _position(value: object) -> object:
    if isinstance(value, Position):
        return value
    if not isinstance(value, str):
        msg = f'{value!r} is not text; write it in quotes: "52.301200, -3.610400"'
        raise ValueError(msg)  # noqa: TRY004  (pydantic turns only ValueError into a report)
    return parse_position(value)


def _mark(value: object) -> object:
    return " ".join(value.lower().split()) if isinstance(value, str) else value


def _as_text(value: object) -> object:
    return str(value) if isinstance(value, int) else value


Place = Annotated[Position, BeforeValidator(_position)]
Mark = Annotated[str, BeforeValidator(_mark), Field(min_length=1)]
Cargo = Literal["water", "syrup", "nectar"]
Key = Annotated[str, Field(min_length=1, max_length=60)]
Id = Annotated[Key, BeforeValidator(_as_text)]  # a number need not be quoted
Speed = Annotated[float, Field(ge=0.5, le=30)]  # m/s; no bee flies at less or more
Stay = Annotated[float, Field(ge=1, le=7200)]  # s; as the survey takes it
SpeedPair = tuple[Speed, Speed]  # low and high
StayPair = tuple[Stay, Stay]
Pair = SpeedPair | StayPair


_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f-\x9f]")


def toml_text(raw: bytes, *, where: str) -> str:
    """Return the words of a file that a person writes in a hunt.

    Raises
    ------
    HuntError
        They are not UTF-8.
    """
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise HuntError(
            f"byte {error.start} is not UTF-8",
            where=where,
            mend="Save the file as UTF-8.",
        ) from error


def parse_toml(text: str, *, where: str) -> dict[str, Any]:
    """Return the tables of such a file, as whoever saved it ended its lines.

    Raises
    ------
    HuntError
        It is no TOML.
    """
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except (ValueError, RecursionError) as error:  # also of a number too long to read
        raise HuntError(
            f"is not valid TOML: {error}",
            where=where,
            mend='Write text in quotes, key = "value", one on a line.',
        ) from error


class TomlTable(BaseModel):
    """Any table: no key beside the known ones, and no text that cannot be shown."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)

    @field_validator("*", mode="before")
    @classmethod
    def _can_be_shown(cls, value: object) -> object:
        for text in value if isinstance(value, list) else [value]:
            if isinstance(text, str) and (found := _CONTROL.search(text)):
                raise ValueError(f"holds {found[0]!a}, which cannot be shown")
        return value


class HuntTable(TomlTable):
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


class StationTable(TomlTable):
    """[[station]]: a place where marked bees are watched."""

    id: Id
    position: Place | None = None  # None: taken from a GPX track or waypoint
    cargo: Cargo = "water"
    name: str = ""


class RecordingTable(TomlTable):
    """[[recording]]: who spoke a recording, and where, if that was not said in it."""

    # Below recordings/; "*" stands for any letters, as in "ann-*.m4a".
    name: Annotated[str, Field(min_length=1, max_length=400)]
    observer: str = Field(default="", max_length=60)
    station: Annotated[str, BeforeValidator(_as_text)] = ""


class KnownHiveTable(TomlTable):
    """[[known_hive]]: a hive that is not looked for; its bees are left out."""

    name: Key
    position: Place
    marks: tuple[Mark, ...] = ()


class ColonyTable(TomlTable):
    """[[colony]]: marks that the person says belong to one colony."""

    id: Key
    marks: tuple[Mark, ...] = Field(min_length=1)


class CalibrationTable(TomlTable):
    """[calibration]: trips between a station and a hive of known place."""

    station: Key
    hive: Place
    marks: tuple[Mark, ...] = ()  # empty: every mark seen at that station


class ModelTable(TomlTable):
    """[model]: overrides of what the survey assumes; each is a 90 % range."""

    flight_speed_out_m_per_s: SpeedPair | None = None
    flight_speed_home_m_per_s: SpeedPair | None = None
    in_hive_s: StayPair | None = None
    compass_sd_deg: float | None = Field(default=None, ge=0, le=45)
    prior_distance_median_m: float | None = Field(default=None, gt=10, le=10_000)
    prior_distance_sigma: float | None = Field(default=None, gt=0.05, le=3)
    # As far as the survey looks.
    prior_distance_max_m: float | None = Field(default=None, ge=50, le=15_000)

    @field_validator(
        "flight_speed_out_m_per_s", "flight_speed_home_m_per_s", "in_hive_s"
    )
    @classmethod
    def _low_before_high(cls, value: Pair | None) -> Pair | None:
        if value is not None and value[0] >= value[1]:
            msg = f"[{value[0]:g}, {value[1]:g}] must be low, then high"
            raise ValueError(msg)
        return value


class SpeechTable(TomlTable):
    """[speech]: how notes are heard in this hunt."""

    # Rows of less confidence are flagged.
    flag_below: float = Field(default=DOUBT_BELOW, ge=0, le=1)
    model: str | None = None  # name or folder of another speech model
    free: bool = False  # also read notes out of the words between the fixed notes
    keep_talk: bool = True  # results/talk.vtt: what was said between the notes


class WalkTable(TomlTable):
    """[walk]: where the next station may be."""

    # Where None, as the survey has it.
    limit_m: float | None = Field(default=None, gt=0, le=20_000)
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


Cover = Literal["leaf", "bare", "wall", "open"]
# Metres a nest is seen across the way walked, both sides together (the sweep width of
# Koopman 1980), by eye. Guesses; [search] sweep_width_m says otherwise.
SWEEP_WIDTH_M: Mapping[Cover, float] = {
    "leaf": 15.0,  # trees with leaves; guess
    "bare": 25.0,  # bare winter trees; guess
    "wall": 8.0,  # along a wall or a hedge bank; guess
    "open": 35.0,  # single trees in the open; guess
}
BINOCULARS = 1.4  # times as wide; guess


class SearchTable(TomlTable):
    """[search]: how ground is looked over, and what it is like."""

    cover: Cover = "leaf"
    binoculars: bool = False
    sweep_width_m: Mapping[Cover, Annotated[float, Field(gt=0.5, le=500)]] = Field(
        default_factory=dict
    )
    look_m_per_h: float = Field(default=900.0, gt=10, le=10_000)  # guess
    walk_m_per_h: float = Field(default=2500.0, gt=100, le=10_000)  # guess
    path_m_per_h: float = Field(default=4300.0, gt=100, le=10_000)  # common practice
    start: Place | None = None  # where one stands; None: where one was last
    tracks: tuple[Key, ...] = ()  # GPX files of which the whole was spent looking
    ground: tuple[Key, ...] = ()  # GeoJSON or GPX of ground with weights
    weights: Mapping[str, Annotated[float, Field(ge=0, le=1000)]] = Field(
        default_factory=dict
    )
    tree_weight: float = Field(default=10.0, ge=0, le=1000)  # of single trees; guess
    paths: tuple[Key, ...] = ()  # GeoJSON or GPX of paths

    @field_validator("tracks", "ground", "paths", mode="before")
    @classmethod
    def _one_or_several(cls, value: object) -> object:
        return [value] if isinstance(value, str) else value

    def width_m(self, cover: Cover | None = None) -> float:
        """Return the sweep width in such ground; of the hunt's where None."""
        cover = cover or self.cover
        known = self.sweep_width_m.get(cover)
        usual = SWEEP_WIDTH_M[cover] * (BINOCULARS if self.binoculars else 1.0)
        return usual if known is None else known


class SearchedTable(TomlTable):
    """[[searched]]: a place or an area that was looked over, typed by hand."""

    at: Place | None = None
    radius_m: float = Field(default=15.0, gt=0, le=500)
    area: tuple[Place, ...] = ()
    share: float = Field(default=0.6, gt=0, lt=1)  # of nests one would have seen; guess
    note: str = Field(default="", max_length=200)

    @model_validator(mode="after")
    def _one_place(self) -> SearchedTable:
        if (self.at is None) == (not self.area):
            msg = "give it either at, a position, or area, three corners or more"
            raise ValueError(msg)
        if self.area and len(self.area) < 3:
            msg = "an area that was searched needs three corners or more"
            raise ValueError(msg)
        return self


OSM_TILES = "https://tile.openstreetmap.org/{z}/{x}/{y}.png"
OSM_CREDIT = "© OpenStreetMap contributors"


class MapTable(TomlTable):
    """[map]: one's own ground under the map, and the pictures of `--online-map`."""

    tiles: str = OSM_TILES
    credit: str = ""
    # Files of the hunt's folder, drawn under the answer in this order.
    ground: tuple[Annotated[str, Field(min_length=1, max_length=300)], ...] = Field(
        default=(), max_length=20
    )
    ground_crs: str = Field(default="", max_length=4000)  # of pictures: "EPSG:27700"
    ground_credit: str = Field(default="", max_length=60)  # whose map it is

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
