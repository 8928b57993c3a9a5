"""Where each day of a hunt alone puts the colonies, beside all days together."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from treeward.report.days import day_tables, days_of
from treeward.report.model import DayColony
from treeward.survey.frame import geodesic
from treeward.survey.records import Shape

from .locating import survey_hunt

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from treeward.hunt_file import HuntFile
    from treeward.positions import Position
    from treeward.report.model import DayResult
    from treeward.survey.records import Colony, Fix, SearchArea
    from treeward.trips.table import TripTable


def locate_days(
    hunt_file: HuntFile,
    table: TripTable,
    positions: Mapping[str, tuple[Position, str]],
    whole: Fix | None,
    *,
    today: datetime,
) -> tuple[DayResult, ...]:
    """Locate the colonies from each day alone.

    The trips of a calibration count on every day: what they teach about the bees is
    no day's own.

    Parameters
    ----------
    whole
        What all days together give; None where they give nothing.
    today
        Date for the magnetic model where no note has a clock.

    Returns
    -------
    tuple of DayResult
        In the order of the days; empty for a hunt of one day.
    """
    zone = hunt_file.hunt.zone
    days = days_of(table, zone)
    if len(days) < 2:
        return ()
    if whole is None:
        return days
    shared = _calibrating(hunt_file, table)
    owner = {bee: one.id for one in whole.colonies for bee in one.marks}
    parts = day_tables(table, zone)
    found = []
    for day in days:
        part = parts[day.day]
        trips = part.trips + tuple(t for t in shared.trips if t not in part.trips)
        lines = part.lines + tuple(x for x in shared.lines if x not in part.lines)
        alone = survey_hunt(
            hunt_file,
            replace(part, trips=trips, lines=lines),
            positions,
            today=today,
            assigned=owner,
        ).fix
        if alone is None:
            found.append(day)
            continue
        colonies = tuple(_compared(alone, whole))
        found.append(
            replace(day, bees=alone.bees if colonies else (), colonies=colonies)
        )
    return tuple(found)


def _calibrating(hunt_file: HuntFile, table: TripTable) -> TripTable:
    """Return the trips and bearings that calibrate, of all days."""
    known = hunt_file.calibration
    if known is None:
        return replace(table, trips=(), lines=())

    def taken(station: str, mark: str) -> bool:
        return station == known.station and (not known.marks or mark in known.marks)

    return replace(
        table,
        trips=tuple(t for t in table.trips if taken(t.station, t.mark)),
        lines=tuple(x for x in table.lines if taken(x.station, x.mark)),
    )


def _compared(alone: Fix, whole: Fix) -> Iterator[DayColony]:
    for colony in alone.colonies:
        same = next((one for one in whole.colonies if one.id == colony.id), None)
        if same is None or colony.shape is Shape.NOTHING_MEASURED:
            continue
        off_m, azimuth_deg = geodesic(
            same.best_latitude_deg,
            same.best_longitude_deg,
            colony.best_latitude_deg,
            colony.best_longitude_deg,
        )
        yield DayColony(
            colony=colony,
            holds_percent=_smallest_around(colony, same),
            off_m=off_m,
            off_bearing_true_deg=azimuth_deg,
        )


def _smallest_around(colony: Colony, other: Colony) -> int | None:
    """Return the smallest search area of one that holds the best place of another."""
    place = np.array([[other.best_longitude_deg, other.best_latitude_deg]])
    return next(
        (
            percent
            for percent, area in sorted(colony.search_areas.items())
            if holds(area, place)
        ),
        None,
    )


def holds(area: SearchArea, lonlat: np.ndarray) -> bool:
    """Say whether a place, (1, 2) longitude and latitude, lies in a search area."""
    from matplotlib.path import Path

    def inside(ring: np.ndarray) -> bool:
        # The short way round the globe, for areas across 180 degrees.
        turned = ring.copy()
        turned[:, 0] = (ring[:, 0] - lonlat[0, 0] + 180) % 360 - 180 + lonlat[0, 0]
        return bool(Path(turned).contains_points(lonlat)[0])

    return any(
        inside(polygon.outer) and not any(inside(hole) for hole in polygon.holes)
        for polygon in area.polygons
    )
