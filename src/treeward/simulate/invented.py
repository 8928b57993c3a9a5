"""What goes into an invented hunt and what comes out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from treeward.notes.events import Event
    from treeward.positions import Position

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
    bearing_true_deg: float | None = None  # flown, before compass and rounding
    stray: bool = False


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
