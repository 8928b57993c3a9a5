from __future__ import annotations

import numpy as np
import pytest

from survey import hunts
from treeward import survey
from treeward.survey import Settings, answer, case, evidence, grid


def crowded_hunt() -> tuple[survey.Stations, survey.Trips, survey.Bearings]:
    """Return twelve bees at two stations with 120 trips and 90 bearings."""
    rng = np.random.default_rng(8)
    spots = [(0.0, 0.0), (450.0, -150.0)]
    bee = np.tile(np.arange(12), 10)
    seat = bee % 2
    way = np.array([650.0, 520.0]) - np.array(spots)
    stay = 134.0 * np.exp(0.2 * rng.standard_normal(12))
    gap = np.hypot(*way.T)[seat] * hunts.PER_METRE / 0.97
    gap = gap + stay[bee] * np.exp(0.25 * rng.standard_normal(120))
    turn = np.degrees(np.arctan2(*way.T))[seat] + 5.0 * rng.standard_normal(120)
    return (
        hunts.stations(*spots),
        hunts.trips(gap, bee=list(bee), station=list(seat), bees=tuple("abcdefghijkl")),
        hunts.bearings(turn[:90], bee=list(bee[:90]), station=list(seat[:90])),
    )


@pytest.mark.slow
def test_much_data_leave_one_smooth_patch_of_one_colony() -> None:
    fix = hunts.placed(*crowded_hunt())
    (colony,) = fix.colonies
    for area in colony.search_areas.values():
        assert len(area.polygons) == 1
        assert not area.polygons[0].holes
    assert hunts.holds(colony.search_areas[95], (650.0, 520.0))
    # A smooth patch: hardly longer round than the ellipse of its area and length.
    (patch,) = colony.search_areas[90].polygons
    xy = survey.LocalFrame(*hunts.HEATH).to_xy(patch.outer[:, 1], patch.outer[:, 0])
    hull = np.hypot(*np.diff(xy, axis=0).T).sum()
    centred = xy - xy.mean(axis=0)
    long, short = np.sqrt(2 * np.linalg.eigvalsh(centred.T @ centred / len(xy))[::-1])
    around = np.pi * (
        3 * (long + short) - np.sqrt((3 * long + short) * (long + 3 * short))
    )
    assert hull < 1.25 * around


@pytest.mark.slow
def test_focused_nodes_give_the_same_answer_as_wide_ones_where_both_will_do() -> None:
    hunt = case.prepare(*hunts.two_station_hunt(), Settings(), None)
    plain = evidence.Evidence(
        hunt.case, frozenset(hunt.bees), np.ones(len(hunt.bearing_used), dtype=bool)
    )
    assert not grid.much_data(hunt.case, hunt.bees, plain.use_bearing)
    _, wide = answer.solve(plain)
    narrow, weights = grid.focused_evidence(plain)
    assert weights.times.sum() == pytest.approx(1.0, abs=1e-3)
    assert weights.scatter.sum() == pytest.approx(1.0, abs=1e-3)
    assert weights.offsets.sum(axis=1) == pytest.approx(1.0, abs=1e-3)
    _, fine = answer.solve(narrow)
    areas = [len(g.inside(0.9)) * g.cell_m**2 for g in (wide, fine)]
    assert areas[0] == pytest.approx(areas[1], rel=0.05)
