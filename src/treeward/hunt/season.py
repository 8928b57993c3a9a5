"""A folder of own hunts: how well their areas held the finds, and what they teach."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.errors import HuntError, TreewardError
from treeward.report.finds import FARTHEST_M
from treeward.season_file import SeasonFile, write_season

from .finds import FILE, read_finds
from .forecast import check_finds
from .hunt import Hunt
from .learned import known_lessons
from .lessons import lesson_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date
    from pathlib import Path

    from treeward.positions import Position
    from treeward.report.model import FindCheck
    from treeward.season_file import LessonTable
    from treeward.survey.own_prior import OwnPrior

    from .finds import FindTable, LookTable

SEASON = "season.json"
_DEEPEST = 2  # folders below the season's in which hunts are looked for; choice
SHARES = (50, 90, 95)


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundColony:
    """A colony that was found, its hunt, and what was seen of it since."""

    hunt: str  # name in hunt.toml
    folder: Path
    find: FindTable
    looks: tuple[LookTable, ...]

    @property
    def name(self) -> str:
        """What it is called in lists: the hunt's name and the find's."""
        return f"{self.hunt} {self.find.id}"


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
        """Return how many finds lay inside an area, and of how many.

        Parameters
        ----------
        percent
            Of the search area: 50, 90 or 95.
        own
            Whether with the lessons of the other hunts.
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
    """Return the finds of a folder's hunts, hunts without any, and faults as lines."""
    colonies: list[FoundColony] = []
    unfound: list[str] = []
    faults: list[str] = []
    for folder in hunt_folders(directory):
        try:
            name = Hunt(folder, plain=True).file.hunt.name
            finds = read_finds(folder)
        except TreewardError as error:
            faults.append(error.line())
            continue
        if not finds.find:
            unfound.append(name)
        colonies += [
            FoundColony(
                hunt=name, folder=folder, find=find, looks=finds.looks_of(find.id)
            )
            for find in finds.find
        ]
    return colonies, unfound, faults


def gather_season(
    directory: Path, *, tell: Callable[[str], None] = lambda _: None
) -> Season:
    """Locate the hunts of a folder that ended with a find, and learn from them.

    Parameters
    ----------
    directory
        Holds the hunts, one in a folder.
    tell
        Told the name of each hunt before it is worked on.

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
            faults.append(error.line())
            continue
        for colony in own:
            if (check := checks.get(colony.find.id)) is None:
                faults.append(
                    f"{folder / FILE}: find {colony.find.id} has no forecast to be "
                    "compared with, or lies farther off than bees fly"
                )
                continue
            judged.append(Judged(colony=colony, plain=check))
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
    learned = [lesson_of(hunt, result, find) for find in finds]
    checks = {check.find: check for check in check_finds(result, finds)}
    near = {
        find: check
        for find, check in checks.items()
        if all(one.true_m <= FARTHEST_M for one in check.stations)
    }
    return [one for one in learned if one is not None], near


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
    from treeward.survey.own_prior import own_prior

    if not season.file.lessons:
        return None
    last = season.file.lessons[-1]
    here = last.latitude_deg, last.longitude_deg
    return own_prior(known_lessons(season.file), here_deg=here)


def compasses(season: Season) -> dict[str, tuple[float, float, int]]:
    """Return each observer's offset: mean and standard deviation [degrees], hunts.

    It is foretold for a hunt where the observer's last one was.
    """
    from treeward.survey.own_prior import own_compass

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
    from treeward.survey.frame import geodesic

    def is_near(colony: FoundColony) -> bool:
        here = colony.find.position
        return any(
            geodesic(
                here.latitude_deg, here.longitude_deg, p.latitude_deg, p.longitude_deg
            )[0]
            <= within_m
            for p in near
        )

    return [one for one in colonies if state_of(one)[0] != "dead" and is_near(one)]


def state_of(colony: FoundColony) -> tuple[str, date]:
    """Return how a colony was last seen, and when; looks that were none do not count.

    It is "found" where nobody looked again.
    """
    seen = [look for look in colony.looks if look.state != "not looked at"]
    if not seen:
        return "found", colony.find.found
    return seen[-1].state, seen[-1].seen
