"""A folder of own hunts: how well their areas held the finds, and what they teach.

Known colonies through the year, and as known hives of a new hunt.

A found hunt to what it teaches, for season.json.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from treeward.errors import HuntError, TreewardError
from treeward.files import write_text
from treeward.hunt_file import (
    LessonTable,
    OffsetTable,
    SeasonFile,
    hunt_toml_text,
    parse_hunt_table,
    write_season,
)
from treeward.hunt_tables import ModelTable
from treeward.measures import Position, format_position
from treeward.report.looking import FARTHEST_M, ColonyYear
from treeward.survey.frame import apart_m
from treeward.survey.own_prior import Lesson, OwnPrior, lesson, own_compass, own_prior

from .finds import FILE, check_finds, coarse, colony_of, read_finds
from .folder import quoted
from .found_told import known_lessons, maybe_another
from .hunt import Hunt
from .locating import prepare_hunt, refusals_told
from .places import find_tracks, place_stations
from .tracks import read_gpx
from .two_hunts import FoundColony, counted_once

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date
    from pathlib import Path

    from treeward.report.model import FindCheck, HuntResult

    from .finds import FindTable


def lesson_of(hunt: Hunt, result: HuntResult, find: FindTable) -> LessonTable | None:
    """Return what a find teaches; None where its hunt says nothing of it.

    Outside the 95 % area it may be of another colony, and teaches nothing unless it
    names the answer's.

    The trips and bearings of the colony's bees are weighed with the place known, from
    the plain prior on whatever hunt.toml says of the model, so that lessons of several
    hunts add up. The hunt is opened `plain`: with a learned prior its lessons would be
    told twice.

    Raises
    ------
    HuntError
        When the survey cannot take the hunt.
    """
    colony = colony_of(result, find)
    if colony is None or not result.stations or maybe_another(colony, find):
        return None
    here, first = find.position, result.stations[0]
    if apart_m(first, here) > FARTHEST_M:
        return None
    plain = hunt.file.model_copy(update={"model": ModelTable()})
    places = place_stations(plain, hunt.path, result.table)
    now = datetime.now(tz=UTC).astimezone(hunt.zone)
    ready = prepare_hunt(plain, result.table, places.positions, today=now)
    seen = ready.seen()
    alone = result.fix is not None and len(result.fix.colonies) == 1
    with refusals_told(str(hunt.path / "hunt.toml"), "Correct that value."):
        learned = lesson(
            seen.stations,
            seen.trips,
            seen.bearings,
            seen.settings,
            wind=seen.wind,
            found_deg=(here.latitude_deg, here.longitude_deg),
            bees=None if alone else colony.marks,
        )
    return _table(hunt, result, find, learned, ready.observers)


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


SEASON = "season.json"
_DEEPEST = 2  # folders below the season's in which hunts are looked for; choice
SHARES = (50, 90, 95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A find against the forecast with the plain prior, and with the others' lessons.

    `own` is None where the other hunts teach nothing.
    """

    colony: FoundColony
    plain: FindCheck
    own: FindCheck | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """What a folder of hunts holds and teaches.

    `unfound` are the names of hunts without a find; `left_out` says why a hunt or a
    find could not be used.
    """

    colonies: tuple[FoundColony, ...]
    judged: tuple[Judged, ...]
    file: SeasonFile
    unfound: tuple[str, ...]
    left_out: tuple[str, ...]

    def held(self, percent: int, *, own: bool) -> tuple[int, int]:
        """Return how many finds lay inside the area of 50, 90 or 95 %, and of how many.

        `own` says whether with the lessons of the other hunts.
        """
        checks = [one.own if own else one.plain for one in self.judged]
        known = [check for check in checks if check is not None]
        inside = [c for c in known if c.holds_percent and c.holds_percent <= percent]
        return len(inside), len(known)


def hunt_folders(directory: Path) -> list[Path]:
    """List the hunts of a folder: below it, one or two folders deep.

    Raises
    ------
    HuntError
        If there is no such folder, or no hunt in it.
    """
    if not directory.is_dir():
        raise HuntError(
            "there is no such folder",
            where=str(directory),
            mend="Name the folder that holds your hunts.",
        )
    found: list[Path] = []
    level = [directory]
    for _ in range(_DEEPEST + 1):
        found += [folder for folder in level if (folder / "hunt.toml").is_file()]
        level = [
            below
            for folder in level
            if folder not in found
            for below in sorted(folder.iterdir())
            if below.is_dir() and not below.is_symlink() and below.name[:1] != "."
        ]
    if not found:
        raise HuntError(
            "there is no hunt in it",
            where=str(directory),
            mend="Name the folder that holds your hunts.",
        )
    return sorted(found)


def found_colonies(
    directory: Path,
) -> tuple[list[FoundColony], list[str], list[str]]:
    """Return a folder's finds, hunts without any, and what was left out, as lines.

    A find that a merged hunt and its parts hold is there once, and a line says so.
    """
    colonies: list[FoundColony] = []
    names: dict[Path, str] = {}
    unfound: list[str] = []
    faults: list[str] = []
    for folder in hunt_folders(directory):
        try:
            name = Hunt(folder, plain=True).file.hunt.name
            finds = read_finds(folder)
        except TreewardError as error:
            faults.append(_told(folder, error))
            continue
        names[folder] = name
        if not finds.find:
            unfound.append(name)
        colonies += [
            FoundColony(
                hunt=name, folder=folder, find=find, looks=finds.looks_of(find.id)
            )
            for find in finds.find
        ]
    once, twice = counted_once(colonies, names)
    return once, unfound, faults + twice


def _told(folder: Path, error: TreewardError) -> str:
    """Say what is wrong with a hunt, and with which."""
    line = error.line()
    return line if str(folder) in line else f"{folder}: {line}"


def gather_season(
    directory: Path, *, tell: Callable[[str], None] = lambda _: None
) -> Season:
    """Locate the hunts of a folder that ended with a find, and learn from them.

    `tell` is told the name of each hunt before it is worked on.

    Raises
    ------
    HuntError
        If there is no hunt.
    """
    colonies, unfound, faults = found_colonies(directory)
    lessons: list[LessonTable] = []
    judged: list[Judged] = []
    for folder in dict.fromkeys(one.folder for one in colonies):
        own = [one for one in colonies if one.folder == folder]
        tell(own[0].hunt)
        try:
            new, checks = _one_hunt(folder, own)
        except TreewardError as error:
            faults.append(_told(folder, error))
            continue
        firsts = first_finds([one.find for one in own], checks)
        for colony in own:
            find = colony.find
            if (check := checks.get(find.id)) is None:
                faults.append(
                    f"{folder / FILE}: find {find.id} has no forecast to be "
                    "compared with, or lies farther off than bees fly"
                )
                continue
            if (first := firsts[check.colony]) != find.id:
                faults.append(
                    f"{folder / FILE}: find {find.id} is taken for the same colony as "
                    f"find {first}, and a colony counts once"
                )
                continue
            judged.append(Judged(colony=colony, plain=check))
            if check.holds_percent is None and find.colony != check.colony:
                faults.append(
                    f"{folder / FILE}: find {find.id} lies outside the 95 % area and "
                    "may be of another colony, so it is compared and teaches nothing; "
                    f'is it that one, write colony = "{check.colony}" there'
                )
        lessons += new
    file = SeasonFile(lessons=tuple(lessons))
    return Season(
        colonies=tuple(colonies),
        judged=tuple(_with_own(one, file) for one in judged),
        file=file,
        unfound=tuple(unfound),
        left_out=tuple(faults),
    )


def _one_hunt(
    folder: Path, colonies: Sequence[FoundColony]
) -> tuple[list[LessonTable], dict[str, FindCheck]]:
    """Return what a hunt's finds teach, and forecast against find by find."""
    hunt = Hunt(folder, plain=True)
    result = hunt.locate()
    finds = [one.find for one in colonies]
    shared_with = colonies[0].shared_with
    checks = {check.find: check for check in check_finds(result, finds)}
    near = {
        find: check
        for find, check in checks.items()
        if all(one.true_m <= FARTHEST_M for one in check.stations)
    }
    firsts = first_finds(finds, near).values()
    learned = [lesson_of(hunt, result, find) for find in finds if find.id in firsts]
    lessons = [
        one.model_copy(update={"shared_with": shared_with})
        for one in learned
        if one is not None
    ]
    return lessons, near


def first_finds(
    finds: Sequence[FindTable], checks: Mapping[str, FindCheck]
) -> dict[str, str]:
    """Return the find that counts for each colony of the answer: a colony once.

    Of several it is the one that names the colony, else the one that its areas and its
    best place are nearest to, else the one that was kept first. `checks` holds the
    comparison of each find.
    """
    first: dict[str, tuple[tuple[bool, int, float], str]] = {}
    for find in finds:
        if (check := checks.get(find.id)) is None:
            continue
        named = find.colony == check.colony
        rank = (not named, check.holds_percent or 100, check.off_m)
        if check.colony not in first or rank < first[check.colony][0]:
            first[check.colony] = rank, find.id
    return {colony: find for colony, (_, find) in first.items()}


def _with_own(judged: Judged, file: SeasonFile) -> Judged:
    """Add the forecast that the other hunts' lessons would have given."""
    others = file.without(judged.colony.hunt)
    if not others.lessons:
        return judged
    hunt = Hunt(judged.colony.folder, plain=True)
    hunt.file.take_season(others, learned_from=SEASON)
    try:
        (check,) = check_finds(hunt.locate(), [judged.colony.find])
    except (TreewardError, ValueError):  # ValueError: nothing to compare with
        return judged
    return replace(judged, own=check)


def keep_season(directory: Path, season: Season) -> Path:
    """Write season.json into the folder of the hunts, and return its path."""
    path = directory / SEASON
    write_season(path, season.file)
    return path


def foretold(season: Season) -> OwnPrior | None:
    """Return what the season foretells for a hunt where its last one was."""
    if not season.file.lessons:
        return None
    last = season.file.lessons[-1]
    here = last.latitude_deg, last.longitude_deg
    return own_prior(known_lessons(season.file), here_deg=here)


def compasses(season: Season) -> dict[str, tuple[float, float, int]]:
    """Return each observer's offset: mean and standard deviation [degrees], hunts.

    It is foretold for a hunt where the observer's last one was.
    """
    known = known_lessons(season.file)
    last = {name: one for one in known for name in one.observers}
    return {
        name: own_compass(known, name, here_deg=(one.latitude_deg, one.longitude_deg))
        for name, one in last.items()
    }


def living(
    colonies: Sequence[FoundColony], near: Sequence[Position], within_m: float
) -> list[FoundColony]:
    """Return the colonies not known to be dead that lie near one of some places."""

    def is_near(colony: FoundColony) -> bool:
        return any(apart_m(colony.find.position, p) <= within_m for p in near)

    return [one for one in colonies if state_of(one)[0] != "dead" and is_near(one)]


def state_of(colony: FoundColony) -> tuple[str, date]:
    """Return how a colony was last seen, and when; looks that were none do not count.

    It is "found" where nobody looked again.
    """
    seen = [look for look in colony.looks if look.state != "not looked at"]
    if not seen:
        return "found", colony.find.found
    return seen[-1].state, seen[-1].seen


def occupancy(
    colonies: Sequence[FoundColony], year: int, *, square_m: float | None = None
) -> list[ColonyYear]:
    """List known colonies, those of one hunt together, by day of the find.

    Each says whether it was looked at in that year. `square_m` rounds places to squares
    of the UTM grid; None leaves them as they are.
    """
    return [
        _of_year(one, year, square_m)
        for one in sorted(colonies, key=lambda one: (one.hunt, one.find.found))
    ]


def _of_year(colony: FoundColony, year: int, square_m: float | None) -> ColonyYear:
    find = colony.find
    place = format_position(find.position)
    if square_m is not None:
        try:
            rough = coarse(find.position, square_m)
        except HuntError:  # one that was mistyped must not keep the others back
            place = "not on the UTM grid"
        else:
            place = f"{rough.latitude_deg:.3f}, {rough.longitude_deg:.3f} (rounded)"
    height = "" if find.height_m is None else f"entrance at {find.height_m:g} m"
    state, seen = state_of(colony)
    return ColonyYear(
        name=colony.name,
        place=place,
        found=find.found,
        nest=find.nest,
        entrance=", ".join(filter(None, (height, find.entrance))),
        history=tuple((look.seen, look.state) for look in colony.looks),
        state=state,
        seen=seen,
        looked=seen.year == year,
    )


def add_known_hives(
    hunt: Hunt, colonies: Sequence[FoundColony], within_m: float
) -> tuple[str, ...]:
    """Add living colonies near a hunt to the end of its hunt.toml as known hives.

    Those that it found itself, and those that it knows already by name, stay out.
    Returns the names of those added.

    Raises
    ------
    HuntError
        If nothing tells where the hunt is, or hunt.toml cannot take more tables.
    """
    near = [place for place, _ in hunt.positions().values()]
    near += _waypoints(hunt)
    if not near:
        raise HuntError(
            "no station of this hunt has a position yet",
            where=str(hunt.path / "hunt.toml"),
            mend="Write one there, or put your phone's GPX file beside it.",
        )
    known = {hive.name for hive in hunt.file.known_hive}
    elsewhere = [one for one in colonies if not _same(one, hunt)]
    new = [
        one for one in living(elsewhere, near, within_m) if one.name[:60] not in known
    ]
    if not new:
        return ()
    lines = [""]
    for one in new:
        state, seen = state_of(one)
        lines += [
            f"[[known_hive]]  # {state} {seen.isoformat()}",
            f"name = {quoted(one.name[:60])}",
            f"position = {quoted(format_position(one.find.position))}",
            "# marks = []  # of bees seen to fly there: they are left out",
            "",
        ]
    _append(hunt, "\n".join(lines))
    return tuple(one.name for one in new)


def _same(colony: FoundColony, hunt: Hunt) -> bool:
    return hunt.path.resolve() in {f.resolve() for f in (colony.folder, *colony.parts)}


def _waypoints(hunt: Hunt) -> list[Position]:
    return [
        place
        for path in find_tracks(hunt.path, hunt.file.map.ground)
        for place in read_gpx(path).waypoints.values()
    ]


def _append(hunt: Hunt, more: str) -> None:
    path = hunt.path / "hunt.toml"
    with hunt.locked("season"):
        before = hunt_toml_text(path)
        after = before + ("" if before.endswith("\n") else "\n") + more
        try:
            parse_hunt_table(
                tomllib.loads(after.replace("\r\n", "\n")), where=str(path)
            )
        except (HuntError, ValueError) as error:
            raise HuntError(
                f"known hives cannot be added at its end ({error})",
                where=str(path),
                mend="Write each as a table of its own, [[known_hive]].",
            ) from error
        write_text(path, after, within=hunt.path)
