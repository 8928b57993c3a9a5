"""stations.gpx, GPX 1.1: waypoints for a phone or a receiver, the walk as a route."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.report.sketch import sketch as sketch_of

from .kml import cautions_text, xml_text

if TYPE_CHECKING:
    from datetime import datetime

    from treeward.report.model import HuntResult
    from treeward.report.sketch import Sketch

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
