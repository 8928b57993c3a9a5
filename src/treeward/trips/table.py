"""What trips hands to survey and report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from datetime import datetime

    from treeward.language.bearings import Reference

    from .doubts import Doubt


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """back -> away: a bee's time at the station, loading."""

    mark: str
    station: str
    back_clock: datetime
    away_clock: datetime
    visit_s: float
    used: bool
    doubts: tuple[Doubt, ...] = ()
    back_row: str = ""
    away_row: str = ""
    bee: str = ""  # as in Trip


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """away -> back: out, unloading in the hive, and the flight back.

    `timing` is "away" (departure to return) or "round" (landing to landing,
    which holds the loading time too); "stated" durations come from words.
    `cycles` is how many trips the gap probably holds (2 when a return and a
    departure were missed). `rounding_s` is the width of the interval the time was
    rounded to (0 for a timed one; a minute where the recorder was stopped
    meanwhile). `station` is where it was seen; `bee` tells apart two bees of the same
    colour: it is the mark, or "yellow (2)", and where a colour was used again on
    another day, "yellow 14 Jul", at another station "yellow at 2", or by another
    observer "yellow of Ann".

    A "round" trip is timed between two landings, or between two departures where the
    landing was not noted; `from_clock` and `to_clock` are the ends of the timed
    stretch in every case, `away_row` and `back_row` the rows that say them.
    """

    mark: str
    bee: str
    station: str
    away_clock: datetime | None
    back_clock: datetime | None
    away_s: float
    timing: Literal["away", "round"] = "away"
    stated: bool = False
    rounding_s: float = 0.0
    cycles: int = 1
    used: bool = True
    doubts: tuple[Doubt, ...] = ()
    away_row: str = ""
    back_row: str = ""
    from_clock: datetime | None = None  # None for a stated trip
    to_clock: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightLine:
    """One vanishing bearing, as read off the compass at a station."""

    mark: str  # "" where no bee was named
    bee: str
    station: str
    clock: datetime | None
    bearing_read_deg: float  # clockwise, as it was said
    rounding_deg: float  # 1, 5, 22.5 (sixteen winds) or 45 (eight winds)
    used: bool
    doubts: tuple[Doubt, ...] = ()
    row: str = ""
    reference: Reference = ""  # the north it was read against; "": hunt.toml's compass
    observer: str = ""  # who read it off which compass; "" where hunt.toml names nobody


@dataclass(frozen=True, slots=True, kw_only=True)
class Wind:
    """What was said of the wind, from then on."""

    clock: datetime | None
    strength: str
    from_deg: float | None  # where it blows from, as it was said
    row: str = ""
    reference: Reference = ""  # as of a FlightLine
    station: str = ""  # where it was said; "" where that is not known


@dataclass(frozen=True, slots=True, kw_only=True)
class Unpaired:
    """A note that is in no visit, trip or flight line, and why."""

    kind: str
    mark: str
    value: str
    clock: datetime | None
    why: Doubt
    row: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AssumedStation:
    """A recording in which no station was said, and the one that was taken for it.

    `station` is "" where nothing tells it; `clocks` are those of its notes.
    """

    recording: str
    station: str
    notes: int
    clocks: tuple[datetime, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TripTable:
    """Everything paired from the events of a hunt.

    Every "back", "away", "bearing", "duration" and "missed" note is in `visits`,
    `trips` or `lines`, or stands in `unpaired` with the reason; and so do notes of
    the other kinds that could not be used.

    `maybe_same` holds pairs of bees of one colour at two stations that may be one bee;
    `assumed` the recordings whose station nobody said.
    """

    visits: tuple[Visit, ...]
    trips: tuple[Trip, ...]
    lines: tuple[FlightLine, ...]
    winds: tuple[Wind, ...]
    doubts: tuple[Doubt, ...] = ()  # about the whole
    unpaired: tuple[Unpaired, ...] = ()
    maybe_same: tuple[tuple[str, str], ...] = ()
    assumed: tuple[AssumedStation, ...] = ()
