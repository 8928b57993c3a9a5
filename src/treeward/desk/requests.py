"""What the page may send, checked before anything is done with it."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from treeward.hunt.pasted import MOST_LETTERS

from .edits import CellEdit, Edit, LineJudged, LineKey, NewRow, TakenOut

Name = Annotated[str, Field(min_length=1, max_length=40)]
Cell = Annotated[str, Field(max_length=4000)]
Cells = Annotated[dict[Name, Cell], Field(max_length=40)]
Day = Annotated[date | None, Field()]  # None: the text's own, or today
MOST_EDITS = 200  # in one request


class _Sent(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class CellSent(_Sent):
    """A cell to change."""

    kind: Literal["cell"]
    row: Name
    column: Name
    value: Cell
    was: Cell

    def edit(self) -> Edit:
        """Return it as the ledger takes it."""
        return CellEdit(
            row=self.row, column=self.column, value=self.value, was=self.was
        )


class AddSent(_Sent):
    """A row to add."""

    kind: Literal["add"]
    cells: Cells

    def edit(self) -> Edit:
        """Return it as the ledger takes it."""
        return NewRow(cells=self.cells)


class TakeOutSent(_Sent):
    """An added row to take out again."""

    kind: Literal["take out"]
    row: Name
    was: Cells

    def edit(self) -> Edit:
        """Return it as the ledger takes it."""
        return TakenOut(row=self.row, was=self.was)


class LineKeySent(_Sent):
    """Which line without a note."""

    recording: Annotated[str, Field(max_length=1000)]
    text: Annotated[str, Field(max_length=4000)]
    start_s: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None
    line: Annotated[int, Field(ge=1)] | None


class LineSent(_Sent):
    """A line without a note to dismiss, or to bring back."""

    kind: Literal["line"]
    line: LineKeySent
    dismissed: bool

    def edit(self) -> Edit:
        """Return it as the desk takes it."""
        key = LineKey(**self.line.model_dump())
        return LineJudged(line=key, dismissed=self.dismissed)


class EditsSent(_Sent):
    """The body of a request that corrects."""

    edits: Annotated[
        list[
            Annotated[
                CellSent | AddSent | TakeOutSent | LineSent, Field(discriminator="kind")
            ]
        ],
        Field(min_length=1, max_length=MOST_EDITS),
    ]


class PhraseSent(_Sent):
    """Typed words to be read as a note."""

    text: Annotated[str, Field(max_length=200)]


class TypedSent(_Sent):
    """Notes that were typed and pasted, and the day where they do not say it."""

    text: Annotated[str, Field(max_length=MOST_LETTERS)]
    day: Day


class FindSent(_Sent):
    """A colony that was found; `may_know` are names with commas between."""

    position: Annotated[str, Field(max_length=200)]
    found: Day
    nest: Annotated[str, Field(max_length=40)]
    height_m: Annotated[float, Field(allow_inf_nan=False)] | None
    entrance: Cell
    remark: Cell
    may_know: Cell


def as_sent(edit: Edit) -> dict[str, object]:
    """Return an edit as the page would send it, for it to undo with."""
    if isinstance(edit, CellEdit):
        return CellSent(
            kind="cell",
            row=edit.row,
            column=edit.column,
            value=edit.value,
            was=edit.was,
        ).model_dump()
    if isinstance(edit, NewRow):
        return AddSent(kind="add", cells=dict(edit.cells)).model_dump()
    if isinstance(edit, LineJudged):
        key = LineKeySent(**asdict(edit.line))
        return LineSent(kind="line", line=key, dismissed=edit.dismissed).model_dump()
    return TakeOutSent(kind="take out", row=edit.row, was=dict(edit.was)).model_dump()
