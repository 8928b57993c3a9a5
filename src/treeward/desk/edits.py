"""Corrections into review.csv, cell by cell, each only over what was seen there.

The file is the truth: every edit reads it afresh. A cell that holds something else
than the person saw was changed by somebody else meanwhile (a spreadsheet program);
it stays, and the edit comes back as a conflict.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import ConfigDict, Field, with_config

from treeward.errors import ReviewChangedError, ReviewError
from treeward.review.file import (
    COLUMNS,
    PERSON_COLUMNS,
    ReviewRow,
    cells_of,
    rows_from_table,
)
from treeward.review.merge import put_back
from treeward.review.row import CellError, format_clock, normal_mark, parse_clock
from treeward.review.table import CellTable, TableLine, parse_table, table_bytes

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from treeward.hunt.hunt import Hunt

_PATIENCE_S = 1.0  # another page's save takes a tenth; longer work is told at once
_TRIES = 5  # times the file may change under our hands before we give up
ADDED_COLUMNS = (*PERSON_COLUMNS, "recording", "start_s", "end_s", "heard")
LONGEST_CELL = 2000  # characters; more is no note


class ReviewEdits:
    """review.csv of one hunt, for reading and correcting."""

    def __init__(self, hunt: Hunt) -> None:
        self._hunt = hunt
        self.lock = threading.RLock()

    def read(self) -> Sheet:
        """Read the file and the machine's copy; in a new hunt there is no row yet.

        Raises
        ------
        ReviewError
            If it cannot be read, or is gone; ReviewFaultsError with a line for every
            fault.
        """
        with self.lock:
            review = self._hunt.review
            if not self._hunt.review_path.exists() and not review.machine_rows():
                return Sheet(digest="", rows=())
            return self._parse(table_bytes(self._hunt.review_path))

    def digest(self) -> str:
        """Return a digest of the file as it is now, "" where there is none."""
        try:
            return _digest(table_bytes(self._hunt.review_path))
        except ReviewError:
            return ""

    def apply(self, edits: Sequence[RowEdit]) -> Applied:
        """Make edits, those of one row together, and write the file if any held.

        Raises
        ------
        ReviewError
            If a cell cannot hold what was given, or the file cannot be read or
            written; nothing is changed then.
        HuntError
            If another command is at work on the hunt.
        """
        with self.lock, self._hunt.locked("review", wait_s=_PATIENCE_S):
            for _ in range(_TRIES):
                raw = table_bytes(self._hunt.review_path)
                work = _Work(self._parse(raw), self._hunt)
                work.make(edits)
                if not work.changed or self._write(work, seen=_digest(raw)):
                    return work.outcome()
        raise ReviewError(
            "is being written by another program",
            where=self._hunt.review_path.name,
            mend="Wait until it has been saved there, then do this again.",
        )

    def _write(self, work: _Work, *, seen: str) -> bool:
        """Write the file, unless it is no longer the one that was seen."""
        try:
            loser = self._hunt.review.write(work.all_rows(), None, seen=seen)
        except ReviewChangedError:
            return False
        if loser is not None:
            raise ReviewError(
                "was saved by another program at the same moment",
                where=self._hunt.review_path.name,
                mend=f"What that saved is kept in {loser.name}: look what differs.",
            )
        return True

    def _parse(self, raw: bytes) -> Sheet:
        hunt = self._hunt
        machine = hunt.review.machine_rows()
        name = hunt.review_path.name
        rows = rows_from_table(
            parse_table(raw, where=name),
            hunt.zone,
            machine=machine,
            taken=hunt.review.names_written(),
            book=hunt.phrase_book,
            where=name,
        )
        return Sheet(
            digest=_digest(raw),
            rows=tuple(rows),
            machine={row.name: row for row in machine},
        )


class _Work:
    """Edits in the making, on one reading of the file."""

    def __init__(self, sheet: Sheet, hunt: Hunt) -> None:
        self._sheet = sheet
        self._hunt = hunt
        self.rows = list(sheet.rows)
        self.changed = False
        self._conflicts: list[Conflict] = []
        self._undo: list[RowEdit] = []
        self._added: list[str] = []

    def all_rows(self) -> list[ReviewRow]:
        """Return the rows, with those that have gone from the file put back."""
        return put_back(self.rows, self._hunt.review.gone(self._sheet.rows))

    def outcome(self) -> Applied:
        return Applied(
            conflicts=tuple(self._conflicts),
            undo=tuple(reversed(self._undo)),
            added=tuple(self._added),
        )

    def make(self, edits: Sequence[RowEdit]) -> None:
        by_row: dict[str, list[CellEdit]] = {}
        for edit in edits:
            if isinstance(edit, CellEdit):
                by_row.setdefault(edit.row, []).append(edit)
            elif isinstance(edit, NewRow):
                self._add(edit)
            else:
                self._take_out(edit)
        for name, cells in by_row.items():
            self._change(name, cells)

    def _change(self, name: str, edits: Sequence[CellEdit]) -> None:
        index = self._index(name)
        if index is None:
            self._conflicts += [
                Conflict(row=name, column="", was=e.was, theirs="", mine=e.value)
                for e in edits
            ]
            return
        row = self.rows[index]
        cells = cells_of(row)
        day = row.event.clock.date() if row.event.clock else None
        changes = dict[str, str]()
        for edit in edits:
            value = self._normal(row, edit.column, edit.value, day)
            now = cells[edit.column]
            if now == value:
                continue
            if now != edit.was:
                clash = Conflict(
                    row=name, column=edit.column, was=edit.was, theirs=now, mine=value
                )
                self._conflicts.append(clash)
                continue
            changes[edit.column] = value
        if not changes:
            return
        self.rows[index] = self._checked(cells | changes, row.line)
        after = cells_of(self.rows[index])
        self._undo += [
            CellEdit(row=name, column=column, value=cells[column], was=after[column])
            for column in changes
        ]
        self.changed = True

    def _add(self, new: NewRow) -> None:
        unknown = sorted(set(new.cells) - set(ADDED_COLUMNS))
        if unknown:
            raise ReviewError(f"a row cannot be added with {', '.join(unknown)}")
        cells = dict.fromkeys(COLUMNS, "") | dict(new.cells)
        cells["row"] = self._fresh_name()
        day = _day_of(self.rows, cells["recording"])
        cells["clock"] = self._clock(cells["clock"], day, where="the new row")
        row = self._checked(cells, None)
        place = next(
            (
                index
                for index, other in enumerate(self.rows)
                if row.event.clock
                and other.event.clock
                and other.event.clock > row.event.clock
            ),
            len(self.rows),
        )
        self.rows.insert(place, row)
        self._added.append(row.name)
        self._undo.append(TakenOut(row=row.name, was=cells_of(row)))
        self.changed = True

    def _take_out(self, edit: TakenOut) -> None:
        index = self._index(edit.row)
        if index is None:
            return  # gone already
        cells = cells_of(self.rows[index])
        if edit.row in self._sheet.machine or cells != dict(edit.was):
            self._conflicts.append(
                Conflict(row=edit.row, column="", was="", theirs="changed", mine="")
            )
            return
        self._undo.append(
            NewRow(cells={name: cells[name] for name in ADDED_COLUMNS if cells[name]})
        )
        del self.rows[index]
        self.changed = True

    def _index(self, name: str) -> int | None:
        return next((i for i, row in enumerate(self.rows) if row.name == name), None)

    def _normal(self, row: ReviewRow, column: str, value: str, day: date | None) -> str:
        """Write a cell the way the file holds it, so that equal cells compare equal."""
        if column not in PERSON_COLUMNS:
            raise ReviewError(f"{column} is not for people to change")
        plain = " ".join(value.split())
        if len(plain) > LONGEST_CELL:
            raise ReviewError(
                f"{column} is longer than {LONGEST_CELL} letters",
                where=row.name,
                mend="Write less.",
            )
        if column == "clock":
            if day is None:
                day = _day_of(self.rows, row.event.recording)
            return self._clock(plain, day, where=f"row {row.name}")
        if column in {"event", "decision"}:
            return plain.lower()
        return normal_mark(plain) if column == "mark" else plain

    def _clock(self, text: str, day: date | None, *, where: str) -> str:
        if not text:
            return ""
        try:
            return format_clock(parse_clock(text, self._hunt.zone, day=day).clock)
        except CellError as error:
            raise ReviewError(
                f"time: {error.what}", where=where, mend=error.mend
            ) from error

    def _checked(self, cells: Mapping[str, str], line: int | None) -> ReviewRow:
        """Read a row's cells as the file's reader does, with all its checks."""
        columns = tuple(dict.fromkeys([*COLUMNS, *cells]))
        table = CellTable(
            columns=columns,
            lines=(TableLine(number=line or len(self.rows) + 2, cells=cells),),
            decimal_comma=False,
        )
        machine = self._sheet.machine.get(cells["row"])
        return rows_from_table(
            table,
            self._hunt.zone,
            machine=[machine] if machine else [],
            book=self._hunt.phrase_book,
            one_each=True,
            where=self._hunt.review_path.name,
        )[0]

    def _fresh_name(self) -> str:
        taken = {row.name for row in self.rows} | set(self._sheet.machine)
        taken |= self._hunt.review.names_written()  # some may have gone
        number = 1
        while f"h{number:04d}" in taken:
            number += 1
        return f"h{number:04d}"


def _digest(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()[:32]  # as the store makes it


def _day_of(rows: Sequence[ReviewRow], recording: str) -> date | None:
    """Return the day of a recording, or of the hunt if it has but one."""
    days = [(r.event.recording, r.event.clock.date()) for r in rows if r.event.clock]
    of_all = {day for _, day in days}
    only = of_all.pop() if len(of_all) == 1 else None
    return next((day for name, day in days if name == recording), only)


# Edits are records here, and what the page sends: these are the limits of the latter.
Name = Annotated[str, Field(min_length=1, max_length=40)]
Cell = Annotated[str, Field(max_length=4000)]
Cells = Annotated[Mapping[Name, Cell], Field(max_length=40)]
_as_sent = with_config(ConfigDict(extra="forbid"))


@_as_sent
@dataclass(frozen=True, slots=True, kw_only=True)
class CellEdit:
    """One cell to change: `was` is what the person saw there when deciding."""

    kind: Literal["cell"] = "cell"
    row: Name
    column: Name
    value: Cell
    was: Cell


@_as_sent
@dataclass(frozen=True, slots=True, kw_only=True)
class NewRow:
    """A row to add; `cells` by column, "clock" among them."""

    kind: Literal["add"] = "add"
    cells: Cells


@_as_sent
@dataclass(frozen=True, slots=True, kw_only=True)
class TakenOut:
    """A row that was added by hand, to take out again if it is still as it `was`."""

    kind: Literal["take out"] = "take out"
    row: Name
    was: Cells


@_as_sent
@dataclass(frozen=True, slots=True, kw_only=True)
class LineKey:
    """What a line without a note is known by; see `treeward.notes.unread.Unread`."""

    recording: Annotated[str, Field(max_length=1000)]
    text: Cell
    start_s: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None
    line: Annotated[int, Field(ge=1)] | None


@_as_sent
@dataclass(frozen=True, slots=True, kw_only=True)
class LineJudged:
    """A line without a note: dismissed, there being nothing in it, or brought back."""

    kind: Literal["line"] = "line"
    line: LineKey
    dismissed: bool


RowEdit = CellEdit | NewRow | TakenOut
Edit = RowEdit | LineJudged


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """review.csv at one moment: its rows, the machine's, and a digest of the file."""

    digest: str
    rows: tuple[ReviewRow, ...]
    machine: Mapping[str, ReviewRow] = field(default_factory=dict)
