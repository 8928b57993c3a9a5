"""Invented hunts with a known answer, for measuring the survey core.

Shares no code with treeward.survey beyond the records at its door, and none with the
hunt simulator of the program. Every hunt draws its own shifts (flight speed, in-hive
time, compass) that all its bees share; that is the trap for a narrow model.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from pyproj import Geod

from treeward import survey

GLOBE = Geod(ellps="WGS84")
HOME = (52.3012, -3.6104)  # an upland heath in mid-Wales, invented
OUT_MPS, BACK_MPS = 7.5, 6.5  # Wenner 1963
UNLOAD_S = {"water": 120.0, "syrup": 150.0}  # medians before the hunt's own factor
FILL_S = {"water": 50.0, "syrup": 75.0}

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Population:
    """Ranges that the hunts are drawn from."""

    speed: tuple[float, float] = (0.85, 1.10)
    hive: tuple[float, float] = (0.8, 1.5)
    compass_sd_deg: float = 3.0
    spread_deg: tuple[float, float] = (4.0, 15.0)
    strays: tuple[float, float] = (0.02, 0.10)
    missed: tuple[float, float] = (0.05, 0.07)
    long_stays: float = 0.08
    long_mean_s: float = 400.0
    hive_by_bee: float = 0.20  # sd of the logarithm
    hive_by_trip: tuple[float, float] = (0.25, 0.25)  # drawn for each hunt
    speed_by_bee: float = 0.04
    speed_by_trip: float = 0.05
    fill_by_trip: float = 0.40
    clock_s: float = 4.0
    distance_median_m: float = 900.0
    distance_sigma: float = 0.8
    distance_m: tuple[float, float] = (40.0, 6000.0)
    stations: tuple[int, int] = (1, 4)
    bees: tuple[int, int] = (2, 8)
    trips: tuple[int, int] = (3, 10)
    calibrated: float = 0.3


INSIDE = Population()
FREE = Population(hive_by_trip=(0.10, 0.45))
OUTSIDE = Population(
    speed=(0.75, 0.90), hive=(1.4, 1.8), compass_sd_deg=7.0, strays=(0.15, 0.15)
)


@dataclass
class Notes:
    """Rows as they pile up while a hunt is invented."""

    bee: list[int] = field(default_factory=list)
    station: list[int] = field(default_factory=list)
    away_s: list[float] = field(default_factory=list)
    round_trip: list[bool] = field(default_factory=list)
    line_bee: list[int] = field(default_factory=list)
    line_station: list[int] = field(default_factory=list)
    line_deg: list[float] = field(default_factory=list)
    line_width: list[float] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class InventedHunt:
    """A hunt and its answer, in metres east and north of HOME."""

    stations: survey.Stations
    trips: survey.Trips
    bearings: survey.Bearings
    settings: survey.Settings
    truth_xy: Floats  # (colonies, 2)
    colony_of_bee: tuple[int, ...]  # -1 for bees of the calibration hive
    station_xy: Floats
    calibration_xy: Floats | None  # the known hive
    shifts: dict[str, float]


def place(xy: Floats) -> tuple[float, float]:
    """Return latitude and longitude of a place in metres east and north of HOME."""
    lon, lat, _ = GLOBE.fwd(
        HOME[1], HOME[0], np.degrees(np.arctan2(xy[0], xy[1])), np.hypot(*xy)
    )
    return float(lat), float(lon)


def metres(lat: float, lon: float) -> Floats:
    """Return metres east and north of HOME."""
    azimuth, _, distance = GLOBE.inv(HOME[1], HOME[0], lon, lat)
    turn = np.radians(azimuth)
    return np.array([distance * np.sin(turn), distance * np.cos(turn)])


def invent(
    rng: np.random.Generator,
    population: Population = INSIDE,
    *,
    colonies: int = 1,
    stations: int | None = None,
) -> InventedHunt:
    """Draw one hunt."""
    p = population
    speed, hive = rng.uniform(*p.speed), rng.uniform(*p.hive)
    offset = rng.normal(0.0, p.compass_sd_deg)
    spread, strays = rng.uniform(*p.spread_deg), rng.uniform(*p.strays)
    by_trip = p.hive_by_trip[0]
    if p.hive_by_trip[1] > by_trip:  # else the draws of older runs stay the same
        by_trip = rng.uniform(*p.hive_by_trip)
    missed = rng.uniform(*p.missed)
    truth = np.array([_colony(rng, p) for _ in range(colonies)])
    if colonies == 2:  # directions that differ by 50 degrees or more
        turn = np.radians(rng.uniform(50.0, 180.0) * rng.choice([-1, 1]))
        first = np.arctan2(*truth[0])
        away = np.hypot(*truth[1])
        truth[1] = away * np.array([np.sin(first + turn), np.cos(first + turn)])
    count = stations or int(rng.integers(p.stations[0], p.stations[1] + 1))
    spots = [np.zeros(2)]
    toward = np.arctan2(*truth[0])
    for _ in range(count - 1):
        way = toward + rng.uniform(-1.2, 1.2) * (1.0 if rng.random() < 0.6 else 2.6)
        step = rng.uniform(150.0, 500.0)
        spots.append(spots[-1] + step * np.array([np.sin(way), np.cos(way)]))
    cargo = [str(rng.choice(["water", "syrup"]))] * count
    bees = int(rng.integers(max(p.bees[0], 2 * colonies), p.bees[1] + 1))
    owner = [b % colonies for b in range(bees)]
    notes = Notes()
    for bee in range(bees):
        manner = (*_manner(rng, p, speed, hive), by_trip)
        moves = rng.random() < 0.5
        home = int(rng.integers(count))
        seats = range(count) if moves else [home if rng.random() < 0.5 else bee % count]
        for seat in seats:
            low = 4 if colonies > 1 else p.trips[0]
            n = int(rng.integers(low, p.trips[1] + 1))
            _sit(
                rng,
                p,
                notes,
                bee=bee,
                seat=seat,
                way=truth[owner[bee]] - spots[seat],
                manner=manner,
                cargo=cargo[seat],
                visits=n + 1,
                missed=missed,
                lines=(offset, spread, strays),
            )
    names = [f"bee{b}" for b in range(bees)]
    known = None
    settings = survey.Settings()
    if rng.random() < p.calibrated:
        turn = rng.uniform(0, 2 * np.pi)
        seat_xy = rng.uniform(1500, 3000) * np.array([np.sin(turn), np.cos(turn)])
        known = seat_xy + rng.uniform(20.0, 120.0, size=2)
        spots.append(seat_xy)
        cargo.append(cargo[0])
        for bee in range(bees, bees + int(rng.integers(2, 5))):
            names.append(f"bee{bee}")
            owner.append(-1)
            _sit(
                rng,
                p,
                notes,
                bee=bee,
                seat=count,
                way=known - seat_xy,
                manner=(*_manner(rng, p, speed, hive), by_trip),
                cargo=cargo[count],
                visits=int(rng.integers(5, 9)),
                missed=missed,
                lines=(offset, spread, strays),
            )
        lat, lon = place(known)
        settings = survey.Settings(
            calibrations=(
                survey.Calibration(
                    station=f"{count + 1}",
                    hive_latitude_deg=lat,
                    hive_longitude_deg=lon,
                ),
            )
        )
    positions = [place(xy) for xy in spots]
    return InventedHunt(
        stations=survey.Stations(
            id=tuple(f"{i + 1}" for i in range(len(spots))),
            latitude_deg=np.array([lat for lat, _ in positions]),
            longitude_deg=np.array([lon for _, lon in positions]),
            cargo=tuple(cargo),  # type: ignore[arg-type]
        ),
        trips=_trips(notes, names),
        bearings=survey.Bearings(
            bee=np.array(notes.line_bee, dtype=np.intp),
            station=np.array(notes.line_station, dtype=np.intp),
            bearing_true_deg=np.array(notes.line_deg, dtype=np.float64),
            rounding_deg=np.array(notes.line_width, dtype=np.float64),
            declination_sd_deg=0.4,
        ),
        settings=settings,
        truth_xy=truth,
        colony_of_bee=tuple(owner),
        station_xy=np.array(spots),
        calibration_xy=known,
        shifts={
            "speed": speed,
            "hive": hive,
            "offset_deg": offset,
            "spread_deg": spread,
            "by_trip": by_trip,
        },
    )


def _colony(rng: np.random.Generator, p: Population) -> Floats:
    while True:
        distance = p.distance_median_m * np.exp(p.distance_sigma * rng.normal())
        if p.distance_m[0] <= distance <= p.distance_m[1]:
            turn = rng.uniform(0, 2 * np.pi)
            return np.array([distance * np.sin(turn), distance * np.cos(turn)])


def _manner(
    rng: np.random.Generator, p: Population, speed: float, hive: float
) -> tuple[float, float]:
    return (
        speed / max(0.5, 1 + p.speed_by_bee * rng.normal()),
        hive * float(np.exp(p.hive_by_bee * rng.normal())),
    )


def _sit(
    rng: np.random.Generator,
    p: Population,
    notes: Notes,
    *,
    bee: int,
    seat: int,
    way: Floats,
    manner: tuple[float, float, float],
    cargo: str,
    visits: int,
    missed: float,
    lines: tuple[float, float, float],
) -> None:
    """Let one bee come and go, and note what an observer catches of it."""
    speed, hive, by_trip = manner
    distance = float(np.hypot(*way))
    azimuth = float(np.degrees(np.arctan2(way[0], way[1])))
    clock, last = 0.0, None
    offset, spread, strays = lines
    gaps: list[tuple[float, bool]] = []
    for _ in range(visits):
        for kind in ("back", "away"):
            seen = clock + p.clock_s * rng.normal()
            if rng.random() >= missed:
                if last is not None:
                    before, at = last
                    if (before, kind) == ("away", "back"):
                        gaps.append((seen - at, False))
                    elif before == kind:
                        gaps.append((seen - at, True))
                last = (kind, seen)
                if kind == "away" and rng.random() < 0.6:
                    width = 5.0 if rng.random() < 0.7 else 1.0
                    read = azimuth + offset + spread * rng.normal()
                    if rng.random() < strays:
                        read = rng.uniform(0.0, 360.0)
                    notes.line_bee.append(bee)
                    notes.line_station.append(seat)
                    notes.line_deg.append(float(width * np.round(read / width) % 360))
                    notes.line_width.append(width)
            if kind == "back":
                clock += FILL_S[cargo] * np.exp(p.fill_by_trip * rng.normal())
            else:
                flight = distance * (1 / OUT_MPS + 1 / BACK_MPS) / speed
                clock += flight * max(0.5, 1 + p.speed_by_trip * rng.normal())
                clock += UNLOAD_S[cargo] * hive * np.exp(by_trip * rng.normal())
                if rng.random() < p.long_stays:
                    clock += rng.exponential(p.long_mean_s)
    for gap, whole in gaps:
        notes.bee.append(bee)
        notes.station.append(seat)
        notes.away_s.append(max(1.0, float(np.round(gap))))
        notes.round_trip.append(whole)


def _trips(notes: Notes, names: list[str]) -> survey.Trips:
    bee = np.array(notes.bee, dtype=np.intp)
    station = np.array(notes.station, dtype=np.intp)
    away = np.array(notes.away_s, dtype=np.float64)
    cycles = np.ones(len(bee), dtype=np.intp)
    for b in np.unique(bee):  # as a pairing rule would guess it, by the usual gap
        for s in np.unique(station[bee == b]):
            own = (bee == b) & (station == s)
            ratio = away[own] / np.median(away[own])
            cycles[own] = np.where(ratio > 2.5, 3, np.where(ratio > 1.7, 2, 1))
    return survey.Trips(
        bees=tuple(names),
        bee=bee,
        station=station,
        away_s=away,
        round_trip=np.array(notes.round_trip, dtype=bool),
        rounding_s=np.zeros(len(bee)),
        cycles=cycles,
    )
