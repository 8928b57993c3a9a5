"""The rows of review.csv as the report shows them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.notes.events import Event
    from treeward.report.model import NoteRow
    from treeward.review.file import ReviewRow


def note_rows(rows: Sequence[ReviewRow]) -> dict[str, NoteRow]:
    """Return each row with where it was heard and what it says, by its name."""
    from treeward.report.model import NoteRow

    return {
        row.name: NoteRow(
            row=row.name,
            recording=row.event.recording,
            start_s=row.event.start_s,
            end_s=row.event.end_s,
            clock=row.event.clock,
            said=said_in_words(row.event),
            heard=row.event.heard,
            confidence=row.event.confidence,
            flag="; ".join(row.event.flags),
            decision=row.decision,
        )
        for row in rows
    }


def said_in_words(event: Event) -> str:
    """Say an event in plain words: "yellow away", "bearing 210 (yellow)"."""
    parts = [event.mark, event.kind.value, event.value]
    if event.kind in {"bearing", "duration"} and event.mark:
        parts = [event.kind.value, event.value, f"({event.mark})"]
    return " ".join(part for part in parts if part)
