"""Where each day of a hunt alone puts the colonies, beside all days together."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.report.days import day_tables, days_of
from treeward.report.finds import smallest_around
from treeward.report.model import DayColony
from treeward.survey.frame import geodesic
from treeward.survey.records import AreaShape

from .locating import survey_hunt

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from treeward.hunt_file import HuntFile
    from treeward.positions import Position
    from treeward.report.model import DayResult
    from treeward.survey.records import Fix
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
        if same is None or colony.shape is AreaShape.NOTHING_MEASURED:
            continue
        off_m, azimuth_deg = geodesic(
            same.best_latitude_deg,
            same.best_longitude_deg,
            colony.best_latitude_deg,
            colony.best_longitude_deg,
        )
        yield DayColony(
            colony=colony,
            holds_percent=smallest_around(
                colony, same.best_latitude_deg, same.best_longitude_deg
            ),
            off_m=off_m,
            off_bearing_true_deg=azimuth_deg,
        )
