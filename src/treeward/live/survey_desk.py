"""How the office asks trips and survey, for a hunt."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from treeward.hunt_file import HuntFile
    from treeward.notes.events import Event
    from treeward.survey.records import Fix
    from treeward.trips.records import TripTable


def pair_with(hunt_file: HuntFile) -> Callable[[Sequence[Event]], TripTable]:
    """Return how standing notes are paired into trips."""
    from treeward.trips import pair_trips

    return lambda events: pair_trips(events, hunt_file)


def locate_with(
    hunt_file: HuntFile, today: datetime
) -> Callable[[TripTable], Fix | None]:
    """Return how the survey core is asked about paired trips."""
    from treeward.hunt_survey import survey_hunt

    places = {
        station.id: (station.position, "hunt.toml")
        for station in hunt_file.station
        if station.position is not None
    }

    def locate(table: TripTable) -> Fix | None:
        if not places or not any(trip.used for trip in table.trips):
            return None
        return survey_hunt(hunt_file, table, places, today=today).fix

    return locate
