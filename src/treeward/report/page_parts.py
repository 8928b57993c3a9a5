"""What the page's tables say of a record, beside what the record says itself."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING
from urllib.parse import quote

from treeward.measures import Position, Units, bearing_text, format_position, utm_text
from treeward.report.days import day_text
from treeward.report.flight_lines import both_text
from treeward.report.wording import PLACED_BY, for_colony, seats, whereabouts
from treeward.trips.wording import doubt_texts

if TYPE_CHECKING:
    from datetime import datetime, tzinfo

    from treeward.report.model import DayStation, HuntResult, NoteRow
    from treeward.survey.records import Colony, HandRule
    from treeward.trips.table import Trip


def clock_text(clock: datetime | None, zone: tzinfo) -> str:
    """Write a time of day to the second; "" where there is none."""
    return "" if clock is None else f"{clock.astimezone(zone):%H:%M:%S}"


def day_of(clock: datetime | None, zone: tzinfo) -> str:
    """Write the day of a clock; "" where there is none."""
    return "" if clock is None else day_text(clock.astimezone(zone).date())


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


def trip_remarks(trip: Trip) -> tuple[str, ...]:
    """Return how a trip was timed, where that is not the usual way, and its doubts."""
    remarks = []
    if trip.timing == "round":
        remarks.append("timed with the loading")
    if trip.stated:
        remarks.append("said in words")
    return (*remarks, *doubt_texts(trip.doubts))


def places(result: HuntResult) -> list[dict[str, str]]:
    """Return stations, best places and next stations, to be typed into a phone."""
    lines = [
        _place(
            f"Station {s.id}",
            ", ".join(filter(None, (s.name, s.cargo, PLACED_BY.get(s.placed_by, "")))),
            s.latitude_deg,
            s.longitude_deg,
        )
        for s in result.stations
    ]
    for colony in result.fix.colonies if result.fix else ():
        name = f"Best place{for_colony(result, colony)}"
        note = f"bees: {', '.join(colony.marks)}" if colony.marks else ""
        where = colony.best_latitude_deg, colony.best_longitude_deg
        lines.append(_place(name, note, *where))
    units = Units(result.hunt_file.hunt.units)
    for colony, nxt in seats(result):
        walk = (
            f"{units.distance(nxt.walk_m)} from station {nxt.from_station} on "
            + both_text(
                result, nxt.walk_bearing_true_deg, result.station(nxt.from_station)
            )
        )
        where = nxt.latitude_deg, nxt.longitude_deg
        lines.append(_place(f"Next station{for_colony(result, colony)}", walk, *where))
    return lines


def _place(
    name: str, note: str, latitude_deg: float, longitude_deg: float
) -> dict[str, str]:
    where = Position(latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    try:
        grid = utm_text(where)
    except ValueError:
        grid = ""
    return {"name": name, "note": note, "degrees": format_position(where), "utm": grid}


def rules_text(rules: tuple[HandRule, ...], units: Units) -> str:
    """Write what the published rules say of a bee as one range."""
    distances = [rule.distance_m for rule in rules]
    if not distances:
        return ""
    if len(distances) == 1:
        return units.distance(distances[0])
    return units.distance_range(min(distances), max(distances))


def mean_text(one: DayStation) -> str:
    """Write the mean bearing of a day at a station, if that means anything."""
    if one.mean_bearing_read_deg is not None:
        return bearing_text(one.mean_bearing_read_deg)
    return "scattered" if one.bearings_used else "\u2013"


def together(result: HuntResult) -> list[tuple[Colony, str]]:
    """Return where all days together put each colony."""
    return [
        (colony, whereabouts(result, colony).removeprefix("probably "))
        for colony in (result.fix.colonies if result.fix else ())
        if result.days and result.stations
    ]
