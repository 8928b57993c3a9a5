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
