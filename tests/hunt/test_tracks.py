"""GPX in: places by time and by name, and files that must be refused."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drawing import examples, mostly_slow
from treeward.hunt.places import place_stations
from treeward.hunt.tracks import (
    LARGEST_BYTES,
    TrackError,
    TrackStretch,
    position_at,
    position_over,
    read_gpx,
    span,
    waypoint,
)
from treeward.hunt_file import parse_hunt_table
from treeward.measures import Position
from treeward.trips import pair_trips

if TYPE_CHECKING:
    from pathlib import Path

NOON = datetime(2026, 7, 14, 12, 0, tzinfo=UTC)
GPX_11 = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="a phone" xmlns="http://www.topografix.com/GPX/1/1">
  <wpt lat="52.3012" lon="-3.6104"><name>Station  1</name></wpt>
  <wpt lat="52.2968" lon="-3.6093"><name>Ffynnon ŵy</name></wpt>
  <wpt lat="50" lon="0"><name>Station 1</name></wpt>
  <trk><trkseg>
    <trkpt lat="52.3000" lon="-3.6100"><time>2026-07-14T12:00:00Z</time></trkpt>
    <trkpt lat="52.3010" lon="-3.6110"><time>2026-07-14T14:01:00+02:00</time></trkpt>
  </trkseg><trkseg>
    <trkpt lat="52.3100" lon="-3.6200"><time>2026-07-14T12:30:00</time></trkpt>
    <trkpt lat="52.3100" lon="-3.6200"/>
  </trkseg></trk>
</gpx>
"""
GPX_10 = """<?xml version="1.0"?>
<gpx version="1.0" creator="an old receiver" xmlns="http://www.topografix.com/GPX/1/0">
  <wpt lat="-36.5" lon="174.5"><name>gate</name></wpt>
  <trk><trkseg>
    <trkpt lat="-36.5" lon="174.5"><time>2026-07-14T12:00:00Z</time></trkpt>
  </trkseg></trk>
</gpx>
"""


def write(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "walk.gpx"
    path.write_bytes(text.encode(encoding))
    return path


def track(*points: tuple[float, float, float]) -> TrackStretch:
    """Return a track of (seconds after noon, latitude, longitude)."""
    after_s, latitude_deg, longitude_deg = np.array(points).reshape(-1, 3).T
    return TrackStretch(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        time_s=NOON.timestamp() + after_s,
    )


def test_track_and_waypoints_are_read(tmp_path: Path) -> None:
    read = read_gpx(write(tmp_path, GPX_11))

    assert list(read.waypoints) == ["Station 1", "Ffynnon ŵy"]
    assert waypoint(read.waypoints, "1", "station 1") == Position(
        latitude_deg=52.3012, longitude_deg=-3.6104
    )
    assert waypoint(read.waypoints, "3") is None
    assert span(read.points) == (NOON, NOON + timedelta(minutes=30))
    assert (read.points.time_s - NOON.timestamp()).tolist() == [0, 60, 1800]


def test_the_older_version_is_read_too(tmp_path: Path) -> None:
    read = read_gpx(write(tmp_path, GPX_10))

    assert read.waypoints["gate"] == read.points.place(0)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_a_byte_order_mark_decides(tmp_path: Path, encoding: str) -> None:
    assert "Ffynnon ŵy" in read_gpx(write(tmp_path, GPX_11, encoding)).waypoints


def test_a_declared_encoding_is_followed(tmp_path: Path) -> None:
    text = GPX_11.replace("UTF-8", "ISO-8859-1").replace("ŵy", "é")

    assert "Ffynnon é" in read_gpx(write(tmp_path, text, "iso-8859-1")).waypoints


def test_a_place_between_two_points_goes_by_time() -> None:
    walked = track((0, 52.0, -3.0), (100, 52.1, -3.2))

    place = position_at(walked, NOON + timedelta(seconds=25))

    assert place is not None
    assert place.latitude_deg == pytest.approx(52.025)
    assert place.longitude_deg == pytest.approx(-3.05)


def test_the_way_across_180_degrees_is_the_short_one() -> None:
    place = position_at(
        track((0, -17.0, 179.9), (100, -17.0, -179.9)), NOON + timedelta(seconds=75)
    )

    assert place is not None
    assert place.longitude_deg == pytest.approx(-179.95)


def test_a_long_gap_says_nothing() -> None:
    walked = track((0, 52.0, -3.0), (3600, 52.1, -3.2))

    assert position_at(walked, NOON + timedelta(seconds=1800)) is None
    assert position_at(walked, NOON + timedelta(seconds=60)) == walked.place(0)
    assert position_at(walked, NOON + timedelta(days=1)) is None
    assert position_at(track(), NOON) is None


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        position_at(track((0, 52.0, -3.0)), datetime(2026, 7, 14, 12, 0))  # noqa: DTZ001


def test_a_wrong_fix_does_not_move_the_seat() -> None:
    sat = track(*((60.0 * i, 52.0, -3.0) for i in range(9)), (540, 58.0, 3.0))
    clocks = [NOON + timedelta(seconds=60 * i) for i in range(10)]

    assert position_over(sat, clocks) == Position(latitude_deg=52.0, longitude_deg=-3.0)
    assert position_over(sat, [NOON + timedelta(days=2)]) is None


BOMB = '<!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>'


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        (GPX_11.replace("<gpx", BOMB + "<gpx", 1), "document type"),
        (GPX_11.replace("<gpx", "<!doctype gpx><gpx", 1), "document type"),
        ("", "no GPX"),
        ("not xml at all", "no GPX"),
        ("<kml/>", "neither a waypoint"),
        (GPX_11[:400], "no GPX"),
        (GPX_11.replace('lat="52.3012"', 'lat="152"'), "waypoint 1: latitude 152"),
        (GPX_11.replace('lat="52.3000"', 'lat="nan"'), "track point 1"),
        (GPX_11.replace('lat="52.3000"', 'lat="north"'), "no GPX"),
        (GPX_11.replace("UTF-8", "no-such-code"), "not text in no-such-code"),
    ],
)
def test_a_file_that_is_no_gpx_gives_one_line(
    tmp_path: Path, text: str, complaint: str
) -> None:
    path = write(tmp_path, text)

    with pytest.raises(TrackError, match=complaint) as caught:
        read_gpx(path)

    assert str(path) in caught.value.line()
    assert caught.value.mend
    assert "\n" not in caught.value.line()


def test_a_bomb_in_sixteen_bit_letters_is_seen(tmp_path: Path) -> None:
    text = GPX_11.replace('encoding="UTF-8"', "").replace("<gpx", BOMB + "<gpx", 1)

    with pytest.raises(TrackError, match="document type"):
        read_gpx(write(tmp_path, text, "utf-16"))


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.gpx"
    with path.open("wb") as file:
        file.truncate(LARGEST_BYTES + 1)

    with pytest.raises(TrackError, match="MB"):
        read_gpx(path)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(TrackError, match=r"none\.gpx.*cannot be read"):
        read_gpx(tmp_path / "none.gpx")


@settings(
    max_examples=examples(150),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    data=st.one_of(
        st.binary(max_size=300),
        st.tuples(
            st.integers(0, len(GPX_11)), st.integers(0, 40), st.text(max_size=20)
        ).map(lambda c: (GPX_11[: c[0]] + c[2] + GPX_11[c[0] + c[1] :]).encode()),
    )
)
def test_no_file_brings_anything_but_a_line(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "any.gpx"
    path.write_bytes(data)

    try:
        read = read_gpx(path)
    except TrackError as error:
        assert error.mend  # noqa: PT017  (most are refused, some are read)
    else:
        assert read.points or read.waypoints


def test_a_walk_across_the_date_line_has_its_middle_there() -> None:
    walked = track((0, -16.0, 179.998), (60, -16.0, -179.999), (120, -16.0, -179.996))
    clocks = [NOON + timedelta(seconds=s) for s in (0, 60, 120)]

    place = position_over(walked, clocks)

    assert place is not None
    assert place.longitude_deg == pytest.approx(-179.999)


@pytest.mark.parametrize(
    ("count", "shown"),
    mostly_slow([(3, 3), (3999, 3999), (4000, 2000)], quick=[(3, 3)]),
)
def test_the_map_shows_every_place_of_a_track_or_two_thousand(
    tmp_path: Path, count: int, shown: int
) -> None:
    points = "".join(
        f'<trkpt lat="52.3" lon="{-3.6 + n * 1e-6:.6f}">'
        f"<time>{NOON + timedelta(seconds=n):%Y-%m-%dT%H:%M:%SZ}</time></trkpt>"
        for n in range(count)
    )
    write(
        tmp_path,
        '<gpx version="1.1" creator="a phone" '
        'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        f"{points}</trkseg></trk></gpx>",
    )
    hunt_file = parse_hunt_table(
        {"hunt": {"name": "x", "timezone": "Europe/London"}, "station": [{"id": "1"}]},
        where="hunt.toml",
    )

    (line,) = place_stations(hunt_file, tmp_path, pair_trips([], hunt_file)).tracks

    assert line.name == "walk"
    assert len(line.latitude_deg) == len(line.longitude_deg) == shown
    assert line.longitude_deg[0] == -3.6
