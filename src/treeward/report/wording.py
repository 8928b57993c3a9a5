"""The answer in words a neighbour understands, and whether the days agree on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.language.kinds import About
from treeward.measures import Position, counted, format_position, utm_text, wind_name
from treeward.report.advice_wording import LOOK_FIRST
from treeward.survey.frame import apart_m, way_between
from treeward.survey.records import AdviceKind, AreaShape
from treeward.trips.table import DoubtCode

from .advice_wording import (
    REASONS,
    REASONS_MEANT,
    advice_text,
    missing_text,
    number_word,
)
from .flight_lines import both_text
from .model import MissingKind

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable
    from datetime import date

    from treeward.review.store import Left
    from treeward.survey.frame import Placed
    from treeward.survey.records import Colony, Enough, NextStation
    from treeward.trips.table import FlightLine, Trip

    from .model import (
        DayColony,
        DayResult,
        DoubtfulNotes,
        HuntResult,
    )

NO_MOVE_M = 5.0  # less than a phone's receiver tells; common practice
MOST_AIMED_AT = 30  # of one sort at a station or of a bee, in a day; guess
MOST_LISTED = 4  # days; choice
LARGE_AREA_M2 = 250_000.0  # more than one can look through in a day on foot; guess


def listing(parts: list[str]) -> str:
    """Join as "a", "a and b", "a, b and c"."""
    if len(parts) <= 1:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def sentence(text: str) -> str:
    """Begin with a capital letter and end with a full stop."""
    whole = " ".join(text.split())
    if not whole:
        return ""
    whole = whole[0].upper() + whole[1:]
    return whole if whole[-1] in ".!?" else f"{whole}."


def _where(result: HuntResult, colony: Colony) -> str:
    """Say where a colony is, in a sentence."""
    if colony.shape is AreaShape.NOTHING_MEASURED:
        return "Nothing was measured that tells where the colony is."
    subject = f"Colony {colony.id}" if result.several else "The colony"
    return f"{subject} is {whereabouts(result, colony)}."


def whereabouts(
    result: HuntResult, colony: Colony, among: Collection[str] | None = None
) -> str:
    """Say where a colony is, no more exactly than the shape of the answer allows.

    `among` are the stations that the answer rests on; all of the hunt's where None.
    """
    units = result.units
    stations = [s for s in result.stations if among is None or s.id in among]
    place = min(stations, key=lambda one: apart_m(one, colony))
    distance, azimuth = way_between(place, colony)
    station, way = f"station {place.id}", wind_name(azimuth)
    read = both_text(result, azimuth, place)
    shape = colony.shape
    if shape is AreaShape.WEDGE:
        return (
            f"towards the {way} of {station}, on {read}; how far away is not known yet"
        )
    if shape in {AreaShape.RING, AreaShape.DISC}:
        low, _, high = colony.distance_m.get(place.id, (distance, distance, distance))
        return (
            f"probably {units.distance_range(low, high)} from {station}; in which "
            "direction is not known yet"
        )
    if shape is AreaShape.PART_OF_RING:
        return (
            f"probably about {units.distance(distance)} from {station}, very roughly "
            f"towards the {way}"
        )
    return (
        f"probably about {units.distance(distance)} from {station}, towards the {way}, "
        f"on {read}"
    )


def colony_sentences(
    result: HuntResult, colony: Colony, *, found: bool = False
) -> list[str]:
    """Say where a colony probably is and how sure that is.

    Where it was found already nothing is advised.
    """
    units = result.units
    said = [_where(result, colony)] if result.stations else []
    area = colony.search_areas.get(90)
    if area is not None:
        patches = len(area.polygons)
        where = (
            f"the shaded {units.area(area.area_m2)}"
            if patches <= 1
            else f"one of the {number_word(patches)} shaded patches, "
            f"{units.area(area.area_m2)} together"
        )
        said.append(f"There are nine chances in ten that it is inside {where}.")
        if area.area_m2 > LARGE_AREA_M2 and not found:
            said.append("That is too much to search on foot: watch once more first.")
    return said


def headline(result: HuntResult) -> str:
    """Return the answer's first sentence, or that there is none yet."""
    if not result.colonies:
        return "There is no place to look yet."
    if not result.several:
        sentences = colony_sentences(result, result.colonies[0])
        return sentences[0] if sentences else "The colony has been located."
    count = number_word(len(result.colonies))
    return f"The bees seem to come from {count} colonies."


def seats(result: HuntResult) -> list[tuple[Colony, NextStation]]:
    """Return each colony's next station, for those that have one."""
    return [(one, seat) for one in result.colonies if (seat := one.next_station)]


def place_texts(where: Placed) -> tuple[str, str]:
    """Write a place in decimal degrees, and in UTM; "" for that near the poles."""
    place = Position(latitude_deg=where.latitude_deg, longitude_deg=where.longitude_deg)
    try:
        return format_position(place), utm_text(place)
    except ValueError:
        return format_position(place), ""


def walk_text(result: HuntResult, seat: NextStation) -> str:
    """Say how far a next station is from which other, and on which bearing."""
    station = result.station(seat.from_station)
    bearing = both_text(result, seat.walk_bearing_true_deg, station)
    walk = result.units.distance(seat.walk_m)
    return f"{walk} from station {seat.from_station} on {bearing}"


def area_sizes(result: HuntResult) -> dict[int, list[str]]:
    """Return how large each colony's search areas are, by their probability [%]."""
    return {
        percent: [
            result.units.area(colony.search_areas[percent].area_m2)
            for colony in result.colonies
            if percent in colony.search_areas
        ]
        for percent in sorted({p for c in result.colonies for p in c.search_areas})
    }


def days_disagree(result: HuntResult, colony: Colony) -> bool:
    """Say whether a day alone puts a colony where all days together do not.

    Where fewer than two days tell of it, there is nothing to disagree.
    """
    return bool(_against(result, colony))


def for_colony(result: HuntResult, colony: Colony) -> str:
    """Return ", colony B" where there are several colonies, else nothing."""
    return f", colony {colony.id}" if result.several else ""


def next_sentences(result: HuntResult) -> list[str]:
    """Say where to sit next and what for, for each colony."""
    said = []
    for colony in result.colonies:
        sentences = next_of(result, colony)
        if result.several and sentences:
            first = sentences[0]
            sentences[0] = f"For colony {colony.id}: {first[0].lower()}{first[1:]}"
        said += sentences
    return said


def next_of(result: HuntResult, colony: Colony) -> list[str]:
    """Say where to sit next for one colony, or that looking up trees is better."""
    if (place := colony.next_station) is None:
        stop = [
            sentence(advice_text(one, result.hunt_file.hunt.units))
            for one in colony.advice
            if one.kind is AdviceKind.STOP_LINING
        ]
        if stop and days_disagree(result, colony):
            return ["The days disagree: find out why before you look up trees."]
        return stop
    units = result.units
    way = wind_name(place.walk_bearing_true_deg)
    walk = f"about {units.distance(place.walk_m)} from station {place.from_station}"
    station = result.station(place.from_station)
    bearing = both_text(result, place.walk_bearing_true_deg, station)
    said = [f"Sit next {walk}, towards the {way}, on {bearing}."]
    if 0 < place.expected_area_90_m2 < place.area_90_m2:
        spent = "An hour" if place.minutes == 60 else f"{place.minutes:.0f} minutes"
        said.append(
            f"{spent} of notes there should shrink the shaded area to about "
            f"{units.area(place.expected_area_90_m2)}."
        )
    meant = REASONS_MEANT.get(place.why, "")
    said.append(f"Why there: {REASONS[place.why]}{': ' * bool(meant)}{meant}.")
    said.append(LOOK_FIRST)
    return said


def missing_sentences(result: HuntResult) -> list[str]:
    """Say what was lacking, from the result itself and from what the hunt found."""
    said = [missing_text(one, result.hunt_file.hunt.zone) for one in result.missing]
    unplaced = any(one.kind is MissingKind.NO_POSITION for one in result.missing)
    used_trips = sum(trip.used for trip in result.table.trips)
    used_lines = sum(line.used for line in result.table.lines)
    if not result.stations and not unplaced:
        said.append(
            "No station has a position: write one into hunt.toml, or import a GPX "
            "track or waypoint."
        )
    undated = {
        one.kind for one in result.table.unpaired if one.why.code is DoubtCode.NO_CLOCK
    }
    said += [_undated_sentence(result)] if undated else []
    if not result.table.trips and undated.isdisjoint({"away", "back"}):
        said.append(
            "No bee was timed: say “yellow away” when a marked bee leaves and "
            "“yellow back” when she returns."
        )
    elif result.table.trips and not used_trips:
        said.append("Every timed trip is doubtful; the table of trips says why.")
    if not result.table.lines and "bearing" not in undated:
        said.append(
            "No bearing was spoken: say “yellow away, bearing two one zero” with the "
            "direction in which a departing bee vanishes."
        )
    elif result.table.lines and not used_lines:
        said.append("Every bearing was left out; the table of bearings says why.")
    return list(dict.fromkeys(said))


def _undated_sentence(result: HuntResult) -> str:
    """Say that notes have no day or time, and how they get one."""
    count = sum(one.why.code is DoubtCode.NO_CLOCK for one in result.table.unpaired)
    has, its = ("has", "it does") if count == 1 else ("have", "they do")
    return (
        f"{counted(count, 'note')} {has} no day or no time, so {its} not count: say "
        "“date fourteenth of July” and “time ten oh five” in the recording, or give "
        "when it began: treeward transcribe FILE --start “2026-07-14 10:05”."
    )


def advice_sentences(result: HuntResult) -> list[str]:
    """Say what would help, without what `next_sentences` says already."""
    if result.fix is None:
        return []
    said = {AdviceKind.SIT_NEXT, AdviceKind.STOP_LINING}
    return [
        sentence(advice_text(one, result.hunt_file.hunt.units))
        for one in result.fix.advice
        if one.kind not in said
    ]


def enough_sentences(result: HuntResult) -> list[str]:
    """Say where more of the same no longer pays, and how many more do elsewhere."""
    facts = result.fix.enough if result.fix else ()
    said = []
    for kind, of in (("bearings", "at"), ("trips", "of")):
        full = [x for x in facts if x.kind == kind and x.count >= x.enough]
        wanting = [x for x in facts if x.kind == kind and x.count < x.enough]
        if full:
            named = listing([f"{_what(result, x)} ({x.count})" for x in full])
            shared = "the line and the compass"
            if kind == "trips":
                each = "her" if len(full) == 1 else "each bee's"
                shared = f"{each} speed and {'her' if len(full) == 1 else 'its'} time "
                shared += "in the hive"
            said.append(
                f"More {kind} {of} {named} hardly pay now: they share {shared}; other "
                "bees, or another station, would help more."
            )
        if wanting:
            named = listing([f"{_what(result, x)} ({_so_many(x)})" for x in wanting])
            said.append(f"More {kind} {of} {named} still pay.")
    return said


def _what(result: HuntResult, one: Enough) -> str:
    """Name a bee, or a station with the bees whose bearings are meant."""
    if one.bee:
        return f"{one.bee}, colony {one.colony}" if result.several else one.bee
    bees = next((c.marks for c in result.colonies if c.id == one.colony), ())
    if not result.several or not bees:
        return f"station {one.station}"
    return f"station {one.station} of {listing(list(bees))}"


def _so_many(one: Enough) -> str:
    """Say how many there are, and how many pay; more than anybody takes is no aim."""
    if one.enough > MOST_AIMED_AT:
        return f"{one.count} so far, as many more as you can take"
    return f"{one.count} so far, up to {one.enough}"


def _counts(result: HuntResult, one: Trip | FlightLine) -> bool:
    """Tell whether a place rests on a used trip or bearing.

    Not on one of a station without a position, of a known hive's bee, or of the
    calibration. Where no place was worked out, every used one is told.
    """
    if result.fix is None:
        return True
    hunt_file = result.hunt_file
    calibration = hunt_file.calibration
    if result.station(one.station) is None:
        return False
    if any(one.mark in hive.marks for hive in hunt_file.known_hive):
        return False
    return not (
        calibration is not None
        and calibration.station == one.station
        and (not calibration.marks or one.mark in calibration.marks)
    )


def basis_sentence(result: HuntResult) -> str:
    """Say what the answer rests on."""
    used = [t for t in result.table.trips if t.used and _counts(result, t)]
    seen = [x for x in result.table.lines if x.used and _counts(result, x)]
    trips, lines = len(used), len(seen)
    bees = len({trip.bee for trip in used})
    stations = len({trip.station for trip in used} | {line.station for line in seen})
    if not trips and not lines:
        return "No trip and no bearing could be used."
    parts = [
        f"{trips} timed trip{'s' * (trips != 1)}"
        + (f" of {bees} bee{'s' * (bees != 1)}" if trips else ""),
        f"{lines} bearing{'s' * (lines != 1)}",
    ]
    places = f"{stations} station{'s' * (stations != 1)}"
    return f"This rests on {listing(parts)} from {places}."


_PLURALS = {
    About.MOVE: "landings or departures",
    About.SCRATCH: "scratches",
    About.ORDER: "departures in a row",
    About.NO_STATION: "recordings without a station",
    About.SEARCHED: "notes of ground looked at",
    About.OVERHEAD: "notes of bees overhead",
}


def left_text(left: Left) -> str:
    """Say what is still to look at: "3 notes and 2 lines without a note"."""
    parts = []
    if left.notes:
        parts.append(counted(left.notes, "note"))
    if left.lines:
        parts.append(f"{counted(left.lines, 'line')} without a note")
    return listing(parts) or "nothing"


def doubt_sentences(result: HuntResult) -> list[str]:
    """Say how much is still to look at, and what it could move."""
    left = result.left
    if not left.any:
        return []
    verb = "is" if left.notes + left.lines == 1 else "are"
    said = [
        f"{left_text(left)} {verb} still to look at (treeward review):",
        *(_doubt_text(result, lot) for lot in result.doubtful),
    ]
    weighed = {row for lot in result.doubtful for row in lot.rows}
    if more := sum(row not in weighed for row in left.rows):
        other = f"{more} {'more' if weighed else 'with another flag'}"
        said.append(f"{other}: treeward review says why, and what hangs on it.")
    if left.lines:
        names, says = ("names", "says") if left.lines == 1 else ("name", "say")
        said.append(
            f"{counted(left.lines, 'line')} without a note {names} a bee, or {says} "
            "that one came or went: what hangs on that is not known."
        )
    return said


def _doubt_text(result: HuntResult, lot: DoubtfulNotes) -> str:
    plural = _PLURALS.get(lot.about, f"{lot.about}s")
    what = lot.about if lot.notes == 1 else plural
    few = "they are" if lot.singly else "all of them are"
    it = "it is" if lot.notes == 1 else few
    verdict = "wrong" if lot.believed else "right after all"
    said = f"{lot.notes} doubtful {what}: if {it} {verdict},"
    if lot.moves_m is None and not lot.lost:
        return f"{lot.notes} doubtful {what}: what hangs on that was not worked out."
    if lot.lost:
        return f"{said} nothing is left to tell where the colony is."
    if (lot.moves_m or 0.0) < NO_MOVE_M:
        return f"{said} the best place stays where it is."
    far = result.units.distance(lot.moves_m or 0.0)
    up_to = "up to " if lot.singly and lot.notes > 1 else ""
    return f"{said} the best place moves by {up_to}{far}."


PLACED_BY = {"track": "from the GPX track", "waypoint": "from a GPX waypoint"}


def placed_sentence(result: HuntResult) -> str:
    """Say which stations' positions come from a phone's GPX file; "" for none."""
    parts = []
    for kind, words in PLACED_BY.items():
        ids = [place.id for place in result.stations if place.placed_by == kind]
        if ids:
            parts.append(f"station{'s' * (len(ids) > 1)} {listing(ids)} {words}")
    return f"Positions: {listing(parts)}." if parts else ""


def compass_sentence(result: HuntResult) -> str:
    """Say how bearings were turned to true north."""
    if result.hunt_file.hunt.compass == "true":
        return "Bearings were read against true north."
    if not result.stations:
        return "Bearings were read off a magnetic compass."
    values = dict.fromkeys(
        f"{abs(place.declination_deg):.1f}° {'W' if place.declination_deg < 0 else 'E'}"
        for place in result.stations
    )
    return (
        f"Bearings were read off a magnetic compass; the declination of "
        f"{listing(list(values))} (World Magnetic Model) is allowed for."
    )


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
    return f"{result.units.distance(one.off_m)} {way}"


def agreement_sentences(result: HuntResult) -> list[str]:
    """Say whether the days agree on where each colony is.

    Nothing is said of a colony that fewer than two days tell of.
    """
    said = []
    for colony in result.colonies:
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
    return [text for colony in result.colonies for text in _against(result, colony)]


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
