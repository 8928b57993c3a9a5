"""The invented place: stations, colonies, bees, and what the bees share."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from treeward.positions import Position

from .invented import SharedErrors, SimulatedBee, SimulatedColony, SimulatedStation

if TYPE_CHECKING:
    from .invented import Range, SimulationSettings

COLOURS = ("yellow", "blue", "white", "red", "green", "orange", "pink", "purple")
CALIBRATION_ID = "C"
BEE_SPEED_SPREAD = 0.04  # share, between the bees of a hunt; guess
CALIBRATION_M = (30.0, 90.0)  # from the known hive: "within a hundred yards"


def moved(start: Position, bearing_true_deg: float, distance_m: float) -> Position:
    """Return the point `distance_m` from `start` in a direction."""
    from pyproj import Geod

    longitude, latitude, _ = Geod(ellps="WGS84").fwd(
        start.longitude_deg, start.latitude_deg, bearing_true_deg, distance_m
    )
    return Position(latitude_deg=float(latitude), longitude_deg=float(longitude))


def line(start: Position, end: Position) -> tuple[float, float]:
    """Return the true bearing [degrees] and the distance [m] from start to end."""
    from pyproj import Geod

    azimuth, _, distance_m = Geod(ellps="WGS84").inv(
        start.longitude_deg, start.latitude_deg, end.longitude_deg, end.latitude_deg
    )
    return float(azimuth) % 360, float(distance_m)


def declination_deg(place: Position, when: datetime) -> float:
    """Return the declination there and then, east positive."""
    from pygeomag import GeoMag

    start = datetime(when.year, 1, 1, tzinfo=when.tzinfo)
    year = when.year + (when - start).total_seconds() / (365.25 * 86_400)
    field = GeoMag(coefficients_file="wmm/WMM_2025.COF").calculate(
        glat=place.latitude_deg, glon=place.longitude_deg, alt=0.3, time=year
    )
    return float(field.d)


def draw(rng: np.random.Generator, ends: Range) -> float:
    """Draw evenly between the ends of a range."""
    return float(rng.uniform(*ends))


def draw_shared(
    settings: SimulationSettings, rng: np.random.Generator, declination: float
) -> SharedErrors:
    """Draw what all bees and readings of the hunt share."""
    return SharedErrors(
        speed_factor=draw(rng, settings.speed_factor),
        in_hive_factor=draw(rng, settings.in_hive_factor),
        compass_offset_deg=float(rng.normal(0.0, settings.compass_sd_deg)),
        bearing_sd_deg=draw(rng, settings.bearing_sd_deg),
        wind_mps=draw(rng, settings.wind_mps),
        wind_from_deg=float(rng.uniform(0.0, 360.0)),
        declination_deg=declination,
    )


def place_colonies(
    settings: SimulationSettings, rng: np.random.Generator
) -> tuple[SimulatedColony, ...]:
    """Put the colonies around the first station."""
    first = Position(
        latitude_deg=settings.latitude_deg, longitude_deg=settings.longitude_deg
    )
    bearing = float(rng.uniform(0.0, 360.0))
    out = []
    for number in range(settings.colonies):
        # Evenly in the logarithm: near colonies are found more often than far ones.
        low, high = np.log(settings.distance_m)
        distance_m = float(np.exp(rng.uniform(low, high)))
        place = moved(first, bearing, distance_m)
        out.append(SimulatedColony(id="AB"[number], position=place))
        turn = draw(rng, settings.colony_angle_deg)
        bearing += turn if rng.random() < 0.5 else -turn
    if settings.calibration:
        place = moved(first, float(rng.uniform(0, 360)), float(rng.uniform(300, 3000)))
        out.append(SimulatedColony(id="known hive", position=place, known=True))
    return tuple(out)


def place_stations(
    settings: SimulationSettings,
    colonies: tuple[SimulatedColony, ...],
    rng: np.random.Generator,
) -> tuple[SimulatedStation, ...]:
    """Put the stations down, each a step across or along the line of the last."""
    place = Position(
        latitude_deg=settings.latitude_deg, longitude_deg=settings.longitude_deg
    )
    clock = datetime.combine(
        settings.day, datetime.min.time(), ZoneInfo(settings.timezone)
    ) + timedelta(hours=settings.start_hour)
    out: list[SimulatedStation] = []

    def sit(station_id: str) -> None:
        nonlocal clock
        own = settings.watch_min_each[len(out) : len(out) + 1]
        minutes = own[0] if own else settings.watch_min
        # Nobody starts on the minute.
        clock += timedelta(seconds=float(rng.uniform(0.0, 60.0)))
        out.append(
            SimulatedStation(
                id=station_id,
                position=place,
                cargo=settings.cargo,
                start=clock,
                watch_s=minutes * 60,
                recording=f"{clock:%Y-%m-%d_%H%M}_station-{station_id.lower()}.ogg",
            )
        )
        clock += timedelta(minutes=minutes + settings.move_min)

    side = 1.0 if rng.random() < 0.5 else -1.0
    for number in range(settings.stations):
        if number:
            towards, distance_m = line(place, colonies[0].position)
            step_m = min(draw(rng, settings.station_step_m), 0.8 * distance_m)
            place = moved(place, towards + side * float(rng.uniform(30, 100)), step_m)
        sit(str(number + 1))
    if settings.calibration:
        hive = colonies[-1].position
        place = moved(
            hive, float(rng.uniform(0, 360)), float(rng.uniform(*CALIBRATION_M))
        )
        sit(CALIBRATION_ID)
    return tuple(out)


def hatch_bees(
    settings: SimulationSettings,
    colonies: tuple[SimulatedColony, ...],
    rng: np.random.Generator,
) -> tuple[SimulatedBee, ...]:
    """Mark the bees; colours run out at eight, then come pairs of colours."""
    pairs = [
        f"{first}-{second}"
        for number, first in enumerate(COLOURS)
        for second in COLOURS[number + 1 :]
    ]
    # One bee in four carries two colours, so that such marks turn up in small hunts.
    singles = settings.bees - settings.bees // 4
    marks = [*COLOURS[: min(singles, 8)]]
    # Eleven shares no factor with 28, so every pair comes up once.
    mixed = [pairs[11 * number % len(pairs)] for number in range(len(pairs))]
    marks += mixed[: settings.bees - len(marks)]
    wild = [colony.id for colony in colonies if not colony.known]
    homes = [wild[n % len(wild)] for n in range(settings.bees)]
    if settings.calibration:
        spare = [mark for mark in (*COLOURS, *pairs) if mark not in marks]
        marks += spare[:3]
        homes += [colonies[-1].id] * 3
    return tuple(
        SimulatedBee(
            mark=mark,
            colony=home,
            speed_factor=float(rng.normal(1.0, BEE_SPEED_SPREAD)),
            in_hive_factor=float(np.exp(rng.normal(0.0, settings.in_hive_bee_spread))),
        )
        for mark, home in zip(marks, homes, strict=True)
    )
