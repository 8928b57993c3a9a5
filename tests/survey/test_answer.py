from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from matplotlib.path import Path
from pyproj import Geod

from survey import hunts
from treeward import survey
from treeward.survey import answer

NO_TRIPS = hunts.trips([])
NO_LINES = hunts.bearings([])


def only(fix: survey.Fix) -> survey.Colony:
    (colony,) = fix.colonies
    for area in colony.search_areas.values():
        assert np.isfinite(area.area_m2)
        assert area.polygons
    assert np.isfinite(colony.density.probability).all()
    assert colony.density.probability.sum() == pytest.approx(1.0)
    return colony


def test_two_stations_find_the_colony() -> None:
    fix = hunts.placed(*hunts.two_station_hunt())
    colony = only(fix)
    assert hunts.holds(colony.search_areas[90], (600.0, 500.0))
    sizes = [colony.search_areas[k].area_m2 for k in (50, 90, 95)]
    assert sizes == sorted(sizes)
    assert colony.marks == ("yellow", "blue", "white", "red")
    assert colony.shape is survey.AreaShape.PATCH
    assert {c.method for c in colony.classical} == {"Lenth MLE", "Huber", "Andrews"}
    low, median, high = colony.distance_m["1"]
    assert low < median < high
    assert low < np.hypot(600.0, 500.0) < high


@pytest.mark.slow
def test_asked_twice_the_next_seat_the_plan_and_the_areas_are_the_same() -> None:
    one, two = (answer.locate(*hunts.two_station_hunt()) for _ in range(2))
    assert one is not two
    assert one.next_station == two.next_station is not None
    assert one.search_plan == two.search_plan != ()
    assert one.advice == two.advice
    areas = [
        [area.area_m2 for area in only(fix).search_areas.values()] for fix in (one, two)
    ]
    assert areas[0] == areas[1]


def test_where_the_colonies_are_hangs_not_on_asking_what_to_do_next() -> None:
    hunt = hunts.two_station_hunt()
    asked, plain = survey.locate(*hunt), hunts.placed(*hunt)
    one, other = only(asked), only(plain)
    assert one.next_station is not None
    assert other.next_station is None
    assert (one.search_plan != (), other.search_plan) == (True, ())
    for name in ("best_latitude_deg", "best_longitude_deg", "distance_m", "shape"):
        assert getattr(other, name) == getattr(one, name)
    for share, area in one.search_areas.items():
        assert other.search_areas[share].area_m2 == area.area_m2
    assert [b.median_m for b in plain.bees] == [b.median_m for b in asked.bees]
    assert plain.enough == asked.enough
    seat = survey.AdviceKind.SIT_NEXT
    rest = tuple(said for said in asked.advice if said.kind is not seat)
    assert plain.advice == rest != asked.advice


@pytest.mark.slow
def test_good_data_without_shifts_leave_a_small_error() -> None:
    # At the medians of all priors, with hardly any noise, the best place is right.
    colony_xy = (500.0, 300.0)
    spots = [(0.0, 0.0), (400.0, -200.0), (100.0, 500.0)]
    bee, seat = [0, 1, 2] * 20, [0] * 20 + [1] * 20 + [2] * 20
    way = np.array(colony_xy) - np.array(spots)
    away = np.hypot(*way.T)[seat]
    fix = hunts.placed(
        hunts.stations(*spots),
        hunts.trips(
            [hunts.usual(d) for d in away], bee=bee, station=seat, bees=("a", "b", "c")
        ),
        hunts.bearings(np.degrees(np.arctan2(*way.T))[seat], bee=bee, station=seat),
    )
    colony = only(fix)
    best = survey.LocalFrame(*hunts.HEATH).to_xy(
        np.array([colony.best_latitude_deg]), np.array([colony.best_longitude_deg])
    )[0]
    assert np.hypot(*(best - np.array(colony_xy))) < 25.0


@pytest.mark.slow
def test_the_answer_is_the_same_twice_and_in_any_order_of_rows() -> None:
    stations, trips, bearings = hunts.two_station_hunt()
    first = only(hunts.placed(stations, trips, bearings))
    mix = np.random.default_rng(1).permutation(len(trips.away_s))
    mixed = dataclasses.replace(
        trips,
        **{
            name: getattr(trips, name)[mix]
            for name in (
                "bee",
                "station",
                "away_s",
                "round_trip",
                "rounding_s",
                "cycles",
            )
        },
    )
    again = only(hunts.placed(stations, mixed, bearings))
    assert again.search_areas[90].area_m2 == pytest.approx(
        first.search_areas[90].area_m2, rel=1e-6
    )
    assert again.best_latitude_deg == pytest.approx(first.best_latitude_deg, abs=1e-9)


def test_times_alone_give_a_ring() -> None:
    fix = survey.locate(hunts.stations(), hunts.trips([400.0] * 6), NO_LINES)
    colony = only(fix)
    assert colony.shape is survey.AreaShape.RING
    assert colony.search_areas[90].polygons[0].holes
    assert survey.AdviceKind.NO_BEARINGS in {said.kind for said in fix.advice}


@pytest.mark.slow
def test_bearings_alone_give_a_wedge() -> None:
    fix = survey.locate(
        hunts.stations(), NO_TRIPS, hunts.bearings([210.0, 214.0, 206.0])
    )
    colony = only(fix)
    assert colony.shape is survey.AreaShape.WEDGE
    assert hunts.holds(colony.search_areas[90], (-350.0, -606.0))
    assert survey.AdviceKind.NO_TIMES in {said.kind for said in fix.advice}
    assert fix.bees == ()


@pytest.mark.slow
def test_one_bearing_is_an_honest_wide_answer() -> None:
    one = only(hunts.placed(hunts.stations(), NO_TRIPS, hunts.bearings([90.0])))
    many = only(hunts.placed(hunts.stations(), NO_TRIPS, hunts.bearings([90.0] * 12)))
    assert one.search_areas[90].area_m2 > 2 * many.search_areas[90].area_m2
    # Twelve equal bearings still leave the compass: 3 degrees, not none.
    assert many.search_areas[90].area_m2 > 5e4


@pytest.mark.slow
def test_nothing_measured_gives_the_prior_and_says_so() -> None:
    fix = survey.locate(hunts.stations(), NO_TRIPS, NO_LINES)
    colony = only(fix)
    assert colony.shape is survey.AreaShape.NOTHING_MEASURED
    assert fix.next_station is None
    assert fix.advice


def test_one_station_with_times_and_bearings_is_a_patch() -> None:
    fix = survey.locate(
        hunts.stations(),
        hunts.trips([hunts.usual(700.0)] * 6),
        hunts.bearings([45.0, 50.0, 40.0, 47.0], bee=[0] * 4),
    )
    colony = only(fix)
    assert colony.shape is survey.AreaShape.PATCH
    assert hunts.holds(colony.search_areas[90], (495.0, 495.0))


@pytest.mark.slow
def test_times_that_mean_nothing_give_a_wide_answer() -> None:
    # From a minute and a half to four hours: no distance explains them.
    times = [90.0, 14000.0, 4000.0, 9000.0, 700.0, 2500.0]
    near = survey.Settings(distance_cut_m=2000.0)
    wild = only(survey.locate(hunts.stations(), hunts.trips(times), NO_LINES, near))
    assert wild.search_areas[90].area_m2 > 1e4


@pytest.mark.slow
def test_stations_a_metre_apart_are_no_trouble() -> None:
    near = only(
        survey.locate(
            hunts.stations((0.0, 0.0), (1.0, 0.0)),
            hunts.trips([400.0] * 6, station=[0, 1] * 3),
            hunts.bearings([10.0, 12.0, 8.0, 11.0], station=[0, 1] * 2),
        )
    )
    same = only(
        survey.locate(
            hunts.stations(),
            hunts.trips([400.0] * 6),
            hunts.bearings([10.0, 12.0, 8.0, 11.0]),
        )
    )
    assert near.search_areas[90].area_m2 == pytest.approx(
        same.search_areas[90].area_m2, rel=0.1
    )


def calibrated_hunt(
    stay_s: float,
) -> tuple[survey.Stations, survey.Trips, survey.Bearings, survey.Settings]:
    """Return four bees 700 m from their nest, four beside a known hive."""
    hive = survey.LocalFrame(*hunts.HEATH).to_lonlat(np.array([2000.0, 100.0]))
    near = [hunts.usual(100.0, stay_s=stay_s)] * 32
    far = [hunts.usual(700.0, stay_s=stay_s)] * 16
    settings = survey.Settings(
        calibrations=(
            survey.Calibration(
                station="2", hive_latitude_deg=hive[1], hive_longitude_deg=hive[0]
            ),
        )
    )
    return (
        hunts.stations((0.0, 0.0), (2000.0, 0.0)),
        hunts.trips(
            far + near,
            bee=[0, 1, 2, 3] * 4 + [4, 5, 6, 7] * 8,
            station=[0] * 16 + [1] * 32,
            bees=tuple("abcdefgh"),
        ),
        hunts.bearings([45.0, 50.0, 40.0], bee=[0, 1, 0]),
        settings,
    )


@pytest.mark.slow
def test_calibration_narrows_the_distance_and_says_so() -> None:
    stations, trips, bearings, settings = calibrated_hunt(stay_s=134.0)
    fix = hunts.placed(stations, trips, bearings, settings)
    # The same trips at a station that nobody said lies near a hive would mislead, so
    # the plain hunt is the one with wide factors, as `advice` compares it.
    (said,) = (s for s in fix.advice if s.kind is survey.AdviceKind.CALIBRATED)
    before, after = said.from_m, said.to_m
    assert after < 0.9 * before
    low, _, high = only(fix).distance_m["1"]
    assert after == pytest.approx(high - low, abs=1)
    assert low < 700.0 < high


@pytest.mark.slow
def test_calibration_moves_the_answer_to_where_bees_stay_long() -> None:
    stations, trips, bearings, settings = calibrated_hunt(stay_s=200.0)
    fix = hunts.placed(stations, trips, bearings, settings)
    low, median, high = only(fix).distance_m["1"]
    assert low < 700.0 < high
    assert abs(median - 700.0) < 150.0
    learned, sd = fix.learned["in_hive_factor"]
    assert abs(learned - 200.0 / 120.0) < 2.5 * sd
    assert learned > 1.3  # the prior alone says 1.12
    assert set(only(fix).marks) == set("abcd")  # the others fly from the known hive


@pytest.mark.slow
def test_wind_from_behind_makes_the_way_out_short() -> None:
    stations = hunts.stations()
    trips = hunts.trips([400.0] * 6)
    bearings = hunts.bearings([0.0, 2.0, 358.0], bee=[0] * 3)
    still = only(hunts.placed(stations, trips, bearings))
    blowing = survey.TripWind(
        speed_mps=np.full(6, 9.0), from_true_deg=np.full(6, 180.0)
    )
    windy = only(hunts.placed(stations, trips, bearings, wind=blowing))
    # A strong wind costs more on one leg than it gains on the other, and is wider.
    assert windy.distance_m["1"][1] < still.distance_m["1"][1]
    span = [c.distance_m["1"][2] - c.distance_m["1"][0] for c in (still, windy)]
    assert span[1] / windy.distance_m["1"][1] > span[0] / still.distance_m["1"][1]
    calm = survey.TripWind(speed_mps=np.full(6, np.nan), from_true_deg=np.full(6, 90.0))
    same = only(hunts.placed(stations, trips, bearings, wind=calm))
    assert same.distance_m["1"] == pytest.approx(still.distance_m["1"])


@pytest.mark.slow
def test_across_the_date_line_and_near_the_pole() -> None:
    for latitude, longitude in ((-17.0, 179.999), (-17.0, -179.999), (69.9, 20.0)):
        at = survey.Stations(
            id=("1",),
            latitude_deg=np.array([latitude]),
            longitude_deg=np.array([longitude]),
            cargo=("water",),
        )
        fix = survey.locate(at, hunts.trips([400.0] * 4), hunts.bearings([90.0] * 6))
        colony = only(fix)
        distance, azimuth = survey.geodesic(
            latitude, longitude, colony.best_latitude_deg, colony.best_longitude_deg
        )
        assert 300 < distance < 1500
        assert azimuth == pytest.approx(90.0, abs=5.0)


@pytest.mark.slow
def test_a_bee_s_own_distance_takes_the_wind_into_account() -> None:
    # 900 m north in 5 m/s from the north, 0.6 of it made up for, at 0.97 of the usual
    # speeds; by hand home at 0.6 x 6.305 + 0.4 x 1.305 m/s, out at 0.6 x 7.275 +
    # 0.4 x 12.275.
    away_s = 900 / 4.305 + 900 / 9.275 + 134.0
    hunt = (
        hunts.stations(),
        hunts.trips([away_s] * 12),
        hunts.bearings([0.0] * 12, bee=[0] * 12),
    )
    blowing = survey.TripWind(speed_mps=np.full(12, 5.0), from_true_deg=np.zeros(12))
    own, colony = [], []
    for wind in (None, blowing):
        fix = hunts.placed(*hunt, wind=wind)
        own.append(fix.bees[0].median_m)
        colony.append(only(fix).distance_m["1"][1])

    assert own[1] < 0.9 * own[0]
    # One bee at one station: her own distance changes as the colony's does.
    assert own[1] / own[0] == pytest.approx(colony[1] / colony[0], rel=0.03)


def test_all_parts_of_an_answer_tell_of_one_map() -> None:
    """Hold distances, areas and advice against the map itself, by geodesics."""
    stations, trips, bearings = hunts.two_station_hunt()
    fix = survey.locate(stations, trips, bearings)
    colony = only(fix)
    held = colony.density.probability.ravel()
    lon, lat = colony.density.longitude_deg.ravel(), colony.density.latitude_deg.ravel()
    globe = Geod(ellps="WGS84")
    for n, name in enumerate(stations.id):
        here = np.full(len(lon), stations.longitude_deg[n])
        there = np.full(len(lon), stations.latitude_deg[n])
        away = globe.inv(here, there, lon, lat)[2]
        order = np.argsort(away)
        total = np.cumsum(held[order])
        expected = [away[order][np.searchsorted(total, q)] for q in (0.05, 0.5, 0.95)]
        assert colony.distance_m[name] == pytest.approx(expected, abs=8.0)
    cell_m2 = -1.0
    for share, area in colony.search_areas.items():
        (patch,) = area.polygons
        round_it = Path(patch.outer)
        inside = round_it.contains_points(np.stack([lon, lat], axis=1))
        assert held[inside].sum() == pytest.approx(share / 100, abs=0.02)
        assert held[inside].min() > 0.9 * held[~inside].max()
        drawn, _ = globe.polygon_area_perimeter(*patch.outer.T)
        assert area.area_m2 == pytest.approx(drawn, rel=0.03)
        cell_m2 = area.area_m2 / inside.sum() if share == 95 else cell_m2
        assert area.probability == share / 100
    rows, columns = colony.density.probability.shape
    west = globe.inv(lon[0], lat[0], lon[columns - 1], lat[columns - 1])[2]
    north = globe.inv(lon[0], lat[0], lon[-columns], lat[-columns])[2]
    assert west / (columns - 1) * north / (rows - 1) == pytest.approx(cell_m2, rel=0.03)
    best = Path(colony.search_areas[50].polygons[0].outer)
    assert best.contains_point((colony.best_longitude_deg, colony.best_latitude_deg))
    seat = fix.next_station
    assert seat is not None
    walk = globe.inv(
        stations.longitude_deg[1], stations.latitude_deg[1],
        seat.longitude_deg, seat.latitude_deg,
    )  # fmt: skip
    assert seat.from_station == "2"  # where one sat last
    assert walk[2] == pytest.approx(seat.walk_m, rel=1e-3)
    assert walk[0] % 360 == pytest.approx(seat.walk_bearing_true_deg, abs=0.1)
    strip = fix.search_plan[0]
    began = globe.inv(
        stations.longitude_deg[1], stations.latitude_deg[1],
        strip.start_longitude_deg, strip.start_latitude_deg,
    )[2]  # fmt: skip
    long = globe.inv(
        strip.start_longitude_deg, strip.start_latitude_deg,
        strip.end_longitude_deg, strip.end_latitude_deg,
    )[2]  # fmt: skip
    assert strip.done_s == pytest.approx(began / 0.7 + long / 0.25, rel=5e-3)


@pytest.mark.slow
def test_turned_round_and_mirrored_a_hunt_has_the_same_answer_there() -> None:
    spots, colony = np.array([(0.0, 0.0), (250.0, 300.0)]), np.array([500.0, 420.0])
    bee, seat = [0, 1] * 4, [0] * 4 + [1] * 4
    off = np.array([3.0, -5.0, 8.0, 1.0, -2.0, 6.0, -7.0, 4.0])

    def at(turn: np.ndarray) -> tuple[np.ndarray, float, list[float]]:
        places = spots @ turn.T
        way = (colony @ turn.T) - places[seat]
        read = np.degrees(np.arctan2(*way.T)) + off * np.linalg.det(turn)
        fix = hunts.placed(
            hunts.stations(*(tuple(place) for place in places)),
            hunts.trips(
                [hunts.usual(float(d)) for d in np.hypot(*way.T)],
                bee=bee, station=seat, bees=("a", "b"),
            ),
            hunts.bearings(read, bee=bee, station=seat),
            survey.Settings(assigned={"a": "oak", "b": "oak"}),
        )  # fmt: skip
        found = only(fix)
        best = survey.LocalFrame(*hunts.HEATH).to_xy(
            np.array([found.best_latitude_deg]), np.array([found.best_longitude_deg])
        )[0]
        widths = [d for station in found.distance_m.values() for d in station]
        return best @ turn, found.search_areas[90].area_m2, widths

    plain = at(np.eye(2))
    turned = at(np.array([[0.0, 1.0], [1.0, 0.0]]))  # east for north
    assert turned[0] == pytest.approx(plain[0], abs=10.0)
    assert turned[1] == pytest.approx(plain[1], rel=0.02)
    assert turned[2] == pytest.approx(plain[2], rel=0.01)


@pytest.mark.slow
def test_twice_as_fast_and_twice_as_far_is_the_same_hunt_at_half_the_scale() -> None:
    # Times and bearings stay; all that is metres or metres a second doubles.
    usual = survey.Settings()

    def at(scale: float) -> tuple[np.ndarray, list[float], list[float]]:
        spots = [(0.0, 0.0), (200.0 * scale, 260.0 * scale)]
        lengths = (
            "flight_speed_out_mps", "flight_speed_home_mps", "distance_median_m",
            "distance_cut_m", "circling_m", "walk_limit_m",
        )  # fmt: skip
        settings = dataclasses.replace(
            usual,
            assigned={"a": "oak", "b": "oak"},
            **{name: scale * getattr(usual, name) for name in lengths},
        )
        fix = hunts.placed(
            hunts.stations(*spots),
            hunts.trips(
                [330.0, 310.0, 350.0, 250.0, 240.0, 260.0],
                bee=[0, 1, 0, 0, 1, 1], station=[0, 0, 0, 1, 1, 1], bees=("a", "b"),
            ),
            hunts.bearings(
                [40.0, 48.0, 44.0, 70.0, 62.0],
                bee=[0, 1, 0, 1, 0], station=[0, 0, 0, 1, 1],
            ),
            settings,
        )  # fmt: skip
        found = only(fix)
        best = survey.LocalFrame(*hunts.HEATH).to_xy(
            np.array([found.best_latitude_deg]), np.array([found.best_longitude_deg])
        )[0]
        widths = [d / scale for station in found.distance_m.values() for d in station]
        areas = [one.area_m2 / scale**2 for one in found.search_areas.values()]
        return best / scale, widths, areas

    one, two = at(1.0), at(2.0)
    assert two[0] == pytest.approx(one[0], abs=12.0)
    assert two[1] == pytest.approx(one[1], rel=0.01)
    assert two[2] == pytest.approx(one[2], rel=0.02)


@pytest.mark.slow
def test_in_which_order_bees_stations_and_observers_are_named_is_nothing() -> None:
    def at(bees: tuple[str, ...], ids: tuple[str, ...]) -> survey.Fix:
        spots = {"1": (0.0, 0.0), "2": (300.0, 0.0)}
        rows = [  # bee, station, away, bearing: two lines apart
            (bee, station, 300.0 + 10 * n, turn + 4 * n)
            for n in range(3)
            for bee, turn in (("a", 20.0), ("b", 24.0), ("c", 130.0))
            for station in ("1", "2")
        ]
        who = [bees.index(bee) for bee, *_ in rows]
        where = [ids.index(station) for _, station, *_ in rows]
        at_ids = dataclasses.replace(hunts.stations(*(spots[i] for i in ids)), id=ids)
        lines = hunts.bearings([row[3] for row in rows], bee=who, station=where)
        return hunts.placed(
            at_ids,
            hunts.trips([row[2] for row in rows], bee=who, station=where, bees=bees),
            dataclasses.replace(lines, observer=np.array(where) + 5),
        )

    plain, mixed = at(("a", "b", "c"), ("1", "2")), at(("c", "b", "a"), ("1", "2"))
    by_marks = [
        {tuple(sorted(colony.marks)): colony for colony in fix.colonies}
        for fix in (plain, mixed)
    ]
    assert set(by_marks[0]) == set(by_marks[1]) == {("a", "b"), ("c",)}
    for marks, colony in by_marks[0].items():
        other = by_marks[1][marks]
        assert other.search_areas[90].area_m2 == pytest.approx(
            colony.search_areas[90].area_m2, rel=1e-3
        )
        assert other.distance_m["2"] == pytest.approx(colony.distance_m["2"], rel=1e-3)
    own = {(bee.bee, bee.station): bee.median_m for bee in plain.bees}
    assert {(bee.bee, bee.station): bee.median_m for bee in mixed.bees} == (
        pytest.approx(own, rel=1e-3)
    )
    together = {frozenset(pair): share for pair, share in plain.same_colony.items()}
    for pair, share in mixed.same_colony.items():
        assert share == pytest.approx(together[frozenset(pair)], abs=0.02)
