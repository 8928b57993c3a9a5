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


def integrate_nodes(
    by_node: Floats | NDArray[np.float32], log_weight: Floats
) -> Floats:
    """Sum (n, ...) log likelihoods over nodes with (k, ...) log weights; (n, k)."""
    flat = by_node.reshape(len(by_node), -1)
    top = flat.max(axis=1)
    likelihood = np.exp(flat - top[:, None])
    weight = np.exp(log_weight).reshape(len(log_weight), -1).astype(flat.dtype)
    total = (likelihood @ weight.T).astype(np.float64)
    return np.asarray(np.log(total + 1e-300) + top[:, None])
