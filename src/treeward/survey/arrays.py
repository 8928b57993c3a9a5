"""Array types, and sums of exponentials that neither overflow nor underflow."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.intp]
Bools: TypeAlias = NDArray[np.bool_]


def log_sum_exp(values: Floats, axis: int | tuple[int, ...]) -> Floats:
    """Return log(sum(exp(values))) over `axis`; -inf where all of it is -inf."""
    top = np.max(values, axis=axis, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        total = np.log(np.sum(np.exp(values - top), axis=axis))
    return np.asarray(total + np.squeeze(top, axis=axis), dtype=np.float64)


def normal_log_density(x: Floats, mean: float, sd: float) -> Floats:
    """Return the log density of the normal distribution, without its constant."""
    return np.asarray(-0.5 * ((x - mean) / sd) ** 2 - np.log(sd), dtype=np.float64)
