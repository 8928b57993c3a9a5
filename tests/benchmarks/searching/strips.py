"""The plan that Treeward gave before it planned by time: strips, likeliest first.

Kept to measure the new one against.

Strips lie side by side along the longer axis of each patch, so that there are few
turns, and are ordered by how much probability a metre of walking covers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from treeward.survey.records import Strip

if TYPE_CHECKING:
    from treeward.survey.frame import LocalFrame
    from treeward.survey.grid import Grid
    from treeward.survey.records import Floats

STRIP_M = 25.0  # trees are looked up some 12 m to either side; guess
MOST_STRIPS = 60  # a wider area gets wider strips: nobody walks more


def search_plan(grid: Grid, frame: LocalFrame) -> tuple[Strip, ...]:
    """Return the strips of the 90 % area, likeliest first.

    Parameters
    ----------
    grid
        Where a colony probably is.
    frame
        Its local frame.
    """
    chosen = grid.inside(0.9)
    xy, probability = grid.xy[chosen], grid.probability[chosen]
    middle = probability @ xy / probability.sum()
    centred = xy - middle
    _, vectors = np.linalg.eigh((centred * probability[:, None]).T @ centred)
    long, cross = vectors[:, 1], vectors[:, 0]
    along, across = centred @ long, centred @ cross
    width = STRIP_M
    while True:
        runs = _runs(along, across, probability, max(width, grid.cell_m), grid.cell_m)
        if len(runs) <= MOST_STRIPS:
            break
        width *= 1.4
    runs.sort(key=lambda run: -run[3] / (run[1] - run[0]))
    strips = []
    for start, end, offset, held in runs:
        ends = np.array([start * long + offset * cross, end * long + offset * cross])
        (lon1, lat1), (lon2, lat2) = frame.to_lonlat(ends + middle)
        strips.append(
            Strip(
                start_latitude_deg=float(lat1),
                start_longitude_deg=float(lon1),
                end_latitude_deg=float(lat2),
                end_longitude_deg=float(lon2),
                probability=float(held),
            )
        )
    return tuple(_to_and_fro(strips))


def _runs(
    along: Floats, across: Floats, probability: Floats, width: float, cell_m: float
) -> list[tuple[float, float, float, float]]:
    """Return start, end and offset of each run of cells, and what it holds."""
    lane = np.floor(across / width).astype(np.intp)
    runs = []
    for number in np.unique(lane):
        own = np.flatnonzero(lane == number)
        own = own[np.argsort(along[own])]
        # A gap of more than two cells and a half strip is ground not to be walked.
        breaks = np.flatnonzero(np.diff(along[own]) > 2.5 * cell_m + 0.5 * width) + 1
        for part in np.split(own, breaks):
            start, end = along[part[0]] - cell_m / 2, along[part[-1]] + cell_m / 2
            held = probability[part].sum()
            runs.append((start, end, (number + 0.5) * width, float(held)))
    return runs


def _to_and_fro(strips: list[Strip]) -> list[Strip]:
    """Turn strips round where that shortens the way from the one before."""
    result: list[Strip] = []
    for strip in strips:
        if result:
            lat, lon = result[-1].end_latitude_deg, result[-1].end_longitude_deg
            shrink = np.cos(np.radians(lat))
            to_start = np.hypot(
                strip.start_latitude_deg - lat,
                (strip.start_longitude_deg - lon) * shrink,
            )
            to_end = np.hypot(
                strip.end_latitude_deg - lat, (strip.end_longitude_deg - lon) * shrink
            )
            if to_end < to_start:
                strip = Strip(  # noqa: PLW2901
                    start_latitude_deg=strip.end_latitude_deg,
                    start_longitude_deg=strip.end_longitude_deg,
                    end_latitude_deg=strip.start_latitude_deg,
                    end_longitude_deg=strip.start_longitude_deg,
                    probability=strip.probability,
                )
        result.append(strip)
    return result
