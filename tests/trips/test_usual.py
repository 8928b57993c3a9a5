"""How a gap is judged by a bee's habits: away 300 s, visits of 60 s."""

from __future__ import annotations

import pytest

from treeward.trips.pairing import Usual, judge_gap, judge_unwatched, usual_of
from treeward.trips.table import DoubtCode

HABIT = Usual(away_s=300.0, visit_s=60.0, trips=5)


@pytest.mark.parametrize(
    ("gap_s", "cycles", "used", "code"),
    [
        (510, 1, True, None),  # 1.7 times the usual
        (511, 1, True, DoubtCode.LONG),
        (660 * 0.85 - 1, 1, True, DoubtCode.LONG),
        (660 * 0.86, 2, True, DoubtCode.SEVERAL_TRIPS),  # two trips and a visit
        (660 * 1.14, 2, True, DoubtCode.SEVERAL_TRIPS),
        (660 * 1.15 + 1, 1, True, DoubtCode.LONG),
        (1020, 3, True, DoubtCode.SEVERAL_TRIPS),
        (1620, 1, True, DoubtCode.LONG),  # 4.5 trips with their visits
        (1621, 1, False, DoubtCode.FAR_TOO_LONG),
        (3600, 1, False, DoubtCode.FAR_TOO_LONG),
        (3601, 1, False, DoubtCode.LONGER_THAN_ANY),
    ],
)
def test_a_gap_is_one_trip_or_several(
    gap_s: float, cycles: int, *, used: bool, code: DoubtCode | None
) -> None:
    verdict = judge_gap(gap_s, HABIT, round_trip=False, missed=False)

    assert (verdict.cycles, verdict.used) == (cycles, used)
    assert [d.code for d in verdict.doubts] == ([code] if code else [])


@pytest.mark.parametrize(
    ("gap_s", "cycles", "used"), [(360, 1, True), (720, 2, True), (900, 1, False)]
)
def test_between_two_landings_lies_a_visit_more(
    gap_s: float, cycles: int, *, used: bool
) -> None:
    verdict = judge_gap(gap_s, HABIT, round_trip=True, missed=False)

    assert (verdict.cycles, verdict.used) == (cycles, used)


def test_an_hour_is_the_longest_trip_of_a_bee_that_was_never_timed() -> None:
    never = usual_of([], [])

    assert never.away_s is None
    assert judge_gap(3600, never, round_trip=False, missed=False).used
    assert not judge_gap(3601, never, round_trip=False, missed=False).used


@pytest.mark.parametrize(("gap_s", "used"), [(390, True), (391, False)])
def test_an_unwatched_gap_is_used_up_to_thirteen_tenths_of_the_usual(
    gap_s: float, *, used: bool
) -> None:
    assert judge_unwatched(gap_s, HABIT, between=False).used is used


def test_long_gaps_do_not_bend_what_is_usual() -> None:
    usual = usual_of([300, 310, 290, 660, 1020], [50, 60, 100])

    assert (usual.away_s, usual.visit_s, usual.trips) == (300, 60, 3)
