"""result.json: everything, in metres, seconds and degrees true.

What the survey found, and what is told of looking for the tree, as plain values.
"""

from __future__ import annotations

import json
import math
from datetime import date, datetime
from enum import Enum
from typing import TYPE_CHECKING, Any

from treeward.report.advice_wording import (
    HAND_RULES,
    advice_text,
    check_text,
    missing_text,
    seat_text,
    settings_dict,
    shape_text,
)
from treeward.report.flight_lines import (
    circular_mean_deg,
    to_compass_deg,
    true_bearing_deg,
)
from treeward.report.wording import days_disagree
from treeward.survey.records import AdviceKind
from treeward.trips.wording import doubt_texts

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray

    from treeward.report.looking import ColonyYear
    from treeward.report.model import (
        DayResult,
        FindCheck,
        HuntResult,
        SearchTold,
        StationPlace,
    )
    from treeward.survey.records import (
        Advice,
        BeeDistance,
        ClassicalFix,
        Colony,
        HandRule,
        NextStation,
        SearchArea,
        Searched,
        Strip,
    )
    from treeward.trips.table import FlightLine, Trip, Visit, WindSaid


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
            _values(wind, "clock strength from_deg:1")
            | {"reference": _north(result, wind), "row": wind.row}
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
        "missing_kinds": [_values(one, "kind stations") for one in result.missing],
        "doubts": list(doubt_texts(table.doubts)),
        "left_to_look_at": {
            "notes": result.left.notes,
            "rows": list(result.left.rows),
            "lines_without_note": result.left.lines,
        },
        "to_look_at": [
            _values(lot, "about notes rows believed moves_m:1")
            | {"weighed_singly": lot.singly, "answer_lost": lot.lost}
            for lot in result.doubtful
        ],
    }


def _values(record: object, fields: str) -> dict[str, Any]:
    """Return fields of a record under their own names; "name:2" is rounded to 2 digits.

    A clock or a day becomes ISO 8601, a kind its value, several values a list.
    """
    return {
        name: number(value, int(digits)) if digits else _plain(value)
        for name, _, digits in (field.partition(":") for field in fields.split())
        for value in [getattr(record, name)]
    }


def _plain(value: object) -> object:
    match value:
        case datetime():
            return value.isoformat(timespec="milliseconds")
        case date():
            return value.isoformat()
        case Enum():
            return value.value
        case tuple():
            return list(value)
        case _:
            return value


def _hunt(result: HuntResult) -> dict[str, Any]:
    return {
        **_values(result.hunt_file.hunt, "name timezone units compass altitude_m:1"),
        **_values(result, "created"),
        "software": f"treeward {result.software_version}",
    }


def _north(result: HuntResult, read: FlightLine | WindSaid) -> str:
    return read.reference or result.hunt_file.hunt.compass


def _station(result: HuntResult, place: StationPlace) -> dict[str, Any]:
    bearings = [
        bearing
        for line in result.table.lines
        if line.station == place.id and line.used
        if (bearing := true_bearing_deg(result, line)) is not None
    ]
    return {
        **_values(place, "id name cargo latitude_deg:7 longitude_deg:7 placed_by"),
        **_values(place, "declination_deg:3"),
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
        **_values(trip, "mark bee station away_clock back_clock away_s:2 timing"),
        **_values(trip, "stated rounding_s:2 cycles used"),
        "doubts": list(doubt_texts(trip.doubts)),
        "away_note": _where(result, trip.away_row),
        "back_note": _where(result, trip.back_row),
    }


def _visit(result: HuntResult, visit: Visit) -> dict[str, Any]:
    return {
        **_values(visit, "mark station back_clock away_clock visit_s:2 used"),
        "doubts": list(doubt_texts(visit.doubts)),
        "back_note": _where(result, visit.back_row),
        "away_note": _where(result, visit.away_row),
    }


def _line(result: HuntResult, line: FlightLine) -> dict[str, Any]:
    return {
        **_values(line, "mark bee station clock bearing_read_deg:2"),
        "bearing_true_deg": number(true_bearing_deg(result, line), 2),
        **_values(line, "rounding_deg:2"),
        "reference": _north(result, line),
        "used": line.used,
        "doubts": list(doubt_texts(line.doubts)),
        "note": _where(result, line.row),
    }


def _day(result: HuntResult, day: DayResult) -> dict[str, Any]:
    found = "median_away_s:2 mean_bearing_read_deg:2"
    return {
        "day": day.day.isoformat(),
        "stations": [
            _values(one, f"station bees trips trips_used bearings_used {found}")
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


def check_dict(check: FindCheck) -> dict[str, Any]:
    """Return how forecast and find compare."""
    said = {} if not check.coarse_text else {"roughly": check.coarse_text}
    return {
        **_values(check, "find found colony off_m:1"),
        "inside_percent": check.holds_percent,
        **_values(check, "area_90_m2:1"),
        "stations": [
            {
                **_values(one, "station true_m:1"),
                "forecast_low90_m": number(one.low90_m, 1),
                "forecast_median_m": number(one.median_m, 1),
                "forecast_high90_m": number(one.high90_m, 1),
                "hand_rules": [
                    _values(rule, "name source bees said_m:1 low_m:1 high_m:1")
                    for rule in one.rules
                ],
            }
            for one in check.stations
        ],
        **said,
    }


def occupancy_dict(colony: ColonyYear) -> dict[str, Any]:
    """Return a known colony of the list."""
    return {
        **_values(colony, "name place found nest entrance state seen"),
        "looked_at_this_year": colony.looked,
        "history": [
            {"seen": day.isoformat(), "state": state} for day, state in colony.history
        ],
    }


def told_dict(told: SearchTold | None) -> dict[str, Any] | None:
    """Return what the hunt knows of it: goes at looking, and what was not used."""
    if told is None:
        return None
    how = told.searching
    return {
        "walked_m": round(told.walked_m, 1),
        "spent_s": round(told.spent_s),
        "sweep_width_m": round(how.sweep_width_m, 2),
        "look_m_per_s": round(how.look_mps, 4),
        "walk_m_per_s": round(how.walk_mps, 4),
        "path_m_per_s": round(how.path_mps, 4),
        "bouts": [
            {
                "kind": bout.kind.value,
                "row": bout.row or None,
                "name": bout.name or None,
                **_values(bout, "since clock walked_m:1"),
                "spent_s": round(bout.spent_s),
            }
            for bout in told.bouts
        ],
        "not_used": [
            _values(doubt, "kind where count metres:1 words") for doubt in told.doubts
        ],
    }


_SITTING = ("minutes", "walk_s", "set_up_s", "search_s", "after_s", "saved_s")


def searched_dict(looked: Searched | None) -> dict[str, Any] | None:
    """Return what looking has told of a colony, and what looking on would take."""
    if looked is None:
        return None
    sitting = looked.sitting
    return {
        "found_by_now": round(looked.found_by_now, 4),
        "found_if_half_as_far": round(looked.found_if_half, 4),
        "still_inside": round(looked.still_inside, 4),
        "area_before_ha": round(looked.before_area.area_m2 / 1e4, 4),
        "ground_used": looked.ground_used,
        "mean_s": round(looked.mean_s),
        "plan_s": round(looked.plan_s),
        "plan_finds": round(looked.plan_finds, 4),
        "plan_finds_if_half_as_far": round(looked.plan_finds_if_half, 4),
        "sitting": {name: round(getattr(sitting, name)) for name in _SITTING}
        if sitting
        else None,
    }


def fix_values(result: HuntResult) -> dict[str, Any]:
    """Return what the survey found as plain values: bees, colonies, advice."""
    fix = result.fix
    return {
        "bees": [bee_values(bee) for bee in result.bees],
        "colonies": [_colony(result, colony) for colony in result.colonies],
        "next_station": _next(result, fix.next_station) if fix else None,
        "search_plan": _search_plan(fix.search_plan) if fix else [],
        "learned": {
            name: {"median": number(median, 4), "sd": number(sd, 4)}
            for name, (median, sd) in (fix.learned if fix else {}).items()
        },
        "same_colony": [
            {"marks": list(marks), "probability": number(probability, 4)}
            for marks, probability in (fix.same_colony if fix else {}).items()
        ],
        **_advice(result, standing_advice(result)),
    }


def standing_advice(result: HuntResult) -> list[Advice]:
    """Return the advice; to stop lining is none where the days disagree."""
    apart = {one.id for one in result.colonies if days_disagree(result, one)}
    return [
        one
        for one in (result.fix.advice if result.fix else ())
        if one.kind is not AdviceKind.STOP_LINING
        or not apart
        or (one.colony and one.colony not in apart)
    ]


def _advice(result: HuntResult, advice: Iterable[Advice]) -> dict[str, Any]:
    """Return advice in words, and its kinds with their numbers beside."""
    units = result.hunt_file.hunt.units
    told = list(advice)
    return {
        "advice": [advice_text(one, units) for one in told],
        "advice_kinds": [_advice_kind(one) for one in told],
    }


def _advice_kind(one: Advice) -> dict[str, Any]:
    """Return what a piece of advice has; the next station stands beside its colony."""
    sizes = _values(one, "count wanted probability:4")
    sizes |= {"area_ha": number(one.area_m2 / 10_000, 4)}
    sizes |= _values(one, "distance_m:1 from_m:1 to_m:1 marks colony")
    told = {key: value for key, value in sizes.items() if value}
    return {"kind": one.kind.value, **told}


def number(value: float | None, digits: int) -> float | None:
    """Return a rounded plain float; None for None, NaN or infinity."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits)


def ring_list(ring: NDArray[np.float64]) -> list[list[float]]:
    """Return a ring as [[longitude, latitude], ...], 1 cm fine, closed."""
    points = [[round(float(lon), 7), round(float(lat), 7)] for lon, lat in ring]
    if points and points[0] != points[-1]:
        points.append(points[0])
    return points


def hand_rule_range(rules: Iterable[HandRule]) -> dict[str, float | None] | None:
    """Return the nearest and the farthest of the published rules, or None."""
    distances = [rule.distance_m for rule in rules if math.isfinite(rule.distance_m)]
    if not distances:
        return None
    return {"low": number(min(distances), 1), "high": number(max(distances), 1)}


def bee_values(bee: BeeDistance) -> dict[str, Any]:
    """Return one bee's distance from one station, with the published rules."""
    return {
        "mark": bee.bee,
        **_values(bee, "station trips_used shortest_away_s:2"),
        "distance_m": {
            name: number(getattr(bee, f"{name}_m"), 1)
            for name in ("median", "low50", "high50", "low90", "high90")
        },
        "hand_rule_m": hand_rule_range(bee.hand_rules),
        "hand_rules": [
            {
                "rule": rule.kind.value,
                "name": HAND_RULES[rule.kind][0],
                "source": HAND_RULES[rule.kind][1],
                "distance_m": number(rule.distance_m, 1),
            }
            for rule in bee.hand_rules
        ],
    }


def _area(area: SearchArea) -> dict[str, Any]:
    return {
        "probability": number(area.probability, 4),
        "area_ha": number(area.area_m2 / 10_000, 4),
        "polygons": [ring_list(polygon.outer) for polygon in area.polygons],
        "holes": [
            [ring_list(hole) for hole in polygon.holes] for polygon in area.polygons
        ],
    }


def _colony(result: HuntResult, colony: Colony) -> dict[str, Any]:
    return {
        **_values(colony, "id marks"),
        "best": _values(colony, "latitude_deg:7 longitude_deg:7"),
        "words": shape_text(colony),
        "shape": colony.shape.value,
        "distance_m": {
            station: {
                "low90": number(low, 1),
                "median": number(median, 1),
                "high90": number(high, 1),
            }
            for station, (low, median, high) in colony.distance_m.items()
        },
        "search_area": {
            str(percent): _area(area)
            for percent, area in sorted(colony.search_areas.items())
        },
        "classical": [_classical(fix) for fix in colony.classical],
        "next_station": _next(result, colony.next_station),
        "search_plan": _search_plan(colony.search_plan),
        "searched": searched_dict(colony.searched),
        **_advice(
            result,
            (
                one
                for one in colony.advice
                if one.kind is not AdviceKind.STOP_LINING
                or not days_disagree(result, colony)
            ),
        ),
    }


def _classical(fix: ClassicalFix) -> dict[str, Any]:
    return {
        **_values(fix, "method latitude_deg:7 longitude_deg:7"),
        "ellipse_95": ring_list(fix.ellipse_95) if fix.ellipse_95.size else [],
        "area_95_ha": number(fix.area_95_m2 / 10_000, 4),
        "note": check_text(fix),
        **_values(fix, "bearings crossings spread_taken_deg:2"),
    }


def place_alone(result: HuntResult, colony: Colony) -> dict[str, Any]:
    """Return what one day alone says of a colony, without what to do next."""
    keys = ("id", "marks", "best", "words", "shape", "distance_m", "search_area")
    whole = _colony(result, colony)
    return {key: whole[key] for key in keys}


def _next(result: HuntResult, place: NextStation | None) -> dict[str, Any] | None:
    if place is None:
        return None
    read_deg = to_compass_deg(
        result, place.walk_bearing_true_deg, result.station(place.from_station)
    )
    return {
        **_values(place, "latitude_deg:7 longitude_deg:7 from_station walk_m:1"),
        **_values(place, "walk_bearing_true_deg:2"),
        "walk_bearing_compass_deg": number(read_deg, 2),
        "area_90_ha": number(place.area_90_m2 / 10_000, 4),
        "expected_area_90_ha": number(place.expected_area_90_m2 / 10_000, 4),
        "minutes": number(place.minutes, 0),
        "why": seat_text(place, result.hunt_file.hunt.units),
        "why_kind": place.why.value,
    }


def _degrees(latitude: float, longitude: float) -> dict[str, float | None]:
    return {"latitude_deg": number(latitude, 7), "longitude_deg": number(longitude, 7)}


def _search_plan(strips: Iterable[Strip]) -> list[dict[str, Any]]:
    return [
        {
            "start": _degrees(strip.start_latitude_deg, strip.start_longitude_deg),
            "end": _degrees(strip.end_latitude_deg, strip.end_longitude_deg),
            "probability": number(strip.probability, 5),
            "way": [[number(lon, 7), number(lat, 7)] for lon, lat in strip.way],
            "done_s": number(strip.done_s, 0),
        }
        for strip in strips
    ]
