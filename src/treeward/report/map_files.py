"""Map files: what `report.sketch` says, in the ways that other programs read.

map.kml is KML 2.2 (OGC 07-147r2). stations.gpx is GPX 1.1: waypoints for a phone or a
receiver, the walk as a route. map.geojson is of RFC 7946: longitude first, right-handed
rings, no crs.

online-map.html is the map over pictures from a map server, for those who ask for it. Of
all that Treeward writes only this page asks the network for anything, and only
`treeward locate --online-map` writes it. It loads the pictures in sight and no more,
and says whose they are, as OpenStreetMap's tile usage policy wants it
(operations.osmfoundation.org/policies/tiles).
"""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import numpy as np
from markupsafe import Markup

from treeward.report.advice_wording import CAUTIONS
from treeward.report.figures.map import map_frame, map_place
from treeward.report.figures.style import paint_hex, split_mark
from treeward.report.page import environment, map_key, read_template, script_rule
from treeward.report.sketch import line_pieces
from treeward.report.sketch import sketch as sketch_of
from treeward.report.wording import headline

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from treeward.report.figures.map import Form
    from treeward.report.model import HuntResult
    from treeward.report.sketch import Area, FlightPath, Ring, Sketch, Spot
    from treeward.survey.frame import LocalFrame


_NAMESPACE = "http://www.opengis.net/kml/2.2"
# Characters that XML 1.0 cannot carry at all, not even escaped (section 2.2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_AREA_FILL = {95: "33", 90: "4d", 50: "80"}  # opacity by probability, hexadecimal
_AREA_RGB = "#0072b2"
_SPOT_RGB = {"station": "#56b4e9", "best_place": "#d55e00", "next_station": "#009e73"}


def xml_text(text: str) -> str:
    """Leave out the characters that no XML file can hold."""
    return _NOT_XML.sub("", text)


def cautions_text() -> str:
    """Return the cautions in one paragraph, for files that go into the field."""
    return " ".join(f"{title}: {text}" for title, text in CAUTIONS)


def kml_colour(rgb: str, alpha: str = "ff") -> str:
    """Turn "#rrggbb" into KML's aabbggrr."""
    return f"{alpha}{rgb[5:7]}{rgb[3:5]}{rgb[1:3]}".lower()


def _add(parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
    child = ET.SubElement(parent, tag)
    if text is not None:
        child.text = xml_text(text)
    return child


def _ring(ring: Ring) -> str:
    return " ".join(f"{lon:.7f},{lat:.7f}" for lon, lat in ring)


def _styles(document: ET.Element, sketch: Sketch) -> None:
    for kind, rgb in _SPOT_RGB.items():
        style = ET.SubElement(document, "Style", id=kind)
        icon = _add(style, "IconStyle")
        _add(icon, "color", kml_colour(rgb))
        _add(icon, "scale", "1.2")
    for percent in sorted({area.percent for area in sketch.areas}, reverse=True):
        style = ET.SubElement(document, "Style", id=f"area{percent}")
        line = _add(style, "LineStyle")
        _add(line, "color", kml_colour(_AREA_RGB))
        _add(line, "width", "1.5")
        fill = _add(style, "PolyStyle")
        _add(fill, "color", kml_colour(_AREA_RGB, _AREA_FILL.get(percent, "4d")))
    for number, rgb in enumerate(_line_colours(sketch)):
        style = ET.SubElement(document, "Style", id=f"line{number}")
        line = _add(style, "LineStyle")
        _add(line, "color", kml_colour(rgb))
        _add(line, "width", "3")
    if sketch.day_areas:
        style = ET.SubElement(document, "Style", id="day")
        line = _add(style, "LineStyle")
        _add(line, "color", kml_colour("#1b2026"))
        _add(line, "width", "1.5")
        fill = _add(style, "PolyStyle")
        _add(fill, "fill", "0")
    style = ET.SubElement(document, "Style", id="walk")
    line = _add(style, "LineStyle")
    _add(line, "color", kml_colour("#009e73"))
    _add(line, "width", "2")


def _line_colours(sketch: Sketch) -> list[str]:
    colours = (paint_hex(split_mark(path.bee)[0]) for path in sketch.paths)
    return list(dict.fromkeys(colours))


def _placemark(
    folder: ET.Element, name: str, note: str, style: str, *, hidden: bool = False
) -> ET.Element:
    mark = _add(folder, "Placemark")
    _add(mark, "name", name)
    if hidden:  # to be switched on in the list of places
        _add(mark, "visibility", "0")
    if note:
        _add(mark, "description", note)
    _add(mark, "styleUrl", f"#{style}")
    return mark


def _folder(document: ET.Element, name: str) -> ET.Element:
    folder = _add(document, "Folder")
    _add(folder, "name", name)
    return folder


def _spot(folder: ET.Element, spot: Spot) -> None:
    mark = _placemark(folder, spot.name, spot.note, spot.kind)
    point = _add(mark, "Point")
    _add(point, "coordinates", f"{spot.longitude_deg:.7f},{spot.latitude_deg:.7f}")


def _path(folder: ET.Element, path: FlightPath, colours: list[str]) -> None:
    number = colours.index(paint_hex(split_mark(path.bee)[0]))
    mark = _placemark(folder, path.name, path.note, f"line{number}")
    _line(mark, [path.start_lonlat, path.end_lonlat])


def _line(mark: ET.Element, lonlat: Sequence[tuple[float, float]]) -> None:
    """Write a line, in two parts where it crosses 180 degrees."""
    pieces = line_pieces(lonlat)
    parent = mark if len(pieces) == 1 else _add(mark, "MultiGeometry")
    for piece in pieces:
        line = _add(parent, "LineString")
        _add(line, "tessellate", "1")
        _add(line, "coordinates", _ring(piece))


def _area(
    folder: ET.Element, area: Area, *, style: str = "", hidden: bool = False
) -> None:
    style = style or f"area{area.percent}"
    mark = _placemark(folder, area.name, area.note, style, hidden=hidden)
    several = _add(mark, "MultiGeometry")
    for outer, *holes in area.patches:
        polygon = _add(several, "Polygon")
        _add(polygon, "tessellate", "1")
        boundary = _add(_add(polygon, "outerBoundaryIs"), "LinearRing")
        _add(boundary, "coordinates", _ring(outer))
        for hole in holes:
            boundary = _add(_add(polygon, "innerBoundaryIs"), "LinearRing")
            _add(boundary, "coordinates", _ring(hole))


def kml_file(result: HuntResult) -> bytes:
    """Return map.kml."""
    return kml_bytes(sketch_of(result))


def kml_bytes(sketch: Sketch) -> bytes:
    """Write a KML document with a folder for each sort of thing on the map."""
    root = ET.Element("kml", xmlns=_NAMESPACE)
    document = _add(root, "Document")
    _add(document, "name", sketch.title)
    _add(document, "description", cautions_text())
    _styles(document, sketch)
    if sketch.areas:
        folder = _folder(document, "Search areas")
        for area in sketch.areas:
            _area(folder, area)
    if sketch.day_areas:
        folder = _folder(document, "Single days")
        for area in sketch.day_areas:
            _area(folder, area, style="day", hidden=True)
    if sketch.paths:
        folder, colours = _folder(document, "Flight lines"), _line_colours(sketch)
        for path in sketch.paths:
            _path(folder, path, colours)
    if sketch.walks:
        folder = _folder(document, "Search plan")
        for walk in sketch.walks:
            mark = _placemark(folder, walk.name, "", "walk")
            _line(mark, walk.lonlat)
    for kind, title in (
        ("station", "Stations"),
        ("best_place", "Best place"),
        ("next_station", "Next station"),
    ):
        spots = [spot for spot in sketch.spots if spot.kind == kind]
        if spots:
            folder = _folder(document, title)
            for spot in spots:
                _spot(folder, spot)
    ET.indent(root)
    return bytes(ET.tostring(root, encoding="UTF-8", xml_declaration=True)) + b"\n"


_SYMBOL = {
    "station": "Flag, Blue",
    "best_place": "Flag, Red",
    "next_station": "Flag, Green",
}


def _longitude(value_deg: float) -> float:
    """GPX 1.1 ends below 180 degrees: the same meridian is -180."""
    return round(value_deg - 360 if value_deg >= 180 else value_deg, 7)


def gpx_file(result: HuntResult) -> str:
    """Return stations.gpx."""
    return gpx_text(
        sketch_of(result),
        created=result.created,
        software_version=result.software_version,
    )


def gpx_text(sketch: Sketch, *, created: datetime, software_version: str) -> str:
    """Write stations, best places and next station; the search plan as a route.

    Parameters
    ----------
    created
        When the result was made, aware.
    software_version
        Goes into the file's creator.
    """
    from gpxpy import gpx

    document = gpx.GPX()
    document.creator = f"Treeward {software_version}"
    document.name = xml_text(sketch.title)
    document.description = cautions_text()
    document.time = created
    for spot in sketch.spots:
        document.waypoints.append(
            gpx.GPXWaypoint(
                latitude=round(spot.latitude_deg, 7),
                longitude=_longitude(spot.longitude_deg),
                name=xml_text(spot.name),
                description=xml_text(spot.note) or None,
                symbol=_SYMBOL[spot.kind],
                type=spot.kind.replace("_", " "),
            )
        )
    for walk in sketch.walks:
        route = gpx.GPXRoute(name=xml_text(walk.name))
        for number, (longitude, latitude) in enumerate(walk.lonlat, start=1):
            route.points.append(
                gpx.GPXRoutePoint(
                    latitude=latitude, longitude=_longitude(longitude), name=f"{number}"
                )
            )
        document.routes.append(route)
        # Some receivers follow a track better than a route.
        line = gpx.GPXTrackSegment(
            [
                gpx.GPXTrackPoint(latitude=latitude, longitude=_longitude(longitude))
                for longitude, latitude in walk.lonlat
            ]
        )
        track = gpx.GPXTrack(name=xml_text(walk.name))
        track.segments.append(line)
        document.tracks.append(track)
    return str(document.to_xml(version="1.1"))


def geojson_text(result: HuntResult) -> str:
    """Return map.geojson."""
    plain = geojson_dict(sketch_of(result))
    return json.dumps(plain, indent=1, allow_nan=False) + "\n"


def geojson_dict(sketch: Sketch) -> dict[str, Any]:
    """Return a FeatureCollection; properties carry units in their names."""
    features = [_search_area(area, kind="search_area") for area in sketch.areas]
    features += [
        _search_area(area, kind="search_area_of_day", day=area.day)
        for area in sketch.day_areas
    ]
    features += [
        _feature(
            _line_feature([path.start_lonlat, path.end_lonlat]),
            kind="flight_line",
            name=path.name,
            note=path.note,
            mark=path.bee,
            station=path.station,
            bearing_true_deg=path.bearing_true_deg,
            spread_deg=path.spread_deg,
            bearings_used=path.bearings,
        )
        for path in sketch.paths
    ]
    features += [
        _feature(
            _line_feature(walk.lonlat),
            kind="search_plan",
            name=walk.name,
            note="Strips in the order that finds the colony soonest",
            colony=walk.colony,
        )
        for walk in sketch.walks
    ]
    features += [
        _feature(
            {
                "type": "Point",
                "coordinates": [
                    round(spot.longitude_deg, 7),
                    round(spot.latitude_deg, 7),
                ],
            },
            kind=spot.kind,
            name=spot.name,
            note=spot.note,
            **spot.properties,
        )
        for spot in sketch.spots
    ]
    return {"type": "FeatureCollection", "features": features}


def _line_feature(lonlat: Sequence[tuple[float, float]]) -> dict[str, Any]:
    """Return a line, cut where it crosses 180 degrees (RFC 7946, section 3.1.9)."""
    pieces = line_pieces(lonlat)
    if len(pieces) == 1:
        return {"type": "LineString", "coordinates": pieces[0]}
    return {"type": "MultiLineString", "coordinates": pieces}


def _search_area(area: Area, *, kind: str, **of_day: str) -> dict[str, Any]:
    patches = [list(patch) for patch in area.patches]
    return _feature(
        {"type": "MultiPolygon", "coordinates": patches},
        kind=kind,
        name=area.name,
        note=area.note,
        colony=area.colony,
        **of_day,
        probability_percent=area.percent,
        area_ha=round(area.area_m2 / 1e4, 4),
    )


def _feature(
    geometry: dict[str, Any], **properties: str | float | int | None
) -> dict[str, Any]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


DEEPEST = 19  # zoom of the finest pictures that OpenStreetMap's own server has


def mercator(latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    """Return where a place lies on the square map of the world, 0 to 1 both ways.

    From the west at 180 degrees and from the north at 85.05 degrees, on a sphere: the
    projection that map tiles are cut from (EPSG:3857).

    Examples
    --------
    >>> mercator(0.0, 0.0)
    (0.5, 0.5)
    """
    turn = np.arctanh(np.sin(np.radians(latitude_deg))) / (2 * np.pi)
    return longitude_deg / 360 + 0.5, float(0.5 - turn)


def lie_of(result: HuntResult, frame: LocalFrame, form: Form) -> str:
    """Say how the world's square map lies on a drawing.

    Returns
    -------
    str
        Eight numbers: left, top, width and height of the map on the drawing, in its
        own units; then place and size of the world's map across, and down. Within the
        few kilometres of a hunt this straight rule is off by less than a metre.
    """
    place = map_place(result, frame, form)
    extent = place.extent
    corners = frame.to_lonlat(
        np.array(
            [[extent.west_m, extent.south_m], [extent.east_m, extent.south_m],
             [extent.west_m, extent.north_m], [extent.east_m, extent.north_m]]
        )
    )  # fmt: skip
    first = corners[0, 0]
    turned = (corners[:, 0] - first + 180) % 360 - 180 + first
    square = np.array(
        [mercator(lat, lon) for lon, lat in zip(turned, corners[:, 1], strict=True)]
    )
    west, east = square[[0, 2], 0].mean(), square[[1, 3], 0].mean()
    north, south = square[[2, 3], 1].mean(), square[[0, 1], 1].mean()
    across, down = place.width / (east - west), place.height / (south - north)
    numbers = (
        place.left, place.top, place.width, place.height,
        place.left - west * across, across, place.top - north * down, down,
    )  # fmt: skip
    return " ".join(f"{number:.9g}" for number in numbers)


def online_page(result: HuntResult, drawings: Mapping[str, str]) -> str | None:
    """Return online-map.html; None where no station has a position.

    Parameters
    ----------
    drawings
        SVG elements by name, of which "map" and "map-phone" are shown.
    """
    frame = map_frame(result)
    if frame is None:
        return None
    source = result.hunt_file.map
    script = read_template("map.js") + read_template("report.js")
    script += read_template("tiles.js")
    server = urlsplit(source.tiles)
    forms: tuple[tuple[Form, str], ...] = (("page", "map"), ("phone", "map-phone"))
    return (
        environment()
        .get_template("online_map.html.j2")
        .render(
            name=result.hunt_file.hunt.name,
            headline=headline(result),
            style=Markup(read_template("report.css")),  # noqa: S704  (our own file)
            script=Markup(script),  # noqa: S704  (our own file)
            script_rule=script_rule(script),
            origin=f"{server.scheme}://{server.netloc}",
            server=server.netloc,
            tiles=source.tiles,
            deepest=DEEPEST,
            credit=source.credit,
            of_openstreetmap="openstreetmap" in source.credit.lower(),
            maps=[
                {
                    "form": form,
                    "lie": lie_of(result, frame, form),
                    "svg": Markup(drawings[name]),  # noqa: S704  (drawn by matplotlib)
                }
                for form, name in forms
            ],
            version=result.software_version,
            **map_key(result),
        )
    )
