"""review.csv: what was heard, in the file that a person corrects.

Treeward writes it as UTF-8 with commas, one event a row. It reads back whatever a
spreadsheet program made of that, rows that were typed by hand with little more than
clock, event and mark, and refuses the rest with a line for every fault.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.errors import ReviewError
from treeward.files import write_text

from .row import PERSON_COLUMNS, ReviewRow, cells_of
from .table import COLUMNS, ReviewFaultsError, guard, heading_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from treeward.notes.events import Event

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


def write_review(
    path: Path, rows: Sequence[ReviewRow], *, within: Path | None = None
) -> None:
    """Write review.csv, beside and then renamed; `within` is the hunt it belongs to.

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
    writer.writerow(guard(heading_of(name)) for name in columns)
    for row in rows:
        cells = cells_of(row)
        # A lone carriage return would end the line: the csv module leaves it bare.
        texts = (re.sub(r"\r\n?", "\n", cells.get(name, "")) for name in columns)
        writer.writerow(guard(text) for text in texts)
    text = out.getvalue()
    try:
        text = text if text.isascii() else f"\ufeff{text}"
        write_text(path, text, within=within)
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
    from .reading import rows_from_table
    from .table import read_table

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
