"""map.geojson, after RFC 7946: longitude first, right-handed rings, no crs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .sketch import Sketch


def geojson_dict(sketch: Sketch) -> dict[str, Any]:
    """Return a FeatureCollection; properties carry units in their names."""
    features = [
        _feature(
            {
                "type": "MultiPolygon",
                "coordinates": [list(patch) for patch in area.patches],
            },
            kind="search_area",
            name=area.name,
            note=area.note,
            colony=area.colony,
            probability_percent=area.percent,
            area_ha=round(area.area_m2 / 1e4, 4),
        )
        for area in sketch.areas
    ]
    features += [
        _feature(
            {
                "type": "MultiPolygon",
                "coordinates": [list(patch) for patch in area.patches],
            },
            kind="search_area_of_day",
            name=area.name,
            note=area.note,
            colony=area.colony,
            day=area.day,
            probability_percent=area.percent,
            area_ha=round(area.area_m2 / 1e4, 4),
        )
        for area in sketch.day_areas
    ]
    features += [
        _feature(
            {
                "type": "LineString",
                "coordinates": [list(path.start_lonlat), list(path.end_lonlat)],
            },
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
            {
                "type": "LineString",
                "coordinates": [list(point) for point in walk.lonlat],
            },
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


def _feature(
    geometry: dict[str, Any], **properties: str | float | int | None
) -> dict[str, Any]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}
