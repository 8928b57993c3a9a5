from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.language.kinds import EventKind
from treeward.live.board import (
    away_times_s,
    board,
    due_window,
    standing,
)
from treeward.live.notebook import REPEAT_FAULT_S, Calls
from treeward.notes.events import Event
from treeward.trips.table import Trip, TripTable

if TYPE_CHECKING:
    from pathlib import Path

ZONE = ZoneInfo("Europe/London")
TEN = datetime(2026, 7, 14, 10, 0, tzinfo=ZONE)


def at(seconds: float, kind: EventKind, mark: str = "red", value: str = "") -> Event:
    return Event(
        kind=kind, mark=mark, value=value, clock=TEN + timedelta(seconds=seconds)
    )


AWAY, BACK = EventKind.AWAY, EventKind.BACK


def test_who_is_here_and_who_is_out() -> None:
    events = [
        at(0, EventKind.MARK, "blue"), at(10, AWAY), at(20, AWAY, "white"),
        at(310, BACK), at(320, EventKind.BEARING, "white", "200"),
        at(330, EventKind.BEARING, "white", ""),
    ]  # fmt: skip

    rows = {b.mark: b for b in board(events, {}, TEN + timedelta(seconds=400))}

    assert rows["red"].where == "here"
    assert rows["red"].trips == 1
    assert rows["red"].for_s == 90
    assert rows["white"].where == "away"
    assert rows["white"].for_s == 380
    assert rows["white"].bearing_deg == pytest.approx(200)
    assert rows["white"].due == ""
    assert rows["blue"].where == "seen"


@pytest.mark.parametrize(
    ("away_for_s", "due"), [(200, ""), (230, "soon"), (290, "due"), (340, "overdue")]
)
def test_due_between_and_overdue(away_for_s: float, due: str) -> None:
    usual = {"red": [300.0, 290.0, 310.0, 300.0]}

    (bee,) = board([at(0, AWAY)], usual, TEN + timedelta(seconds=away_for_s))

    assert bee.due == due
    assert bee.usual_away_s == 300
    assert bee.due_from == TEN + timedelta(seconds=280)
    assert bee.due_until == TEN + timedelta(seconds=320)


def test_those_overdue_stand_first() -> None:
    events = [at(0, AWAY, "red"), at(0, AWAY, "blue"), at(5, BACK, "white")]
    usual = {"blue": [100.0]}

    rows = board(events, usual, TEN + timedelta(seconds=200))

    assert [bee.mark for bee in rows] == ["blue", "red", "white"]


def test_a_bee_that_never_came_leaves_the_board() -> None:
    assert board([at(0, AWAY)], {}, TEN + timedelta(hours=3)) == ()


def test_away_time_is_in_real_seconds_when_the_clocks_change() -> None:
    night = datetime(2026, 10, 25, 0, 30, tzinfo=ZONE)  # BST ends at 01:00 UTC
    left = Event(kind=AWAY, mark="red", clock=night)
    later = datetime.fromtimestamp(night.timestamp() + 5400, tz=ZONE)

    (bee,) = board([left], {}, later)

    assert bee.for_s == 5400


@given(st.lists(st.floats(10, 5000), min_size=1, max_size=20))
def test_due_window_holds_the_usual_time(away_s: list[float]) -> None:
    window = due_window(away_s)

    assert window is not None
    middle = sorted(away_s[-8:])[len(away_s[-8:]) // 2]
    assert window[0] < window[1]
    assert window[0] <= middle or len(away_s[-8:]) % 2 == 0


def test_scratch_takes_back_the_last_note_and_again_the_one_before() -> None:
    one, two, three = at(0, AWAY), at(1, BACK), at(2, AWAY)
    scratch = at(3, EventKind.SCRATCH, "")

    assert standing([one, two, scratch, three]) == (one, three)
    assert standing([one, two, scratch, scratch]) == ()
    assert standing([scratch, one]) == (one,)


def trip(away_s: float, **more: object) -> Trip:
    values: dict[str, object] = {
        "mark": "red", "bee": "red", "station": "1", "away_clock": TEN,
        "back_clock": TEN, "away_s": away_s,
    }  # fmt: skip
    return Trip(**(values | more))  # type: ignore[arg-type]


def test_only_timed_single_trips_of_this_station_count_as_usual() -> None:
    trips = (
        trip(300), trip(310, used=False), trip(600, cycles=2), trip(320, station="2"),
        trip(330, stated=True), trip(400, timing="round"), trip(305),
    )  # fmt: skip
    table = TripTable(visits=(), trips=trips, lines=(), winds=())

    assert away_times_s(table, "1") == {"red": [300, 305]}


def test_a_due_bee_is_called_once_for_each_leaving() -> None:
    calls = Calls(due=True)
    usual = {"red": [300.0]}

    def said(events: list[Event], seconds: float) -> list[str]:
        rows = board(events, usual, TEN + timedelta(seconds=seconds))
        return [call.words for call in calls.due(rows)]

    first = [at(0, AWAY)]
    second = [at(0, AWAY), at(310, BACK), at(400, AWAY)]
    heard = [said(first, 100), said(first, 290), said(first, 295), said(first, 600)]
    again = said(second, 690)

    assert heard == [[], ["red due"], [], []]
    assert again == ["red due"]


def test_calls_for_due_bees_are_off_unless_asked_for() -> None:
    rows = board([at(0, AWAY)], {"red": [300.0]}, TEN + timedelta(seconds=300))

    assert Calls(due=False).due(rows) == []


def test_a_fault_is_said_at_once_then_seldom_and_its_end_once() -> None:
    calls = Calls(due=False)
    fault = ["the disk is full: sound is not kept, notes are"]

    said = [
        [call.words for call in calls.faults(now, second)]
        for now, second in (
            (fault, 0.0), (fault, 1.0), (fault, REPEAT_FAULT_S + 1),
            ([], 130.0), ([], 131.0),
        )
    ]  # fmt: skip

    assert said == [["the disk is full"], [], ["the disk is full"], ["mended"], []]


def test_a_fault_is_shown_whole_and_said_in_brief() -> None:
    fault = "silence: the microphone is off, muted, or the wrong one"

    (call,) = Calls(due=False).faults([fault], 0.0)

    assert (call.words, call.shown) == ("silence", fault)


def test_an_estimate_says_when_to_get_up(typed_hunt: Path) -> None:
    from treeward import Hunt
    from treeward.live.board import estimate_of

    result = Hunt(typed_hunt).locate()
    assert result.fix is not None
    facts = result.fix.enough
    assert {one.kind for one in facts} == {"bearings", "trips"}
    full = tuple(replace(one, count=one.enough) for one in facts)
    fix = replace(result.fix, enough=full)
    done = estimate_of(fix, result.table, "1")
    assert done is not None
    assert set(done.enough_of) == {one.bee for one in facts if one.bee}
    assert done.bearings_enough
    seat = fix.colonies[0].next_station
    assert seat is not None
    assert done.move_m == seat.walk_m
    wanting = tuple(replace(one, count=0) for one in facts)
    going = estimate_of(replace(fix, enough=wanting), result.table, "1")
    assert going is not None
    assert going.enough_of == ()
    assert going.move_m is None
