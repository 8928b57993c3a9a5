"""season.json: what own found hunts taught, for hunts to take as their prior.

`treeward season` writes it; hunt.toml names it: learned_from = "../season.json". It
holds where hunts were to a tenth of a degree, for telling regions apart, and no find.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field, ValidationError

from treeward.errors import HuntError
from treeward.files import read_whole, write_text
from treeward.hunt_tables import Cargo, TomlTable

if TYPE_CHECKING:
    from pathlib import Path

FORMAT = "treeward season 1"
_MOST_BYTES = 4 << 20  # some thousand hunts; choice
Number = Annotated[float, Field(allow_inf_nan=False, ge=-1e12, le=1e12)]
Precision = Annotated[float, Field(allow_inf_nan=False, ge=0, le=1e12)]


class OffsetTable(TomlTable):
    """How much too far clockwise an observer read: precision [1/deg^2], times mean."""

    observer: str = ""
    precision: Precision
    weighted: Number


class LessonTable(TomlTable):
    """What one find taught; see `survey.lessons.Lesson`.

    `latitude_deg` and `longitude_deg` are of the hunt, to a tenth of a degree;
    `shared_with` names hunts that hold the same notes.
    """

    hunt: str
    shared_with: tuple[str, ...] = ()
    find: str = ""
    latitude_deg: Annotated[float, Field(ge=-90, le=90)]
    longitude_deg: Annotated[float, Field(ge=-180, le=180)]
    cargos: tuple[Cargo, ...] = ()
    trips: Annotated[int, Field(ge=0)] = 0
    bearings: Annotated[int, Field(ge=0)] = 0
    precision: tuple[tuple[Number, Number], tuple[Number, Number]]
    weighted: tuple[Number, Number]
    offsets: tuple[OffsetTable, ...] = ()


class SeasonFile(TomlTable):
    """The whole of season.json."""

    format: Literal["treeward season 1"] = "treeward season 1"
    lessons: tuple[LessonTable, ...] = ()

    def without(self, hunt: str) -> SeasonFile:
        """Return it without what the notes of a hunt taught: none is its own prior."""
        kept = (x for x in self.lessons if hunt not in (x.hunt, *x.shared_with))
        return SeasonFile(lessons=tuple(kept))


def read_season(path: Path) -> SeasonFile:
    """Read season.json.

    Raises
    ------
    HuntError
        One line that names the file and what is wrong with it.
    """
    raw = read_whole(
        path,
        most_bytes=_MOST_BYTES,
        error=HuntError,
        too_large="This is no season.json; see that learned_from names the right one.",
        missing=(
            "there is no such file, but learned_from in hunt.toml names it",
            "Write it with treeward season DIR, or take learned_from out.",
        ),
    )
    mend = "Write it anew with treeward season DIR, or take learned_from out."
    try:
        return SeasonFile.model_validate(json.loads(raw))
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        key = ".".join(str(step) for step in fault["loc"])
        what = f"{key}: {fault['msg'].lower()}"
        raise HuntError(what, where=str(path), mend=mend) from error
    except (ValueError, RecursionError) as error:
        raise HuntError(
            f"is no season of Treeward's ({error})", where=str(path), mend=mend
        ) from error


def write_season(path: Path, season: SeasonFile) -> None:
    """Write season.json, as a whole or not at all."""
    whole = season.model_dump(mode="json")
    write_text(path, json.dumps(whole, indent=1, allow_nan=False) + "\n")
