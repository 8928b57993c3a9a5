"""A found hunt to what it teaches, for season.json."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from treeward.errors import HuntError
from treeward.hunt_tables import ModelTable
from treeward.report.finds import FARTHEST_M
from treeward.season_file import LessonTable, OffsetTable

from .forecast import colony_of
from .locating import prepare_hunt
from .places import place_stations

if TYPE_CHECKING:
    from treeward.report.model import HuntResult
    from treeward.survey.lessons import Lesson

    from .finds import FindTable
    from .hunt import Hunt


def lesson_of(hunt: Hunt, result: HuntResult, find: FindTable) -> LessonTable | None:
    """Return what a find teaches; None where its hunt says nothing of it.

    The trips and bearings of the colony's bees are weighed with the place known, from
    the plain prior on whatever hunt.toml says of the model, so that lessons of several
    hunts add up.

    Parameters
    ----------
    hunt
        Opened `plain`: with a learned prior its lessons would be told twice.
    result
        Its answer.
    find
        The find.

    Raises
    ------
    HuntError
        When the survey cannot take the hunt.
    """
    from treeward.survey import lessons
    from treeward.survey.frame import geodesic

    colony = colony_of(result, find)
    if colony is None or not result.stations:
        return None
    here, first = find.position, result.stations[0]
    away_m, _ = geodesic(
        first.latitude_deg, first.longitude_deg, here.latitude_deg, here.longitude_deg
    )
    if away_m > FARTHEST_M:
        return None
    plain = hunt.file.model_copy(update={"model": ModelTable()})
    places = place_stations(plain, hunt.path, result.table)
    now = datetime.now(tz=UTC).astimezone(hunt.zone)
    ready = prepare_hunt(plain, result.table, places.positions, today=now)
    seen = ready.seen()
    alone = result.fix is not None and len(result.fix.colonies) == 1
    try:
        learned = lessons.lesson(
            seen.stations,
            seen.trips,
            seen.bearings,
            seen.settings,
            wind=seen.wind,
            found_deg=(here.latitude_deg, here.longitude_deg),
            bees=None if alone else colony.marks,
        )
    except ValueError as error:
        raise HuntError(
            f"the survey cannot take this: {error}",
            where=str(hunt.path / "hunt.toml"),
            mend="Correct that value.",
        ) from error
    return _table(hunt, result, find, learned, ready.arrays.observers)


def _table(
    hunt: Hunt,
    result: HuntResult,
    find: FindTable,
    learned: Lesson,
    observers: tuple[str, ...],
) -> LessonTable | None:
    if not learned.cargos and not learned.offsets:
        return None
    first = result.stations[0]
    (ff, fg), (gf, gg) = learned.precision.tolist()
    weighted_f, weighted_g = learned.weighted.tolist()
    return LessonTable(
        hunt=hunt.file.hunt.name,
        find=find.id,
        latitude_deg=round(first.latitude_deg, 1),
        longitude_deg=round(first.longitude_deg, 1),
        cargos=learned.cargos,
        trips=learned.trips,
        bearings=learned.bearings,
        precision=((ff, fg), (gf, gg)),
        weighted=(weighted_f, weighted_g),
        offsets=tuple(
            OffsetTable(
                observer=observers[index], precision=precision, weighted=weighted
            )
            for index, precision, weighted in learned.offsets
        ),
    )
