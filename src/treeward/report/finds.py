"""Forecast against find: how far off the answer was, and inside which area.

The year of known colonies as a list: found, alive in spring, dead, moved in.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.survey.frame import inside_ring
from treeward.units import Units

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from treeward.survey.records import Colony, SearchArea

    from .model import FindCheck, HuntResult, RuleCheck, StationCheck


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
    told, colonies = result.found, result.fix.colonies if result.fix else ()
    kept = {one for _, one in told.kept}
    return colony.id in kept or (bool(told.rows) and len(colonies) == 1)


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
    units = Units(result.hunt_file.hunt.units)
    several = result.fix is not None and len(result.fix.colonies) > 1
    of = f" of colony {check.colony}" if several else ""
    if check.stations and min(one.true_m for one in check.stations) > FARTHEST_M:
        off = units.distance(check.off_m)
        return [
            f"Find {check.find} is {off} from the best place, farther than bees fly.",
            (
                "Everything is kept, and nothing compared; a position that is wrong "
                "(latitude comes first) may be corrected in found.toml."
            ),
        ]
    off = units.distance(check.off_m)
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


def check_dict(check: FindCheck) -> dict[str, Any]:
    """Return a check as it stands in JSON, with units in the names."""

    def metres(value: float) -> float:
        return round(float(value), 1)

    return {
        "find": check.find,
        "found": check.found.isoformat(),
        "colony": check.colony,
        "off_m": metres(check.off_m),
        "inside_percent": check.holds_percent,
        "area_90_m2": metres(check.area_90_m2),
        "stations": [
            {
                "station": one.station,
                "true_m": metres(one.true_m),
                "forecast_low90_m": metres(one.low90_m),
                "forecast_median_m": metres(one.median_m),
                "forecast_high90_m": metres(one.high90_m),
                "hand_rules": [
                    {
                        "name": rule.name,
                        "source": rule.source,
                        "bees": rule.bees,
                        "said_m": metres(rule.said_m),
                        "low_m": metres(rule.low_m),
                        "high_m": metres(rule.high_m),
                    }
                    for rule in one.rules
                ],
            }
            for one in check.stations
        ],
        **({"roughly": check.coarse_text} if check.coarse_text else {}),
    }


_STYLE = """\
body { font: 11pt/1.4 sans-serif; margin: 1.5cm; color: #111; background: #fff }
h1 { font-size: 16pt; margin: 0 } table { border-collapse: collapse; width: 100% }
th, td { border: 1px solid #777; padding: 2pt 4pt; text-align: left;
  vertical-align: top } thead { display: table-header-group } tr { break-inside: avoid }
td.blank { min-width: 4.5cm } @page { size: landscape }"""


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
    may_know: tuple[str, ...] = ()

    @property
    def state_text(self) -> str:
        """What is known of it, and whether that is of this year."""
        last = f"{self.state} {self.seen.isoformat()}"
        return last if self.looked else f"not looked at this year; last {last}"


def history_text(colony: ColonyYear) -> str:
    """Write every look at a colony in one line."""
    return ", ".join(f"{day.isoformat()} {state}" for day, state in colony.history)


def occupancy_page(colonies: Sequence[ColonyYear], year: int) -> str:
    """Return a page to print, one colony a row, with room for this year's look."""
    heads = ("Colony", "Place", "Found", "Nest", "Seen since", f"{year}", "Look, day")
    rows = []
    for one in colonies:
        nest = ", ".join(filter(None, (one.nest, one.entrance)))
        cells = (
            one.name,
            one.place,
            one.found.isoformat(),
            nest,
            history_text(one) or "never",
            one.state_text if one.looked else "not looked at",
        )
        filled = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
        rows.append(f'<tr>{filled}<td class="blank"></td></tr>')
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in heads)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>Known colonies {year}</title>\n<style>\n{_STYLE}\n</style>\n</head>\n"
        f"<body>\n<h1>Known colonies {year}</h1>\n"
        "<p>Where wild colonies live is not everybody's to know: keep this list to "
        "yourself and those who may know.</p>\n"
        f"<table>\n<thead><tr>{head}</tr></thead>\n<tbody>\n"
        + "\n".join(rows)
        + "\n</tbody>\n</table>\n</body>\n</html>\n"
    )


def occupancy_dict(colony: ColonyYear) -> dict[str, Any]:
    """Return a colony of the list as it stands in JSON."""
    return {
        "name": colony.name,
        "place": colony.place,
        "found": colony.found.isoformat(),
        "nest": colony.nest,
        "entrance": colony.entrance,
        "state": colony.state,
        "seen": colony.seen.isoformat(),
        "looked_at_this_year": colony.looked,
        "history": [
            {"seen": day.isoformat(), "state": state} for day, state in colony.history
        ],
    }
