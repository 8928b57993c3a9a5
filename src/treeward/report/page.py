"""report.html: one page that carries everything and asks the network for nothing."""

from __future__ import annotations

import base64
import hashlib
import math
from datetime import date
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from treeward.measures import (
    Units,
    bearing_text,
    clock_face,
    duration_text,
)
from treeward.notes.clock import DAY_FROM
from treeward.report.advice_wording import (
    CAUTIONS,
    HAND_RULES,
    check_text,
    settings_rows,
    speeds_given,
)
from treeward.report.figures import mark_colours
from treeward.report.figures.map_layers import (
    GROUND_COLOUR,
    GROUND_NAME,
    dash_of,
    drawn_days,
    ground_sorts,
)
from treeward.report.flight_lines import (
    bundles_by_bee,
    on_text,
    read_text,
    true_bearing_deg,
)
from treeward.report.looking import (
    find_sentences,
    looked_sentences,
    nest_habits,
    own_prior_sentence,
    search_doubt_sentences,
    search_sentences,
    strip_lines,
)
from treeward.report.wording import (
    PLACED_BY,
    advice_sentences,
    agreement_sentences,
    agreement_text,
    area_sizes,
    basis_sentence,
    colony_sentences,
    compass_sentence,
    day_text,
    disagreements,
    doubt_sentences,
    enough_sentences,
    for_colony,
    headline,
    missing_sentences,
    next_of,
    next_sentences,
    off_text,
    place_rows,
    place_texts,
    seats,
    sentence,
    walk_text,
    whereabouts,
)
from treeward.survey.frame import way_between
from treeward.trips.table import timed_ends, undated
from treeward.trips.wording import doubt_texts

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime, tzinfo

    from treeward.report.looking import ColonyYear
    from treeward.report.model import DayStation, HuntResult, NoteRow
    from treeward.survey.frame import Placed
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
            s,
        )
        for s in result.stations
    ]
    for colony in result.colonies:
        name = f"Best place{for_colony(result, colony)}"
        note = f"bees: {', '.join(colony.marks)}" if colony.marks else ""
        lines.append(_place(name, note, colony))
    for colony, seat in seats(result):
        name = f"Next station{for_colony(result, colony)}"
        lines.append(_place(name, walk_text(result, seat), seat))
    return lines


def _place(name: str, note: str, where: Placed) -> dict[str, str]:
    degrees, grid = place_texts(where)
    return {"name": name, "note": note, "degrees": degrees, "utm": grid}


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
        for colony in result.colonies
        if result.days and result.stations
    ]


_FOLDER = files("treeward.report") / "templates"
# What templates call to write a record's values, by its own name.
_WORDS = (
    *(agreement_text, bearing_text, clip_address, clock_face, clock_text, day_of),
    *(day_text, doubt_texts, duration_text, mark_colours, mean_text, off_text),
    *(read_text, rules_text, sound_href, timed_ends, trip_remarks, true_bearing_deg),
)


def read_template(name: str) -> str:
    """Return one of the files that pages are made of."""
    return (_FOLDER / name).read_text("utf-8")


@cache
def environment() -> Environment:
    """Return what pages are filled in with, text escaped and nothing undefined."""
    made = Environment(
        loader=FunctionLoader(read_template),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {function.__name__: function for function in _WORDS}
    return made


def occupancy_page(colonies: Sequence[ColonyYear], year: int) -> str:
    """Return a page to print, one colony a row, with room for this year's look."""
    page = environment().get_template("colonies.html.j2")
    return page.render(colonies=colonies, year=year)


def script_rule(script: str) -> str:
    """Return the content rule that lets this one script run and no other."""
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def _rule_sources(result: HuntResult) -> list[str]:
    rules = {
        f"{source}: rule of thumb, {name}."
        for bee in result.bees
        for name, source in (HAND_RULES[rule.kind] for rule in bee.hand_rules)
    }
    return sorted(rules)


# The textbook estimators of `survey.classical`, in plain words, with their source.
_ESTIMATORS = {
    "Lenth MLE": (
        "where all bearings most likely meet",
        "maximum likelihood; Lenth 1981, Technometrics 23, 149 to 154, section 2",
    ),
    "Huber": (
        "the same, but a bearing that fits badly counts less",
        "Huber's M-estimate; Lenth 1981, section 3",
    ),
    "Andrews": (
        "the same, but a bearing that is far off counts for nothing",
        "Andrews' M-estimate; Lenth 1981, section 3",
    ),
}


def _cross_checks(result: HuntResult) -> list[dict[str, str]]:
    units = result.units
    return [
        {
            "colony": colony.id,
            "name": _ESTIMATORS[fix.method][0],
            "source": _ESTIMATORS[fix.method][1],
            "off": f"{units.distance(off)} {on_text(result, azimuth, colony)}",
            "area": units.area(fix.area_95_m2) if fix.area_95_m2 > 0 else "\u2013",
            "note": check_text(fix),
        }
        for colony in result.colonies
        for fix in colony.classical
        for off, azimuth in [way_between(colony, fix)]
    ]


_LEARNED_NAMES = {
    "trip_spread": "spread of a bee's own trips, as a share of the time in the hive",
    "compass_offset_deg": "offset of the compass, degrees",
    "bearing_sd_deg": "spread of single bearings, degrees",
    "station_line_sd_deg": "deviation of a station's line, spread, degrees",
}


def _learned(result: HuntResult) -> list[dict[str, str]]:
    speeds, stay = speeds_given(result.settings), result.settings.in_hive_s
    given, own = "the published one", "that in hunt.toml"
    speed = own if all(speeds) else f"{given} and {own}" if any(speeds) else given
    names = _LEARNED_NAMES | {
        "flight_speed_factor": f"flight speed, as a share of {speed}",
        "in_hive_factor": f"time in the hive, as a share of {own if stay else given}",
    }
    return [
        {
            "name": names.get(name, name.replace("_", " ")),
            "value": _rounded(median, sd),
        }
        for name, (median, sd) in (result.fix.learned if result.fix else {}).items()
    ]


def _rounded(median: float, sd: float) -> str:
    """Return a value no finer than its spread, which has two digits."""
    digits = max(0, 1 - math.floor(math.log10(sd))) if sd > 0 else 2
    return f"{median:.{digits}f} ± {sd:.{digits}f}"


def page_text(
    result: HuntResult,
    *,
    drawings: Mapping[str, str],
    clips: Mapping[str, bytes] | None = None,
) -> str:
    """Return report.html.

    Drawings are SVG elements by name: "map", "timeline", "away", "distance"; those that
    have nothing to show are absent. Clips are sound by row of review.csv, each a whole
    file.
    """
    script = read_template("map.js") + read_template("report.js")
    zone = result.hunt_file.hunt.zone
    return (
        environment()
        .get_template("report.html.j2")
        .render(
            name=result.hunt_file.hunt.name,
            style=Markup(read_template("report.css")),  # noqa: S704  (our own file)
            script=Markup(script),  # noqa: S704  (our own file)
            script_rule=script_rule(script),
            drawings={
                name: Markup(svg)  # noqa: S704  (drawn by matplotlib, text as paths)
                for name, svg in drawings.items()
            },
            cautions=CAUTIONS,
            version=result.software_version,
            created=f"{result.created.astimezone(zone):%Y-%m-%d %H:%M}",
            timezone=result.hunt_file.hunt.timezone,
            **_answer(result),
            **_tables(result, clips or {}),
            **_days(result),
            **_search(result),
            **_basis(result),
            **map_key(result),
        )
    )


def _answer(result: HuntResult) -> dict[str, Any]:
    """Return what the head of the page says: the answer, and what it lacks."""
    return {
        "headline": headline(result),
        "answers": [
            colony_sentences(result, colony)
            + (next_of(result, colony) if result.several else [])
            for colony in result.colonies
        ],
        "missing": [sentence(text) for text in missing_sentences(result)],
        "next_words": next_sentences(result),
        "advice": [*advice_sentences(result), *enough_sentences(result)],
        "basis": " ".join(
            filter(None, (basis_sentence(result), own_prior_sentence(result)))
        ),
        "finds": find_sentences(result),
        "to_look_at": doubt_sentences(result),
        "several_colonies": result.several,
    }


def _tables(result: HuntResult, clips: Mapping[str, bytes]) -> dict[str, Any]:
    """Return what the tables are made of: the records, and what goes with them."""
    return {
        "result": result,
        "zone": result.hunt_file.hunt.zone,
        "units": result.units,
        "clips": clips,
        "anchors": {row: f"note-{n}" for n, row in enumerate(result.rows, start=1)},
        "places": places(result),
        "bees": result.bees,
    }


def _days(result: HuntResult) -> dict[str, Any]:
    """Return what single days brought, and where each date is from."""
    return {
        "recording_days": _recording_days(result),
        "day_places": list(place_rows(result)),
        "together": together(result),
        "agreement": agreement_sentences(result),
        "disagreements": disagreements(result),
        "undated": _undated(result),
        "several_days": len(result.days) > 1,
    }


def _search(result: HuntResult) -> dict[str, Any]:
    """Return what is said of looking for the tree."""
    return {
        "searches": [
            {
                "colony": colony.id,
                "said": search_sentences(result, colony),
                "strips": strip_lines(result, colony),
            }
            for colony in result.colonies
        ],
        "looked_at": looked_sentences(result),
        "search_doubts": search_doubt_sentences(result),
        "nest_habits": nest_habits(result),
    }


def _basis(result: HuntResult) -> dict[str, Any]:
    """Return what the answer goes by: doubts, settings, rules and what was learned."""
    return {
        "compass": compass_sentence(result),
        "compass_name": result.hunt_file.hunt.compass,
        "doubts": [sentence(text) for text in doubt_texts(result.table.doubts)],
        "with_rounds": any(
            trip.used and trip.timing == "round" for trip in result.table.trips
        ),
        "checks": _cross_checks(result),
        "learned": _learned(result),
        "settings": settings_rows(result),
        "rule_sources": _rule_sources(result),
    }


def map_key(result: HuntResult) -> dict[str, Any]:
    """Return what the key under the map is filled in with."""
    return {
        "located": bool(result.colonies),
        "seats": seats(result),
        "areas": [{"percent": p, "sizes": s} for p, s in area_sizes(result).items()],
        "line_bees": list(dict.fromkeys(one.name for one in bundles_by_bee(result))),
        "map_days": [
            (day_text(day), " ".join(f"{d:g}" for d in dash_of(number)))
            for number, day in enumerate(drawn_days(result))
        ],
        "tracks": bool(result.tracks),
        "strips": any(colony.search_plan for colony in result.colonies),
        "looked": result.search is not None and result.search.searching.looked,
        "ground": [
            {
                "sort": sort,
                "name": GROUND_NAME[sort],
                "colour": GROUND_COLOUR[sort],
                "filled": filled,
            }
            for sort, filled in ground_sorts(result.ground)
        ],
    }


def _recording_days(result: HuntResult) -> list[str]:
    """Say of each recording which day it is of, and what tells that."""
    return [
        f"{name}: {day_text(date.fromisoformat(day))}, {DAY_FROM.get(told, told)}"
        for name, (day, told) in sorted(result.recording_days.items())
    ]


def _undated(result: HuntResult) -> str:
    count = undated(result.table)
    return f"{count} trip{'s' * (count != 1)}" if count else ""
