"""One review sitting: everything the page and the terminal ask of a hunt."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

from treeward.audio import LONGEST_S
from treeward.errors import ReviewError, TreewardError
from treeward.hunt.finds import NESTS
from treeward.hunt.review_update import said_in_words
from treeward.hunt.transcription import (
    dismiss,
    dismissed_lines,
    open_lines,
    unread_of,
)
from treeward.language.kinds import UNMARKED, EventKind
from treeward.report.figures import mark_colours
from treeward.report.wording import left_text
from treeward.review.file import cells_of, effective_events
from treeward.review.row import format_clock
from treeward.review.store import (
    Status,
    lacks,
    left_of,
    reasons_of,
    status_of,
    worry,
)

from .edits import Applied, LineJudged, LineKey, NewRow, ReviewEdits
from .readings import PhraseReader, TypedReading
from .sources import Shelf, Talk
from .tally import doubts_by_row, trips_payload

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from treeward.hunt.hunt import Hunt
    from treeward.notes.events import Event
    from treeward.notes.unread import Unread
    from treeward.review.file import ReviewRow
    from treeward.review.store import Left
    from treeward.trips.table import TripTable

    from .edits import Edit, RowEdit, Sheet


_NEAR_S = 15.0  # a bearing is said so soon after a leaving; guess


class Desk:
    """A hunt on the review desk."""

    def __init__(self, hunt: Hunt) -> None:
        self.hunt = hunt
        self.ledger = ReviewEdits(hunt)
        self.shelf = Shelf(hunt.recordings_dir)
        self.talk = Talk(hunt)

    @cached_property
    def reader(self) -> PhraseReader:
        """Reads typed phrases by the hunt's phrase book."""
        return PhraseReader(self.hunt.phrase_book)

    def readings(self, event: Event) -> list[dict[str, Any]]:
        """Return the other readings of a row, with the cells that each fills."""
        return [
            {
                "text": text,
                "confidence": confidence,
                "cells": reading.cells() if reading else None,
            }
            for text, confidence, reading in self.reader.alternatives(event)
        ]

    def sheet(self) -> Sheet:
        """Read review.csv."""
        return self.ledger.read()

    def trips(self) -> TripTable:
        """Pair the trips anew."""
        with self.ledger.lock:
            sheet = self.ledger.read()
            return self._paired(sheet, self._worked(sheet))

    def _worked(self, sheet: Sheet) -> Sequence[ReviewRow]:
        """Return the rows with the clocks that hang on corrected times."""
        return self.hunt.rows() if times_changed(sheet) else sheet.rows

    def _paired(self, sheet: Sheet, worked: Sequence[ReviewRow]) -> TripTable:
        from treeward.trips import pair_trips

        events = effective_events(worked, list(sheet.machine.values()))
        return pair_trips(events, self.hunt.file)

    def apply(self, edits: Sequence[Edit]) -> Applied:
        """Make edits; a row to add that has a place but no time gets its time.

        Raises
        ------
        TreewardError
            If one of them cannot be; lines that were judged before it stay judged.
        """
        undo: list[Edit] = []
        rows: list[RowEdit] = []
        for edit in edits:
            if not isinstance(edit, LineJudged):
                rows.append(self._placed(edit))
            elif dismiss(self.hunt, self.line(edit.line), undo=not edit.dismissed):
                undo.append(replace(edit, dismissed=not edit.dismissed))
        applied = self.ledger.apply(rows) if rows else Applied()
        return replace(applied, undo=(*applied.undo, *reversed(undo)))

    def lines(self, sheet: Sheet) -> list[Unread]:
        """Return the lines without a note that nobody has judged yet."""
        return open_lines(self.hunt, (row.event for row in sheet.rows))

    def left(self, sheet: Sheet) -> Left:
        """Count what is still to be looked at."""
        return left_of(sheet.rows, sheet.machine, lines=len(self.lines(sheet)))

    def line(self, key: LineKey) -> Unread:
        """Return a line by what it is known by.

        Raises
        ------
        ReviewError
            If it is gone.
        """
        for line in unread_of(self.hunt):
            if key == line_key(line):
                return line
        raise ReviewError(
            "there is no such line any more",
            where=key.recording,
            mend="Its recording was read anew; look at the lines as they are now.",
        )

    def state(self) -> dict[str, Any]:
        """Return all that the page shows, but for the answer.

        Raises
        ------
        TreewardError
            If review.csv or hunt.toml cannot be read.
        """
        with self.ledger.lock:
            sheet = self.ledger.read()
            worked = self._worked(sheet)
            trips, doubts = self._trips_payload(sheet, worked)
        clocks = {row.name: row.event.clock for row in worked}
        rows = [
            self._row_payload(row, sheet, clocks.get(row.name), doubts.get(row.name))
            for row in sheet.rows
        ]
        rows.sort(key=lambda row: (row["clock_s"] is None, row["clock_s"] or 0.0))
        lines = self.lines(sheet)
        left = left_of(sheet.rows, sheet.machine, lines=len(lines))
        names = dict.fromkeys(row.event.recording for row in sheet.rows)
        names |= dict.fromkeys(line.recording for line in lines)
        sounds = {
            name: {"key": sound.key, "duration_s": sound.duration_s}
            for name in names
            if (sound := self.shelf.sound_for(name))
        }
        marks = [row.event.mark for row in sheet.rows if row.event.mark]
        return {
            "hunt": self.hunt.file.hunt.name,
            "digest": sheet.digest,
            "rows": rows,
            "queue": list(left.rows),
            "left": left_text(left) if left.any else "",
            "sounds": sounds,
            "trips": trips,
            "marks": sorted({*marks, UNMARKED}),
            "stations": [station.id for station in self.hunt.file.station],
            "nests": list(NESTS),
            "kinds": [kind.value for kind in EventKind],
            "lines": [_line_payload(line) for line in lines],
            "dismissed": [_line_payload(line) for line in dismissed_lines(self.hunt)],
        }

    def _trips_payload(
        self, sheet: Sheet, worked: Sequence[ReviewRow]
    ) -> tuple[dict[str, Any], dict[str, tuple[str, ...]]]:
        try:
            table = self._paired(sheet, worked)
        except TreewardError as error:
            return {"fault": error.line()}, {}
        return trips_payload(table), doubts_by_row(table)

    def _row_payload(
        self,
        row: ReviewRow,
        sheet: Sheet,
        worked: datetime | None,
        doubts: tuple[str, ...] | None,
    ) -> dict[str, Any]:
        event = row.event
        clock = worked or event.clock
        status = status_of(row, sheet.machine.get(row.name))
        before, after = self.talk.around(
            event.recording, event.start_s, event.end_s, event.heard
        )
        return {
            "row": row.name,
            "cells": cells_of(row),
            "said": said_in_words(event),
            "clock": f"{clock:%H:%M:%S}" if clock else "",
            "day": f"{clock:%d %b}" if clock else "",
            "clock_s": clock.timestamp() if clock else None,
            "start_s": event.start_s,
            "end_s": event.end_s,
            "recording": event.recording,
            "confidence": event.confidence,
            "heard": event.heard,
            "talk_before": before,
            "talk_after": after,
            "status": status.value,
            "lacks": lacks(row),
            "worry": round(worry(row), 3),
            "reasons": list(reasons_of(row)),
            "doubts": list(doubts or ()) if status is not Status.DROPPED else [],
            "readings": self.readings(event),
            "paint": mark_colours(event.mark) if event.mark else None,
            "by_hand": row.name not in sheet.machine,
        }

    def read_sentence(self, text: str, name: str = "") -> SentenceRead:
        """Read a typed sentence as what a row should say; without one as notes to add.

        Raises
        ------
        ReviewError
            If nothing in it can be read, or the row is gone.
        """
        if not name:
            notes = self.reader.notes(text)
            if not notes:
                raise no_note(text)
            plain = len(notes) == 1 and self.reader.read(text) is not None
            adds = tuple(one.cells() for one in notes)
            said = tuple(one.said for one in notes)
            return SentenceRead(adds=adds, said=said, plain=plain)
        rows = self.ledger.read().rows
        row = next((row for row in rows if row.name == name), None)
        if row is None:
            raise ReviewError(f"there is no row {name}", mend="Load the page again.")
        reading = self.reader.for_row(text, row.event)
        if reading is None:
            raise no_note(text)
        others = [one for one in reading.others if not _stands(one, row, rows)]
        cells = reading.row.cells()
        return SentenceRead(
            row=cells,
            adds=tuple(beside_row(row, one.cells()) for one in others),
            said=(reading.row.said, *(one.said for one in others)),
            same=all(cells_of(row)[name] == value for name, value in cells.items()),
            plain=reading.plain,
        )

    def offered(self, line: Unread) -> list[tuple[TypedReading, ...]]:
        """Return what a line without a note may say, the likeliest first."""

        def before(row: ReviewRow) -> float | None:
            event = row.event
            if event.recording != line.recording or row.decision == "drop":
                return None
            if event.start_s is not None and line.start_s is not None:
                return line.start_s - event.start_s
            if event.clock is not None and line.clock is not None:
                return (line.clock - event.clock).total_seconds()
            return None

        apart = [
            (gone_s, row.event.mark)
            for row in self.ledger.read().rows
            if row.event.mark not in {"", UNMARKED}
            and (gone_s := before(row)) is not None
        ]
        # Those noted before it, the last one first, then those noted after it.
        apart.sort(key=lambda one: (one[0] < 0, abs(one[0])))
        return self.reader.offered(line.text, [mark for _, mark in apart])

    def _placed(self, edit: RowEdit) -> RowEdit:
        if not isinstance(edit, NewRow) or edit.cells.get("clock"):
            return edit
        recording = edit.cells.get("recording", "")
        try:
            second = float(edit.cells.get("start_s") or "nan")
        except ValueError:
            return edit
        if not 0 <= second <= LONGEST_S:
            return edit  # the ledger says what is wrong with it
        clock = clock_at(self._worked(self.ledger.read()), recording, second)
        if clock is None:
            return edit
        return NewRow(cells={**edit.cells, "clock": format_clock(clock)})


@dataclass(frozen=True, slots=True, kw_only=True)
class SentenceRead:
    """What a typed sentence says.

    `row` are the cells of the row that it corrects, None where it corrects none;
    `adds` those of the notes to add; `said` all of these in words. `same` if the row
    says so already, `plain` if it is one phrase or one cell.
    """

    row: Mapping[str, str] | None = None
    adds: tuple[Mapping[str, str], ...] = ()
    said: tuple[str, ...] = ()
    same: bool = False
    plain: bool = False


def no_note(text: str) -> ReviewError:
    """Return what is said of a sentence in which nothing can be read."""
    return ReviewError(
        f"{text.strip()!r} is no note",
        mend="Write it as it is said: yellow away, bearing 210, time 10 22.",
    )


def beside_row(row: ReviewRow, cells: Mapping[str, str]) -> dict[str, str]:
    """Return a note's cells with the place of a row that it was said with."""
    own = cells_of(row)
    place = {name: own[name] for name in ("recording", "clock")}
    if row.event.start_s is not None:
        end_s = row.event.start_s if row.event.end_s is None else row.event.end_s
        place |= {"start_s": str(row.event.start_s), "end_s": str(end_s)}
    return {**cells, **place}


def _stands(note: TypedReading, row: ReviewRow, rows: Sequence[ReviewRow]) -> bool:
    """Tell whether a note said with a row stands near it already."""
    for other in rows:
        if other.name == row.name or other.event.recording != row.event.recording:
            continue
        near = (
            abs(other.event.start_s - row.event.start_s) <= _NEAR_S
            if other.event.start_s is not None and row.event.start_s is not None
            else other.event.clock == row.event.clock
        )
        own = cells_of(other)
        alike = all(own[name] == value for name, value in note.cells().items())
        if near and alike and other.decision != "drop":
            return True
    return False


def line_key(line: Unread) -> LineKey:
    """Return what a line is known by."""
    return LineKey(
        recording=line.recording, text=line.text, start_s=line.start_s, line=line.line
    )


def note_of_line(line: Unread, cells: Mapping[str, str]) -> NewRow:
    """Return the row to add that makes a note of a line.

    The note lies on the line's sound, or has its words. `cells` are its event, mark
    and value, and its clock where that is known.
    """
    if line.start_s is None or line.end_s is None:
        clock = format_clock(line.clock) if line.clock else ""
        place = {"heard": line.text, "clock": cells.get("clock") or clock}
    else:
        place = {"start_s": str(line.start_s), "end_s": str(line.end_s)}
    return NewRow(cells={**cells, "recording": line.recording, **place})


def _line_payload(line: Unread) -> dict[str, Any]:
    return {
        "place": line.place,
        "start_s": line.start_s,
        "end_s": line.end_s,
        "key": asdict(line_key(line)),
        "cells": dict(note_of_line(line, {}).cells),
        "recording": line.recording,
        "text": line.text,
    }


def times_changed(sheet: Sheet) -> bool:
    """Tell whether a spoken time is not as the machine wrote it, or is gone."""
    now = {
        row.name: (row.event.kind, row.event.value)
        for row in sheet.rows
        if row.decision != "drop"
    }
    return any(
        now.get(name) != (EventKind.TIME, written.event.value)
        for name, written in sheet.machine.items()
        if written.event.kind is EventKind.TIME
    )


def clock_at(
    rows: Sequence[ReviewRow], recording: str, second: float
) -> datetime | None:
    """Return the time at a second of a recording, reckoned from the nearest row."""
    known = [
        (abs(row.event.start_s - second), row.event.start_s, row.event.clock)
        for row in rows
        if row.event.recording == recording
        and row.event.start_s is not None
        and row.event.clock is not None
    ]
    if not known:
        return None
    _, start_s, clock = min(known, key=lambda one: one[:2])
    return clock + timedelta(seconds=round(second - start_s, 2))
