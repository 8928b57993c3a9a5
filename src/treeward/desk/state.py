"""What the desk needs of a hunt, and what it hands around."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from contextlib import AbstractContextManager
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from treeward.hunt_file import HuntFile
    from treeward.language.phrasebook import PhraseBook
    from treeward.report.model import HuntResult, WrittenFiles
    from treeward.review.file import ReviewRow
    from treeward.speech.utterances import Utterance


class ReviewCopies(Protocol):
    """The part of treeward.review.store.ReviewStore that the desk works on."""

    def machine_rows(self) -> list[ReviewRow]:
        """Return what the machine wrote last."""

    def gone(self, current: Sequence[ReviewRow]) -> list[ReviewRow]:
        """Return rows that were written last and that `current` lacks."""

    def write(
        self,
        rows: Sequence[ReviewRow],
        machine: Sequence[ReviewRow] | None,
        *,
        seen: str | None = ...,
    ) -> Path | None:
        """Write review.csv if it is the one that was seen."""


class Hearing(Protocol):
    """The part of treeward.hunt.heard.Heard that the desk looks at."""

    @property
    def utterances(self) -> tuple[Utterance, ...]:
        """What was heard, in order of time."""


class KeptHearing(Protocol):
    """The part of treeward.hunt.heard.HeardFile that the desk reads."""

    path: Path

    def read(self) -> Hearing:
        """Return what is kept; nothing where there is no file."""


class DeskHunt(Protocol):
    """The part of treeward.hunt.folder.Hunt that the desk works on."""

    path: Path
    recordings_dir: Path
    results_dir: Path
    review_path: Path
    machine_dir: Path

    @property
    def review(self) -> ReviewCopies:
        """Both copies of the review."""

    @property
    def file(self) -> HuntFile:
        """hunt.toml."""

    @property
    def zone(self) -> ZoneInfo:
        """The hunt's time zone."""

    @property
    def phrase_book(self) -> PhraseBook:
        """What can be said in this hunt."""

    def heard_file(self, name: str) -> KeptHearing:
        """Where the hearing of a recording is kept."""

    def locked(
        self, command: str = ..., *, wait_s: float = ...
    ) -> AbstractContextManager[None]:
        """Keep other programs from writing into the hunt; `command` is at work."""

    def rows(self) -> list[ReviewRow]:
        """Read review.csv, with clocks that hang on corrected times."""

    def locate(self) -> HuntResult:
        """Work out where the colonies are."""

    def write_results(
        self, result: HuntResult, *, with_sound: bool = False
    ) -> WrittenFiles:
        """Write report, tables and map files."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CellEdit:
    """One cell to change: `was` is what the person saw there when deciding."""

    row: str
    column: str
    value: str
    was: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRow:
    """A row to add; `cells` by column, "clock" among them."""

    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenOut:
    """A row that was added by hand, to take out again if it is still as it `was`."""

    row: str
    was: Mapping[str, str]


Edit = CellEdit | NewRow | TakenOut


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """A cell that somebody else changed meanwhile; theirs stands in the file."""

    row: str
    column: str  # "" where the row itself is gone, or may not be taken out
    was: str
    theirs: str
    mine: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Applied:
    """What became of edits. `undo` takes them back, in the order to apply."""

    conflicts: tuple[Conflict, ...] = ()
    undo: tuple[Edit, ...] = ()
    added: tuple[str, ...] = ()
    written: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """review.csv at one moment: its rows, the machine's, and a digest of the file."""

    digest: str
    rows: tuple[ReviewRow, ...]
    machine: Mapping[str, ReviewRow] = field(default_factory=dict)
