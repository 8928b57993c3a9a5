from __future__ import annotations

import numpy as np

from treeward.survey.frame import inside_ring


def test_what_lies_in_a_ring_is_as_matplotlib_says() -> None:
    from matplotlib.path import Path

    rng = np.random.default_rng(11)
    for corners in (3, 4, 7, 40):
        ring = rng.normal(size=(corners, 2))  # most of them cross themselves
        xy = rng.normal(size=(500, 2))
        closed = np.concatenate([ring, ring[:1]])
        turn = np.unwrap(np.arctan2(*(closed[None] - xy[:, None]).T).T, axis=1)
        odd = np.abs(np.rint((turn[:, -1] - turn[:, 0]) / (2 * np.pi))) % 2 == 1
        assert (inside_ring(xy, ring) == odd).all()
        assert (inside_ring(xy, closed) == odd).all()
    square = np.array([(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)])
    xy = rng.uniform(-1, 3, size=(500, 2))
    assert (inside_ring(xy, square) == Path(square).contains_points(xy)).all()
