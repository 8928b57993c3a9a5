"""What every map shows, said once: places, flight lines, areas, the search plan.

map.geojson, map.kml and stations.gpx are three ways of writing this down.

Its rings are closed, right-handed, and on one side of 180 degrees.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np

from treeward.report.advice_wording import LOOK_FIRST
from treeward.report.wording import day_text
from treeward.survey.frame import apart_m

from .advice_wording import seat_text
from .flight_lines import belongs_to, both_text, bundles_by_bee, to_compass_deg
from .result_json import number
from .wording import for_colony, seats, walk_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from treeward.survey.frame import Placed
    from treeward.survey.records import Colony, Polygon, SearchArea, Strip

    from .flight_lines import LineBundle
    from .model import HuntResult


Ring = list[list[float]]  # [[longitude, latitude], ...] degrees, closed


def signed_area(ring: Ring) -> float:
    """Return the area in square degrees, positive for an anticlockwise ring."""
    points = np.asarray(ring, dtype=float)
    x, y = points[:, 0] - points[0, 0], points[:, 1] - points[0, 1]
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2


def _unwrapped(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """Make longitudes run on beyond 180 where the ring crosses it."""
    points = np.array(ring, dtype=float)
    points[:, 0] = np.rad2deg(np.unwrap(np.deg2rad(points[:, 0])))
    return points


def _half(
    points: NDArray[np.float64], at_deg: float, *, west: bool
) -> list[list[float]]:
    """Keep what lies west (or east) of a meridian; Sutherland and Hodgman 1974."""
    kept: list[list[float]] = []
    side = (points[:, 0] - at_deg) * (-1 if west else 1)
    for i in range(len(points) - 1):
        (x0, y0), (x1, y1) = points[i], points[i + 1]
        if side[i] >= 0:
            kept.append([float(x0), float(y0)])
        if side[i] * side[i + 1] < 0:
            share = (at_deg - x0) / (x1 - x0)
            kept.append([at_deg, float(y0 + share * (y1 - y0))])
    return kept


def _finish(points: list[list[float]], *, anticlockwise: bool) -> Ring | None:
    ring = [[round(lon, 7), round(lat, 7)] for lon, lat in points]
    ring = [p for i, p in enumerate(ring) if i == 0 or p != ring[i - 1]]
    if ring and ring[0] != ring[-1]:
        ring.append(list(ring[0]))
    if len(ring) < 4:
        return None
    return ring if (signed_area(ring) > 0) == anticlockwise else ring[::-1]


def _pieces(ring: NDArray[np.float64], *, anticlockwise: bool) -> list[Ring]:
    points = _unwrapped(ring)
    if len(points) == 0:
        return []
    if not np.array_equal(points[0], points[-1]):
        points = np.vstack([points, points[:1]])
    low, high = points[:, 0].min(), points[:, 0].max()
    parts = [points.tolist()]
    cut = 180.0 if high > 180 else -180.0
    if low < cut < high:
        parts = [_half(points, cut, west=True), _half(points, cut, west=False)]
    rings = []
    for part in parts:
        middle = sum(lon for lon, _ in part) / max(len(part), 1)
        turn = -360.0 if middle > 180 else 360.0 if middle < -180 else 0.0
        moved = [[lon + turn, lat] for lon, lat in part]
        if (done := _finish(moved, anticlockwise=anticlockwise)) is not None:
            rings.append(done)
    return rings


def polygon_rings(polygon: Polygon) -> Iterator[list[Ring]]:
    """Yield polygons as [outer, hole, ...], cut at 180 degrees where they cross it.

    The outer ring runs anticlockwise and holes clockwise, each closed (RFC 7946,
    sections 3.1.6 and 3.1.9). A ring without an area is left out.
    """
    outers = _pieces(polygon.outer, anticlockwise=True)
    holes = [
        piece for hole in polygon.holes for piece in _pieces(hole, anticlockwise=False)
    ]
    for outer in outers:
        if len(outers) == 1:
            yield [outer, *holes]
        else:
            east = outer[0][0] > 0
            yield [outer, *(hole for hole in holes if (hole[0][0] > 0) == east)]


def line_pieces(lonlat: Sequence[tuple[float, float]]) -> list[Ring]:
    """Cut a line where it crosses 180 degrees; each piece ends on its own side.

    Its points are in degrees, two neighbours never half the globe apart.
    """
    pieces: list[Ring] = [[list(lonlat[0])]] if lonlat else []
    for (lon0, lat0), (lon1, lat1) in pairwise(lonlat):
        step = (lon1 - lon0 + 180.0) % 360.0 - 180.0
        if abs(lon1 - lon0) > 180.0 and step:
            edge = 180.0 if step > 0 else -180.0
            share = (edge - lon0) / step
            if 0.0 < share < 1.0:
                latitude = round(lat0 + share * (lat1 - lat0), 7)
                pieces[-1].append([edge, latitude])
                pieces.append([[-edge, latitude]])
            else:  # a point on the meridian itself: only its sign is another
                pieces.append([[-edge, lat0]])
        pieces[-1].append([lon1, lat1])
    return pieces


LINE_BEYOND = 1.3  # how far a flight line is drawn beyond the farthest colony; choice
LINE_DEFAULT_M = 1000.0  # m, where nothing has been located yet; choice

Kind = Literal["station", "best_place", "next_station"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A point on the map; properties carry units in their names."""

    kind: Kind
    name: str
    note: str
    longitude_deg: float
    latitude_deg: float
    properties: Mapping[str, str | float | int | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightPath:
    """A bee's mean flight line from a station, as far as it is worth drawing."""

    name: str
    note: str
    bee: str
    station: str
    start_lonlat: tuple[float, float]
    end_lonlat: tuple[float, float]
    bearing_true_deg: float
    spread_deg: float
    bearings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """A search area: patches as [outer, hole, ...]."""

    colony: str
    percent: int
    name: str
    note: str
    area_m2: float
    patches: tuple[tuple[Ring, ...], ...]
    day: str = ""  # ISO 8601, where it is of one day alone


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """A colony's search plan: its strips one after the other."""

    colony: str
    name: str
    lonlat: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sketch:
    """All of it."""

    title: str
    spots: tuple[Spot, ...]
    paths: tuple[FlightPath, ...]
    areas: tuple[Area, ...]  # largest first, so that smaller ones lie on top
    walks: tuple[Walk, ...]
    day_areas: tuple[Area, ...] = ()  # what single days give alone


def colony_name(result: HuntResult, colony: Colony) -> str:
    """Return "colony" where there is but one, else "colony B"."""
    return f"colony {colony.id}" if result.several else "colony"


def _stations(result: HuntResult) -> list[Spot]:
    return [
        Spot(
            kind="station",
            name=f"Station {place.id}",
            note=", ".join(filter(None, (place.name, place.cargo))),
            longitude_deg=place.longitude_deg,
            latitude_deg=place.latitude_deg,
            properties={
                "station": place.id,
                "cargo": place.cargo,
                "declination_deg": round(place.declination_deg, 3),
            },
        )
        for place in result.stations
    ]


def _found(result: HuntResult) -> list[Spot]:
    units = result.units
    spots = []
    for colony in result.colonies:
        area = colony.search_areas.get(90)
        size = f"90 % search area {units.area(area.area_m2)}. " if area else ""
        spots.append(
            Spot(
                kind="best_place",
                name=f"Best place, {colony_name(result, colony)}",
                note=size + LOOK_FIRST,
                longitude_deg=colony.best_longitude_deg,
                latitude_deg=colony.best_latitude_deg,
                properties={
                    "colony": colony.id,
                    "marks": ", ".join(colony.marks),
                    "area_90_ha": round(area.area_m2 / 1e4, 4) if area else None,
                },
            )
        )
    for colony, place in seats(result):
        compass_deg = to_compass_deg(
            result, place.walk_bearing_true_deg, result.station(place.from_station)
        )
        spots.append(
            Spot(
                kind="next_station",
                name=f"Next station{for_colony(result, colony)}",
                note=f"{walk_text(result, place)}. {LOOK_FIRST}",
                longitude_deg=place.longitude_deg,
                latitude_deg=place.latitude_deg,
                properties={
                    "colony": colony.id,
                    "from_station": place.from_station,
                    "walk_m": round(place.walk_m, 1),
                    "walk_bearing_true_deg": round(place.walk_bearing_true_deg, 1),
                    "walk_bearing_compass_deg": number(compass_deg, 1),
                    "why": seat_text(place, result.hunt_file.hunt.units),
                },
            )
        )
    return spots


def line_length_m(result: HuntResult, group: LineBundle) -> float:
    """Return how far to draw flight lines: beyond the colonies they may lead to."""
    mine = [
        colony
        for colony in result.colonies
        if any(belongs_to(colony, line) for line in group.lines)
    ]
    place = group.station
    distances = [apart_m(place, colony) for colony in mine or result.colonies]
    if not distances:
        return LINE_DEFAULT_M
    return max(LINE_BEYOND * max(distances), 100.0)


def destination(
    place: Placed, bearing_true_deg: float, distance_m: float
) -> tuple[float, float]:
    """Return (longitude, latitude) at a distance and true bearing from a place."""
    from pyproj import Geod

    longitude, latitude, _ = Geod(ellps="WGS84").fwd(
        place.longitude_deg, place.latitude_deg, bearing_true_deg, distance_m
    )
    return round(float(longitude), 7), round(float(latitude), 7)


def _paths(result: HuntResult) -> list[FlightPath]:
    paths = []
    for group in bundles_by_bee(result):
        place = group.station
        length = line_length_m(result, group)
        count = len(group.lines)
        paths.append(
            FlightPath(
                name=f"{group.name} from station {place.id}",
                note=f"{both_text(result, group.mean_true_deg, place)}, mean of "
                f"{count} bearing{'s' if count != 1 else ''}",
                bee=group.name,
                station=place.id,
                start_lonlat=(
                    round(place.longitude_deg, 7),
                    round(place.latitude_deg, 7),
                ),
                end_lonlat=destination(place, group.mean_true_deg, length),
                bearing_true_deg=round(group.mean_true_deg, 2),
                spread_deg=round(group.spread_deg, 2),
                bearings=count,
            )
        )
    return paths


def _areas(result: HuntResult) -> list[Area]:
    areas = [
        Area(
            colony=colony.id,
            percent=percent,
            name=f"{percent} % search area, {colony_name(result, colony)}",
            note=f"Holds the colony with {percent} % probability; "
            f"{result.units.area(area.area_m2)}",
            area_m2=area.area_m2,
            patches=patches,
        )
        for colony in result.colonies
        for percent, area in colony.search_areas.items()
        if (patches := _patches(area))
    ]
    return sorted(areas, key=lambda area: -area.percent)


def _day_areas(result: HuntResult) -> list[Area]:
    return [
        Area(
            colony=one.colony.id,
            percent=90,
            name=f"90 % search area, {day_text(day.day)} alone"
            f"{for_colony(result, one.colony)}",
            note=f"From that day's notes only; {result.units.area(area.area_m2)}",
            area_m2=area.area_m2,
            patches=_patches(area),
            day=day.day.isoformat(),
        )
        for day in result.days
        for one in day.colonies
        if (area := one.colony.search_areas.get(90))
    ]


def _patches(area: SearchArea) -> tuple[tuple[Ring, ...], ...]:
    return tuple(tuple(rings) for one in area.polygons for rings in polygon_rings(one))


def strip_lonlat(strip: Strip) -> list[tuple[float, float]]:
    """Return the way to a strip and the strip itself: longitudes and latitudes."""
    return [
        *strip.way,
        (strip.start_longitude_deg, strip.start_latitude_deg),
        (strip.end_longitude_deg, strip.end_latitude_deg),
    ]


def _walks(result: HuntResult) -> list[Walk]:
    return [
        Walk(
            colony=colony.id,
            name=f"Search plan{for_colony(result, colony)}",
            lonlat=tuple(
                (round(lon, 7), round(lat, 7))
                for strip in colony.search_plan
                for lon, lat in strip_lonlat(strip)
            ),
        )
        for colony in result.colonies
        if colony.search_plan
    ]


def sketch(result: HuntResult) -> Sketch:
    """Gather what a map of this result shows."""
    return Sketch(
        title=result.hunt_file.hunt.name,
        spots=tuple(_stations(result) + _found(result)),
        paths=tuple(_paths(result)),
        areas=tuple(_areas(result)),
        walks=tuple(_walks(result)),
        day_areas=tuple(_day_areas(result)),
    )
