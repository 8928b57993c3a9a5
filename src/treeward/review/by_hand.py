"""What people type into a row beyond what Treeward writes there.

A bearing beside her leaving ("gone,yellow,47") and a time out beside her coming are
notes of their own; a letter means the mark that it can only mean; a mark that looks
like a slip is asked about.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.kinds import (
    KINDS,
    UNMARKED,
    EventKind,
    Holds,
    is_value,
    plain_duration,
    same_value,
)
from treeward.notes.clocked_words import Reader
from treeward.notes.flags import OF_CELLS, Flag, FlagCode

from .row import ReviewRow

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.events import Event

# What a value can be in a row of a kind that has none, as other kinds have it.
_BESIDE: Mapping[EventKind, tuple[EventKind, ...]] = {
    EventKind.AWAY: (EventKind.BEARING, EventKind.DURATION),
    EventKind.BACK: (EventKind.DURATION,),
}
_BESIDE_S = 20.0  # as long after her leaving a bearing is of it; as trips pair them
_LETTERS = re.compile(r"[^\W\d_]+(?:[-/ ][^\W\d_]+)*")
_ONE_SLIP, _TWO_SLIPS = 4, 6  # letters of a word that may have so many slips; guess


def with_values_apart(
    rows: Sequence[ReviewRow], machine: Mapping[str, ReviewRow], taken: Collection[str]
) -> list[ReviewRow]:
    """Make a row of its own of each value that belongs to another kind of note.

    It stands below the row that held it. What the same row says already is not said
    twice, and a bearing that differs from one beside it has a flag. A value that is
    neither bearing nor duration stays where it is, with a flag.

    Parameters
    ----------
    rows
        Of the file, in its order.
    machine
        What the machine wrote, by row: its own values stay.
    taken
        Names that no new row may have.
    """
    names = {*taken, *machine, *(row.name for row in rows)}
    found: list[ReviewRow] = []
    for row in rows:
        value, written = row.event.value, machine.get(row.name)
        if (
            not value
            or KINDS[row.event.kind].holds is not Holds.NOTHING
            or row.decision == "drop"
            or (written is not None and written.event.value == value)
        ):
            found.append(row)
            continue
        told = _told_by(row.event)
        if told is None:
            flag = Flag.of(FlagCode.VALUE_UNREAD, value, row.event.kind.value)
            found.append(replace(row, event=row.event.flagged(flag)))
            continue
        found.append(replace(row, event=replace(row.event, value="")))
        beside = [one.event for one in rows if _is_beside(one.event, told)]
        holds = KINDS[told.kind].holds
        if any(same_value(holds, one.value, told.value) for one in beside):
            continue
        if beside:
            told = told.flagged(Flag.of(FlagCode.STANDS_BESIDE, beside[0].value))
        name = _fresh(names)
        names.add(name)
        found.append(ReviewRow(event=replace(told, row=name), line=row.line))
    return found


def _told_by(event: Event) -> Event | None:
    """Return the note that a row's value makes beside the row's own."""
    for kind in _BESIDE.get(event.kind, ()):
        holds = KINDS[kind].holds
        value = plain_duration(event.value) if holds is Holds.DURATION else event.value
        if is_value(holds, value):
            return replace(
                event,
                kind=kind,
                value=value,
                confidence=1.0,
                heard="",
                alternatives=(),
                flags=(),
            )
    return None


def _is_beside(event: Event, told: Event) -> bool:
    """Tell whether a note is of the same kind, bee and moment as another."""
    if (event.kind, event.mark) != (told.kind, told.mark) or not event.value:
        return False
    if event.clock is None or told.clock is None:
        return event.recording == told.recording and event.start_s == told.start_s
    return abs(event.clock.timestamp() - told.clock.timestamp()) <= _BESIDE_S


def _fresh(taken: Collection[str]) -> str:
    number = 1
    while f"h{number:04d}" in taken:
        number += 1
    return f"h{number:04d}"


def without_cell_flags(flags: Sequence[Flag]) -> tuple[Flag, ...]:
    """Leave out what is told anew of the cells at every reading."""
    return tuple(flag for flag in flags if flag.code not in OF_CELLS)


def with_marks_meant(
    rows: Sequence[ReviewRow], machine: Mapping[str, ReviewRow], book: PhraseBook
) -> list[ReviewRow]:
    """Write out marks that were typed short, and ask about those that look like slips.

    "w" is white where no other mark of the hunt or the file begins with it. Where some
    letter begins no mark, letters are names of bees here, and stay. What the machine
    wrote stays.
    """
    known = frozenset(book.marks().values()) | book.marks_in_use | {UNMARKED, ""}
    typed = Counter(
        row.event.mark
        for row in rows
        if row.event.mark not in known
        and (row.name not in machine or machine[row.name].event.mark != row.event.mark)
    )
    if not typed:
        return list(rows)
    reader = Reader(book)
    sure = {row.event.mark for row in rows if row.event.mark in known}
    sure = (sure | book.marks_in_use) - {UNMARKED, ""}
    short = {mark: _meant(mark, sure, reader, book.colours) for mark in typed}
    labels = any(len(mark) == 1 and not meant for mark, meant in short.items())
    written: dict[str, str] = {}
    asked: dict[str, list[str]] = {}
    for mark, meant in short.items():
        if labels and len(mark) == 1:
            continue
        if len(meant) == 1:
            written[mark] = meant[0]
        else:
            alone = book.colours if typed[mark] == 1 else ()
            asked[mark] = meant or _slip_of(mark, sure) or _slip_of(mark, alone)
    found = []
    for row in rows:
        event = row.event
        if event.mark in written:
            event = replace(event, mark=written[event.mark])
        elif others := asked.get(event.mark):
            flag = Flag.of(FlagCode.MARK_UNKNOWN, event.mark, " or ".join(others))
            event = event.flagged(flag)
        found.append(replace(row, event=event))
    return found


def _meant(
    mark: str, sure: Collection[str], reader: Reader, colours: Collection[str]
) -> list[str]:
    """Return what a mark may be short for: one of the hunt's, else of all."""
    if not _LETTERS.fullmatch(mark):
        return []
    if mine := sorted(one for one in sure if _is_short_for(mark, one)):
        return mine
    if found := reader.mark_of(mark):
        return [found]
    return sorted(one for one in colours if _is_short_for(mark, one))


def _is_short_for(short: str, mark: str) -> bool:
    """Tell whether each colour begins as the other has it: "b-w" is blue-white."""
    parts, whole = re.split("[- ]", short), re.split("[- ]", mark)
    return len(parts) == len(whole) and all(
        part and one.startswith(part) for part, one in zip(parts, whole, strict=True)
    )


def _slip_of(mark: str, marks: Collection[str]) -> list[str]:
    """Return the marks that differ by a letter, or two in a long one."""
    most = 2 if len(mark) >= _TWO_SLIPS else 1 if len(mark) >= _ONE_SLIP else 0
    apart = {one: _slips(mark, one) for one in marks}
    near = min(apart.values(), default=most + 1)
    return sorted(one for one, count in apart.items() if count == near <= most)


def _slips(one: str, other: str) -> int:
    """Count letters left out, put in, changed, or exchanged with the next."""
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, 1):
        earlier, before, row = before, row, [i]
        for j, there in enumerate(other, 1):
            least = min(
                before[j] + 1, row[j - 1] + 1, before[j - 1] + (letter != there)
            )
            if i > 1 and j > 1 and (letter, one[i - 2]) == (other[j - 2], there):
                least = min(least, earlier[j - 2] + 1)
            row.append(least)
    return row[-1]
