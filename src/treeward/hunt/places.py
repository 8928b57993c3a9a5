"""Where a hunt's stations are: from hunt.toml, a phone's waypoints, or its track.

Places, lines and outlines out of a GeoJSON or GPX file, with what they are called.

GeoJSON after RFC 7946, longitude first; of the older form (GeoJSON 2008) a named
coordinate system is read too. In GPX waypoints are places, tracks and routes are lines,
and outlines where they end where they began.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.errors import HuntError
from treeward.files import read_whole
from treeward.report.model import GpxSearch, Missing, MissingKind, TrackLine
from treeward.survey.frame import apart_m, declination, geodesic
from treeward.trips.table import Doubt, DoubtCode

from .tracks import (
    IdleTrackError,
    Track,
    TrackError,
    gpx_document,
    position_over,
    read_gpx,
    span,
    waypoint,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.hunt_file import HuntFile
    from treeward.hunt_tables import HuntTable
    from treeward.measures import Position
    from treeward.trips.table import TripTable

    Floats = NDArray[np.float64]

NEAR_STATION_M = 50.0  # of a track's place from the station that is offered; guess
MOST_TRACK_POINTS = 2000  # on the map; more cannot be told apart there; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Station id -> position and where it is known from; and the ways walked.

    `unfound` says of stations that the GPX files do not tell of what these do hold;
    `idle` are GPX files without times and names, which nothing needs.
    """

    positions: dict[str, tuple[Position, str]]
    tracks: tuple[TrackLine, ...]
    unfound: tuple[Missing, ...] = ()
    idle: tuple[str, ...] = ()


def find_tracks(hunt_dir: Path, ground: Collection[str] = ()) -> list[Path]:
    """List the GPX files of a hunt: in its folder, in tracks/ and in recordings/.

    But not those that hunt.toml names as the map's `ground`.
    """
    folders = (hunt_dir, hunt_dir / "tracks", hunt_dir / "recordings")
    return sorted(
        path
        for folder in folders
        if folder.is_dir()
        for path in folder.iterdir()
        if path.suffix.lower() == ".gpx"
        and path.is_file()
        and path.relative_to(hunt_dir).as_posix() not in ground
    )


def read_tracks(
    hunt_file: HuntFile, hunt_dir: Path
) -> tuple[list[tuple[Path, Track]], list[Path]]:
    """Read the GPX files that tell where people were, and list those that need not.

    Those that [search] names as ground or paths tell nothing of that; a walk that it
    names may lack its times, and is then read there. So may any where hunt.toml says
    where each station is.

    Raises
    ------
    TrackError
        If a GPX file cannot be read, or one that is needed tells nothing.
    """
    needed = any(station.position is None for station in hunt_file.station)
    search = hunt_file.search
    apart = {(hunt_dir / name).resolve() for name in (*search.ground, *search.paths)}
    walks = {(hunt_dir / name).resolve() for name in search.tracks}
    read, idle = [], []
    for path in find_tracks(hunt_dir, hunt_file.map.ground):
        if path.resolve() in apart:
            continue
        try:
            read.append((path, read_gpx(path)))
        except TrackError as error:
            if path.resolve() in walks:
                continue
            if needed or not isinstance(error, IdleTrackError):
                raise
            idle.append(path)
    return read, idle


def place_stations(hunt_file: HuntFile, hunt_dir: Path, table: TripTable) -> Places:
    """Find every station's position.

    hunt.toml comes first; then a waypoint called by the station's id or name
    ("2", "station 2", "spring"); then where the track was while notes were spoken
    there.

    Raises
    ------
    TrackError
        If a GPX file cannot be read.
    """
    read, idle = read_tracks(hunt_file, hunt_dir)
    tracks = [track for _, track in read]
    positions: dict[str, tuple[Position, str]] = {}
    unfound: list[Missing] = []
    for station in hunt_file.station:
        if station.position is not None:
            positions[station.id] = (station.position, "hunt.toml")
            continue
        names = [station.id, f"station {station.id}", station.name]
        named = [n for n in names if n]
        marked = (waypoint(track.waypoints, *named) for track in tracks)
        if (place := next((p for p in marked if p is not None), None)) is not None:
            positions[station.id] = (place, "waypoint")
            continue
        clocks = list(_clocks_at(table, station.id))
        walked = (position_over(track.points, clocks) for track in tracks)
        if (place := next((p for p in walked if p is not None), None)) is not None:
            positions[station.id] = (place, "track")
        elif tracks and (clocks or any(track.waypoints for track in tracks)):
            unfound.append(_not_found(station.id, named, clocks, read))
    return Places(
        positions=positions,
        tracks=tuple(
            _line(track, path.stem) for path, track in read if span(track.points)
        ),
        unfound=tuple(unfound),
        idle=tuple(path.name for path in idle),
    )


def declination_at(
    place: Position, when: datetime, hunt: HuntTable, what: str
) -> tuple[float, float]:
    """Return the magnetic declination at a place, and its standard deviation [degrees].

    Raises
    ------
    HuntError
        Saying for `what` there is none: the magnetic model does not reach there.
    """
    try:
        return declination(
            place.latitude_deg,
            place.longitude_deg,
            when.date(),
            altitude_m=hunt.altitude_m,
        )
    except ValueError as error:
        raise HuntError(
            f"no magnetic declination for {what}: {error}",
            where="hunt.toml",
            mend='Give bearings against true north and write compass = "true".',
        ) from error


def offered_stations(
    hunt_file: HuntFile, hunt_dir: Path, table: TripTable
) -> tuple[Doubt, ...]:
    """Say where a phone's track puts the recordings in which no station was said.

    Nothing is taken from it; the person decides.

    Raises
    ------
    TrackError
        If a GPX file cannot be read.
    """
    if not table.assumed:
        return ()
    places = place_stations(hunt_file, hunt_dir, table)
    tracks = [track for _, track in read_tracks(hunt_file, hunt_dir)[0]]
    said = []
    for one in table.assumed:
        walked = (position_over(track.points, one.clocks) for track in tracks)
        here = next((place for place in walked if place is not None), None)
        if here is None:
            continue
        near = sorted(
            (apart_m(here, place), name)
            for name, (place, placed_by) in places.positions.items()
            if placed_by != "track"  # such a place may rest on these very notes
        )
        if not near or near[0][0] > NEAR_STATION_M:
            continue
        off_m, name = near[0]
        same = name == one.station
        said.append(
            Doubt(
                code=DoubtCode.TRACK_AGREES if same else DoubtCode.TRACK_DISAGREES,
                names=(name, one.recording, hunt_file.hunt.units),
                numbers=(off_m,),
            )
        )
    return tuple(said)


def _not_found(
    station: str,
    names: Sequence[str],
    clocks: Sequence[datetime],
    read: Sequence[tuple[Path, Track]],
) -> Missing:
    """Gather why the GPX files do not give a station's position."""
    there = dict.fromkeys(name for _, track in read for name in track.waypoints)
    search = GpxSearch(
        files=tuple(path.name for path, _ in read),
        names=tuple(names),
        waypoints=tuple(there),
        noted=(min(clocks), max(clocks)) if clocks else None,
        tracks=tuple(
            (path.name, *ends) for path, track in read if (ends := span(track.points))
        ),
    )
    return Missing(kind=MissingKind.NOT_IN_GPX, stations=(station,), gpx=search)


def _clocks_at(table: TripTable, station: str) -> Iterator[datetime]:
    """Give the times at which something was noted at a station."""
    for visit in table.visits:
        if visit.station == station:
            yield visit.back_clock
            yield visit.away_clock
    for trip in table.trips:
        if trip.station == station:
            yield from (c for c in (trip.away_clock, trip.back_clock) if c is not None)
    for line in table.lines:
        if line.station == station and line.clock is not None:
            yield line.clock


def _line(track: Track, name: str) -> TrackLine:
    step = max(1, len(track.points) // MOST_TRACK_POINTS)
    return TrackLine(
        latitude_deg=tuple(track.points.latitude_deg[::step].tolist()),
        longitude_deg=tuple(track.points.longitude_deg[::step].tolist()),
        name=name,
    )


_MOST_BYTES = 16 * 1024**2  # a valley's woods; needs a quarter of a gigabyte
_MOST_POINTS = 200_000  # in all; some seconds of work
_MOST_WEIGHT = 1e6  # of ground, against the rest; choice
_CLOSED_M = 30.0  # between the ends of a line that is meant as an outline; guess
_MOST_DEPTH = 40  # collections within collections; choice
# What a feature is, under the names that map programs give it; the first that is there.
_KINDS = (
    *("kind", "type", "name", "natural", "landuse", "landcover", "building"),
    *("water", "waterway", "highway"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One thing of a file: (n, 2) longitude, latitude.

    `kinds` are the words for it, in small letters; `weight` is what the file says.
    """

    points: Floats
    kinds: tuple[str, ...] = ()
    weight: float | None = None
    holes: tuple[Floats, ...] = ()


@dataclass(frozen=True, slots=True)
class Shapes:
    """What a file holds."""

    places: list[Shape] = field(default_factory=list)
    lines: list[Shape] = field(default_factory=list)
    outlines: list[Shape] = field(default_factory=list)


def read_shapes(path: Path) -> Shapes:
    """Read a GeoJSON or GPX file.

    Raises
    ------
    HuntError, TrackError
        Naming the file: what it holds is neither, is off the globe, or stands in a
        coordinate system that is not known.
    """
    if path.suffix.lower() == ".gpx":
        return _of_gpx(path)
    raw = read_whole(
        path,
        most_bytes=_MOST_BYTES,
        error=HuntError,
        too_large="Cut it to the country about the hunt.",
    )
    try:
        table = json.loads(raw.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise HuntError(
            f"is no GeoJSON that can be read ({error})",
            where=str(path),
            mend="Export it again as GeoJSON, or as GPX with the ending .gpx.",
        ) from error
    if not isinstance(table, dict):
        raise _fault(path, "holds no GeoJSON object")
    return _GeoJson(path, _to_lonlat(path, table.get("crs"))).read(table)


def _fault(path: Path, what: str) -> HuntError:
    return HuntError(
        what, where=str(path), mend="Export it again as GeoJSON in WGS84 (EPSG:4326)."
    )


def _to_lonlat(path: Path, crs: object) -> Callable[[Floats], Floats] | None:
    """Return what turns a file's coordinates into WGS84; None where they are."""
    if crs is None:
        return None
    name = ""
    if isinstance(crs, dict) and isinstance(properties := crs.get("properties"), dict):
        name = str(properties.get("name", ""))
    from pyproj import CRS, Transformer
    from pyproj.exceptions import ProjError

    try:
        if not name:
            raise ValueError(crs)  # noqa: TRY301  (one message for all faults)
        to = Transformer.from_crs(
            CRS.from_user_input(name), "EPSG:4326", always_xy=True
        )
    except (ProjError, ValueError) as error:
        raise _fault(
            path, f"is in a coordinate system that is not known ({name or crs})"
        ) from error

    def turned(points: Floats) -> Floats:
        lon, lat = to.transform(points[:, 0], points[:, 1])
        return np.stack([lon, lat], axis=-1)

    return turned


class _GeoJson:
    """Gathers the shapes of a GeoJSON file."""

    def __init__(self, path: Path, turn: Callable[[Floats], Floats] | None) -> None:
        self._path, self._turn = path, turn
        self._found = Shapes()
        self._count = 0

    def read(self, table: Mapping[str, Any]) -> Shapes:
        for geometry, properties in self._geometries(table, {}, 0):
            self._add(geometry, properties)
        return self._found

    def _geometries(
        self, table: object, properties: Mapping[str, Any], depth: int
    ) -> Iterator[tuple[Mapping[str, Any], Mapping[str, Any]]]:
        if not isinstance(table, dict) or depth > _MOST_DEPTH:
            raise _fault(self._path, "holds a feature that is none")
        match table.get("type"):
            case "FeatureCollection":
                inner, key = table.get("features"), "features"
            case "GeometryCollection":
                inner, key = table.get("geometries"), "geometries"
            case "Feature":
                own = table.get("properties")
                properties = own if isinstance(own, dict) else {}
                if table.get("geometry") is not None:
                    yield from self._geometries(
                        table["geometry"], properties, depth + 1
                    )
                return
            case _:
                yield table, properties
                return
        if not isinstance(inner, list):
            raise _fault(self._path, f"its {key} are no list")
        for one in inner:
            yield from self._geometries(one, properties, depth + 1)

    def _add(self, geometry: Mapping[str, Any], properties: Mapping[str, Any]) -> None:
        kinds = tuple(
            str(properties[key]).strip().casefold()
            for key in _KINDS
            if isinstance(properties.get(key), str)
        )
        weight = self._weight(properties.get("weight"))
        sort, coordinates = geometry.get("type"), geometry.get("coordinates")
        several = sort in ("MultiPoint", "MultiLineString", "MultiPolygon")
        for one in self._list(coordinates) if several else [coordinates]:
            match sort:
                case "Point" | "MultiPoint":
                    self._found.places.append(self._shape([one], kinds, weight))
                case "LineString" | "MultiLineString":
                    self._found.lines.append(self._shape(one, kinds, weight))
                case "Polygon" | "MultiPolygon":
                    self._outline(one, kinds, weight)
                case _:
                    raise _fault(self._path, f"holds a geometry of type {sort!r}")

    def _outline(
        self, rings: object, kinds: tuple[str, ...], weight: float | None
    ) -> None:
        parts = [self._points(ring) for ring in self._list(rings)]
        if not parts:
            return
        outer, *holes = parts
        if len(outer) < 3:
            raise _fault(self._path, "holds an outline of fewer than three corners")
        self._found.outlines.append(
            Shape(points=outer, kinds=kinds, weight=weight, holes=tuple(holes))
        )

    def _shape(
        self, points: object, kinds: tuple[str, ...], weight: float | None
    ) -> Shape:
        return Shape(points=self._points(points), kinds=kinds, weight=weight)

    def _list(self, value: object) -> list[Any]:
        if not isinstance(value, list):
            raise _fault(self._path, "holds coordinates that are no list")
        return value

    def _points(self, value: object) -> Floats:
        given = self._list(value)
        self._count += len(given)
        if self._count > _MOST_POINTS:
            raise HuntError(
                f"holds more than {_MOST_POINTS} points",
                where=str(self._path),
                mend="Cut it to the country about the hunt.",
            )
        try:
            points = np.array([one[:2] for one in given], dtype=np.float64)
            points = points.reshape(len(given), 2)
        except (TypeError, ValueError, LookupError, OverflowError) as error:
            raise _fault(
                self._path, "holds a position that is not two numbers"
            ) from error
        if self._turn is not None:
            points = self._turn(points)
        if not (
            np.isfinite(points).all()
            and (abs(points[:, 0]) <= 360).all()
            and (abs(points[:, 1]) <= 90).all()
        ):
            metres = np.isfinite(points).all() and self._turn is None
            raise _fault(
                self._path,
                "says positions that are no longitude and latitude"
                + (
                    f" ({points[0][0]:.0f}, {points[0][1]:.0f}), and not in which "
                    "coordinate system they are"
                    if metres and len(points)
                    else ""
                ),
            )
        # Other programs let a shape run on beyond 180 degrees, older GeoJSON too.
        beyond = abs(points[:, 0]) > 180
        points[beyond, 0] -= np.copysign(360.0, points[beyond, 0])
        return points

    def _weight(self, value: object) -> float | None:
        if value is None:
            return None
        if (
            isinstance(value, bool)
            or not isinstance(value, (int, float))
            or not 0 <= value <= _MOST_WEIGHT
        ):
            raise HuntError(
                f"holds the weight {value!r}",
                where=str(self._path),
                mend=f"A weight is a number from 0 to {_MOST_WEIGHT:,.0f}.",
            )
        return float(value)


def _of_gpx(path: Path) -> Shapes:
    document = gpx_document(path)
    ways: list[tuple[Any, str | None, str | None]] = [
        (segment.points, track.type, track.name)
        for track in document.tracks
        for segment in track.segments
    ]
    ways += [(route.points, route.type, route.name) for route in document.routes]
    found = Shapes()
    for points, sort, name in ways:
        if len(points) < 2:
            continue
        shape = _gpx_shape(points, sort, name)
        closed = len(points) > 3 and _ends_apart_m(shape.points) <= _CLOSED_M
        (found.outlines if closed else found.lines).append(shape)
    for point in document.waypoints:
        found.places.append(_gpx_shape([point], point.type, point.name, point.symbol))
    return found


def _gpx_shape(points: Any, *named: str | None) -> Shape:  # noqa: ANN401 (gpxpy's)
    return Shape(
        points=np.array([(p.longitude, p.latitude) for p in points], dtype=np.float64),
        kinds=tuple(" ".join(name.split()).casefold() for name in named if name),
    )


def _ends_apart_m(points: Floats) -> float:
    (lon1, lat1), (lon2, lat2) = points[0], points[-1]
    return geodesic(lat1, lon1, lat2, lon2)[0]
