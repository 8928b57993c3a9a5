from __future__ import annotations

import numpy as np
import pytest

from survey import hunts
from treeward import survey
from treeward.survey import search_plan
from treeward.survey.frame import LocalFrame, crosses, inside_ring
from treeward.survey.grid import Grid
from treeward.survey.search import Searching
from treeward.survey.search_plan import Ways

HEATH = LocalFrame(*hunts.HEATH)
WALL = np.array([[-20.0, -100.0], [20.0, -100.0], [20.0, 100.0], [-20.0, 100.0]])


def peaks(*peaks: tuple[float, float, float], sd_m: float = 40.0) -> Grid:
    """Return a map with normal peaks at east, north with a share each."""
    side = np.arange(160)
    index = np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1).reshape(-1, 2)
    xy = (index + 0.5) * 5.0 - 400
    density = sum(
        share * np.exp(-0.5 * ((xy - (east, north)) ** 2).sum(axis=1) / sd_m**2)
        for east, north, share in peaks
    )
    return Grid(
        xy=np.asarray(xy, dtype=np.float64),
        index=index,
        cell_m=5.0,
        probability=np.asarray(density / np.sum(density)),
    )


def free(searching: Searching) -> Ways:
    return Ways([], [], walk_mps=searching.walk_mps, path_mps=searching.path_mps)


def plan(
    grid: Grid, start: tuple[float, float] = (0.0, 0.0), ways: Ways | None = None
) -> search_plan.WalkPlan:
    how = Searching()
    return search_plan.plan_walk(
        grid, how, start=np.array(start), ways=ways or free(how)
    )


def test_the_plan_is_nearly_as_soon_as_search_theory_allows() -> None:
    # Nothing is sooner than to be at once where the chance is largest.
    for sd_m in (20.0, 60.0):
        grid = peaks((0, 0, 1), sd_m=sd_m)
        least = search_plan.mean_search_s(grid, Searching())
        assert least < plan(grid).mean_s < 1.6 * least


def test_the_near_of_two_alike_comes_first() -> None:
    two = peaks((-250, 0, 0.5), (250, 0, 0.5), sd_m=25.0)
    for side in (-1, 1):
        walk = plan(two, start=(250.0 * side, 0.0))
        # The first look over it: 4000 square metres, in strips of 15 by 60.
        assert all(leg.start[0] * side > 150 for leg in walk.legs[:4])


def test_a_far_likelier_place_is_walked_to_at_once() -> None:
    two = peaks((-250, 0, 0.05), (250, 0, 0.95), sd_m=25.0)
    walk = plan(two, start=(-100.0, 0.0))
    assert all(leg.start[0] > 0 for leg in walk.legs[:10])


def test_what_is_found_is_counted_once() -> None:
    walk = plan(peaks((0, 0, 1), sd_m=15.0))
    assert 0.9 < walk.found <= 1.0
    by_strip: dict[tuple[float, float], float] = {}
    for leg in walk.legs:
        middle = tuple(np.round((leg.start + leg.end) / 2, 3))
        again = by_strip.get(middle)
        # A second walk along a strip finds a share of what the first one missed.
        assert again is None or leg.found < again
        by_strip[middle] = leg.found


def test_mean_time_is_that_of_nests_drawn_from_the_map() -> None:
    # Nests by the map's chances, each found on a strip with that strip's chance.
    grid = peaks((0, 0, 1), sd_m=20.0)
    walk = plan(grid)
    assert walk.found > 0.95
    ends = np.cumsum([leg.reach_s + leg.look_s for leg in walk.legs])
    found = np.array([leg.found for leg in walk.legs])
    middle = ends - np.array([leg.look_s for leg in walk.legs]) / 2
    assert walk.mean_s >= found @ middle
    assert walk.mean_s == pytest.approx(found @ middle, rel=0.5)


@pytest.mark.slow
def test_no_way_leads_through_what_is_left_out() -> None:
    how = Searching()
    ways = Ways([WALL], [], walk_mps=how.walk_mps, path_mps=how.path_mps)
    walk = plan(peaks((0, 0, 1), sd_m=60.0), start=(-200.0, 0.0), ways=ways)
    assert len(walk.legs) > 20
    here = np.array([-200.0, 0.0])
    detours = 0
    for leg in walk.legs:
        line = np.vstack([here, leg.way, leg.start, leg.end])
        assert not crosses(line[:-1], line[1:], WALL).any()
        length = np.hypot(*np.diff(line[:-1], axis=0).T).sum()
        assert leg.reach_s == pytest.approx(length / how.walk_mps, abs=0.1)
        detours += bool(len(leg.way))
        here = leg.end
    assert detours > 0


def test_the_way_round_is_the_shortest() -> None:
    ways = Ways([WALL], [], walk_mps=1.0, path_mps=2.0)
    one, two = np.array([-120.0, 0.0]), np.array([120.0, 0.0])
    # By hand: to the corner, 100 m north and 100 m east, 40 m along, and down again.
    by_hand = 2 * np.hypot(100.0, 100.0) + 40.0
    time = ways.times(one, two[None, :], ways.from_nodes(two[None, :]))[0]
    assert time == pytest.approx(by_hand, abs=8.0)
    assert time >= by_hand
    assert len(ways.way(one, two)) == 2
    north = two + np.array([0.0, 400.0])
    assert not len(ways.way(two, north))


def test_a_path_is_taken_where_it_is_quicker() -> None:
    path = np.array([[-200.0, -30.0], [200.0, -30.0]])
    ways = Ways([], [path], walk_mps=1.0, path_mps=2.0)
    one, two = np.array([-200.0, 0.0]), np.array([200.0, 0.0])
    time = ways.times(one, two[None, :], ways.from_nodes(two[None, :]))[0]
    assert time < 300.0  # 30 m down, half of 400 s, 30 m up; straight it is 400 s
    assert (ways.way(one, two)[:, 1] == -30.0).all()
    near = one + np.array([20.0, 0.0])
    assert not len(ways.way(one, near))


def test_shut_in_by_what_is_left_out_there_is_no_way() -> None:
    far = np.array([[300.0, -50.0], [400.0, -50.0], [400.0, 50.0], [300.0, 50.0]])
    ways = Ways([far], [], walk_mps=1.0, path_mps=2.0)
    within = np.array([[350.0, 0.0]])
    assert np.isinf(ways.times(np.zeros(2), within, ways.from_nodes(within)))[0]
    assert not ways.clear(within)[0]
    walk = plan(peaks((350, 0, 1), sd_m=8.0), ways=ways)
    assert all(not inside_ring(leg.start[None, :], far)[0] for leg in walk.legs)


def test_places_in_a_ring() -> None:
    arrow = np.array([[0.0, 0.0], [4.0, 0.0], [2.0, 1.0], [4.0, 4.0], [0.0, 4.0]])
    places = np.array([[1.0, 2.0], [3.5, 1.5], [3.0, 0.2], [-1.0, 2.0], [5.0, 2.0]])
    assert inside_ring(places, arrow).tolist() == [True, False, True, False, False]
    shut = np.vstack([arrow, arrow[:1]])
    assert inside_ring(places, shut).tolist() == [True, False, True, False, False]


def test_strips_at_the_door() -> None:
    fix = survey.locate(*hunts.two_station_hunt())
    strips = fix.search_plan
    assert 1 < len(strips) <= search_plan.MOST_STRIPS
    searched = fix.colonies[0].searched
    assert searched is not None
    done = [strip.done_s for strip in strips]
    assert all(one is not None for one in done)
    assert done == sorted(done)  # type: ignore[type-var]
    assert 0 < sum(s.probability for s in strips) <= searched.plan_finds + 1e-9
    # A strip's length over ground, against the time that looking along it takes.
    how = survey.Searching()
    for before, strip in zip([None, *strips], strips, strict=False):
        length, _ = survey.geodesic(
            strip.start_latitude_deg, strip.start_longitude_deg,
            strip.end_latitude_deg, strip.end_longitude_deg,
        )  # fmt: skip
        spent = (strip.done_s or 0) - ((before.done_s or 0) if before else 0)
        assert spent >= length / how.look_mps - 1.0


@pytest.mark.slow
def test_the_walk_starts_where_one_stands() -> None:
    parts = hunts.two_station_hunt()
    plain = survey.locate(*parts).colonies[0]
    beyond = HEATH.to_lonlat(np.array([[1200.0, 1100.0]]))[0]
    there = survey.Searching(start=(float(beyond[1]), float(beyond[0])))
    other = survey.locate(*parts, searching=there).colonies[0]
    assert other.search_areas[90].area_m2 == plain.search_areas[90].area_m2

    def off_m(strip: survey.Strip) -> float:
        return survey.geodesic(
            float(beyond[1]), float(beyond[0]),
            strip.start_latitude_deg, strip.start_longitude_deg,
        )[0]  # fmt: skip

    assert off_m(other.search_plan[0]) < off_m(plain.search_plan[0])


def test_a_wall_is_passed_two_metres_off_its_corners_and_no_nearer() -> None:
    ways = Ways([WALL], [], walk_mps=1.0, path_mps=2.0)
    one, two = np.array([-120.0, 0.0]), np.array([120.0, 0.0])
    passed = ways.way(one, two)
    corner = np.abs(passed) - (20.0, 100.0)
    assert corner == pytest.approx(np.full((2, 2), 2 / np.sqrt(2)))
    whole = np.vstack([one, passed, two])
    by_hand = np.hypot(*np.diff(whole, axis=0).T).sum()
    time = ways.times(one, two[None, :], ways.from_nodes(two[None, :]))[0]
    assert time == pytest.approx(by_hand)
    back = ways.way(two, one)  # north or south of it, which is as long
    assert np.abs(back) == pytest.approx(np.abs(passed[::-1]))
    assert (back[:, 1] > 0).all() or (back[:, 1] < 0).all()
    assert list(ways.clear(np.array([[0.0, 0.0], [21.0, 0.0], [0.0, 101.0]]))) == [
        False, True, True
    ]  # fmt: skip
    fast = Ways([WALL], [], walk_mps=2.0, path_mps=2.0)
    assert fast.times(one, two[None, :], fast.from_nodes(two[None, :]))[0] == (
        pytest.approx(by_hand / 2)
    )
    # Of a ring that is closed, and of one drawn the other way round, it is the same.
    closed = Ways([np.vstack([WALL, WALL[:1]])], [], walk_mps=1.0, path_mps=2.0)
    other_way = Ways([WALL[::-1]], [], walk_mps=1.0, path_mps=2.0)
    for other in (closed, other_way):
        assert other.times(one, two[None, :], other.from_nodes(two[None, :]))[0] == (
            pytest.approx(by_hand)
        )


def test_along_a_path_one_walks_at_its_speed_and_to_it_at_ones_own() -> None:
    path = np.array([[-300.0, 0.0], [300.0, 0.0], [300.0, 300.0]])
    ways = Ways([], [path], walk_mps=0.5, path_mps=2.0)
    one = np.array([-300.0, 0.0])
    two = np.array([[300.0, 300.0], [300.0, 310.0], [-300.0, 100.0]])
    times = ways.times(one, two, ways.from_nodes(two))
    assert times[0] == pytest.approx(900.0 / 2.0, rel=1e-6)
    assert times[1] == pytest.approx(900.0 / 2.0 + 10.0 / 0.5, rel=1e-6)
    assert times[2] == pytest.approx(100.0 / 0.5)  # no path leads there
    passed = ways.way(one, two[0])
    assert passed[0] == pytest.approx(one)
    assert passed[-1] == pytest.approx(two[0])
    length = np.hypot(*np.diff(passed, axis=0).T).sum()
    assert length == pytest.approx(900.0, rel=1e-6)
    step = np.hypot(*np.diff(passed, axis=0).T)
    assert step.max() <= 20.0 + 1e-6
    # A wall across a path closes it there: one walks round.
    shut = Ways([WALL], [np.array([[-100.0, 0.0], [100.0, 0.0]])], walk_mps=1.0,
                path_mps=5.0)  # fmt: skip
    end = np.array([[100.0, 0.0]])
    round_it = shut.times(np.array([-100.0, 0.0]), end, shut.from_nodes(end))[0]
    assert round_it > 2 * (np.hypot(80.0, 100.0) - 60.0)
    begin = np.array([-100.0, 0.0])
    whole = np.vstack([begin, shut.way(begin, end[0]), end])
    assert not crosses(whole[:-1], whole[1:], WALL).any()


@pytest.mark.parametrize("turned", [False, True])
def test_ground_is_cut_into_strips_that_cover_it_once(turned: bool) -> None:
    grid = peaks((0, 0, 1), sd_m=40.0)
    chosen = grid.inside(0.9)
    how = Searching(sweep_width_m=15.0)
    spent = np.linspace(0.0, 2.0, len(grid.xy))
    pieces = search_plan._cut(grid, chosen, spent, how, free(how), turned=turned)
    cells = np.bincount(pieces.strip)
    before = np.bincount(pieces.strip, weights=spent[pieces.cells]) / cells
    assert pieces.spent == pytest.approx(before)
    assert pieces.held.sum() == pytest.approx(grid.probability[chosen].sum())
    assert sorted(pieces.cells) == sorted(chosen)
    assert np.bincount(pieces.strip, minlength=len(pieces.held)).min() > 0
    length = np.hypot(*(pieces.ends[:, 1] - pieces.ends[:, 0]).T)
    assert length.max() <= 60.0 + 1e-6
    # W l of a walk along each, over the ground of its cells.
    ground = np.bincount(pieces.strip) * grid.cell_m**2
    assert pieces.effort == pytest.approx(15.0 * length / ground)
    assert (15.0 * length).sum() == pytest.approx(ground.sum(), rel=0.15)
    for strip in range(0, len(length), 7):
        own = grid.xy[pieces.cells[pieces.strip == strip]]
        start, end = pieces.ends[strip]
        along = (end - start) / length[strip]
        aside = (own - start) @ np.array([along[1], -along[0]])
        assert np.abs(aside).max() <= 15.0 / 2 + 5.0
        forth = (own - start) @ along
        assert forth.min() >= -4.0
        assert forth.max() <= length[strip] + 4.0


def test_the_mean_time_is_that_of_the_legs_and_what_they_miss() -> None:
    # The textbook's expectation: each leg finds in its middle; what is missed takes the
    # mean effort of the best search (Koopman) of the map that is left, afterwards.
    grid = peaks((0, 0, 1), sd_m=30.0)
    how = Searching()
    walk = search_plan.plan_walk(
        grid, how, start=np.zeros(2), ways=free(how), longest_s=1800.0
    )
    clock = mean = 0.0
    for leg in walk.legs:
        length = np.hypot(*(leg.end - leg.start))
        assert leg.look_s == pytest.approx(length / how.look_mps)
        mean += leg.found * (clock + leg.reach_s + leg.look_s / 2)
        clock += leg.reach_s + leg.look_s
    assert 0.3 < walk.found < 0.95
    last = walk.legs[-1]
    assert clock - last.reach_s - last.look_s < 1800.0 <= clock
    # Not sooner than at best on what is left, nor later than all of it anew.
    assert mean + (1 - walk.found) * clock < walk.mean_s
    whole = search_plan.mean_search_s(grid, how)
    assert walk.mean_s < mean + (1 - walk.found) * (clock + 6 * whole)


def test_search_at_best_takes_26_thirds_pi_variances_of_sweeping() -> None:
    # For a round normal and a width of shape k the mean effort is
    # 2 pi s^2 (3 k + 1) / (k - 1), with k = 4; Koopman's 6 pi s^2 where W is sure.
    grid = peaks((0, 0, 1), sd_m=40.0)
    how = Searching(sweep_width_m=10.0, look_mps=0.5)
    expected = 26 / 3 * np.pi * 40.0**2 / (10.0 * 0.5)
    assert search_plan.mean_search_s(grid, how) == pytest.approx(expected, rel=0.01)


def test_half_the_sight_finds_less_on_the_same_walk() -> None:
    grid = peaks((0, 0, 1), sd_m=60.0)
    walk = plan(grid)

    # Looked over once, a strip finds (1 - (1 + e / 8)^-4) of what it holds for
    # (1 - (1 + e / 4)^-4), which is between half of that and all of it.
    assert 0.5 * walk.found < walk.found_if_half < 0.9 * walk.found
