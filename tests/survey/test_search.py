from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import gamma, vonmises

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
        log_evidence=0.0,
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
    # By SciPy's von Mises distribution: home or from home, against any way at all.
    off = np.arctan2(*after.xy.T) - np.radians(90.0)
    width = vonmises(1 / np.radians(25.0) ** 2)
    likelier = np.pi * (width.pdf(off) + width.pdf(off + np.pi))
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
