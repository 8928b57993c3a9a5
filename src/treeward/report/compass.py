"""Bearings between what a person's compass reads and true north."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from treeward.survey.frame import geodesic
from treeward.units import bearing_text, wind_name

if TYPE_CHECKING:
    from treeward.language.bearings import Reference
    from treeward.trips.table import FlightLine

    from .model import HuntResult, StationPlace

Compass = Literal["magnetic", "true"]


def to_true_deg(
    read_deg: float, reference: Reference, compass: Compass, declination_deg: float
) -> float:
    """Return a bearing against true north, 0-360.

    Parameters
    ----------
    read_deg
        As it was said.
    reference
        North it was read against where that was said; "" for the hunt's compass.
    compass
        What hunt.toml says of the hunt's compass.
    declination_deg
        Magnetic declination there and then, east positive: true = magnetic + it.
    """
    magnetic = (reference or compass) == "magnetic"
    return (read_deg + (declination_deg if magnetic else 0.0)) % 360


def to_compass_deg(
    result: HuntResult, bearing_true_deg: float, station: StationPlace | None
) -> float | None:
    """Return what the hunt's compass reads for a true bearing, 0-360.

    Parameters
    ----------
    station
        Where the person stands.

    Returns
    -------
    float or None
        None where the compass is magnetic and the declination there is not known.
    """
    if result.hunt_file.hunt.compass == "true":
        return bearing_true_deg % 360
    if station is None:
        return None
    return (bearing_true_deg - station.declination_deg) % 360


def both_text(
    result: HuntResult, bearing_true_deg: float, station: StationPlace | None
) -> str:
    """Write a direction as the person's own compass reads it, true beside it.

    Where the compass is set to true north, or the declination is not known, it is the
    true bearing alone.
    """
    true = f"{bearing_text(bearing_true_deg)} true"
    read_deg = to_compass_deg(result, bearing_true_deg, station)
    if read_deg is None or result.hunt_file.hunt.compass == "true":
        return true
    read = bearing_text(read_deg)
    if read == bearing_text(bearing_true_deg):
        return f"{read} by compass and true"
    return f"{read} by compass ({true})"


def on_text(
    result: HuntResult,
    bearing_true_deg: float,
    latitude_deg: float,
    longitude_deg: float,
) -> str:
    """Write a direction from some place with its name: "north-east, on 045 true".

    The compass reads there as at the nearest station.
    """
    station = min(
        result.stations,
        key=lambda one: geodesic(
            one.latitude_deg, one.longitude_deg, latitude_deg, longitude_deg
        )[0],
        default=None,
    )
    read = both_text(result, bearing_true_deg, station)
    return f"{wind_name(bearing_true_deg)}, on {read}"


def read_text(line: FlightLine) -> str:
    """Write a bearing as it was read, with its north where that was said."""
    return f"{bearing_text(line.bearing_read_deg)} {line.reference}".rstrip()
