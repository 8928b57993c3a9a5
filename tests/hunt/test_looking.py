"""Notes, tracks and hunt.toml become what was looked at: where, how well, how long."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from hunt.found_world import HERE, off
from treeward.errors import HuntError
from treeward.hunt.searching import (
    BOUT,
    ROUND_SHARE,
    STOOD_M,
    TREE_RADIUS_M,
    TREE_SHARE,
    read_searching,
    standing_notes,
    with_idle,
)
from treeward.hunt_file import parse_hunt_table
from treeward.language.kinds import EventKind
from treeward.measures import Position, format_position
from treeward.notes.events import Event
from treeward.report.model import BoutKind, SearchDoubtKind, SearchTold
from treeward.survey.search import effort_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from treeward.hunt_file import HuntFile

NOON = datetime(2026, 7, 14, 12, 0, tzinfo=UTC)
S, OVER = EventKind.SEARCHED, EventKind.OVERHEAD


def hunt_file(**tables: Any) -> HuntFile:
    hunt = {"name": "x", "timezone": "Europe/London", "compass": "true"}
    station = {"id": "1", "position": format_position(HERE)}
    table = {"hunt": hunt, "station": [station], **tables}
    return parse_hunt_table(table, where="hunt.toml")


def note(
    kind: EventKind, minute: float | None, value: str = "", row: str = "n", **more: Any
) -> Event:
    clock = None if minute is None else NOON + timedelta(minutes=minute)
    return Event(kind=kind, clock=clock, value=value, row=row, **more)


def gpx(
    folder: Path,
    *points: tuple[float | None, Position],
    name: str = "walk.gpx",
) -> str:
    rows = ""
    for minute, place in points:
        clock = NOON + timedelta(minutes=minute) if minute is not None else None
        time = f"<time>{clock:%Y-%m-%dT%H:%M:%SZ}</time>" if clock else ""
        rows += f'<trkpt lat="{place.latitude_deg:.7f}" '
        rows += f'lon="{place.longitude_deg:.7f}">{time}</trkpt>'
    (folder / name).write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{rows}</trkseg></trk></gpx>",
        "utf-8",
    )
    return name


def north(folder: Path, *steps: tuple[float | None, float], name: str = "w.gpx") -> str:
    """Write a walk due north: minutes after noon, metres from the station."""
    return gpx(folder, *((t, off(m, 0)) for t, m in steps), name=name)


def looked(
    folder: Path, *events: Event, stations: Sequence[Position] = (), **tables: Any
) -> SearchTold:
    return read_searching(hunt_file(**tables), folder, events, stations=stations)


def kinds(told: SearchTold) -> list[tuple[SearchDoubtKind, str]]:
    return [(doubt.kind, doubt.where) for doubt in told.doubts]


def test_where_nothing_is_said_nothing_was_looked_at(tmp_path: Path) -> None:
    told = looked(tmp_path)
    assert (told.bouts, told.doubts) == ((), ())
    assert not told.searching.tells
    assert told.searching.start is None
    assert told.searching.trees is None
    # An hour's ways of the hunt, in metres a second.
    assert told.searching.look_mps == pytest.approx(900 / 3600)
    assert told.searching.walk_mps == pytest.approx(2500 / 3600)
    assert told.searching.path_mps == pytest.approx(4300 / 3600)


def test_a_whole_track_spent_looking(tmp_path: Path) -> None:
    name = north(tmp_path, (0, 0), (2, 30), (4, 60))
    told = looked(tmp_path, search={"tracks": name, "sweep_width_m": {"leaf": 12}})
    (bout,) = told.bouts
    assert (bout.kind, bout.name, bout.spent_s) == (BoutKind.TRACK, name, 240)
    assert bout.walked_m == pytest.approx(60, abs=0.1)
    assert bout.clock == NOON
    (way,) = told.searching.walked
    assert way.sweep_width_m == 12.0
    assert told.searching.start == pytest.approx(
        (off(60, 0).latitude_deg, HERE.longitude_deg), abs=1e-6
    )
    assert told.doubts == ()


def test_a_track_without_times_or_without_a_way_is_told(tmp_path: Path) -> None:
    untimed = north(tmp_path, (None, 0), (None, 100), name="a.gpx")
    still = north(tmp_path, (0, 0), (5, 1), name="b.gpx")
    hurried = north(tmp_path, (0, 0), (1, 110), (2, 220), name="c.gpx")
    told = looked(tmp_path, search={"tracks": [untimed, still, hurried]})
    assert kinds(told) == [
        (SearchDoubtKind.UNTIMED, untimed),
        (SearchDoubtKind.NO_WAY, still),
        (SearchDoubtKind.FAST, hurried),
    ]
    assert told.doubts[2].metres == pytest.approx(220, abs=0.1)
    assert [bout.name for bout in told.bouts] == [untimed, hurried]
    assert told.bouts[0].clock is None
    assert told.bouts[0].walked_m == pytest.approx(100, abs=0.1)


def test_a_jump_is_counted_and_a_short_run_is_not_worth_a_word(tmp_path: Path) -> None:
    slow = [(0.0, 0.0), (2.0, 30.0)]
    name = north(tmp_path, *slow, (2.1, 530.0), (4.1, 560.0), (4.25, 580.0))
    told = looked(tmp_path, search={"tracks": name})
    assert kinds(told) == [(SearchDoubtKind.JUMPS, name)]
    assert told.doubts[0].count == 1
    assert STOOD_M == 25.0  # of 20 m run nothing is said


def test_a_note_takes_the_way_since_looking_began(tmp_path: Path) -> None:
    north(tmp_path, *((n, 15.0 * n) for n in range(-40, 11)))
    told = looked(tmp_path, note(S, 0, row="a"), note(S, 10, "the wall", row="b"))
    first, second = told.bouts
    assert (first.kind, first.row) == (BoutKind.WALK, "a")
    assert (first.since, first.clock) == (NOON - BOUT, NOON)
    assert first.walked_m == pytest.approx(15 * 30, abs=0.2)
    assert first.spent_s == 30 * 60
    assert (second.since, second.row) == (NOON, "b")
    assert second.walked_m == pytest.approx(150, abs=0.2)
    # What is a wall is seen less far than a tree: the widths of hunt.toml.
    widths = [way.sweep_width_m for way in told.searching.walked]
    usual = hunt_file().search
    assert widths == [usual.width_m("leaf"), usual.width_m("wall")]
    assert widths[0] != widths[1]


@pytest.mark.parametrize(
    ("ends", "since"),
    [
        (note(EventKind.AWAY, -10, mark="red"), -10),
        (note(EventKind.PAUSE, -12), -12),
        (note(EventKind.REMARK, -10), -30),
        (note(EventKind.AWAY, 5, mark="red"), -30),
        (note(EventKind.AWAY, -31, mark="red"), -30),
    ],
)
def test_looking_began_at_the_last_sitting_or_half_an_hour_ago(
    tmp_path: Path, ends: Event, since: float
) -> None:
    north(tmp_path, *((n, 15.0 * n) for n in range(-40, 11)))
    told = looked(tmp_path, ends, note(S, 0))
    assert told.bouts[-1].since == NOON + timedelta(minutes=since)


def test_who_sits_ends_only_the_own_walk(tmp_path: Path) -> None:
    north(tmp_path, *((n, 15.0 * n) for n in range(-40, 11)))
    who = [{"name": "a.wav", "observer": "Ann"}, {"name": "b.wav", "observer": "Ben"}]

    def since(sat: str, searched: str) -> datetime | None:
        told = looked(
            tmp_path,
            note(EventKind.AWAY, -10, mark="red", recording=sat),
            note(S, 0, recording=searched),
            recording=who,
        )
        return told.bouts[0].since

    ten = NOON - timedelta(minutes=10)
    assert since("a.wav", "a.wav") == ten
    assert since("a.wav", "b.wav") == NOON - BOUT
    assert since("c.wav", "b.wav") == ten  # nobody knows who that was


def test_who_hardly_walked_stood_and_looked_round(tmp_path: Path) -> None:
    for metres, kind in ((24.0, BoutKind.TREE), (26.0, BoutKind.WALK)):
        north(tmp_path, (-4, 0), (0, metres))
        told = looked(tmp_path, note(S, 0))
        (bout,) = told.bouts
        assert bout.kind is kind
        assert bout.since == NOON - BOUT
        assert bool(told.searching.walked) is (kind is BoutKind.WALK)
    north(tmp_path, (-4, 0), (0, 24.0))
    for width_m, radius_m in ((15, TREE_RADIUS_M), (40, 20.0)):
        told = looked(tmp_path, note(S, 0), search={"sweep_width_m": {"leaf": width_m}})
        (spot,) = told.searching.spots
        assert spot.radius_m == radius_m
        assert spot.effort == pytest.approx(effort_of(ROUND_SHARE))
        assert spot.latitude_deg == pytest.approx(off(24, 0).latitude_deg, abs=1e-6)


def test_of_two_phones_carried_along_one_counts(tmp_path: Path) -> None:
    for name in ("a.gpx", "b.gpx"):
        north(tmp_path, *((n, 15.0 * n) for n in range(-10, 1)), name=name)
    told = looked(tmp_path, note(S, 0))
    assert told.walked_m == pytest.approx(150, abs=0.2)


def test_a_way_that_counts_as_a_whole_is_not_counted_again(tmp_path: Path) -> None:
    name = north(tmp_path, *((n, 15.0 * n) for n in range(-10, 1)))
    told = looked(tmp_path, note(S, 0), search={"tracks": name})
    assert [bout.kind for bout in told.bouts] == [BoutKind.TRACK]


def test_a_tree_that_was_checked_and_a_dish_without_bees(tmp_path: Path) -> None:
    north(tmp_path, (0, 0), (2, 30))
    told = looked(tmp_path, note(S, 0, "tree checked"), note(S, 1, "no bees here"))
    assert [bout.kind for bout in told.bouts] == [BoutKind.TREE, BoutKind.DISH]
    assert [bout.since for bout in told.bouts] == [None, None]
    (spot,) = told.searching.spots
    assert spot.radius_m == TREE_RADIUS_M
    assert spot.effort == pytest.approx(effort_of(TREE_SHARE))
    (dish,) = told.searching.empty_dishes
    assert dish.latitude_deg == pytest.approx(off(15, 0).latitude_deg, abs=1e-6)
    assert dish.longitude_deg == pytest.approx(HERE.longitude_deg, abs=1e-6)


def test_a_place_typed_into_a_note_needs_no_track_and_no_time(tmp_path: Path) -> None:
    place = format_position(off(500))
    told = looked(tmp_path, note(S, None, place, row="t"), stations=[HERE])
    (bout,) = told.bouts
    assert (bout.kind, bout.row, bout.clock) == (BoutKind.TREE, "t", None)
    (spot,) = told.searching.spots
    assert spot.longitude_deg == pytest.approx(off(500).longitude_deg, abs=1e-5)
    assert (spot.radius_m, spot.effort) == (TREE_RADIUS_M, effort_of(ROUND_SHARE))
    assert told.doubts == ()
    far = note(S, None, format_position(off(900_000)), row="f")
    assert kinds(looked(tmp_path, far, stations=[HERE])) == [
        (SearchDoubtKind.FAR, "Row f")
    ]


def test_notes_whose_place_nobody_knows_are_told(tmp_path: Path) -> None:
    notes = (note(S, None, row="a"), note(S, 0, row="b"), note(OVER, 1, "9", row="c"))
    told = looked(tmp_path, *notes)
    assert kinds(told) == [
        (SearchDoubtKind.NO_TRACK, "b"),
        (SearchDoubtKind.NO_TRACK, "c"),
        (SearchDoubtKind.NO_CLOCK, "a"),
    ]
    assert [doubt.clock for doubt in told.doubts] == [
        notes[1].clock,
        notes[2].clock,
        None,
    ]
    assert told.bouts == ()


@pytest.mark.parametrize(
    ("value", "compass", "true_deg"),
    [("210", "true", 210.0), ("210 true", "magnetic", 210.0), ("sw", "true", 225.0)],
)
def test_bees_overhead_fly_where_it_is_said(
    tmp_path: Path, value: str, compass: str, true_deg: float
) -> None:
    north(tmp_path, (0, 0), (2, 30))
    hunt = {"name": "x", "timezone": "Europe/London", "compass": compass}
    told = looked(tmp_path, note(OVER, 1, value, row="o"), hunt=hunt)
    (bees,) = told.searching.overhead
    assert bees.bearing_true_deg == true_deg
    assert bees.latitude_deg == pytest.approx(off(15, 0).latitude_deg, abs=1e-6)
    assert bees.longitude_deg == pytest.approx(HERE.longitude_deg, abs=1e-6)
    assert [(b.kind, b.row) for b in told.bouts] == [(BoutKind.OVERHEAD, "o")]


def test_bees_overhead_without_a_bearing_tell_nothing(tmp_path: Path) -> None:
    north(tmp_path, (0, 0), (2, 30))
    for value in ("", "over the wall"):
        told = looked(tmp_path, note(OVER, 1, value, row="o"))
        assert kinds(told) == [(SearchDoubtKind.NO_BEARING, "o")]
        assert (told.searching.overhead, told.bouts) == ((), ())


def test_places_and_areas_typed_in_hunt_toml(tmp_path: Path) -> None:
    corners = [format_position(off(300, azimuth)) for azimuth in (0, 120, 240)]
    told = looked(
        tmp_path,
        searched=[
            {"at": format_position(HERE), "radius_m": 9, "share": 0.5, "note": "oak"},
            {"area": corners, "share": 0.3},
        ],
    )
    assert [(b.kind, b.name) for b in told.bouts] == [
        (BoutKind.TREE, "oak"),
        (BoutKind.AREA, ""),
    ]
    (spot,) = told.searching.spots
    assert spot.radius_m == 9.0
    assert spot.effort == pytest.approx(effort_of(0.5))
    (area,) = told.searching.looked_over
    assert area.effort == pytest.approx(effort_of(0.3))
    assert area.ring.shape == (3, 2)
    assert area.ring[0].tolist() == pytest.approx(
        [off(300, 0).longitude_deg, off(300, 0).latitude_deg], abs=1e-5
    )


def test_what_cannot_be_is_named_as_it_stands_in_hunt_toml(tmp_path: Path) -> None:
    far = format_position(off(900_000))
    hourglass = [
        format_position(off(metres, azimuth))
        for metres, azimuth in ((400, 0), (400, 90), (500, 90), (500, 0))
    ]
    hourglass[1], hourglass[2] = hourglass[2], hourglass[1]
    told = looked(
        tmp_path,
        stations=[HERE],
        searched=[{"at": far, "note": "oak"}, {"at": far}, {"area": hourglass}],
        walk={"leave_out": [hourglass]},
        search={"start": far},
    )
    assert set(kinds(told)) == {
        (SearchDoubtKind.FAR, "[[searched]] 1 (oak)"),
        (SearchDoubtKind.FAR, "[[searched]] 2"),
        (SearchDoubtKind.CROSSING, "[[searched]] 3"),
        (SearchDoubtKind.CROSSING, "[walk] leave_out 1"),
        (SearchDoubtKind.FAR, "[search] start"),
    }
    assert told.searching.start == pytest.approx(
        (off(900_000).latitude_deg, off(900_000).longitude_deg), abs=1e-5
    )


def geojson(folder: Path, name: str, *features: tuple[str, Any, dict[str, Any]]) -> str:
    whole = {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": properties,
                "geometry": {"type": kind, "coordinates": coordinates},
            }
            for kind, coordinates, properties in features
        ],
    }
    (folder / name).write_text(json.dumps(whole), "utf-8")
    return name


def ring(middle: Position) -> list[list[float]]:
    corners = [off(200, azimuth, middle) for azimuth in (0, 120, 240, 0)]
    return [[p.longitude_deg, p.latitude_deg] for p in corners]


def test_ground_has_the_weight_of_its_file_or_of_its_kind(tmp_path: Path) -> None:
    hole = ring(off(0))
    name = geojson(
        tmp_path,
        "land.geojson",
        ("Polygon", [ring(HERE), hole], {"kind": "Wood"}),
        ("Polygon", [ring(HERE)], {"kind": "wood", "weight": 0}),
        ("Polygon", [ring(HERE)], {"kind": "heath", "natural": "fen"}),
        ("Polygon", [ring(HERE)], {"kind": "moor"}),
        ("Polygon", [ring(HERE)], {}),
        ("Point", [HERE.longitude_deg, HERE.latitude_deg], {}),
        ("LineString", ring(HERE)[:2], {}),
    )
    weights = {"WOOD": 3, "fen": 0.5, "lake": 0}
    told = looked(
        tmp_path, search={"ground": name, "weights": weights, "tree_weight": 7}
    )
    assert [one.weight for one in told.searching.ground] == [3.0, 0.0, 0.5]
    assert [len(one.holes) for one in told.searching.ground] == [1, 0, 0]
    trees = told.searching.trees
    assert trees is not None
    assert trees.weight == 7.0
    assert trees.latitude_deg.tolist() == [HERE.latitude_deg]
    assert trees.longitude_deg.tolist() == [HERE.longitude_deg]
    assert kinds(told) == [
        (SearchDoubtKind.NO_WEIGHT, name),
        (SearchDoubtKind.NO_SUCH_GROUND, "[search] weights"),
    ]
    assert told.doubts[0].words == ("moor", "")
    assert told.doubts[1].words == ("lake",)


def test_files_that_hold_nothing_of_their_sort_are_told(tmp_path: Path) -> None:
    way = geojson(tmp_path, "way.geojson", ("LineString", ring(HERE)[:2], {}))
    spot = geojson(tmp_path, "spot.geojson", ("Point", ring(HERE)[0], {}))
    wood = geojson(tmp_path, "wood.geojson", ("Polygon", [ring(HERE)], {}))
    told = looked(tmp_path, search={"ground": way, "paths": spot})
    assert kinds(told) == [
        (SearchDoubtKind.NO_GROUND, way),
        (SearchDoubtKind.NO_WAY, spot),
    ]
    assert told.searching.paths == ()
    told = looked(tmp_path, search={"paths": [way, wood]})
    assert [len(path) for path in told.searching.paths] == [2, 4]
    assert told.doubts == ()


def test_of_a_file_one_thing_within_reach_is_enough(tmp_path: Path) -> None:
    far = ring(off(900_000))
    one = ("Polygon", [far], {"weight": 1})
    other = ("Polygon", [ring(off(950_000))], {"weight": 1})
    near = ("Polygon", [ring(HERE)], {"weight": 1})
    for features, said in (([one, other], True), ([one, near], False)):
        name = geojson(tmp_path, "land.geojson", *features)
        told = looked(tmp_path, stations=[HERE], search={"ground": name})
        assert bool(told.doubts) is said
        if said:  # of the nearest of them
            assert told.doubts[0].metres == pytest.approx(900_000, rel=0.005)


@pytest.mark.parametrize("key", ["tracks", "ground", "paths"])
def test_a_file_that_is_not_there_is_named_with_its_key(
    tmp_path: Path, key: str
) -> None:
    with pytest.raises(HuntError, match=rf"search\.{key} names 'gone\.gpx'") as told:
        looked(tmp_path, search={key: "gone.gpx"})
    assert told.value.where == str(tmp_path / "hunt.toml")


def test_a_walk_begins_where_somebody_was_last_unless_told(tmp_path: Path) -> None:
    late = north(tmp_path, (50, 0), (60, 100), name="a.gpx")
    early = north(tmp_path, (0, 0), (60, 300), name="b.gpx")
    told = looked(tmp_path, search={"tracks": [late, early]})
    assert told.searching.start == pytest.approx(
        (off(100, 0).latitude_deg, HERE.longitude_deg), abs=1e-6
    )
    own = looked(tmp_path, search={"tracks": [late], "start": format_position(off(77))})
    assert own.searching.start == pytest.approx(
        (off(77).latitude_deg, off(77).longitude_deg), abs=1e-5
    )


def test_gpx_files_that_tell_nothing_are_told_of(tmp_path: Path) -> None:
    told = looked(tmp_path)
    assert with_idle(told, []) is told
    assert kinds(with_idle(told, ["a.gpx", "b.gpx"])) == [
        (SearchDoubtKind.IDLE, "a.gpx"),
        (SearchDoubtKind.IDLE, "b.gpx"),
    ]


def test_notes_stand_in_the_order_of_time_without_those_taken_back() -> None:
    notes = [
        note(S, None, row="u"),
        note(S, 5, row="c"),
        note(EventKind.SCRATCH, 6, row="x"),
        note(S, 1, row="a"),
    ]
    rows = [event.row for event in standing_notes(notes)]
    assert "c" not in rows
    assert [row for row in rows if row != "x"] == ["a", "u"]


def test_where_a_note_was_spoken_is_told_by_the_places_about_it(tmp_path: Path) -> None:
    steps = [(n, 30.0 * n) for n in range(10)]
    north(tmp_path, *steps)
    for minute in (0.0, 0.5, 4.0, 8.5, 9.0):
        told = looked(tmp_path, note(S, minute, "no bees here"))
        (dish,) = told.searching.empty_dishes
        there = off(30 * minute, 0).latitude_deg
        assert dish.latitude_deg == pytest.approx(there, abs=1e-6)
    # Two minutes after its end the phone still tells, and no longer.
    assert looked(tmp_path, note(S, 11, "no bees here")).bouts
    assert not looked(tmp_path, note(S, 11.1, "no bees here")).bouts
