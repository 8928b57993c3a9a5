"""Search theory: the best division of an effort, and the mean effort until it finds.

Exponential detection throughout: an effort e = W l / A over ground finds a nest in it
with 1 - exp(-e) (Koopman, Search and Screening, 1946 and 1980).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .arrays import Floats


def expected_effort_m2(probability: Floats, cell_m2: float) -> Floats:
    """Return the mean area to be swept until the nest is found, searched at best [m2].

    The best search (Koopman 1946; Stone, Theory of Optimal Search, 1975) always sweeps
    where the density, as it is by then, is largest. With densities d_1 >= d_2 >= ... of
    cells of area A, the mean of the effort is the integral of the chance not to have
    found it: while the level falls from d_k to d_(k+1), k cells are swept evenly, so
    that part is k A (k A (d_k - d_(k+1)) + R_k log(d_k / d_(k+1))), with R_k the chance
    in the cells beyond. For a circular normal of sd s it is 6 pi s^2.

    Parameters
    ----------
    probability
        (..., n) chances of cells, not all zero; each row is taken to sum to one.
    cell_m2
        A, the area of a cell [m2].

    Returns
    -------
    ndarray
        (...,) swept area W l [m2]; divided by W and the speed it is the mean time.
    """
    held = -np.sort(-np.asarray(probability, dtype=np.float64), axis=-1)
    total = held.sum(axis=-1, keepdims=True)
    held = np.maximum(held / total, 1e-300)
    rest = 1.0 - np.cumsum(held, axis=-1)
    number = np.arange(1, held.shape[-1] + 1)
    after = np.concatenate([held[..., 1:], np.zeros_like(held[..., :1])], axis=-1)
    swept = number * (held - after)
    with np.errstate(divide="ignore"):
        fall = np.log(held[..., :-1] / after[..., :-1])
    swept[..., :-1] += np.maximum(rest[..., :-1], 0.0) * fall
    return np.asarray(cell_m2 * (number * swept).sum(axis=-1))


def best_effort(probability: Floats, cell_m2: float, effort_m2: float) -> Floats:
    """Return the best division of an effort over cells; (n,) W l / A.

    Each cell gets log(d / level) where that is positive (Koopman 1946), with the level
    at which the efforts add up.

    Parameters
    ----------
    probability
        (n,) chances of cells.
    cell_m2
        Area of a cell [m2].
    effort_m2
        W l in all [m2].
    """
    order = np.argsort(-probability, kind="stable")
    log_d = np.log(np.maximum(probability[order], 1e-300))
    # With the k likeliest swept, the level is at their mean log less the effort each.
    number = np.arange(1, len(log_d) + 1)
    level = (np.cumsum(log_d) - effort_m2 / cell_m2) / number
    swept = max(1, int(np.count_nonzero(log_d > level)))
    log_p = np.log(np.maximum(probability, 1e-300))
    return np.asarray(np.maximum(log_p - level[swept - 1], 0.0))
