"""Looking for the tree in sentences."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from treeward.report.looking import (
    CLOSING_IN,
    hours_text,
    looked_sentences,
    percent,
    search_doubt_sentences,
    search_sentences,
    strip_lines,
)
from treeward.report.model import (
    Bout,
    BoutKind,
    SearchDoubt,
    SearchDoubtKind,
    SearchTold,
)
from treeward.report.page import page_text
from treeward.survey.records import Searched, Sitting
from treeward.survey.search import LookedSpot, Searching

if TYPE_CHECKING:
    from treeward.report.model import HuntResult

SIT = Sitting(
    minutes=30.0, walk_s=600.0, set_up_s=900.0, search_s=36_000.0, after_s=7200.0
)
LOOKED = Searching(
    spots=(
        LookedSpot(latitude_deg=52.3, longitude_deg=-3.6, radius_m=15.0, effort=1.0),
    )
)


def searched(result: HuntResult, *, near: bool = False, **more: object) -> HuntResult:
    """Return a result of which ground was looked at."""
    fix = result.fix
    assert fix is not None
    colony = fix.colonies[0]
    facts = {
        "found_by_now": 0.42,
        "found_if_half": 0.25,
        "still_inside": 0.81,
        "before_area": colony.search_areas[90],
        "ground_used": True,
        "mean_s": 40_000.0,
        "plan_s": 21_900.0,
        "plan_finds": 0.33,
        "plan_finds_if_half": 0.19,
        "sitting": SIT,
    } | more
    distance = {s.id: (60.0, 120.0, 200.0) for s in result.stations}
    colony = replace(
        colony,
        searched=Searched(**facts),  # type: ignore[arg-type]
        distance_m=distance if near else colony.distance_m,
    )
    told = SearchTold(
        searching=LOOKED,
        bouts=(Bout(kind=BoutKind.TRACK, walked_m=3100.0, spent_s=7800.0),),
    )
    return replace(result, fix=replace(fix, colonies=(colony,)), search=told)


def said(result: HuntResult) -> str:
    assert result.fix is not None
    return " ".join(search_sentences(result, result.fix.colonies[0]))


def test_what_was_looked_at_and_what_is_left(result: HuntResult) -> None:
    words = said(searched(result))
    assert (
        "You have looked at 42 % of the chance in 2 h 10 (3.1 km walked while "
        "looking): not there. It is 25 % if you see half as far " in words
    )
    assert "The chance is 81 % that it is still inside the" in words
    assert (
        "takes 6 h 05 and finds the tree with 33 % (19 % if you see half as far)"
        in words
    )
    assert "how wide a strip one looks over on the way: 15 m, a guess" in words


def test_to_sit_or_to_look_on(result: HuntResult) -> None:
    # 36000 s of searching against 600 + 900 + 1800 + 7200.
    assert "from 10 h down to 2 h 55, both without the ways" in said(searched(result))
    costly = replace(SIT, after_s=35_000.0)
    words = said(searched(result, sitting=costly))
    assert "Looking on takes 10 h, with a station before it 11 h." in words
    assert "Sit first" not in words
    assert "station before" not in said(searched(result, sitting=None))


def test_near_the_tree_one_looks_and_is_warned(result: HuntResult) -> None:
    assert not any(line in said(searched(result)) for line in CLOSING_IN)
    words = said(searched(result, near=True))
    assert all(line in words for line in CLOSING_IN)
    assert "do not climb and do not cut" in words


def test_nothing_is_said_where_nothing_was_measured(result: HuntResult) -> None:
    assert said(result) == ""


@pytest.mark.parametrize("kind", list(SearchDoubtKind))
def test_every_doubt_has_its_sentence(
    result: HuntResult, kind: SearchDoubtKind
) -> None:
    doubt = SearchDoubt(
        kind=kind,
        where="walk.gpx",
        clock=datetime(2026, 7, 14, 11, 20, tzinfo=UTC),
        count=2,
        metres=640.0,
        words=("bog", "wood"),
    )
    told = SearchTold(doubts=(doubt,))
    (line,) = search_doubt_sentences(replace(result, search=told))
    assert "walk.gpx" in line
    assert line.endswith(".")


def test_from_when_to_when_a_note_counts_stands_in_the_report(
    result: HuntResult,
) -> None:
    begun = datetime(2026, 7, 14, 11, 20, tzinfo=UTC)
    bout = Bout(
        kind=BoutKind.WALK,
        row="7",
        since=begun,
        clock=begun.replace(minute=45),
        walked_m=640.0,
    )
    some = searched(result)
    assert some.search is not None
    some = replace(some, search=replace(some.search, bouts=(bout,)))
    line = "14 Jul 12:20 to 12:45, 640 m walked (row 7)"
    assert line in looked_sentences(some)[0]
    assert line in page_text(some, drawings={})


def test_chances_are_never_sure() -> None:
    assert [percent(x) for x in (0.0, 0.42, 1.0)] == [
        "less than 1 %",
        "42 %",
        "more than 99 %",
    ]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "5 min"), (2400, "40 min"), (3590, "1 h"), (7800, "2 h 10"), (86_400, "24 h")],
)
def test_hours(seconds: float, text: str) -> None:
    assert hours_text(seconds) == text


def test_strips_add_up(result: HuntResult) -> None:
    assert result.fix is not None
    colony = result.fix.colonies[0]
    first, second = strip_lines(result, colony)
    assert (first["found"], second["found"]) == ("31 %", "55 %")
    assert first["by"] == ""  # an old result without times
