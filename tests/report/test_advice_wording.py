"""Every kind of advice, shape and reason has its words, in one system of units."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from treeward.report.advice_wording import (
    ADVICE,
    HAND_RULES,
    REASONS,
    SHAPES,
    advice_text,
    seat_text,
    shape_text,
)
from treeward.report.result_json import result_dict
from treeward.survey.records import (
    Advice,
    AdviceKind,
    AreaShape,
    HandRuleKind,
    SeatReason,
)

from .conftest import SEAT

if TYPE_CHECKING:
    from treeward.report.model import HuntResult


def test_no_kind_is_without_words() -> None:
    assert set(ADVICE) == set(AdviceKind)
    assert set(REASONS) == set(SeatReason)
    assert set(HAND_RULES) == set(HandRuleKind)
    assert set(SHAPES) == set(AreaShape) - {AreaShape.PATCHES}


@pytest.mark.parametrize(
    ("advice", "said"),
    [
        (
            Advice(kind=AdviceKind.FEW_BEARINGS, colony="B", count=4, wanted=6),
            (
                "colony B: 4 bearings only: read 6 or more, on bees that leave, after "
                "the first circling flights"
            ),
        ),
        (
            Advice(kind=AdviceKind.MAYBE_BEYOND, distance_m=6000.0),
            (
                "the colony may lie beyond 6 km, where the search stops; check the "
                "times, or raise distance_cut_m"
            ),
        ),
        (
            Advice(
                kind=AdviceKind.MAYBE_TWO_COLONIES,
                marks=("white", "red"),
                probability=0.214,
            ),
            (
                "white and red may fly from two colonies (they share one with 21%): "
                "more bearings and times of both would tell"
            ),
        ),
        (
            Advice(kind=AdviceKind.LEFT_OUT, marks=("white", "red")),
            "left out as bees of a known hive: white, red",
        ),
        (
            Advice(kind=AdviceKind.CALIBRATED, from_m=1234.0, to_m=676.0),
            (
                "calibration changed the 90 % interval of distance from 1230 m to "
                "680 m wide"
            ),
        ),
    ],
)
def test_numbers_stand_where_they_belong(advice: Advice, said: str) -> None:
    assert advice_text(advice, "metric") == said


def test_a_seat_in_either_system() -> None:
    assert seat_text(SEAT, "metric") == (
        "700 m on 257 true: a cross line; expected area 9.4 ha -> 4.1 ha"
    )
    # 705 m are 771 yards; 9.45 and 4.1 ha are 23.4 and 10.1 international acres.
    assert seat_text(SEAT, "imperial") == (
        "770 yd on 257 true: a cross line; expected area 23 acres -> 10 acres"
    )


def test_patches_are_counted(two_colonies: HuntResult) -> None:
    assert two_colonies.fix is not None
    first, second = two_colonies.fix.colonies

    assert (shape_text(first), shape_text(second)) == ("two patches", "a patch")


def test_json_has_the_kinds_beside_the_words(result: HuntResult) -> None:
    assert result.fix is not None
    advice = (
        Advice(kind=AdviceKind.FEW_BEARINGS, colony="A", count=4, wanted=6),
        Advice(kind=AdviceKind.NO_TIMES),
    )
    colony = replace(result.fix.colonies[0], advice=advice[1:])
    fix = replace(result.fix, colonies=(colony,), advice=advice)

    plain = result_dict(replace(result, fix=fix))

    assert plain["advice_kinds"] == [
        {"kind": "few_bearings", "count": 4, "wanted": 6, "colony": "A"},
        {"kind": "no_times"},
    ]
    (told,) = plain["colonies"]
    assert (told["shape"], told["words"]) == ("patch", "a patch")
    assert told["advice_kinds"] == [{"kind": "no_times"}]
    assert len(plain["advice"]) == 2
    assert told["next_station"]["why_kind"] == "cross_line"
    assert {rule["rule"] for rule in plain["bees"][0]["hand_rules"]} == {
        "visscher_seeley_1989",
        "kephart",
    }
