"""Array types, and exponentials that neither overflow nor underflow."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.intp]
Bools: TypeAlias = NDArray[np.bool_]


_SERIES_FROM = 500.0  # above it the series below is right to 2e-12


def bessel_i0e(x: Floats) -> Floats:
    """Return the modified Bessel function I0(x) times exp(-x), for x >= 0.

    numpy's I0, and for large x, where that overflows, the asymptotic series of
    Abramowitz and Stegun 1964, Handbook of Mathematical Functions, 9.7.1.
    """
    x = np.asarray(x, dtype=np.float64)
    small, large = np.minimum(x, _SERIES_FROM), np.maximum(x, _SERIES_FROM)
    series = 1 + 1 / (8 * large) + 9 / (128 * large**2) + 225 / (3072 * large**3)
    return np.where(
        x < _SERIES_FROM,
        np.i0(small) * np.exp(-small),
        series / np.sqrt(2 * np.pi * large),
    )


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
