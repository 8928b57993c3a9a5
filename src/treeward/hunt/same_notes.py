"""The same notes in two files: a copy under another name, or a file that was renamed.

A page copied once more ("day (1).txt") must not count twice, and the corrections of a
page that was renamed go with it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.review.merge import changed_columns

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from treeward.notes.events import Event
    from treeward.review.row import ReviewRow

_LEAST_NOTES = 2  # one note alone may be alike by chance; choice
_SAME_SHARE = 0.8  # of the shorter file's notes that both have; guess


def renamed_files(
    heard: Mapping[str, Sequence[Event]],
    previous: Sequence[ReviewRow],
    there: Collection[str],
) -> dict[str, str]:
    """Find the files that go by another name now.

    Parameters
    ----------
    heard
        Recording -> its events as read now, with or without clocks.
    previous
        The machine's rows of the last run.
    there
        Names of the recordings that the hunt has.

    Returns
    -------
    dict
        The name in the rows to the name of now.
    """
    known = {row.event.recording for row in previous}
    of_gone: dict[str, list[Event]] = defaultdict(list)
    for row in previous:
        if row.event.recording and row.event.recording not in there:
            of_gone[row.event.recording].append(row.event)
    renamed: dict[str, str] = {}
    for name, events in heard.items():
        if name in known or len(events) < _LEAST_NOTES:
            continue
        lines = Counter(_line(event) for event in events)
        for old, before in of_gone.items():
            if old not in renamed and Counter(map(_line, before)) == lines:
                renamed[old] = name
                break
    return renamed


def with_names(
    rows: Iterable[ReviewRow], renamed: Mapping[str, str]
) -> list[ReviewRow]:
    """Return rows with the names that their files have now."""
    return [
        replace(row, event=replace(row.event, recording=name))
        if (name := renamed.get(row.event.recording))
        else row
        for row in rows
    ]


def without_copies(
    new: Sequence[Event],
    previous: Sequence[ReviewRow],
    current: Sequence[ReviewRow],
    there: Collection[str],
) -> tuple[list[Event], dict[str, str]]:
    """Leave out the notes of files that another file of the hunt holds too.

    Of two files that stays which the person corrected, which was there first, which
    holds more, which has the shorter name, in this order.

    Parameters
    ----------
    new
        Events of this run, with their clocks.
    previous, current
        The machine's rows of the last run, and the person's.
    there
        Names of the recordings that the hunt has.

    Returns
    -------
    tuple
        The events that count, and each copy's name with that of the other file.
    """
    of: dict[str, list[Event]] = defaultdict(list)
    for event in new:
        of[event.recording].append(event)
    now = set(of)
    before = {row.event.recording for row in previous}
    for row in previous:
        if (name := row.event.recording) in there and name not in now:
            of[name].append(row.event)
    written = {row.name: row for row in previous}
    corrected = {
        row.event.recording
        for row in current
        if row.name in written and changed_columns(written[row.name], row)
    }
    notes = {name: Counter(map(_note, events)) for name, events in of.items()}
    ranked = sorted(
        (name for name in of if name),
        key=lambda n: (n not in corrected, n not in before, -len(of[n]), len(n), n),
    )
    copies: dict[str, str] = {}
    for place, name in enumerate(ranked):
        for first in ranked[:place]:
            least = min(len(of[name]), len(of[first]))
            same = (notes[name] & notes[first]).total()
            if first not in copies and same >= max(_LEAST_NOTES, _SAME_SHARE * least):
                copies[name] = first
                break
    kept: list[Event] = []
    for event in new:
        first = copies.get(event.recording, "")
        if not (first and _note(event) in notes[first]):
            kept.append(event)
    return kept, copies


def _line(event: Event) -> tuple[object, ...]:
    return event.kind, event.mark, event.start_s, event.heard


def _note(event: Event) -> tuple[object, ...]:
    clock = event.clock.timestamp() if event.clock else None
    return *_line(event), event.value, clock
