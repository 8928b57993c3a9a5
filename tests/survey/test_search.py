from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import i0e
from scipy.stats import gamma

from survey import hunts
from treeward import survey
from treeward.survey import search
from treeward.survey.frame import LocalFrame
from treeward.survey.grid import Grid

HEATH = LocalFrame(*hunts.HEATH)


def flat(half_m: float = 200.0, cell_m: float = 10.0) -> Grid:
    side = np.arange(int(2 * half_m / cell_m))
    index = np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1).reshape(-1, 2)
    return Grid(
        xy=np.asarray((index + 0.5) * cell_m - half_m, dtype=np.float64),
        index=index,
        cell_m=cell_m,
        probability=np.full(len(index), 1 / len(index)),
    )


def ring(*corners: tuple[float, float]) -> np.ndarray:
    return HEATH.to_lonlat(np.array(corners, dtype=float))


def walked(*places: tuple[float, float], width_m: float = 15.0) -> search.Walked:
    lonlat = HEATH.to_lonlat(np.array(places, dtype=float))
    return search.Walked(
        latitude_deg=lonlat[:, 1], longitude_deg=lonlat[:, 0], sweep_width_m=width_m
    )


WEST = ring((-200, -200), (0, -200), (0, 200), (-200, 200))


def west_share(grid: Grid) -> float:
    return float(grid.probability[grid.xy[:, 0] < 0].sum())


def test_nothing_said_leaves_the_map_as_it_is() -> None:
    grid = flat()
    update = search.updated(grid, HEATH, search.Searching())
    assert update.after is grid
    assert update.found_by_now == 0
    assert update.still_inside == pytest.approx(0.9, abs=0.01)


def test_ground_looked_over_sinks_and_is_never_ruled_out() -> None:
    one = search.LookedOver(ring=WEST, effort=search.effort_of(0.5))
    update = search.updated(flat(), HEATH, search.Searching(looked_over=(one,)))
    # Half found in half of the ground: a quarter found, a third of the rest is there.
    assert update.found_by_now == pytest.approx(0.25)
    assert west_share(update.after) == pytest.approx(1 / 3)
    often = search.updated(flat(), HEATH, search.Searching(looked_over=(one,) * 100))
    assert 0 < west_share(often.after) < 0.02
    assert (often.after.probability > 0).all()


def test_a_sweep_width_that_is_a_guess_hides_more_than_one_that_is_known() -> None:
    # The mean of Koopman's exp(-e) over W times a gamma variable, by quadrature.
    shape = search.SIGHT_SHAPE
    for effort in (0.1, 1.0, 4.0):
        mean, _ = quad(
            lambda s, e=effort: np.exp(-s * e) * gamma(shape, scale=1 / shape).pdf(s),
            0, 20,
        )  # fmt: skip
        hidden = float(search.hidden(np.array(effort)))
        assert hidden == pytest.approx(mean, rel=1e-6)
        assert hidden > np.exp(-effort)
        assert search.effort_of(1 - hidden) == pytest.approx(effort)
    assert gamma(shape, scale=1 / shape).cdf([0.5, 2.0]) == pytest.approx(
        [0.14, 0.96], abs=0.005
    )


def test_passes_add_up() -> None:
    way = walked((-150, 0), (150, 0))
    once = search.efforts(flat(), HEATH, search.Searching(walked=(way,)))
    thrice = search.efforts(flat(), HEATH, search.Searching(walked=(way,) * 3))
    assert thrice == pytest.approx(3 * once)


def test_a_walk_lowers_what_lies_beside_it_and_little_beyond() -> None:
    update = search.updated(
        flat(), HEATH, search.Searching(walked=(walked((-150, 0), (150, 0)),))
    )
    grid = update.after
    before = 1 / len(grid.xy)
    near = (abs(grid.xy[:, 1]) < 4) & (abs(grid.xy[:, 0]) < 120)
    far = abs(grid.xy[:, 1]) > 60
    assert (grid.probability[near] < 0.7 * before).all()
    assert grid.probability[far] == pytest.approx(
        np.full(far.sum(), grid.probability[far].mean())
    )
    assert (grid.probability[far] > before).all()


def test_a_tree_looked_over() -> None:
    spot = search.LookedSpot(
        latitude_deg=hunts.HEATH[0],
        longitude_deg=hunts.HEATH[1],
        radius_m=20.0,
        effort=2.0,
    )
    update = search.updated(flat(), HEATH, search.Searching(spots=(spot,)))
    near = np.hypot(*update.after.xy.T) < 15
    ratio = update.after.probability[near] / update.after.probability[-1]
    # In whole cells: 52 of 25 square metres for its 1257.
    missed = search.hidden(np.array(2.0))
    assert ratio == pytest.approx(np.full(near.sum(), missed), rel=0.1)


@pytest.mark.parametrize("cell_m", [5.0, 40.0, 100.0])
def test_a_spot_takes_its_own_effort_whatever_the_cells(cell_m: float) -> None:
    grid = flat(half_m=400.0, cell_m=cell_m)
    spot = search.LookedSpot(
        latitude_deg=hunts.HEATH[0],
        longitude_deg=hunts.HEATH[1],
        radius_m=20.0,
        effort=0.5,
    )
    effort = search.efforts(grid, HEATH, search.Searching(spots=(spot,)))
    area_m2 = np.pi * 20.0**2
    assert effort.sum() * cell_m**2 == pytest.approx(0.5 * area_m2, rel=0.05)


def test_a_hole_in_weighed_ground_keeps_its_weight() -> None:
    hole = ring((-150, -50), (-50, -50), (-50, 50), (-150, 50))
    ground = search.WeighedGround(ring=WEST, weight=0.0, holes=(hole,))
    after = search.updated(flat(), HEATH, search.Searching(ground=(ground,))).after
    x, y = after.xy.T
    inside = (x > -150) & (x < -50) & (abs(y) < 50)
    east = x > 0
    assert after.probability[inside].mean() == pytest.approx(
        after.probability[east].mean(), rel=1e-6
    )
    assert after.probability[~inside & ~east].max() < 0.02 * after.probability.max()


def test_weights_of_ground_and_single_trees() -> None:
    # Water in the west; a tree in it all the same.
    lonlat = HEATH.to_lonlat(np.array([[-100.0, 0.0]]))
    plain = search.Searching(ground=(search.WeighedGround(ring=WEST, weight=0.0),))
    update = search.updated(flat(), HEATH, plain)
    assert 0 < west_share(update.after) < 0.011
    assert update.found_by_now == pytest.approx(0, abs=1e-12)
    trees = search.Trees(
        latitude_deg=lonlat[:, 1], longitude_deg=lonlat[:, 0], weight=5.0
    )
    wet = search.updated(
        flat(), HEATH, search.Searching(ground=plain.ground, trees=trees)
    )
    best = wet.after.xy[np.argmax(wet.after.probability)]
    assert np.hypot(*(best - (-100.0, 0.0))) < 10


def test_weights_of_zero_everywhere_are_not_used() -> None:
    all_ = ring((-900, -900), (900, -900), (900, 900), (-900, 900))
    update = search.updated(
        flat(),
        HEATH,
        search.Searching(ground=(search.WeighedGround(ring=all_, weight=0.0),)),
    )
    assert not update.ground_used
    assert update.after.probability == pytest.approx(update.before.probability)
    assert west_share(update.after) == pytest.approx(0.5)


def test_bees_overhead_raise_what_lies_ahead_and_behind() -> None:
    bee = search.Overhead(
        latitude_deg=hunts.HEATH[0],
        longitude_deg=hunts.HEATH[1],
        bearing_true_deg=90.0,
    )
    after = search.updated(flat(), HEATH, search.Searching(overhead=(bee,))).after
    turn = np.degrees(np.arctan2(*after.xy.T)) % 180
    along, across = abs(turn - 90) < 10, (turn < 10) | (turn > 170)
    assert after.probability[along].mean() > 2 * after.probability[across].mean()
    # Wide and never sure: many that contradict one another leave the map near flat.
    assert after.probability.min() > 0.3 / len(after.xy)


def test_a_bee_overhead_is_half_of_the_colony_sought_and_flies_25_degrees_wide() -> (
    None
):
    bee = search.Overhead(
        latitude_deg=hunts.HEATH[0],
        longitude_deg=hunts.HEATH[1],
        bearing_true_deg=90.0,
    )
    after = search.updated(flat(), HEATH, search.Searching(overhead=(bee,))).after
    # By the von Mises distribution: home or from home, against any way at all.
    off = np.arctan2(*after.xy.T) - np.radians(90.0)
    kappa = 1 / np.radians(25.0) ** 2
    both = np.exp(kappa * (np.cos(off) - 1)) + np.exp(kappa * (-np.cos(off) - 1))
    likelier = both / (2 * i0e(kappa))
    expected = 0.5 + 0.5 * likelier
    assert after.probability == pytest.approx(expected / expected.sum(), rel=1e-4)


def test_a_dish_without_visitors_lowers_what_is_beside_it() -> None:
    dish = search.EmptyDish(latitude_deg=hunts.HEATH[0], longitude_deg=hunts.HEATH[1])
    after = search.updated(flat(), HEATH, search.Searching(empty_dishes=(dish,))).after
    away = np.hypot(*after.xy.T)
    near, far = after.probability[away < 20], after.probability[away > 190]
    assert near.mean() == pytest.approx(0.5 * far.mean(), rel=0.1)


def test_halved_cells_hold_the_same_map() -> None:
    grid = flat()
    fine = search.halved(grid, 4.0)
    assert fine.cell_m == 2.5
    assert fine.probability.sum() == pytest.approx(1)
    assert west_share(fine) == pytest.approx(0.5)
    # Each cell lies where its index says, and within its mother.
    first = fine.xy - (fine.index + 0.5) * fine.cell_m
    assert np.ptp(first, axis=0) == pytest.approx([0, 0], abs=1e-9)
    assert np.abs(fine.xy).max() == pytest.approx(198.75)


def test_locate_with_searched_ground_moves_its_areas() -> None:
    parts = hunts.two_station_hunt()
    plain = survey.locate(*parts).colonies[0]
    assert plain.searched is not None
    assert plain.searched.found_by_now == 0
    half = plain.search_areas[50].polygons[0].outer
    told = survey.Searching(looked_over=(survey.LookedOver(ring=half, effort=3.0),))
    looked = survey.locate(*parts, searching=told).colonies[0]
    assert looked.searched is not None
    # The half area was looked over with 95 %.
    assert looked.searched.found_by_now == pytest.approx(0.475, abs=0.04)
    assert looked.search_areas[90].area_m2 > 1.2 * plain.search_areas[90].area_m2
    assert looked.searched.before_area.area_m2 == pytest.approx(
        plain.search_areas[90].area_m2, rel=0.03
    )
    # 0.9 - 0.475 of what is left, 1 - 0.475.
    assert looked.searched.still_inside == pytest.approx(0.81, abs=0.03)
    assert not hunts.holds(
        looked.search_areas[50],
        tuple(HEATH.to_xy(np.array([plain.best_latitude_deg]),
                          np.array([plain.best_longitude_deg]))[0]),
    )  # fmt: skip


@pytest.mark.parametrize("name", ["sweep_width_m", "look_mps", "walk_mps", "path_mps"])
@pytest.mark.parametrize("value", [0.0, -1.0, np.nan])
def test_settings_that_cannot_be(name: str, value: float) -> None:
    with pytest.raises(ValueError, match=rf"searching\.{name}: must be a positive"):
        search.Searching(**{name: value})  # type: ignore[arg-type]  # by name


def test_ground_beside_a_walk_is_seen_by_the_normal_law_of_its_width() -> None:
    # Across the middle of a long straight walk the effort is W times a normal density
    # of sd hypot(0.4 W, 6 m): all of it together is W for each metre walked.
    grid = flat(half_m=200.0, cell_m=4.0)
    for width in (10.0, 30.0):
        way = walked((-150, 2), (150, 2), width_m=width)
        effort = search.efforts(grid, HEATH, search.Searching(walked=(way,)))
        assert effort.sum() * 4.0**2 == pytest.approx(width * 300.0, rel=0.01)
        middle = effort.reshape(100, 100)[38:62].mean(axis=0)  # by metres north
        off = np.arange(-198.0, 200.0, 4.0) - 2
        sd = np.hypot(0.4 * width, 6.0)
        expected = width * np.exp(-0.5 * (off / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
        assert middle == pytest.approx(expected, abs=0.02 * expected.max())
    # Where the phone knows its place well it is as narrow as one sees.
    sure = search.Searching(walked=(walked((0, -150), (0, 150)),), gps_sd_m=0.5)
    effort = search.efforts(grid, HEATH, sure)
    sd = np.hypot(0.4 * 15.0, 0.5)
    near = (np.abs(grid.xy[:, 1]) < 50) & (np.abs(grid.xy[:, 0]) < 2.1)
    # Half of the samples fall into the cells to either side, 2 m off.
    assert effort[near].mean() == pytest.approx(
        15.0 * np.exp(-0.5 * (2 / sd) ** 2) / (sd * np.sqrt(2 * np.pi)), rel=0.05
    )


def test_a_walk_that_leaves_the_map_tells_of_what_it_crosses_only() -> None:
    grid = flat(half_m=100.0, cell_m=5.0)
    both = search.Searching(
        walked=(walked((-500, 0), (500, 0)), walked((-90, 50), (90, 50), width_m=30.0))
    )
    effort = search.efforts(grid, HEATH, both)
    by_hand = 15.0 * 200.0 + 30.0 * 180.0
    # A little of the second lies beyond the rim.
    assert effort.sum() * 5.0**2 == pytest.approx(by_hand, rel=0.03)
    one = search.efforts(grid, HEATH, search.Searching(walked=both.walked[:1]))
    two = search.efforts(grid, HEATH, search.Searching(walked=both.walked[1:]))
    assert effort == pytest.approx(one + two)
    far = search.Searching(walked=(walked((900, 0), (900, 90)),))
    assert search.efforts(grid, HEATH, far) == pytest.approx(0.0)


def test_looking_finds_by_the_law_of_an_unsure_width_and_98_percent_at_most() -> None:
    # The mean of exp(-e) over a gamma width of shape 4: (1 + e / 4)^-4.
    for effort in (0.3, 2.0, 6.6, 9.0):
        over = search.LookedOver(ring=WEST, effort=effort)
        update = search.updated(flat(), HEATH, search.Searching(looked_over=(over,)))
        missed = (1 + min(effort, 6.6) / 4) ** -4
        assert update.found_by_now == pytest.approx(0.5 * (1 - missed))
        assert west_share(update.after) == pytest.approx(missed / (1 + missed))
        assert west_share(update.before) == pytest.approx(0.5)


def test_halved_cells_are_bilinear_between_their_mothers() -> None:
    # A plane stays a plane within; the mean of the four quarters is the mother's.
    grid = flat(half_m=80.0, cell_m=10.0)
    plane = 1.0 + 0.002 * grid.xy[:, 0] + 0.001 * grid.xy[:, 1]
    tilted = dataclasses.replace(grid, probability=plane / plane.sum())
    fine = search.halved(tilted, 5.0)
    assert fine.cell_m == 5.0
    assert len(fine.xy) == 4 * len(grid.xy)
    inner = np.abs(fine.xy).max(axis=1) < 70
    expected = (1.0 + fine.xy @ [0.002, 0.001]) / (4 * plane.sum())
    assert fine.probability[inner] == pytest.approx(expected[inner], rel=1e-3)
    # A single bump is shared out by nine, three, three and one sixteenths.
    bump = np.full(len(grid.xy), 1e-9)
    bump[100] = 1.0
    spread = search.halved(dataclasses.replace(grid, probability=bump), 5.0)
    own = (spread.index // 2 == grid.index[100]).all(axis=1)
    beside = (spread.index // 2 == grid.index[100] + [1, 0]).all(axis=1)
    corner = (spread.index // 2 == grid.index[100] + [1, 1]).all(axis=1)
    total = 16 * spread.probability
    assert total[own] == pytest.approx(9 / 4, rel=1e-6)
    assert sorted(total[beside]) == pytest.approx([0, 0, 3 / 4, 3 / 4], abs=1e-6)
    assert sorted(total[corner]) == pytest.approx([0, 0, 0, 1 / 4], abs=1e-6)


def test_a_large_map_is_not_halved_beyond_what_a_phone_can_bear() -> None:
    large = flat(half_m=1000.0, cell_m=10.0)  # 40 000 cells
    assert search.halved(large, 3.0) is large  # four times as many would be too many
    less = flat(half_m=900.0, cell_m=10.0)
    assert search.halved(less, 3.0).cell_m == 5.0
    apart = dataclasses.replace(
        flat(half_m=20.0), index=flat(half_m=20.0).index * np.array([400, 1])
    )
    assert search.halved(apart, 3.0).cell_m < 10.0


def test_of_weights_that_overlap_the_last_counts_and_of_trees_the_larger() -> None:
    north = ring((-200, 0), (200, 0), (200, 200), (-200, 200))
    ground = (
        search.WeighedGround(ring=WEST, weight=2.0),
        search.WeighedGround(ring=north, weight=0.5),
    )
    lonlat = HEATH.to_lonlat(np.array([[-100.0, 100.0], [-100.0, -100.0]]))
    trees = search.Trees(
        latitude_deg=lonlat[:, 1], longitude_deg=lonlat[:, 0], weight=1.5, radius_m=20.0
    )
    after = search.updated(
        flat(), HEATH, search.Searching(ground=ground, trees=trees)
    ).after
    x, y = after.xy.T
    away = [np.hypot(x + 100, y - at) for at in (100, -100)]
    open_ = np.minimum(*away) > 25
    values = after.probability / after.probability[(x > 50) & (y < -50)].mean()
    assert values[(x < -5) & (y < -5) & open_] == pytest.approx(2.0)
    assert values[(y > 5) & open_] == pytest.approx(0.5)
    assert values[away[0] < 15] == pytest.approx(1.5)
    assert values[away[1] < 15] == pytest.approx(2.0)
    # Ten times over, no ground sinks below a hundredth of the best.
    bog = (search.WeighedGround(ring=WEST, weight=1e-6),)
    low = search.updated(flat(), HEATH, search.Searching(ground=bog)).after
    assert west_share(low) == pytest.approx(0.01 / 1.01, rel=1e-3)


def test_a_dish_nobody_visits_halves_what_is_beside_it_and_little_at_two_hundred() -> (
    None
):
    dish = search.EmptyDish(latitude_deg=hunts.HEATH[0], longitude_deg=hunts.HEATH[1])
    after = search.updated(flat(), HEATH, search.Searching(empty_dishes=(dish,))).after
    away = np.hypot(*after.xy.T)
    expected = 1 - 0.5 * np.exp(-0.5 * (away / 80.0) ** 2)
    assert after.probability == pytest.approx(expected / expected.sum(), rel=1e-6)


def test_what_tells_is_told_apart_from_what_only_plans() -> None:
    dish = search.EmptyDish(latitude_deg=52.0, longitude_deg=-3.0)
    bee = search.Overhead(latitude_deg=52.0, longitude_deg=-3.0, bearing_true_deg=1.0)
    ground = search.WeighedGround(ring=WEST, weight=2.0)
    trees = search.Trees(latitude_deg=np.array([52.0]), longitude_deg=np.array([-3.0]))
    over = search.LookedOver(ring=WEST, effort=1.0)
    for told, tells, looked, weighs in (
        (search.Searching(), False, False, False),
        (search.Searching(start=(52.0, -3.0), paths=(WEST,)), False, False, False),
        (search.Searching(empty_dishes=(dish,)), True, False, False),
        (search.Searching(overhead=(bee,)), True, False, False),
        (search.Searching(ground=(ground,)), True, False, True),
        (search.Searching(trees=trees), True, False, True),
        (search.Searching(looked_over=(over,)), True, True, False),
        (search.Searching(walked=(walked((0, 0), (9, 0)),)), True, True, False),
    ):
        assert (told.tells, told.looked, told.weighs) == (tells, looked, weighs)


def test_what_was_seen_off_the_middle_tells_of_the_ground_there() -> None:
    lon, lat = HEATH.to_lonlat(np.array([[-120.0, 80.0]]))[0]
    bee = search.Overhead(latitude_deg=lat, longitude_deg=lon, bearing_true_deg=45.0)
    dish = search.EmptyDish(latitude_deg=lat, longitude_deg=lon)
    spot = search.LookedSpot(
        latitude_deg=lat, longitude_deg=lon, radius_m=25.0, effort=2.0
    )

    def told(**seen: object) -> Grid:
        how = search.Searching(**seen)  # type: ignore[arg-type]
        return search.updated(flat(), HEATH, how).after

    over = told(overhead=(bee,))
    step = over.xy - (-120.0, 80.0)
    across = np.abs(step @ [np.sqrt(0.5), -np.sqrt(0.5)])  # off the line through it
    along = np.abs(step @ [np.sqrt(0.5), np.sqrt(0.5)])
    mean = over.probability.mean()
    assert over.probability[(across < 10) & (along > 60)].min() > 2 * mean
    assert over.probability[(along < 10) & (across > 60)].max() < 0.9 * mean
    empty = told(empty_dishes=(dish,))
    off = np.hypot(*(empty.xy - (-120.0, 80.0)).T)
    expected = 1 - 0.5 * np.exp(-0.5 * (off / 80.0) ** 2)
    assert empty.probability == pytest.approx(expected / expected.sum(), rel=1e-4)
    looked = told(spots=(spot,))
    off = np.hypot(*(looked.xy - (-120.0, 80.0)).T)
    low = looked.probability < 0.5 * looked.probability.max()
    assert off[low].max() <= 25.0 < off[~low].min() + 0.1


@pytest.mark.parametrize(
    ("width_m", "cell_m"), [(30.0, 10.0), (15.0, 5.0), (9.9, 2.5), (1.0, 2.5)]
)
def test_cells_are_half_a_sweep_width_at_most_and_three_metres_are_enough(
    width_m: float, cell_m: float
) -> None:
    over = search.LookedOver(ring=WEST, effort=1.0)
    how = search.Searching(looked_over=(over,), sweep_width_m=width_m)
    assert search.updated(flat(), HEATH, how).after.cell_m == cell_m


def test_half_the_sight_finds_less_than_half_the_effort_promises() -> None:
    probability = np.array([0.5, 0.3, 0.2])
    effort = np.array([0.0, 1.0, 4.0])

    whole = search.found(probability, effort)
    half = search.found(probability, effort, sight=search.HALF)

    # By hand: (1 + e / 4)^-4 with the effort, and with half of it.
    assert whole == pytest.approx(0.3 * (1 - 1.25**-4) + 0.2 * (1 - 2.0**-4))
    assert half == pytest.approx(0.3 * (1 - 1.125**-4) + 0.2 * (1 - 1.5**-4))


def test_with_half_the_sight_a_map_tells_what_was_looked_at_and_a_walk_finds() -> None:
    grid = flat(half_m=100.0, cell_m=5.0)
    line = walked((-90, 0), (90, 0))
    thin = dataclasses.replace(line, sweep_width_m=line.sweep_width_m / 2)

    # Half of the width is looked over beside the way, spread a little otherwise.
    update = search.updated(grid, HEATH, search.Searching(walked=(line,)))
    indeed = search.updated(grid, HEATH, search.Searching(walked=(thin,)))

    assert update.found_if_half == pytest.approx(indeed.found_by_now, rel=0.1)
    assert 0.5 * update.found_by_now < update.found_if_half < update.found_by_now
