"""Landings and departures that were noted in the dark, when no bee flies."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS

if TYPE_CHECKING:
    from treeward.hunt_file import HuntFile

    from .sightings import Notes, Sighting

CIVIL_TWILIGHT_DEG = 6.0  # sun's depth below the horizon at its end; definition


def dark_doubts(notes: Notes, hunt_file: HuntFile) -> list[str]:
    """Say how many bees were noted flying in the dark: the clock may be wrong.

    Stations without a position in hunt.toml are taken to lie at one that has one.
    """
    places = {s.id: s.position for s in hunt_file.station if s.position is not None}
    flying = [s for s in notes.sightings if KINDS[s.kind].flying]
    if not places or not flying:
        return []
    from astral import Observer
    from astral.sun import elevation

    some = next(iter(places.values()))
    observers = {
        name: Observer(latitude=place.latitude_deg, longitude=place.longitude_deg)
        for name, place in {**places, "": some}.items()
    }

    def is_dark(sighting: Sighting) -> bool:
        clock = sighting.event.clock
        where = observers.get(sighting.station, observers[""])
        return clock is not None and elevation(where, clock) < -CIVIL_TWILIGHT_DEG

    dark = [s for s in flying if is_dark(s)]
    if not dark:
        return []
    clock = dark[0].event.clock
    count = f"{len(dark)} notes are" if len(dark) > 1 else "1 note is"
    first = f"{clock.day} {clock:%b %H:%M}" if clock else ""
    return [
        f"{count} of bees flying in the dark, the first at {first}: is the clock right?"
    ]
