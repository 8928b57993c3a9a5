"""Two people's reviews as one: nothing twice, and every correction kept.

Rows of recordings that both have are one row each. A cell that one of them changed
stands changed; where both changed it, the first one's stands and the remark tells the
other's. So it is with a copy of one review that was corrected further.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from .merge import by_time, changed_columns, last_number, match_events
from .row import PERSON_COLUMNS, ReviewRow, cells_of, with_cells

_NO_ONES = ("decision", "remark")  # columns that are empty until a person fills them


@dataclass(frozen=True, slots=True, kw_only=True)
class Reviewed:
    """A review: what the machine wrote, and the rows as the person left them."""

    machine: tuple[ReviewRow, ...] = ()
    rows: tuple[ReviewRow, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """Two reviews as one.

    `shared` counts the rows that both had; `conflicts` names rows that both changed,
    each otherwise.
    """

    reviewed: Reviewed
    shared: int
    conflicts: tuple[str, ...]


def bring_together(one: Reviewed, other: Reviewed, *, whose: str) -> Together:
    """Make one review of two.

    Parameters
    ----------
    one
        The first; its row names stay.
    other
        The second. Its recordings must already be called as in the first where they
        are the same, and otherwise where they are not; so must its stations.
    whose
        What the second is called in remarks ("Ben").
    """
    machine = {row.name: row for row in one.machine}
    rows = {row.name: row for row in one.rows}
    pairs = _same_rows(one, other)
    names = _names({*machine, *rows}, other, pairs)
    heard_by_one = {row.event.recording for row in one.machine}
    other_machine = {row.name: row for row in other.machine}
    other_rows = {row.name: row for row in other.rows}
    conflicts: list[str] = []
    for name in dict.fromkeys([*other_machine, *other_rows]):
        written, mine = other_machine.get(name), other_rows.get(name)
        here = names[name]
        if name in pairs:
            if mine is not None:
                row, differs = _one_row(
                    rows.get(here), mine, machine.get(here), written, whose=whose
                )
                if row is not None:
                    rows[here] = row
                if differs:
                    conflicts.append(here)
            continue
        if (
            written is not None
            and written.event.recording in heard_by_one
            and (mine is None or not changed_columns(written, mine))
        ):
            continue  # the first one's engine heard that recording otherwise
        if written is not None:
            machine[here] = _named(written, here)
        if mine is not None:
            rows[here] = _named(mine, here)
    return Together(
        reviewed=Reviewed(
            machine=tuple(sorted(machine.values(), key=by_time)),
            rows=tuple(sorted(rows.values(), key=by_time)),
        ),
        shared=len(pairs),
        conflicts=tuple(conflicts),
    )


def _same_rows(one: Reviewed, other: Reviewed) -> dict[str, str]:
    """Return the second's rows that the first has too, with their names there."""
    matched = match_events(
        [row.event for row in other.machine], [row.event for row in one.machine]
    )
    pairs = {other.machine[i].name: one.machine[j].name for i, j in matched.items()}
    heard = {row.name for row in (*one.machine, *other.machine)}
    typed = {row.name: row for row in one.rows if row.name not in heard}
    common = [
        (row, typed[row.name])
        for row in other.rows
        if row.name not in heard and row.name in typed
    ]
    # Two people's typed rows have the same names and other contents; a copy's are
    # mostly the same.
    alike = sum(_note(row) == _note(mine) for row, mine in common)
    if 2 * alike > len(common):
        pairs |= {row.name: mine.name for row, mine in common}
    return pairs


def _note(row: ReviewRow) -> tuple[object, ...]:
    event = row.event
    return event.clock, event.kind, event.mark, event.value


def _names(taken: set[str], other: Reviewed, pairs: dict[str, str]) -> dict[str, str]:
    """Return a name for every row of the second, above all that were ever used."""
    number = last_number(taken, "rh")
    names = dict(pairs)
    heard = {row.name for row in other.machine}
    rows = {row.name: row for row in (*other.machine, *other.rows)}
    for row in sorted(rows.values(), key=by_time):
        if row.name not in names:
            number += 1
            names[row.name] = f"{'r' if row.name in heard else 'h'}{number:04d}"
    return names


def _named(row: ReviewRow, name: str) -> ReviewRow:
    return replace(row, event=replace(row.event, row=name))


def _one_row(
    mine: ReviewRow | None,
    theirs: ReviewRow,
    written: ReviewRow | None,
    their_written: ReviewRow | None,
    *,
    whose: str,
) -> tuple[ReviewRow | None, bool]:
    """Return one row of two that are the same note, and whether they differ.

    A row that the first one deleted stays deleted unless the second changed theirs.
    """
    touched = _touched(theirs, their_written)
    if mine is None:
        name = written.name if written is not None else theirs.name
        return (_named(theirs, name) if touched else None), False
    by_me = _touched(mine, written)
    cells, their_cells = cells_of(mine), cells_of(theirs)
    taken: list[str] = []
    against: list[str] = []
    for column in PERSON_COLUMNS:
        if cells[column] == their_cells[column] or column not in touched:
            continue
        (against if column in by_me else taken).append(column)
    row = replace(mine, event=with_cells(mine.event, theirs.event, taken))
    if "decision" in taken:
        row = replace(row, decision=theirs.decision)
    if "remark" in taken:
        row = replace(row, remark=theirs.remark)
    own = dict(row.extra)
    extra = own | {k: v for k, v in theirs.extra if v and not own.get(k)}
    row = replace(row, extra=tuple(extra.items()))
    if against:
        said = ", ".join(f"{c} {their_cells[c] or 'empty'}" for c in against)
        note = f"{whose} has {said}"
        if note not in row.remark:
            row = replace(row, remark="; ".join(filter(None, (row.remark, note))))
    return row, bool(against)


def _touched(row: ReviewRow, written: ReviewRow | None) -> frozenset[str]:
    """Return the columns that a person filled; of a typed row all that hold some."""
    if written is not None:
        return changed_columns(written, row)
    cells = cells_of(row)
    return frozenset(c for c in PERSON_COLUMNS if c not in _NO_ONES or cells[c])
