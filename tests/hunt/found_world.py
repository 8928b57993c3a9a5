"""A small answer made by hand: colonies as squares, for what is said of finds."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from pyproj import Geod

from treeward.hunt.finds import FindTable
from treeward.hunt.hunt import Hunt
from treeward.hunt_file import parse_hunt_table
from treeward.measures import Position, format_position
from treeward.report.model import HuntResult, StationPlace
from treeward.survey.records import (
    BeeDistance,
    Colony,
    Density,
    Fix,
    HandRule,
    HandRuleKind,
    Polygon,
    SearchArea,
)
from treeward.trips import pair_trips

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

GLOBE = Geod(ellps="WGS84")
HERE = Position(latitude_deg=52.3, longitude_deg=-3.6)


def off(metres: float, azimuth_deg: float = 90.0, of: Position = HERE) -> Position:
    """Return a place so far off another."""
    lon, lat, _ = GLOBE.fwd(of.longitude_deg, of.latitude_deg, azimuth_deg, metres)
    return Position(latitude_deg=lat, longitude_deg=lon)


def square(middle: Position, half_m: float) -> SearchArea:
    """Return a square area, its corners so far from the middle."""
    corners = [off(half_m * 2**0.5, a, middle) for a in (45, 315, 225, 135, 45)]
    ring = np.array([(p.longitude_deg, p.latitude_deg) for p in corners])
    return SearchArea(
        probability=0.5,
        area_m2=(2 * half_m) ** 2,
        polygons=(Polygon(outer=ring),),
    )


def colony(
    name: str, middle: Position, *, halves_m: Sequence[float] = (50, 100, 150)
) -> Colony:
    """Return a colony whose areas are squares about a place, 1 km from station 1."""
    one = np.ones((1, 1))
    return Colony(
        id=name,
        marks=("yellow", "red"),
        best_latitude_deg=middle.latitude_deg,
        best_longitude_deg=middle.longitude_deg,
        distance_m={"1": (800.0, 1000.0, 1300.0), "gone": (1.0, 2.0, 3.0)},
        search_areas={
            percent: square(middle, half)
            for percent, half in zip((50, 90, 95), halves_m, strict=True)
        },
        density=Density(latitude_deg=one, longitude_deg=one, probability=one),
    )


def bee(mark: str, station: str, *said: tuple[HandRuleKind, float]) -> BeeDistance:
    """Return a bee of whom rules of thumb say how far she flies."""
    return BeeDistance(
        bee=mark, station=station, trips_used=1, shortest_away_s=300.0, median_m=1.0,
        low50_m=1.0, high50_m=1.0, low90_m=1.0, high90_m=1.0,
        hand_rules=tuple(HandRule(kind=k, distance_m=m) for k, m in said),
        distance_m=np.ones(1), density_per_m=np.ones(1),
    )  # fmt: skip


def answer(
    *colonies: Colony, bees: Sequence[BeeDistance] = (), **more: Any
) -> HuntResult:
    """Return a result with station 1 at `HERE`; without colonies nothing was found."""
    hunt_file = parse_hunt_table(
        {
            "hunt": {"name": "Marl Hollow", "timezone": "Europe/London"},
            "station": [{"id": "1", "position": format_position(HERE)}],
        },
        where="hunt.toml",
    )
    fix = Fix(bees=tuple(bees), colonies=colonies, next_station=None)
    return HuntResult(
        hunt_file=hunt_file,
        stations=(
            StationPlace(
                id="1",
                latitude_deg=HERE.latitude_deg,
                longitude_deg=HERE.longitude_deg,
                declination_deg=0.0,
            ),
        ),
        table=pair_trips([], hunt_file),
        fix=fix if colonies else None,
        software_version="0",
        created=datetime(2026, 7, 14, tzinfo=UTC),
        **more,
    )


def find(find_id: str, place: Position, **more: Any) -> FindTable:
    """Return a find of 20 July."""
    told = {"id": find_id, "position": format_position(place), "found": "2026-07-20"}
    return FindTable.model_validate(told | more)


def hunt_of(folder: Path, *rows: str) -> Hunt:
    """Make a hunt of one station and these rows of review.csv."""
    text = '[hunt]\nname = "x"\ntimezone = "Europe/London"\n[[station]]\nid = "1"\n'
    (folder / "hunt.toml").write_text(text, "utf-8")
    lines = ["clock,event,mark,value", *rows]
    (folder / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return Hunt(folder)


NEAR, FAR = off(1_000), off(3_000)
A, B = colony("A", NEAR), colony("B", FAR)
