"""Looking for the tree, in sentences: what was looked at, what is left, what next.

Forecast against find: how far off the answer was, and inside which area.
The year of known colonies as a list: found, alive in spring, dead, moved in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from treeward.measures import Position, format_position
from treeward.survey.frame import geodesic, inside_ring

from .flight_lines import on_text
from .model import SearchDoubtKind
from .wording import for_colony, listing

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from treeward.measures import Units
    from treeward.survey.records import Colony, SearchArea, Searched

    from .model import (
        FindCheck,
        HuntResult,
        RuleCheck,
        SearchDoubt,
        SearchTold,
        StationCheck,
    )


NEAR_M = 150.0  # of the tree: from here on one looks rather than sits; guess


def hours_text(seconds: float) -> str:
    """Write a length of time as people plan by: "40 min", "2 h 10", "15 h".

    Examples
    --------
    >>> hours_text(2400), hours_text(7800), hours_text(55000)
    ('40 min', '2 h 10', '15 h')
    """
    minutes = seconds / 60
    if minutes < 57.5:
        return f"{max(5, 5 * round(minutes / 5))} min"
    if minutes >= 600:
        return f"{round(minutes / 60)} h"
    hours, rest = divmod(5 * round(minutes / 5), 60)
    return f"{hours} h {rest:02d}" if rest else f"{hours} h"


def search_sentences(result: HuntResult, colony: Colony) -> list[str]:
    """Say what was looked at, what is left, and whether to sit or to look on."""
    looked = colony.searched
    if looked is None:
        return []
    told = result.search
    which = for_colony(result, colony).removeprefix(", ")
    of, to = (f" of {which}", f" for {which}") if which else ("", "")
    said = []
    if told is not None and told.searching.looked:
        said += _so_far(result, looked, of)
    if told is not None and told.searching.weighs and not looked.ground_used:
        said.append(
            "The weights of the ground leave nothing of the area, so they were not "
            "used: look at the weights under [search] in hunt.toml."
        )
    if looked.plan_s:
        said.append(
            f"The walk that is laid out{to} takes {hours_text(looked.plan_s)} and "
            f"finds the tree with {percent(looked.plan_finds)} "
            f"({percent(looked.plan_finds_if_half)} if you see half as far); on "
            f"average looking takes {hours_text(looked.mean_s)}."
        )
    if said and told is not None:
        said.append(_how_far_seen(result, told))
    said += _sit_or_look(looked)
    if near_tree(result, colony):
        said += CLOSING_IN
    return said


def strip_lines(result: HuntResult, colony: Colony) -> list[dict[str, str]]:
    """Return the strips of a colony's walk for the page, in order.

    `by` is the time since the walk began, at a strip's end, and `found` the chance
    that the tree is found by then.
    """
    lines, found = [], 0.0
    for number, strip in enumerate(colony.search_plan, start=1):
        found += strip.probability
        length, azimuth = geodesic(
            strip.start_latitude_deg,
            strip.start_longitude_deg,
            strip.end_latitude_deg,
            strip.end_longitude_deg,
        )
        start = Position(
            latitude_deg=strip.start_latitude_deg,
            longitude_deg=strip.start_longitude_deg,
        )
        lines.append(
            {
                "number": str(number),
                "start": format_position(start),
                "length": f"{result.units.distance(length)} "
                + on_text(result, azimuth, start),
                "by": "" if strip.done_s is None else hours_text(strip.done_s),
                "found": percent(found),
            }
        )
    return lines


def percent(share: float) -> str:
    """Write a chance: never sure, never none."""
    if share < 0.01:
        return "less than 1 %"
    return "more than 99 %" if share > 0.99 else f"{share:.0%}".replace("%", " %")


def _so_far(result: HuntResult, looked: Searched, of: str) -> list[str]:
    told = result.search
    units = result.units
    spent = f" in {hours_text(told.spent_s)}" if told and told.spent_s else ""
    walked = (
        f" ({units.distance(told.walked_m)} walked while looking)"
        if told and told.walked_m
        else ""
    )
    share, less = percent(looked.found_by_now), percent(looked.found_if_half)
    area, inside = looked.before_area.area_m2, percent(looked.still_inside)
    before = f"the {units.area(area)} that were shaded before"
    return [
        f"You have looked at {share} of the chance{of}{spent}{walked}: not there.",
        f"It is {less} if you see half as far as was taken.",
        f"The chance is {inside} that it is still inside {before}.",
    ]


def _how_far_seen(result: HuntResult, told: SearchTold) -> str:
    """Say what the chances of looking rest on; nothing in a hunt tells it."""
    search = result.hunt_file.search
    width = result.units.distance(told.searching.sweep_width_m)
    whose = "as hunt.toml says" if search.cover in search.sweep_width_m else "a guess"
    return (
        f"These chances rest on how wide a strip one looks over on the way: {width}, "
        f"{whose} (sweep_width_m under [search])."
    )


def _sit_or_look(looked: Searched) -> list[str]:
    sitting = looked.sitting
    if sitting is None:
        return []
    whole = sitting.search_s - sitting.saved_s
    if sitting.saved_s <= 0:
        on = hours_text(sitting.search_s)
        return [f"Looking on takes {on}, with a station before it {hours_text(whole)}."]
    said = (
        f"Sit first: {sitting.minutes:.0f} minutes at the next station, with the way "
        f"there and the setting up, bring the mean time to the tree from "
        f"{hours_text(sitting.search_s)} down to {hours_text(whole)}, both without the "
        "ways from strip to strip."
    )
    return [said]


CLOSING_IN = (
    (
        "You are near: look rather than sit. See where the lines of the last bees "
        "cross at the height of the trees, with the sun behind you, quietly, at the "
        "warmest hour; look for bees coming and going against the sky."
    ),
    (
        "Look from the ground: do not climb and do not cut, ask whose tree it is, and "
        "keep out of the bees' way: near a nest they sting."
    ),
)


def nest_habits(result: HuntResult) -> list[str]:
    """Say what is published of nests in trees; no chance is drawn from it."""
    units = result.units
    return [
        (
            f"Entrances were almost {units.distance(7.0)} up on average (36 wild "
            "colonies in south-east England; Ratnieks and Visick)."
        ),
        (
            f"Colonies of a forest live far apart: {units.distance(780.0)} from one to "
            "the next on average (Arnot Forest; Seeley)."
        ),
    ]


def near_tree(result: HuntResult, colony: Colony) -> bool:
    """Say whether the station used last lies near where the tree probably is."""
    stations = [s.id for s in result.stations if s.id in colony.distance_m]
    if not stations:
        return False
    # By the notes: the stations in the order of hunt.toml, the last one used.
    used = {trip.station for trip in result.table.trips if trip.used}
    used |= {line.station for line in result.table.lines if line.used}
    last = next((s for s in reversed(stations) if s in used), stations[-1])
    _, median, _ = colony.distance_m[last]
    return median <= NEAR_M


def looked_sentences(result: HuntResult) -> list[str]:
    """Say from when to when each note of looking counts, and how far that was walked.

    A note after which nothing was walked counts as a look round where it was said.
    """
    told = result.search
    units = result.units
    zone = result.hunt_file.hunt.zone
    goes = [
        f"{bout.since.astimezone(zone):%d %b %H:%M} to "
        f"{bout.clock.astimezone(zone):%H:%M}, "
        + (
            f"{units.distance(bout.walked_m)} walked"
            if bout.walked_m
            else "a look round"
        )
        + (f" (row {bout.row})" if bout.row else "")
        for bout in (told.bouts if told else ())
        if bout.since is not None and bout.clock is not None
    ]
    return [f"Counted as looked at, by the notes: {'; '.join(goes)}."] if goes else []


def search_doubt_sentences(result: HuntResult) -> list[str]:
    """Say what of the looking could not be used."""
    told = result.search
    return [_doubt_text(result, one) for one in told.doubts] if told else []


# What is said of each, with places for what it has.
_DOUBTS: Mapping[SearchDoubtKind, str] = {
    SearchDoubtKind.NO_TRACK: (
        "{row}{at}: no GPX track was running then, so where you looked is not known; "
        "type a position as its value, or put the phone's track into the hunt."
    ),
    SearchDoubtKind.NO_CLOCK: "{row}: nothing tells when, so not where either.",
    SearchDoubtKind.DOUBTFUL: (
        "{row}{at}: in doubt, so it does not count before you look at it."
    ),
    SearchDoubtKind.NO_BEARING: (
        "{row}{at}: bees overhead without a bearing tell no direction."
    ),
    SearchDoubtKind.UNTIMED: (
        "{where} has places without times: its pace is not known, and all of it was "
        "taken as walked while looking."
    ),
    SearchDoubtKind.IDLE: (
        "{where} holds neither times nor a named place, so it tells nothing; name it "
        "under [search] tracks if it was walked while looking."
    ),
    SearchDoubtKind.NO_WAY: "{where} holds no way that was walked.",
    SearchDoubtKind.JUMPS: ("{where} jumps {times}: nothing was walked over the jump."),
    SearchDoubtKind.FAST: (
        "{distance} of {where} were walked too fast to look up trees, and do not count."
    ),
    SearchDoubtKind.NO_WEIGHT: (
        "{where} holds ground without a weight ({words}): give it one under [search] "
        "weights in hunt.toml."
    ),
    SearchDoubtKind.FAR: (
        "{where} lies {distance} from the stations, beyond where the colony is looked "
        "for, and changes nothing."
    ),
    SearchDoubtKind.SWAPPED: (
        "{where} lies {distance} from the stations: latitude and longitude seem to "
        "have changed places in it."
    ),
    SearchDoubtKind.CROSSING: (
        "The sides of {where} cross: give its corners in the order in which one walks "
        "round it."
    ),
    SearchDoubtKind.NO_SUCH_GROUND: (
        "{where} has {words}, which no file under [search] ground holds: it changes "
        "nothing."
    ),
    SearchDoubtKind.NO_GROUND: (
        "{where} holds neither outlines of ground nor single trees."
    ),
}


def _doubt_text(result: HuntResult, doubt: SearchDoubt) -> str:
    zone = result.hunt_file.hunt.zone
    return _DOUBTS[doubt.kind].format(
        row=f"Row {doubt.where}" if doubt.where else "A note",
        at=f" ({doubt.clock.astimezone(zone):%d %b %H:%M})" if doubt.clock else "",
        where=doubt.where,
        times="once" if doubt.count == 1 else f"{doubt.count} times",
        distance=result.units.distance(doubt.metres),
        words=listing([repr(word) for word in doubt.words[:5]]),
    )


FARTHEST_M = 15_000.0  # bees have been followed to 13.5 km: no find of a hunt beyond


def smallest_around(
    colony: Colony, latitude_deg: float, longitude_deg: float
) -> int | None:
    """Return which of a colony's search areas is the smallest that holds a place."""
    place = np.array([[longitude_deg, latitude_deg]])
    return next(
        (
            percent
            for percent, area in sorted(colony.search_areas.items())
            if holds(area, place)
        ),
        None,
    )


def holds(area: SearchArea, lonlat: np.ndarray) -> bool:
    """Say whether a place, (1, 2) longitude and latitude, lies in a search area."""

    def inside(ring: np.ndarray) -> bool:
        # The short way round the globe, for areas across 180 degrees.
        turned = ring.copy()
        turned[:, 0] = (ring[:, 0] - lonlat[0, 0] + 180) % 360 - 180 + lonlat[0, 0]
        return bool(inside_ring(lonlat, turned)[0])

    return any(
        inside(polygon.outer) and not any(inside(hole) for hole in polygon.holes)
        for polygon in area.polygons
    )


def find_sentences(result: HuntResult) -> list[str]:
    """Say how every find compares, in a report that was asked to hold them."""
    return [text for check in result.finds for text in check_sentences(result, check)]


def found_steps(result: HuntResult) -> list[str]:
    """Say what follows on a note that says found, and which finds are kept."""
    told = result.found
    steps = []
    if told.rows:
        zone = result.hunt_file.hunt.zone
        when = f" of {told.noted.astimezone(zone):%d %b %H:%M}" if told.noted else ""
        steps.append(
            f"Your note{when} says found (row {told.rows[-1]}): keep the place with "
            "treeward found --from-note"
        )
    steps += [
        f"Row {row} says found, and is in doubt: look at it first (treeward review)."
        for row in told.doubtful_rows
    ]
    steps += [
        f"Find {find} is kept: treeward found sets the forecast against it."
        if colony
        else f"Find {find} is kept, outside the 95 % area: it may be another colony."
        for find, colony in told.kept
    ]
    return steps


def found_already(result: HuntResult, colony: Colony) -> bool:
    """Tell whether a colony needs no more looking: found, by a note or a find kept."""
    kept = {one for _, one in result.found.kept}
    alone = len(result.colonies) == 1
    return colony.id in kept or (bool(result.found.rows) and alone)


def own_prior_sentence(result: HuntResult) -> str:
    """Say that own found hunts stood in for the plain prior, and how to leave that."""
    used = result.own_prior
    if used is None:
        return ""
    turned = [
        f"{f'{name} reads' if name else 'you read'} {abs(by_deg):.1f}° too far "
        f"{'clockwise' if by_deg > 0 else 'anticlockwise'}"
        for name, by_deg in used.turned_deg
        if abs(by_deg) >= 0.05
    ]
    compass = f"; by them {', '.join(turned)}, which is allowed for" if turned else ""
    count = f"{used.hunts} find{'s' * (used.hunts != 1)}"
    return (
        f"Flight speed and time in the hive are expected as {count} of your own taught "
        f"({used.file}){compass}. treeward locate --plain goes by the plain prior."
    )


def check_sentences(result: HuntResult, check: FindCheck) -> list[str]:
    """Say how forecast and find compare, without saying where the find is."""
    units = result.units
    of = f" of colony {check.colony}" if result.several else ""
    off = units.distance(check.off_m)
    if check.stations and min(one.true_m for one in check.stations) > FARTHEST_M:
        return [
            f"Find {check.find} is {off} from the best place, farther than bees fly.",
            (
                "Everything is kept, and nothing compared; a position that is wrong "
                "(latitude comes first) may be corrected in found.toml."
            ),
        ]
    said = [f"Find {check.find}: the colony was {off} from the best place{of}."]
    area = units.area(check.area_90_m2)
    if check.holds_percent is None:
        said.append(
            f"It lay outside every search area, also the 95 % one: the forecast missed "
            f"(90 % area {area}). Areas are meant to miss now and then; everything is "
            "kept, and a season of hunts shows whether they miss too often."
        )
    elif check.holds_percent == 95:
        said.append(
            f"It lay outside the 90 % search area ({area}), inside the 95 % one."
        )
    else:
        said.append(
            f"It lay inside the {check.holds_percent} % search area"
            f"{'' if check.holds_percent == 90 else '; 90 % area'} "
            f"{f'({area})' if check.holds_percent == 90 else area}."
        )
    for one in check.stations:
        low, middle, high = (
            units.distance(m) for m in (one.low90_m, one.median_m, one.high90_m)
        )
        said.append(
            f"From station {one.station} it is {units.distance(one.true_m)}; forecast "
            f"{middle}, 90 % between {low} and {high}."
        )
        if one.rules:
            rules = [_rule_text(one, rule, units) for rule in one.rules]
            said.append(f"  Rules of thumb: {'; '.join(rules)}.")
    if check.coarse_text:
        said.append(f"For sharing, roughly: {check.coarse_text}.")
    return said


def _rule_text(one: StationCheck, rule: RuleCheck, units: Units) -> str:
    times = rule.said_m / max(one.true_m, 1.0)
    said = units.distance(rule.said_m)
    return f'"{rule.name}" said {said}, {times:.1f} times that'


@dataclass(frozen=True, slots=True, kw_only=True)
class ColonyYear:
    """A known colony as it stands in the list.

    `state` is how it was last seen, on `seen`; `history` every look, by day. `looked`
    says whether anybody looked in the year of the list.
    """

    name: str
    place: str
    found: date
    nest: str
    entrance: str
    history: tuple[tuple[date, str], ...]
    state: str
    seen: date
    looked: bool

    @property
    def state_text(self) -> str:
        """What is known of it, and whether that is of this year."""
        last = f"{self.state} {self.seen.isoformat()}"
        return last if self.looked else f"not looked at this year; last {last}"

    @property
    def history_text(self) -> str:
        """Write every look at a colony in one line."""
        return ", ".join(f"{day.isoformat()} {state}" for day, state in self.history)
