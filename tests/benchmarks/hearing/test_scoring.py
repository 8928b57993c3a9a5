"""The measure itself is measured: hand-made cases whose counts are known."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

import pytest

from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import read_flags

_SPEC = importlib.util.spec_from_file_location(
    "hearing_scoring", Path(__file__).with_name("scoring.py")
)
assert _SPEC is not None
assert _SPEC.loader is not None
scoring = importlib.util.module_from_spec(_SPEC)
sys.modules["hearing_scoring"] = scoring
_SPEC.loader.exec_module(scoring)


def said(kind: str, start_s: float, **more: Any) -> dict[str, Any]:
    blank = {"mark": "", "value": "", "optional": False, "end_s": start_s + 1.0}
    return {"kind": kind, "start_s": start_s, **blank, **more}


def heard(kind: EventKind, start_s: float, **more: Any) -> Event:
    return Event(kind=kind, start_s=start_s, end_s=start_s + 1.0, **more)


def test_a_right_event_counts_once() -> None:
    truth = [said("back", 10.0, mark="yellow")]
    events = [heard(EventKind.BACK, 10.2, mark="yellow")] * 2
    tally = scoring.compare(events, truth)
    assert (tally.said, tally.right, tally.heard) == (1, 1, 2)
    assert tally.late_s == [pytest.approx(0.2)]
    assert tally.wrong_unflagged == 1


def test_a_wrong_mark_is_wrong_and_a_flag_excuses_it() -> None:
    truth = [said("back", 10.0, mark="yellow")]
    plain = scoring.compare([heard(EventKind.BACK, 10.0, mark="white")], truth)
    assert (plain.right, plain.wrong_unflagged, plain.stray) == (0, 1, 0)
    flagged = heard(
        EventKind.BACK, 10.0, mark="white", flags=read_flags(["heard softly"])
    )
    assert scoring.compare([flagged], truth).wrong_unflagged == 0


def test_an_event_out_of_talk_is_a_stray() -> None:
    tally = scoring.compare([heard(EventKind.AWAY, 50.0, mark="red")], [])
    assert (tally.heard, tally.stray, tally.stray_unflagged) == (1, 1, 1)


def test_an_event_a_second_off_is_not_right() -> None:
    truth = [said("pause", 10.0)]
    assert scoring.compare([heard(EventKind.PAUSE, 11.1)], truth).right == 0
    assert scoring.compare([heard(EventKind.PAUSE, 10.9)], truth).right == 1


def test_a_note_taken_back_is_neither_asked_for_nor_wrong() -> None:
    truth = [said("away", 5.0, mark="red", optional=True), said("scratch", 7.0)]
    with_it = [heard(EventKind.AWAY, 5.0, mark="red"), heard(EventKind.SCRATCH, 7.0)]
    for events in (with_it, with_it[1:]):
        tally = scoring.compare(events, truth)
        assert (tally.said, tally.right, tally.heard) == (1, 1, 1)


@pytest.mark.parametrize(
    ("value", "right"),
    [("05:05", True), ("17:05", True), ("05:15", False), ("", False)],
)
def test_times_are_compared_on_the_dial(value: str, right: bool) -> None:
    event = heard(EventKind.TIME, 1.0, value=value)
    assert scoring.is_right(event, said("time", 1.0, value="17:05")) is right


@pytest.mark.parametrize(
    ("mark", "value", "right"),
    [
        ("red", "210", True),
        ("", "210", True),
        ("blue", "210", False),
        ("red", "10", False),
        ("red", "", False),
    ],
)
def test_a_bearing_belongs_to_its_bee(mark: str, value: str, right: bool) -> None:
    event = heard(EventKind.BEARING, 1.0, mark=mark, value=value)
    truth = said("bearing", 1.0, mark="red", value="210")
    assert scoring.is_right(event, truth) is right


def test_reliability_bins_hold_every_event_once() -> None:
    rows = scoring.reliability([(0.0, False), (0.96, True), (0.97, False), (1.0, True)])
    assert sum(count for _, count, _ in rows) == 4
    assert ("0.95-0.98", 2, 0.5) in rows
