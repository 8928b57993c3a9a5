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
def test_collections_within_collections_have_an_end(
    tmp_path: Path, deep: int, *, fits: bool
) -> None:
    table: dict[str, Any] = {"type": "Point", "coordinates": WAY[0]}
    for _ in range(deep):
        table = {"type": "GeometryCollection", "geometries": [table]}
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
