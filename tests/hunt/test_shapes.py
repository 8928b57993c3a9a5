"""Ground, trees and paths out of GeoJSON (RFC 7946) and GPX."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from treeward.errors import HuntError
from treeward.hunt.places import Shapes, read_shapes

if TYPE_CHECKING:
    from pathlib import Path

CORNERS = [[-3.62, 52.30], [-3.61, 52.30], [-3.61, 52.31], [-3.62, 52.31]]
SQUARE = [*CORNERS, CORNERS[0]]
HOLE = [[-3.617, 52.303], [-3.613, 52.303], [-3.615, 52.307], [-3.617, 52.303]]
WAY = [[-3.6, 52.3], [-3.59, 52.31, 212.0], [-3.58, 52.3]]  # one with a height


def read(path: Path, table: object) -> Shapes:
    path.write_text(json.dumps(table), "utf-8")
    return read_shapes(path)


def of(kind: str, coordinates: object, /, **properties: object) -> dict[str, Any]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def test_every_geometry_is_read_as_what_it_is(tmp_path: Path) -> None:
    found = read(
        tmp_path / "land.geojson",
        {
            "type": "FeatureCollection",
            "features": [
                of("Point", WAY[0], kind=" Old Oak "),
                of("MultiPoint", WAY[:2]),
                of("LineString", WAY, kind="path"),
                of("MultiLineString", [WAY, WAY[:2]]),
                of("Polygon", [SQUARE, HOLE], kind="wood", weight=3),
                of("MultiPolygon", [[SQUARE], [HOLE]], weight=0.0),
                {"type": "Feature", "properties": None, "geometry": None},
                {
                    "type": "Feature",
                    "properties": {"kind": "heath"},
                    "geometry": {
                        "type": "GeometryCollection",
                        "geometries": [
                            {"type": "Point", "coordinates": WAY[2]},
                            {"type": "Polygon", "coordinates": [SQUARE]},
                        ],
                    },
                },
            ],
        },
    )

    assert [shape.points.tolist() for shape in found.places] == [
        [WAY[0]], [WAY[0]], [WAY[1][:2]], [WAY[2]]
    ]  # fmt: skip
    flat = [place[:2] for place in WAY]
    assert [shape.points.tolist() for shape in found.lines] == [flat, flat, flat[:2]]
    assert [shape.points.tolist() for shape in found.outlines] == [
        SQUARE, SQUARE, HOLE, SQUARE
    ]  # fmt: skip
    assert [len(shape.holes) for shape in found.outlines] == [1, 0, 0, 0]
    assert found.outlines[0].holes[0].tolist() == HOLE
    assert [shape.weight for shape in found.outlines] == [3.0, 0.0, 0.0, None]
    kinds = [shape.kinds for shape in (*found.places, *found.lines, *found.outlines)]
    assert [one[0] if one else "" for one in kinds] == [
        "old oak", "", "", "heath", "path", "", "", "wood", "", "", "heath"
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ([1], "holds no GeoJSON object"),
        ({"type": "FeatureCollection", "features": {}}, "its features are no list"),
        ({"type": "GeometryCollection"}, "its geometries are no list"),
        ({"type": "FeatureCollection", "features": [7]}, "a feature that is none"),
        (of("Circle", [0, 0]), "a geometry of type 'Circle'"),
        (of("Point", [361.0, 52.0]), "no longitude and latitude"),
        (of("Point", [2.0, 91.0]), "no longitude and latitude"),
        (of("LineString", "here"), "coordinates that are no list"),
        (of("LineString", [[1.0]]), "a position that is not two numbers"),
        (of("LineString", [["a", "b"]]), "a position that is not two numbers"),
        (of("Polygon", [SQUARE[:2]]), "fewer than three corners"),
        (of("Point", [1.0, 2.0], weight=-1), "holds the weight -1"),
        (of("Point", [1.0, 2.0], weight=True), "holds the weight True"),
        (of("Point", [1.0, 2.0], weight="3"), "holds the weight '3'"),
    ],
)
def test_what_is_none_of_it_is_refused_with_its_fault(
    tmp_path: Path, table: object, said: str
) -> None:
    with pytest.raises(HuntError, match=said) as told:
        read(tmp_path / "land.geojson", table)
    assert "land.geojson" in told.value.line()
    assert "\n" not in told.value.line()


def test_a_place_at_the_edge_of_the_globe_is_one(tmp_path: Path) -> None:
    for lon, lat in ((180.0, 0.0), (-180.0, -90.0), (0.0, 90.0)):
        found = read(tmp_path / "land.geojson", of("Point", [lon, lat]))
        assert found.places[0].points.tolist() == [[lon, lat]]


def test_a_shape_may_run_on_beyond_180_degrees(tmp_path: Path) -> None:
    for far, near in ((180.25, -179.75), (-180.25, 179.75), (360.0, 0.0)):
        way = of("LineString", [[179.5, -16.8], [far, -16.8]])
        found = read(tmp_path / "land.geojson", way)
        assert found.lines[0].points.tolist() == [[179.5, -16.8], [near, -16.8]]


def test_as_many_points_as_are_allowed_and_not_one_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("treeward.hunt.places._MOST_POINTS", 8)
    both = {"type": "FeatureCollection", "features": [of("LineString", WAY)] * 2}
    assert len(read(tmp_path / "land.geojson", both).lines) == 2
    both["features"] = [of("LineString", WAY)] * 3
    with pytest.raises(HuntError, match="holds more than 8 points"):
        read(tmp_path / "land.geojson", both)


@pytest.mark.parametrize(("deep", "fits"), [(40, True), (41, False)])
@pytest.mark.parametrize(
    ("kind", "key"), [("GeometryCollection", "geometries"), ("Feature", "geometry")]
)
def test_collections_within_collections_have_an_end(
    tmp_path: Path, kind: str, key: str, deep: int, *, fits: bool
) -> None:
    table: dict[str, Any] = {"type": "Point", "coordinates": WAY[0]}
    for _ in range(deep):
        table = {"type": kind, key: [table] if key == "geometries" else table}
    if fits:
        assert len(read(tmp_path / "land.geojson", table).places) == 1
    else:
        with pytest.raises(HuntError, match="a feature that is none"):
            read(tmp_path / "land.geojson", table)


def gpx(*parts: str) -> str:
    inner = "".join(parts)
    return (
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        f"{inner}</gpx>"
    )


def points(tag: str, places: list[tuple[float, float]]) -> str:
    return "".join(f'<{tag} lat="{lat}" lon="{lon}"/>' for lon, lat in places)


def test_a_gpx_way_that_comes_back_is_an_outline(tmp_path: Path) -> None:
    corners = [(-3.62, 52.30), (-3.61, 52.30), (-3.61, 52.31), (-3.62, 52.31)]
    near = (-3.62, 52.30005)  # 5.6 m north of where it began
    path = tmp_path / "land.gpx"
    path.write_text(
        gpx(
            '<wpt lat="52.3" lon="-3.6"><name> Big  Ash </name><sym>tree</sym></wpt>',
            f"<rte><name>Wood</name>{points('rtept', [*corners, near])}</rte>",
            f"<trk><type>path</type><trkseg>{points('trkpt', corners)}</trkseg>"
            f"<trkseg>{points('trkpt', corners[:1])}</trkseg></trk>",
        ),
        "utf-8",
    )

    found = read_shapes(path)

    assert [shape.kinds for shape in found.places] == [("big ash", "tree")]
    assert found.places[0].points.tolist() == [[-3.6, 52.3]]
    assert [shape.kinds for shape in found.lines] == [("path",)]
    assert found.lines[0].points == pytest.approx(np.array(corners))
    (wood,) = found.outlines
    assert wood.kinds == ("wood",)
    assert wood.points == pytest.approx(np.array([*corners, near]))


LAND = "land.geojson"


@pytest.mark.parametrize(
    ("weight", "good"),
    [(0, True), (1_000_000, True), (1_000_000.5, False), (float("nan"), False)],
)
def test_a_weight_is_a_number_up_to_a_million(
    tmp_path: Path, weight: float, *, good: bool
) -> None:
    point = of("Point", [1.0, 2.0], weight=weight)
    if good:
        assert read(tmp_path / LAND, point).places[0].weight == weight
    else:
        with pytest.raises(HuntError, match="holds the weight") as told:
            read(tmp_path / LAND, point)
        assert "from 0 to 1,000,000" in told.value.mend


@pytest.mark.parametrize(
    ("lon", "lat", "good"),
    [
        (360.0, 90.0, True),
        (-360.0, -90.0, True),
        (360.001, 0.0, False),
        (-360.001, 0.0, False),
        (0.0, 90.001, False),
        (0.0, -90.001, False),
        (float("inf"), 0.0, False),
        (0.0, float("nan"), False),
    ],
)
def test_a_place_is_on_the_globe(
    tmp_path: Path, lon: float, lat: float, *, good: bool
) -> None:
    way = of("LineString", [WAY[0], [lon, lat]])
    if good:
        line = read(tmp_path / LAND, way).lines[0]
        assert line.points.tolist() == [WAY[0], [0.0, lat]]
    else:
        with pytest.raises(HuntError, match="no longitude and latitude"):
            read(tmp_path / LAND, way)


def test_metres_are_shown_where_nobody_says_what_they_are(tmp_path: Path) -> None:
    metres = of("Point", [458_600.4, 5_794_311.6])
    with pytest.raises(HuntError, match=r"\(458600, 5794312\), and not in which"):
        read(tmp_path / LAND, metres)
    for table in (
        metres | {"crs": named("urn:ogc:def:crs:OGC:1.3:CRS84")},  # that is said
        of("Point", [float("inf"), 0.0]),
    ):
        with pytest.raises(HuntError, match="no longitude and latitude") as told:
            read(tmp_path / LAND, table)
        assert "in which" not in str(told.value)


def named(name: object) -> dict[str, Any]:
    return {"type": "name", "properties": {"name": name}}


@pytest.mark.parametrize(
    ("crs", "place", "right"),
    [
        (None, [-3.6, 52.3], [-3.6, 52.3]),
        (named("EPSG:4326"), [-3.6, 52.3], [-3.6, 52.3]),
        # On the central meridian of zone 30, and of a hemisphere's own false easting.
        (named("EPSG:32630"), [500_000.0, 0.0], [-3.0, 0.0]),
        (named("urn:ogc:def:crs:EPSG::32731"), [500_000.0, 10_000_000.0], [3.0, 0.0]),
        # Web Mercator: a quarter of the globe's way round is 90 degrees.
        (named("EPSG:3857"), [6_378_137 * np.pi / 2, 0.0], [90.0, 0.0]),
    ],
)
def test_a_coordinate_system_that_is_named_is_followed(
    tmp_path: Path, crs: object, place: list[float], right: list[float]
) -> None:
    found = read(tmp_path / LAND, of("Point", place) | {"crs": crs})
    assert found.places[0].points[0] == pytest.approx(right, abs=1e-9)


@pytest.mark.parametrize(
    ("crs", "called"),
    [
        (named("EPSG:999999"), "EPSG:999999"),
        (named(""), "name"),
        ({"type": "name"}, "{'type': 'name'}"),
        ({"properties": ["EPSG:4326"]}, "properties"),
        ("EPSG:4326", "EPSG:4326"),
        ({}, "{}"),
    ],
)
def test_a_coordinate_system_that_nobody_knows_is_refused(
    tmp_path: Path, crs: object, called: str
) -> None:
    with pytest.raises(HuntError, match="coordinate system that is not known") as told:
        read(tmp_path / LAND, of("Point", WAY[0]) | {"crs": crs})
    assert called in str(told.value)
    assert told.value.where == str(tmp_path / LAND)


def test_three_corners_are_an_outline_and_none_are_nothing(tmp_path: Path) -> None:
    found = read(tmp_path / LAND, of("MultiPolygon", [[CORNERS[:3]], []]))
    assert [len(shape.points) for shape in found.outlines] == [3]
    assert read(tmp_path / LAND, of("MultiPoint", [])).places == []


def test_points_of_all_rings_and_shapes_count(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("treeward.hunt.places._MOST_POINTS", 9)
    wood = of("Polygon", [SQUARE, HOLE])  # five corners and four
    assert len(read(tmp_path / LAND, wood).outlines) == 1
    both = {"type": "FeatureCollection", "features": [wood, of("Point", WAY[0])]}
    with pytest.raises(HuntError, match="more than 9 points"):
        read(tmp_path / LAND, both)


def test_a_thing_is_called_by_every_word_that_map_programs_give_it(
    tmp_path: Path,
) -> None:
    point = of(
        "Point", WAY[0], highway="Track", building=7, landuse="Forest", name="Old Wood",
        kind="wood", natural=" Scrub ", colour="red", type="x", landcover="trees",
        water="pond", waterway="stream",
    )  # fmt: skip
    (place,) = read(tmp_path / LAND, point).places
    assert place.kinds == (
        "wood", "x", "old wood", "scrub", "forest", "trees", "pond", "stream", "track",
    )  # fmt: skip


def test_a_feature_within_a_collection_has_its_own_words(tmp_path: Path) -> None:
    features = [
        of("Point", WAY[0], kind="oak"),
        {"type": "Point", "coordinates": WAY[0]},
        {"type": "Feature", "properties": ["oak"], "geometry": of("Point", WAY[0])},
    ]
    del features[2]["geometry"]["properties"]
    table = {"type": "FeatureCollection", "features": features}
    assert [p.kinds for p in read(tmp_path / LAND, table).places] == [("oak",), (), ()]


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"\xef\xbb\xbf" + json.dumps(of("Point", WAY[0])).encode(), ""),
        (json.dumps(of("Point", WAY[0])).encode("utf-16"), "no GeoJSON that can be"),
        (b"{", "no GeoJSON that can be read"),
        (b"[" * 100_000, "no GeoJSON that can be read"),
        (b'"Point"', "holds no GeoJSON object"),
    ],
)
def test_a_file_that_is_no_json_is_refused_in_a_line(
    tmp_path: Path, raw: bytes, said: str
) -> None:
    path = tmp_path / LAND
    path.write_bytes(raw)
    if not said:
        assert len(read_shapes(path).places) == 1
        return
    with pytest.raises(HuntError, match=said) as told:
        read_shapes(path)
    assert told.value.where == str(path)
    assert "GeoJSON" in told.value.mend


@pytest.mark.parametrize(
    ("size", "said"), [(2**24, "can be read"), (2**24 + 1, "MB large")]
)
def test_a_file_of_sixteen_mebibytes_is_looked_into_and_no_larger_one(
    tmp_path: Path, size: int, said: str
) -> None:
    path = tmp_path / LAND
    with path.open("wb") as file:
        file.truncate(size)  # zeros, which are no GeoJSON
    with pytest.raises(HuntError, match=said) as told:
        read_shapes(path)
    assert ("the country about the hunt" in told.value.mend) is (size > 2**24)


# A degree of latitude here is 111 260 m.
@pytest.mark.parametrize(
    ("corners", "closed_m", "is_outline"),
    [
        (3, 29.5, True),
        (3, 30.5, False),
        (2, 0.0, False),  # there and back on one way
        (1, 500.0, False),
    ],
)
def test_a_way_is_an_outline_if_it_ends_where_it_began(
    tmp_path: Path, corners: int, closed_m: float, *, is_outline: bool
) -> None:
    way = [(-3.62, 52.30), (-3.61, 52.30), (-3.61, 52.31)][:corners]
    way.append((-3.62, 52.30 + closed_m / 111_260))
    path = tmp_path / "land.gpx"
    path.write_text(gpx(f"<rte>{points('rtept', way)}</rte>"), "utf-8")
    found = read_shapes(path)
    assert (len(found.outlines), len(found.lines)) == (is_outline, not is_outline)


def test_words_of_a_gpx_file_are_its_type_its_name_and_its_sign(tmp_path: Path) -> None:
    path = tmp_path / "land.GPX"
    way = points("rtept", [(-3.62, 52.3), (-3.61, 52.3)])
    one = points("trkpt", [(-3.62, 52.3)])
    path.write_text(
        gpx(
            '<wpt lat="52.3" lon="-3.6"><name>Ash</name><sym>Tree</sym>'
            "<type>Mark</type></wpt>",
            f"<rte><name>Lane</name><type>Path</type>{way}</rte>",
            f"<rte>{points('rtept', [(-3.62, 52.3)])}</rte>",
            f"<trk><name>a</name><trkseg>{one}</trkseg></trk>",
        ),
        "utf-8",
    )
    found = read_shapes(path)
    assert [shape.kinds for shape in found.places] == [("mark", "ash", "tree")]
    assert [shape.kinds for shape in found.lines] == [("path", "lane")]
    assert found.outlines == []
