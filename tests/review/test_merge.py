"""A re-run beside a person's changes: nothing of the person's is ever lost."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawing import examples
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode, read_flags
from treeward.review.file import (
    PERSON_COLUMNS,
    ReviewRow,
    cells_of,
    effective_events,
    read_review,
    write_review,
)
from treeward.review.merge import (
    MergeResult,
    by_time,
    heed_corrected_times,
    merge_review,
)
from treeward.review.store import Status, status_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

LONDON = ZoneInfo("Europe/London")
START = datetime(2026, 7, 14, 9, 20, tzinfo=UTC).astimezone(LONDON)


def heard(
    second: float,
    kind: EventKind = EventKind.BACK,
    mark: str = "yellow",
    value: str = "",
    recording: str = "memo.m4a",
) -> Event:
    return Event(
        kind=kind,
        mark=mark,
        value=value,
        recording=recording,
        start_s=second,
        end_s=second + 0.8,
        clock=START + timedelta(seconds=second),
        confidence=0.9,
        heard=f"{mark} {kind.value}".strip(),
    )


FIRST = [heard(10), heard(70, EventKind.AWAY), heard(370), heard(430, EventKind.AWAY)]


def changed(row: ReviewRow, **more: object) -> ReviewRow:
    own = {k: v for k, v in more.items() if k in {"decision", "remark"}}
    event = {k: v for k, v in more.items() if k not in own}
    return replace(row, event=replace(row.event, **event), **own)  # type: ignore[arg-type]


def first_run() -> MergeResult:
    return merge_review([], None, FIRST)


def names(rows: tuple[ReviewRow, ...]) -> list[str]:
    return [row.name for row in rows]


def test_the_first_run_names_rows_in_order_of_time() -> None:
    result = merge_review([], None, FIRST[::-1])

    assert names(result.rows) == ["r0001", "r0002", "r0003", "r0004"]
    assert result.rows == result.machine
    assert result.report.lines() == ["4 rows added"]


def test_a_re_run_without_change_changes_nothing() -> None:
    one = first_run()

    two = merge_review(one.machine, one.rows, FIRST)

    assert (two.rows, two.machine) == (one.rows, one.machine)
    assert two.report.lines() == []


def test_a_change_stays_and_the_rest_follows_the_machine() -> None:
    one = first_run()
    mine = [changed(one.rows[0], mark="red", remark="sure"), *one.rows[1:]]
    new = [replace(FIRST[0], start_s=10.1, confidence=0.95), *FIRST[1:]]

    two = merge_review(one.machine, mine, new)

    row = two.rows[0]
    assert (row.event.mark, row.remark) == ("red", "sure")
    assert (row.event.start_s, row.event.confidence) == (10.1, 0.95)
    assert two.report.kept_changes == ("r0001",)
    assert two.report.conflicts == ()


def test_changed_on_both_sides_the_persons_stands_and_the_flag_tells() -> None:
    one = first_run()
    mine = [changed(one.rows[0], mark="red"), *one.rows[1:]]
    new = [replace(FIRST[0], mark="white"), *FIRST[1:]]

    two = merge_review(one.machine, mine, new)
    three = merge_review(two.machine, two.rows, new)

    assert two.rows[0].event.mark == "red"
    assert two.rows[0].event.flags == (Flag.of(FlagCode.HEARD_ANEW, "back white"),)
    assert two.report.conflicts == ("r0001",)
    assert three.rows == two.rows


def test_a_change_that_the_machine_once_agreed_with_is_remembered() -> None:
    one = first_run()
    mine = [changed(one.rows[0], mark="red"), *one.rows[1:]]
    agreed = [replace(FIRST[0], mark="red"), *FIRST[1:]]

    two = merge_review(one.machine, mine, agreed)
    three = merge_review(two.machine, two.rows, FIRST)

    assert three.rows[0].event.mark == "red"


def test_a_row_that_was_kept_is_confirmed_as_it_stands() -> None:
    one = first_run()
    mine = [changed(one.rows[0], decision="keep"), *one.rows[1:]]

    two = merge_review(one.machine, mine, [replace(FIRST[0], mark="white"), *FIRST[1:]])

    assert two.rows[0].event.mark == "yellow"
    assert two.rows[0].decision == "keep"


def test_what_is_no_longer_heard_goes_unless_it_was_changed() -> None:
    one = first_run()
    mine = [changed(one.rows[0], value="x"), *one.rows[1:]]

    two = merge_review(one.machine, mine, FIRST[2:])
    three = merge_review(two.machine, two.rows, FIRST[2:])
    again = merge_review(three.machine, three.rows, FIRST)

    assert names(two.rows) == ["r0001", "r0003", "r0004"]
    assert two.rows[0].event.flags == (Flag(FlagCode.NO_LONGER_HEARD),)
    assert two.report.removed == ("r0002",)
    assert three.rows == two.rows
    assert again.rows[0].event.flags == ()
    assert again.rows[0].event.value == "x"


def test_a_deleted_row_stays_deleted() -> None:
    one = first_run()

    two = merge_review(one.machine, one.rows[1:], FIRST)
    three = merge_review(two.machine, two.rows, FIRST[1:])
    four = merge_review(three.machine, three.rows, FIRST)

    assert names(four.rows) == ["r0002", "r0003", "r0004"]
    assert two.report.stay_deleted == ("r0001",)


def test_a_row_added_by_hand_stays_and_is_not_doubled_when_heard() -> None:
    one = first_run()
    by_hand = ReviewRow(
        event=Event(
            kind=EventKind.BACK,
            mark="red",
            clock=START + timedelta(seconds=203),
            row="h0001",
        ),
        remark="saw her",
    )

    two = merge_review(one.machine, [*one.rows, by_hand], FIRST)
    three = merge_review(two.machine, two.rows, [*FIRST, heard(201, mark="red")])
    four = merge_review(three.machine, three.rows, [*FIRST, heard(201, mark="red")])

    assert by_hand in two.rows
    assert [r.name for r in three.rows if r.event.mark == "red"] == ["h0001"]
    assert three.report.also_heard == ("h0001",)
    (row,) = (r for r in three.rows if r.name == "h0001")
    assert (row.remark, row.event.start_s, row.event.recording) == (
        "saw her",
        201,
        "memo.m4a",
    )
    assert four.rows == three.rows


def test_recordings_that_were_not_heard_this_time_stay() -> None:
    other = [heard(5, recording="other.m4a")]
    one = merge_review([], None, [*FIRST, *other])

    two = merge_review(one.machine, one.rows, FIRST, transcribed={"memo.m4a"})
    none = merge_review(one.machine, one.rows, [], transcribed={"other.m4a"})

    assert two.rows == one.rows
    assert len(none.rows) == 4


def test_new_names_are_above_every_name_that_was_used() -> None:
    one = first_run()

    two = merge_review(one.machine, one.rows[:-1], [*FIRST, heard(900)])

    assert names(two.rows) == ["r0001", "r0002", "r0003", "r0005"]


def test_two_notes_of_one_breath_are_not_mixed_up() -> None:
    both = [heard(10, EventKind.AWAY), heard(10.9, EventKind.BEARING, value="210")]
    one = merge_review([], None, both)
    moved = [replace(e, start_s=(e.start_s or 0) + 0.6) for e in both]

    two = merge_review(one.machine, one.rows, moved)

    assert [(r.name, r.event.kind) for r in two.rows] == [
        ("r0001", EventKind.AWAY),
        ("r0002", EventKind.BEARING),
    ]


def test_a_corrected_time_counts_for_the_clock() -> None:
    times = [heard(10, EventKind.TIME, "", "10:52"), heard(70, EventKind.TIME, "", "1")]
    one = merge_review([], None, times)
    mine = [
        changed(one.rows[0], value="10:22"),
        changed(one.rows[1], decision="drop"),
    ]

    heeded = heed_corrected_times([*times, heard(80)], one.machine, mine)

    assert [e.value for e in heeded] == ["10:22", "", ""]
    assert heeded[2] == heard(80)


# A random person and a random machine ---------------------------------------------


@dataclass(frozen=True)
class Edit:
    """What a person does to one row."""

    row: int
    column: str
    text: str


EDITS = st.lists(
    st.builds(
        Edit,
        row=st.integers(0, 7),
        column=st.sampled_from(["mark", "mark", "value", "remark", "decision", "kind"]),
        text=st.sampled_from(["red", "white", "210", "keep", "drop"]),
    ),
    max_size=6,
)
MACHINES = st.lists(
    st.builds(
        heard,
        st.integers(0, 40).map(lambda n: n * 15.0),
        st.sampled_from([EventKind.BACK, EventKind.AWAY]),
        st.sampled_from(["yellow", "white", "red"]),
    ),
    max_size=8,
    unique_by=lambda e: e.start_s,
)


@st.composite
def two_machines(draw: st.DrawFn) -> tuple[list[Event], list[Event]]:
    """Two runs over one recording, which mostly hear the same."""
    first = draw(MACHINES.filter(bool))
    second = []
    for event in first:
        match draw(st.sampled_from(["same", "mark", "moved", "lost", "mark"])):
            case "mark":
                mark = draw(st.sampled_from(["yellow", "white", "red"]))
                second.append(replace(event, mark=mark, heard=mark))
            case "moved":
                second.append(replace(event, start_s=(event.start_s or 0.0) + 0.4))
            case "same":
                second.append(event)
            case _:  # lost
                pass
    return first, [*second, *draw(st.lists(st.just(heard(2000)), max_size=1))]


def edit(rows: list[ReviewRow], edits: list[Edit]) -> list[ReviewRow]:
    for one in edits:
        if one.row >= len(rows):
            continue
        row = rows[one.row]
        if one.column == "decision":
            decision = one.text if one.text in {"keep", "drop"} else ""
            rows[one.row] = changed(row, decision=decision)
        elif one.column == "kind":
            rows[one.row] = changed(row, kind=EventKind.MARK)
        else:
            rows[one.row] = changed(row, **{one.column: one.text})
    return rows


@settings(max_examples=examples(200), deadline=None)
@given(
    machines=two_machines(),
    edits=EDITS,
    deleted=st.sets(st.integers(0, 7), max_size=3),
    later=EDITS,
)
def test_no_change_of_a_person_is_ever_lost(
    machines: tuple[list[Event], list[Event]],
    edits: list[Edit],
    deleted: set[int],
    later: list[Edit],
) -> None:
    first, second = machines
    one = merge_review([], None, first)
    mine = edit(list(one.rows), edits)
    gone = {r.name for i, r in enumerate(mine) if i in deleted}
    mine = [r for r in mine if r.name not in gone]
    wanted = what_changed(one.rows, mine)

    for machine in (second, first, first, second):
        two = merge_review(one.machine, mine, machine, transcribed={"memo.m4a"})

        after = {r.name: cells_of(r) for r in two.rows}
        assert {key: after[key[0]][key[1]] for key in wanted} == wanted
        assert not gone & set(after)
        assert len(names(two.rows)) == len(set(names(two.rows)))
        same = merge_review(two.machine, two.rows, machine, transcribed={"memo.m4a"})
        assert (same.rows, same.machine) == (two.rows, two.machine)
        one, mine = two, edit(list(two.rows), later)
        wanted |= what_changed(two.rows, mine)


def what_changed(
    before: Sequence[ReviewRow], after: Sequence[ReviewRow]
) -> dict[tuple[str, str], str]:
    """Return the cells that an edit changed, by row and column."""
    old = {r.name: cells_of(r) for r in before}
    return {
        (row.name, column): cell
        for row in after
        for column, cell in cells_of(row).items()
        if column in PERSON_COLUMNS and cell != old[row.name][column]
    }


@settings(max_examples=examples(50), deadline=None)
@given(first=MACHINES, edits=EDITS)
def test_the_files_carry_all_that_the_merge_needs(
    first: list[Event], edits: list[Edit], tmp_path_factory: pytest.TempPathFactory
) -> None:
    base = tmp_path_factory.getbasetemp()
    one = merge_review([], None, first)
    write_review(base / "machine.csv", one.machine)
    write_review(base / "review.csv", edit(list(one.rows), edits))

    machine = read_review(base / "machine.csv", LONDON)
    mine = read_review(base / "review.csv", LONDON, machine=machine)
    two = merge_review(machine, mine, first, transcribed={"memo.m4a"})

    in_time = sorted(mine, key=by_time)  # a value that was a note is a row of its own
    assert [cells_of(r) for r in two.rows] == [cells_of(r) for r in in_time]
    write_review(base / "machine.csv", two.machine)
    again = read_review(base / "machine.csv", LONDON)
    assert [cells_of(r) for r in again] == [cells_of(r) for r in two.machine]


def test_an_open_or_forbidden_file_leaves_the_old_one(tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    write_review(path, first_run().rows)
    before = path.read_bytes()
    bad = changed(first_run().rows[0], heard="\ud800")  # cannot be encoded

    with pytest.raises(UnicodeEncodeError):
        write_review(path, [bad])

    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["review.csv"]


def typed(minute: int, kind: str, mark: str, value: str = "") -> Event:
    return Event(
        kind=EventKind(kind),
        mark=mark,
        value=value,
        recording="day.txt",
        clock=START + timedelta(minutes=minute),
        heard=f"9:{20 + minute} {mark} {kind} {value}".strip(),
    )


def test_a_correction_stays_with_its_note_when_the_line_gets_another_time() -> None:
    page = [typed(0, "away", "yellow"), typed(0, "bearing", "yellow", "46")]
    one = merge_review([], None, page)
    mine = [one.rows[0], changed(one.rows[1], value="47")]
    later = [typed(1, "away", "yellow"), typed(1, "bearing", "yellow", "46")]

    two = merge_review(one.machine, mine, later)

    assert names(two.rows) == ["r0001", "r0002"]
    assert [row.event.value for row in two.rows] == ["", "47"]
    assert {r.event.clock for r in two.rows} == {START + timedelta(minutes=1)}
    assert two.report.kept_changes == ("r0002",)
    assert not any(r.event.flags for r in two.rows)


def test_a_line_far_off_in_time_or_of_another_bee_is_another_note() -> None:
    page = [typed(0, "bearing", "yellow", "46")]
    one = merge_review([], None, page)
    mine = [changed(one.rows[0], value="47")]

    for minute, mark in ((9, "yellow"), (1, "red")):
        other = typed(minute, "bearing", mark, "46")
        two = merge_review(one.machine, mine, [other], transcribed={"day.txt"})
        assert two.report.added == ("r0002",)
        assert two.report.no_longer_heard == ("r0001",)


def test_a_dropped_row_takes_no_corrected_line_with_it() -> None:
    one = merge_review([], None, [typed(7, "back", "white")])
    mine = [changed(one.rows[0], decision="drop")]

    two = merge_review(one.machine, mine, [typed(8, "back", "white")])

    assert names(two.rows) == ["r0001", "r0002"]
    assert [row.decision for row in two.rows] == ["drop", ""]


def test_a_kept_row_counts_once_beside_the_note_as_it_is_heard_now() -> None:
    gone = read_flags(["no longer heard, kept because you changed it"])
    old = ReviewRow(
        event=replace(typed(0, "bearing", "yellow", "47"), row="r0001", flags=gone)
    )
    now = ReviewRow(event=replace(typed(1, "bearing", "yellow", "46"), row="r0002"))

    assert [e.row for e in effective_events([old, now])] == ["r0002"]
    assert [e.row for e in effective_events([old])] == ["r0001"]
    kept = [replace(old, decision="keep"), now]
    assert [e.row for e in effective_events(kept)] == ["r0001", "r0002"]
    machine = replace(old, event=replace(old.event, value="46", flags=()))
    assert status_of(old, machine) is Status.LOOK
