"""What the person may tell the survey core, and the priors when they don't.

Every default carries its source; "guess" marks a figure that no publication in
reach of the authors gives.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .records import Cargo, Floats

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
