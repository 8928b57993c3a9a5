from __future__ import annotations

import numpy as np
import pytest

from treeward import survey
from treeward.survey.classical import representative_s


def test_rules_are_named_and_not_averaged() -> None:
    rules = survey.hand_rules(300.0)
    assert len({r.kind for r in rules}) == len(rules) == 4
    found = [r.distance_m for r in rules]
    assert max(found) / min(found) > 1.5  # they disagree; the range is the message


def test_a_rule_is_silent_outside_its_range() -> None:
    table, seeley = survey.HandRuleKind.VISSCHER_SEELEY, survey.HandRuleKind.SEELEY
    assert table not in {r.kind for r in survey.hand_rules(120.0)}
    assert seeley not in {r.kind for r in survey.hand_rules(900.0)}
    assert survey.hand_rules(60.0) == ()


def test_third_shortest_time_stands_for_a_bee() -> None:
    # Human et al. 2013: the third or fourth shortest of about ten.
    assert representative_s(np.array([500.0, 310.0, 300.0, 320.0])) == 320.0
    assert representative_s(np.array([400.0, 390.0])) == 390.0


def test_nine_minutes_is_eight_tenths_of_a_mile() -> None:
    # Common practice: nine minutes away, two and a half in the hive, 15 mph.
    kind = survey.HandRuleKind.FIFTEEN_MPH
    (rule,) = (r for r in survey.hand_rules(540.0) if r.kind is kind)
    assert rule.distance_m / 1609.344 == pytest.approx(0.8125)


@pytest.mark.parametrize(
    ("minutes", "rule", "metres"),
    [
        (5.0, "VISSCHER_SEELEY", 900.0),
        (7.5, "VISSCHER_SEELEY", 1150.0),  # between the rows of the table
        (15.0, "VISSCHER_SEELEY", 1700.0),
        (4.99, "VISSCHER_SEELEY", None),
        (15.01, "VISSCHER_SEELEY", None),
        (2.5, "SEELEY", 100.0),
        (4.5, "SEELEY", 550.0),
        (7.0, "SEELEY", 1112.5),  # 225 m a minute beyond 1000 m
        (2.0, "SEELEY", 0.0),  # and not below nothing
        (1.99, "SEELEY", None),
        (7.01, "SEELEY", None),
        (2.0, "KEPHART", None),
        (12.0, "KEPHART", 1609.344),  # ten minutes more than two: a mile
        (2.5, "FIFTEEN_MPH", None),
        (10.5, "FIFTEEN_MPH", 1609.344),  # eight minutes at a mile in four
    ],
)
def test_rules_of_thumb_by_hand(
    minutes: float, rule: str, metres: float | None
) -> None:
    kind = survey.HandRuleKind[rule]
    found = [r.distance_m for r in survey.hand_rules(60 * minutes) if r.kind is kind]
    assert found == ([] if metres is None else [pytest.approx(metres)])
