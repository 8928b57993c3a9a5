"""How far other notes move the best place, held against solving both anew."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest
from pyproj import Geod

from survey import hunts
from treeward import survey
from treeward.survey.influence import Influence, Seen

STATIONS, TRIPS, BEARINGS = hunts.two_station_hunt()
AS_IT_IS = Seen(
    stations=STATIONS, trips=TRIPS, bearings=BEARINGS, settings=survey.Settings()
)


@cache
def as_it_is() -> Influence:
    return Influence(AS_IT_IS)


def turned(degrees: float, *, station: int | None = None) -> Seen:
    """Return the hunt with the bearings of a station, or all, read otherwise."""
    some = np.ones(len(BEARINGS.bee), dtype=bool)
    if station is not None:
        some = BEARINGS.station == station
    read = (BEARINGS.bearing_true_deg + degrees * some) % 360
    lines = dataclasses.replace(BEARINGS, bearing_true_deg=read)
    return dataclasses.replace(AS_IT_IS, bearings=lines)


def slower(factor: float) -> Seen:
    trips = dataclasses.replace(TRIPS, away_s=TRIPS.away_s * factor)
    return dataclasses.replace(AS_IT_IS, trips=trips)


def solved(seen: Seen) -> survey.Colony:
    return hunts.placed(seen.stations, seen.trips, seen.bearings).colonies[0]


@cache
def solved_as_it_is() -> survey.Colony:
    return solved(AS_IT_IS)


def moved_m(other: Seen) -> float:
    """Return how far `locate` moves the best place."""
    one, two = solved_as_it_is(), solved(other)
    _, _, metres = Geod(ellps="WGS84").inv(
        one.best_longitude_deg,
        one.best_latitude_deg,
        two.best_longitude_deg,
        two.best_latitude_deg,
    )
    return float(metres)


@pytest.mark.parametrize(
    "other",
    [
        pytest.param(turned(8.0), id="a little", marks=pytest.mark.slow),
        pytest.param(turned(-15.0), id="more", marks=pytest.mark.slow),
        pytest.param(
            turned(20.0, station=1), id="at one station", marks=pytest.mark.slow
        ),
        pytest.param(turned(120.0), id="right round", marks=pytest.mark.slow),
        pytest.param(slower(1.4), id="slower", marks=pytest.mark.slow),
    ],
)
def test_it_moves_as_far_as_when_solved_anew(other: Seen) -> None:
    found = as_it_is().moves_m(other)

    assert found == pytest.approx(moved_m(other), rel=0.2, abs=25.0)


@pytest.mark.slow
def test_the_same_notes_move_nothing() -> None:
    assert as_it_is().moves_m(turned(0.0)) == 0.0


def test_where_nothing_is_left_there_is_no_place() -> None:
    nothing = dataclasses.replace(
        AS_IT_IS,
        trips=hunts.trips([], bees=TRIPS.bees),
        bearings=hunts.bearings([]),
    )

    assert as_it_is().moves_m(nothing) is None
