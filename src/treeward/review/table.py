"""review.csv as bytes: whatever a spreadsheet program saved, to named cells."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.errors import ReviewError
from treeward.files import read_whole

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

COLUMNS = (
    "row",
    "recording",
    "start_s",
    "end_s",
    "clock",
    "event",
    "mark",
    "value",
    "confidence",
    "heard",
    "alternatives",
    "flag",
    "decision",
    "remark",
)
SAME_NAME = "\x1f"  # ASCII's unit separator; no heading that is read holds it
MOST_BYTES = 8_000_000  # a season is one MB; this takes 5 s and 300 MB of memory
_DELIMITERS = (",", ";", "\t", "|")
# What a spreadsheet program would run as a formula (OWASP, "CSV Injection"): at the
# start of a cell, and behind what a program with other settings takes for its end.
_FORMULA = re.compile(r"'*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_INNER = re.compile(r"([;|\t\r\n][\s\"]*)('*[=+\-@\uff1d\uff0b\uff0d\uff20])")


class ReviewFaultsError(ReviewError):
    """All that is wrong with a review file, one line each.

    `lines` holds every fault as a printable line; the message itself is the first,
    with the number of the others.
    """

    def __init__(self, faults: Sequence[ReviewError]) -> None:
        self.faults = tuple(faults)
        self.lines = tuple(fault.line() for fault in faults)
        first = faults[0]
        more = len(faults) - 1
        mend = f"{first.mend} ({more} more after this one.)" if more else first.mend
        super().__init__(first.what, where=first.where, mend=mend)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableLine:
    """One line of the file: its number as a spreadsheet counts, and its cells."""

    number: int
    cells: Mapping[str, str]  # by lower-case column name; only columns that exist


@dataclass(frozen=True, slots=True, kw_only=True)
class CellTable:
    """The whole file, as text."""

    columns: tuple[str, ...]
    lines: tuple[TableLine, ...]
    decimal_comma: bool  # numbers may hold one, since it is not the delimiter


def guard(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet would run as a formula."""
    inner = _INNER.sub(r"\1'\2", text)
    return f"'{inner}" if _FORMULA.match(inner) else inner


def unguard(text: str) -> str:
    """Take the apostrophes away again."""
    if text.startswith("'") and _FORMULA.match(text[1:]):
        text = text[1:]
    return _INNER.sub(
        lambda m: m[1] + m[2].removeprefix("'") if m[2][0] == "'" else m[0], text
    )


def table_bytes(path: Path) -> bytes:
    """Return the bytes of a table that `parse_table` is to read.

    Raises
    ------
    ReviewError
        If it is not there, too large for a review file, or cannot be read.
    """
    return read_whole(
        path,
        most_bytes=MOST_BYTES,
        error=ReviewError,
        too_large="This is no review file; see that the right one lies there.",
        missing=("is not there", "Run treeward transcribe, or write one by hand."),
        unreadable="Close it where it is open and check that you may read it.",
    )


def parse_table(raw: bytes, *, where: str) -> CellTable:
    """Read a table with a heading line from the bytes of a file, as text.

    UTF-8 with or without byte-order mark, UTF-16, and the Windows code page that old
    spreadsheet programs use; commas, semicolons, tabs or bars; any line ends.

    Raises
    ------
    ReviewError
        If it cannot be read as a table with the columns of a review file.
    """
    text = _text_of(raw, where)
    skip = 0
    if match := re.match(r"sep=(.)\r?\n", text):  # a spreadsheet's own hint
        text, skip = text[match.end() :], 1
    head = re.split(r"[\r\n]", text.lstrip("\r\n"), maxsplit=1)[0]
    delimiter = max(_DELIMITERS, key=lambda d: len(_known(head.split(d))))
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        numbered = [(n, line) for n, line in enumerate(reader, 1 + skip) if any(line)]
    except csv.Error as error:
        raise ReviewError(
            f"cannot be read as CSV ({error})",
            where=f"{where} row {reader.line_num}",
            mend="See that every quotation mark is closed.",
        ) from error
    if not numbered:
        raise ReviewError(
            "is empty",
            where=where,
            mend=f"Its first line must be: {','.join(COLUMNS)}",
        )
    number, heading = numbered[0]
    columns = _columns(heading)
    _check_heading(heading, where=f"{where} row {number}")
    _check_whole(text, columns, numbered[-1], where=where)
    lines = [
        TableLine(
            number=number,
            cells={
                name: unguard(cell) for name, cell in zip(columns, cells, strict=False)
            },
        )
        for number, cells in numbered[1:]
        if any(cell.strip() for cell in cells)
    ]
    overfull = [n for n, cells in numbered[1:] if any(cells[len(columns) :])]
    if overfull:
        raise ReviewError(
            f"has more cells than the heading's {len(columns)}",
            where=f"{where} row {overfull[0]}",
            mend="Put text that holds a comma between quotation marks.",
        )
    return CellTable(
        columns=tuple(columns), lines=tuple(lines), decimal_comma=delimiter != ","
    )


def _known(names: Sequence[str]) -> set[str]:
    return {name.strip().strip('"').strip().lower() for name in names} & set(COLUMNS)


def _columns(heading: Sequence[str]) -> list[str]:
    """Name the columns: ours in small letters, the person's as they are written.

    A column without a heading, and a second one of the same, gets a number behind
    `SAME_NAME`, so that both are kept; `heading_of` takes it away again.
    """
    names: list[str] = []
    for cell in heading:
        plain = re.sub(r"[\x00-\x1f\x7f-\x9f]", " ", unguard(cell)).strip()
        known = plain.lower().strip('"').strip()
        name = known if known in COLUMNS else plain
        number = 1
        while name in names or not name:
            number += 1
            name = f"{plain}{SAME_NAME}{number}"
        names.append(name)
    return names


def heading_of(column: str) -> str:
    """Return what stands above a column; see `_columns`."""
    return column.partition(SAME_NAME)[0]


def _check_whole(
    text: str, columns: Sequence[str], last: tuple[int, list[str]], *, where: str
) -> None:
    """Refuse a file of ours whose last row is cut off; a row typed by hand may be."""
    number, cells = last
    ours = set(COLUMNS) <= set(columns)
    if not ours or text.endswith(("\n", "\r")):
        return
    if len(cells) < len(columns) or text.count('"') % 2:
        raise ReviewError(
            "is cut off in the middle of this row, which is the last one",
            where=f"{where} row {number}",
            mend="Save it again where it is open, or take this row away: Treeward puts "
            "back what it wrote.",
        )


def _check_heading(heading: Sequence[str], *, where: str) -> None:
    columns = [unguard(name).strip().lower().strip('"').strip() for name in heading]
    known = _known(columns)
    if "event" not in known or not known & {"clock", "start_s"}:
        missing = "event" if "event" not in known else "clock"
        raise ReviewError(
            f"has no column {missing}",
            where=where,
            mend=f"The heading must be: {','.join(COLUMNS)} (clock, event, mark and "
            "value are enough).",
        )
    doubled = [name for name in known if columns.count(name) > 1]
    if doubled:
        raise ReviewError(
            f"has column {min(doubled)} twice",
            where=where,
            mend="Take one of them away.",
        )


def _text_of(raw: bytes, where: str) -> str:
    text = _decode(raw, where)
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise ReviewError(
            "holds a zero byte, so it is not text",
            where=f"{where} row {line}",
            mend="Save it as CSV (UTF-8) or restore it from a copy.",
        )
    return text


def _decode(raw: bytes, where: str) -> str:
    if raw[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        encoding = "utf-16"
    elif raw[:200].count(0) > len(raw[:200]) // 4:
        encoding = "utf-16-le" if raw[1:2] == b"\0" else "utf-16-be"
    else:
        encoding = "utf-8-sig"
    try:
        return raw.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding == "utf-8-sig":
            try:
                return raw.decode("cp1252")  # "CSV" of spreadsheets on Windows
            except UnicodeDecodeError:
                pass
        line = raw[: error.start].count(b"\n") + 1
        raise ReviewError(
            f"byte {error.start} is not text in {encoding.removesuffix('-sig')}",
            where=f"{where} row {line}",
            mend="Save it as CSV (UTF-8).",
        ) from error
