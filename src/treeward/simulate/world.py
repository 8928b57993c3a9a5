"""The invented place: stations, colonies, bees, and what the bees share.

What the bees do: drink, fly home, unload, fly back.

`SimulationSettings` go into an invented hunt; a `SimulatedHunt` comes out.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

import numpy as np

from treeward.measures import Position

if TYPE_CHECKING:
    from treeward.notes.events import Event


Cargo = Literal["water", "syrup", "nectar"]
Range = tuple[float, float]  # low and high; drawn evenly between them for each hunt


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulationSettings:
    """What kind of hunt to invent.

    Ranges are drawn once a hunt and shared by all its bees; shares are chances.
    Every number without a source is a guess at what watching bees is like.
    """

    name: str = "Marl Hollow"
    timezone: str = "Europe/London"
    day: date = date(2026, 7, 14)
    start_hour: float = 10.2
    latitude_deg: float = 52.3012  # of the first station
    longitude_deg: float = -3.6104
    stations: int = 3
    bees: int = 4
    colonies: int = 1
    cargo: Cargo = "water"
    distance_m: Range = (400.0, 1500.0)  # of each colony from the first station
    colony_angle_deg: Range = (60.0, 180.0)  # between two colonies' directions
    station_step_m: Range = (200.0, 450.0)  # from one station to the next
    watch_min: float = 45.0  # at each station
    watch_min_each: tuple[float, ...] = ()  # or so long at the first, second, ...
    move_min: float = 15.0  # packing, walking, and bees finding the dish again

    speed_factor: Range = (0.85, 1.1)  # on Wenner 1963, J. Apic. Res. 2:25-32
    in_hive_factor: Range = (0.8, 1.5)
    in_hive_bee_spread: float = 0.18  # share, between the bees of a hunt
    in_hive_varying_share: float = 0.28  # of the usual time; no trip is below the rest
    long_stay_share: float = 0.06  # of trips
    wind_mps: Range = (0.0, 6.0)
    compass_sd_deg: float = 3.0  # of an offset shared by all readings
    bearing_sd_deg: Range = (4.0, 15.0)
    stray_share: float = 0.06  # of bearings, on bees that circle
    bearing_share: float = 0.4  # of departures that a bearing is read of
    rounding_deg: int = 5
    missed_share: float = 0.06  # of departures, and of returns
    slip_share: float = 0.015  # of notes said wrong and taken back
    stated_share: float = 0.0  # of returns at which the time away is said in words
    pause_share: float = 0.3  # of stations at which nobody watches for some minutes
    same_bee: bool = False  # hunt.toml says that a mark is one bee at every station
    calibration: bool = False  # one more station, beside a hive of known place
    recorder_stops: tuple[str, ...] = ()  # stations with the recorder stopped at times

    def __post_init__(self) -> None:
        if not 1 <= self.stations <= 26:
            raise ValueError(f"stations: {self.stations} is not between 1 and 26")
        if not 1 <= self.bees <= 24:
            raise ValueError(f"bees: {self.bees} is not between 1 and 24")
        if self.colonies not in (1, 2):
            raise ValueError(f"colonies: {self.colonies} is neither 1 nor 2")
        if self.watch_min <= 0:
            raise ValueError(f"watch_min: {self.watch_min} is not above 0")
        if not 1 <= self.rounding_deg <= 45:
            raise ValueError(f"rounding_deg: {self.rounding_deg} is not 1 to 45")
        for name in (
            "missed_share",
            "stray_share",
            "long_stay_share",
            "bearing_share",
            "in_hive_varying_share",
        ):
            if not 0 <= getattr(self, name) <= 1:
                raise ValueError(f"{name}: {getattr(self, name)} is not 0 to 1")


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedStation:
    """A place where the observer sits from `start` on."""

    id: str
    position: Position
    cargo: Cargo
    start: datetime
    watch_s: float
    recording: str  # file name of its sound


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedColony:
    """Where bees of the hunt live; `known` for the hive of a calibration."""

    id: str
    position: Position
    known: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedBee:
    """One marked bee and its habits."""

    mark: str
    colony: str
    speed_factor: float  # of this bee, beside the hunt's
    in_hive_factor: float  # of this bee, beside the hunt's


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedTrip:
    """One true trip, seen or not."""

    mark: str
    station: str
    colony: str
    away_clock: datetime
    back_clock: datetime
    out_s: float
    in_hive_s: float
    home_s: float
    away_noted: bool
    back_noted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedErrors:
    """What all bees of one hunt share, and the observer does not know."""

    speed_factor: float
    in_hive_factor: float
    compass_offset_deg: float
    bearing_sd_deg: float
    wind_mps: float
    wind_from_deg: float
    declination_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SpokenLine:
    """A line said aloud: a note, or talk that is none.

    `start_s` is seconds of sound in `recording`; `clock` the time it was said.
    """

    start_s: float
    text: str
    recording: str
    clock: datetime
    speaker: Literal["observer", "friend"] = "observer"
    event: Event | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecorderStop:
    """The recorder stood still for `skipped_s` after `at_s` seconds of sound."""

    recording: str
    at_s: float
    skipped_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedHunt:
    """An invented hunt with everything that is true about it."""

    settings: SimulationSettings
    seed: int
    stations: tuple[SimulatedStation, ...]
    colonies: tuple[SimulatedColony, ...]
    bees: tuple[SimulatedBee, ...]
    shared: SharedErrors
    trips: tuple[SimulatedTrip, ...]
    events: tuple[Event, ...]
    script: tuple[SpokenLine, ...]
    gaps: tuple[RecorderStop, ...] = ()


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


OUT_MPS = 6.5  # to the hive, loaded; Wenner 1963, J. Apic. Res. 2:25-32
HOME_MPS = 7.5  # from the hive, unloaded; the same
WIND_HELD_MPS = 3.0  # ground speed hardly changes in wind up to this; the same
IN_HIVE_S: dict[Cargo, float] = {  # usual time between landing and leaving again
    "water": 125.0,  # guess; published rules for distance imply 73-198 s
    "syrup": 155.0,  # common practice: unloading takes 2-3 minutes
    "nectar": 165.0,  # common practice, as syrup
}
LOADING_S: dict[Cargo, float] = {
    "water": 45.0,  # common practice: a bee loads water in 30-60 s
    "syrup": 80.0,  # 55 s at a strong flow (Wainselboim and Farina 2000), and more
    "nectar": 80.0,  # guess, as syrup
}
SKEW = 2.2  # shape of the gamma-distributed part of an in-hive time; guess
LONG_STAY_MEAN_S = 360.0  # rest, grooming, other errands; guess
FLIGHT_SCATTER = 0.05  # share, between flights of one bee; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """One bee at the dish, and the trip it made before; seconds after the start."""

    mark: str
    colony: str
    back_s: float
    away_s: float
    out_s: float = 0.0
    in_hive_s: float = 0.0
    home_s: float = 0.0
    first: bool = False


def ground_speed_mps(
    still_mps: float, wind_mps: float, along_deg: float, wind_from_deg: float
) -> float:
    """Return the ground speed of a bee that makes up for light wind only."""
    tail = -np.cos(np.radians(along_deg - wind_from_deg))
    beyond_mps = max(wind_mps - WIND_HELD_MPS, 0.0)
    return float(max(still_mps + beyond_mps * tail, 2.5))


def fly(
    bee: SimulatedBee,
    station: SimulatedStation,
    colony: SimulatedColony,
    *,
    settings: SimulationSettings,
    shared: SharedErrors,
    rng: np.random.Generator,
) -> list[Stop]:
    """Let one bee come and go until the observer leaves the station."""
    homeward_deg, distance_m = line(station.position, colony.position)
    varying = settings.in_hive_varying_share

    def flight_s(still_mps: float, along_deg: float) -> float:
        speed = still_mps * shared.speed_factor * bee.speed_factor
        speed = ground_speed_mps(
            speed, shared.wind_mps, along_deg, shared.wind_from_deg
        )
        return float(distance_m / speed * np.exp(rng.normal(0.0, FLIGHT_SCATTER)))

    def in_hive_s() -> float:
        usual = IN_HIVE_S[station.cargo] * shared.in_hive_factor * bee.in_hive_factor
        rest = varying * rng.gamma(SKEW, 1.0 / (SKEW - 0.6))
        stay = usual * (1 - varying + rest)
        if rng.random() < settings.long_stay_share:
            stay += rng.exponential(LONG_STAY_MEAN_S)
        return float(stay)

    def loading_s() -> float:
        return float(LOADING_S[station.cargo] * np.exp(rng.normal(0.0, 0.25)))

    arrival = float(rng.uniform(20.0, 0.12 * station.watch_s + 60.0))
    stops = [
        Stop(
            mark=bee.mark,
            colony=colony.id,
            back_s=arrival,
            # It is painted while it drinks, which takes longer.
            away_s=arrival + loading_s() + 15.0,
            first=True,
        )
    ]
    while stops[-1].away_s < station.watch_s:
        out_s = flight_s(OUT_MPS, homeward_deg)
        stay_s = in_hive_s()
        home_s = flight_s(HOME_MPS, homeward_deg + 180)
        back_s = stops[-1].away_s + out_s + stay_s + home_s
        stops.append(
            Stop(
                mark=bee.mark,
                colony=colony.id,
                back_s=back_s,
                away_s=back_s + loading_s(),
                out_s=out_s,
                in_hive_s=stay_s,
                home_s=home_s,
            )
        )
    return stops
