"""Sunset, which ends flight at a station, and notes that were said after dark.

Honey bees stop flying about sunset and are home by the end of civil twilight
(common practice; no published threshold was found).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date, datetime, tzinfo

    from treeward.positions import Position

CIVIL_TWILIGHT_DEG = 6.0  # sun's depth below the horizon at its end; definition
SOON = timedelta(minutes=30)  # before sunset, when the person is told; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Sky:
    """The sun's times on one day at one place; None where it does not rise or set."""

    sunrise: datetime | None
    sunset: datetime | None
    dusk: datetime | None  # end of civil twilight
    dawn: datetime | None

    def is_dark(self, clock: datetime) -> bool:
        """Return whether it is dark: before civil dawn or after civil dusk."""
        if self.dusk is not None and clock > self.dusk:
            return True
        return self.dawn is not None and clock < self.dawn


def sky_of(place: Position, day: date, zone: tzinfo) -> Sky:
    """Return the sun's times at `place` on `day`, local to `zone` (astral)."""
    from astral import Observer
    from astral.sun import dawn, dusk, sunrise, sunset

    at = Observer(latitude=place.latitude_deg, longitude=place.longitude_deg)
    times: dict[str, datetime | None] = {}
    for name, function, options in (
        ("sunrise", sunrise, {}),
        ("sunset", sunset, {}),
        ("dusk", dusk, {"depression": CIVIL_TWILIGHT_DEG}),
        ("dawn", dawn, {"depression": CIVIL_TWILIGHT_DEG}),
    ):
        try:
            times[name] = function(at, date=day, tzinfo=zone, **options)
        except ValueError:  # astral's word for a sun that stays up or down
            times[name] = None
    return Sky(**times)


def announcement(sky: Sky, before: datetime, now: datetime) -> str:
    """Return what is to be said about the sun between two moments, or ""."""
    if sky.sunset is not None:
        if before < sky.sunset - SOON <= now:
            return f"sunset in half an hour, at {sky.sunset:%H:%M}"
        if before < sky.sunset <= now:
            return "sunset, end of flight: the bees are going home"
    return ""
