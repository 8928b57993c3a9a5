"""Doors of the survey core: arrays in, records out. No files, no speech.

Positions are WGS84 degrees; distances metres; times seconds; bearings degrees
clockwise from TRUE north. Everything else is inside.

Array types, and exponentials that neither overflow nor underflow.

`Settings` is what the person may tell the survey core, and the priors when they don't.
Every default carries its source; "guess" marks a figure that no publication in
reach of the authors gives.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Mapping

Cargo = Literal["water", "syrup", "nectar"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stations:
    """Where bees are watched; S stations."""

    id: tuple[str, ...]
    latitude_deg: NDArray[np.float64]  # (S,)
    longitude_deg: NDArray[np.float64]  # (S,)
    cargo: tuple[Cargo, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trips:
    """Timed trips; T of them. Indices point into Stations and `bees`."""

    bees: tuple[str, ...]  # names of the bees, "yellow", "blue-white"
    bee: NDArray[np.intp]  # (T,) index into bees
    station: NDArray[np.intp]  # (T,) index into Stations
    away_s: NDArray[np.float64]  # (T,)
    round_trip: NDArray[np.bool_]  # (T,) landing to landing: holds loading too
    rounding_s: NDArray[np.float64]  # (T,) width it was rounded to, 0 if timed
    cycles: NDArray[np.intp]  # (T,) probable number of trips in the gap
    day: NDArray[np.intp] | None = None  # (T,) on which of the days; None: on one
    # Pairs of indices into bees that may be one bee, by nobody's word: their in-hive
    # times are not tied.
    maybe_same: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearings:
    """Vanishing bearings; B of them."""

    bee: NDArray[np.intp]  # (B,) index into Trips.bees, -1 where unknown
    station: NDArray[np.intp]  # (B,)
    bearing_true_deg: NDArray[np.float64]  # (B,)
    rounding_deg: NDArray[np.float64]  # (B,) width it was rounded to
    declination_sd_deg: float = 0.0  # of the correction, shared by all
    # (B,) by which of the observers, each with a compass of its own; None: by one.
    observer: NDArray[np.intp] | None = None


class HandRuleKind(StrEnum):
    """The published rules of thumb; `hand_rules` has their sources."""

    VISSCHER_SEELEY = "visscher_seeley_1989"
    SEELEY = "seeley_2019"
    KEPHART = "kephart"
    FIFTEEN_MPH = "fifteen_mph"


@dataclass(frozen=True, slots=True, kw_only=True)
class HandRule:
    """What a published rule of thumb says of one away time; never averaged in."""

    kind: HandRuleKind
    distance_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BeeDistance:
    """How far one bee flies from one station, with its posterior."""

    bee: str
    station: str
    trips_used: int
    shortest_away_s: float
    median_m: float
    low50_m: float
    high50_m: float
    low90_m: float
    high90_m: float
    hand_rules: tuple[HandRule, ...]
    distance_m: NDArray[np.float64]  # (n,) grid, for the picture
    density_per_m: NDArray[np.float64]  # (n,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Polygon:
    """Rings of (longitude, latitude) degrees, closed; outer one anticlockwise."""

    outer: NDArray[np.float64]  # (n, 2)
    holes: tuple[NDArray[np.float64], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchArea:
    """The smallest area that holds the colony with `probability`."""

    probability: float
    area_m2: float
    polygons: tuple[Polygon, ...]  # one per patch, likeliest first


@dataclass(frozen=True, slots=True, kw_only=True)
class Density:
    """Posterior on a grid, for pictures. probability sums to 1 over cells."""

    latitude_deg: NDArray[np.float64]  # (ny, nx) cell centres
    longitude_deg: NDArray[np.float64]  # (ny, nx)
    probability: NDArray[np.float64]  # (ny, nx)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassicalFix:
    """A textbook point from bearings alone, as a cross-check.

    `crossings` counts the pairs of bearings that cross ahead of both stations.
    """

    method: str  # "Lenth MLE", "Huber", "Andrews"
    latitude_deg: float
    longitude_deg: float
    ellipse_95: NDArray[np.float64]  # (n, 2) longitude, latitude; empty if none
    area_95_m2: float
    bearings: int
    crossings: int
    spread_taken_deg: float | None = None  # where bearings are too few to tell it


class SeatReason(StrEnum):
    """What a station there would add to what is known."""

    CROSS_LINE = "cross_line"  # a line across the old one
    LOOKING_BACK = "looking_back"  # beyond the colony
    NEARER = "nearer"  # down the line, nearer
    ANOTHER_LINE = "another_line"
    SECOND_DISTANCE = "second_distance"  # where there are no bearings


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStation:
    """Where to sit next, and what it should bring."""

    latitude_deg: float
    longitude_deg: float
    from_station: str
    walk_m: float
    walk_bearing_true_deg: float
    expected_area_90_m2: float
    area_90_m2: float
    why: SeatReason
    minutes: float = 60.0  # of sitting there, for the area expected


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One strip of the search plan, walked from start to end."""

    start_latitude_deg: float
    start_longitude_deg: float
    end_latitude_deg: float
    end_longitude_deg: float
    probability: float  # that the nest is found in it, and not before
    way: tuple[
        tuple[float, float], ...
    ] = ()  # longitude, latitude: passed to its start
    done_s: float | None = None  # since the walk began, at its end


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """Time to the nest with a station before it, against going on searching.

    `search_s` is the mean time to the nest
    on the map as it is, `after_s` on the map that the sitting should leave; both
    searched at best, without the walking from place to place.
    """

    minutes: float
    walk_s: float
    set_up_s: float
    search_s: float
    after_s: float

    @property
    def saved_s(self) -> float:
        """What sitting saves, on average; below zero where it costs."""
        spent_s = self.walk_s + self.set_up_s + 60.0 * self.minutes
        return self.search_s - self.after_s - spent_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Searched:
    """What looking has told of one colony so far, and what looking on would take.

    Times are of a walk at the speeds and the sweep width given.
    """

    found_by_now: float  # chance that the looking would have found it; 0 for none
    found_if_half: float  # that chance if one sees half as far as W says
    still_inside: float  # chance that it is in the 90 % area as it was before looking
    before_area: SearchArea  # that area
    ground_used: bool  # False where the weights of the ground left nothing of the map
    mean_s: float  # mean time to the nest, by the plan and what comes after it
    plan_s: float  # length of the plan
    plan_finds: float  # chance that the plan finds it
    plan_finds_if_half: float  # that chance if one sees half as far as W says
    sitting: Sitting | None = None  # the best of them; None where none can be reached


@dataclass(frozen=True, slots=True, kw_only=True)
class Enough:
    """When more of the same hardly helps: other bees, or another place, would.

    Bearings at a station share the deviation of its line and the compass; trips of a
    bee share its in-hive time and speed, and the hunt's. From `enough` of them on, all
    further ones together take less than an eighth off the variance.
    """

    kind: Literal["bearings", "trips"]
    colony: str  # Colony.id
    station: str  # Stations.id; for trips the bee's last
    bee: str  # Trips.bees; "" for bearings
    count: int  # taken so far
    enough: int  # from here on, more of the same stops paying
    # Standard deviation of the line they fix [degrees], or of the bee's usual away
    # time as a measure of distance [s]: now, and with any number more.
    sd_now: float
    sd_least: float


class AreaShape(StrEnum):
    """What the 90 % area looks like."""

    NOTHING_MEASURED = "nothing_measured"  # the prior alone
    PATCH = "patch"
    PATCHES = "patches"  # as many as the area has polygons
    RING = "ring"
    DISC = "disc"  # about the station
    PART_OF_RING = "part_of_ring"
    LONG_STRIP = "long_strip"
    WEDGE = "wedge"  # direction without distance


class AdviceKind(StrEnum):
    """What would help, or what was done; beside each the fields of `Advice` it has."""

    SIT_NEXT = "sit_next"  # seat
    STOP_LINING = "stop_lining"  # area_m2: so small that trees are looked up sooner
    NO_SEAT = "no_seat"  # none within the walk limit and outside what is left out
    NO_TIMES = "no_times"
    NO_BEARINGS = "no_bearings"
    FEW_BEARINGS = "few_bearings"  # count, wanted
    FEW_TRIPS = "few_trips"  # count
    ONE_STATION = "one_station"  # tells no speed and in-hive time from distance
    MAYBE_BEYOND = "maybe_beyond"  # distance_m: where the search stops
    LEFT_OUT = "left_out"  # marks: bees of a known hive
    MAYBE_TWO_COLONIES = "maybe_two_colonies"  # marks (two), probability of one
    CALIBRATED = "calibrated"  # from_m, to_m: width of the 90 % interval of distance


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """A piece of advice; which numbers it has, `AdviceKind` says."""

    kind: AdviceKind
    colony: str = ""  # Colony.id where it is not true of all
    marks: tuple[str, ...] = ()
    count: int = 0
    wanted: int = 0
    probability: float = 0.0
    area_m2: float = 0.0
    distance_m: float = 0.0
    from_m: float = 0.0
    to_m: float = 0.0
    seat: NextStation | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Colony:
    """Where one colony probably is, and how to come nearer to it."""

    id: str  # "A", "B"
    marks: tuple[str, ...]
    best_latitude_deg: float
    best_longitude_deg: float
    distance_m: Mapping[
        str, tuple[float, float, float]
    ]  # station -> low90, median, high90
    search_areas: Mapping[int, SearchArea]  # 50, 90, 95
    density: Density
    classical: tuple[ClassicalFix, ...] = ()
    shape: AreaShape = AreaShape.PATCH
    next_station: NextStation | None = None
    search_plan: tuple[Strip, ...] = ()
    advice: tuple[Advice, ...] = ()  # what would help this colony, most wanted first
    searched: Searched | None = None  # None where nothing was measured

    @property
    def latitude_deg(self) -> float:
        """Of the best place."""
        return self.best_latitude_deg

    @property
    def longitude_deg(self) -> float:
        """Of the best place."""
        return self.best_longitude_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class Fix:
    """The whole answer of the survey core.

    `next_station` and `search_plan` are the first colony's; each colony has its own.
    `advice` is that of all colonies; where there are several, what is not true of all
    names its colony.
    """

    bees: tuple[BeeDistance, ...]
    colonies: tuple[Colony, ...]
    next_station: NextStation | None
    search_plan: tuple[Strip, ...] = ()
    advice: tuple[Advice, ...] = ()  # what would help, most wanted first
    learned: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    # shared unknowns of the hunt -> (median, sd): "flight_speed_factor", ...
    same_colony: Mapping[tuple[str, str], float] = field(default_factory=dict)
    # (mark, mark) -> probability that they share a colony, on their own evidence
    enough: tuple[Enough, ...] = ()  # where further notes of the same stop paying


Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.intp]
Bools: TypeAlias = NDArray[np.bool_]


_SERIES_FROM = 500.0  # above it the series below is right to 2e-12


def bessel_i0e(x: Floats) -> Floats:
    """Return the modified Bessel function I0(x) times exp(-x), for x >= 0.

    numpy's I0, and for large x, where that overflows, the asymptotic series of
    Abramowitz and Stegun 1964, Handbook of Mathematical Functions, 9.7.1.
    """
    x = np.asarray(x, dtype=np.float64)
    small, large = np.minimum(x, _SERIES_FROM), np.maximum(x, _SERIES_FROM)
    series = 1 + 1 / (8 * large) + 9 / (128 * large**2) + 225 / (3072 * large**3)
    return np.where(
        x < _SERIES_FROM,
        np.i0(small) * np.exp(-small),
        series / np.sqrt(2 * np.pi * large),
    )


def log_sum_exp(values: Floats, axis: int | tuple[int, ...]) -> Floats:
    """Return log(sum(exp(values))) over `axis`; -inf where all of it is -inf."""
    top = np.max(values, axis=axis, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        total = np.log(np.sum(np.exp(values - top), axis=axis))
    return np.asarray(total + np.squeeze(top, axis=axis), dtype=np.float64)


def integrate_nodes(
    by_node: Floats | NDArray[np.float32], log_weight: Floats
) -> Floats:
    """Sum (n, ...) log likelihoods over nodes with (k, ...) log weights; (n, k)."""
    flat = by_node.reshape(len(by_node), -1)
    top = flat.max(axis=1)
    likelihood = np.exp(flat - top[:, None])
    weight = np.exp(log_weight).reshape(len(log_weight), -1).astype(flat.dtype)
    total = (likelihood @ weight.T).astype(np.float64)
    return np.asarray(np.log(total + 1e-300) + top[:, None])


WIND_MPS: Mapping[str, float] = MappingProxyType(
    {
        "calm": 0.5,  # guess; Beaufort 0-1
        "light": 2.5,  # Beaufort 2
        "moderate": 5.0,  # Beaufort 3-4
        "strong": 8.0,  # Beaufort 5; bees are upset above 5.6 (BEEBOOK 11.2.4)
    }
)
"""Wind words to m/s at bee height (guesses after the Beaufort scale)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TripWind:
    """Wind during each trip; NaN where nobody said.

    Attributes
    ----------
    speed_mps
        (T,) wind speed [m/s].
    from_true_deg
        (T,) direction the wind blows from [degrees clockwise from true north].
    """

    speed_mps: Floats
    from_true_deg: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownHive:
    """A hive whose place is known; the bees of `marks` fly from it and are left out."""

    name: str
    latitude_deg: float
    longitude_deg: float
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """A station whose bees fly from a hive of known place.

    Its trips and bearings locate nothing; they measure the in-hive time, the flight
    speed and the compass of this hunt.
    """

    station: str  # Stations.id
    hive_latitude_deg: float
    hive_longitude_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnFactors:
    """What own found hunts make of the factors on flight speed and in-hive time.

    Means and standard deviations are of their logarithms (`own_prior.OwnPrior`). They
    tilt the plain prior, so that where they are as wide as it nothing is changed.
    """

    ln_f: float
    ln_f_sd: float
    ln_g: float
    ln_g_sd: float
    correlation: float

    def __post_init__(self) -> None:
        """Refuse figures that belong to no normal distribution."""
        spreads = (self.ln_f_sd, self.ln_g_sd)
        fine = np.isfinite([self.ln_f, self.ln_g, *spreads, self.correlation]).all()
        if not (fine and min(spreads) > 0 and -1 < self.correlation < 1):
            msg = f"settings.learned: {self} is no normal distribution"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Priors, overrides and limits of one call of `locate`.

    The prior on distance is lognormal in the DISTANCE from the first station that
    is not a calibration station (where lining began); its density over the map is
    that density divided by 2 pi r, so that all directions are alike.
    """

    # Flight: factor on the published ground speed, shared by all bees of a hunt.
    flight_speed_out_mps: float = 7.5  # hive to station, unladen; Wenner 1963
    flight_speed_home_mps: float = 6.5  # station to hive, laden; Wenner 1963
    flight_speed_factor: float = 0.97  # median; published means run 0.85-1.1 of Wenner
    flight_speed_factor_sd: float = 0.075  # of its logarithm
    # Where the person gives a leg's own range: the sd of its logarithm. That leg then
    # keeps its median as given, without the factor above.
    flight_speed_out_sd: float | None = None
    flight_speed_home_sd: float | None = None
    wind_compensation: float = 0.6  # share of head and tail wind made up for; guess
    wind_compensation_sd: float = 0.2  # of that share, hunt to hunt; guess
    # In the hive: median seconds by cargo, and a factor shared by all bees of a hunt.
    in_hive_s: Mapping[Cargo, float] = field(default_factory=dict)  # overrides
    in_hive_factor: float = 1.12  # median of the hunt's factor on the defaults
    in_hive_factor_sd: float = 0.18  # of its logarithm
    calibration_transfer_sd: float = 0.05  # guess: calibrated against hunted colony
    learned: OwnFactors | None = None  # what own found hunts make of the two factors
    # Compass and flight lines.
    compass_sd_deg: float = 3.0  # shared offset of an instrument and its reader
    station_sd_deg: float = 3.5  # of a station's line, shared by its bees; guess
    station_tail_share: float = 0.12  # of stations whose line deviates a lot; guess
    station_tail_sd_deg: float = 13.0  # of those; guess
    bee_line_sd_deg: float = 4.0  # of a bee's line about its station's; guess
    circling_m: float = 8.0  # departing circles, and positions by GPS; guess
    bearing_sd_deg: float = 9.0  # median spread of single bearings; 5-10 by hand
    bearing_sd_sigma: float = 0.45  # of its logarithm (guess)
    bearing_sd_floor_deg: float = 3.0  # few bearings must not look perfect
    # Distance.
    distance_median_m: float = 900.0  # BEEBOOK 4.2.4.2 "usually < 1 km"
    distance_sigma: float = 0.8  # as Visscher and Seeley 1982 (0.785)
    distance_cut_m: float = 6000.0  # 95 % of forage in Visscher and Seeley 1982
    # The person's knowledge.
    known_hives: tuple[KnownHive, ...] = ()
    calibrations: tuple[Calibration, ...] = ()
    assigned: Mapping[str, str] = field(default_factory=dict)  # mark -> colony id
    # Walking.
    walk_limit_m: float = 1000.0  # guess: twenty minutes over rough ground
    leave_out: tuple[Floats, ...] = ()  # (n, 2) rings of longitude, latitude: no seat

    def __post_init__(self) -> None:
        """Refuse figures that are not positive and finite."""
        for name in (
            "flight_speed_out_mps",
            "flight_speed_home_mps",
            "flight_speed_factor",
            "flight_speed_factor_sd",
            "in_hive_factor",
            "in_hive_factor_sd",
            "calibration_transfer_sd",
            "compass_sd_deg",
            "station_sd_deg",
            "station_tail_sd_deg",
            "bee_line_sd_deg",
            "circling_m",
            "bearing_sd_deg",
            "bearing_sd_sigma",
            "bearing_sd_floor_deg",
            "distance_median_m",
            "distance_sigma",
            "distance_cut_m",
            "walk_limit_m",
        ):
            value = float(getattr(self, name))
            if not (np.isfinite(value) and value > 0):
                msg = f"settings.{name}: must be a positive number, not {value}"
                raise ValueError(msg)
        for name in ("flight_speed_out_sd", "flight_speed_home_sd"):
            spread = getattr(self, name)
            if spread is not None and not (np.isfinite(spread) and spread > 0):
                msg = f"settings.{name}: must be a positive number, not {spread}"
                raise ValueError(msg)
        for name in (
            "wind_compensation",
            "wind_compensation_sd",
            "station_tail_share",
        ):
            share = float(getattr(self, name))
            if not 0 <= share <= 1:
                msg = f"settings.{name}: must be a share, 0 to 1, not {share}"
                raise ValueError(msg)
        for cargo, seconds in self.in_hive_s.items():
            if not (np.isfinite(seconds) and 1 <= seconds <= 7200):
                msg = f"settings.in_hive_s: {cargo} must be 1-7200 s, not {seconds}"
                raise ValueError(msg)
        if not 50 <= self.distance_cut_m <= 15000:
            msg = (
                "settings.distance_cut_m: must be 50-15000 m, "
                f"not {self.distance_cut_m:g}; bees have been followed to 13.5 km"
            )
            raise ValueError(msg)
