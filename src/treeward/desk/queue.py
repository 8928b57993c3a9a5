"""Which rows need a look, and which of them first."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, EventKind, Need
from treeward.notes.flags import OF_THE_CLOCK, FlagCode, sentences_of
from treeward.review.file import cells_of
from treeward.trips.table import Doubt, DoubtCode
from treeward.trips.wording import doubt_texts

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from treeward.review.file import ReviewRow
    from treeward.trips.table import TripTable

_WEIGHT_REFUSED = 1.2  # of a time that does not fit the others; guess
_LEAST_DOUBT = 0.3  # of a row that was flagged in spite of a high confidence; guess
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
    """Say in words why a row needs a look."""
    missing = lacks(row)
    said = sentences_of(row.event.flags)
    if missing and not said:
        return (f"{row.event.kind.value} without a {missing}",)
    return said


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


def doubts_by_row(table: TripTable) -> dict[str, tuple[str, ...]]:
    """Return what the pairing of trips says against the notes it used, by row."""
    found: dict[str, list[Doubt]] = {}

    def note(names: Iterable[str], doubts: Iterable[Doubt]) -> None:
        for name in names:
            if name:
                found.setdefault(name, []).extend(doubts)

    for trip in table.trips:
        note((trip.away_row, trip.back_row), trip.doubts)
    for visit in table.visits:
        note((visit.back_row, visit.away_row), visit.doubts)
    for line in table.lines:
        note((line.row,), line.doubts)
    said = {
        row: doubt_texts(d for d in dict.fromkeys(doubts) if not _is_own_flag(row, d))
        for row, doubts in found.items()
    }
    return {row: texts for row, texts in said.items() if texts}


def _is_own_flag(row: str, doubt: Doubt) -> bool:
    """Tell whether a doubt is the row's own flag over again."""
    return doubt.code is DoubtCode.FLAGGED and doubt.rows == (row,)
