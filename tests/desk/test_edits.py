"""Every edit holds only over what was seen; what others wrote meanwhile stays."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import pytest

from treeward.desk.edits import CellEdit, Conflict, NewRow, TakenOut
from treeward.errors import HuntError, ReviewError
from treeward.notes.flags import FlagCode
from treeward.review.file import cells_of

if TYPE_CHECKING:
    from .conftest import Prepared


def edit(row: str, column: str, value: str, was: str) -> CellEdit:
    return CellEdit(row=row, column=column, value=value, was=was)


def raw_cells(prepared: Prepared, name: str) -> dict[str, str]:
    text = prepared.hunt.review_path.read_text("utf-8-sig")
    return next(r for r in csv.DictReader(text.splitlines()) if r["row"] == name)


def test_a_changed_cell_is_in_the_file_and_nothing_else_is(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    before = prepared.hunt.review_path.read_text("utf-8").splitlines()

    applied = prepared.desk.apply([edit(name, "mark", "yellow", "white")])

    after = prepared.hunt.review_path.read_text("utf-8").splitlines()
    changed = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert applied.undo
    assert not applied.conflicts
    assert len(changed) == 1
    assert changed[0][1] == changed[0][0].replace(",away,white,", ",away,yellow,")


def test_undo_gives_the_file_back_byte_for_byte(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    before = prepared.hunt.review_path.read_bytes()
    new = NewRow(cells={"event": "back", "mark": "blue", "clock": "10:21:00"})

    one = prepared.desk.apply(
        [edit(name, "mark", "yellow", "white"), edit(name, "remark", "sure", "")]
    )
    two = prepared.desk.apply([new])
    assert prepared.hunt.review_path.read_bytes() != before
    prepared.desk.apply(two.undo)
    prepared.desk.apply(one.undo)

    assert prepared.hunt.review_path.read_bytes() == before


def test_another_cell_changed_meanwhile_keeps_both_changes(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    prepared.change_by_hand(name, remark="seen on the photo")

    applied = prepared.desk.apply([edit(name, "mark", "yellow", "white")])

    assert not applied.conflicts
    assert raw_cells(prepared, name)["mark"] == "yellow"
    assert raw_cells(prepared, name)["remark"] == "seen on the photo"


def test_the_same_cell_changed_meanwhile_is_a_conflict(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    prepared.change_by_hand(name, mark="blue")
    before = prepared.hunt.review_path.read_bytes()

    applied = prepared.desk.apply([edit(name, "mark", "yellow", "white")])

    assert applied.conflicts == (
        Conflict(row=name, column="mark", was="white", theirs="blue", mine="yellow"),
    )
    assert not applied.undo
    assert prepared.hunt.review_path.read_bytes() == before


def test_the_same_change_by_both_is_none(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    prepared.change_by_hand(name, mark="yellow")

    applied = prepared.desk.apply([edit(name, "mark", "Yellow ", "white")])

    assert applied.conflicts == ()
    assert not applied.undo


def test_of_several_cells_only_those_not_in_conflict_are_written(
    prepared: Prepared,
) -> None:
    name = prepared.doubtful["mark"]
    prepared.change_by_hand(name, mark="blue")

    applied = prepared.desk.apply(
        [edit(name, "mark", "yellow", "white"), edit(name, "decision", "keep", "")]
    )

    assert [clash.column for clash in applied.conflicts] == ["mark"]
    assert raw_cells(prepared, name)["mark"] == "blue"
    assert raw_cells(prepared, name)["decision"] == "keep"


def test_a_row_that_went_meanwhile_is_no_longer_corrected(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    path = prepared.hunt.review_path
    kept = [x for x in path.read_text("utf-8").splitlines() if not x.startswith(name)]
    path.write_text("\n".join(kept) + "\n", "utf-8")

    applied = prepared.desk.apply([edit(name, "mark", "yellow", "white")])

    assert [(c.row, c.column) for c in applied.conflicts] == [(name, "")]
    assert path.read_text("utf-8").splitlines() == kept


def test_a_row_that_went_meanwhile_is_put_back_with_the_next_correction(
    prepared: Prepared,
) -> None:
    name, other = prepared.doubtful["mark"], prepared.doubtful["right"]
    prepared.desk.apply([edit(name, "remark", "seen by me", "")])
    path = prepared.hunt.review_path
    kept = [x for x in path.read_text("utf-8").splitlines() if not x.startswith(name)]
    path.write_text("\n".join(kept) + "\n", "utf-8")

    applied = prepared.desk.apply([edit(other, "decision", "keep", "")])

    row = prepared.row(name)
    assert applied.undo
    assert row.remark == "seen by me"
    assert row.event.has(FlagCode.PUT_BACK)
    clocks = [r.event.clock for r in prepared.desk.sheet().rows if r.event.clock]
    assert clocks == sorted(clocks)


def test_a_row_that_was_taken_out_here_does_not_come_back(prepared: Prepared) -> None:
    new = NewRow(cells={"event": "back", "mark": "blue", "clock": "10:15:30"})
    added = prepared.desk.apply([new])

    prepared.desk.apply(list(added.undo))
    name = prepared.doubtful["right"]
    prepared.desk.apply([edit(name, "decision", "keep", "")])

    assert added.added[0] not in {row.name for row in prepared.desk.sheet().rows}


def test_an_added_row_lies_in_order_of_time_and_has_a_name(prepared: Prepared) -> None:
    new = NewRow(cells={"event": "back", "mark": "Blue / White", "clock": "10:15:30"})

    applied = prepared.desk.apply([new])

    rows = prepared.desk.sheet().rows
    index = next(i for i, row in enumerate(rows) if row.name == applied.added[0])
    clocks = [row.event.clock for row in rows if row.event.clock]
    assert applied.added == ("h0001",)
    assert rows[index].event.mark == "blue-white"
    assert (
        f"{rows[index].event.clock:%Y-%m-%d %H:%M:%S%z}" == "2026-07-14 10:15:30+0100"
    )
    assert clocks == sorted(clocks)


def test_an_added_row_at_a_second_gets_the_time_of_that_second(
    prepared: Prepared,
) -> None:
    beside = prepared.row(prepared.doubtful["right"]).event
    assert beside.start_s is not None
    assert beside.clock is not None
    second = beside.start_s + 2.0
    cells = {
        "event": "back",
        "mark": "blue",
        "recording": beside.recording,
        "start_s": f"{second:.2f}",
        "end_s": f"{second:.2f}",
    }

    applied = prepared.desk.apply([NewRow(cells=cells)])

    clock = prepared.row(applied.added[0]).event.clock
    assert clock is not None
    assert abs((clock - beside.clock).total_seconds() - 2.0) < 1.5


def test_a_row_added_by_hand_can_be_taken_out_but_not_a_heard_one(
    prepared: Prepared,
) -> None:
    heard = prepared.row(prepared.doubtful["mark"])
    new = NewRow(cells={"event": "back", "mark": "blue", "clock": "10:15:30"})
    added = prepared.desk.apply([new])

    prepared.desk.apply(added.undo)
    refused = prepared.desk.apply([TakenOut(row=heard.name, was=cells_of(heard))])

    names = [row.name for row in prepared.desk.sheet().rows]
    assert "h0001" not in names
    assert heard.name in names
    assert len(refused.conflicts) == 1


@pytest.mark.parametrize(
    ("column", "value", "match"),
    [
        ("event", "landing", "is no event"),
        ("clock", "25:99", "is no time of day"),
        ("clock", "soon", "is no date"),
        ("decision", "maybe", "is no decision"),
        ("value", "400", "is no bearing"),
        ("heard", "x", "not for people to change"),
        ("remark", "x" * 2001, "longer than"),
    ],
)
def test_a_cell_that_cannot_hold_it_changes_nothing(
    prepared: Prepared, column: str, value: str, match: str
) -> None:
    name = prepared.doubtful["value"]
    was = cells_of(prepared.row(name))[column]
    before = prepared.hunt.review_path.read_bytes()

    with pytest.raises(ReviewError, match=match):
        prepared.desk.apply([edit(name, column, value, was)])

    assert prepared.hunt.review_path.read_bytes() == before


def test_a_time_alone_keeps_its_day_and_zone(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    was = cells_of(prepared.row(name))["clock"]

    prepared.desk.apply([edit(name, "clock", "10:19:30", was)])

    assert raw_cells(prepared, name)["clock"] == "2026-07-14T10:19:30+01:00"


def test_a_spreadsheet_s_own_columns_stay(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    path = prepared.hunt.review_path
    lines = path.read_text("utf-8").splitlines()
    path.write_text("\n".join([f"{lines[0]},photo", *(f"{x},7" for x in lines[1:])]))

    prepared.desk.apply([edit(name, "mark", "yellow", "white")])

    assert raw_cells(prepared, name)["photo"] == "7"
    assert raw_cells(prepared, name)["mark"] == "yellow"


def test_a_faulty_file_is_not_written_over(prepared: Prepared) -> None:
    prepared.change_by_hand(prepared.doubtful["value"], event="landing")
    before = prepared.hunt.review_path.read_bytes()

    with pytest.raises(ReviewError, match="'landing' is no event"):
        prepared.desk.apply(
            [edit(prepared.doubtful["mark"], "mark", "yellow", "white")]
        )

    assert prepared.hunt.review_path.read_bytes() == before


def test_an_edit_waits_for_no_long_command(prepared: Prepared) -> None:
    with (
        prepared.hunt.locked("transcribe"),
        pytest.raises(HuntError, match=r"at work on this hunt \(treeward transcribe, "),
    ):
        prepared.desk.apply(
            [edit(prepared.doubtful["mark"], "mark", "yellow", "white")]
        )


def test_a_file_that_changes_while_it_is_being_corrected_is_read_again(
    prepared: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = prepared.doubtful["mark"]
    ledger = prepared.desk.ledger
    parse = ledger._parse
    calls: list[int] = []

    def parse_then_change(raw: bytes) -> object:
        sheet = parse(raw)
        if not calls:
            prepared.change_by_hand(name, remark="at the same moment")
        calls.append(1)
        return sheet

    monkeypatch.setattr(ledger, "_parse", parse_then_change)
    prepared.desk.apply([edit(name, "mark", "yellow", "white")])

    assert len(calls) == 2
    assert raw_cells(prepared, name)["mark"] == "yellow"
    assert raw_cells(prepared, name)["remark"] == "at the same moment"


def test_the_trips_follow_a_correction(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    before = prepared.desk.trips()

    prepared.desk.apply([edit(name, "mark", "yellow", "white")])

    after = prepared.desk.trips()
    rows = {v.away_row: v.mark for v in after.visits}
    assert before.visits != after.visits
    assert rows.get(name, "yellow") == "yellow"
