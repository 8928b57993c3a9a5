"""Where a phone was at a time, at the edges of what it can tell; and what cannot be."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING

import numpy as np
import pytest
from pyproj import Geod

from treeward.hunt.tracks import (
    IdleTrackError,
    TrackError,
    TrackStretch,
    crosses_itself,
    far_doubts,
    lonlat,
    position_at,
    position_over,
    reach_of,
    read_gpx,
    read_stretches,
    span,
    walked_lines,
    waypoint,
)
from treeward.hunt_file import parse_hunt_table
from treeward.measures import Position
from treeward.report.model import SearchDoubtKind
from treeward.survey import Settings

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

GLOBE = Geod(ellps="WGS84")
NOON = datetime(2026, 7, 14, 12, 0, tzinfo=UTC)
HERE = Position(latitude_deg=52.3, longitude_deg=-3.6)


def track(*points: tuple[float, float]) -> TrackStretch:
    """Return a track north of a place: seconds after noon, degrees of latitude."""
    return TrackStretch(
        latitude_deg=np.array([lat for _, lat in points]),
        longitude_deg=np.full(len(points), -3.6),
        time_s=np.array([NOON.timestamp() + s for s, _ in points]),
    )


def latitude(walked: TrackStretch, second: float) -> float | None:
    place = position_at(walked, NOON + timedelta(seconds=second))
    return None if place is None else round(place.latitude_deg, 9)


def off(metres: float, azimuth_deg: float = 0.0) -> Position:
    lon, lat, _ = GLOBE.fwd(HERE.longitude_deg, HERE.latitude_deg, azimuth_deg, metres)
    return Position(latitude_deg=lat, longitude_deg=lon)


def stretch(*steps: tuple[float, float]) -> TrackStretch:
    """Return a walk due north: seconds (NaN: none), metres from where it began."""
    places = [off(metres) for _, metres in steps]
    return TrackStretch(
        latitude_deg=np.array([p.latitude_deg for p in places]),
        longitude_deg=np.array([p.longitude_deg for p in places]),
        time_s=np.array([s for s, _ in steps], dtype=np.float64),
    )


def test_ten_minutes_between_two_places_are_bridged_and_no_more() -> None:
    assert latitude(track((0, 52.0), (600, 52.6)), 150) == 52.15
    assert latitude(track((0, 52.0), (601, 52.6)), 150) is None


def test_a_lone_place_tells_of_two_minutes_about_it() -> None:
    lone = track((0, 52.0))
    assert latitude(lone, -120) == latitude(lone, 120) == 52.0
    assert latitude(lone, -121) is None
    assert latitude(lone, 121) is None


def test_in_a_long_gap_the_end_that_is_near_counts() -> None:
    walked = track((0, 52.0), (3600, 52.6))
    assert latitude(walked, 119) == 52.0
    assert latitude(walked, 3481) == 52.6
    assert latitude(walked, 1800) is None


def test_at_its_own_time_a_point_is_where_it_is() -> None:
    walked = track((0, 52.0), (3600, 52.6), (3700, 52.7))
    assert latitude(walked, 0) == 52.0
    assert latitude(walked, 3600) == 52.6
    assert latitude(walked, 3700) == 52.7
    assert latitude(walked, 3650) == 52.65


def test_the_place_between_two_others_is_on_the_way_not_beside_it() -> None:
    north = track((0, 52.3), (100, 52.4))
    east = replace(north, longitude_deg=np.array([-3.6, -3.2]))
    place = position_at(east, NOON + timedelta(seconds=75))
    assert place is not None
    assert place.latitude_deg == pytest.approx(52.375)
    assert place.longitude_deg == pytest.approx(-3.3)


def test_a_seat_is_the_median_of_places_both_ways() -> None:
    north = track((0, 52.0), (10, 52.2), (20, 52.1))
    sat = replace(north, longitude_deg=np.array([-3.0, -3.4, -3.1]))
    seat = position_over(sat, [NOON + timedelta(seconds=s) for s in (0, 10, 20)])
    assert seat is not None
    assert (seat.latitude_deg, seat.longitude_deg) == pytest.approx((52.1, -3.1))


def test_a_track_lasts_from_its_first_point_to_its_last() -> None:
    assert span(track((5, 52.0), (9, 52.0), (12, 52.0))) == (
        NOON + timedelta(seconds=5),
        NOON + timedelta(seconds=12),
    )
    assert span(track()) is None


def test_a_waypoint_is_found_by_the_first_name_that_fits() -> None:
    one, two = off(10), off(20)
    marked = {"STATION 2": one, "Spring": two}
    assert waypoint(marked, "spring", "station 2") == two
    assert waypoint(marked, "2", " Station   2") == one
    assert waypoint(marked) is None


GPX = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="a phone" xmlns="http://www.topografix.com/GPX/1/1">
{body}
</gpx>
"""


def gpx(folder: Path, body: str) -> Path:
    path = folder / "walk.gpx"
    path.write_text(GPX.format(body=body), "utf-8")
    return path


def points(*times: str) -> str:
    rows = "".join(
        f'<trkpt lat="52.3" lon="-3.6">{f"<time>{t}</time>" if t else ""}</trkpt>'
        for t in times
    )
    return f"<trk><trkseg>{rows}</trkseg></trk>"


@pytest.mark.parametrize("year", [1970, 2200])
def test_times_of_these_centuries_are_taken(tmp_path: Path, year: int) -> None:
    read = read_gpx(gpx(tmp_path, points(f"{year}-06-01T12:00:00Z")))
    told = datetime(year, 6, 1, 12, tzinfo=UTC)
    assert span(read.points) == (told, told)


@pytest.mark.parametrize("year", [1969, 2201])
def test_times_of_no_hunt_are_refused_with_their_point(
    tmp_path: Path, year: int
) -> None:
    path = gpx(tmp_path, points("2026-07-14T12:00:00Z", f"{year}-06-01T12:00:00Z"))
    with pytest.raises(TrackError, match="track point 2: its time is no time"):
        read_gpx(path)


def test_points_come_in_the_order_of_time_in_universal_time(tmp_path: Path) -> None:
    times = ("2026-07-14T12:02:00Z", "2026-07-14T14:01:00+02:00", "2026-07-14T12:00:00")
    read = read_gpx(gpx(tmp_path, points(*times)))
    assert (read.points.time_s - NOON.timestamp()).tolist() == [0, 60, 120]


def test_a_file_that_tells_no_time_says_how_many_points_lack_theirs(
    tmp_path: Path,
) -> None:
    with pytest.raises(IdleTrackError, match=r"\(3 points have no time\)") as caught:
        read_gpx(gpx(tmp_path, points("", "", "")))
    assert caught.value.where == str(tmp_path / "walk.gpx")
    assert "times" in caught.value.mend
    with pytest.raises(IdleTrackError, match=r"track point with a time\. ") as caught:
        read_gpx(gpx(tmp_path, '<wpt lat="1" lon="1"><name> </name></wpt>'))
    # A file with a time, or with a name, tells something.
    timed = read_gpx(gpx(tmp_path, points("", "2026-07-14T12:00:00Z"))).points
    assert len(timed) == 1
    named = gpx(tmp_path, '<wpt lat="1" lon="2"><name>a  b</name></wpt>')
    assert read_gpx(named).waypoints == {
        "a b": Position(latitude_deg=1, longitude_deg=2)
    }


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (
            '<wpt lat="1" lon="1"/><wpt lat="91" lon="1"/>',
            "waypoint 2: latitude 91",
        ),
        (
            '<rte><rtept lat="1" lon="1"/><rtept lat="1" lon="181"/></rte>',
            "route point 2: longitude 181",
        ),
        (
            points("").replace('lat="52.3"', 'lat="-91"'),
            "track point 1: latitude -91",
        ),
    ],
)
def test_a_place_off_the_globe_is_named_by_what_it_is_of(
    tmp_path: Path, body: str, said: str
) -> None:
    with pytest.raises(TrackError, match=said) as caught:
        read_stretches(gpx(tmp_path, body))
    assert caught.value.where.endswith("walk.gpx")
    assert caught.value.mend == "Correct it, or export the track again."


@pytest.mark.parametrize(
    "name",
    ["utf-8", "UTF8", "utf-16", "utf-32", "us-ascii", "ISO-8859-15", "latin1",
     "windows-1252", "cp1250", "koi8-r", "shift_jis", "euc-jp", "gb18030", "big5"],
)  # fmt: skip
def test_an_encoding_that_a_file_declares_is_followed(
    tmp_path: Path, name: str
) -> None:
    path = tmp_path / "walk.gpx"
    text = GPX.format(body=points("2026-07-14T12:00:00Z")).replace("UTF-8", name)
    plain = text.encode("utf-8" if name.startswith("utf-") else name)
    if name in {"utf-16", "utf-32"}:  # a byte order mark tells, whatever is declared
        plain = text.encode(name)
    path.write_bytes(plain)
    assert read_gpx(path).points


@pytest.mark.parametrize("name", ["utf-7", "punycode", "idna", "rot13", "utf-8x"])
def test_encodings_that_no_receiver_writes_are_refused(
    tmp_path: Path, name: str
) -> None:
    path = tmp_path / "walk.gpx"
    path.write_text(GPX.format(body="").replace("UTF-8", name), "ascii")
    with pytest.raises(TrackError, match=f"is not text in {name}"):
        read_gpx(path)


@pytest.mark.parametrize(
    "mark", [b"\xff\xfe", b"\xfe\xff", b"\xff\xfe\0\0", b"\0\0\xfe\xff"]
)
def test_a_byte_order_mark_tells_width_and_order(tmp_path: Path, mark: bytes) -> None:
    ending = "le" if mark[0] == 0xFF else "be"
    text = GPX.format(body=points("2026-07-14T12:00:00Z"))
    path = tmp_path / "walk.gpx"
    path.write_bytes(mark + text.encode(f"utf-{8 * len(mark)}-{ending}"))
    assert len(read_gpx(path).points) == 1


def test_an_entity_is_refused_without_a_document_type_too(tmp_path: Path) -> None:
    with pytest.raises(TrackError, match="document type or entities"):
        read_gpx(gpx(tmp_path, '<!entity a "b">'))


def test_tracks_and_routes_are_stretches_of_their_own(tmp_path: Path) -> None:
    body = (
        points("2026-07-14T12:01:00", "2026-07-14T14:00:00+02:00")
        + "<trk><trkseg></trkseg></trk>"
        + '<rte><rtept lat="52.4" lon="-3.7"/><rtept lat="52.5" lon="-3.8"/></rte>'
    )
    one, route = read_stretches(gpx(tmp_path, body))
    assert one.timed
    assert (one.time_s - NOON.timestamp()).tolist() == [0.0, 60.0]
    assert not route.timed
    assert route.latitude_deg.tolist() == [52.4, 52.5]
    assert route.longitude_deg.tolist() == [-3.7, -3.8]


def test_a_stretch_with_one_unknown_time_stays_as_it_was_written(
    tmp_path: Path,
) -> None:
    (one,) = read_stretches(
        gpx(tmp_path, points("2026-07-14T12:01:00Z", "", "2026-07-14T12:00:00Z"))
    )
    assert not one.timed
    assert np.isnan(one.time_s).tolist() == [False, True, False]
    assert one.time_s[0] > one.time_s[2]


def test_a_walk_is_parted_where_the_pace_changes_and_each_part_keeps_its_ends() -> None:
    # 12 m/min looking, then 60 m/min: hurried, then 120 m/min: no looking at all.
    steps = [(0, 0), (60, 12), (120, 24), (180, 84), (240, 204), (300, 216)]
    found = walked_lines([stretch(*steps)], look_mps=0.25)
    told = [(len(line.time_s), share) for line, share in found.lines]
    assert told == [(3, 1.0), (2, 0.5), (2, 1.0)]
    first, second, third = (line for line, _ in found.lines)
    assert first.time_s.tolist() == [0, 60, 120]
    assert second.time_s.tolist() == [120, 180]
    assert third.time_s.tolist() == [240, 300]
    assert found.walked_m == pytest.approx(24 + 60 + 12, abs=0.01)
    assert found.fast_m == pytest.approx(120, abs=0.01)
    assert found.spent_s == 240
    assert found.jumps == 0


def test_several_stretches_add_up() -> None:
    slow = stretch((0, 0), (100, 20))
    leap = stretch((0, 0), (1, 500), (2, 1000))
    found = walked_lines([slow, leap, slow], look_mps=0.25)
    assert found.walked_m == pytest.approx(40, abs=0.01)
    assert found.spent_s == 200
    assert found.jumps == 2
    assert len(found.lines) == 2


def test_a_way_without_times_is_all_looking_and_takes_no_time() -> None:
    found = walked_lines([stretch((np.nan, 0), (np.nan, 290))], look_mps=0.25)
    assert (found.spent_s, found.fast_m) == (0.0, 0.0)
    assert found.walked_m == pytest.approx(290, abs=0.01)


def test_a_lone_place_is_no_way() -> None:
    found = walked_lines([stretch((0, 0))], look_mps=0.25)
    assert (found.lines, found.walked_m, found.jumps) == ((), 0.0, 0)


def test_places_a_stones_throw_from_the_last_that_counts_are_dropped() -> None:
    # 9 m on, then 9 m more: 18 m from the first, which is farther than a phone wanders.
    found = walked_lines([stretch((0, 0), (60, 9), (120, 18), (180, 27))], look_mps=1)
    ((line, _),) = found.lines
    assert line.time_s.tolist() == [0, 120]


def test_wander_is_measured_alike_north_and_east_and_across_the_date_line() -> None:
    lat = 60.0  # here a degree of longitude is half one of latitude
    for lon, dlon in ((0.0, 1.0), (179.9999, 1.0), (-179.9999, -1.0)):
        for metres, kept in ((9.9, 0), (10.1, 1)):
            turn = dlon * metres / 111_320 / 0.5
            east = (lon + turn + 180) % 360 - 180
            one = TrackStretch(
                latitude_deg=np.array([lat, lat]),
                longitude_deg=np.array([lon, east]),
                time_s=np.array([0.0, 60.0]),
            )
            assert len(walked_lines([one], look_mps=1.0).lines) == kept


def test_before_and_after_a_jump_every_place_counts() -> None:
    walked = stretch((0, 0), (60, 12), (120, 24), (121, 524), (181, 536), (241, 548))
    found = walked_lines([walked], look_mps=0.25)
    assert [line.time_s.tolist() for line, _ in found.lines] == [
        [0, 60, 120],
        [121, 181, 241],
    ]
    assert found.jumps == 1


def test_ten_minutes_without_a_place_are_bridged_by_a_walk_too() -> None:
    (one,) = walked_lines([stretch((0, 0), (600, 100))], look_mps=0.25).lines
    assert one[0].time_s.tolist() == [0, 600]
    assert walked_lines([stretch((0, 0), (601, 100))], look_mps=0.25).lines == ()


def test_a_long_pause_without_a_step_parts_nothing() -> None:
    found = walked_lines([stretch((0, 0), (3600, 59), (3660, 80))], look_mps=0.25)
    assert found.walked_m == pytest.approx(80, abs=0.01)
    assert found.jumps == 0


def ring(*corners: tuple[float, float]) -> NDArray[np.float64]:
    return np.array(corners, dtype=np.float64)


@pytest.mark.parametrize(
    ("corners", "crosses"),
    [
        ([(0, 0), (2, 0), (1, 2)], False),
        ([(0, 0), (2, 2), (2, 0), (0, 2)], True),  # an hourglass
        ([(0, 0), (0, 2), (2, 0), (2, 2)], True),  # the same, lying
        ([(0, 0), (2, 0), (2, 2), (1, 1), (0, 2)], False),  # a notch
        ([(0, 3), (2, -3), (-3, 1), (3, 1), (-2, -3)], True),  # a star of five
        ([(0, 0), (4, 0), (4, 4), (3, 4), (3, -1), (0, -1)], True),
        ([(0, 0), (4, 0), (4, 4), (2, -1), (0, 4)], True),  # the first side is crossed
        ([(0, 0), (4, 0), (4, 4), (2, 1), (0, 4)], False),
        ([(1, -1), (4, 0), (0, 0), (0, 4), (1, 4)], True),  # the last side is
        ([(0, 0), (4, 0), (4, 4), (2, 0), (0, 4)], False),  # it touches itself
        ([(0, 0), (2, 0), (4, 0), (4, 2), (2, 0), (0, 2)], False),
        ([(0, 0), (1, 1)], False),
        ([(0, 0)], False),
    ],
)
def test_sides_of_an_outline_cross_or_do_not(
    corners: list[tuple[float, float]], *, crosses: bool
) -> None:
    for turn in range(len(corners)):
        turned = [*corners[turn:], *corners[:turn]]
        assert crosses_itself(ring(*turned)) is crosses
        assert crosses_itself(ring(*turned, turned[0])) is crosses
        assert crosses_itself(ring(*turned[::-1])) is crosses


def test_what_lies_out_of_reach_is_told_with_how_far() -> None:
    near, far = off(4_900, 77), off(5_100, 77)
    given = [("near", lonlat([near])), ("far", lonlat([far]))]
    (doubt,) = far_doubts(given, [HERE], 5_000)
    assert doubt.kind is SearchDoubtKind.FAR
    assert doubt.where == "far"
    assert doubt.metres == pytest.approx(5_100, rel=0.004)  # on a sphere
    # One place within reach of one station is enough.
    assert far_doubts([("both", lonlat([far, near]))], [HERE], 5_000) == []
    assert far_doubts([("far", lonlat([far]))], [HERE, off(5_000, 77)], 5_000) == []
    assert far_doubts([("far", lonlat([far]))], [], 5_000) == []
    assert far_doubts([("nothing", lonlat([]))], [HERE], 5_000) == []


def test_latitude_and_longitude_changed_about_are_told_apart_from_far_off() -> None:
    swapped = np.array([(HERE.latitude_deg, HERE.longitude_deg)])
    (doubt,) = far_doubts([("it", swapped)], [HERE], 1_000)
    assert doubt.kind is SearchDoubtKind.SWAPPED
    lon, lat = swapped[0]
    there = GLOBE.inv(lon, lat, HERE.longitude_deg, HERE.latitude_deg)[2]
    assert doubt.metres == pytest.approx(there, rel=0.006)


def test_an_outline_of_all_the_country_is_not_far_from_what_lies_in_it() -> None:
    corners = lonlat([off(20_000, azimuth) for azimuth in (0, 120, 240)])
    assert far_doubts([("all", corners)], [HERE], 5_000) == []
    (beside,) = far_doubts([("beside", corners + np.array([1.0, 0.0]))], [HERE], 5_000)
    assert beside.kind is SearchDoubtKind.FAR
    (way,) = far_doubts([("a way", corners[:2])], [HERE], 5_000)
    assert way.where == "a way"


@pytest.mark.parametrize("azimuth_deg", [0, 37, 90, 200, 301])
def test_distances_on_the_globe_are_true_to_a_half_percent(azimuth_deg: float) -> None:
    for metres in (200.0, 30_000.0, 3_000_000.0):
        (doubt,) = far_doubts([("it", lonlat([off(metres, azimuth_deg)]))], [HERE], 100)
        assert doubt.metres == pytest.approx(metres, rel=0.005)


def test_the_colony_is_looked_for_as_far_as_the_hunt_says() -> None:
    hunt = {"hunt": {"name": "x", "timezone": "Europe/London"}}
    plain = parse_hunt_table(hunt, where="hunt.toml")
    own = parse_hunt_table(
        hunt | {"model": {"prior_distance_max_m": 3210.0}}, where="hunt.toml"
    )
    assert reach_of(plain) == Settings().distance_cut_m
    assert reach_of(own) == 3210.0


def test_a_part_of_a_walk_holds_what_was_walked_then_in_any_zone() -> None:
    began = NOON.timestamp()
    walked = stretch(*((began + 60 * n, 20 * n) for n in range(5)))
    summer = timezone(timedelta(hours=1))
    first, last = ((NOON + timedelta(seconds=s)).astimezone(summer) for s in (60, 180))
    part = walked.between(first, last)
    assert (part.time_s - began).tolist() == [60, 120, 180]
    assert part.latitude_deg.tolist() == walked.latitude_deg[1:4].tolist()
    assert part.longitude_deg.tolist() == walked.longitude_deg[1:4].tolist()
