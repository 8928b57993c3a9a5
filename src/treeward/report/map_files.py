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
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit
from xml.sax.saxutils import escape

import numpy as np
from markupsafe import Markup

from treeward.report.advice_wording import CAUTIONS
from treeward.report.figures import mark_colours
from treeward.report.figures.map import ON_PAGES, map_frame, map_place
from treeward.report.page import environment, map_key, read_template, script_rule
from treeward.report.sketch import line_pieces
from treeward.report.sketch import sketch as sketch_of
from treeward.report.wording import headline

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from treeward.report.figures.map import Form
    from treeward.report.model import HuntResult
    from treeward.report.sketch import Area, FlightPath, Ring, Sketch
    from treeward.survey.frame import LocalFrame


# Characters that XML 1.0 cannot carry at all, not even escaped (section 2.2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_AREA_FILL = {95: "33", 90: "4d", 50: "80"}  # opacity by probability, hexadecimal
_SPOT_KINDS = (
    ("station", "Stations", "#56b4e9"),
    ("best_place", "Best place", "#d55e00"),
    ("next_station", "Next station", "#009e73"),
)


def xml_text(text: str) -> str:
    """Leave out the characters that no XML file can hold."""
    return _NOT_XML.sub("", text)


def cautions_text() -> str:
    """Return the cautions in one paragraph, for files that go into the field."""
    return " ".join(f"{title}: {text}" for title, text in CAUTIONS)


def kml_colour(rgb: str, alpha: str = "ff") -> str:
    """Turn "#rrggbb" into KML's aabbggrr."""
    return f"{alpha}{rgb[5:7]}{rgb[3:5]}{rgb[1:3]}".lower()


def _ring(ring: Ring) -> str:
    return " ".join(f"{lon:.7f},{lat:.7f}" for lon, lat in ring)


def _line_colour(path: FlightPath) -> str:
    return mark_colours(path.bee)[0]


def kml_file(result: HuntResult) -> bytes:
    """Return map.kml."""
    return kml_bytes(sketch_of(result))


def kml_bytes(sketch: Sketch) -> bytes:
    """Write a KML document with a folder for each sort of thing on the map."""
    percents = sorted({area.percent for area in sketch.areas}, reverse=True)
    return (
        environment()
        .get_template("map.kml.j2")
        .render(
            sketch=sketch,
            cautions=cautions_text(),
            spot_kinds=_SPOT_KINDS,
            area_fills=[(p, _AREA_FILL.get(p, "4d")) for p in percents],
            line_colours=list(dict.fromkeys(map(_line_colour, sketch.paths))),
            line_colour=_line_colour,
            line_pieces=line_pieces,
            kml_colour=kml_colour,
            ring=_ring,
            xml=lambda text: Markup(escape(xml_text(text))),  # noqa: S704  (escaped)
        )
        .encode()
        + b"\n"
    )


_SYMBOL = {
    "station": "Flag, Blue",
    "best_place": "Flag, Red",
    "next_station": "Flag, Green",
}


_LAST_LONGITUDE_DEG = 179.9999999  # of GPX 1.1, which ends below 180; a centimetre off


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
    """Write stations, best places and next station; the search plan as a route."""
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
        track = gpx.GPXTrack(name=xml_text(walk.name))
        for piece in line_pieces(walk.lonlat):  # a segment never crosses 180 degrees
            points = [
                gpx.GPXTrackPoint(
                    latitude=latitude, longitude=min(longitude, _LAST_LONGITUDE_DEG)
                )
                for longitude, latitude in piece
            ]
            track.segments.append(gpx.GPXTrackSegment(points))
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
    """Say how the world's square map lies on a drawing, in eight numbers.

    Left, top, width and height of the map on the drawing, in its own units; then place
    and size of the world's map across, and down. Within the few kilometres of a hunt
    this straight rule is off by less than a metre.
    """
    extent, (left, top, width, height) = map_place(result, frame, form)
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
    across, down = width / (east - west), height / (south - north)
    numbers = (
        left, top, width, height,
        left - west * across, across, top - north * down, down,
    )  # fmt: skip
    return " ".join(f"{number:.9g}" for number in numbers)


def online_page(result: HuntResult, drawings: Mapping[str, str]) -> str | None:
    """Return online-map.html; None where no station has a position.

    Of the drawings, SVG elements by name, "map" and "map-phone" are shown.
    """
    frame = map_frame(result)
    if frame is None:
        return None
    source = result.hunt_file.map
    script = read_template("map.js") + read_template("report.js")
    script += read_template("tiles.js")
    server = urlsplit(source.tiles)
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
                for name, form in ON_PAGES.items()
            ],
            version=result.software_version,
            **map_key(result),
        )
    )
