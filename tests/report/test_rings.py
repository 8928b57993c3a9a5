"""Rings in map files: closed, right-handed, on one side of 180 degrees."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon as Shape  # type: ignore[import-untyped]
from shapely.ops import unary_union  # type: ignore[import-untyped]

from treeward.report.sketch import polygon_rings, signed_area
from treeward.survey.records import Polygon

if TYPE_CHECKING:
    from numpy.typing import NDArray


def circle(
    lon: float, lat: float, radius: float, *, clockwise: bool = False, n: int = 40
) -> NDArray[np.float64]:
    """Return a closed ring, longitudes brought to -180..180."""
    turn = np.linspace(0, -2 * np.pi if clockwise else 2 * np.pi, n)
    x = (lon + radius * np.cos(turn) + 180) % 360 - 180
    return np.stack([x, lat + radius * np.sin(turn)], axis=-1)


@given(
    lon=st.floats(-180, 180),
    lat=st.floats(-70, 70),
    radius=st.floats(0.001, 0.5),
    clockwise=st.booleans(),
)
def test_whatever_the_place_rings_are_right(
    lon: float, lat: float, radius: float, clockwise: bool
) -> None:
    polygon = Polygon(
        outer=circle(lon, lat, radius, clockwise=clockwise),
        holes=(circle(lon, lat, radius / 3, clockwise=clockwise),),
    )

    parts = list(polygon_rings(polygon))

    total = 0.0
    for outer, *holes in parts:
        assert signed_area(outer) > 0
        total += signed_area(outer) + sum(signed_area(hole) for hole in holes)
        assert all(signed_area(hole) < 0 for hole in holes)
        for ring in (outer, *holes):
            assert ring[0] == ring[-1]
            assert len(ring) >= 4
            assert all(-180 <= x <= 180 and -90 <= y <= 90 for x, y in ring)
            assert max(x for x, _ in ring) - min(x for x, _ in ring) < 2
    step = 2 * np.pi / 39
    expected = (radius**2 - (radius / 3) ** 2) * 39 / 2 * np.sin(step)
    assert total == pytest.approx(expected, rel=1e-3, abs=1e-8)


def test_a_ring_across_180_degrees_is_cut_in_two() -> None:
    parts = list(polygon_rings(Polygon(outer=circle(179.9, -17, 0.3))))

    assert len(parts) == 2
    shapes = [Shape(outer) for outer, *_ in parts]
    assert all(shape.is_valid for shape in shapes)
    assert unary_union(shapes).area == pytest.approx(Shape(circle(10, -17, 0.3)).area)


def test_a_ring_without_area_is_left_out() -> None:
    flat = np.array([[1.0, 2.0], [1.0, 2.0], [1.0, 2.0]])

    assert list(polygon_rings(Polygon(outer=flat))) == []
    assert list(polygon_rings(Polygon(outer=np.zeros((0, 2))))) == []


def test_an_open_ring_is_closed() -> None:
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])

    ((outer,),) = polygon_rings(Polygon(outer=square))

    assert outer == [[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]
