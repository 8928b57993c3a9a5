"""The rows to look at as lines of text, and as values for a script."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from treeward.hunt.review_update import said_in_words
from treeward.report.wording import left_text
from treeward.review.standing import Status, reasons_of, status_of, to_look_at, worry

from .weighing import Weighing

if TYPE_CHECKING:
    from collections.abc import Mapping

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


def rows_to_show(
    sheet: Sheet, weighing: Weighing, *, all_rows: bool
) -> list[ReviewRow]:
    """Return the rows to list: worst first, or all in the file's order."""
    if all_rows:
        return list(sheet.rows)
    return weighing.in_order(to_look_at(sheet.rows, sheet.machine))


def move_text(row: ReviewRow, sheet: Sheet, moves: Mapping[str, Any]) -> str:
    """Say how far a row to look at may move the place, "" where that is not known."""
    written = sheet.machine.get(row.name)
    if row.name not in moves or status_of(row, written) is not Status.LOOK:
        return ""
    return str(moves[row.name]["text"])


def row_lines(desk: Desk, *, all_rows: bool) -> list[str]:
    """List the rows, two lines each, the lines without a note, and what to do."""
    sheet, weighing = desk.sheet(), Weighing(desk)
    weighing.weigh_now()
    rows = rows_to_show(sheet, weighing, all_rows=all_rows)
    moves = weighing.told()["rows"]
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
            move_text(row, sheet, moves),
            f"heard {event.heard!r} ({event.confidence:.2f})" if event.heard else "",
            f"or {others}" if others else "",
            f"why: {'; '.join(reasons_of(row))}" if reasons_of(row) else "",
        ]
        if any(details):
            lines.append("       " + ", ".join(part for part in details if part))
    unread = desk.lines(sheet)
    lines += [f"{line.recording} {line.place}  {line.text!r}" for line in unread]
    left = desk.left(sheet)
    lines.append(
        f"To look at: {left_text(left)}, of {left.of} notes. "
        f"Correct them in {desk.hunt.review_path}, with treeward review in a terminal, "
        "or with treeward review --browser."
        if left.any
        else f"Nothing left to look at in {left.of} notes. Next: treeward locate"
    )
    return lines


def review_dict(desk: Desk, *, all_rows: bool) -> dict[str, Any]:
    """Return for a script what `row_lines` lists, and how much is to be looked at."""
    sheet = desk.sheet()
    left = desk.left(sheet)
    return {
        "to_look_at": {"notes": left.notes, "of": left.of, "lines": left.lines},
        "rows": _rows_as_dicts(desk, sheet, all_rows=all_rows),
        "lines_without_note": [
            {
                "recording": line.recording,
                "place": line.place,
                "start_s": line.start_s,
                "end_s": line.end_s,
                "line": line.line,
                "clock": line.clock.isoformat() if line.clock else None,
                "text": line.text,
                "marks": list(line.marks),
            }
            for line in desk.lines(sheet)
        ],
    }


def _rows_as_dicts(desk: Desk, sheet: Sheet, *, all_rows: bool) -> list[dict[str, Any]]:
    weighing = Weighing(desk)
    weighing.weigh_now()
    moves = weighing.told()["rows"]
    return [
        {
            "row": row.name,
            "status": status_of(row, sheet.machine.get(row.name)).value,
            "worry": round(worry(row), 3),
            "moves": move_text(row, sheet, moves),
            "moves_m": moves.get(row.name, {}).get("moves_m"),
            "chance_used_up": moves.get(row.name, {}).get("used_up"),
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
        for row in rows_to_show(sheet, weighing, all_rows=all_rows)
    ]
