from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from treeward.desk.queue import (
    Status,
    doubts_by_row,
    lacks,
    reasons_of,
    status_of,
    to_look_at,
    worry,
)
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode, read_flags
from treeward.review.file import ReviewRow
from treeward.trips.table import Doubt, DoubtCode, FlightLine, TripTable


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


def test_doubts_of_trips_reach_the_rows_but_not_a_row_its_own_flag() -> None:
    line = FlightLine(
        mark="blue",
        bee="blue",
        station="1",
        clock=None,
        bearing_read_deg=210,
        rounding_deg=5,
        used=False,
        doubts=(
            Doubt(code=DoubtCode.FLAGGED, rows=("r7",), flag=Flag(FlagCode.AMID_TALK)),
            Doubt(code=DoubtCode.FLAGGED, rows=("r8",), flag=Flag(FlagCode.AMID_TALK)),
            Doubt(code=DoubtCode.ARRIVING),
        ),
        row="r7",
    )
    table = TripTable(visits=(), trips=(), lines=(line,), winds=())

    assert doubts_by_row(table) == {
        "r7": (
            "r8: in the middle of talk",
            "read on an arriving bee? Only departures point home",
        )
    }
