"""Search theory in closed form.

B. O. Koopman, Search and Screening, 1946 (Pergamon 1980): random search of an area
finds with 1 - exp(-W l / A). L. D. Stone, Theory of Optimal Search, 1975: for a
circular normal target of sd s and exponential detection the best density of an effort
E is (R^2 - r^2) / (2 s^2) within R, E = pi R^4 / (4 s^2), and the target is found with
1 - (1 + u) exp(-u), u = R^2 / (2 s^2) = sqrt(E / (pi s^2)). With an effort that grows
at a rate a, the mean time is 6 pi s^2 / a: the integral of (1 + u) exp(-u) over E / a.
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
        log_evidence=0.0,
    )


@pytest.mark.parametrize(("u", "found"), [(1.0, 0.264), (2.0, 0.594), (3.89, 0.900)])
def test_best_effort_for_a_circular_normal(u: float, found: float) -> None:
    grid = circular_normal()
    effort_m2 = np.pi * SD_M**2 * u**2
    best = search.best_effort(grid.probability, CELL_M**2, effort_m2)
    assert best.sum() * CELL_M**2 == pytest.approx(effort_m2, rel=1e-9)
    assert 1 - grid.probability @ np.exp(-best) == pytest.approx(found, abs=0.001)
    # Its shape: a paraboloid within R, nothing beyond.
    radius2 = (grid.xy**2).sum(axis=1)
    shape = np.maximum(2 * u * SD_M**2 - radius2, 0.0) / (2 * SD_M**2)
    assert best == pytest.approx(shape, abs=0.02)


def test_mean_effort_for_a_circular_normal() -> None:
    grid = circular_normal()
    mean = search.expected_effort_m2(grid.probability, CELL_M**2)
    assert mean == pytest.approx(6 * np.pi * SD_M**2, rel=0.01)


def test_mean_effort_is_the_integral_of_what_is_not_found_yet() -> None:
    # Of a map without any symmetry, by the best division at many efforts.
    rng = np.random.default_rng(5)
    held = rng.gamma(0.3, size=40)
    held /= held.sum()
    efforts = np.concatenate([[0.0], np.geomspace(1e-6, 2e4, 6000)])
    left = [held @ np.exp(-search.best_effort(held, 1.0, e)) for e in efforts[1:]]
    mean = np.trapezoid([1.0, *left], efforts)
    assert search.expected_effort_m2(held, 1.0) == pytest.approx(mean, rel=1e-3)


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
    assert update.found_by_now == pytest.approx(1 - np.exp(-passes), abs=0.003)


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
