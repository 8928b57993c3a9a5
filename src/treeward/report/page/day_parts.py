"""What the page's section on single days shows, as plain text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.report.days import agreement_text, day_text, off_text, place_rows
from treeward.report.figures.map_days import dash_of, drawn_days
from treeward.report.wording import whereabouts
from treeward.units import Units, bearing_text, duration_text

if TYPE_CHECKING:
    from treeward.report.model import DayStation, HuntResult

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
