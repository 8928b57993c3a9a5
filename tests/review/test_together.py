"""Two people's reviews as one, over invented reviews of any kind."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.review.row import ReviewRow
from treeward.review.together import Reviewed, bring_together

BEGIN = datetime(2026, 7, 14, 10, tzinfo=UTC)
KINDS = (EventKind.BACK, EventKind.AWAY, EventKind.MARK)


@st.composite
def reviews(
    draw: st.DrawFn, recordings: tuple[str, ...] = ("a.wav", "b.wav")
) -> Reviewed:
    """Draw rows that a machine heard, and typed ones, some of them corrected."""
    machine, rows = [], []
    count = draw(st.integers(0, 6))
    for number in range(count):
        name = draw(st.sampled_from(recordings))
        event = Event(
            kind=draw(st.sampled_from(KINDS)),
            mark=draw(st.sampled_from(("yellow", "blue"))),
            recording=name,
            start_s=20.0 * number,
            end_s=20.0 * number + 1.0,
            clock=BEGIN + timedelta(seconds=20 * number),
            confidence=0.9,
            heard="words",
            row=f"r{number + 1:04d}",
        )
        machine.append(ReviewRow(event=event))
        change = draw(st.sampled_from(("", "", "mark", "drop", "remark", "deleted")))
        if change != "deleted":
            rows.append(corrected(ReviewRow(event=event), change))
    for number in range(draw(st.integers(0, 3))):
        event = Event(
            kind=draw(st.sampled_from(KINDS)),
            mark=draw(st.sampled_from(("red", "green"))),
            clock=BEGIN + timedelta(seconds=draw(st.integers(0, 900))),
            row=f"h{number + 1:04d}",
        )
        rows.append(ReviewRow(event=event))
    return Reviewed(machine=tuple(machine), rows=tuple(rows))


def corrected(row: ReviewRow, change: str, mark: str = "white") -> ReviewRow:
    match change:
        case "mark":
            return replace(row, event=replace(row.event, mark=mark))
        case "drop":
            return replace(row, decision="drop")
        case "remark":
            return replace(row, remark="looked at twice")
        case _:
            return row


def contents(reviewed: Reviewed) -> list[tuple[object, ...]]:
    return sorted(
        (
            (r.event.recording, r.event.clock, r.event.kind, r.event.mark, r.decision)
            for r in reviewed.rows
        ),
        key=str,
    )


def elsewhere(reviewed: Reviewed) -> Reviewed:
    """Return the same notes as of other recordings, typed ones later."""

    def moved(row: ReviewRow) -> ReviewRow:
        event = row.event
        if event.recording:
            return replace(
                row, event=replace(event, recording=f"ben/{event.recording}")
            )
        assert event.clock is not None
        return replace(row, event=replace(event, clock=event.clock + timedelta(days=1)))

    return Reviewed(
        machine=tuple(moved(row) for row in reviewed.machine),
        rows=tuple(moved(row) for row in reviewed.rows),
    )


@given(reviews())
def test_a_review_and_its_copy_are_that_review(one: Reviewed) -> None:
    whole = bring_together(one, one, whose="Ben")

    assert contents(whole.reviewed) == contents(one)
    assert {r.name for r in whole.reviewed.rows} == {r.name for r in one.rows}
    assert {r.name for r in whole.reviewed.machine} == {r.name for r in one.machine}
    assert whole.conflicts == ()


@given(reviews(), reviews())
def test_of_two_that_share_nothing_all_is_kept_under_names_of_its_own(
    one: Reviewed, two: Reviewed
) -> None:
    other = elsewhere(two)

    whole = bring_together(one, other, whose="Ben")

    assert contents(whole.reviewed) == sorted(contents(one) + contents(other), key=str)
    names = [row.name for row in whole.reviewed.rows]
    assert len(set(names)) == len(names)
    machine = [row.name for row in whole.reviewed.machine]
    assert len(machine) == len(set(machine)) == len(one.machine) + len(other.machine)


@given(reviews(), reviews())
def test_once_together_the_same_again_changes_nothing(
    one: Reviewed, two: Reviewed
) -> None:
    other = elsewhere(two)
    whole = bring_together(one, other, whose="Ben")
    heard = {row.name for row in other.machine}
    of_sound = Reviewed(
        machine=other.machine, rows=tuple(r for r in other.rows if r.name in heard)
    )

    again = bring_together(whole.reviewed, of_sound, whose="Ben")

    assert contents(again.reviewed) == contents(whole.reviewed)


@given(reviews(), st.data())
def test_what_the_second_corrected_stands_where_the_first_did_not(
    one: Reviewed, data: st.DataObject
) -> None:
    written = {row.name: row for row in one.machine}
    plain = replace(one, rows=tuple(written.values()))
    changes = {
        name: data.draw(st.sampled_from(("", "mark", "drop", "remark")))
        for name in written
    }
    theirs = tuple(corrected(row, changes[name]) for name, row in written.items())

    whole = bring_together(plain, replace(plain, rows=theirs), whose="Ben")

    assert contents(whole.reviewed) == contents(replace(plain, rows=theirs))
    remarks = {row.name: row.remark for row in whole.reviewed.rows}
    assert remarks == {row.name: row.remark for row in theirs}
    assert whole.conflicts == ()


@given(reviews(recordings=("a.wav",)))
def test_where_both_corrected_the_firsts_stands_and_the_seconds_is_told(
    one: Reviewed,
) -> None:
    mine = tuple(corrected(row, "mark", "white") for row in one.machine)
    theirs = tuple(corrected(row, "mark", "pink") for row in one.machine)

    whole = bring_together(
        replace(one, rows=mine), replace(one, rows=theirs), whose="Ben"
    )

    assert [row.event.mark for row in whole.reviewed.rows] == ["white"] * len(mine)
    assert all(row.remark == "Ben has mark pink" for row in whole.reviewed.rows)
    assert set(whole.conflicts) == {row.name for row in mine}


def test_rows_that_two_people_typed_at_once_stay_two() -> None:
    def typed(mark: str) -> Reviewed:
        event = Event(kind=EventKind.BACK, mark=mark, clock=BEGIN, row="h0001")
        return Reviewed(rows=(ReviewRow(event=event),))

    whole = bring_together(typed("red"), typed("blue"), whose="Ben")

    assert [row.event.mark for row in whole.reviewed.rows] == ["red", "blue"]


def heard_at(start_s: float, name: str, mark: str = "yellow") -> ReviewRow:
    event = Event(
        kind=EventKind.BACK,
        mark=mark,
        recording="a.wav",
        start_s=start_s,
        end_s=start_s + 1.0,
        clock=BEGIN + timedelta(seconds=start_s),
        row=name,
    )
    return ReviewRow(event=event)


def of_rows(machine: tuple[ReviewRow, ...], rows: tuple[ReviewRow, ...]) -> Reviewed:
    return Reviewed(machine=machine, rows=rows)


def test_a_row_the_first_deleted_stays_out_unless_the_second_changed_theirs() -> None:
    row = heard_at(5.0, "r0001")
    deleted = Reviewed(machine=(row,))

    untouched = bring_together(deleted, of_rows((row,), (row,)), whose="Ben")
    changed = of_rows((row,), (corrected(row, "mark"),))
    brought_back = bring_together(deleted, changed, whose="Ben")

    assert untouched.reviewed.rows == ()
    assert [r.event.mark for r in brought_back.reviewed.rows] == ["white"]


def test_what_another_engine_heard_in_a_shared_recording_is_not_added() -> None:
    mine = heard_at(5.0, "r0001")
    plain, kept = heard_at(60.0, "r0001"), heard_at(90.0, "r0002")
    other = of_rows((plain, kept), (plain, replace(kept, decision="keep")))

    whole = bring_together(of_rows((mine,), (mine,)), other, whose="Ben")

    starts = [row.event.start_s for row in whole.reviewed.rows]
    assert starts == [5.0, 90.0]
    assert len({row.name for row in whole.reviewed.rows}) == 2
