"""Kinds and numbers as sentences: what was found, is advised, and was lacking.

The cautions that the tool carries: README, report and first run of listen.

In general words, deferring to local law and licensed practice; not medical advice.
Numbers: bee, wasp and hornet stings killed 788 people in the USA in 2011-2021, 72 a
year (CDC, MMWR 2023;72:756).

What the survey took for granted in this hunt, and where each figure is from.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from treeward.measures import ACRE_M2, HECTARE_M2, YARD_M
from treeward.survey import timing
from treeward.survey.records import (
    AdviceKind,
    AreaShape,
    HandRuleKind,
    SeatReason,
    Settings,
)

from .model import MissingKind

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime, tzinfo

    from treeward.measures import Units, UnitSystem
    from treeward.survey.records import Advice, Cargo, ClassicalFix, Colony, NextStation

    from .model import GpxSearch, HuntResult, Missing


# Said wherever a place to go to is named: nothing here knows what lies there.
LOOK_FIRST = (
    "It may be anybody's land, water or a cliff: look first, and ask before you enter."
)

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Stings can kill",
        (
            "If you have ever reacted badly to a sting, do not do this alone, and "
            "carry what your doctor told you to carry. Swelling of face or tongue, "
            "trouble with breathing, dizziness or collapse: call the emergency number "
            "at once. Treeward gives no medical advice."
        ),
    ),
    (
        "Ask first",
        "Get the landowner's permission before you enter or place a station.",
    ),
    (
        "It may be somebody's",
        (
            "A line may end at a beekeeper's hive, and wild colonies, trees and places "
            "may be protected. Finding a colony gives no right to open, move, take or "
            "harm it; removal belongs to qualified people under local law. Do not "
            "publish its place without consent."
        ),
    ),
    ("Stay on the ground", "Do not climb or cut to reach a nest."),
    (
        "Leave nothing sweet",
        "No open syrup left behind: it spreads bee disease and starts robbing.",
    ),
)


# What a published rule says, and where it stands.
HAND_RULES: Mapping[HandRuleKind, tuple[str, str]] = {
    HandRuleKind.VISSCHER_SEELEY: (
        "5 min 0.9 km, 10 min 1.4 km, 15 min 1.7 km",
        "Visscher and Seeley 1989, Am. Bee J. 129:536-541",
    ),
    HandRuleKind.SEELEY: (
        "2-3 min 100 m, 6-7 min 1 km",
        "Seeley 2019, The Lives of Bees, p. 29",
    ),
    HandRuleKind.KEPHART: (
        "a mile in five minutes, two minutes in the hive",
        "Kephart, Camping and Woodcraft, p. 360",
    ),
    HandRuleKind.FIFTEEN_MPH: (
        "15 mph, two and a half minutes in the hive",
        "common practice",
    ),
}
# What is meant by a reason, where it stands in a sentence of its own.
REASONS_MEANT: Mapping[SeatReason, str] = {
    SeatReason.CROSS_LINE: (
        "from there the bees fly across the line you have, and the colony is near "
        "where the two lines cross"
    ),
}
REASONS: Mapping[SeatReason, str] = {
    SeatReason.CROSS_LINE: "a cross line",
    SeatReason.LOOKING_BACK: "beyond it, looking back",
    SeatReason.NEARER: "down the line, nearer",
    SeatReason.ANOTHER_LINE: "another line",
    SeatReason.SECOND_DISTANCE: "a second distance",
}
# Shapes; several patches are counted.
SHAPES: Mapping[AreaShape, str] = {
    AreaShape.NOTHING_MEASURED: "nothing measured yet: the prior alone",
    AreaShape.PATCH: "a patch",
    AreaShape.RING: "a ring",
    AreaShape.DISC: "a disc about the station",
    AreaShape.PART_OF_RING: "part of a ring",
    AreaShape.LONG_STRIP: "a long strip",
    AreaShape.WEDGE: "a wedge: direction without distance",
}
# What is advised, with places for what each kind has.
ADVICE: Mapping[AdviceKind, str] = {
    AdviceKind.SIT_NEXT: "sit next {seat}",
    AdviceKind.STOP_LINING: (
        "stop lining and look up trees: the 90 % area is {area}, and another station "
        "would cost more time than it would save in searching"
    ),
    AdviceKind.NO_SEAT: (
        "no new place to sit within the walk limit and outside the areas left out: "
        "allow a longer walk"
    ),
    AdviceKind.NO_TIMES: (
        "no times: mark two or three bees and time them from away to back, so that "
        "the line gets a length"
    ),
    AdviceKind.NO_BEARINGS: (
        "no bearings: read the compass on marked bees as they leave, so that the ring "
        "becomes a patch"
    ),
    AdviceKind.FEW_BEARINGS: (
        "{count} bearings only: read {wanted} or more, on bees that leave, after the "
        "first circling flights"
    ),
    AdviceKind.FEW_TRIPS: (
        "{count} trips only: a few more would show how long bees stay in the hive"
    ),
    AdviceKind.ONE_STATION: (
        "one station only: speed and in-hive time of this hunt cannot be told from "
        "distance; a second station can"
    ),
    AdviceKind.MAYBE_BEYOND: (
        "the colony may lie beyond {km:g} km, where the search stops; check the times, "
        "or raise distance_cut_m"
    ),
    AdviceKind.LEFT_OUT: "left out as bees of a known hive: {listed}",
    AdviceKind.MAYBE_TWO_COLONIES: (
        "{both} may fly from two colonies (they share one with {share:.0%}): more "
        "bearings and times of both would tell"
    ),
    AdviceKind.CALIBRATED: (
        "calibration changed the 90 % interval of distance from {before} to {now} wide"
    ),
}
MOST_NAMED = 8  # waypoints in a sentence; choice
_COUNTS = ("no", "one", "two", "three", "four", "five", "six")


def number_word(number: int) -> str:
    """Write a small number in words."""
    return _COUNTS[number] if number < len(_COUNTS) else str(number)


def shape_text(colony: Colony) -> str:
    """Say what a colony's 90 % area looks like."""
    if colony.shape is AreaShape.PATCHES:
        return f"{number_word(len(colony.search_areas[90].polygons))} patches"
    return SHAPES[colony.shape]


def check_text(fix: ClassicalFix) -> str:
    """Say what a textbook point rests on."""
    taken = fix.spread_taken_deg
    spread = "" if taken is None else f", spread taken as {taken:g} degrees"
    return (
        f"{fix.bearings} bearings{spread}; {fix.crossings} pairs cross ahead of both "
        "stations"
    )


def seat_text(seat: NextStation, units: UnitSystem) -> str:
    """Say in one line where a next station is, why there, and what it should bring."""
    return (
        f"{_walk(seat.walk_m, units)} on {round(seat.walk_bearing_true_deg) % 360:03d} "
        f"true: {REASONS[seat.why]}; expected area "
        f"{_area(seat.area_90_m2, units)} -> {_area(seat.expected_area_90_m2, units)}"
    )


def advice_text(advice: Advice, units: UnitSystem) -> str:
    """Say one piece of the survey's advice, with its colony where it names one."""
    said = ADVICE[advice.kind].format(
        seat=seat_text(advice.seat, units) if advice.seat else "",
        area=_area(advice.area_m2, units),
        count=advice.count,
        wanted=advice.wanted,
        km=advice.distance_m / 1000,
        listed=", ".join(advice.marks),
        both=" and ".join(advice.marks),
        share=advice.probability,
        before=_walk(advice.from_m, units),
        now=_walk(advice.to_m, units),
    )
    return f"colony {advice.colony}: {said}" if advice.colony else said


def missing_text(one: Missing, zone: tzinfo) -> str:
    """Say what was lacking, and how to mend it."""
    if one.gpx is not None:
        return _gpx_text(one.stations[0], one.gpx, zone)
    if one.kind is MissingKind.UNKNOWN_STATION:
        return (
            f"The notes name station {', '.join(one.stations)}, which hunt.toml does "
            f'not have: add [[station]] id = "{one.stations[0]}" there, or correct the '
            "notes."
        )
    return (
        f"Station {one.stations[0]} has no position: write it into hunt.toml, or put "
        "your phone's GPX file beside it, with a waypoint of that name or the track of "
        "that day."
    )


def _gpx_text(station: str, search: GpxSearch, zone: tzinfo) -> str:
    """Say why the GPX files do not give a station's position."""

    def stretch(first: datetime, last: datetime) -> str:
        first, last = first.astimezone(zone), last.astimezone(zone)
        same = first.date() == last.date()
        return (
            f"{first.day} {first:%b %H:%M} to "
            f"{f'{last:%H:%M}' if same else f'{last.day} {last:%b %H:%M}'}"
        )

    held = [
        f"the track in {name} is of {stretch(*ends)}" for name, *ends in search.tracks
    ]
    there = search.waypoints
    shown = ", ".join(repr(name) for name in there[:MOST_NAMED])
    more = f" and {len(there) - MOST_NAMED} more" if len(there) > MOST_NAMED else ""
    return (
        f"Station {station} is not to be found in {', '.join(search.files)}: no "
        f"waypoint is called {' or '.join(repr(name) for name in search.names)}"
        f"{f' (there are {shown}{more})' if there else ''}"
        + (f", its notes are of {stretch(*search.noted)}" if search.noted else "")
        + f"{', and ' if held else ''}{'; '.join(held)}."
    )


def _area(square_metres: float, units: UnitSystem) -> str:
    """Write an area in hectares or acres, with two significant digits."""
    if units == "imperial":
        return f"{_two_digits(square_metres / ACRE_M2)} acres"
    return f"{_two_digits(square_metres / HECTARE_M2)} ha"


def _walk(metres: float, units: UnitSystem) -> str:
    """Write a walk in metres or yards, to the ten."""
    if units == "imperial":
        return f"{round(metres / YARD_M, -1):.0f} yd"
    return f"{round(metres, -1):.0f} m"


def _two_digits(value: float) -> str:
    if value <= 0 or value >= 10:
        return f"{value:.0f}"
    digits = 1 - math.floor(math.log10(value))
    return f"{value:.{digits}f}".rstrip("0").rstrip(".")


HUNT_TOML = "hunt.toml"
OWN_FINDS = "own found hunts (learned_from in hunt.toml)"
_WENNER = "Wenner 1963, J. Apic. Res. 2:25-32"
_GUESS = "guess"
# Field of survey.Settings -> its name on the page, and where its default is from.
SOURCES: Mapping[str, tuple[str, str]] = {
    "flight_speed_out_mps": ("flight speed, from the hive to the station", _WENNER),
    "flight_speed_home_mps": ("flight speed home, with a load", _WENNER),
    "flight_speed_factor": (
        "share of these speeds that bees of a hunt fly at, median",
        "means of several publications run from 0.85 to 1.1 of Wenner's",
    ),
    "flight_speed_factor_sd": (
        "spread of its logarithm",
        "means of several publications run from 0.85 to 1.1 of Wenner's",
    ),
    "flight_speed_out_sd": ("spread of the log speed from the hive", _GUESS),
    "flight_speed_home_sd": ("spread of the log speed home", _GUESS),
    "in_hive_factor": (
        "share of these times that a hunt's bees stay, median",
        "guess within what the published rules imply",
    ),
    "in_hive_factor_sd": (
        "spread of its logarithm",
        "guess within what the published rules imply",
    ),
    "compass_sd_deg": ("offset of a compass and its reader, spread", _GUESS),
    "station_sd_deg": ("deviation of a station's line, spread", _GUESS),
    "station_tail_share": ("share of stations whose line deviates a lot", _GUESS),
    "station_tail_sd_deg": ("deviation of those, spread", _GUESS),
    "bee_line_sd_deg": ("deviation of a bee's line, spread", _GUESS),
    "circling_m": ("width of departing circles and of a GPS position", _GUESS),
    "wind_compensation": ("share of the wind that bees make up for", _GUESS),
    "wind_compensation_sd": ("spread of that share, hunt to hunt", _GUESS),
    "bearing_sd_deg": (
        "spread of single bearings, median",
        "common practice: 5 to 10 degrees by hand",
    ),
    "distance_median_m": (
        "distance of colonies, median",
        "BEEBOOK 4.2.4.2 (Human et al. 2013): usually less than a kilometre",
    ),
    "distance_sigma": (
        "spread of its logarithm",
        "Visscher and Seeley 1982, Ecology 63:1790",
    ),
    "distance_cut_m": (
        "distance at which the search stops",
        "Visscher and Seeley 1982, Ecology 63:1790: 95 % of foraging",
    ),
    "walk_limit_m": ("longest walk to the next station", "choice"),
}
_IN_HIVE_SOURCES: Mapping[Cargo, str] = {
    "water": "guess between 73 and 198 s, which the published rules imply",
    "syrup": "common practice: unloading takes 2 to 3 minutes",
    "nectar": "116 s of unloading (Seeley 1994) and the way to the dance floor",
}


def settings_rows(result: HuntResult) -> list[tuple[str, str, str]]:
    """Return the name of every figure in force, it with its unit, and its source."""
    rows = [
        (
            _of_one_way(result.settings, field) or name,
            _text(field, value, result.units),
            source_of(result, field),
        )
        for field, (name, _) in SOURCES.items()
        if (value := _in_force(result.settings, field)) is not None
    ]
    rows += [
        (f"time in the hive with {cargo}, median", f"{seconds:.0f} s", source)
        for cargo, (seconds, source) in _in_hive(result).items()
    ]
    said = speeds_given(result.settings)
    if (own := result.settings.learned) is not None:
        rows += [
            (
                f"{name}, as own hunts had it",
                f"{math.exp(middle):.3g}, sd of its logarithm {spread:.2g}",
                OWN_FINDS,
            )
            for name, middle, spread, given in (
                ("share of these speeds", own.ln_f, own.ln_f_sd, any(said)),
                (
                    "share of these times in the hive",
                    own.ln_g,
                    own.ln_g_sd,
                    bool(result.settings.in_hive_s),
                ),
            )
            if not given  # what the person says stands before it
        ]
    return rows


def settings_dict(result: HuntResult) -> dict[str, Any]:
    """Return the same for result.json: name -> value and source."""
    found = {
        field: {"value": _rounded(value), "source": source_of(result, field)}
        for field in SOURCES
        if (value := _in_force(result.settings, field)) is not None
    }
    found["in_hive_s"] = {
        cargo: {"value": _rounded(seconds), "source": source}
        for cargo, (seconds, source) in _in_hive(result).items()
    }
    if (own := result.settings.learned) is not None:
        found["own_factors"] = {
            name: _rounded(value) for name, value in asdict(own).items()
        } | {"source": OWN_FINDS}
    return found


def speeds_given(settings: Settings) -> tuple[bool, bool]:
    """Tell of the flight out and the flight home whether the person gave its speed."""
    return (
        settings.flight_speed_out_sd is not None,
        settings.flight_speed_home_sd is not None,
    )


def _in_force(settings: Settings, field: str) -> float | None:
    """Return a figure; None where it is not given, or the survey does not go by it."""
    shared = field in {"flight_speed_factor", "flight_speed_factor_sd"}
    if shared and all(speeds_given(settings)):  # each way has its own (timing)
        return None
    value: float | None = getattr(settings, field, None)
    return value


def _of_one_way(settings: Settings, field: str) -> str:
    """Return the name of the share of speed where one way alone goes by it."""
    out, home = speeds_given(settings)
    if field != "flight_speed_factor" or out == home:
        return ""
    way = "home" if out else "from the hive"
    return f"share of the speed {way} that bees of a hunt fly at, median"


def source_of(result: HuntResult, field: str) -> str:
    """Say where a setting in force is from: hunt.toml where it is no default."""
    given = field == "walk_limit_m" and result.hunt_file.walk.limit_m is not None
    changed = getattr(result.settings, field) != getattr(Settings(), field)
    by_hand = result.hunt_file.model.compass_sd_deg is not None
    if field == "compass_sd_deg" and changed and result.own_prior and not by_hand:
        return OWN_FINDS
    return HUNT_TOML if given or changed else SOURCES[field][1]


def _in_hive(result: HuntResult) -> dict[str, tuple[float, str]]:
    """Return the in-hive time by cargo of the stations, and its source."""
    settings = result.settings
    cargos = dict.fromkeys(place.cargo for place in result.stations)
    return {
        cargo: (
            # What the factor multiplies; with an override the median itself.
            timing.in_hive_median_s(cargo, settings),
            HUNT_TOML if cargo in settings.in_hive_s else _IN_HIVE_SOURCES[cargo],
        )
        for cargo in cargos
    }


def _text(field: str, value: float, units: Units) -> str:
    if field.endswith("_mps"):
        metric = f"{value:.2f} m/s, " if units.system == "metric" else ""
        return f"{metric}{units.speed(value)}"
    if field.endswith("_deg"):
        return f"{value:.3g}°"
    if field.endswith("_m"):
        return units.distance(value)
    return f"{value:.3g}"


def _rounded(value: float) -> float:
    return round(float(value), 4)
