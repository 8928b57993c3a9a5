"""Where a find lies: as typed, by a phone's track or a note; and shared, roughly."""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING

from treeward.errors import HuntError
from treeward.language.kinds import EventKind
from treeward.positions import parse_position

from .finds import coarse
from .places import find_tracks
from .tracks import position_at, read_gpx

if TYPE_CHECKING:
    from datetime import date

    from treeward.positions import Position

    from .finds import FoundFile
    from .hunt import Hunt


def typed_place(text: str) -> Position:
    """Read a position that was typed.

    Raises
    ------
    HuntError
        If it is none.
    """
    try:
        return parse_position(text)
    except ValueError as error:
        raise HuntError(
            str(error), mend='Write it like "52.304500, -3.613300".'
        ) from error


def place_at(hunt: Hunt, clock_text: str) -> tuple[Position, date]:
    """Return where the hunt's GPX track was at a time, and the day.

    Raises
    ------
    HuntError
        If the time cannot be read, or no track of the hunt knows it.
    """
    try:
        clock = datetime.fromisoformat(clock_text.strip())
    except ValueError as error:
        raise HuntError(
            f"{clock_text!r} is no time", mend='Write it like "2026-07-14 15:20".'
        ) from error
    if clock.tzinfo is None:
        clock = clock.replace(tzinfo=hunt.zone)
    return _tracked(hunt, clock, f"at {clock:%Y-%m-%d %H:%M}"), clock.date()


def noted_place(hunt: Hunt) -> tuple[Position, date, str]:
    """Return where the phone was when the latest note said found, the day, its words.

    A note in doubt does not count before somebody looked at it.

    Raises
    ------
    HuntError
        If no note says so with a time, or no track of the hunt knows that time.
    """
    notes = [
        (event.clock, event.value)
        for event in hunt.events()
        if event.kind is EventKind.FOUND
        and event.clock is not None
        and not event.doubtful
    ]
    if not notes:
        raise HuntError(
            "no note with a time, and without doubt, says found",
            where=str(hunt.review_path),
            mend='Say where: treeward found --position "52.304500, -3.613300"',
        )
    clock, words = max(notes)
    place = _tracked(hunt, clock, f"when {clock:%H:%M} was noted as found")
    return place, clock.astimezone(hunt.zone).date(), words


def _tracked(hunt: Hunt, clock: datetime, when: str) -> Position:
    tracks = find_tracks(hunt.path, hunt.file.map.ground)
    for path in tracks:
        if (place := position_at(read_gpx(path), clock)) is not None:
            return place
    raise HuntError(
        f"no track of this hunt says where you were {when}"
        + ("" if tracks else "; there is no GPX file in it"),
        where=str(hunt.path),
        mend="Put your phone's GPX file of that day there, or give --position.",
    )


def shared_geojson(finds: FoundFile, square_m: float | None) -> str:
    """Write the finds for others as GeoJSON (RFC 7946): a place, a year, a nest.

    Parameters
    ----------
    square_m
        Side of the square of the UTM grid whose middle stands for the place; None for
        the places as they are.
    """
    features = []
    for find in finds.find:
        here = find.position
        if square_m is not None:
            rough = coarse(here, square_m)
            place = [rough.longitude_deg, rough.latitude_deg]
        else:
            place = [round(here.longitude_deg, 6), round(here.latitude_deg, 6)]
        features.append(
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": place},
                "properties": {
                    "find": find.id,
                    "year": find.found.year,
                    "nest": find.nest,
                    "rounded_to_m": square_m or 0,
                },
            }
        )
    whole = {"type": "FeatureCollection", "features": features}
    return json.dumps(whole, indent=1) + "\n"
