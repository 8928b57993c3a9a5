"""A phone's GPX file: where the person was at a time, and named waypoints."""

from __future__ import annotations

import codecs
import re
from bisect import bisect_left
from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import median
from typing import TYPE_CHECKING

from treeward.errors import TreewardError
from treeward.files import read_whole
from treeward.positions import Position

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from gpxpy.gpx import GPX

LARGEST_BYTES = 24 * 1024**2  # days of one point a second; needs 0.9 GB of memory
# A position is taken between two points no further apart in time than this, and from
# a lone point no further away than this; guess.
EARLIEST_YEAR, LATEST_YEAR = 1970, 2200  # as in the clocks of notes
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


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackPoint:
    """Where the phone was at a time; `clock` is aware."""

    clock: datetime
    position: Position


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Points in the order of time, and waypoints by name.

    `untimed` counts the points that had no time and are left out.
    """

    points: tuple[TrackPoint, ...]
    waypoints: Mapping[str, Position]
    untimed: int = 0


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
    for number, point in enumerate(document.waypoints, start=1):
        place = _position(point.latitude, point.longitude, path, f"waypoint {number}")
        name = " ".join((point.name or "").split())
        if name:
            waypoints.setdefault(name, place)
    points, untimed = [], 0
    walked = document.walk(only_points=True)
    for number, point in enumerate(walked, start=1):
        place = _position(
            point.latitude, point.longitude, path, f"track point {number}"
        )
        if point.time is None:
            untimed += 1
        else:
            clock = _aware(point.time, path, f"track point {number}")
            points.append(TrackPoint(clock=clock, position=place))
    if not points and not waypoints:
        raise TrackError(
            "holds neither a waypoint with a name nor a track point with a time"
            + (f" ({untimed} points have no time)" if untimed else ""),
            where=str(path),
            mend="Export the track with its times, or name the waypoints.",
        )
    points.sort(key=lambda point: point.clock)
    return Track(points=tuple(points), waypoints=waypoints, untimed=untimed)


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
            _position(point.latitude, point.longitude, path, f"{what} {number}")
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
    return _DECLARATION.sub("", text, count=1)


def _position(
    latitude: float | None, longitude: float | None, path: Path, what: str
) -> Position:
    try:
        if latitude is None or longitude is None:
            msg = "latitude or longitude is missing"
            raise ValueError(msg)  # noqa: TRY301  (one message for all faults)
        return Position(latitude_deg=float(latitude), longitude_deg=float(longitude))
    except ValueError as error:
        raise TrackError(
            f"{what}: {error}",
            where=str(path),
            mend="Correct it, or export the track again.",
        ) from error


def _aware(clock: datetime, path: Path, what: str) -> datetime:
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
    return found


def waypoint(track: Track, *names: str) -> Position | None:
    """Return the waypoint called by one of the names, whatever the case.

    Examples
    --------
    >>> home = Position(latitude_deg=52.3, longitude_deg=-3.6)
    >>> waypoint(Track(points=(), waypoints={"Station 2": home}), "2", "station 2")
    Position(latitude_deg=52.3, longitude_deg=-3.6)
    """
    by_name = {name.casefold(): place for name, place in track.waypoints.items()}
    for name in names:
        if (place := by_name.get(" ".join(name.split()).casefold())) is not None:
            return place
    return None


def position_at(track: Track, clock: datetime) -> Position | None:
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
    points = track.points
    after = bisect_left(points, clock, key=lambda point: point.clock)
    if after < len(points) and points[after].clock == clock:
        return points[after].position
    if 0 < after < len(points):
        first, second = points[after - 1], points[after]
        gap_s = (second.clock - first.clock).total_seconds()
        if gap_s <= GAP_S:
            share = (clock - first.clock).total_seconds() / gap_s
            return _between(first.position, second.position, share)
    near = [
        point
        for point in points[max(after - 1, 0) : after + 1]
        if abs((point.clock - clock).total_seconds()) <= NEAR_S
    ]
    if not near:
        return None
    return min(near, key=lambda point: abs(point.clock - clock)).position


def _between(first: Position, second: Position, share: float) -> Position:
    """Return the point that share of the way; the short way round the globe."""
    turn = (second.longitude_deg - first.longitude_deg + 180) % 360 - 180
    longitude = (first.longitude_deg + share * turn + 180) % 360 - 180
    latitude = first.latitude_deg + share * (second.latitude_deg - first.latitude_deg)
    return Position(latitude_deg=latitude, longitude_deg=longitude)


def position_over(track: Track, clocks: Iterable[datetime]) -> Position | None:
    """Return where somebody sat who said something at each of these times.

    It is the median of the places at those times, which a few wrong fixes or a note
    spoken on the way do not move. None where the track knows none of the times.
    """
    places = [p for clock in clocks if (p := position_at(track, clock)) is not None]
    if not places:
        return None
    first = places[0].longitude_deg
    turns = [(place.longitude_deg - first + 180) % 360 - 180 for place in places]
    longitude = (first + median(turns) + 180) % 360 - 180
    return Position(
        latitude_deg=median(place.latitude_deg for place in places),
        longitude_deg=longitude,
    )


def span(track: Track) -> tuple[datetime, datetime] | None:
    """Return the first and the last time of a track; None where it has no times."""
    if not track.points:
        return None
    return track.points[0].clock, track.points[-1].clock
