"""Search theory in closed form.

B. O. Koopman, Search and Screening, 1946 (Pergamon 1980): random search of an area
finds with 1 - exp(-W l / A). L. D. Stone, Theory of Optimal Search, 1975: for a
circular normal target of sd s and exponential detection the best search has missed it
after an effort E with (1 + u) exp(-u), u = sqrt(E / (pi s^2)), whose integral over E is
6 pi s^2.
"""

from __future__ import annotations

import numpy as np
import pytest

from treeward.survey import search
from treeward.survey.frame import LocalFrame
from treeward.survey.grid import Grid

SD_M = 60.0
CELL_M = 4.0
HEATH = LocalFrame(52.3012, -3.6104)


def circular_normal(sd_m: float = SD_M, cell_m: float = CELL_M) -> Grid:
    side = np.arange(int(12 * sd_m / cell_m))
    index = np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1).reshape(-1, 2)
    xy = (index + 0.5) * cell_m - 6 * sd_m
    density = np.exp(-0.5 * (xy**2).sum(axis=1) / sd_m**2)
    return Grid(
        xy=np.asarray(xy, dtype=np.float64),
        index=index,
        cell_m=cell_m,
        probability=density / density.sum(),
    )


KNOWN = 1e4  # a shape at which the sweep width is as good as known


def test_mean_effort_for_a_circular_normal() -> None:
    grid = circular_normal()
    mean = search.expected_effort_m2(grid.probability, CELL_M**2, shape=KNOWN)
    assert mean == pytest.approx(6 * np.pi * SD_M**2, rel=0.01)


def test_mean_effort_where_the_sweep_width_is_a_guess() -> None:
    # The integral of (k + 1) x^(k a) - k x over the effort, x the level's height.
    grid, shape = circular_normal(), search.SIGHT_SHAPE
    mean = search.expected_effort_m2(grid.probability, CELL_M**2)
    by_hand = 2 * np.pi * SD_M**2 * (3 * shape + 1) / (shape - 1)
    assert mean == pytest.approx(by_hand, rel=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("shape", [3.0, KNOWN])
def test_mean_effort_is_the_integral_of_what_is_not_found_yet(shape: float) -> None:
    # Of a map without any symmetry: always a little more where it finds most.
    rng = np.random.default_rng(5)
    held = rng.gamma(0.8, size=12)
    held /= held.sum()
    before, step = rng.uniform(0, 2, size=12), 0.01
    spent, left = np.zeros(12), [1.0]
    while left[-1] > 2e-3:
        chance = held * ((shape + before) / (shape + before + spent)) ** shape
        best = np.argmax(chance / (shape + before + spent))
        spent[best] += step
        now = held * ((shape + before) / (shape + before + spent)) ** shape
        left.append(now.sum())
    mean = float(np.trapezoid(left, dx=step))
    # What is not found by then: its density falls on, cell by cell alike.
    level = held * ((shape + before) / (shape + before + spent)) ** shape
    on = search.expected_effort_m2(level, 1.0, before + spent, shape=shape)
    mean += left[-1] * float(on)
    told = search.expected_effort_m2(held, 1.0, before, shape=shape)
    assert told == pytest.approx(mean, rel=5e-3)


@pytest.mark.parametrize("passes", [1, 3])
def test_ground_swept_in_lanes_is_found_as_koopman_says(passes: int) -> None:
    # Parallel lanes W apart through a field far wider than W: l / A = 1 / W a pass.
    width, sd = 15.0, 60.0
    grid = circular_normal(sd)
    lanes = np.arange(-25, 26) * width
    walked = []
    for offset in lanes:
        ends = HEATH.to_lonlat(np.array([[-600.0, offset], [600.0, offset]]))
        walked.append(
            search.Walked(
                latitude_deg=ends[:, 1], longitude_deg=ends[:, 0], sweep_width_m=width
            )
        )
    update = search.updated(
        grid, HEATH, search.Searching(walked=tuple(walked * passes))
    )
    missed = update.before.probability @ np.exp(-update.effort)
    assert missed == pytest.approx(np.exp(-passes), abs=0.003)
    hidden = float(search.hidden(np.array(passes)))
    assert update.found_by_now == pytest.approx(1 - hidden, abs=0.003)


def test_the_effort_of_a_walk_is_w_times_l_by_pyproj() -> None:
    from pyproj import Geod

    rng = np.random.default_rng(2)
    grid = circular_normal()
    way = HEATH.to_lonlat(np.cumsum(rng.normal(0, 25, size=(40, 2)), axis=0))
    length_m = Geod(ellps="WGS84").line_length(way[:, 0], way[:, 1])
    walked = search.Walked(
        latitude_deg=way[:, 1], longitude_deg=way[:, 0], sweep_width_m=12.0
    )
    effort = search.efforts(grid, HEATH, search.Searching(walked=(walked,)))
    assert effort.sum() * CELL_M**2 == pytest.approx(12.0 * length_m, rel=1e-4)
