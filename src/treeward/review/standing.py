"""Where rows stand: which need a look, which of them first, and how many are left.

Every screen and file that says how many notes and lines are to be looked at has it from
`left_of`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, EventKind, Need
from treeward.notes.flags import OF_THE_CLOCK, FlagCode, sentences_of

from .file import cells_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from .file import ReviewRow

_WEIGHT_REFUSED = 1.2  # of a time that does not fit the others; guess
_LEAST_DOUBT = 0.3  # of a row that was flagged in spite of a high confidence; guess
_ONE_REFUSAL = frozenset({FlagCode.UNFIT_TIME, FlagCode.TAKEN_AS_OTHERS})
_CHANGED = ("clock", "event", "mark", "value")


class Status(StrEnum):
    """Where a row stands in the review."""

    LOOK = "look"  # needs a look
    PLAIN = "plain"  # nothing speaks against it
    KEPT = "kept"
    CHANGED = "changed"
    ADDED = "added"
    DROPPED = "dropped"


def status_of(row: ReviewRow, written: ReviewRow | None) -> Status:
    """Tell where a row stands.

    Parameters
    ----------
    row
        As it is in review.csv.
    written
        What the machine wrote of it; None for a row added by hand.
    """
    if row.decision == "drop":
        return Status.DROPPED
    conflict = row.event.has(FlagCode.HEARD_ANEW)
    if lacks(row) or (conflict and not row.decision):
        return Status.LOOK
    if row.decision == "keep":
        return Status.KEPT
    if written is None:
        return Status.LOOK if row.event.flags else Status.ADDED
    cells, before = cells_of(row), cells_of(written)
    if any(cells[name] != before[name] for name in _CHANGED):
        return Status.CHANGED
    return Status.LOOK if row.event.flags else Status.PLAIN


def lacks(row: ReviewRow) -> str:
    """Name what a row cannot do without and has not: "value", "mark" or ""."""
    event = row.event
    if KINDS[event.kind].value is Need.MUST and not event.value:
        return "value"
    if KINDS[event.kind].mark is Need.MUST and not event.mark:
        return "mark"
    return ""


def reasons_of(row: ReviewRow) -> tuple[str, ...]:
    """Say in words why a row needs a look.

    Of a time that the clock refused, all that it was taken for is said in one, and with
    it the time that the others make it.
    """
    missing = lacks(row)
    flags = row.event.flags
    if any(flag.code is FlagCode.UNFIT_TIME for flag in flags):
        flags = tuple(flag for flag in flags if flag.code not in _ONE_REFUSAL)
        return (*sentences_of(flags), _refused_text(row))
    said = sentences_of(flags)
    if missing and not said:
        return (f"{row.event.kind.value} without a {missing}",)
    return said


def _refused_text(row: ReviewRow) -> str:
    """Say of a time that does not fit the others what it was taken for."""
    event = row.event
    retaken = (f for f in event.flags if f.code is FlagCode.TAKEN_AS_OTHERS)
    heard = next((flag.words[0] for flag in retaken if flag.words), "")
    said = f"heard as {event.value}, which does not fit the other times"
    if heard:
        said = f"heard as {heard} or {event.value}; neither fits the other times"
    by_others = f", by which it was {event.clock:%H:%M}" if event.clock else ""
    return f"{said}{by_others}: it sets no clock"


def worry(row: ReviewRow) -> float:
    """Return how much may be wrong because of this row; larger is worse.

    The weight of its kind times the chance that it is wrong: 1 where something is
    missing, otherwise what is left of the engine's confidence. A time that the clock
    has refused already moves nothing any more, but may be another note misheard.
    """
    doubt = max(_LEAST_DOUBT, 1.0 - row.event.confidence)
    if lacks(row):
        doubt = 1.0
    elif row.event.has(FlagCode.HEARD_ANEW):
        doubt = max(doubt, 0.9)  # the person and the machine disagree; guess
    more_reasons = 0.05 * max(0, len(row.event.flags) - 1)
    weight = KINDS[row.event.kind].weight
    refused = any(flag.code in OF_THE_CLOCK for flag in row.event.flags)
    if row.event.kind is EventKind.TIME and refused:
        weight = min(weight, _WEIGHT_REFUSED)
    return weight * min(1.0, doubt + more_reasons)


def to_look_at(
    rows: Sequence[ReviewRow], machine: Mapping[str, ReviewRow]
) -> list[ReviewRow]:
    """Return the rows that need a look, worst first, then in the file's order."""
    doubtful = [
        row for row in rows if status_of(row, machine.get(row.name)) is Status.LOOK
    ]
    return sorted(doubtful, key=lambda row: -worry(row))


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What is still to be looked at.

    `rows` names the notes that need a look; `lines` counts the lines that name a bee
    and made no note, and that nobody has judged; `of` counts all notes.
    """

    rows: tuple[str, ...] = ()
    lines: int = 0
    of: int = 0

    @property
    def notes(self) -> int:
        """How many notes need a look."""
        return len(self.rows)

    @property
    def any(self) -> bool:
        """Whether anything is left."""
        return bool(self.rows or self.lines)


def left_of(
    rows: Sequence[ReviewRow], machine: Mapping[str, ReviewRow], *, lines: int
) -> Left:
    """Count what is still to be looked at.

    Parameters
    ----------
    rows
        As they stand in review.csv.
    machine
        What the machine wrote, by row.
    lines
        How many lines without a note nobody has judged.
    """
    names = tuple(row.name for row in to_look_at(rows, machine))
    return Left(rows=names, lines=lines, of=len(rows))
