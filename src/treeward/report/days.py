"""What each day of a hunt brought, and whether the days agree."""

from __future__ import annotations

from dataclasses import replace
from statistics import median
from typing import TYPE_CHECKING

from treeward.measures import Units, wind_name

from .flight_lines import circular_mean_deg, circular_sd_deg, timed_ends
from .model import DayResult, DayStation
from .wording import for_colony, listing, whereabouts

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, tzinfo

    from treeward.survey.records import Colony
    from treeward.trips.table import FlightLine, Trip, TripTable

    from .model import DayColony, HuntResult


# Bearings spread wider than this have no mean worth telling: two colonies, or a
# compass beside iron; guess.
SCATTERED_DEG = 30.0
MOST_LISTED = 4  # days; choice


def trip_day(trip: Trip, zone: tzinfo) -> date | None:
    """Return the day a trip began on; None for one without a clock."""
    start, end = timed_ends(trip)
    clock = start or end
    return None if clock is None else clock.astimezone(zone).date()


def line_day(line: FlightLine, zone: tzinfo) -> date | None:
    """Return the day of a bearing; None for one without a clock."""
    return None if line.clock is None else line.clock.astimezone(zone).date()


def day_tables(table: TripTable, zone: tzinfo) -> dict[date, TripTable]:
    """Share a table of trips out among its days; what has no clock is in none.

    Parameters
    ----------
    zone
        The hunt's time zone, in which a day begins.
    """
    days = {trip_day(trip, zone) for trip in table.trips}
    days |= {line_day(line, zone) for line in table.lines}
    return {
        day: replace(
            table,
            trips=tuple(t for t in table.trips if trip_day(t, zone) == day),
            lines=tuple(x for x in table.lines if line_day(x, zone) == day),
            visits=tuple(
                v for v in table.visits if v.back_clock.astimezone(zone).date() == day
            ),
        )
        for day in sorted(day for day in days if day is not None)
    }


def days_of(table: TripTable, zone: tzinfo) -> tuple[DayResult, ...]:
    """Count what each day brought, station by station; no place is worked out."""
    return tuple(
        DayResult(day=day, stations=_stations(part))
        for day, part in day_tables(table, zone).items()
    )


def undated(table: TripTable) -> int:
    """Count the trips that have no clock and so belong to no day."""
    return sum(timed_ends(trip) == (None, None) for trip in table.trips)


def _stations(table: TripTable) -> tuple[DayStation, ...]:
    names = [trip.station for trip in table.trips]
    names += [line.station for line in table.lines]
    return tuple(_station(table, name) for name in dict.fromkeys(names))


def _station(table: TripTable, name: str) -> DayStation:
    trips = [trip for trip in table.trips if trip.station == name]
    lines = [x for x in table.lines if x.station == name and x.used]
    away = [t.away_s for t in trips if t.used and t.timing == "away" and t.cycles == 1]
    seen = [t.bee for t in trips] + [x.bee for x in lines if x.bee]
    return DayStation(
        station=name,
        bees=tuple(dict.fromkeys(seen)),
        trips=len(trips),
        trips_used=sum(trip.used for trip in trips),
        bearings_used=len(lines),
        median_away_s=median(away) if away else None,
        mean_bearing_read_deg=_mean_deg([x.bearing_read_deg for x in lines]),
    )


def _mean_deg(bearings_deg: list[float]) -> float | None:
    """Return the mean of bearings that lie together; None where they do not."""
    if not bearings_deg or circular_sd_deg(bearings_deg) > SCATTERED_DEG:
        return None
    return circular_mean_deg(bearings_deg)


def day_text(day: date) -> str:
    """Write "14 Jul 2026"."""
    return f"{day.day} {day:%b %Y}"


def _named(days: list[date]) -> str:
    """List a few days, and give the number and the ends of many."""
    if len(days) <= MOST_LISTED:
        return listing([day_text(day) for day in days])
    return f"All {len(days)} days, {day_text(days[0])} to {day_text(days[-1])},"


def agreement_text(one: DayColony) -> str:
    """Say in two or three words whether a day agrees with all days together."""
    if one.holds_percent is None:
        return "does not agree"
    return "agrees" if one.holds_percent <= 90 else "just agrees"


def off_text(result: HuntResult, one: DayColony) -> str:
    """Say how far a day's best place is from that of all days together."""
    way = wind_name(one.off_bearing_true_deg)
    return f"{Units(result.hunt_file.hunt.units).distance(one.off_m)} {way}"


def agreement_sentences(result: HuntResult) -> list[str]:
    """Say whether the days agree on where each colony is.

    Nothing is said of a colony that fewer than two days tell of.
    """
    said = []
    for colony in result.fix.colonies if result.fix else ():
        told = _told(result, colony)
        if len(told) < 2:
            continue
        if against := _against(result, colony):
            said += against
        else:
            days = _named([day for day, _ in told])
            said.append(
                f"{days} agree{_subject(result, colony)}: the place that all days give "
                "together lies within what each day gives alone."
            )
    return said


def disagreements(result: HuntResult) -> list[str]:
    """Return the sentences about days that do not agree."""
    colonies = result.fix.colonies if result.fix else ()
    return [text for colony in colonies for text in _against(result, colony)]


def _told(result: HuntResult, colony: Colony) -> list[tuple[date, DayColony]]:
    """Return the days that tell of a colony, with where each alone puts it."""
    return [
        (day.day, one)
        for day in result.days
        for one in day.colonies
        if one.colony.id == colony.id
    ]


def _against(result: HuntResult, colony: Colony) -> list[str]:
    """Say which of several days do not agree on where a colony is."""
    told = _told(result, colony)
    if len(told) < 2:
        return []
    return [
        f"{day_text(day)} does not agree{_subject(result, colony)}: alone it gives a "
        f"place {off_text(result, one)} of the one that all days give together, which "
        "lies outside that day's 95 % area. Bees may have stayed longer or shorter "
        "in the hive that day (heat, cold, what the colony needs): compare the "
        "away times first. Else look for a compass or a station's position read "
        "wrong, or for bees of another colony."
        for day, one in told
        if one.holds_percent is None
    ]


def _subject(result: HuntResult, colony: Colony) -> str:
    name = for_colony(result, colony).removeprefix(", ")
    return f" on {name}" if name else ""


def place_rows(result: HuntResult) -> Iterable[tuple[DayResult, DayColony, str]]:
    """Give for each day and colony where that day alone puts it, in words."""
    for day in result.days:
        here = [s.station for s in day.stations]
        for one in day.colonies:
            words = whereabouts(result, one.colony, here)
            yield day, one, words.removeprefix("probably ")
