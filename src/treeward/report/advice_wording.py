"""Kinds and numbers as sentences: what was found, is advised, and was lacking.

The cautions that the tool carries: README, report and first run of listen.

In general words, deferring to local law and licensed practice; not medical advice.
Numbers: bee, wasp and hornet stings killed 788 people in the USA in 2011-2021, 72 a
year (CDC, MMWR 2023;72:756).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from treeward.survey.records import AdviceKind, AreaShape, HandRuleKind, SeatReason
from treeward.units import ACRE_M2, HECTARE_M2, YARD_M

from .model import MissingKind

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime, tzinfo

    from treeward.survey.records import Advice, ClassicalFix, Colony, NextStation
    from treeward.units import UnitSystem

    from .model import GpxSearch, Missing


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
