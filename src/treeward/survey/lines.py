"""Flight lines: how likely the bearings of a station are, for every direction.

A bearing is the true direction to the colony, plus an offset that all bearings of
the hunt share (compass, reader and declination), plus a von Mises error of unknown
spread; a share of bearings means nothing (bees that circle or fly elsewhere). The
spread has a prior with a floor, because spread estimated from few bearings is often
absurdly small (three bearings may suggest a concentration of a million). A bearing
spoken as one of eight or sixteen winds is spread over its sector.

All bearings of a station come down to a table over (direction, spread and share of
strays); the shared offset is a shift along the direction.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .arrays import Floats
    from .settings import Settings

ANGLES = 720  # nodes around the circle: half a degree apart
STRAY_SHARES = (0.05, 0.15)
# For usual and for poor hunts (see `timing.shared_nodes`); guesses.
STRAY_WEIGHTS = ((0.85, 0.15), (0.3, 0.7))
COMPASS_TIMES = (1.0, 2.3)  # the stated standard deviation; iron in the pocket
OFFSET_SPAN = 5.0  # of the nodes of the shared offset, in standard deviations
FEWEST_NODES, MOST_NODES = 13, 45
_SHARP_DEG = 5.0  # spread of single bearings that the nodes must resolve


@dataclass(frozen=True, slots=True)
class LineNodes:
    """Quadrature nodes of the shared unknowns of bearings, and their prior."""

    offset_rad: Floats  # (no,)
    sd_rad: Floats  # (ns,) spread of single bearings
    stray: Floats  # (ns,) share of strays that goes with it
    log_weight: Floats  # (2, no, ns) for usual and poor hunts, each sums to one


def line_nodes(
    settings: Settings, declination_sd_deg: float, bearings: int = 1
) -> LineNodes:
    """Return nodes and prior of compass offset, spread and stray share.

    `bearings` is the largest number from one station: the more there are, the
    finer the nodes must lie, or the posterior breaks up into one ray for each.
    """
    sd = np.hypot(settings.compass_sd_deg, declination_sd_deg)
    step = 1.5 * _SHARP_DEG / np.sqrt(max(bearings, 1))
    count = int(np.clip(2 * OFFSET_SPAN * sd / step + 1, FEWEST_NODES, MOST_NODES))
    offset = np.linspace(-OFFSET_SPAN, OFFSET_SPAN, count) * sd
    z = offset / sd
    low = settings.bearing_sd_floor_deg
    spread = np.geomspace(low, max(27.0, 3.0 * settings.bearing_sd_deg), 8)
    by_spread = np.exp(
        -0.5
        * (np.log(spread / settings.bearing_sd_deg) / settings.bearing_sd_sigma) ** 2
    )
    weights = []
    for times, by_share in zip(COMPASS_TIMES, STRAY_WEIGHTS, strict=True):
        by_offset = np.exp(-0.5 * (z / times) ** 2)
        weight = np.outer(by_offset, np.outer(by_spread, by_share))
        weights.append(weight / weight.sum())
    return LineNodes(
        offset_rad=np.radians(offset),
        sd_rad=np.radians(np.repeat(spread, len(STRAY_SHARES))),
        stray=np.tile(np.array(STRAY_SHARES), spread.size),
        log_weight=np.log(np.array(weights) + 1e-300),
    )


def concentration(sd_rad: Floats) -> Floats:
    """Return the von Mises concentration of bearings with a standard deviation.

    Lenth 1981, Technometrics 23:149-154, eq. 2.10, with C = exp(-sd^2 / 2).
    """
    c = np.exp(-0.5 * np.asarray(sd_rad) ** 2)
    inverse = 2 * (1 - c) + (1 - c) ** 2 * (0.48794 - 0.82905 * c - 1.3915 * c**2) / c
    return np.asarray(1.0 / inverse)


def line_table(bearing_rad: Floats, rounding_rad: Floats, nodes: LineNodes) -> Floats:
    """Return the log likelihood of a station's bearings over (direction, spread).

    Parameters
    ----------
    bearing_rad, rounding_rad
        (n,) bearings and the width each was rounded to.
    nodes
        Nodes of the shared unknowns.

    Returns
    -------
    numpy.ndarray
        (ANGLES + 1, ns); the last row repeats the first.
    """
    from scipy.special import i0e

    kappa = concentration(nodes.sd_rad)
    direction = np.arange(ANGLES + 1) * (2 * np.pi / ANGLES)
    table = np.zeros((ANGLES + 1, nodes.sd_rad.size))
    distinct, counts = np.unique(
        np.stack([bearing_rad, rounding_rad], axis=1), axis=0, return_counts=True
    )
    for (bearing, width), count in zip(distinct, counts, strict=True):
        pieces = max(1, int(np.ceil(np.degrees(width) / 3.0)))
        within = (np.arange(pieces) + 0.5) / pieces - 0.5
        density = np.zeros_like(table)
        for part in within:
            error = bearing + part * width - direction
            density += np.exp(kappa * (np.cos(error)[:, None] - 1.0))
        density /= pieces * 2 * np.pi * i0e(kappa)
        table += count * np.log((1 - nodes.stray) * density + nodes.stray / (2 * np.pi))
    return table


def direction_position(direction_rad: Floats) -> Floats:
    """Return where directions fall among the rows of a line table."""
    return np.asarray((direction_rad % (2 * np.pi)) * (ANGLES / (2 * np.pi)))
