"""Which of several tracks, waypoints and notes say where a station is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from hunt.found_world import HERE, off
from treeward.hunt.places import (
    declination_at,
    find_tracks,
    offered_stations,
    place_stations,
    read_tracks,
)
from treeward.hunt_file import parse_hunt_table
from treeward.measures import Position, format_position
from treeward.trips.table import (
    AssumedStation,
    DoubtCode,
    FlightLine,
    Trip,
    TripTable,
    Visit,
)

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.hunt_file import HuntFile

TEN = datetime(2026, 7, 14, 9, 0, tzinfo=UTC)


def hunt_file(*stations: dict[str, Any], **tables: Any) -> HuntFile:
    whole: dict[str, Any] = {
        "hunt": {"name": "x", "timezone": "Europe/London"},
        "station": list(stations) or [{"id": "1"}],
    }
    return parse_hunt_table(whole | tables, where="hunt.toml")


def after(minute: float) -> datetime:
    return TEN + timedelta(minutes=minute)


def gpx(folder: Path, name: str, *parts: str) -> None:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        f"{''.join(parts)}</gpx>",
        "utf-8",
    )


def point(tag: str, place: Position, inner: str) -> str:
    lat, lon = place.latitude_deg, place.longitude_deg
    return f'<{tag} lat="{lat:.7f}" lon="{lon:.7f}">{inner}</{tag}>'


def waypoint(place: Position, name: str) -> str:
    return point("wpt", place, f"<name>{name}</name>")


def stay(place: Position, first: float, last: float) -> str:
    return "<trk><trkseg>{}{}</trkseg></trk>".format(
        *(
            point("trkpt", place, f"<time>{after(m):%Y-%m-%dT%H:%M:%SZ}</time>")
            for m in (first, last)
        )
    )


def table(**more: Any) -> TripTable:
    told: dict[str, Any] = {"visits": (), "trips": (), "lines": (), "winds": ()}
    return TripTable(**told | more)


def visit(station: str, back: float, away: float) -> TripTable:
    one = Visit(
        mark="red", station=station, back_clock=after(back), away_clock=after(away),
        visit_s=60 * (away - back), used=True,
    )  # fmt: skip
    return table(visits=(one,))


def trip(station: str, away: float | None, back: float | None) -> TripTable:
    away_clock, back_clock = (None if m is None else after(m) for m in (away, back))
    one = Trip(
        mark="red", bee="red", station=station, away_clock=away_clock,
        back_clock=back_clock, away_s=300.0,
    )  # fmt: skip
    return table(trips=(one,))


def line(station: str, minute: float | None) -> TripTable:
    one = FlightLine(
        mark="red", bee="red", station=station, bearing_read_deg=10.0, rounding_deg=1.0,
        clock=None if minute is None else after(minute), used=True,
    )  # fmt: skip
    return table(lines=(one,))


# One sat 100 m east until minute 9, and from minute 20 on at 900 m.
@pytest.mark.parametrize(
    ("told", "metres"),
    [
        (visit("1", 2, 8), 100),
        (visit("1", 2, 21), 500),  # between the two: one note at each
        (visit("2", 2, 8), None),
        (trip("1", 2, 8), 100),
        (trip("1", 21, None), 900),
        (trip("1", None, 21), 900),
        (trip("2", 2, 8), None),
        (trip("1", None, None), None),
        (line("1", 21), 900),
        (line("2", 21), None),
        (line("1", None), None),
        (visit("1", 60, 61), None),  # long after
    ],
)
def test_a_station_is_where_its_notes_were_spoken(
    tmp_path: Path, told: TripTable, metres: float | None
) -> None:
    gpx(tmp_path, "a.gpx", stay(off(100), 0, 9), stay(off(900), 20, 25))
    places = place_stations(hunt_file(), tmp_path, told).positions
    if metres is None:
        assert places == {}
    else:
        place, by = places["1"]
        assert by == "track"
        assert place.longitude_deg == pytest.approx(off(metres).longitude_deg, abs=1e-6)


def test_of_several_files_the_first_that_tells_counts(tmp_path: Path) -> None:
    gpx(tmp_path, "a.gpx", waypoint(off(9), "gate"), stay(HERE, 500, 501))
    gpx(tmp_path, "b.gpx", waypoint(off(200), "station 1"), stay(off(300), 0, 9))
    gpx(tmp_path, "c.gpx", waypoint(off(400), "1"), stay(off(500), 0, 9))
    file = hunt_file({"id": "1"}, {"id": "2"})
    told = table(trips=trip("2", 2, 8).trips)
    found = place_stations(file, tmp_path, told)
    (marked, by_mark), (walked, by_walk) = found.positions.values()
    assert (by_mark, by_walk) == ("waypoint", "track")
    assert marked.longitude_deg == pytest.approx(off(200).longitude_deg, abs=1e-6)
    assert walked.longitude_deg == pytest.approx(off(300).longitude_deg, abs=1e-6)
    assert (found.unfound, found.idle) == ((), ())
    assert [way.name for way in found.tracks] == ["a", "b", "c"]


@pytest.mark.parametrize(
    ("parts", "told", "missing"),
    [
        ([stay(HERE, 500, 501)], table(), 0),  # nothing was noted there
        ([waypoint(HERE, "gate")], table(), 1),
        ([stay(HERE, 500, 501)], trip("1", 2, 8), 1),
        ([waypoint(HERE, "1")], table(), 0),
    ],
)
def test_a_station_is_missed_where_the_files_might_have_told(
    tmp_path: Path, parts: list[str], told: TripTable, missing: int
) -> None:
    gpx(tmp_path, "a.gpx", *parts)
    found = place_stations(hunt_file(), tmp_path, told)
    assert len(found.unfound) == missing
    assert len(found.tracks) == ("trk" in parts[0])


# Of up to 7 places all; of 8 to 11 every second; from 12 on every third.
@pytest.mark.parametrize(
    ("places", "shown"),
    [(1, [0]), (7, [*range(7)]), (8, [0, 2, 4, 6]), (12, [0, 3, 6, 9])],
)
def test_of_a_long_track_every_so_many_places_are_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, places: int, shown: list[int]
) -> None:
    monkeypatch.setattr("treeward.hunt.places.MOST_TRACK_POINTS", 4)
    seats = [off(100.0 * n) for n in range(places)]
    rows = [
        point("trkpt", seat, f"<time>{after(n):%Y-%m-%dT%H:%M:%SZ}</time>")
        for n, seat in enumerate(seats)
    ]
    gpx(tmp_path, "a.gpx", f"<trk><trkseg>{''.join(rows)}</trkseg></trk>")
    (way,) = place_stations(hunt_file(), tmp_path, table()).tracks
    right = [seats[n] for n in shown]
    east, north = [p.longitude_deg for p in right], [p.latitude_deg for p in right]
    assert way.longitude_deg == pytest.approx(east, abs=1e-6)
    assert way.latitude_deg == pytest.approx(north, abs=1e-6)


def test_files_that_need_not_tell_anything_are_passed_over(tmp_path: Path) -> None:
    gpx(tmp_path, "map.gpx", stay(HERE, 0, 9))
    gpx(tmp_path, "tracks/wood.gpx", stay(HERE, 0, 9))
    gpx(tmp_path, "tracks/walk.gpx", stay(HERE, 0, 9))
    gpx(tmp_path, "path.gpx", stay(HERE, 0, 9))
    assert len(find_tracks(tmp_path)) == 4
    file = hunt_file(
        map={"ground": ["map.gpx"]},
        search={"ground": "tracks/wood.gpx", "paths": "path.gpx"}
        | {"tracks": "tracks/walk.gpx"},
    )
    read, idle = read_tracks(file, tmp_path)
    assert [path.name for path, _ in read] == ["walk.gpx"]  # it has its times
    assert idle == []


FAR = off(5_000, 0)


def offered(
    folder: Path, *stations: dict[str, Any], station: str = "1", parts: str = ""
) -> list[tuple[DoubtCode, str, float]]:
    """Return what is offered for notes of minutes 2 and 8, taken to be at `station`."""
    assumed = AssumedStation(
        recording="a.wav", station=station, notes=2, clocks=(after(2), after(8))
    )
    gpx(folder, "a.gpx", parts or stay(off(30), 0, 9))
    told = table(assumed=(assumed,))
    doubts = offered_stations(hunt_file(*stations), folder, told)
    return [(d.code, d.names[0], round(d.numbers[0])) for d in doubts]


def at(name: str, place: Position) -> dict[str, Any]:
    return {"id": name, "position": format_position(place)}


def test_the_nearest_station_is_offered_and_whether_it_is_the_one_taken(
    tmp_path: Path,
) -> None:
    agrees, differs = DoubtCode.TRACK_AGREES, DoubtCode.TRACK_DISAGREES
    one, two = at("1", HERE), at("2", off(40))
    assert offered(tmp_path, one) == [(agrees, "1", 30)]
    assert offered(tmp_path, one, two) == [(differs, "2", 10)]
    assert offered(tmp_path, two, one, station="2") == [(agrees, "2", 10)]
    assert offered(tmp_path, one, station="") == [(differs, "1", 30)]
    assert offered(tmp_path, at("1", FAR)) == []
    assert offered(tmp_path, one, parts=stay(HERE, 500, 501)) == []
    # A waypoint is a place; what the track itself tells is none.
    marked = stay(off(30), 0, 9) + waypoint(off(35), "1")
    assert offered(tmp_path, {"id": "1"}, parts=marked) == [(agrees, "1", 5)]
    assert offered(tmp_path, {"id": "1"}) == []


def test_recordings_of_which_the_track_knows_nothing_hide_no_other(
    tmp_path: Path,
) -> None:
    gpx(tmp_path, "a.gpx", stay(HERE, 0, 9))
    gpx(tmp_path, "b.gpx", stay(off(20), 0, 9), stay(FAR, 20, 25))
    said = table(
        assumed=tuple(
            AssumedStation(recording=name, station="1", notes=1, clocks=(after(m),))
            for name, m in (("late.wav", 600), ("far.wav", 22), ("near.wav", 5))
        )
    )
    (doubt,) = offered_stations(hunt_file(at("1", HERE)), tmp_path, said)
    assert doubt.names[1] == "near.wav"
    assert list(doubt.numbers) == pytest.approx([0.0], abs=0.1)  # by the first file
    assert offered_stations(hunt_file(at("1", HERE)), tmp_path, table()) == ()


def test_declination_is_worked_out_for_the_height_of_the_hunt() -> None:
    low, high = (
        declination_at(HERE, TEN, hunt_file(hunt=told).hunt, "x")
        for told in (
            {"name": "x", "timezone": "Europe/London", "altitude_m": metres}
            for metres in (0, 9000)
        )
    )
    assert 0 < abs(low[0] - high[0]) < 0.1
    assert 0 < low[1] < 2
