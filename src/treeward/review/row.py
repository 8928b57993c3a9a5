"""A row of review.csv: an event, what the person said of it, and its cells as text."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal, cast

from treeward.notes.events import Event, EventKind

from .cells import format_alternatives, format_seconds, join_texts
from .clock import format_clock

Decision = Literal["", "keep", "drop"]

_SPOTS = frozenset({"thorax", "abdomen"})
# What a person may change in a row.
PERSON_COLUMNS = ("clock", "event", "mark", "value", "decision", "remark")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewRow:
    """One row of review.csv: an event, and what the person said of it.

    `event.row` is the row's name. `extra` holds columns that the person added, by
    name; they are written back behind the others. `line` is the line in the file
    that was read, for messages.
    """

    event: Event
    decision: Decision = ""
    remark: str = ""
    extra: tuple[tuple[str, str], ...] = ()
    line: int | None = field(default=None, compare=False)

    @property
    def name(self) -> str:
        """The row's name, stable across re-runs."""
        return self.event.row


def cells_of(row: ReviewRow) -> dict[str, str]:
    """Return a row as the text of its cells, by column."""
    event = row.event
    return {
        "row": event.row,
        "recording": event.recording,
        "start_s": format_seconds(event.start_s),
        "end_s": format_seconds(event.end_s),
        "clock": "" if event.clock is None else format_clock(event.clock),
        "event": event.kind.value,
        "mark": event.mark,
        "value": event.value,
        "confidence": f"{event.confidence:.2f}",
        "heard": event.heard,
        "alternatives": format_alternatives(event.alternatives),
        "flag": join_texts(event.flags, ";"),
        "decision": row.decision,
        "remark": row.remark,
    } | dict(row.extra)


def normal_mark(text: str) -> str:
    """Write a mark as events hold it: "Blue / White" is "blue-white".

    One or two colours joined by "-", then optionally a spot.
    """
    plain = re.sub(r"\s*[-/+]\s*", "-", " ".join(text.lower().split()))
    words = plain.split(" ")
    if len(words) > 1 and "-" not in words[0] and words[1] not in _SPOTS:
        plain = " ".join([f"{words[0]}-{words[1]}", *words[2:]])
    return plain


def decision_from(text: str) -> Decision:
    """Read a decision; raises ValueError for another word."""
    plain = text.strip().lower()
    if plain not in {"", "keep", "drop"}:
        raise ValueError(plain)
    return cast("Decision", plain)


def kind_from(text: str) -> EventKind:
    """Read an event's kind in any capitals; raises ValueError for another word."""
    return EventKind(text.strip().lower())
