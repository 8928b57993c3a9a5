"""A phone's GPX file: where the person was at a time, and named waypoints.

Ways walked while looking, out of phones' GPX files: cleaned, and by their pace.

A phone that lies still wanders by some metres, and at times it jumps. Places nearer
than that to the last one kept are dropped, and over a jump nothing was walked.

Places and outlines that a person gave, and that cannot be where they say: a latitude
and a longitude changed about put ground into the sea, where it has no effect and nobody
notices.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.errors import TreewardError
from treeward.files import read_whole
from treeward.measures import Position
from treeward.report.model import SearchDoubt, SearchDoubtKind
from treeward.survey.frame import inside_ring, ways_cross
from treeward.survey.records import Settings

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from gpxpy.gpx import GPX
    from numpy.typing import NDArray

    from treeward.hunt_file import HuntFile

    Floats = NDArray[np.float64]

LARGEST_BYTES = 24 * 1024**2  # days of one point a second; needs 0.9 GB of memory
EARLIEST_YEAR, LATEST_YEAR = 1970, 2200  # as in the clocks of notes
# A position is taken between two points no further apart in time than this, and from
# a lone point no further away than this; guess.
GAP_S = 600.0
NEAR_S = 120.0

_DECLARATION = re.compile(r"^\s*<\?xml[^>]*\?>")
_ENCODING = re.compile(rb"""^\s*<\?xml[^>]*encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")
# The encodings of the XML standard's own list (W3C XML 1.0, 4.3.3), and Windows'.
_ENCODINGS = re.compile(
    r"(?i)(?:utf-?(?:8|16|32)(?:-sig|-?[lb]e)?|(?:us-)?ascii|iso-?8859-\d{1,2}"
    r"|latin-?1|(?:windows-|cp)125\d|koi8-[ru]|shift_jis|euc-jp|gb2312|gb18030|big5)"
)
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


class TrackError(TreewardError):
    """A GPX file cannot be read."""


class IdleTrackError(TrackError):
    """A GPX file tells of no place at a time, and names none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackStretch:
    """Places one after another, n of them; `time_s` since 1970, NaN where unknown."""

    latitude_deg: Floats
    longitude_deg: Floats
    time_s: Floats

    def __len__(self) -> int:
        return len(self.time_s)

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

    def place(self, number: int) -> Position:
        """Return one of its places."""
        return Position(
            latitude_deg=float(self.latitude_deg[number]),
            longitude_deg=float(self.longitude_deg[number]),
        )

    @property
    def timed(self) -> bool:
        """Whether every place has its time."""
        return bool(np.isfinite(self.time_s).all())


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Places in the order of time, and waypoints by name."""

    points: TrackStretch
    waypoints: Mapping[str, Position]


def read_gpx(path: Path) -> Track:
    """Read a GPX 1.0 or 1.1 file: all tracks and segments together, and waypoints.

    Times without a zone are UTC, as GPX 1.1 says. A waypoint whose name comes twice
    keeps its first place.

    Raises
    ------
    TrackError
        When it is no GPX, is too large, carries a document type or entities (which no
        receiver writes and which can be made to swell without end), or has a place
        off the globe.
    """
    document = gpx_document(path)
    waypoints: dict[str, Position] = {}
    for point in document.waypoints:
        name = " ".join((point.name or "").split())
        if name:
            waypoints.setdefault(name, _place(point))
    points, untimed = [], 0
    walked = document.walk(only_points=True)
    for number, point in enumerate(walked, start=1):
        if point.time is None:
            untimed += 1
        else:
            _check_time(point.time, path, f"track point {number}")
            points.append(point)
    if not points and not waypoints:
        raise IdleTrackError(
            "holds neither a waypoint with a name nor a track point with a time"
            + (f" ({untimed} points have no time)" if untimed else ""),
            where=str(path),
            mend="Export the track with its times, or name the waypoints.",
        )
    return Track(points=_stretch(points), waypoints=waypoints)


def gpx_document(path: Path) -> GPX:
    """Return a GPX 1.0 or 1.1 file as gpxpy reads it, its places on the globe.

    Raises
    ------
    TrackError
        As `read_gpx` says.
    """
    text = _text(path)
    from gpxpy import parse
    from gpxpy.gpx import GPXException

    try:
        document = parse(text)
    except (
        GPXException,
        ValueError,
        TypeError,
        AttributeError,
        OverflowError,
        RecursionError,
    ) as error:
        raise TrackError(
            f"is no GPX that can be read ({' '.join(str(error).split())[:120]})",
            where=str(path),
            mend="Export the track again as GPX.",
        ) from error
    for what, points in (
        ("waypoint", document.waypoints),
        ("track point", document.walk(only_points=True)),
        ("route point", (one for route in document.routes for one in route.points)),
    ):
        for number, point in enumerate(points, start=1):
            try:
                _place(point)
            except ValueError as error:
                raise TrackError(
                    f"{what} {number}: {error}",
                    where=str(path),
                    mend="Correct it, or export the track again.",
                ) from error
    return document


def _text(path: Path) -> str:
    raw = read_whole(
        path,
        most_bytes=LARGEST_BYTES,
        error=TrackError,
        too_large="Cut the track to the days of the hunt.",
    )
    declared = _ENCODING.match(raw)
    name = declared[1].decode("ascii") if declared else "utf-8"
    encoding = next((code for bom, code in _BOMS if raw.startswith(bom)), name)
    try:
        # Python knows others, of which some take hours for a file made to that end.
        if not _ENCODINGS.fullmatch(encoding):
            raise LookupError(encoding)  # noqa: TRY301  (one message for both)
        text = raw.decode(encoding)
    except (UnicodeError, LookupError) as error:
        raise TrackError(
            f"is not text in {encoding}",
            where=str(path),
            mend="Export the track again as GPX.",
        ) from error
    if "<!DOCTYPE" in text.upper() or "<!ENTITY" in text.upper():
        raise TrackError(
            "carries a document type or entities, which a GPX file has no need of",
            where=str(path),
            mend="Export the track again from the program it comes from.",
        )
    # The text is decoded: what it says of its encoding no longer holds.
    return _DECLARATION.sub("", text)


def _place(point: Any) -> Position:  # noqa: ANN401 (gpxpy's)
    return Position(latitude_deg=point.latitude, longitude_deg=point.longitude)


def _check_time(clock: datetime, path: Path, what: str) -> None:
    try:
        found = clock.replace(tzinfo=clock.tzinfo or UTC).astimezone(UTC)
        if not EARLIEST_YEAR <= found.year <= LATEST_YEAR:
            raise ValueError(found.year)  # noqa: TRY301  (one message for both)
    except (ValueError, OverflowError) as error:
        raise TrackError(
            f"{what}: its time is no time of these centuries",
            where=str(path),
            mend="Correct it, or export the track again.",
        ) from error


def waypoint(waypoints: Mapping[str, Position], *names: str) -> Position | None:
    """Return the waypoint called by one of the names, whatever the case.

    Examples
    --------
    >>> home = Position(latitude_deg=52.3, longitude_deg=-3.6)
    >>> waypoint({"Station 2": home}, "2", "station 2")
    Position(latitude_deg=52.3, longitude_deg=-3.6)
    """
    by_name = {name.casefold(): place for name, place in waypoints.items()}
    for name in names:
        if (place := by_name.get(" ".join(name.split()).casefold())) is not None:
            return place
    return None


def position_at(track: TrackStretch, clock: datetime) -> Position | None:
    """Return where the phone was at a time.

    Between two points it is taken on the straight way, by time; None where the
    neighbouring points are too far away in time to say.

    Raises
    ------
    ValueError
        If `clock` has no time zone.
    """
    if clock.tzinfo is None:
        msg = "clock: needs a time zone"
        raise ValueError(msg)
    time_s, clock_s = track.time_s, clock.timestamp()
    after = int(np.searchsorted(time_s, clock_s))
    if after < len(time_s) and time_s[after] == clock_s:
        return track.place(after)
    if 0 < after < len(time_s):
        gap_s = time_s[after] - time_s[after - 1]
        if gap_s <= GAP_S:
            share = float((clock_s - time_s[after - 1]) / gap_s)
            return _between(track.place(after - 1), track.place(after), share)
    near = [n for n in (after - 1, after) if 0 <= n < len(time_s)]
    nearest = min(near, key=lambda n: abs(time_s[n] - clock_s), default=None)
    if nearest is None or abs(time_s[nearest] - clock_s) > NEAR_S:
        return None
    return track.place(nearest)


def _between(first: Position, second: Position, share: float) -> Position:
    """Return the point that share of the way; the short way round the globe."""
    turn = _turned(second.longitude_deg - first.longitude_deg)
    longitude = _turned(first.longitude_deg + share * turn)
    latitude = first.latitude_deg + share * (second.latitude_deg - first.latitude_deg)
    return Position(latitude_deg=latitude, longitude_deg=longitude)


def position_over(track: TrackStretch, clocks: Iterable[datetime]) -> Position | None:
    """Return where somebody sat who said something at each of these times.

    It is the median of the places at those times, which a few wrong fixes or a note
    spoken on the way do not move. None where the track knows none of the times.
    """
    places = [p for clock in clocks if (p := position_at(track, clock)) is not None]
    if not places:
        return None
    first = places[0].longitude_deg
    turns = [_turned(place.longitude_deg - first) for place in places]
    return Position(
        latitude_deg=median(place.latitude_deg for place in places),
        longitude_deg=_turned(first + median(turns)),
    )


def _turned(longitude_deg: float) -> float:
    """Return the same meridian, from 180 west to 180 east."""
    return (longitude_deg + 180) % 360 - 180


def span(track: TrackStretch) -> tuple[datetime, datetime] | None:
    """Return the first and the last time of a track; None where it has no times."""
    if not track:
        return None
    first, last = (datetime.fromtimestamp(t, tz=UTC) for t in track.time_s[[0, -1]])
    return first, last


WANDER_M = 10.0  # of a phone that lies still; guess
JUMP_MPS = 3.0  # nobody runs so through a wood for long; guess
JUMP_M = 60.0  # shorter ones are a phone's scatter; guess
UNTIMED_JUMP_M = 300.0  # between two places without times; guess
FAST_MPS = 1.7  # so fast nobody looks up trees; guess
EARTH_M = 6_371_009.0  # mean radius (IUGG)


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
    return tuple(_stretch(points) for points in ways if points)


def _stretch(points: Sequence[Any]) -> TrackStretch:
    """Return gpxpy's points; where all have their time, in the order of it."""
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
        return stretch.part(np.argsort(stretch.time_s, kind="stable"))
    return stretch


def walked_lines(stretches: Sequence[TrackStretch], *, look_mps: float) -> WalkedLines:
    """Return what was walked while looking, of stretches as they were recorded.

    Up to twice as fast as is usual while looking, `look_mps`, one looks as well;
    faster, half as well; at a fast walk, not at all.
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
                took_s = np.diff(kept.time_s)
                share[length > 2 * look_mps * took_s] = 0.5
                share[length > FAST_MPS * took_s] = 0.0
                spent_s += float(took_s[share > 0].sum())
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
    north = np.radians(stretch.latitude_deg) * EARTH_M
    east = np.unwrap(np.radians(stretch.longitude_deg)) * EARTH_M
    east *= np.cos(np.radians(stretch.latitude_deg[0]))
    kept = [0]
    for n in range(1, len(east)):
        if np.hypot(east[n] - east[kept[-1]], north[n] - north[kept[-1]]) >= WANDER_M:
            kept.append(n)
    return stretch.part(np.array(kept, dtype=np.intp))


def lonlat(places: Sequence[Position]) -> Floats:
    """Return (n, 2) longitude and latitude, degrees."""
    return np.array([(p.longitude_deg, p.latitude_deg) for p in places]).reshape(-1, 2)


def reach_of(hunt_file: HuntFile) -> float:
    """Return how far from a station the colony is looked for [m]."""
    own = hunt_file.model.prior_distance_max_m
    return own if own is not None else Settings().distance_cut_m


def far_doubts(
    given: Iterable[tuple[str, Floats]], stations: Sequence[Position], reach_m: float
) -> list[SearchDoubt]:
    """Say of what was given that none of it lies where the colony is looked for.

    `given` holds what it is called, and (n, 2) longitude and latitude of its places, or
    of an outline's corners. Without stations nothing is said.
    """
    here = lonlat(stations)
    found = []
    for name, places in given if len(here) else ():
        if not len(places) or _nearest_m(places, here) <= reach_m:
            continue
        if len(places) > 2 and inside_ring(here, places).any():
            continue  # an outline of all the country
        swapped = _nearest_m(places[:, ::-1], here) <= reach_m
        found.append(
            SearchDoubt(
                kind=SearchDoubtKind.SWAPPED if swapped else SearchDoubtKind.FAR,
                where=name,
                metres=_nearest_m(places, here),
            )
        )
    return found


def crosses_itself(ring: Floats) -> bool:
    """Tell whether two sides of an outline cross; sides that share a corner do not.

    Its (n, 2) corners may be closed or not.
    """
    begin, end = ring, np.roll(ring, -1, axis=0)
    return any(
        ways_cross(begin[one], end[one], begin[one:], end[one:]).any()
        for one in range(len(ring))
    )


def _nearest_m(places: Floats, here: Floats) -> float:
    """Return how near any place comes to any of others (haversine) [m]."""
    lon, lat = np.radians(places).T
    nearest = np.inf
    for lon0, lat0 in np.radians(here):
        half = np.sin((lat - lat0) / 2) ** 2
        half += np.cos(lat) * np.cos(lat0) * np.sin((lon - lon0) / 2) ** 2
        arc = 2 * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))
        nearest = min(nearest, float(arc.min()) * EARTH_M)
    return nearest
