"""What a hunt knows of looking for the tree."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from treeward.survey.search import Searching

if TYPE_CHECKING:
    from datetime import datetime


class BoutKind(StrEnum):
    """What was looked at in one go."""

    TRACK = "track"  # a whole track, spent looking
    WALK = "walk"  # the way walked before a note
    TREE = "tree"  # a tree, or round about a spot
    AREA = "area"  # an area typed by hand
    DISH = "dish"  # that no bee visited
    OVERHEAD = "overhead"  # bees that passed in the air


@dataclass(frozen=True, slots=True, kw_only=True)
class Bout:
    """One go at looking; `row` is its note's, `name` a file's or a remark."""

    kind: BoutKind
    row: str = ""
    name: str = ""
    clock: datetime | None = None
    walked_m: float = 0.0
    spent_s: float = 0.0  # 0 where that is not known


class SearchDoubtKind(StrEnum):
    """What could not be used; beside each the fields of `SearchDoubt` that it has."""

    NO_TRACK = "no_track"  # row, clock: no track was running
    NO_CLOCK = "no_clock"  # row
    DOUBTFUL = "doubtful"  # row, clock: not believed before it is looked at
    NO_BEARING = "no_bearing"  # row, clock: bees overhead without a bearing
    UNTIMED = "untimed"  # file: used without times
    NO_WAY = "no_way"  # file: holds no line
    JUMPS = "jumps"  # file, count
    FAST = "fast"  # file, metres
    NO_WEIGHT = "no_weight"  # file, words
    NO_GROUND = "no_ground"  # file: neither outlines nor places


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchDoubt:
    """Something of the looking that could not be used; `where` is a row or a file."""

    kind: SearchDoubtKind
    where: str
    clock: datetime | None = None
    count: int = 0
    metres: float = 0.0
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchTold:
    """What the hunt knows of looking for the tree."""

    searching: Searching = field(default_factory=Searching)
    bouts: tuple[Bout, ...] = ()
    doubts: tuple[SearchDoubt, ...] = ()

    @property
    def walked_m(self) -> float:
        """Metres walked while looking."""
        return sum(bout.walked_m for bout in self.bouts)

    @property
    def spent_s(self) -> float:
        """Time spent looking, as far as it is known [s]."""
        return sum(bout.spent_s for bout in self.bouts)
