"""The method in a page, with its sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .units import Units

if TYPE_CHECKING:
    from .records import HuntResult

# Author, year, title or journal: as the project's fact sheet found them.
_SOURCES = (
    (
        "Wenner 1963, Journal of Apicultural Research 2:25-32: bees fly out at 7.5 m/s and "
        "home, loaded, at 6.5 m/s."
    ),
    (
        "Visscher and Seeley 1989, American Bee Journal 129:536-541, as quoted in the "
        "BEEBOOK (Human et al. 2013, Journal of Apicultural Research 52(4), "
        "section 4.2.6): away times and distances of bee lining."
    ),
    (
        "Seeley 1994, as used in BEEHAVE (Becher et al. 2014, Journal of Applied Ecology "
        "51:470): time taken up by unloading."
    ),
    "Visscher and Seeley 1982, Ecology 63:1790: how far bees forage.",
    (
        "Lenth 1981, Technometrics 23:149-154: a place from bearings, also when some are "
        "wrong."
    ),
    (
        "Gerber et al. 2018, Movement Ecology 6:14: a place from bearings as a probability "
        "on the map."
    ),
    "World Magnetic Model (NOAA and British Geological Survey): declination.",
)


def method_paragraphs(result: HuntResult) -> list[tuple[str, str]]:
    """Return heading and text for each step from a spoken note to the place."""
    units = Units(result.hunt_file.hunt.units)
    return [
        (
            "From voice to trips",
            (
                "Spoken notes are turned into events with a time of day. A bee's departure "
                "and her next return make one trip. A trip that is about twice or three "
                "times as long as her others probably holds a return that nobody saw; such "
                "trips and other doubtful ones are kept in the tables, and the reason "
                "stands beside them."
            ),
        ),
        (
            "From time to distance",
            (
                "While a bee is away she flies home, unloads, turns round and flies back. "
                "What is left of the away time without the time in the hive is flight. "
                f"Published flight speeds are {units.speed(7.5)} on the way out and "
                f"{units.speed(6.5)} on the way home with a load. Delays only ever make a "
                "trip longer, so the shortest trips tell most. The time in the hive "
                "differs from colony to colony and with what is carried; it is the largest "
                "part of the uncertainty, and timing a hive of known place would take most "
                "of it away."
            ),
        ),
        (
            "From bearings to a line",
            (
                "A departing bee circles, then sets off home. Bearings of several "
                "departures are averaged with room for a wrong one. Compass readings are "
                "turned to true north with the declination of the place and day."
            ),
        ),
        (
            "Together",
            (
                "Distances and directions from all stations are weighed against each other "
                "for every spot on the map, and with how far bees fly at all. The "
                "search areas are the smallest areas that hold the colony with 50, 90 and "
                "95 % probability. The best place is the likeliest spot, not a certain one: "
                "it is the area that should be searched."
            ),
        ),
        (
            "Rules of thumb",
            (
                "Older published rules turn an away time straight into a distance. They "
                "disagree with one another by a factor of two and more, so they are shown "
                "beside the estimate as a range and are not averaged into it."
            ),
        ),
    ]


def sources(result: HuntResult) -> list[str]:
    """Return the sources, with those of the rules of thumb shown in this report."""
    rules = {
        f"{rule.source}: rule of thumb “{rule.name}”."
        for bee in (result.fix.bees if result.fix else ())
        for rule in bee.hand_rules
    }
    return [*_SOURCES, *sorted(rules)]
