"""review.csv: what was heard, in the file that a person corrects.

Treeward writes it as UTF-8 with commas, one event a row. It reads back whatever a
spreadsheet program made of that, rows that were typed by hand with little more than
clock, event and mark, and refuses the rest with a line for every fault.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, cast

from treeward.atomic import write_text
from treeward.errors import ReviewError

from .events import Event, EventKind
from .review_cells import (
    format_alternatives,
    format_seconds,
    join_texts,
)
from .review_clock import format_clock
from .review_table import COLUMNS, ReviewFaultsError, guard

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from zoneinfo import ZoneInfo

__all__ = [
    "COLUMNS",
    "PERSON_COLUMNS",
    "ReviewFaultsError",
    "ReviewRow",
    "cells_of",
    "effective_events",
    "read_review",
    "write_review",
]

Decision = Literal["", "keep", "drop"]

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


def write_review(path: Path, rows: Sequence[ReviewRow]) -> None:
    """Write review.csv, beside and then renamed.

    A byte-order mark stands first where a row holds more than plain letters, since
    spreadsheet programs otherwise read them wrongly.

    Raises
    ------
    TreewardError
        If the file is held open by another program, or may not be written.
    """
    extra = dict.fromkeys(name for row in rows for name, _ in row.extra)
    columns = [*COLUMNS, *(name for name in extra if name not in COLUMNS)]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(guard(name) for name in columns)
    for row in rows:
        cells = cells_of(row)
        # A lone carriage return would end the line: the csv module leaves it bare.
        texts = (re.sub(r"\r\n?", "\n", cells.get(name, "")) for name in columns)
        writer.writerow(guard(text) for text in texts)
    text = out.getvalue()
    try:
        write_text(path, text if text.isascii() else f"\ufeff{text}")
    except OSError as error:
        raise ReviewError(
            f"cannot be written ({error.strerror})",
            where=str(path),
            mend="Close it where it is open, see that the disk has room, run again.",
        ) from error


def read_review(
    path: Path, zone: ZoneInfo, *, machine: Sequence[ReviewRow] = ()
) -> list[ReviewRow]:
    """Read review.csv, whoever saved it last.

    Parameters
    ----------
    path
        The file.
    zone
        The hunt's time zone, for clocks without an offset.
    machine
        What the machine wrote last. It fills columns that were dropped, undoes what
        a spreadsheet program did to a cell nobody meant to change (10:22 became
        10:22:00), and tells day from month.

    Returns
    -------
    list of ReviewRow
        In the order of the file. Rows without a name get one, "h0001" on.

    Raises
    ------
    ReviewFaultsError
        With a line for every cell that cannot be read.
    ReviewError
        If the file as a whole cannot be read.
    """
    from .review_reading import rows_from_table
    from .review_table import read_table

    return rows_from_table(read_table(path), zone, machine=machine, where=path.name)


def effective_events(
    rows: Sequence[ReviewRow], machine: Sequence[ReviewRow] = ()
) -> list[Event]:
    """Return the events that count: the person's word over the machine's.

    Dropped rows are left out. Rows to keep lose their flags, and so do rows that the
    person changed, where `machine` (what the machine wrote) shows that.
    """
    written = {row.name: cells_of(row) for row in machine}
    events: list[Event] = []
    for row in rows:
        if row.decision == "drop":
            continue
        before = written.get(row.name)
        cells = cells_of(row)
        changed = before is not None and any(
            cells[name] != before[name] for name in ("clock", "event", "mark", "value")
        )
        if row.decision == "keep" or changed:
            events.append(replace(row.event, flags=(), confidence=1.0))
        else:
            events.append(row.event)
    return events


def normal_mark(text: str) -> str:
    """Write a mark as events hold it: "Blue / White" is "blue-white".

    One or two colours joined by "-", then optionally a spot.
    """
    plain = re.sub(r"\s*[-/+]\s*", "-", " ".join(text.lower().split()))
    words = plain.split(" ")
    if len(words) > 1 and "-" not in words[0] and words[1] not in _SPOTS:
        plain = " ".join([f"{words[0]}-{words[1]}", *words[2:]])
    return plain


_SPOTS = frozenset({"thorax", "abdomen"})


def decision_from(text: str) -> Decision:
    """Read a decision; raises ValueError for another word."""
    plain = text.strip().lower()
    if plain not in {"", "keep", "drop"}:
        raise ValueError(plain)
    return cast("Decision", plain)


def kind_from(text: str) -> EventKind:
    """Read an event's kind in any capitals; raises ValueError for another word."""
    return EventKind(text.strip().lower())
