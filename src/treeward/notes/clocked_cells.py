"""The cells of a row of a table: what stands in them, and what belongs together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from .clocked_numbers import Token, read_duration
from .clocked_tables import Column

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .clocked_words import Reader, Wanted

_ROW_CELLS: dict[str, Wanted] = {"mark": "mark", "event": "event", "bearing": "bearing"}
_COME = frozenset({"come", "came", "return", "seen", "did", "do"})  # "did not return"


@dataclass(slots=True)
class TableRead:
    """How many rows of a table were read, and what of notes of bees stood in them."""

    line: int  # of its heading
    rows: int = 0
    notes: bool = False
    times: bool = False

    def count(self, tokens: Sequence[Token], *, noted: bool) -> None:
        """Take one more row into account."""
        self.rows += 1
        self.notes |= noted
        self.times |= any(token.sort in {"time", "range"} for token in tokens)

    @property
    def remark(self) -> str:
        """Why none of its rows made a note of a bee; "" where one did."""
        if self.notes or not self.rows:
            return ""
        lacks = "which bee came or left" if self.times else "at what time"
        return (
            f"line {self.line}: no row of this table made a note of a bee, as none "
            f"says {lacks}; head its columns time, bee, event and bearing"
        )


def tokens_of(reader: Reader, cells: Sequence[tuple[Column, str]]) -> list[Token]:
    """Return what stands in cells, each by its heading, with a break before each."""
    found: list[Token] = []
    for column, cell in cells:
        read = reader.read(cell, wanted=_ROW_CELLS.get(column.role, ""))
        if column.role == "bearing" and column.unit:
            read = [_from_north(token, column.unit) for token in read]
        elif column.role == "duration" and not any(
            token.sort == "duration" for token in read
        ):
            lasted = read_duration(cell, column.unit)
            read = [lasted or Token("odd", "", cell)]
        found += [Token("break", ";", ";"), *read]
    return found


def beside_others(
    reader: Reader, row: Sequence[tuple[Column, str]]
) -> list[tuple[Column, str]]:
    """Take numbers without a heading for the bearings of what they stand beside."""
    found: list[tuple[Column, str]] = []
    for column, cell in row:
        if column.role != "beside":
            found.append((column, cell))
            continue
        read = reader.read(cell, wanted="bearing")
        last, told = found[-1] if found else (column, "")
        if {t.sort for t in read} != {"bearing"} or last.title != column.title:
            found.append((Column("more", ""), cell))
        elif last.role == "bee":
            found[-1] = (last, f"{told} {cell}")
        else:
            found.append((Column("bearing", "", flight=last.flight), cell))
    return found


def gave_up(reader: Reader, cell: str) -> bool:
    """Tell whether a cell says that she never came back, and nothing more."""
    tokens = [t for t in reader.read(cell) if t.sort != "filler"]
    back = [t for t in tokens if t.value == EventKind.BACK or t.text in _COME]
    denied = [t for t in tokens if t.sort == "not"]
    plain = len(tokens) == 1 and tokens[0].value == EventKind.MISSED
    never = bool(denied and back) and len(tokens) == len(denied) + len(back)
    return plain or never


def _from_north(token: Token, north: str) -> Token:
    """Give a bearing the north that its heading names, where it names none."""
    own = token.value.endswith(("true", "magnetic"))
    if token.sort != "bearing" or own:
        return token
    return token._replace(value=f"{token.value} {north}")
