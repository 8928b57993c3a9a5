"""What the page's tables show, as plain text, before any markup.

What the page's section on single days shows, as plain text.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

from treeward.measures import (
    Position,
    Units,
    bearing_text,
    duration_text,
    format_position,
    utm_text,
)
from treeward.report.days import agreement_text, day_text, off_text, place_rows
from treeward.report.figures.map_layers import dash_of, drawn_days
from treeward.report.figures.style import paint_hex, split_mark
from treeward.report.flight_lines import (
    both_text,
    read_text,
    timed_ends,
    true_bearing_deg,
)
from treeward.report.wording import PLACED_BY, for_colony, seats, whereabouts
from treeward.trips.wording import doubt_texts

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from treeward.report.model import DayStation, HuntResult, NoteRow
    from treeward.survey.records import BeeDistance, HandRule
    from treeward.trips.table import Trip


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteLink:
    """A way from a number back to the row and the second it came from."""

    row: str
    anchor: str  # "" where the row is not among the notes
    second: str  # "3:05", or ""
    has_clip: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Chip:
    """A bee's name with its paint."""

    name: str
    first: str
    second: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TripLine:
    """A row of the table of trips."""

    day: str
    bee: Chip
    station: str
    left: str
    returned: str
    away: str
    used: bool
    doubts: tuple[str, ...]
    notes: tuple[NoteLink, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BearingLine:
    """A row of the table of bearings."""

    day: str
    bee: Chip
    station: str
    clock: str
    read: str
    true: str
    used: bool
    doubts: tuple[str, ...]
    notes: tuple[NoteLink, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BeeLine:
    """A row of the table of distances."""

    bee: Chip
    station: str
    trips: int
    shortest: str
    median: str
    half: str
    ninety: str
    rules: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteEntry:
    """A row of the list of notes."""

    anchor: str
    row: str
    clock: str
    said: str
    heard: str
    confidence: str
    flag: str
    decision: str
    where: str
    href: str
    clip: str  # a data address, or ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceLine:
    """A place with its positions, ready to be typed into a phone."""

    kind: str
    name: str
    note: str
    degrees: str
    utm: str


def chip(name: str) -> Chip:
    """Return a bee's name with the hexadecimal colours of its paint."""
    first, second = split_mark(name)
    return Chip(
        name=name or "no bee named", first=paint_hex(first), second=paint_hex(second)
    )


def second_text(seconds: float) -> str:
    """Write a place in a recording: "3:05" or "1:03:05"."""
    whole = int(seconds)
    hours, rest = divmod(whole, 3600)
    tail = f"{rest % 60:02d}"
    if hours:
        return f"{hours}:{rest // 60:02d}:{tail}"
    return f"{rest // 60}:{tail}"


def anchors(result: HuntResult) -> dict[str, str]:
    """Return for each row the name of its place in the page."""
    return {row: f"note-{number}" for number, row in enumerate(result.rows, start=1)}


def clip_address(sound: bytes) -> str:
    """Return a sound clip as a data address, its kind told from its first bytes."""
    kinds = (
        (b"OggS", "audio/ogg"),
        (b"RIFF", "audio/wav"),
        (b"fLaC", "audio/flac"),
        (b"ID3", "audio/mpeg"),
        (b"\xff", "audio/mpeg"),
    )
    kind = next((k for start, k in kinds if sound.startswith(start)), "audio/mpeg")
    return f"data:{kind};base64,{base64.b64encode(sound).decode('ascii')}"


def sound_href(result: HuntResult, note: NoteRow) -> str:
    """Return the way to the second of the recording (W3C Media Fragments 1.0)."""
    if not note.recording:
        return ""
    path = result.recordings_from_results + quote(note.recording)
    return path if note.start_s is None else f"{path}#t={max(note.start_s, 0):.1f}"


class Lines:
    """Makes the table rows of one result."""

    def __init__(self, result: HuntResult, clips: Mapping[str, bytes]) -> None:
        self._result, self._clips = result, clips
        self._anchors = anchors(result)
        self._units = Units(result.hunt_file.hunt.units)

    def _clock(self, clock: datetime | None, *, missing: str = "") -> str:
        if clock is None:
            return missing
        return f"{clock.astimezone(self._result.hunt_file.hunt.zone):%H:%M:%S}"

    def _day(self, *clocks: datetime | None) -> str:
        known = next((clock for clock in clocks if clock is not None), None)
        if known is None:
            return ""
        return day_text(known.astimezone(self._result.hunt_file.hunt.zone).date())

    def _links(self, *rows: str) -> tuple[NoteLink, ...]:
        links = []
        for row in dict.fromkeys(rows):
            if not row:
                continue
            note = self._result.rows.get(row)
            known = note is not None and note.start_s is not None
            links.append(
                NoteLink(
                    row=row,
                    anchor=self._anchors.get(row, ""),
                    second=second_text(note.start_s or 0.0) if known and note else "",
                    has_clip=row in self._clips,
                )
            )
        return tuple(links)

    def trips(self) -> list[TripLine]:
        """Return every trip, in the order of the table."""
        return [
            TripLine(
                day=self._day(*timed_ends(trip)),
                bee=chip(trip.bee),
                station=trip.station,
                left=self._clock(timed_ends(trip)[0], missing="\u2013"),
                returned=self._clock(timed_ends(trip)[1], missing="\u2013"),
                away=duration_text(trip.away_s),
                used=trip.used,
                doubts=_timing_remarks(trip) + doubt_texts(trip.doubts),
                notes=self._links(trip.away_row, trip.back_row),
            )
            for trip in self._result.table.trips
        ]

    def bearings(self) -> list[BearingLine]:
        """Return every bearing."""
        lines = []
        for line in self._result.table.lines:
            true = true_bearing_deg(self._result, line)
            lines.append(
                BearingLine(
                    day=self._day(line.clock),
                    bee=chip(line.bee or line.mark),
                    station=line.station,
                    clock=self._clock(line.clock, missing="\u2013"),
                    read=read_text(line),
                    true="\u2013" if true is None else bearing_text(true),
                    used=line.used,
                    doubts=doubt_texts(line.doubts),
                    notes=self._links(line.row),
                )
            )
        return lines

    def bees(self) -> list[BeeLine]:
        """Return every bee's distance from every station."""
        fix = self._result.fix
        return [self._bee(bee) for bee in (fix.bees if fix else ())]

    def _bee(self, bee: BeeDistance) -> BeeLine:
        units = self._units
        return BeeLine(
            bee=chip(bee.bee),
            station=bee.station,
            trips=bee.trips_used,
            shortest=duration_text(bee.shortest_away_s),
            median=units.distance(bee.median_m),
            half=units.distance_range(bee.low50_m, bee.high50_m),
            ninety=units.distance_range(bee.low90_m, bee.high90_m),
            rules=rules_text(bee.hand_rules, units),
        )

    def notes(self) -> list[NoteEntry]:
        """Return every note, with the way to its sound."""
        lines = []
        for row, note in self._result.rows.items():
            second = "" if note.start_s is None else second_text(note.start_s)
            sound = self._clips.get(row)
            lines.append(
                NoteEntry(
                    anchor=self._anchors[row],
                    row=row,
                    clock=self._clock(note.clock),
                    said=note.said,
                    heard=note.heard,
                    confidence=(
                        "" if note.confidence is None else f"{note.confidence:.0%}"
                    ),
                    flag=note.flag,
                    decision=note.decision,
                    where=" at ".join(filter(None, (note.recording, second))),
                    href=sound_href(self._result, note),
                    clip=clip_address(sound) if sound else "",
                )
            )
        return lines

    def places(self) -> list[PlaceLine]:
        """Return stations, best places and next station with their positions."""
        result = self._result
        lines = [
            _place(
                "station",
                f"Station {s.id}",
                ", ".join(
                    filter(None, (s.name, s.cargo, PLACED_BY.get(s.placed_by, "")))
                ),
                s.latitude_deg,
                s.longitude_deg,
            )
            for s in result.stations
        ]
        if result.fix is None:
            return lines
        for colony in result.fix.colonies:
            name = f"Best place{for_colony(result, colony)}"
            note = f"bees: {', '.join(colony.marks)}" if colony.marks else ""
            where = colony.best_latitude_deg, colony.best_longitude_deg
            lines.append(_place("best", name, note, *where))
        for colony, nxt in seats(result):
            walk = (
                f"{self._units.distance(nxt.walk_m)} from station {nxt.from_station} "
                "on "
                + both_text(
                    result, nxt.walk_bearing_true_deg, result.station(nxt.from_station)
                )
            )
            where = nxt.latitude_deg, nxt.longitude_deg
            name = f"Next station{for_colony(result, colony)}"
            lines.append(_place("next", name, walk, *where))
        return lines


def _timing_remarks(trip: Trip) -> tuple[str, ...]:
    remarks = []
    if trip.timing == "round":
        remarks.append("timed with the loading")
    if trip.stated:
        remarks.append("said in words")
    return tuple(remarks)


def _place(
    kind: str, name: str, note: str, latitude_deg: float, longitude_deg: float
) -> PlaceLine:
    where = Position(latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    try:
        grid = utm_text(where)
    except ValueError:
        grid = ""
    return PlaceLine(
        kind=kind, name=name, note=note, degrees=format_position(where), utm=grid
    )


def rules_text(rules: tuple[HandRule, ...], units: Units) -> str:
    """Write what the published rules say of a bee as one range."""
    distances = [rule.distance_m for rule in rules]
    if not distances:
        return ""
    if len(distances) == 1:
        return units.distance(distances[0])
    return units.distance_range(min(distances), max(distances))


_NONE = "\u2013"


@dataclass(frozen=True, slots=True, kw_only=True)
class DayLine:
    """What a day brought at a station."""

    day: str
    station: str
    bees: int
    trips: str
    away: str
    bearings: int
    mean: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPlace:
    """Where a day, or all days together, put a colony."""

    day: str
    colony: str
    where: str
    area: str
    off: str
    agrees: bool
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MapDay:
    """A day outlined on the map; `dash` as SVG's stroke-dasharray."""

    text: str
    dash: str


def day_lines(result: HuntResult) -> list[DayLine]:
    """Return a line for each day and station."""
    lines = []
    for day in result.days:
        for one in day.stations:
            away = one.median_away_s
            lines.append(
                DayLine(
                    day=day_text(day.day),
                    station=one.station,
                    bees=len(one.bees),
                    trips=f"{one.trips_used} of {one.trips}",
                    away=_NONE if away is None else duration_text(away),
                    bearings=one.bearings_used,
                    mean=_mean_text(one),
                )
            )
    return lines


def _mean_text(one: DayStation) -> str:
    if one.mean_bearing_read_deg is not None:
        return bearing_text(one.mean_bearing_read_deg)
    return "scattered" if one.bearings_used else _NONE


def day_places(result: HuntResult) -> list[DayPlace]:
    """Return a line for each day and colony."""
    units = Units(result.hunt_file.hunt.units)
    return [
        DayPlace(
            day=day_text(day.day),
            colony=one.colony.id,
            where=where,
            area=units.area(one.colony.search_areas[90].area_m2),
            off=off_text(result, one),
            agrees=one.holds_percent is not None,
            verdict=agreement_text(one),
        )
        for day, one, where in place_rows(result)
    ]


def together(result: HuntResult) -> list[DayPlace]:
    """Return a line for each colony from all days."""
    units = Units(result.hunt_file.hunt.units)
    return [
        DayPlace(
            day="",
            colony=colony.id,
            where=whereabouts(result, colony).removeprefix("probably "),
            area=units.area(colony.search_areas[90].area_m2),
            off=_NONE,
            agrees=True,
            verdict="",
        )
        for colony in (result.fix.colonies if result.fix else ())
        if result.days and result.stations
    ]


def map_days(result: HuntResult) -> list[MapDay]:
    """Return the days that the map outlines."""
    return [
        MapDay(text=day_text(day), dash=" ".join(f"{d:g}" for d in dash_of(number)))
        for number, day in enumerate(drawn_days(result))
    ]
