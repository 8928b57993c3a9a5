"""What was looked at, out of notes, phones' tracks and hunt.toml."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pyproj import Geod, Transformer

from treeward import Hunt, survey
from treeward.errors import HuntError, TreewardError
from treeward.hunt.places import read_shapes
from treeward.hunt.searching import read_searching
from treeward.hunt.tracks import read_stretches, walked_lines
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode
from treeward.report.looking import (
    looked_sentences,
    search_doubt_sentences,
    search_sentences,
)
from treeward.report.model import BoutKind, SearchDoubtKind
from treeward.survey.search import hidden

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from treeward.report.model import HuntResult

GLOBE = Geod(ellps="WGS84")
NOON = datetime(2026, 7, 14, 11, 0, tzinfo=UTC)  # in the hunt's zone
HERE = (52.3012, -3.6104)


def off(metres: float, azimuth_deg: float) -> tuple[float, float]:
    """Return latitude and longitude of a place off the station."""
    lon, lat, _ = GLOBE.fwd(HERE[1], HERE[0], azimuth_deg, metres)
    return lat, lon


def gpx(
    path: Path, places: Sequence[tuple[float, float]], *, start: datetime | None = NOON,
    step_s: float = 60.0,
) -> Path:  # fmt: skip
    rows = []
    for n, (lat, lon) in enumerate(places):
        clock = start + timedelta(seconds=n * step_s) if start else None
        time = f"<time>{clock:%Y-%m-%dT%H:%M:%SZ}</time>" if clock else ""
        rows.append(f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}">{time}</trkpt>')
    path.parent.mkdir(exist_ok=True)
    path.write_text(
        '<gpx version="1.1" creator="a phone" '
        'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        + "".join(rows)
        + "</trkseg></trk></gpx>",
        "utf-8",
    )
    return path


def line(
    metres: float, count: int, azimuth_deg: float = 0.0
) -> list[tuple[float, float]]:
    """Return places at even steps from the station."""
    return [off(at, azimuth_deg) for at in np.linspace(0, metres, count)]


def add(folder: Path, *rows: str, toml: str = "") -> Hunt:
    with (folder / "review.csv").open("a", encoding="utf-8") as file:
        file.writelines(f"{row}\n" for row in rows)
    with (folder / "hunt.toml").open("a", encoding="utf-8") as file:
        file.write(toml)
    return Hunt(folder)


def doubts(result: HuntResult) -> list[SearchDoubtKind]:
    assert result.search is not None
    return [doubt.kind for doubt in result.search.doubts]


@pytest.fixture
def surveyed_without_looking(monkeypatch: pytest.MonkeyPatch) -> None:
    """Answer as if nothing was looked at: once for all tests of what was read of it."""
    answer = survey.locate

    def locate(*told: Any, searching: object, **named: Any) -> survey.Fix:
        del searching
        return answer(*told, **named)

    monkeypatch.setattr(survey, "locate", locate)


def test_a_hunt_without_any_looking(typed_hunt: Path) -> None:
    result = Hunt(typed_hunt).locate()
    assert result.search is not None
    assert result.search.bouts == ()
    assert not result.search.searching.tells
    (colony,) = result.fix.colonies  # type: ignore[union-attr]
    assert colony.searched is not None
    assert colony.searched.found_by_now == 0
    assert not any("looked at" in said for said in search_sentences(result, colony))


def test_a_track_spent_looking(typed_hunt: Path) -> None:
    # 600 m down the line the bees take, at 0.25 m/s.
    gpx(typed_hunt / "tracks/search.gpx", line(600, 41, 210))
    hunt = add(typed_hunt, toml='[search]\ntracks = "tracks/search.gpx"\n')
    before = Hunt(typed_hunt)
    result = hunt.locate()
    assert result.search is not None
    (bout,) = result.search.bouts
    assert bout.kind is BoutKind.TRACK
    assert bout.walked_m == pytest.approx(600, abs=0.5)
    assert bout.spent_s == pytest.approx(2400)
    (colony,) = result.fix.colonies  # type: ignore[union-attr]
    assert colony.searched is not None
    assert 0.005 < colony.searched.found_by_now < 0.6
    said = " ".join(search_sentences(result, colony))
    assert "You have looked at" in said
    assert "in 40 min (600 m walked while looking)" in said
    # The end of the walk is where the next one begins.
    assert result.search.searching.start == pytest.approx(off(600, 210), abs=1e-6)
    assert before.file == hunt.file


@pytest.mark.slow
def test_the_note_searched_takes_the_way_since_the_note_before(
    typed_hunt: Path,
) -> None:
    # A minute a place; 20 m a minute, from 12:00 on the hunt's clock.
    gpx(typed_hunt / "tracks/day.gpx", line(1200, 61, 210))
    hunt = add(
        typed_hunt,
        "2026-07-14 12:20:00,away,green,",
        "2026-07-14 12:30:00,searched,,",
        "2026-07-14 12:40:00,overhead,,210",
        "2026-07-14 12:50:00,searched,,along the wall",
        "2026-07-14 12:55:00,searched,,tree checked",
        "2026-07-14 12:56:00,searched,,no bees here",
    )
    result = hunt.locate()
    assert result.search is not None
    told = result.search.searching
    first, overhead, second, *others = result.search.bouts
    assert [bout.kind for bout in others] == [BoutKind.TREE, BoutKind.DISH]
    assert overhead.kind is BoutKind.OVERHEAD
    assert first.kind is second.kind is BoutKind.WALK
    assert first.walked_m == pytest.approx(200, abs=0.5)
    assert second.walked_m == pytest.approx(400, abs=0.5)
    widths = [way.sweep_width_m for way in told.walked]
    assert widths == [15.0, 8.0]  # trees in leaf; along a wall
    (spot,) = told.spots
    lat, lon = off(1100, 210)
    assert (spot.latitude_deg, spot.longitude_deg) == pytest.approx(
        (lat, lon), abs=1e-6
    )
    assert len(told.empty_dishes) == 1


@pytest.mark.usefixtures("surveyed_without_looking")
@pytest.mark.parametrize(
    ("between", "walked_m"),
    [
        ("", 600),
        ("2026-07-14 12:28:00,remark,,a big oak", 600),
        ("2026-07-14 12:28:00,time,,12:28", 600),
        pytest.param("2026-07-14 12:28:00,wind,,light", 600, marks=pytest.mark.slow),
        ("2026-07-14 12:28:00,searched,,tree checked", 600),
        ("2026-07-14 12:28:00,searched,,no bees here", 600),
        ("2026-07-14 12:28:00,overhead,,210", 600),
        ("2026-07-14 12:28:00,searched,,", 40),
        ("2026-07-14 12:28:00,searched,,along the wall", 40),
        ("2026-07-14 12:28:00,back,green,", 40),
        pytest.param(
            "2026-07-14 12:28:00,bearing,green,210", 40, marks=pytest.mark.slow
        ),
        ("2026-07-14 12:28:00,mark,red,", 40),
        ("2026-07-14 12:28:00,station,,1", 40),
        ("2026-07-14 12:28:00,pause,,", 40),
        ("2026-07-14 12:28:00,found,,", 40),
    ],
)
def test_a_walk_begins_at_the_last_go_or_sitting(
    typed_hunt: Path, between: str, walked_m: float
) -> None:
    gpx(typed_hunt / "tracks/day.gpx", line(1200, 61, 210))
    rows = [*([between] if between else []), "2026-07-14 12:30:00,searched,,"]
    result = add(typed_hunt, *rows).locate()
    assert result.search is not None
    bout = result.search.bouts[-1]
    assert bout.walked_m == pytest.approx(walked_m, abs=0.5)
    begun = "12:00" if walked_m == 600 else "12:28"
    (said,) = looked_sentences(result)
    assert f"14 Jul {begun} to 12:30, {walked_m} m walked (row" in said


@pytest.mark.usefixtures("surveyed_without_looking")
def test_a_note_taken_back_ends_no_walk(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/day.gpx", line(1200, 61, 210))
    hunt = add(
        typed_hunt,
        "2026-07-14 12:28:00,back,green,",
        "2026-07-14 12:28:05,scratch,,",
        "2026-07-14 12:30:00,searched,,",
    )
    result = hunt.locate()
    assert result.search is not None
    assert result.search.walked_m == pytest.approx(600, abs=0.5)


def test_who_sits_ends_nobody_elses_walk(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/day.gpx", line(1200, 61, 210))
    with (typed_hunt / "hunt.toml").open("a", encoding="utf-8") as file:
        file.write(
            '[[recording]]\nname = "a.wav"\nobserver = "Ann"\n'
            '[[recording]]\nname = "b.wav"\nobserver = "Bryn"\n'
        )
    hunt = Hunt(typed_hunt)
    clock = datetime(2026, 7, 14, 12, 30, tzinfo=hunt.zone)
    looked = Event(kind=EventKind.SEARCHED, clock=clock, recording="a.wav", row="7")
    sat = Event(
        kind=EventKind.BACK, mark="green", clock=clock - timedelta(minutes=2), row="6"
    )
    for recording, walked_m in (("b.wav", 600), ("a.wav", 40), ("", 40)):
        notes = [replace(sat, recording=recording), looked]
        told = read_searching(hunt.file, hunt.path, notes)
        assert told.walked_m == pytest.approx(walked_m, abs=0.5)


@pytest.mark.usefixtures("surveyed_without_looking")
def test_a_note_taken_back_does_not_count(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/day.gpx", line(600, 31, 210))
    hunt = add(
        typed_hunt,
        "2026-07-14 12:10:00,searched,,tree checked",
        "2026-07-14 12:10:05,scratch,,",
        "2026-07-14 12:12:00,searched,,tree checked",
    )
    result = hunt.locate()
    assert result.search is not None
    (bout,) = result.search.bouts
    assert bout.clock is not None
    assert bout.clock.minute == 12


def test_a_note_in_doubt_does_not_count_and_is_told(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/day.gpx", line(600, 31, 210))
    hunt = Hunt(typed_hunt)
    clock = datetime(2026, 7, 14, 12, 10, tzinfo=hunt.zone)
    note = Event(kind=EventKind.SEARCHED, clock=clock, heard="tree checked", row="7")
    sure = read_searching(hunt.file, hunt.path, [note])
    assert len(sure.searching.spots) == 1
    doubtful = replace(note, flags=(Flag.of(FlagCode.HARDLY_HEARD),))
    told = read_searching(hunt.file, hunt.path, [doubtful])
    assert not told.searching.tells
    assert [doubt.kind for doubt in told.doubts] == [SearchDoubtKind.DOUBTFUL]


@pytest.mark.usefixtures("surveyed_without_looking")
def test_a_note_reaches_back_half_an_hour_at_most(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/day.gpx", line(2400, 121, 210))
    result = add(typed_hunt, "2026-07-14 13:55:00,searched,,").locate()
    assert result.search is not None
    assert result.search.bouts[0].walked_m == pytest.approx(600, abs=0.5)


@pytest.mark.usefixtures("surveyed_without_looking")
def test_who_stood_there_looked_round(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/day.gpx", [off(300, 210)] * 30)
    result = add(typed_hunt, "2026-07-14 12:20:00,searched,,").locate()
    assert result.search is not None
    assert not result.search.searching.walked
    assert len(result.search.searching.spots) == 1


def test_bees_overhead(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/day.gpx", line(600, 31, 210))
    hunt = add(
        typed_hunt,
        "2026-07-14 12:10:00,overhead,,210",
        "2026-07-14 12:12:00,overhead,,200 true",
        "2026-07-14 12:14:00,overhead,,",
    )
    result = hunt.locate()
    assert result.search is not None
    one, other = result.search.searching.overhead
    declination = result.stations[0].declination_deg
    assert one.bearing_true_deg == pytest.approx(210 + declination, abs=0.05)
    assert other.bearing_true_deg == 200
    assert doubts(result) == [SearchDoubtKind.NO_BEARING]


def test_typed_places_and_areas(typed_hunt: Path) -> None:
    corners = [off(400, 200), off(600, 200), off(600, 220)]
    ring = ", ".join(f'"{lat:.6f}, {lon:.6f}"' for lat, lon in corners)
    lat, lon = off(350, 210)
    hunt = add(
        typed_hunt,
        f'2026-07-14 12:10:00,searched,,"{lat:.6f}, {lon:.6f}"',
        toml=f"[[searched]]\narea = [{ring}]\nshare = 0.9\n"
        f'[[searched]]\nat = "{lat:.6f}, {lon:.6f}"\n',
    )
    result = hunt.locate()
    assert result.search is not None
    told = result.search.searching
    (area,) = told.looked_over
    assert float(hidden(np.array(area.effort))) == pytest.approx(0.1)
    assert area.ring.shape == (3, 2)
    assert [s.latitude_deg for s in told.spots] == pytest.approx([lat, lat], abs=1e-6)
    assert doubts(result) == []


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        ("[[searched]]\n", "give it either at, a position, or area"),
        ('[[searched]]\narea = ["52.3, -3.6"]\n', "three corners or more"),
        ('[[searched]]\nat = "52.3, -3.6"\nshare = 1.0\n', "less than 1"),
        ("[search]\nlook_m_per_h = 0\n", "greater than 10"),
        ("[search]\nsweep_width_m = { moor = 3 }\n", "sweep_width_m"),
        ("[search]\nweights = { wood = -1 }\n", "weights.wood"),
        ('[search]\ntracks = "../other.gpx"\n', "the hunt has no such file"),
        ('[search]\nground = "none.geojson"\n', "the hunt has no such file"),
    ],
)
def test_faults_in_hunt_toml(typed_hunt: Path, toml: str, said: str) -> None:
    with pytest.raises(HuntError) as fault:
        add(typed_hunt, toml=toml).locate()
    assert said in fault.value.line()
    assert "\n" not in fault.value.line()


@pytest.mark.usefixtures("surveyed_without_looking")
def test_a_track_of_another_day_tells_nothing_of_a_note(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/day.gpx", line(600, 31), start=NOON - timedelta(days=1))
    result = add(typed_hunt, "2026-07-14 12:10:00,searched,,").locate()
    assert doubts(result) == [SearchDoubtKind.NO_TRACK]
    assert result.search is not None
    assert not result.search.searching.tells
    # Said to have been spent looking, it counts, whatever its day.
    again = add(typed_hunt, toml='[search]\ntracks = "tracks/day.gpx"\n').locate()
    assert again.search is not None
    assert again.search.walked_m == pytest.approx(600, abs=0.5)


@pytest.mark.usefixtures("surveyed_without_looking")
def test_where_nobody_knows_the_place_nothing_was_looked_at(typed_hunt: Path) -> None:
    result = add(
        typed_hunt,
        "2026-07-14 12:10:00,overhead,,210",
        "2026-07-14 12:11:00,searched,,no bees",
        "2026-07-14 12:12:00,searched,,this tree",
        "2026-07-14 12:13:00,searched,,",
    ).locate()
    assert doubts(result) == [SearchDoubtKind.NO_TRACK] * 4
    assert result.search is not None
    assert result.search.bouts == ()
    searching = result.search.searching
    assert (searching.overhead, searching.empty_dishes, searching.spots) == ((), (), ())


@pytest.mark.usefixtures("surveyed_without_looking")
def test_a_track_without_times(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/day.gpx", line(600, 31), start=None)
    told = add(typed_hunt, toml='[search]\ntracks = "tracks/day.gpx"\n').locate()
    assert told.search is not None
    assert told.search.walked_m == pytest.approx(600, abs=0.5)
    assert told.search.spent_s == 0
    assert doubts(told) == [SearchDoubtKind.UNTIMED]


@pytest.mark.usefixtures("surveyed_without_looking")
def test_a_gpx_file_without_times_stops_nothing_that_does_not_need_it(
    typed_hunt: Path,
) -> None:
    gpx(typed_hunt / "tracks/drawn.gpx", line(600, 31, 210), start=None)
    gpx(typed_hunt / "tracks/walk.gpx", line(600, 31, 210))
    result = add(typed_hunt, "2026-07-14 12:20:00,searched,,").locate()
    assert result.fix is not None
    assert result.search is not None
    assert doubts(result) == [SearchDoubtKind.IDLE]
    assert result.search.walked_m == pytest.approx(400, abs=0.5)
    (said,) = search_doubt_sentences(result)
    assert "drawn.gpx holds neither times nor a named place" in said
    # With a station whose place only a track can tell it does.
    toml = (typed_hunt / "hunt.toml").read_text("utf-8")
    toml = toml.replace('position = "52.301200, -3.610400"\n', "")
    (typed_hunt / "hunt.toml").write_text(toml, "utf-8")
    with pytest.raises(TreewardError, match="neither a waypoint"):
        Hunt(typed_hunt).locate()


def test_a_jump_and_a_run_were_not_walked_while_looking(tmp_path: Path) -> None:
    slow = line(200, 11)  # 20 m a minute
    jump = [off(3000, 90)]
    run = [off(200 + at, 0) for at in np.linspace(150, 600, 4)]  # 150 m a minute
    (stretch,) = read_stretches(
        gpx(tmp_path / "a.gpx", [*slow, *jump, *slow[-1:], *run])
    )
    lines = walked_lines([stretch], look_mps=0.25)
    assert lines.jumps == 2
    assert lines.walked_m == pytest.approx(200, abs=0.5)
    assert lines.fast_m == pytest.approx(600, abs=0.5)
    ((kept, share),) = lines.lines
    assert share == 1.0
    assert len(kept.time_s) == 11


def test_a_phone_that_lies_still_walks_nothing(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    # An hour on a stone: its places wander by some metres.
    wander, way = rng.normal(0, 2, 3600), rng.uniform(0, 360, 3600)
    places = [off(abs(d), a) for d, a in zip(wander, way, strict=True)]
    (stretch,) = read_stretches(gpx(tmp_path / "a.gpx", places, step_s=1.0))
    assert walked_lines([stretch], look_mps=0.25).walked_m < 100
    raw = GLOBE.line_length(stretch.longitude_deg, stretch.latitude_deg)
    assert raw > 5000


WOOD = [off(300, 180), off(900, 180), off(900, 240), off(300, 240)]


def geojson(path: Path, ring: Sequence[tuple[float, float]], **more: object) -> Path:
    table = {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": more.pop("properties", {"kind": "Wood"}),
                "geometry": {
                    "type": "Polygon",
                    "coordinates": [[[lon, lat] for lat, lon in [*ring, ring[0]]]],
                },
            }
        ],
        **more,
    }
    path.write_text(json.dumps(table), "utf-8")
    return path


@pytest.mark.usefixtures("surveyed_without_looking")
def test_what_cannot_be_where_it_says_is_told(typed_hunt: Path) -> None:
    lat, lon = off(500, 210)
    ring = [off(300, 180), off(600, 180), off(600, 220)]
    geojson(typed_hunt / "right.geojson", ring)
    geojson(typed_hunt / "swapped.geojson", [(x, y) for y, x in ring])
    hunt = add(
        typed_hunt,
        '2026-07-14 12:20:00,searched,,"10.0, 10.0"',
        toml='[search]\nstart = "10.0, 10.0"\n'
        'ground = ["swapped.geojson", "right.geojson"]\n'
        "weights = { wood = 3, fen = 0 }\n"
        f'[[searched]]\nat = "{lon:.6f}, {lat:.6f}"\n'
        f'[[searched]]\nat = "{lat:.6f}, {lon:.6f}"\n',
    )
    result = hunt.locate()
    assert result.search is not None
    told = [(doubt.kind, doubt.where) for doubt in result.search.doubts]
    assert sorted(told) == sorted(
        [
            (SearchDoubtKind.FAR, "[search] start"),
            (SearchDoubtKind.FAR, "Row h0017"),
            (SearchDoubtKind.SWAPPED, "[[searched]] 1"),
            (SearchDoubtKind.SWAPPED, "swapped.geojson"),
            (SearchDoubtKind.NO_SUCH_GROUND, "[search] weights"),
        ]
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    ("order", "crosses"),
    [
        ((0, 1, 2, 3), False),
        ((0, 2, 1, 3), True),
        ((0, 1, 2, 3, 0), False),
    ],
)
def test_an_area_whose_sides_cross_is_doubted(
    typed_hunt: Path, order: tuple[int, ...], crosses: bool
) -> None:
    corners = [off(400, 200), off(600, 200), off(600, 220), off(400, 220)]
    area = [f"{lat:.6f}, {lon:.6f}" for lat, lon in (corners[n] for n in order)]
    hunt = add(
        typed_hunt,
        toml=f"[[searched]]\narea = {json.dumps(area)}\n"
        f"[walk]\nleave_out = [{json.dumps(area)}]\n",
    )
    assert doubts(hunt.locate()) == [SearchDoubtKind.CROSSING] * (2 * crosses)


@pytest.mark.slow
def test_ground_with_weights(typed_hunt: Path) -> None:
    plain = Hunt(typed_hunt).locate()
    geojson(typed_hunt / "ground.geojson", WOOD)
    toml = '[search]\nground = "ground.geojson"\nweights = { wood = 0 }\n'
    result = add(typed_hunt, toml=toml).locate()
    assert result.search is not None
    (ground,) = result.search.searching.ground
    assert ground.weight == 0
    (colony,) = result.fix.colonies  # type: ignore[union-attr]
    (before,) = plain.fix.colonies  # type: ignore[union-attr]
    assert colony.searched is not None
    assert colony.searched.ground_used
    moved = GLOBE.inv(
        before.best_longitude_deg, before.best_latitude_deg,
        colony.best_longitude_deg, colony.best_latitude_deg,
    )[2]  # fmt: skip
    assert moved > 50


@pytest.mark.usefixtures("surveyed_without_looking")
def test_ground_without_a_weight_is_told(typed_hunt: Path) -> None:
    geojson(typed_hunt / "ground.geojson", WOOD)
    result = add(typed_hunt, toml='[search]\nground = "ground.geojson"\n').locate()
    assert doubts(result) == [SearchDoubtKind.NO_WEIGHT]
    assert result.search is not None
    assert result.search.doubts[0].words == ("wood",)


@pytest.mark.slow
def test_weights_of_all_zero_are_told_and_not_used(typed_hunt: Path) -> None:
    everywhere = [off(9000, a) for a in (0, 90, 180, 270)]
    geojson(typed_hunt / "ground.geojson", everywhere, properties={"weight": 0})
    plain = Hunt(typed_hunt).locate()
    result = add(typed_hunt, toml='[search]\nground = "ground.geojson"\n').locate()
    (colony,) = result.fix.colonies  # type: ignore[union-attr]
    (before,) = plain.fix.colonies  # type: ignore[union-attr]
    assert colony.searched is not None
    assert not colony.searched.ground_used
    assert any("not used" in said for said in search_sentences(result, colony))
    assert colony.search_areas[90].area_m2 == pytest.approx(
        before.search_areas[90].area_m2, rel=0.03
    )


def test_ground_in_another_coordinate_system_is_read(tmp_path: Path) -> None:
    to = Transformer.from_crs("EPSG:4326", "EPSG:27700", always_xy=True)
    metres = [to.transform(lon, lat)[::-1] for lat, lon in WOOD]
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::27700"}}
    (shape,) = read_shapes(geojson(tmp_path / "g.geojson", metres, crs=crs)).outlines
    assert shape.points[:-1, ::-1] == pytest.approx(np.array(WOOD), abs=1e-6)


@pytest.mark.parametrize(
    ("crs", "said"),
    [
        (None, "no longitude and latitude (2"),
        ({"type": "name", "properties": {"name": "EPSG:0"}}, "is not known (EPSG:0)"),
        ({"type": "link"}, "a coordinate system that is not known"),
        ("EPSG:27700", "a coordinate system that is not known"),
    ],
)
def test_ground_in_metres_is_refused_in_a_line(
    tmp_path: Path, crs: object, said: str
) -> None:
    to = Transformer.from_crs("EPSG:4326", "EPSG:27700", always_xy=True)
    metres = [to.transform(lon, lat)[::-1] for lat, lon in WOOD]
    more = {} if crs is None else {"crs": crs}
    with pytest.raises(HuntError) as fault:
        read_shapes(geojson(tmp_path / "g.geojson", metres, **more))
    assert said in fault.value.line()
    assert "\n" not in fault.value.line()


WEIGHED = (
    '{{"type": "Feature", "properties": {{"weight": {}}}, '
    '"geometry": {{"type": "Point", "coordinates": [0, 1]}}}}'
)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        '{"type": "Polygon"}',
        '{"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]}',
        '{"type": "Polygon", "coordinates": [[["a", 0], [1, 1], [1, 2]]]}',
        '{"type": "Polygon", "coordinates": [[[0], [1, 1], [1, 2]]]}',
        '{"type": "Point", "coordinates": [NaN, 2]}',
        '{"type": "FeatureCollection", "features": 3}',
        '{"type": "FeatureCollection", "features": [3]}',
        WEIGHED.format('"much"'),
        WEIGHED.format(-1),
        '{"type":"GeometryCollection","geometries":[' * 60 + "]}" * 60,
        '{"type":"GeometryCollection","geometries":[' * 100_000,
    ],
)
def test_faulty_geojson_is_refused_in_a_line(tmp_path: Path, text: str) -> None:
    path = tmp_path / "g.geojson"
    path.write_text(text, "utf-8")
    with pytest.raises(TreewardError) as fault:
        read_shapes(path)
    assert str(path) in fault.value.line()
    assert "\n" not in fault.value.line()


@pytest.mark.usefixtures("surveyed_without_looking")
def test_ground_and_trees_out_of_gpx(typed_hunt: Path) -> None:
    ring = "".join(f'<trkpt lat="{a}" lon="{b}"/>' for a, b in [*WOOD, WOOD[0]])
    (typed_hunt / "ground.gpx").write_text(
        '<gpx version="1.1" creator="a map program" '
        'xmlns="http://www.topografix.com/GPX/1/1">'
        f'<wpt lat="{HERE[0]}" lon="{HERE[1]}"><name>old oak</name></wpt>'
        f"<trk><name>Wood</name><trkseg>{ring}</trkseg></trk></gpx>",
        "utf-8",
    )
    toml = (
        '[search]\nground = "ground.gpx"\nweights = { Wood = 3 }\ntree_weight = 7\n'
        'paths = "ground.gpx"\n'
    )
    result = add(typed_hunt, toml=toml).locate()
    assert result.search is not None
    told = result.search.searching
    assert [ground.weight for ground in told.ground] == [3]
    assert told.trees is not None
    assert told.trees.weight == 7
    assert (told.trees.latitude_deg[0], told.trees.longitude_deg[0]) == HERE
    assert len(told.paths) == 1


@pytest.mark.slow
def test_what_looking_told_goes_into_the_files(typed_hunt: Path) -> None:
    gpx(typed_hunt / "tracks/search.gpx", line(600, 41, 210))
    hunt = add(typed_hunt, toml='[search]\ntracks = "tracks/search.gpx"\n')
    result = hunt.locate()
    written = hunt.write_results(result)
    plain = json.loads((written.directory / "result.json").read_text("utf-8"))
    assert plain["search"]["walked_m"] == pytest.approx(600, abs=0.5)
    (colony,) = plain["colonies"]
    (located,) = result.fix.colonies  # type: ignore[union-attr]
    assert located.searched is not None
    assert colony["searched"]["found_by_now"] == pytest.approx(
        located.searched.found_by_now, abs=1e-4
    )
    page = written.report.read_text("utf-8")
    assert "Looking for the tree" in page
    assert "You have looked at" in page


def test_a_run_and_a_jump_are_left_out_of_a_note_and_told(typed_hunt: Path) -> None:
    # Ten minutes at 20 m a minute, a leap of 3 km and back, then 400 m in four minutes,
    # faster than twice the 15 m a minute of looking but no run, then 480 m in three.
    slow = line(200, 11)
    brisk = [off(200 + at, 0) for at in (0, 100, 200, 300, 400)]
    run = [off(600 + at, 0) for at in (160, 320, 480)]
    gpx(typed_hunt / "tracks/day.gpx", [*slow, off(3000, 90), *brisk, *run])
    hunt = Hunt(typed_hunt)
    clock = datetime(2026, 7, 14, 12, 19, tzinfo=hunt.zone)
    note = Event(kind=EventKind.SEARCHED, clock=clock, heard="searched", row="7")

    told = read_searching(hunt.file, hunt.path, [note])

    (bout,) = told.bouts
    assert bout.walked_m == pytest.approx(200 + 400, abs=1)
    assert bout.spent_s == pytest.approx(10 * 60 + 4 * 60)
    said = {doubt.kind: doubt for doubt in told.doubts}
    assert set(said) == {SearchDoubtKind.JUMPS, SearchDoubtKind.FAST}
    assert said[SearchDoubtKind.JUMPS].count == 2
    assert said[SearchDoubtKind.FAST].metres == pytest.approx(480, abs=1)
    widths = [way.sweep_width_m for way in told.searching.walked]
    assert widths == [15.0, 7.5]  # half as well where one hurries


@pytest.mark.parametrize(
    ("metres", "share"), [(29.0, 1.0), (31.0, 0.5), (101.0, 0.5), (103.0, 0.0)]
)
def test_how_well_one_looks_goes_by_the_pace(
    tmp_path: Path, metres: float, share: float
) -> None:
    # A minute each; 0.25 m/s are 15 m a minute, and 1.7 m/s 102 m.
    (stretch,) = read_stretches(gpx(tmp_path / "a.gpx", [HERE, off(metres, 70)]))
    lines = walked_lines([stretch], look_mps=0.25)
    assert [one for _, one in lines.lines] == ([share] if share else [])
    assert lines.walked_m == pytest.approx(metres if share else 0.0, abs=0.05)
    assert lines.fast_m == pytest.approx(0.0 if share else metres, abs=0.05)
    assert lines.spent_s == (60.0 if share else 0.0)


@pytest.mark.parametrize(
    ("metres", "step_s", "parted", "jumps"),
    [
        (59.0, 10.0, False, 0),  # a phone's scatter
        (61.0, 10.0, True, 1),  # 6 m/s
        (61.0, 21.0, False, 0),  # 2.9 m/s
        (61.0, 601.0, True, 0),  # ten minutes without a place
        (59.0, 601.0, False, 0),
        (61.0, 599.0, False, 0),
    ],
)
def test_where_a_way_is_parted(
    tmp_path: Path, metres: float, step_s: float, *, parted: bool, jumps: int
) -> None:
    places = [HERE, off(metres, 20)]
    (stretch,) = read_stretches(gpx(tmp_path / "a.gpx", places, step_s=step_s))
    lines = walked_lines([stretch], look_mps=5.0)
    assert lines.jumps == jumps
    assert lines.walked_m + lines.fast_m == pytest.approx(
        0.0 if parted else metres, abs=0.05
    )
    (untimed,) = read_stretches(gpx(tmp_path / "b.gpx", places, start=None))
    assert walked_lines([untimed], look_mps=5.0).walked_m > 0


def test_places_without_times_jump_at_three_hundred_metres(tmp_path: Path) -> None:
    for metres, jumps in ((299.0, 0), (301.0, 1)):
        places = [HERE, off(metres, 20)]
        (stretch,) = read_stretches(gpx(tmp_path / "a.gpx", places, start=None))
        lines = walked_lines([stretch], look_mps=0.25)
        assert lines.jumps == jumps
        assert lines.spent_s == 0.0
        assert lines.walked_m == pytest.approx(0.0 if jumps else metres, abs=0.05)


def test_wandering_is_left_out_from_ten_metres_down(tmp_path: Path) -> None:
    for metres, count in ((9.9, 6), (10.1, 11)):
        # Ten steps east: of those below ten metres every second place is kept.
        places = [off(metres * n, 90) for n in range(11)]
        (stretch,) = read_stretches(gpx(tmp_path / "a.gpx", places))
        ((kept, _),) = walked_lines([stretch], look_mps=0.25).lines
        assert len(kept.time_s) == count


def test_a_time_between_holds_its_ends(tmp_path: Path) -> None:
    (stretch,) = read_stretches(gpx(tmp_path / "a.gpx", line(100, 6)))
    first, last = NOON + timedelta(minutes=1), NOON + timedelta(minutes=4)
    assert len(stretch.between(first, last).time_s) == 4
    late = stretch.between(first + timedelta(seconds=1), last - timedelta(seconds=1))
    assert len(late.time_s) == 2
