"""While listening, a note of looking is answered with the chance that is left."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from treeward.hunt.journal import Journal
from treeward.language.kinds import EventKind
from treeward.live.notebook import Notebook, WalkLaidOut, walk_laid_out
from treeward.notes.events import Event
from treeward.report.result_json import result_dict

if TYPE_CHECKING:
    from pathlib import Path

TEN = datetime(2026, 7, 14, 10, 0, tzinfo=ZoneInfo("Europe/London"))
WALK = WalkLaidOut(done_s=(600.0, 1800.0), found=(0.2, 0.4), since=TEN)


def note(minutes: float, kind: EventKind = EventKind.SEARCHED) -> Event:
    return Event(kind=kind, clock=TEN + timedelta(minutes=minutes))


def test_the_chance_left_goes_by_the_walk() -> None:
    assert WALK.left([]) == 1.0
    assert WALK.left([note(5)]) == pytest.approx(0.9)
    assert WALK.left([note(10)]) == pytest.approx(0.8)
    assert WALK.left([note(10), note(20)]) == pytest.approx(0.6)
    assert WALK.left([note(20), note(200)]) == pytest.approx(0.4)


def test_only_time_spent_looking_counts() -> None:
    sat = note(8, EventKind.STATION)
    assert WALK.left([sat, note(13)]) == pytest.approx(0.9)
    bees = note(8, EventKind.OVERHEAD)
    assert WALK.left([bees, note(10)]) == pytest.approx(0.8)
    for kind in (EventKind.REMARK, EventKind.TIME):
        assert WALK.left([note(8, kind), note(10)]) == pytest.approx(0.8)
    # A tree that was checked is on the way.
    oak = replace(note(8), value="tree checked nothing")
    assert WALK.left([oak, note(10)]) == pytest.approx(0.8)
    # A note reaches back half an hour at most; notes before the walk was laid out
    # were of another.
    assert WALK.left([note(500)]) == pytest.approx(0.4)
    assert WALK.left([note(-20), note(-10)]) == 1.0


def test_the_answer_says_so(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "live.jsonl")
    try:
        notebook = Notebook(journal, lambda _: None, walk=WALK)
        _, first = notebook.take([note(5)])
        _, second = notebook.take([note(10)])
        _, bees = notebook.take([note(11, EventKind.OVERHEAD)])
        shown = notebook.left
        _, other = notebook.take([note(12, EventKind.PAUSE)])
    finally:
        journal.close()
    assert first.words.endswith("90 percent left, if you kept to the walk")
    assert second.words.endswith("80 percent left, if you kept to the walk")
    assert bees.words.endswith("80 percent left, if you kept to the walk")
    assert shown == "80 percent left, if you kept to the walk"
    assert notebook.left == ""
    assert "percent" not in other.words


def test_the_walk_of_the_last_result(typed_hunt: Path) -> None:
    assert walk_laid_out(typed_hunt) is None
    from treeward import Hunt

    hunt = Hunt(typed_hunt)
    result = hunt.locate()
    hunt.results_dir.mkdir()
    text = json.dumps(result_dict(result))
    (hunt.results_dir / "result.json").write_text(text, "utf-8")
    walk = walk_laid_out(typed_hunt)
    assert walk is not None
    assert result.fix is not None
    assert walk.found == pytest.approx(
        [strip.probability for strip in result.fix.search_plan], abs=1e-5
    )
    assert list(walk.done_s) == sorted(walk.done_s)
    assert abs(walk.since - result.created) < timedelta(seconds=1)


@pytest.mark.parametrize(
    "table",
    [
        [],
        {},
        {"search_plan": [{"probability": 1}], "hunt": {"created": TEN.isoformat()}},
        {"search_plan": [], "hunt": {"created": "yesterday"}},
    ],
)
def test_an_old_or_spoilt_result_gives_no_answer(tmp_path: Path, table: object) -> None:
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "result.json").write_text(json.dumps(table), "utf-8")
    assert walk_laid_out(tmp_path) is None
