"""result.json: everything, in metres, seconds and degrees true."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from treeward.report.advice_wording import missing_text
from treeward.report.bundles import circular_mean_deg, true_bearing_deg
from treeward.report.finds import check_dict
from treeward.report.settings_in_force import settings_dict
from treeward.trips.wording import doubt_texts

from .found_json import bee_values, fix_values, number, place_alone, told_dict

if TYPE_CHECKING:
    from datetime import datetime

    from treeward.report.model import DayResult, HuntResult, StationPlace
    from treeward.trips.table import FlightLine, Trip, Visit

SCHEMA = 1


def result_text(result: HuntResult) -> str:
    """Return result.json."""
    return json.dumps(result_dict(result), indent=1, allow_nan=False) + "\n"


def result_dict(result: HuntResult) -> dict[str, Any]:
    """Return the result as plain values that `json` writes without NaN.

    Keys are stable within a schema number. Units stand in the names; positions are
    WGS84 degrees, rings are lists of [longitude, latitude], closed, the outer one
    anticlockwise; clocks are ISO 8601 with offset.
    """
    table = result.table
    return {
        "schema": SCHEMA,
        "hunt": _hunt(result),
        "stations": [_station(result, place) for place in result.stations],
        "trips": [_trip(result, trip) for trip in table.trips],
        "visits": [_visit(result, visit) for visit in table.visits],
        "flight_lines": [_line(result, line) for line in table.lines],
        "winds": [
            {
                "clock": _clock(wind.clock),
                "strength": wind.strength,
                "from_deg": number(wind.from_deg, 1),
                "reference": wind.reference or result.hunt_file.hunt.compass,
                "row": wind.row,
            }
            for wind in table.winds
        ],
        **fix_values(result),
        "search": told_dict(result.search),
        "settings": settings_dict(result),
        **_own(result),
        "days": [_day(result, day) for day in result.days],
        "recordings": [
            {"name": name, "day": day, "day_from": told}
            for name, (day, told) in result.recording_days.items()
        ],
        "missing": [
            missing_text(one, result.hunt_file.hunt.zone) for one in result.missing
        ],
        "missing_kinds": [
            {"kind": one.kind.value, "stations": list(one.stations)}
            for one in result.missing
        ],
        "doubts": list(doubt_texts(table.doubts)),
        "left_to_look_at": {
            "notes": result.left.notes,
            "rows": list(result.left.rows),
            "lines_without_note": result.left.lines,
        },
        "to_look_at": [
            {
                "about": lot.about.value,
                "notes": lot.notes,
                "rows": list(lot.rows),
                "believed": lot.believed,
                "moves_m": number(lot.moves_m, 1),
                "weighed_singly": lot.singly,
                "answer_lost": lot.lost,
            }
            for lot in result.doubtful
        ],
    }


def _clock(clock: datetime | None) -> str | None:
    return None if clock is None else clock.isoformat(timespec="milliseconds")


def _hunt(result: HuntResult) -> dict[str, Any]:
    hunt = result.hunt_file.hunt
    return {
        "name": hunt.name,
        "timezone": hunt.timezone,
        "units": hunt.units,
        "compass": hunt.compass,
        "altitude_m": number(hunt.altitude_m, 1),
        "created": _clock(result.created),
        "software": f"treeward {result.software_version}",
    }


def _station(result: HuntResult, place: StationPlace) -> dict[str, Any]:
    bearings = [
        bearing
        for line in result.table.lines
        if line.station == place.id and line.used
        if (bearing := true_bearing_deg(result, line)) is not None
    ]
    return {
        "id": place.id,
        "name": place.name,
        "cargo": place.cargo,
        "latitude_deg": number(place.latitude_deg, 7),
        "longitude_deg": number(place.longitude_deg, 7),
        "placed_by": place.placed_by,
        "declination_deg": number(place.declination_deg, 3),
        "bearings_used": len(bearings),
        "mean_bearing_true_deg": number(circular_mean_deg(bearings), 2),
    }


def _where(result: HuntResult, row: str) -> dict[str, Any] | None:
    note = result.rows.get(row)
    if note is None:
        return {"row": row, "recording": None, "start_s": None} if row else None
    return {
        "row": row,
        "recording": note.recording or None,
        "start_s": number(note.start_s, 3),
    }


def _trip(result: HuntResult, trip: Trip) -> dict[str, Any]:
    return {
        "mark": trip.mark,
        "bee": trip.bee,
        "station": trip.station,
        "away_clock": _clock(trip.away_clock),
        "back_clock": _clock(trip.back_clock),
        "away_s": number(trip.away_s, 2),
        "timing": trip.timing,
        "stated": trip.stated,
        "rounding_s": number(trip.rounding_s, 2),
        "cycles": trip.cycles,
        "used": trip.used,
        "doubts": list(doubt_texts(trip.doubts)),
        "away_note": _where(result, trip.away_row),
        "back_note": _where(result, trip.back_row),
    }


def _visit(result: HuntResult, visit: Visit) -> dict[str, Any]:
    return {
        "mark": visit.mark,
        "station": visit.station,
        "back_clock": _clock(visit.back_clock),
        "away_clock": _clock(visit.away_clock),
        "visit_s": number(visit.visit_s, 2),
        "used": visit.used,
        "doubts": list(doubt_texts(visit.doubts)),
        "back_note": _where(result, visit.back_row),
        "away_note": _where(result, visit.away_row),
    }


def _line(result: HuntResult, line: FlightLine) -> dict[str, Any]:
    return {
        "mark": line.mark,
        "bee": line.bee,
        "station": line.station,
        "clock": _clock(line.clock),
        "bearing_read_deg": number(line.bearing_read_deg, 2),
        "bearing_true_deg": number(true_bearing_deg(result, line), 2),
        "rounding_deg": number(line.rounding_deg, 2),
        "reference": line.reference or result.hunt_file.hunt.compass,
        "used": line.used,
        "doubts": list(doubt_texts(line.doubts)),
        "note": _where(result, line.row),
    }


def _day(result: HuntResult, day: DayResult) -> dict[str, Any]:
    return {
        "day": day.day.isoformat(),
        "stations": [
            {
                "station": one.station,
                "bees": list(one.bees),
                "trips": one.trips,
                "trips_used": one.trips_used,
                "bearings_used": one.bearings_used,
                "median_away_s": number(one.median_away_s, 2),
                "mean_bearing_read_deg": number(one.mean_bearing_read_deg, 2),
            }
            for one in day.stations
        ],
        "bees": [bee_values(bee) for bee in day.bees],
        "colonies": [
            place_alone(result, one.colony)
            | {
                "agrees": one.holds_percent is not None,
                "smallest_area_with_common_place_percent": one.holds_percent,
                "from_common_place_m": number(one.off_m, 1),
                "from_common_place_bearing_true_deg": number(
                    one.off_bearing_true_deg, 1
                ),
            }
            for one in day.colonies
        ],
    }


def _own(result: HuntResult) -> dict[str, Any]:
    """Return what own finds say, where they were asked for."""
    own: dict[str, Any] = {}
    if (used := result.own_prior) is not None:
        own["own_prior"] = {
            "file": used.file,
            "finds": used.hunts,
            "turned_deg": {name: round(by, 2) for name, by in used.turned_deg},
        }
    if result.finds:
        own["finds"] = [check_dict(check) for check in result.finds]
    return own
