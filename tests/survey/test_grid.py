from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.survey import LocalFrame
from treeward.survey.grid import Grid, raster, refine, search_areas

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.survey.records import Floats


def normal(centre: tuple[float, float], sd: float) -> Callable[[Floats], Floats]:
    def log_density(xy: Floats) -> Floats:
        return np.asarray(-0.5 * (((xy - np.array(centre)) / sd) ** 2).sum(axis=1))

    return log_density


@pytest.mark.parametrize("sd", [3.0, 40.0, 300.0])
def test_areas_of_a_normal_are_those_of_the_formula(sd: float) -> None:
    # The smallest area that holds p of a round normal is -2 ln(1 - p) pi sd^2.
    place = (700.0, -300.0)
    grid = refine(normal(place, sd), np.zeros(2), 6000.0, np.array([place]))
    assert grid.probability.sum() == pytest.approx(1.0)
    found = search_areas(grid, LocalFrame(52.3, -3.6))
    for share in (50, 90, 95):
        exact = -2 * np.log(1 - share / 100) * np.pi * sd**2
        assert found[share].area_m2 == pytest.approx(exact, rel=0.02)
        assert len(found[share].polygons) == 1


def test_a_ring_has_a_hole_and_two_peaks_are_two_polygons() -> None:
    def ring(xy: Floats) -> Floats:
        return np.asarray(-0.5 * ((np.hypot(*xy.T) - 900.0) / 60.0) ** 2)

    grid = refine(ring, np.zeros(2), 6000.0, np.zeros((1, 2)))
    (polygon,) = search_areas(grid, LocalFrame(52.3, -3.6))[90].polygons
    assert len(polygon.holes) == 1

    def two(xy: Floats) -> Floats:
        left, right = normal((-800.0, 0.0), 50.0), normal((800.0, 0.0), 50.0)
        return np.asarray(np.logaddexp(np.log(0.7) + left(xy), np.log(0.3) + right(xy)))

    grid = refine(two, np.zeros(2), 6000.0, np.zeros((1, 2)))
    polygons = search_areas(grid, LocalFrame(52.3, -3.6))[90].polygons
    assert len(polygons) == 2
    assert polygons[0].outer[:, 0].mean() < polygons[1].outer[:, 0].mean()


def test_rings_are_closed_and_wound_as_geojson_wants() -> None:
    def ring(xy: Floats) -> Floats:
        return np.asarray(-0.5 * ((np.hypot(*xy.T) - 900.0) / 60.0) ** 2)

    grid = refine(ring, np.zeros(2), 6000.0, np.zeros((1, 2)))
    (polygon,) = search_areas(grid, LocalFrame(52.3, -3.6))[50].polygons
    for points, sign in ((polygon.outer, 1), (polygon.holes[0], -1)):
        assert (points[0] == points[-1]).all()
        x, y = points.T
        assert sign * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) > 0


def test_nowhere_possible_is_refused() -> None:
    with pytest.raises(ValueError, match="no place"):
        refine(
            lambda xy: np.full(len(xy), -np.inf), np.zeros(2), 100.0, np.zeros((0, 2))
        )


def test_the_picture_lies_where_the_grid_does() -> None:
    place = (700.0, -300.0)
    grid = refine(normal(place, 40.0), np.zeros(2), 6000.0, np.array([place]))
    east, north, picture = raster(grid)
    assert picture.sum() == pytest.approx(1.0)
    middle = (picture.sum(axis=0) @ east, picture.sum(axis=1) @ north)
    assert middle == pytest.approx(place, abs=1.0)


def test_of_a_cell_that_holds_more_than_the_area_only_its_part_counts() -> None:
    grid = Grid(
        xy=np.array([(0.0, 0.0), (10.0, 0.0), (0.0, 10.0)]),
        index=np.array([(0, 0), (1, 0), (0, 1)]),
        cell_m=10.0,
        probability=np.array([0.6, 0.3, 0.1]),
    )
    found = search_areas(grid, LocalFrame(52.3, -3.6))
    assert found[50].area_m2 == pytest.approx(0.5 / 0.6 * 100)
    assert found[90].area_m2 == pytest.approx(200)
    assert found[95].area_m2 == pytest.approx(250)
