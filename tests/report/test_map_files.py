"""Map files against what is published of them, and read back by other programs."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas  # type: ignore[import-untyped]
import gpxpy
import pytest
from fastkml import KML, Document, Folder, Placemark
from lxml import etree  # type: ignore[import-untyped]

from treeward.report.map_files import (
    geojson_dict,
    gpx_text,
    kml_bytes,
    kml_colour,
)
from treeward.report.sketch import Sketch, sketch

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from treeward.report.model import HuntResult

SCHEMAS = Path(__file__).parents[2] / "fixtures" / "schemas"
HOSTILE = "Marl & <Hollow> \"]]>\" \x07 'ŵ' \U0001f41d"


@pytest.fixture(params=["plain", "two_colonies", "two_days", "empty", "hostile"])
def drawn(
    request: pytest.FixtureRequest, build: Callable[..., HuntResult]
) -> tuple[HuntResult, Sketch]:
    kind = request.param
    whole: HuntResult
    if kind == "plain":
        whole = build()
    elif kind == "hostile":
        whole = build(name=HOSTILE.replace("\x07", ""))
        named = replace(whole.stations[0], name=HOSTILE)
        whole = replace(whole, stations=(named, *whole.stations[1:]))
    else:
        whole = request.getfixturevalue(kind)
    return whole, sketch(whole)


def gpx_of(whole: HuntResult) -> str:
    return gpx_text(
        sketch(whole), created=whole.created, software_version=whole.software_version
    )


def test_gpx_fits_the_published_schema(drawn: tuple[HuntResult, Sketch]) -> None:
    schema = etree.XMLSchema(etree.parse(SCHEMAS / "gpx_1_1.xsd"))

    schema.assertValid(etree.fromstring(gpx_of(drawn[0]).encode()))


def test_kml_fits_the_published_schema(drawn: tuple[HuntResult, Sketch]) -> None:
    path = files("fastkml") / "schema" / "ogckml22.xsd"
    schema = etree.XMLSchema(etree.parse(str(path)))

    schema.assertValid(etree.fromstring(kml_bytes(drawn[1])))


def test_the_schemas_do_refuse(result: HuntResult) -> None:
    schema = etree.XMLSchema(etree.parse(SCHEMAS / "gpx_1_1.xsd"))
    wrong = gpx_of(result).replace('lat="52', 'lat="152', 1)

    assert not schema.validate(etree.fromstring(wrong.encode()))


def test_gpx_is_read_back(result: HuntResult) -> None:
    read = gpxpy.parse(gpx_of(result))

    assert read.creator == "Treeward 0.1.0"
    assert [point.name for point in read.waypoints] == [
        "Station 1",
        "Station 2",
        "Best place, colony",
        "Next station",
    ]
    assert read.waypoints[0].latitude == 52.3012
    assert read.waypoints[0].longitude == -3.6104
    assert len(read.routes[0].points) == 4
    # The same walk as a track, for receivers that follow no routes.
    walked = [(p.latitude, p.longitude) for p in read.tracks[0].segments[0].points]
    assert walked == [(p.latitude, p.longitude) for p in read.routes[0].points]


def placemarks(node: Any) -> Iterator[Placemark]:
    for feature in node.features:
        if isinstance(feature, Folder | Document):
            yield from placemarks(feature)
        elif isinstance(feature, Placemark):
            yield feature


def test_kml_is_read_back_by_fastkml(result: HuntResult) -> None:
    read = KML.parse(io.BytesIO(kml_bytes(sketch(result))))

    marks = {mark.name: mark for mark in placemarks(read)}

    place: Any = marks["Best place, colony"].geometry
    assert (place.x, place.y) == (-3.61708, 52.29735)
    patch: Any = marks["95 % search area, colony"].geometry
    assert patch.geom_type == "MultiPolygon"
    assert len(list(next(iter(patch.geoms)).interiors)) == 1
    assert {"yellow from station 1", "blue-white from station 2"} <= set(marks)


def test_kml_colours_run_backwards() -> None:
    # OGC 07-147r2, 16.7 kml:color: aabbggrr.
    assert kml_colour("#d55e00", "7f") == "7f005ed5"


def positions(coordinates: Any) -> Iterator[tuple[float, ...]]:
    if isinstance(coordinates[0], int | float):
        yield tuple(coordinates)
    else:
        for part in coordinates:
            yield from positions(part)


def test_geojson_keeps_to_rfc_7946(drawn: tuple[HuntResult, Sketch]) -> None:
    collection = geojson_dict(drawn[1])

    text = json.dumps(collection, allow_nan=False)
    assert collection["type"] == "FeatureCollection"
    assert '"crs"' not in text  # section 4
    for feature in collection["features"]:
        assert set(feature) == {"type", "geometry", "properties"}  # section 3.2
        geometry = feature["geometry"]
        for point in positions(geometry["coordinates"]):
            assert len(point) == 2
            assert -180 <= point[0] <= 180  # longitude first, section 3.1.1
            assert -90 <= point[1] <= 90
        if geometry["type"] != "MultiPolygon":
            continue
        for rings in geometry["coordinates"]:
            for number, ring in enumerate(rings):
                assert ring[0] == ring[-1]  # closed, section 3.1.6
                assert len(ring) >= 4
                twice = sum(
                    (a[0] - ring[0][0]) * (b[1] - ring[0][1])
                    - (b[0] - ring[0][0]) * (a[1] - ring[0][1])
                    for a, b in pairwise(ring)
                )
                assert (twice > 0) == (number == 0)  # right-hand rule, 3.1.6


def test_gdal_reads_geojson_kml_and_gpx(result: HuntResult, tmp_path: Path) -> None:
    (tmp_path / "map.geojson").write_text(json.dumps(geojson_dict(sketch(result))))
    (tmp_path / "map.kml").write_bytes(kml_bytes(sketch(result)))
    (tmp_path / "stations.gpx").write_text(gpx_of(result), "utf-8")

    geo = geopandas.read_file(tmp_path / "map.geojson")
    kml = geopandas.read_file(tmp_path / "map.kml", layer="Search areas")
    gpx = geopandas.read_file(tmp_path / "stations.gpx", layer="waypoints")

    assert geo.crs.to_epsg() == 4326
    assert geo.geometry.is_valid.all()
    areas = geo[geo["kind"] == "search_area"].to_crs(geo.estimate_utm_crs())
    stated = areas.set_index("probability_percent")["area_ha"]
    drawn_ha = areas.set_index("probability_percent").geometry.area / 1e4
    # The drawn polygon has 72 corners; UTM is off by 0.1 % of an area at most here.
    assert drawn_ha[90] == pytest.approx(stated[90], rel=0.01)
    assert len(kml) == 3
    assert list(gpx["name"])[:2] == ["Station 1", "Station 2"]


def test_a_place_on_the_180th_meridian_stays_in_gpx_s_range(
    build: Callable[..., HuntResult],
) -> None:
    whole = build()
    edge = whole.stations[0].__class__(
        id="9", latitude_deg=-17.0, longitude_deg=180.0, declination_deg=12.0
    )
    text = gpx_of(build(stations=(edge,), fix=None))

    schema = etree.XMLSchema(etree.parse(SCHEMAS / "gpx_1_1.xsd"))
    schema.assertValid(etree.fromstring(text.encode()))
    assert gpxpy.parse(text).waypoints[0].longitude == -180
