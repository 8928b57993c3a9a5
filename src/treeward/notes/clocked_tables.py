"""Tables among typed notes: what their columns hold, and the cells of a row."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from treeward.language.kinds import EventKind

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from .clocked_words import Reader

Role = Literal[
    "time", "date", "mark", "event", "bearing", "duration", "station", "wind",
    "remark", "number", "back", "away", "bee", "more",
]  # fmt: skip

_HEADINGS: dict[str, Role] = {
    **dict.fromkeys(("time", "clock", "when", "hour", "clock time"), "time"),
    **dict.fromkeys(("date", "day"), "date"),
    **dict.fromkeys(("mark", "bee", "colour", "color", "paint", "bees"), "mark"),
    **dict.fromkeys(("event", "what", "action", "move", "did"), "event"),
    **dict.fromkeys(("bearing", "direction", "dir", "heading", "azimuth"), "bearing"),
    **dict.fromkeys(("degrees", "deg", "compass", "course"), "bearing"),
    **dict.fromkeys(("duration", "away time", "minutes", "min", "mins"), "duration"),
    **dict.fromkeys(("station", "stn", "dish", "seat"), "station"),
    "wind": "wind",
    **dict.fromkeys(("remark", "remarks", "note", "notes", "comment"), "remark"),
    "comments": "remark",
    **dict.fromkeys(("no", "nr", "row", "#"), "number"),
}  # fmt: skip
_WAY = r"(?:b|a|i|o|in|out|off|back|away)"
_CHOICES = re.compile(rf"{_WAY}\s?(?:/|\bor\b)\s?{_WAY}")  # "b/a", "in or out"
_IN_BRACKETS = re.compile(r"\(.*?\)|\[.*?\]|\u00b0")
_RULES = re.compile(r"[\s:|;,+=_-]*")  # a line that only rules a table
_BLANK = re.compile(r"[\s.\u2013\u2014-]*")  # a cell with nothing in it
LONGEST_HEADING = 600  # letters; forty columns; choice
TICKS = frozenset({"x", "\u2713", "\u2714", "*", "yes"})


@dataclass(frozen=True, slots=True)
class Column:
    """What a column holds; `title` is its heading, or of one bee's column her mark."""

    role: Role
    title: str


@dataclass(frozen=True, slots=True)
class Table:
    """The heading of a table, and what parts its cells: "," or two spaces."""

    columns: tuple[Column, ...]
    parted_by: str

    def has(self, *roles: Role) -> bool:
        """Tell whether a column has one of these roles."""
        return any(column.role in roles for column in self.columns)

    def cells(self, line: str) -> list[str] | None:
        """Return the cells of a row; None for a line that is no row.

        Between two spaces an empty cell cannot be seen, so a row must be whole.
        """
        found = _cells(line, self.parted_by)
        if len(found) < 2:
            return None
        if self.parted_by == "  " and len(found) != len(self.columns):
            return None
        return found

    def row(self, cells: Sequence[str]) -> Iterator[tuple[Column, str]]:
        """Give the cells of a row that hold something, those beyond the last too."""
        more = Column("more", "")
        for place, cell in enumerate(cells):
            if not is_blank(cell):
                known = place < len(self.columns)
                yield (self.columns[place] if known else more), cell


def is_blank(cell: str) -> bool:
    """Tell whether a cell holds nothing, or a dash."""
    return _BLANK.fullmatch(cell) is not None


def is_rule(line: str) -> bool:
    """Tell whether a line only rules a table."""
    return _RULES.fullmatch(line) is not None


def read_heading(line: str, reader: Reader, *, of_bee: bool = False) -> Table | None:
    """Return the table that a line is the heading of, or None.

    Headings that are not known are columns of remarks. A heading tells when and what,
    or names several bees; with `of_bee` the bee is named above it.
    """
    if len(line) > LONGEST_HEADING:
        return None
    if any("0" <= char <= "9" for char in _IN_BRACKETS.sub("", line)):
        return None
    for parted_by in ("\t", ";", "|", ",", "  "):
        if parted_by in line.strip():
            break
    else:
        return None
    cells = _cells(line, parted_by)
    plain = [_IN_BRACKETS.sub("", cell).strip(" .:*").lower() for cell in cells]
    if len(cells) < 2:
        return None
    columns = tuple(_column(cell, reader) for cell in plain)
    roles = [column.role for column in columns]
    bees = roles.count("bee")
    if bees:
        beside = {"bee", "time", "date", "station", "wind", "remark", "number"}
        named = {c.title for c in columns if c.role == "bee"}
        others = [c for c in columns if c.role == "more" and c.title]
        is_table = (
            len(named) == bees
            and beside >= set(roles) - {"more"}
            and (bees > 1 or "time" in roles)
            and not (others and "time" not in roles)
        )
    else:
        whose = of_bee or "mark" in roles or ("time" in roles and "event" in roles)
        tells = {"event", "bearing", "back", "away"} & set(roles)
        when = {"time", "back", "away"} & set(roles)
        is_table = bool(whose and tells and when)
    return Table(columns, parted_by) if is_table else None


def _column(cell: str, reader: Reader) -> Column:
    if (role := _HEADINGS.get(cell)) is not None:
        return Column(role, cell)
    if mark := reader.mark_of(cell):
        return Column("bee", mark)
    plain = re.sub(r"^(?:time|clock)\s+|\s+(?:time|at)$", "", cell)
    kind = reader.event_of(plain)
    if kind is EventKind.BACK:
        return Column("back", cell)
    if kind is EventKind.AWAY:
        return Column("away", cell)
    if _CHOICES.fullmatch(cell):
        return Column("event", cell)
    return Column("more", cell)


def _cells(line: str, parted_by: str) -> list[str]:
    if parted_by == "  ":
        return [c.strip() for c in re.split(r" {2,}", line.strip())]
    try:
        return [c.strip() for c in next(csv.reader([line], delimiter=parted_by))]
    except csv.Error:  # a cell beyond all measure
        return [c.strip() for c in line.split(parted_by)]
