"""Small hunts with a known answer, for the tests of this room."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from treeward import survey

if TYPE_CHECKING:
    from numpy.typing import NDArray

HEATH = (52.3012, -3.6104)
PER_METRE = 1 / 7.5 + 1 / 6.5  # out and home at Wenner 1963's speeds


def stations(
    *offsets: tuple[float, float], cargo: survey.Cargo = "water"
) -> survey.Stations:
    """Return stations at metres east and north of the heath."""
    frame = survey.LocalFrame(*HEATH)
    lonlat = frame.to_lonlat(np.array(offsets or [(0.0, 0.0)]))
    return survey.Stations(
        id=tuple(str(i + 1) for i in range(len(lonlat))),
        latitude_deg=lonlat[:, 1],
        longitude_deg=lonlat[:, 0],
        cargo=(cargo,) * len(lonlat),
    )


def trips(
    away_s: list[float] | NDArray[np.float64],
    *,
    bee: list[int] | None = None,
    station: list[int] | None = None,
    bees: tuple[str, ...] = ("yellow",),
) -> survey.Trips:
    """Return plainly timed trips."""
    n = len(away_s)
    return survey.Trips(
        bees=bees,
        bee=np.array(bee if bee is not None else [0] * n, dtype=np.intp),
        station=np.array(station if station is not None else [0] * n, dtype=np.intp),
        away_s=np.array(away_s, dtype=np.float64),
        round_trip=np.zeros(n, dtype=bool),
        rounding_s=np.zeros(n),
        cycles=np.ones(n, dtype=np.intp),
    )


def bearings(
    degrees: list[float] | NDArray[np.float64],
    *,
    bee: list[int] | None = None,
    station: list[int] | None = None,
) -> survey.Bearings:
    """Return bearings read to the degree."""
    n = len(degrees)
    return survey.Bearings(
        bee=np.array(bee if bee is not None else [-1] * n, dtype=np.intp),
        station=np.array(station if station is not None else [0] * n, dtype=np.intp),
        bearing_true_deg=np.array(degrees, dtype=np.float64) % 360.0,
        rounding_deg=np.ones(n),
    )


def placed(*told: Any, wind: survey.TripWind | None = None) -> survey.Fix:
    """Locate for a test of where colonies are: what to do next takes as long again."""
    return survey.locate(*told, wind=wind, onward=False)


def usual(distance_m: float, *, stay_s: float = 134.0) -> float:
    """Return a usual away time at a distance, at the model's median factors."""
    return distance_m * PER_METRE / 0.97 + stay_s


def two_station_hunt(
    colony: tuple[float, float] = (600.0, 500.0), seed: int = 3
) -> tuple[survey.Stations, survey.Trips, survey.Bearings]:
    """Return four bees at two stations with times and bearings."""
    rng = np.random.default_rng(seed)
    spots = [(0.0, 0.0), (300.0, 350.0)]
    at = stations(*spots)
    bee = np.tile(np.arange(4), 10)
    seat = np.repeat([0, 1], 20)
    way = np.array(colony) - np.array(spots)
    away = np.hypot(*way.T)
    gap = away[seat] * PER_METRE + 134.0 * np.exp(0.25 * rng.standard_normal(40))
    turn = np.degrees(np.arctan2(*way.T))[seat] + 7.0 * rng.standard_normal(40)
    return (
        at,
        trips(
            gap,
            bee=list(bee),
            station=list(seat),
            bees=("yellow", "blue", "white", "red"),
        ),
        bearings(turn, bee=list(bee), station=list(seat)),
    )


def holds(area: survey.SearchArea, xy: tuple[float, float]) -> bool:
    """Return whether an area holds a place east and north of the heath."""
    from matplotlib.path import Path

    point = tuple(survey.LocalFrame(*HEATH).to_lonlat(np.array([xy]))[0])
    return any(
        Path(p.outer).contains_point(point)
        and not any(Path(hole).contains_point(point) for hole in p.holes)
        for p in area.polygons
    )
