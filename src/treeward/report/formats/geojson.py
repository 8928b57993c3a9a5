"""map.geojson, after RFC 7946: longitude first, right-handed rings, no crs."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from treeward.report.sketch import sketch as sketch_of

from .rings import line_pieces

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.report.model import HuntResult
    from treeward.report.sketch import Area, Sketch


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
            _line([path.start_lonlat, path.end_lonlat]),
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
            _line(walk.lonlat),
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


def _line(lonlat: Sequence[tuple[float, float]]) -> dict[str, Any]:
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
