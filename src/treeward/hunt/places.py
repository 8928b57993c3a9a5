"""Where a hunt's stations are: from hunt.toml, a phone's waypoints, or its track."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.report.model import GpxSearch, Missing, MissingKind
from treeward.survey.frame import geodesic
from treeward.trips.table import Doubt, DoubtCode

from .tracks import Track, TrackError, position_over, read_gpx, span, waypoint

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence
    from datetime import datetime
    from pathlib import Path

    from treeward.hunt_file import HuntFile
    from treeward.positions import Position
    from treeward.report.model import TrackLine
    from treeward.trips.table import TripTable

NEAR_STATION_M = 50.0  # of a track's place from the station that is offered; guess
MOST_TRACK_POINTS = 2000  # on the map; more cannot be told apart there; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Station id -> position and where it is known from; and the ways walked.

    `unfound` says of stations that the GPX files do not tell of what these do hold.
    """

    positions: dict[str, tuple[Position, str]]
    tracks: tuple[TrackLine, ...]
    unfound: tuple[Missing, ...] = ()


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


def read_tracks(hunt_file: HuntFile, hunt_dir: Path) -> list[tuple[Path, Track]]:
    """Read the GPX files that tell where people were.

    Those that [search] names as ground or paths tell nothing of that; a walk that it
    names may lack its times, and is then read there.

    Raises
    ------
    TrackError
        If a GPX file cannot be read.
    """
    search = hunt_file.search
    apart = {(hunt_dir / name).resolve() for name in (*search.ground, *search.paths)}
    walks = {(hunt_dir / name).resolve() for name in search.tracks}
    read = []
    for path in find_tracks(hunt_dir, hunt_file.map.ground):
        if path.resolve() in apart:
            continue
        try:
            read.append((path, read_gpx(path)))
        except TrackError:
            if path.resolve() not in walks:
                raise
    return read


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
    read = read_tracks(hunt_file, hunt_dir)
    tracks = [track for _, track in read]
    positions: dict[str, tuple[Position, str]] = {}
    unfound: list[Missing] = []
    for station in hunt_file.station:
        if station.position is not None:
            positions[station.id] = (station.position, "hunt.toml")
            continue
        names = [station.id, f"station {station.id}", station.name]
        named = [n for n in names if n]
        marked = (waypoint(track, *named) for track in tracks)
        if (place := next((p for p in marked if p is not None), None)) is not None:
            positions[station.id] = (place, "waypoint")
            continue
        clocks = list(_clocks_at(table, station.id))
        walked = (position_over(track, clocks) for track in tracks)
        if (place := next((p for p in walked if p is not None), None)) is not None:
            positions[station.id] = (place, "track")
        elif tracks and (clocks or any(track.waypoints for track in tracks)):
            unfound.append(_not_found(station.id, named, clocks, read))
    return Places(
        positions=positions,
        tracks=tuple(_line(track, path.stem) for path, track in read if span(track)),
        unfound=tuple(unfound),
    )


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
    tracks = [track for _, track in read_tracks(hunt_file, hunt_dir)]
    said = []
    for one in table.assumed:
        walked = (position_over(track, one.clocks) for track in tracks)
        here = next((place for place in walked if place is not None), None)
        if here is None:
            continue
        near = sorted(
            (_apart_m(here, place), name)
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


def _apart_m(one: Position, two: Position) -> float:
    return geodesic(
        one.latitude_deg, one.longitude_deg, two.latitude_deg, two.longitude_deg
    )[0]


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
            (path.name, *ends) for path, track in read if (ends := span(track))
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
    from treeward.report.model import TrackLine

    step = max(1, len(track.points) // MOST_TRACK_POINTS)
    points = track.points[::step]
    return TrackLine(
        latitude_deg=tuple(point.position.latitude_deg for point in points),
        longitude_deg=tuple(point.position.longitude_deg for point in points),
        name=name,
    )
