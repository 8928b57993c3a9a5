"""What is made of the records before anything is solved."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import special

from survey import hunts
from treeward import survey
from treeward.survey import case
from treeward.survey.evidence import Evidence
from treeward.survey.grid import Grid, shape_of
from treeward.survey.records import AreaShape

NO_LINES = hunts.bearings([])


def prepared(
    trips: survey.Trips,
    lines: survey.Bearings = NO_LINES,
    *spots: tuple[float, float],
    settings: survey.Settings | None = None,
    wind: survey.TripWind | None = None,
) -> case.CheckedHunt:
    return case.prepare(
        hunts.stations(*spots), trips, lines, settings or survey.Settings(), wind
    )


def test_trips_in_one_wind_share_a_place_and_calm_has_no_direction() -> None:
    # Directions to five degrees, speeds to a metre a second; below one there is none.
    wind = survey.TripWind(
        speed_mps=np.array([4.0, 4.4, 4.0, 0.9, np.nan, 6.0]),
        from_true_deg=np.array([88.0, 92.0, 93.0, 200.0, 10.0, 90.0]),
    )
    hunt = prepared(hunts.trips([400.0] * 6), wind=wind)
    told = {
        (place.wind_mps, round(float(np.degrees(place.wind_from_rad)), 6))
        for place in hunt.case.places
        if not np.isnan(place.wind_from_rad)
    }
    assert told == {(4.0, 90.0), (4.0, 95.0), (6.0, 90.0)}
    calm = [place for place in hunt.case.places if np.isnan(place.wind_from_rad)]
    assert sorted(place.wind_mps for place in calm) == [0.0, 1.0]
    assert sum(one.trips for one in hunt.case.times) == 6


def test_stations_nearer_than_five_metres_are_one_spot_and_not_in_a_chain() -> None:
    spots = ((0.0, 0.0), (4.9, 0.0), (9.7, 0.0), (5.1, 40.0))
    lines = hunts.bearings([10.0] * 4, station=[0, 1, 2, 3])
    hunt = prepared(hunts.trips([]), lines, *spots)
    # The third lies near the second, which is at the first's already.
    assert list(hunt.case.bearing_station) == [0, 0, 2, 3]
    assert hunt.stations_used == (0, 1, 2, 3)


def test_observers_are_counted_as_they_come_in_order() -> None:
    lines = dataclasses.replace(
        hunts.bearings([10.0, 20.0, 30.0]), observer=np.array([7, 2, 7])
    )
    hunt = prepared(hunts.trips([]), lines)
    assert list(hunt.case.bearing_observer) == [1, 0, 1]
    assert len(hunt.case.line_nodes.offset_rad) == 2
    alone = prepared(hunts.trips([]), hunts.bearings([10.0]))
    assert list(alone.case.bearing_observer) == [0]
    seats = hunt.case.seats(np.arange(3))
    assert [(s, o, list(own)) for s, o, own in seats] == [(0, 0, [1]), (0, 1, [0, 2])]


def test_tables_reach_as_far_as_the_slowest_bees_fly_to_the_rim() -> None:
    # 4.2 standard deviations slower than usual, out and home; at most 5000 s.
    near = survey.Settings(distance_cut_m=2000.0)
    hunt = prepared(hunts.trips([400.0] * 2), settings=near)
    longest = 2000.0 * (1 / 7.5 + 1 / 6.5) / (0.97 * np.exp(-4.2 * 0.075))
    nodes = hunt.case.flight_nodes_s
    assert nodes[-3] < longest <= nodes[-1]
    far = survey.Settings(distance_cut_m=15000.0)
    assert prepared(hunts.trips([400.0]), settings=far).case.flight_nodes_s[-3] < 5000


@pytest.mark.slow
def test_before_anything_is_seen_the_distance_is_lognormal_all_round() -> None:
    hunt = prepared(hunts.trips([]))
    x = np.arange(-6200.0, 6200.0, 40.0) + 20.0
    xy = np.stack(np.meshgrid(x, x), axis=-1).reshape(-1, 2)
    density = np.exp(hunt.case.log_prior(xy))
    away = np.hypot(*xy.T)
    assert (density[away > 6000.0] == 0).all()
    # ln r is normal about ln 900, 0.8 wide, as far as 6 km.
    for metres in (300.0, 900.0, 2000.0):
        z = np.log(metres / 900.0) / 0.8
        cut = np.log(6000.0 / 900.0) / 0.8
        expected = special.ndtr(z) / special.ndtr(cut)
        share = density[away < metres].sum() / density.sum()
        assert share == pytest.approx(expected, abs=0.01)
    turned = density.reshape(len(x), len(x)).T.ravel()
    assert turned == pytest.approx(density)


def test_bees_of_a_known_hive_and_of_calibration_are_set_aside() -> None:
    hive = survey.KnownHive(
        name="lane", latitude_deg=52.3, longitude_deg=-3.6, marks=("b",)
    )
    beside = survey.Calibration(
        station="2", hive_latitude_deg=52.31, hive_longitude_deg=-3.61
    )
    trips = hunts.trips(
        [400.0] * 6, bee=[0, 0, 1, 1, 2, 2], station=[0, 0, 0, 0, 1, 1],
        bees=("a", "b", "c"),
    )  # fmt: skip
    lines = hunts.bearings([10.0, 20.0, 30.0, 40.0], bee=[0, 1, 2, -1],
                           station=[0, 0, 1, 0])  # fmt: skip
    hunt = prepared(
        trips, lines, (0.0, 0.0), (0.0, 800.0),
        settings=survey.Settings(known_hives=(hive,), calibrations=(beside,)),
    )  # fmt: skip
    assert hunt.bees == (0,)
    assert hunt.left_out == ("b",)
    assert list(hunt.trip_used) == [0, 1]
    assert list(hunt.bearing_used) == [0, 3]
    assert hunt.stations_used == (0,)
    assert hunt.case.origin_xy == pytest.approx(hunt.case.station_xy[0])


def area_of(xy: np.ndarray, *, holes: int = 0, patches: int = 1) -> survey.SearchArea:
    ring = survey.LocalFrame(*hunts.HEATH).to_lonlat(xy)
    polygon = survey.Polygon(outer=ring, holes=(ring,) * holes)
    return survey.SearchArea(
        probability=0.9, area_m2=1.0, polygons=(polygon,) * patches
    )


def cells(from_deg: float, to_deg: float, near_m: float, far_m: float) -> Grid:
    """Return a map that is even between two distances and directions."""
    turn, away = np.meshgrid(
        np.radians(np.arange(from_deg, to_deg, 1.0)), np.linspace(near_m, far_m, 40)
    )
    xy = np.stack([away * np.sin(turn), away * np.cos(turn)], axis=-1).reshape(-1, 2)
    return Grid(
        xy=xy,
        index=np.stack([np.arange(len(xy))] * 2, axis=-1),
        cell_m=10.0,
        probability=np.full(len(xy), 1 / len(xy)),
    )


@pytest.mark.parametrize(
    ("grid", "told", "area", "shape"),
    [
        (cells(0, 360, 500, 900), "both", {"holes": 1}, AreaShape.RING),
        (cells(0, 360, 5, 300), "both", {}, AreaShape.DISC),
        (cells(0, 360, 500, 900), "both", {"patches": 3, "holes": 1}, AreaShape.RING),
        (cells(20, 60, 500, 900), "both", {"patches": 2}, AreaShape.PATCHES),
        (cells(20, 60, 500, 900), "both", {}, AreaShape.PATCH),
        (cells(20, 125, 500, 900), "both", {}, AreaShape.PART_OF_RING),
        (cells(20, 60, 300, 2500), "both", {}, AreaShape.LONG_STRIP),
        (cells(20, 60, 100, 900), "both", {}, AreaShape.PATCH),  # long, but not far
        (cells(20, 60, 300, 2500), "lines", {}, AreaShape.WEDGE),
        (cells(0, 360, 5, 300), "nothing", {}, AreaShape.NOTHING_MEASURED),
    ],
)
def test_an_area_is_called_what_it_looks_like(
    grid: Grid, told: str, area: dict[str, int], shape: AreaShape
) -> None:
    trips = hunts.trips([400.0] * 2 if told == "both" else [])
    lines = NO_LINES if told == "nothing" else hunts.bearings([40.0, 44.0])
    hunt = prepared(trips, lines)
    evidence = Evidence(
        hunt.case, frozenset(hunt.bees), np.ones(len(hunt.bearing_used), dtype=bool)
    )
    assert shape_of(area_of(grid.xy[:4], **area), evidence, grid) is shape
