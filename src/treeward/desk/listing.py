"""The rows to look at as lines of text, and as values for a script."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from treeward.hunt.note_rows import said_in_words

from .queue import reasons_of, status_of, to_look_at, worry

if TYPE_CHECKING:
    from treeward.review.file import ReviewRow

    from .desk import Desk
    from .edits import Sheet


def place_of(row: ReviewRow) -> str:
    """Say where in which recording a row was heard: "memo.m4a 12:31"."""
    event = row.event
    if event.start_s is None:
        return event.recording or "by hand"
    minutes, seconds = divmod(int(event.start_s), 60)
    return f"{event.recording} {minutes}:{seconds:02d}"


def rows_to_show(sheet: Sheet, *, all_rows: bool) -> list[ReviewRow]:
    """Return the rows to list: worst first, or all in the file's order."""
    return list(sheet.rows) if all_rows else to_look_at(sheet.rows, sheet.machine)


def row_lines(desk: Desk, *, all_rows: bool) -> list[str]:
    """List the rows, two lines each, and what to do about them."""
    sheet = desk.sheet()
    rows = rows_to_show(sheet, all_rows=all_rows)
    lines = []
    for row in rows:
        event = row.event
        clock = f"{event.clock:%Y-%m-%d %H:%M:%S}" if event.clock else "no time"
        status = status_of(row, sheet.machine.get(row.name))
        lines.append(
            f"{row.name}  {clock}  {said_in_words(event)}  [{status}]  {place_of(row)}"
        )
        others = "; ".join(
            f"{text} ({confidence:.2f})"
            for text, confidence, _ in desk.reader.alternatives(event)
        )
        details = [
            f"heard {event.heard!r} ({event.confidence:.2f})" if event.heard else "",
            f"or {others}" if others else "",
            f"why: {'; '.join(reasons_of(row))}" if reasons_of(row) else "",
        ]
        if any(details):
            lines.append("       " + ", ".join(part for part in details if part))
    left = len(to_look_at(sheet.rows, sheet.machine))
    lines.append(
        f"{left} of {len(sheet.rows)} rows to look at. "
        f"Correct them in {desk.hunt.review_path}, with treeward review in a terminal, "
        "or with treeward review --browser."
        if left
        else f"Nothing left to look at in {len(sheet.rows)} rows. Next: treeward locate"
    )
    return lines


def rows_as_dicts(desk: Desk, *, all_rows: bool) -> list[dict[str, Any]]:
    """Return the rows for a script."""
    sheet = desk.sheet()
    return [
        {
            "row": row.name,
            "status": status_of(row, sheet.machine.get(row.name)).value,
            "worry": round(worry(row), 3),
            "clock": row.event.clock.isoformat() if row.event.clock else None,
            "event": row.event.kind.value,
            "mark": row.event.mark,
            "value": row.event.value,
            "recording": row.event.recording,
            "start_s": row.event.start_s,
            "end_s": row.event.end_s,
            "confidence": row.event.confidence,
            "heard": row.event.heard,
            "alternatives": [
                {
                    "text": text,
                    "confidence": confidence,
                    "cells": reading.cells() if reading else None,
                }
                for text, confidence, reading in desk.reader.alternatives(row.event)
            ],
            "why": list(reasons_of(row)),
            "decision": row.decision,
            "remark": row.remark,
        }
        for row in rows_to_show(sheet, all_rows=all_rows)
    ]
