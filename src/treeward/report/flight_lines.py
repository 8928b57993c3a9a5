"""Flight lines in the report: against which north, and gathered for drawing.

Bearings between what a person's compass reads and true north; means and spreads.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from treeward.measures import bearing_text, wind_name
from treeward.survey.frame import apart_m

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treeward.language.bearings import Reference
    from treeward.survey.frame import Placed
    from treeward.survey.records import Colony
    from treeward.trips.table import FlightLine

    from .model import HuntResult, StationPlace


Compass = Literal["magnetic", "true"]


def to_true_deg(
    read_deg: float, reference: Reference, compass: Compass, declination_deg: float
) -> float:
    """Return a bearing as it was said against true north, 0-360.

    `reference` is the north it was read against where that was said, "" for the hunt's
    compass. The declination is that of there and then, east positive:
    true = magnetic + declination.
    """
    magnetic = (reference or compass) == "magnetic"
    return (read_deg + (declination_deg if magnetic else 0.0)) % 360


def to_compass_deg(
    result: HuntResult, bearing_true_deg: float, station: StationPlace | None
) -> float | None:
    """Return what the hunt's compass reads at a station for a true bearing, 0-360.

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


def on_text(result: HuntResult, bearing_true_deg: float, where: Placed) -> str:
    """Write a direction from some place with its name: "north-east, on 045 true".

    The compass reads there as at the nearest station.
    """
    near = min(result.stations, key=lambda one: apart_m(one, where), default=None)
    read = both_text(result, bearing_true_deg, near)
    return f"{wind_name(bearing_true_deg)}, on {read}"


def read_text(line: FlightLine) -> str:
    """Write a bearing as it was read, with its north where that was said."""
    return f"{bearing_text(line.bearing_read_deg)} {line.reference}".rstrip()


@dataclass(frozen=True, slots=True, kw_only=True)
class LineBundle:
    """Bearings that belong together: one bee's, or one colony's, from one station.

    `spread_deg` is the spread of a single bearing: of these bearings where there are
    three or more, else as assumed.
    """

    name: str
    station: StationPlace
    lines: tuple[FlightLine, ...]
    mean_true_deg: float
    spread_deg: float


def true_bearing_deg(result: HuntResult, line: FlightLine) -> float | None:
    """Return a line's bearing against true north; None where its place is unknown."""
    place = result.station(line.station)
    compass = result.hunt_file.hunt.compass
    if place is None and (line.reference or compass) == "magnetic":
        return None
    declination_deg = 0.0 if place is None else place.declination_deg
    return to_true_deg(line.bearing_read_deg, line.reference, compass, declination_deg)


def circular_mean_deg(bearings_deg: Iterable[float]) -> float | None:
    """Return the circular mean, 0-360; None for none, or when they cancel out.

    Source: Mardia and Jupp 2000, Directional Statistics, section 2.2.
    """
    angles = [math.radians(bearing) for bearing in bearings_deg]
    east, north = sum(map(math.sin, angles)), sum(map(math.cos, angles))
    if not angles or math.hypot(east, north) < 1e-9 * len(angles):
        return None
    return math.degrees(math.atan2(east, north)) % 360


def circular_sd_deg(bearings_deg: Sequence[float]) -> float:
    """Return sqrt(-2 ln R), the circular standard deviation in degrees.

    Source: Mardia and Jupp 2000, Directional Statistics, equation 2.3.14.
    """
    angles = [math.radians(bearing) for bearing in bearings_deg]
    length = math.hypot(sum(map(math.sin, angles)), sum(map(math.cos, angles)))
    ratio = min(max(length / len(angles), 1e-12), 1.0)
    return math.degrees(math.sqrt(-2 * math.log(ratio)))


def bundle(
    result: HuntResult, name: str, station: StationPlace, lines: Iterable[FlightLine]
) -> LineBundle | None:
    """Gather used lines from one station; None where there is nothing to draw."""
    used = [line for line in lines if line.used and line.station == station.id]
    bearings = [b for line in used if (b := true_bearing_deg(result, line)) is not None]
    mean = circular_mean_deg(bearings)
    if mean is None:
        return None
    assumed = result.settings.bearing_sd_deg
    if result.fix is not None and "bearing_sd_deg" in result.fix.learned:
        assumed = result.fix.learned["bearing_sd_deg"][0]
    spread = circular_sd_deg(bearings) if len(bearings) >= 3 else 0.0
    return LineBundle(
        name=name,
        station=station,
        lines=tuple(used),
        mean_true_deg=mean,
        spread_deg=min(spread or assumed, 60.0),
    )


def bundles_by_bee(result: HuntResult) -> tuple[LineBundle, ...]:
    """Return one bundle for each station and bee, in the order first heard."""
    lines = result.table.lines
    bees = dict.fromkeys(line.bee or line.mark for line in lines)
    groups = [
        (bee or "no bee named", [x for x in lines if (x.bee or x.mark) == bee])
        for bee in bees
    ]
    return _bundles(result, groups)


def belongs_to(colony: Colony, line: FlightLine) -> bool:
    """Say whether a line is of a bee of that colony; an unnamed one is of any."""
    # The mark alone may be another bee's name: "yellow" beside "yellow at 2".
    name = line.bee or line.mark
    return not name or not colony.marks or name in colony.marks


def bundles_by_colony(result: HuntResult) -> tuple[LineBundle, ...]:
    """Return one bundle for each station and colony (or station, before any fix)."""
    groups: list[tuple[str, Sequence[FlightLine]]] = [
        (colony.id, [x for x in result.table.lines if belongs_to(colony, x)])
        for colony in result.colonies
    ]
    return _bundles(result, groups or [("", result.table.lines)])


def _bundles(
    result: HuntResult, groups: Iterable[tuple[str, Sequence[FlightLine]]]
) -> tuple[LineBundle, ...]:
    return tuple(
        one
        for station in result.stations
        for name, lines in groups
        if (one := bundle(result, name, station, lines)) is not None
    )
