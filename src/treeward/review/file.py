"""review.csv: what was heard, in the file that a person corrects.

Treeward writes it as UTF-8 with commas, one event a row. It reads back whatever a
spreadsheet program made of that, rows that were typed by hand with little more than
clock, event and mark, and refuses the rest with a line for every fault.

The cells of a review file to rows, with a line for every fault.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, cast

from treeward.audio import LONGEST_S
from treeward.errors import ReviewError
from treeward.files import write_text
from treeward.language.kinds import (
    ALSO_WRITTEN,
    KINDS,
    EventKind,
    Holds,
    how_to_write,
    is_value,
    plain_duration,
    same_value,
)
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode, read_flags

from .by_hand import with_marks_meant, with_values_apart, without_cell_flags
from .merge import seconds_apart, whose
from .row import (
    PERSON_COLUMNS,
    CellError,
    ClockCell,
    Decision,
    NoDayError,
    ReviewRow,
    cells_of,
    day_first,
    normal_mark,
    parse_alternatives,
    parse_clock,
    parse_number,
    split_texts,
)
from .table import (
    COLUMNS,
    CellTable,
    ReviewFaultsError,
    TableLine,
    guard,
    heading_of,
    parse_table,
    table_bytes,
)

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence
    from datetime import date, datetime
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from treeward.language.phrasebook import PhraseBook


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
    path: Path,
    zone: ZoneInfo,
    *,
    machine: Sequence[ReviewRow] = (),
    taken: Collection[str] = (),
    book: PhraseBook | None = None,
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
    taken
        Names that are no new row's, where the file has names at all: those of rows
        that were there and have gone.
    book
        The phrase book that names the marks; without it marks stay as they were typed.

    Returns
    -------
    list of ReviewRow
        In the order of the file. Rows without a name get one, "h0001" on, and so does
        a bearing or a time out that was typed into the row of a coming or leaving.

    Raises
    ------
    ReviewFaultsError
        With a line for every cell that cannot be read.
    ReviewError
        If the file as a whole cannot be read.
    """
    table = parse_table(table_bytes(path), where=path.name)
    return rows_from_table(
        table, zone, machine=machine, taken=taken, book=book, where=path.name
    )


def effective_events(
    rows: Sequence[ReviewRow], machine: Sequence[ReviewRow] = ()
) -> list[Event]:
    """Return the events that count: the person's word over the machine's.

    Dropped rows are left out, and so is one that is no longer heard beside the same
    note as it is heard now, until its row is kept. Rows to keep lose their flags, and
    so do rows that the person changed, where `machine` (what the machine wrote) shows
    that.
    """
    written = {row.name: cells_of(row) for row in machine}
    events: list[Event] = []
    for row in rows:
        if row.decision == "drop" or _stands_anew(row, rows):
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


def _stands_anew(row: ReviewRow, rows: Sequence[ReviewRow]) -> bool:
    """Tell whether a row kept from an earlier hearing stands as it is heard now too."""
    if row.decision == "keep" or not row.event.has(FlagCode.NO_LONGER_HEARD):
        return False
    return any(
        other.decision != "drop"
        and not other.event.has(FlagCode.NO_LONGER_HEARD)
        and whose(other.event) == whose(row.event)
        and seconds_apart(other.event, row.event) is not None
        for other in rows
    )


MOST_FAULTS = 200  # lines printed at most; a file with more is another kind of file
_MOST_WORDS = 4  # of a kind, in a refusal that names them; choice
_WORDS_OF = {
    kind: [word for word, meant in ALSO_WRITTEN.items() if meant is kind]
    for kind in EventKind
}
_KINDS = ", ".join(
    f"{kind.value} (or {', '.join(words[:_MOST_WORDS])})" if words else kind.value
    for kind, words in _WORDS_OF.items()
)
_WITHOUT_ZEROS = re.compile(r"^(\d+)[.,]0+$")  # "210.0", as spreadsheets write
# No spreadsheet shows them, terminals obey them, and map files cannot hold them.
_CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_VALUE_OF = {Holds.DEGREES: EventKind.BEARING}  # whatever kind of note has it
_ISO = re.compile(r"^\d{4}-\d\d-\d\dT")


@dataclass(slots=True)
class _RowReader:
    """What the reading of one row needs to know of the whole file."""

    table: CellTable
    zone: ZoneInfo
    where: str
    machine: Mapping[str, ReviewRow]
    by_day: bool | None = None  # before the month
    days: dict[str, date] = field(default_factory=dict)  # recording -> its day
    above: dict[str, date] = field(default_factory=dict)  # of the last row; "" of all
    faults: list[ReviewError] = field(default_factory=list)
    undated: bool = False  # a row without a day was told of

    def fault(self, line: TableLine, column: str, what: str, mend: str) -> None:
        name = line.cells.get("row", "").strip()
        named = f" ({name})" if name else ""
        self.faults.append(
            ReviewError(
                f"{column}: {what}",
                where=f"{self.where} row {line.number}{named}",
                mend=mend,
            )
        )


def rows_from_table(
    table: CellTable,
    zone: ZoneInfo,
    *,
    machine: Sequence[ReviewRow] = (),
    taken: Collection[str] = (),
    book: PhraseBook | None = None,
    one_each: bool = False,
    where: str = "review.csv",
) -> list[ReviewRow]:
    """Turn the cells of a file into rows; see `read_review`.

    With `one_each` a value that belongs to another kind of note stays in its row.
    """
    clocks = (line.cells.get("clock", "") for line in table.lines)
    reader = _RowReader(
        table=table,
        zone=zone,
        where=where,
        machine={row.name: row for row in machine},
        by_day=day_first(clocks),
    )
    names = _names(table, reader.machine, taken)
    reader.days = _days(reader)
    rows: list[ReviewRow] = []
    for line, (name, own) in zip(table.lines, names, strict=True):
        row = _row(reader, line, name, reader.machine.get(name) if own else None)
        if row is not None:
            rows.append(row)
        if len(reader.faults) >= MOST_FAULTS:
            break
    if reader.faults:
        raise ReviewFaultsError(reader.faults)
    if rows and (headed := _headed_alone(table)):  # so that the headings stay
        rows[0] = replace(rows[0], extra=(*rows[0].extra, *headed))
    if book is not None:
        rows = with_marks_meant(rows, reader.machine, book)
    return rows if one_each else with_values_apart(rows, reader.machine, taken)


def _headed_alone(table: CellTable) -> list[tuple[str, str]]:
    """Return the person's columns that have a heading and no cell yet."""
    return [
        (column, "")
        for column in table.columns
        if column not in COLUMNS
        and heading_of(column)
        and not any(line.cells.get(column) for line in table.lines)
    ]


def _names(
    table: CellTable, machine: Mapping[str, ReviewRow], gone: Collection[str]
) -> list[tuple[str, bool]]:
    """Name every row, and say whether it is the machine's row of that name.

    A row that was copied has a name that stands twice; the likest one keeps it. Rows
    without a name are matched with the machine's by recording and second, where the
    name column was dropped, and otherwise get a name of their own.
    """
    given = [_plain(line.cells.get("row", "")).strip() for line in table.lines]
    by_place = {_place(cells_of(row)): name for name, row in machine.items()}
    taken = {name for name in given if name}
    # A file without any name may be the one that was typed first: the same rows.
    gone = set(gone) if taken else set()
    named: list[str] = []
    for line, name in zip(table.lines, given, strict=True):
        found = name
        if not name:
            found = by_place.get(_place(line.cells), "")
            found = "" if found in taken else found
            taken.add(found)
        named.append(found)
    counts = Counter(name for name in named if name)
    owners: dict[str, int] = {}
    for index, (line, name) in enumerate(zip(table.lines, named, strict=True)):
        if not name:
            continue
        best = owners.get(name)
        if best is None or (
            counts[name] > 1
            and _likeness(line, machine.get(name))
            > _likeness(table.lines[best], machine.get(name))
        ):
            owners[name] = index
    result: list[tuple[str, bool]] = []
    number = 0
    for index, name in enumerate(named):
        if name and owners[name] == index:
            result.append((name, True))
            continue
        number += 1
        while (fresh := f"h{number:04d}") in taken or fresh in gone:
            number += 1
        taken.add(fresh)
        result.append((fresh, False))
    return result


def _place(cells: Mapping[str, str]) -> tuple[str, str, str] | None:
    start = cells.get("start_s", "").strip().replace(",", ".")
    if not start:
        return None
    return (cells.get("recording", "").strip(), start, cells.get("heard", "").strip())


def _likeness(line: TableLine, row: ReviewRow | None) -> int:
    if row is None:
        return 0
    before = cells_of(row)
    return sum(before.get(name) == cell.strip() for name, cell in line.cells.items())


def _days(reader: _RowReader) -> dict[str, date]:
    """Find the day of each recording, for clocks that give a time alone."""
    days: dict[str, date] = {}
    for row in reader.machine.values():
        if row.event.clock is not None:
            days.setdefault(row.event.recording, row.event.clock.date())
    for line in reader.table.lines:
        cell = line.cells.get("clock", "").strip()
        if not cell or line.cells.get("recording", "").strip() in days:
            continue
        try:
            found = parse_clock(cell, reader.zone, by_day=reader.by_day)
        except CellError:
            continue
        days.setdefault(line.cells.get("recording", "").strip(), found.clock.date())
    if len(set(days.values())) == 1:
        days.setdefault("", next(iter(days.values())))
    return days


def _row(
    reader: _RowReader, line: TableLine, name: str, written: ReviewRow | None
) -> ReviewRow | None:
    before = cells_of(written) if written else {}
    faults_before = len(reader.faults)

    def cell(column: str) -> str:
        found = line.cells.get(column)
        if found is None:
            return before.get(column, "")
        return _plain(found).strip()

    kind = _kind(reader, line, cell("event"))
    clock = _clock(reader, line, cell("clock"), written)
    numbers = [_number(reader, line, c, cell(c)) for c in ("start_s", "end_s")]
    confidence = _number(reader, line, "confidence", cell("confidence"))
    decision = _decision(reader, line, cell("decision"))
    if not cell("clock") and not cell("start_s") and decision != "drop":
        reader.fault(
            line, "clock", "is empty", "Write when it was, as 2026-07-14 10:22:31."
        )
    if len(reader.faults) > faults_before or kind is None:
        return None
    event = Event(
        kind=kind,
        mark=normal_mark(cell("mark")),
        value=_value(reader, line, kind, cell("value"), before.get("value")),
        recording=cell("recording"),
        start_s=numbers[0],
        end_s=numbers[1],
        clock=clock.clock if clock else None,
        confidence=1.0 if confidence is None else min(1.0, max(0.0, confidence)),
        heard=cell("heard"),
        alternatives=parse_alternatives(cell("alternatives")),
        flags=_flags(cell("flag"), clock),
        row=name,
    )
    if written is not None:
        event = _with_machine_cells(event, written.event)
    if len(reader.faults) > faults_before:
        return None
    extra = tuple(
        (column, _plain(line.cells[column]))
        for column in reader.table.columns
        if column not in COLUMNS and line.cells.get(column)
    )
    return ReviewRow(
        event=event,
        decision=decision,
        remark=cell("remark"),
        extra=extra,
        line=line.number,
    )


def _decision(reader: _RowReader, line: TableLine, text: str) -> Decision:
    plain = text.strip().lower()
    if plain not in {"", "keep", "drop"}:
        mend = "Leave it empty, or write keep or drop."
        reader.fault(line, "decision", f"{text!r} is no decision", mend)
        return ""
    return cast("Decision", plain)


def _plain(text: str) -> str:
    return _CONTROLS.sub(" ", re.sub(r"\r\n?", "\n", text))


def _with_machine_cells(event: Event, written: Event) -> Event:
    """Take what only the machine writes from its own copy, unspoilt."""
    return replace(
        event,
        recording=written.recording,
        start_s=written.start_s,
        end_s=written.end_s,
        confidence=written.confidence,
        heard=written.heard,
        alternatives=written.alternatives,
    )


def _kind(reader: _RowReader, line: TableLine, cell: str) -> EventKind | None:
    """Read an event's kind in any capitals, or as people write it: "gone", "landed"."""
    plain = cell.strip().lower()
    try:
        return ALSO_WRITTEN.get(plain) or EventKind(plain)
    except ValueError:
        what = f"{cell!r} is no event" if cell else "is empty"
        reader.fault(line, "event", what, f"Write one of: {_KINDS}.")
        return None


def _clock(
    reader: _RowReader, line: TableLine, cell: str, written: ReviewRow | None
) -> ClockCell | None:
    if not cell:
        return None
    machine = written.event.clock if written else None
    recording = line.cells.get("recording", "").strip()
    days = (reader.above.get(recording), reader.days.get(recording))
    day = next(filter(None, days), reader.days.get(""))
    try:
        found = parse_clock(
            cell, reader.zone, by_day=reader.by_day, machine=machine, day=day
        )
    except NoDayError as error:
        if not reader.undated:  # one line for all of them
            mend = f"Write the date in this row, as 2026-07-14 {cell[:12]}"
            more = (
                "; the rows after it are then of that day." if not reader.days else "."
            )
            reader.fault(line, "clock", error.what, mend + more)
        reader.undated = True
        return None
    except CellError as error:
        reader.fault(line, "clock", error.what, error.mend)
        return None
    reader.above[recording] = reader.above[""] = found.clock.date()
    if machine is not None and not _ISO.match(cell) and _same(found, machine):
        return ClockCell(clock=machine, resolution_s=1.0)
    return found


def _same(found: ClockCell, machine: datetime) -> bool:
    """Tell whether a cell is the machine's clock, cut short by a spreadsheet."""
    there_s, here_s = found.clock.timestamp(), machine.timestamp()
    width_s = found.resolution_s
    return there_s in {here_s // width_s * width_s, round(here_s / width_s) * width_s}


def _number(
    reader: _RowReader, line: TableLine, column: str, cell: str
) -> float | None:
    try:
        number = parse_number(cell, decimal_comma=reader.table.decimal_comma)
    except CellError as error:
        reader.fault(line, column, error.what, error.mend)
        return None
    if number is not None and number < 0:
        reader.fault(line, column, f"{cell} is below zero", "Correct or empty it.")
    if number is not None and number > LONGEST_S:
        what = f"{cell[:40]} is more seconds than any recording has"
        reader.fault(line, column, what, "Correct or empty it.")
    return number


def _value(
    reader: _RowReader, line: TableLine, kind: EventKind, cell: str, written: str | None
) -> str:
    """Check a value by its kind; an empty one stays empty, the row being in doubt."""
    if match := _WITHOUT_ZEROS.match(cell):
        cell = match[1]
    if not cell:
        return ""
    holds = KINDS[kind].holds
    if holds is Holds.DURATION:
        cell = plain_duration(cell)
    if not is_value(holds, cell):
        what = f"{cell!r} is no {_VALUE_OF.get(holds, kind)}"
        reader.fault(line, "value", what, how_to_write(holds))
    if written is not None and same_value(holds, cell, written):
        return written
    return cell


def _flags(cell: str, clock: ClockCell | None) -> tuple[Flag, ...]:
    flags = without_cell_flags(read_flags(split_texts(cell)))
    doubled = Flag(FlagCode.HOUR_TWICE)
    if clock is not None and clock.doubled and doubled not in flags:
        flags = (*flags, doubled)
    return flags
