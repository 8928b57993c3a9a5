"""Search theory: what an effort misses, and the mean effort until the best one finds.

An effort e = W l / A over ground hides a nest in it with exp(-e) (Koopman, Search and
Screening, 1946 and 1980), where the sweep width W is known. It is a guess, and nests
show more or less: with W times a gamma variable of mean one and shape k the mean of
exp(-e) is (1 + e / k)^-k (`hidden`), which falls more slowly: ground looked at again
and again is never as good as ruled out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .arrays import Floats


SIGHT_SHAPE = 4.0  # of true sweep width against stated: half to double in 0.8; guess


def hidden(effort: Floats) -> Floats:
    """Return the chance that a nest is missed, by effort W l / A with the stated W."""
    return np.asarray((1.0 + effort / SIGHT_SHAPE) ** -SIGHT_SHAPE)


def effort_of(share: float) -> float:
    """Return the effort that finds a share of nests, 0 to 1."""
    return float(SIGHT_SHAPE * ((1.0 - share) ** (-1.0 / SIGHT_SHAPE) - 1.0))


def expected_effort_m2(
    probability: Floats,
    cell_m2: float,
    spent: Floats | float = 0.0,
    *,
    shape: float = SIGHT_SHAPE,
) -> Floats:
    """Return the mean area to be swept until the nest is found, searched at best [m2].

    The best search (Koopman 1946; Stone, Theory of Optimal Search, 1975) always sweeps
    where it finds most at once, d = p / A w, with w = 1 + spent / k. At the level at
    which d_1 >= d_2 >= ... d_j are swept the chance not to have found it is
    A T level^(k a) + R, with a = 1 / (k + 1), T the sum of w d^a of the cells swept and
    R the chance in the others; the mean of the effort is its integral over the effort,
    k A (T level^-a - sum of w). For a circular normal of sd s and nothing spent it is
    2 pi s^2 (3 k + 1) / (k - 1), which is 6 pi s^2 where W is known.

    Parameters
    ----------
    probability
        (..., n) chances of cells, not all zero; each row is taken to sum to one.
    cell_m2
        A, the area of a cell [m2].
    spent
        (..., n) effort W l / A that the cells got before.
    shape
        k, of the true sweep width against the stated one.

    Returns
    -------
    ndarray
        (...,) swept area W l [m2]; divided by W and the speed it is the mean time.
    """
    share = np.asarray(probability, dtype=np.float64)
    share = np.maximum(share / share.sum(axis=-1, keepdims=True), 1e-300)
    worn = np.broadcast_to(1.0 + np.asarray(spent) / shape, share.shape)
    order = np.argsort(-share / worn, axis=-1, kind="stable")
    share, worn = (np.take_along_axis(x, order, axis=-1) for x in (share, worn))
    level = share / worn
    power = 1.0 / (shape + 1.0)
    swept = np.cumsum(worn * level**power, axis=-1)
    # Summed from the least, as a difference from one would drown them.
    rest = np.cumsum(share[..., ::-1], axis=-1)[..., ::-1] - share
    fall = level ** ((shape - 1.0) * power)
    fall[..., :-1] -= fall[..., 1:].copy()
    rise = np.zeros_like(level)
    rise[..., :-1] = np.diff(level**-power, axis=-1)
    parts = swept * (swept * fall / (shape - 1.0) + rest * rise)
    return np.asarray(cell_m2 * shape * parts.sum(axis=-1))
