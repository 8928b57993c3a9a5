"""Ways walked while looking, out of phones' GPX files: cleaned, and by their pace.

A phone that lies still wanders by some metres, and at times it jumps. Places nearer
than that to the last one kept are dropped, and over a jump nothing was walked.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Any

import numpy as np

from .tracks import gpx_document

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

WANDER_M = 10.0  # of a phone that lies still; guess
JUMP_MPS = 3.0  # nobody runs so through a wood for long; guess
JUMP_M = 60.0  # shorter ones are a phone's scatter; guess
UNTIMED_JUMP_M = 300.0  # between two places without times; guess
GAP_S = 600.0  # without a place: what was walked meanwhile is not known; guess
FAST_MPS = 1.7  # so fast nobody looks up trees; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackStretch:
    """Places one after another, n of them; `time_s` since 1970, NaN where unknown."""

    latitude_deg: Floats
    longitude_deg: Floats
    time_s: Floats

    def between(self, first: datetime, last: datetime) -> TrackStretch:
        """Return the part of that time."""
        inside = (self.time_s >= first.timestamp()) & (self.time_s <= last.timestamp())
        return self.part(np.flatnonzero(inside))

    def part(self, chosen: NDArray[np.intp]) -> TrackStretch:
        """Return some of its places."""
        return TrackStretch(
            latitude_deg=self.latitude_deg[chosen],
            longitude_deg=self.longitude_deg[chosen],
            time_s=self.time_s[chosen],
        )

    @property
    def timed(self) -> bool:
        """Whether every place has its time."""
        return bool(np.isfinite(self.time_s).all())


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkedLines:
    """What of some stretches was walked while looking.

    `share` is how much of the sweep width is left at the pace of a line.
    """

    lines: tuple[tuple[TrackStretch, float], ...] = ()
    walked_m: float = 0.0
    spent_s: float = 0.0  # 0 where there are no times
    fast_m: float = 0.0  # left out: too fast to look
    jumps: int = 0


def read_stretches(path: Path) -> tuple[TrackStretch, ...]:
    """Return the segments of a GPX file's tracks, and its routes, timed or not.

    Raises
    ------
    TrackError
        As `tracks.read_gpx`.
    """
    document = gpx_document(path)
    ways: list[list[Any]] = [
        [*segment.points] for track in document.tracks for segment in track.segments
    ]
    ways += [[*route.points] for route in document.routes]
    result = []
    for points in ways:
        if not points:
            continue
        times = [
            (p.time.replace(tzinfo=p.time.tzinfo or UTC)).timestamp()
            if p.time is not None
            else np.nan
            for p in points
        ]
        stretch = TrackStretch(
            latitude_deg=np.array([p.latitude for p in points], dtype=np.float64),
            longitude_deg=np.array([p.longitude for p in points], dtype=np.float64),
            time_s=np.array(times, dtype=np.float64),
        )
        if stretch.timed:  # some programs write points out of order
            stretch = stretch.part(np.argsort(stretch.time_s, kind="stable"))
        result.append(stretch)
    return tuple(result)


def walked_lines(stretches: Sequence[TrackStretch], *, look_mps: float) -> WalkedLines:
    """Return what was walked while looking.

    Parameters
    ----------
    stretches
        As they were recorded.
    look_mps
        Usual speed while looking. Up to twice that fast, one looks as well; faster,
        half as well; at a fast walk, not at all.
    """
    lines: list[tuple[TrackStretch, float]] = []
    walked_m = fast_m = spent_s = 0.0
    jumps = 0
    for stretch in stretches:
        pieces, found = _without_jumps(stretch)
        jumps += found
        for piece in pieces:
            kept = _without_wander(piece)
            length = _lengths(kept)
            if not len(length):
                continue
            share = np.ones(len(length))
            if kept.timed:
                pace = length / np.maximum(np.diff(kept.time_s), 1e-3)
                share[pace > 2 * look_mps] = 0.5
                share[pace > FAST_MPS] = 0.0
                spent_s += float(np.diff(kept.time_s)[share > 0].sum())
            walked_m += float(length[share > 0].sum())
            fast_m += float(length[share == 0].sum())
            turns = np.flatnonzero(np.diff(share)) + 1
            for steps in np.split(np.arange(len(length)), turns):
                if share[steps[0]] > 0:
                    ends = np.arange(steps[0], steps[-1] + 2)
                    lines.append((kept.part(ends), float(share[steps[0]])))
    return WalkedLines(
        lines=tuple(lines),
        walked_m=walked_m,
        spent_s=spent_s,
        fast_m=fast_m,
        jumps=jumps,
    )


def _lengths(stretch: TrackStretch) -> Floats:
    from pyproj import Geod

    if len(stretch.latitude_deg) < 2:
        return np.empty(0)
    lengths = Geod(ellps="WGS84").line_lengths(
        stretch.longitude_deg, stretch.latitude_deg
    )
    return np.asarray(lengths, dtype=np.float64)


def _without_jumps(stretch: TrackStretch) -> tuple[list[TrackStretch], int]:
    """Part a stretch where it jumps, or where its places are long apart in time."""
    length = _lengths(stretch)
    gap_s = np.diff(stretch.time_s)
    with np.errstate(invalid="ignore"):
        jump = (length > JUMP_M) & (length > JUMP_MPS * gap_s)
        jump |= np.isnan(gap_s) & (length > UNTIMED_JUMP_M)
        long = (gap_s > GAP_S) & (length > JUMP_M)
    breaks = np.flatnonzero(jump | long) + 1
    pieces = [
        stretch.part(part)
        for part in np.split(np.arange(len(stretch.latitude_deg)), breaks)
        if len(part)
    ]
    return pieces, int(jump.sum())


def _without_wander(stretch: TrackStretch) -> TrackStretch:
    """Return the places that lie off the last one kept."""
    # On a plane about the first place: the ground of a walk is small.
    north = np.radians(stretch.latitude_deg - stretch.latitude_deg[0]) * 6_371_000.0
    turn = (stretch.longitude_deg - stretch.longitude_deg[0] + 180) % 360 - 180
    east = np.radians(turn) * 6_371_000.0 * np.cos(np.radians(stretch.latitude_deg[0]))
    kept = [0]
    for n in range(1, len(east)):
        if np.hypot(east[n] - east[kept[-1]], north[n] - north[kept[-1]]) >= WANDER_M:
            kept.append(n)
    return stretch.part(np.array(kept, dtype=np.intp))
