"""result.json: the fixed keys, plain values, and the way back to the notes."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from treeward.report.model import Missing, MissingKind
from treeward.report.result_json import hand_rule_range, number, result_dict
from treeward.survey.records import HandRule, HandRuleKind

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from treeward.report.model import HuntResult


def test_the_fixed_keys_stand(result: HuntResult) -> None:
    plain = result_dict(result)

    assert plain["schema"] == 1
    assert {
        "schema", "hunt", "stations", "trips", "bees", "colonies", "next_station"
    } <= set(plain)  # fmt: skip
    assert {
        "id", "latitude_deg", "longitude_deg", "declination_deg", "bearings_used",
        "mean_bearing_true_deg",
    } <= set(plain["stations"][0])  # fmt: skip
    assert {
        "mark", "station", "away_clock", "back_clock", "away_s", "cycles", "used",
        "doubts",
    } <= set(plain["trips"][0])  # fmt: skip
    bee = plain["bees"][0]
    assert {
        "mark", "station", "trips_used", "shortest_away_s", "distance_m", "hand_rule_m"
    } <= set(bee)  # fmt: skip
    assert set(bee["distance_m"]) == {"median", "low50", "high50", "low90", "high90"}
    colony = plain["colonies"][0]
    assert {"id", "marks", "best", "search_area"} <= set(colony)
    assert set(colony["best"]) == {"latitude_deg", "longitude_deg"}
    assert set(colony["search_area"]) == {"50", "90", "95"}
    ring = colony["search_area"]["90"]["polygons"][0]
    assert ring[0] == ring[-1]
    assert ring[0][0] == pytest.approx(-3.617, abs=0.01)  # longitude first
    assert {
        "latitude_deg", "longitude_deg", "from_station", "walk_m",
        "walk_bearing_true_deg", "why",
    } <= set(plain["next_station"])  # fmt: skip


def leaves(value: Any) -> Iterator[Any]:
    if isinstance(value, dict):
        for inner in value.values():
            yield from leaves(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from leaves(inner)
    else:
        yield value


@pytest.mark.parametrize("name", ["result", "two_colonies", "empty"])
def test_values_are_plain_and_come_back(
    name: str, request: pytest.FixtureRequest
) -> None:
    plain = result_dict(request.getfixturevalue(name))

    assert {type(leaf) for leaf in leaves(plain)} <= {str, int, float, bool, type(None)}
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain


def test_no_nan_gets_through(result: HuntResult) -> None:
    assert result.fix is not None
    bee = replace(result.fix.bees[0], high90_m=np.inf, median_m=float("nan"))
    odd = replace(result, fix=replace(result.fix, bees=(bee,)))

    distance = result_dict(odd)["bees"][0]["distance_m"]

    assert distance["high90"] is None
    assert distance["median"] is None
    assert distance["low50"] is not None
    json.dumps(result_dict(odd), allow_nan=False)


def test_every_trip_leads_back_to_row_and_second(result: HuntResult) -> None:
    for plain, trip in zip(
        result_dict(result)["trips"], result.table.trips, strict=True
    ):
        note = result.rows[trip.away_row]
        assert plain["away_note"]["row"] == trip.away_row
        assert plain["away_note"]["recording"] == note.recording
        assert plain["away_note"]["start_s"] == pytest.approx(note.start_s, abs=5e-4)


def test_mean_bearings_are_true(result: HuntResult) -> None:
    station = result_dict(result)["stations"][0]

    # The invented bearings scatter by 7 degrees about the way to the colony.
    assert station["mean_bearing_true_deg"] == pytest.approx(226.8, abs=5)
    assert station["bearings_used"] == 12


def test_a_hunt_without_anything_says_so(empty: HuntResult) -> None:
    plain = result_dict(empty)

    assert plain["colonies"] == plain["bees"] == plain["trips"] == []
    assert plain["next_station"] is None


def test_what_was_missing_is_kept(build: Callable[..., HuntResult]) -> None:
    lacking = Missing(kind=MissingKind.UNKNOWN_STATION, stations=("C", "D"))

    plain = result_dict(build(missing=(lacking,)))

    (said,) = plain["missing"]
    assert said.startswith("The notes name station C, D, which hunt.toml does not")
    assert plain["missing_kinds"] == [
        {"kind": "unknown_station", "stations": ["C", "D"]}
    ]


def test_rules_of_thumb_make_a_range() -> None:
    rules = [HandRule(kind=HandRuleKind.SEELEY, distance_m=d) for d in (300.0, 900.0)]

    assert hand_rule_range(rules) == {"low": 300.0, "high": 900.0}
    assert hand_rule_range([]) is None
    assert number(1.26, 1) == 1.3
