"""Landings and departures noted while the sun is down, when bees are mostly home."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS
from treeward.notes.clock_evidence import daylight_at

from .doubts import Doubt, DoubtCode

if TYPE_CHECKING:
    from treeward.hunt_file import HuntFile

    from .sightings import Notes, Sighting


def dark_doubts(notes: Notes, hunt_file: HuntFile) -> list[Doubt]:
    """Say how many bees were noted flying with the sun down: the clock may be wrong.

    Stations without a position in hunt.toml are taken to lie at one that has one.
    """
    places = {s.id: s.position for s in hunt_file.station if s.position is not None}
    flying = [s for s in notes.sightings if KINDS[s.kind].flying]
    if not places or not flying:
        return []
    some = next(iter(places.values()))
    sun_is_up = {
        name: daylight_at(
            latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg
        )
        for name, place in {**places, "": some}.items()
    }

    def is_dark(sighting: Sighting) -> bool:
        clock = sighting.event.clock
        is_day = sun_is_up.get(sighting.station, sun_is_up[""])
        return clock is not None and not is_day(clock)

    dark = [s for s in flying if is_dark(s)]
    if not dark:
        return []
    clock = dark[0].event.clock
    return [
        Doubt(
            code=DoubtCode.IN_THE_DARK,
            numbers=(len(dark),),
            moments=(clock,) if clock else (),
        )
    ]
