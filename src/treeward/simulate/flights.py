"""What the bees do: drink, fly home, unload, fly back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .invented import SimulationSettings
from .world import line

if TYPE_CHECKING:
    from .invented import (
        Cargo,
        SharedErrors,
        SimulatedBee,
        SimulatedColony,
        SimulatedStation,
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


def varying_share(spread: float) -> float:
    """Return what share of the usual in-hive time varies, for a given sd / mean.

    Of a share r, gamma-distributed with mode near one, and 1 - r that no trip falls
    under, sd / mean is r sqrt(k) / (k - 0.6) / (1 + 0.6 r / (k - 0.6)), k the shape.
    """
    width = np.sqrt(SKEW) / (SKEW - 0.6)
    return float(spread / (width - spread * 0.6 / (SKEW - 0.6)))


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


def draw_settings(
    rng: np.random.Generator, *, colonies: int = 1, calibration: bool | None = None
) -> SimulationSettings:
    """Draw the settings of one hunt: one to four stations, two to eight bees.

    Parameters
    ----------
    rng
        Where the randomness comes from.
    colonies
        One or two.
    calibration
        Whether a hive of known place is watched too; in a quarter of hunts if None.
    """
    if calibration is None:
        calibration = bool(rng.random() < 0.25)
    settings = SimulationSettings(
        stations=int(rng.integers(1, 5)),
        bees=int(rng.integers(2, 9)),
        colonies=colonies,
        cargo="water" if rng.random() < 0.5 else "syrup",
        distance_m=(250.0, 2500.0),
        watch_min=float(rng.uniform(30.0, 75.0)),
        missed_share=float(rng.uniform(0.05, 0.07)),
        bearing_share=float(rng.uniform(0.2, 0.6)),
        calibration=calibration,
    )
    # Regular bees and irregular ones; drawn last, so that the rest of a seed stays.
    spread = float(rng.uniform(0.10, 0.45))
    return replace(settings, in_hive_varying_share=varying_share(spread))


def beyond(settings: SimulationSettings) -> SimulationSettings:
    """Return settings like these but outside what any survey should expect."""
    return replace(
        settings,
        speed_factor=(0.75, 0.9),
        in_hive_factor=(1.4, 1.8),
        compass_sd_deg=7.0,
        stray_share=0.15,
    )
