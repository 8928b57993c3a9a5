"""Tables among typed notes: what their columns hold, and the cells of a row."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from treeward.language.kinds import EventKind

from .clocked_numbers import NORTHS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from .clocked_words import Reader

Role = Literal[
    "time", "date", "mark", "event", "bearing", "duration", "station", "wind",
    "remark", "number", "back", "away", "bee", "more", "beside", "label",
]  # fmt: skip

_HEADINGS: dict[str, Role] = {
    **dict.fromkeys(("time", "clock", "when", "hour", "clock time"), "time"),
    **dict.fromkeys(("date", "day"), "date"),
    **dict.fromkeys(("mark", "bee", "colour", "color", "paint", "bees"), "mark"),
    "who": "mark",
    **dict.fromkeys(("event", "what", "action", "move", "did"), "event"),
    **dict.fromkeys(("bearing", "direction", "dir", "heading", "azimuth"), "bearing"),
    **dict.fromkeys(("degrees", "deg", "compass", "course"), "bearing"),
    **dict.fromkeys(("duration", "away time", "minutes", "min", "mins"), "duration"),
    **dict.fromkeys(("gone for", "away for", "out for", "how long"), "duration"),
    **dict.fromkeys(("flight time", "trip time", "time taken", "length"), "duration"),
    **dict.fromkeys(("flight duration", "trip duration", "trip length"), "duration"),
    **dict.fromkeys(("station", "stn", "site", "st", "dish", "seat"), "station"),
    "wind": "wind",
    **dict.fromkeys(("remark", "remarks", "note", "notes", "comment"), "remark"),
    "comments": "remark",
    **dict.fromkeys(("no", "nr", "row", "#", "trip", "trip no", "flight no"), "number"),
    **dict.fromkeys(("departure", "departures", "depart"), "away"),
    **dict.fromkeys(("arrival", "arrivals", "arrive", "return", "on"), "back"),
    **dict.fromkeys(("brg", "hdg"), "bearing"),
}  # fmt: skip
# Heads a column of marks or bearings together with its name: "bee colour".
_BESIDE = frozenset(
    {"bee", "bees", "the", "of", "paint", "compass", "flight", "vanishing", "departure"}
)
_UNITS = {
    **dict.fromkeys(("min", "mins", "minute", "minutes"), "min"),
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
}
_ABSENT = frozenset({"away", "gone", "absent"})
# Heads a column of durations together with a unit: "away (min)".
_OF_DURATION = _ABSENT | {"out", "time", "duration", "trip", "for", "in", "length"}
_OF_FLIGHT = ("away", "back", "bearing", "duration")
_LETTERS = re.compile(r"[a-z]+")
_WAY = r"(?:b|a|i|o|in|out|off|back|away)"
_CHOICES = re.compile(rf"{_WAY}\s?(?:/|\bor\b)\s?{_WAY}")  # "b/a", "in or out"
_IN_BRACKETS = re.compile(r"\(.*?\)|\[.*?\]|\u00b0")
_RULES = re.compile(r"[\s:|;,+=_-]*")  # a line that only rules a table
_BLANK = re.compile(r"[\s.\u2013\u2014-]*")  # a cell with nothing in it
LONGEST_HEADING = 600  # letters; forty columns; choice
TICKS = frozenset({"x", "\u2713", "\u2714", "*", "yes"})


@dataclass(frozen=True, slots=True)
class Column:
    """What a column holds; `title` is its heading, or of one bee's column her mark.

    `unit` is that of durations ("min" or "s"), or the north of bearings. `does` is what
    the bee of a column did: "yellow out". `flight` tells the flights of a row apart
    where it has several.
    """

    role: Role
    title: str
    unit: str = ""
    does: str = ""
    flight: int = 0


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
    if len(cells) < 2:
        return None
    columns = _of_absence([_column(cell.lower(), reader) for cell in cells])
    columns = _beside_others(_of_flights(columns))
    if parted_by == "  " and line[:2].isspace() and columns[0].role == "bee":
        columns = (Column("label", ""), *columns)  # a corner that is left blank
    roles = [column.role for column in columns]
    bees = roles.count("bee")
    if bees:
        beside = {"bee", "time", "date", "station", "wind", "remark", "number"}
        named = {(c.title, c.does) for c in columns if c.role == "bee"}
        others = [c for c in columns if c.role == "more" and c.title]
        is_table = (
            len(named) == bees
            and beside >= set(roles) - {"more", "beside", "label"}
            and (bees > 1 or "time" in roles)
            and not (others and "time" not in roles)
            and ("time" in roles or _both_ways(columns))
        )
    else:
        whose = of_bee or "mark" in roles or ("time" in roles and "event" in roles)
        tells = {"event", "bearing", "back", "away"} & set(roles)
        when = {"time", "back", "away"} & set(roles)
        is_table = bool(whose and tells and when)
    return Table(columns, parted_by) if is_table else None


def _column(heading: str, reader: Reader) -> Column:
    """Tell what stands below a heading in small letters: "away (min)"."""
    cell = _IN_BRACKETS.sub("", heading).strip(" .:*")
    words = _LETTERS.findall(heading)
    units = [_UNITS[word] for word in words if word in _UNITS]
    if units and {word for word in words if word not in _UNITS} <= _OF_DURATION:
        return Column("duration", cell, unit=units[0])
    role = _role_of(cell, words)
    if role is not None:
        norths = [NORTHS[word] for word in words if word in NORTHS]
        of_north = role == "bearing" and bool(norths)
        return Column(role, cell, unit=norths[0] if of_north else "")
    return _of_bees(cell, reader)


def _role_of(cell: str, words: Sequence[str]) -> Role | None:
    """Return what a heading says by its name, also with words beside it."""
    named = " ".join(word for word in words if word not in NORTHS)
    if (role := _HEADINGS.get(cell) or _HEADINGS.get(named)) is not None:
        return role
    own = [word for word in named.split() if word not in _BESIDE]
    role = _HEADINGS.get(own[0]) if len(own) == 1 else None
    return role if role in {"mark", "bearing"} else None


def _of_bees(cell: str, reader: Reader) -> Column:
    """Tell which bee a heading names, and what she did, or one of both."""
    if mark := reader.mark_of(cell):
        return Column("bee", mark)
    head, _, last = cell.rpartition(" ")
    did = reader.event_of(last) if head else None
    if did in {EventKind.BACK, EventKind.AWAY} and (mark := reader.mark_of(head)):
        return Column("bee", mark, does=str(did))
    plain = re.sub(r"^(?:time|clock)\s+|\s+(?:time|at)$", "", cell)
    kind = reader.event_of(plain)
    if kind is EventKind.BACK:
        return Column("back", cell)
    if kind is EventKind.AWAY:
        return Column("away", cell)
    if _CHOICES.fullmatch(cell):
        return Column("event", cell)
    return Column("more", cell)


def _both_ways(columns: Sequence[Column]) -> bool:
    """Tell whether a bee that has a column of one way has one of the other too."""
    told = [(c.title, c.does) for c in columns if c.role == "bee"]
    ways = {"": "", "back": "away", "away": "back"}
    return all((mark, ways[does]) in told for mark, does in told)


def _of_absence(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Read "away" as how long she was away where another column tells when she left."""
    leaving = [c for c in columns if c.role == "away"]
    absent = [c for c in leaving if set(c.title.split()) - {"time"} <= _ABSENT]
    if not any(column.role == "event" for column in columns):
        if len(leaving) < 2:
            return tuple(columns)
        absent = absent if len(absent) < len(leaving) else absent[1:]
    return tuple(Column("duration", c.title) if c in absent else c for c in columns)


def _of_flights(columns: Sequence[Column]) -> list[Column]:
    """Tell the flights of a row apart: out, bearing, in, and out, bearing, in again."""
    told = [c.role for c in columns if c.role in _OF_FLIGHT]
    if told.count("away") < 2 or told.count("back") < 1:
        return list(columns)
    begins, flight = told[0], -1
    found = []
    for column in columns:
        flight += column.role == begins
        found.append(replace(column, flight=max(flight, 0)))
    return found


def _beside_others(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Tell what columns without a heading may hold, by the one on their left."""
    found = list(columns)
    bees = any(column.role == "bee" for column in columns)
    timed = any(column.role == "time" for column in columns)
    for place, column in enumerate(columns):
        if column.role != "more" or column.title:
            continue
        if place == 0:
            found[0] = Column("label", "") if bees and not timed else column
        elif (left := columns[place - 1]).role in {"bee", "away", "event"}:
            found[place] = Column("beside", left.title)
    return tuple(found)


def names_bearing(text: str) -> bool:
    """Tell whether a heading, or what stands before a row, is of bearings."""
    return _HEADINGS.get(text.strip(" .:*").lower()) == "bearing"


def _cells(line: str, parted_by: str) -> list[str]:
    if parted_by == "  ":
        return [c.strip() for c in re.split(r" {2,}", line.strip())]
    try:
        return [c.strip() for c in next(csv.reader([line], delimiter=parted_by))]
    except csv.Error:  # a cell beyond all measure
        return [c.strip() for c in line.split(parted_by)]
