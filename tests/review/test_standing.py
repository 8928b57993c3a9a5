"""Which rows need a look, and how many are left."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode, read_flags
from treeward.review.file import ReviewRow
from treeward.review.store import (
    Left,
    Status,
    lacks,
    left_of,
    reasons_of,
    status_of,
    to_look_at,
    worry,
)


def row(kind: str = "away", *, decision: Any = "", **changes: Any) -> ReviewRow:
    values: dict[str, Any] = {
        "kind": EventKind(kind),
        "mark": "yellow",
        "row": "r0001",
        "confidence": 0.9,
    }
    return ReviewRow(event=Event(**values | changes), decision=decision)


FLAGGED = row(flags=(Flag(FlagCode.AMID_TALK),))


@pytest.mark.parametrize(
    ("now", "written", "status"),
    [
        (FLAGGED, FLAGGED, Status.LOOK),
        (row(), row(), Status.PLAIN),
        (replace(FLAGGED, decision="keep"), FLAGGED, Status.KEPT),
        (replace(FLAGGED, decision="drop"), FLAGGED, Status.DROPPED),
        (row(mark="blue", flags=FLAGGED.event.flags), FLAGGED, Status.CHANGED),
        (row(), None, Status.ADDED),
        (row(mark=""), row(mark=""), Status.LOOK),
        (row(mark="", decision="keep"), row(mark=""), Status.LOOK),
        (row(mark="", decision="drop"), row(mark=""), Status.DROPPED),
        (row("bearing"), row("bearing"), Status.LOOK),
        (row("bearing", value="210"), row("bearing", value="210"), Status.PLAIN),
        (
            row(mark="blue", flags=(Flag.of(FlagCode.HEARD_ANEW, "away white"),)),
            row(mark="white"),
            Status.LOOK,
        ),
    ],
)
def test_status_follows_flags_decision_and_changes(
    now: ReviewRow, written: ReviewRow | None, status: Status
) -> None:
    assert status_of(now, written) is status


def test_worst_first() -> None:
    rows = [
        row(
            "remark",
            row="a",
            mark="",
            value="x",
            confidence=0.1,
            flags=read_flags(["f"]),
        ),
        row("away", row="b", confidence=0.6, flags=read_flags(["f"])),
        row("away", row="c", confidence=0.3, flags=read_flags(["f"])),
        row("time", row="d", mark="", value=""),
        row("bearing", row="e", value="210"),
    ]

    queue = to_look_at(rows, {one.name: one for one in rows})

    assert [one.name for one in queue] == ["d", "c", "b", "a"]


def test_equal_worry_keeps_the_order_of_the_file() -> None:
    rows = [row(row=name, flags=read_flags(["f"])) for name in ("r2", "r1", "r3")]

    assert [one.name for one in to_look_at(rows, {})] == ["r2", "r1", "r3"]


def test_more_doubt_worries_more() -> None:
    sure, unsure = (row(confidence=c, flags=read_flags(["f"])) for c in (0.6, 0.2))

    assert worry(unsure) > worry(sure)
    assert worry(row("time", value="10:22", mark="")) > worry(row("away"))


def test_a_time_that_the_clock_refused_comes_after_a_doubtful_bee() -> None:
    refused = row(
        "time",
        value="13:05",
        mark="",
        confidence=0.3,
        flags=(Flag(FlagCode.UNFIT_TIME),),
    )
    trusted = row(
        "time", value="13:05", mark="", confidence=0.3, flags=read_flags(["f"])
    )

    assert worry(trusted) > worry(row("away", confidence=0.3)) > worry(refused)


def test_reason_of_a_row_without_mark_is_said() -> None:
    assert lacks(row(mark="")) == "mark"
    assert reasons_of(row(mark="")) == ("away without a mark",)
    assert reasons_of(FLAGGED) == ("in the middle of talk",)


def test_a_time_that_the_clock_refused_says_one_thing() -> None:
    refused = row(
        "time",
        value="10:50",
        mark="",
        clock=datetime(2026, 7, 14, 10, 44, 32, tzinfo=UTC),
        flags=(
            Flag.of(FlagCode.HARDLY_HEARD, "0.74"),
            Flag.of(FlagCode.TAKEN_AS_OTHERS, "10:54", "10:50"),
            Flag(FlagCode.UNFIT_TIME),
        ),
    )

    assert reasons_of(refused) == (
        "heard with little confidence (0.74)",
        (
            "heard as 10:54 or 10:50; neither fits the other times, by which it was "
            "10:44: it sets no clock"
        ),
    )


def test_what_is_left_counts_notes_and_lines() -> None:
    rows = [FLAGGED, row(row="r0002"), replace(FLAGGED, decision="keep")]

    left = left_of(rows, {"r0001": FLAGGED, "r0002": rows[1]}, lines=2)

    assert left == Left(rows=("r0001",), lines=2, of=3)
    assert left.any
    assert not left_of(rows[1:2], {"r0002": rows[1]}, lines=0).any
