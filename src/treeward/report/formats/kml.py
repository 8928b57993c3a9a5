"""map.kml, after OGC KML 2.2 (OGC 07-147r2)."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING

from treeward.cautions import CAUTIONS
from treeward.report.figures.paint import paint_hex, split_mark
from treeward.report.sketch import sketch as sketch_of

from .rings import line_pieces

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.report.model import HuntResult
    from treeward.report.sketch import Area, FlightPath, Sketch, Spot

    from .rings import Ring

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
