"""An invented world to measure the survey core in: bees fly, people walk and note.

Written against the literature and against what field notes look like, not against the
survey's model: it shares no constant, distribution or formula with `treeward.survey`
beyond the published means both go back to. What differs on purpose:

* In the hive a bee goes through stages (waiting for a receiver, handing over, cleaning
  and finding the way out) that add up to a skewed time; nothing is lognormal.
* Flights are legs between points, with take-off circles and an approach, a wind that
  turns, a bee that makes up for part of it, and ways round woods and hills.
* A bearing is read from where a person stands to where a bee is lost from sight, both
  real points, with a compass that is somebody's own.
* Notes are late, missed or bunched; people walk to the next place when the watch is up.

`Conditions` switches each trouble on. Guesses say so.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from benchmarks.survey.population import place
from treeward import survey

if TYPE_CHECKING:
    from collections.abc import Mapping

Floats = NDArray[np.float64]

UNLOADED_MPS, LOADED_MPS = 7.5, 6.5  # Wenner 1963, J. Apic. Res. 2:25-32
MOST_AIR_MPS = 10.5  # hard pressed; Seeley 2016 measured 9.5 unloaded
STAGES_S: Mapping[str, tuple[float, float, float]] = {
    # waiting for a receiver, handing over, cleaning and way out: means of the three,
    # together 2 to 3 minutes for water (common practice), 116 s unloading for nectar
    # (Seeley 1994 by BEEHAVE) and the rest; the split is a guess.
    "water": (30.0, 60.0, 40.0),
    "syrup": (35.0, 80.0, 45.0),
}
DRINKING_S = {"water": (25.0, 70.0), "syrup": (50.0, 110.0)}  # common practice
WIND_WORDS = ((1.5, "calm"), (3.5, "light"), (6.5, "moderate"), (99.0, "strong"))
SAID_MPS = {"calm": 0.5, "light": 2.5, "moderate": 5.0, "strong": 8.0}  # Beaufort


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """Which troubles a hunt meets."""

    spread: tuple[float, float] = (0.25, 0.25)  # of in-hive time in a bee, sd / mean
    lanes: bool = False  # shared deviations by station and by bee, circling, GPS
    wind: bool = False
    detours: bool = False
    learning: bool = False
    compass_sd_deg: float = 3.0
    compass_deg: float = 0.0  # about which it varies: a person's own
    two_observers: float = 0.0  # share of hunts
    last_m: float = 0.0  # the last station so far from the tree; 0: as it comes
    lines_apart_deg: float = 0.0  # a second colony so far round; 0: only one
    speed: tuple[float, float] = (0.85, 1.10)  # published means against Wenner's
    stay: tuple[float, float] = (0.8, 1.5)  # 73 to 198 s by the published rules
    cargo: str = ""  # what is put out; either of the two where nothing is said


FREE = (0.10, 0.45)
CONDITIONS: Mapping[str, Conditions] = {
    "family": Conditions(),
    "spread free": Conditions(spread=FREE),
    "station and bee deviations": Conditions(lanes=True),
    "wind": Conditions(wind=True),
    "detours": Conditions(detours=True),
    "learning, slow first trips": Conditions(learning=True),
    "compasses off, sd 7": Conditions(compass_sd_deg=7.0, two_observers=0.5),
    "all together": Conditions(
        spread=FREE,
        lanes=True,
        wind=True,
        detours=True,
        learning=True,
        compass_sd_deg=7.0,
        two_observers=0.5,
    ),
    "closing in, 150 m": Conditions(spread=FREE, lanes=True, last_m=150.0),
    "closing in, 80 m": Conditions(spread=FREE, lanes=True, last_m=80.0),
    "closing in, 40 m": Conditions(spread=FREE, lanes=True, last_m=40.0),
    "closing in, 15 m": Conditions(spread=FREE, lanes=True, last_m=15.0),
    "two colonies, 20 degrees": Conditions(
        spread=FREE, lanes=True, lines_apart_deg=20.0
    ),
    "two colonies, 35 degrees": Conditions(
        spread=FREE, lanes=True, lines_apart_deg=35.0
    ),
    "two colonies, 60 degrees": Conditions(
        spread=FREE, lanes=True, lines_apart_deg=60.0
    ),
}


@dataclass(frozen=True, kw_only=True)
class WorldHunt:
    """What a person brings home, and where the bees lived."""

    stations: survey.Stations
    trips: survey.Trips
    bearings: survey.Bearings
    wind: survey.TripWind | None
    truth_xy: Floats  # (colonies, 2) metres east and north of the start
    colony_of_bee: tuple[int, ...]


@dataclass
class _Notes:
    """Rows as the person writes them."""

    bee: list[int] = field(default_factory=list)
    station: list[int] = field(default_factory=list)
    away_s: list[float] = field(default_factory=list)
    round_trip: list[bool] = field(default_factory=list)
    wind: list[tuple[float, float]] = field(default_factory=list)
    line_bee: list[int] = field(default_factory=list)
    line_station: list[int] = field(default_factory=list)
    line_deg: list[float] = field(default_factory=list)
    line_width: list[float] = field(default_factory=list)
    line_observer: list[int] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class _Bee:
    colony: int
    pace: float  # on the hunt's air speed
    stay: float  # on the hunt's stages
    spread: float


@dataclass(frozen=True, kw_only=True)
class _Spot:
    """A station and what is peculiar to the line from it to one colony."""

    xy: Floats  # where the dish is
    observer: int
    cargo: str
    way_m: float  # flown from dish to tree
    leaves_deg: float  # direction in which bees set out
    lost_m: float  # how far off bees are lost from sight


class _Day:
    """Wind, compasses and the people of one hunt."""

    def __init__(self, rng: np.random.Generator, c: Conditions) -> None:
        self.rng, self.c = rng, c
        self.speed = rng.uniform(*c.speed)
        self.stay = rng.uniform(*c.stay)
        people = 2 if rng.random() < c.two_observers else 1
        self.compass_deg = rng.normal(c.compass_deg, c.compass_sd_deg, size=people)
        self.reading_deg = rng.uniform(4.0, 15.0)  # by hand on a flying bee; guess
        self.astray = rng.uniform(0.02, 0.10)  # bees that circle off; guess
        self.missed = rng.uniform(0.05, 0.07)
        # Weibull winds of an open site, mean 3.5 m/s at bee height; guess.
        self.wind_mps = float(4.0 * rng.weibull(2.0)) if c.wind else 0.0
        self.wind_from_deg = rng.uniform(0.0, 360.0)
        self.makes_up = rng.uniform(0.3, 0.9)  # of head and tail wind; guess
        self.turn_deg_per_h = rng.normal(0.0, 15.0)

    def wind_at(self, clock_s: float) -> tuple[float, float]:
        """Return wind speed [m/s] and where it blows from [degrees]."""
        if not self.c.wind:
            return 0.0, 0.0
        swell = 1.0 + 0.2 * np.sin(clock_s / 1700.0)
        turned = self.wind_from_deg + self.turn_deg_per_h * clock_s / 3600.0
        return self.wind_mps * swell, float(turned % 360.0)

    def leg_s(self, bee: _Bee, spot: _Spot, clock_s: float, *, laden: bool) -> float:
        """Return the time of one way between dish and tree [s]."""
        rng = self.rng
        air = (LOADED_MPS if laden else UNLOADED_MPS) * self.speed * bee.pace
        air *= 1.0 + 0.05 * rng.standard_normal()
        blow, from_deg = self.wind_at(clock_s)
        heading = spot.leaves_deg + (0.0 if laden else 180.0)
        against = blow * np.cos(np.radians(from_deg - heading))
        across = blow * np.sin(np.radians(from_deg - heading))
        air = min(max(air + self.makes_up * against, 3.0), max(MOST_AIR_MPS, air))
        ground = np.sqrt(max(air**2 - across**2, 1.0)) - against
        circles = rng.gamma(2.0, 1.5) if laden else 0.0  # before setting out; guess
        approach = 0.0 if laden else rng.gamma(2.0, 1.5)
        return float(spot.way_m / max(ground, 1.5) + circles + approach)

    def in_hive_s(self, bee: _Bee, cargo: str, round_: int) -> float:
        """Return the time in the hive [s], from stages of a skewed length each."""
        rng = self.rng
        wait, hand, out = STAGES_S[cargo]
        mean = self.stay * bee.stay * (wait + hand + out)
        # The first stage varies most, the last least, together as the bee's spread.
        share = np.array([wait, hand, out]) / (wait + hand + out)
        rough = np.array([1.6, 0.9, 0.5])
        cv = rough * bee.spread / np.sqrt(((rough * share) ** 2).sum())
        stay = float((share * mean * rng.gamma(1 / cv**2, cv**2)).sum())
        if self.c.learning and round_ < 2:
            stay *= rng.uniform(1.1, 1.6)  # shows the way to others; guess
        if rng.random() < 0.07:
            stay += rng.gamma(1.5, 220.0)  # rests, cleans, dances long; guess
        return stay


def invent(rng: np.random.Generator, c: Conditions) -> WorldHunt:
    """Let one hunt happen."""
    day = _Day(rng, c)
    trees = _trees(rng, c)
    dishes = _dishes(rng, c, trees[0])
    cargo = c.cargo or str(rng.choice(["water", "syrup"]))
    notes = _Notes()
    bees: list[_Bee] = []
    names: list[str] = []
    clock = 0.0
    for seat, dish in enumerate(dishes):
        spots = [_spot(day, dish, tree, seat=seat, cargo=cargo) for tree in trees]
        here = [b for b in range(len(bees)) if rng.random() < 0.3]
        fresh = int(rng.integers(2, 4)) if c.lines_apart_deg == 0 else 4
        here += list(range(len(bees), len(bees) + fresh))
        for k in range(fresh):
            names.append(f"bee{len(bees)}")
            bees.append(
                _Bee(
                    colony=k % len(trees),
                    pace=1.0 + 0.05 * float(rng.uniform(-1.5, 1.5)),
                    stay=float(rng.gamma(25.0, 1 / 25.0)),  # bees differ by a fifth
                    spread=float(rng.uniform(*c.spread)),
                )
            )
        if c.spread[0] < c.spread[1]:  # the bees of a hunt are much alike in it
            like = float(rng.uniform(*c.spread)) if seat == 0 else bees[0].spread
            for b in here[-fresh:]:
                bees[b] = replace(bees[b], spread=like * float(rng.uniform(0.85, 1.15)))
        watch_s = 60.0 * rng.uniform(30.0, 70.0)
        for b in here:
            bee = bees[b]
            _sit(
                day,
                notes,
                number=b,
                bee=bee,
                seat=seat,
                spot=spots[bee.colony],
                start_s=clock,
                watch_s=watch_s,
            )
        clock += watch_s + 900.0
    return _brought_home(
        day, notes, names=names, bees=bees, dishes=dishes, trees=trees, cargo=cargo
    )


def _trees(rng: np.random.Generator, c: Conditions) -> Floats:
    """Put the colonies: usually below 1 km, at times up to 5 (BEEBOOK 4.2.4.2)."""
    far = 0.0
    while not 60.0 <= far <= 5000.0:
        far = 1050.0 * float(rng.weibull(1.35)) + 60.0
    turn = rng.uniform(0, 2 * np.pi)
    trees = [far * np.array([np.sin(turn), np.cos(turn)])]
    if c.lines_apart_deg:
        turn += np.radians(c.lines_apart_deg) * rng.choice([-1, 1])
        other = far * rng.uniform(0.6, 1.6)
        trees.append(other * np.array([np.sin(turn), np.cos(turn)]))
    return np.array(trees)


def _dishes(rng: np.random.Generator, c: Conditions, tree: Floats) -> list[Floats]:
    """Walk along and across the line, from where bees were first found."""
    dishes = [np.zeros(2)]
    for _ in range(int(rng.integers(0, 4)) if not c.last_m else 1):
        towards = np.arctan2(*(tree - dishes[-1]))
        way = towards + np.radians(rng.choice([-1, 1]) * rng.uniform(0.0, 100.0))
        step = rng.uniform(150.0, 450.0)
        dishes.append(dishes[-1] + step * np.array([np.sin(way), np.cos(way)]))
    if c.last_m:
        turn = rng.uniform(0, 2 * np.pi)
        dishes.append(tree + c.last_m * np.array([np.sin(turn), np.cos(turn)]))
    return dishes


def _spot(day: _Day, dish: Floats, tree: Floats, *, seat: int, cargo: str) -> _Spot:
    rng, c = day.rng, day.c
    straight = tree - dish
    far = float(np.hypot(*straight))
    leaves = float(np.degrees(np.arctan2(*straight)))
    way = far
    if c.detours and rng.random() < 0.6:
        # Round a wood or a hill: two legs over a point beside the straight line.
        aside = far * rng.uniform(-0.15, 0.15)
        along = far * rng.uniform(0.35, 0.65)
        way = float(np.hypot(along, aside) + np.hypot(far - along, aside))
        leaves += float(np.degrees(np.arctan2(aside, along)))
    if c.detours:
        way *= rng.uniform(1.0, 1.08)  # up and down and to and fro; guess
    if c.lanes:
        # Along a hedge, down a slope, into the light: most stations a little, a few
        # a great deal; guess.
        leaves += float(rng.laplace(0.0, 3.2))
    return _Spot(
        xy=dish,
        observer=seat % len(day.compass_deg),
        cargo=cargo,
        way_m=way,
        leaves_deg=leaves,
        lost_m=rng.uniform(30.0, 80.0) if c.lanes else 1e6,
    )


def _sit(
    day: _Day,
    notes: _Notes,
    *,
    number: int,
    bee: _Bee,
    seat: int,
    spot: _Spot,
    start_s: float,
    watch_s: float,
) -> None:
    """Watch one bee at one dish until the watch is up."""
    rng, c = day.rng, day.c
    own_deg = float(rng.normal(0.0, 4.0)) if c.lanes else 0.0
    stands = rng.normal(0.0, 2.0, size=2) if c.lanes else np.zeros(2)
    clock = rng.uniform(20.0, 400.0)
    last: tuple[str, float] | None = None
    gaps: list[tuple[float, bool, float]] = []
    round_ = 0

    def noted(kind: str) -> bool:
        nonlocal last
        if rng.random() < day.missed:
            return False
        late = rng.gamma(2.0, 1.2)  # to see it, and say it
        if rng.random() < 0.1:
            late += rng.uniform(3.0, 10.0)  # busy with another bee
        seen = clock + late
        if last is not None:
            if (last[0], kind) == ("away", "back"):
                gaps.append((seen - last[1], False, start_s + seen))
            elif last[0] == kind:
                gaps.append((seen - last[1], True, start_s + seen))
        last = (kind, seen)
        return True

    while clock < watch_s:
        noted("back")
        clock += rng.uniform(*DRINKING_S[spot.cargo])
        if noted("away") and rng.random() < 0.45:
            _read(
                day,
                notes,
                number=number,
                seat=seat,
                spot=spot,
                own_deg=own_deg,
                stands=stands,
                round_=round_,
                clock_s=start_s + clock,
            )
        clock += day.leg_s(bee, spot, start_s + clock, laden=True)
        if c.learning and round_ < 2:
            clock += rng.uniform(5.0, 40.0)  # looks the place over before it leaves
        clock += day.in_hive_s(bee, spot.cargo, round_)
        clock += day.leg_s(bee, spot, start_s + clock, laden=False)
        round_ += 1
    for gap, whole, at in gaps:
        notes.bee.append(number)
        notes.station.append(seat)
        notes.away_s.append(max(1.0, float(np.round(gap))))
        notes.round_trip.append(whole)
        notes.wind.append(_said_wind(day, at))


def _read(
    day: _Day,
    notes: _Notes,
    *,
    number: int,
    seat: int,
    spot: _Spot,
    own_deg: float,
    stands: Floats,
    round_: int,
    clock_s: float,
) -> None:
    """Read one bearing, from the person to where the bee was lost from sight."""
    rng, c = day.rng, day.c
    way = np.radians(spot.leaves_deg + own_deg)
    blow, from_deg = day.wind_at(clock_s)
    # It drifts a little before it holds its line; guess.
    way += np.radians(0.8 * blow * np.sin(np.radians(spot.leaves_deg - from_deg)))
    astray = day.astray + (0.25 if c.learning and round_ < 2 else 0.0)
    if rng.random() < astray:
        seen = rng.uniform(0.0, 360.0)
    elif c.lanes:
        # Near the tree it is lost at the tree; it circled off the dish first.
        off = min(spot.lost_m, spot.way_m)
        lost = off * np.array([np.sin(way), np.cos(way)])
        lost = lost + rng.normal(0.0, 2.5, size=2)
        seen = float(np.degrees(np.arctan2(*(lost - stands))))
    else:
        seen = float(np.degrees(way))
    seen += float(day.compass_deg[spot.observer]) + day.reading_deg * rng.normal()
    width = 5.0 if rng.random() < 0.7 else 1.0
    notes.line_bee.append(number)
    notes.line_station.append(seat)
    notes.line_deg.append(float(width * np.round(seen / width) % 360.0))
    notes.line_width.append(width)
    notes.line_observer.append(spot.observer)


def _said_wind(day: _Day, clock_s: float) -> tuple[float, float]:
    """Return the wind as a person would say it: a word, and one of eight winds."""
    if not day.c.wind:
        return np.nan, np.nan
    blow, from_deg = day.wind_at(clock_s)
    word = next(word for most, word in WIND_WORDS if blow < most)
    return SAID_MPS[word], float(45.0 * np.round(from_deg / 45.0) % 360.0)


def _brought_home(
    day: _Day,
    notes: _Notes,
    *,
    names: list[str],
    bees: list[_Bee],
    dishes: list[Floats],
    trees: Floats,
    cargo: str,
) -> WorldHunt:
    rng, c = day.rng, day.c
    off = 5.0 if c.lanes else 0.0  # a phone's GPS in the open, 5 to 10 m
    said = [place(dish + rng.normal(0.0, off, size=2)) for dish in dishes]
    more = {}
    if "observer" in {f.name for f in fields(survey.Bearings)}:
        more = {"observer": np.array(notes.line_observer, dtype=np.intp)}
    wind = np.array(notes.wind, dtype=np.float64).reshape(-1, 2)
    return WorldHunt(
        stations=survey.Stations(
            id=tuple(f"{i + 1}" for i in range(len(dishes))),
            latitude_deg=np.array([lat for lat, _ in said]),
            longitude_deg=np.array([lon for _, lon in said]),
            cargo=(cargo,) * len(dishes),  # type: ignore[arg-type]
        ),
        trips=_trips(notes, names),
        bearings=survey.Bearings(
            bee=np.array(notes.line_bee, dtype=np.intp),
            station=np.array(notes.line_station, dtype=np.intp),
            bearing_true_deg=np.array(notes.line_deg, dtype=np.float64),
            rounding_deg=np.array(notes.line_width, dtype=np.float64),
            declination_sd_deg=0.4,
            **more,
        ),
        wind=(
            survey.TripWind(speed_mps=wind[:, 0], from_true_deg=wind[:, 1])
            if c.wind
            else None
        ),
        truth_xy=trees,
        colony_of_bee=tuple(bee.colony for bee in bees),
    )


def _trips(notes: _Notes, names: list[str]) -> survey.Trips:
    bee = np.array(notes.bee, dtype=np.intp)
    seat = np.array(notes.station, dtype=np.intp)
    away = np.array(notes.away_s, dtype=np.float64)
    cycles = np.ones(len(bee), dtype=np.intp)
    for key in set(zip(notes.bee, notes.station, strict=True)):
        own = (bee == key[0]) & (seat == key[1])
        ratio = away[own] / np.median(away[own])  # as somebody pairing would guess
        cycles[own] = np.where(ratio > 2.6, 3, np.where(ratio > 1.75, 2, 1))
    return survey.Trips(
        bees=tuple(names),
        bee=bee,
        station=seat,
        away_s=away,
        round_trip=np.array(notes.round_trip, dtype=bool),
        rounding_s=np.zeros(len(bee)),
        cycles=cycles,
    )
