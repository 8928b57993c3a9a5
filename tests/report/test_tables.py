"""trips.csv and bees.csv: read back whole, and harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from typing import TYPE_CHECKING

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.report.writing import _table, bees_text, trips_text
from treeward.review.table import unguard

if TYPE_CHECKING:
    from treeward.report.model import HuntResult


def test_trips_are_read_back(result: HuntResult) -> None:
    read = pd.read_csv(io.StringIO(trips_text(result)), parse_dates=["away_clock"])

    assert len(read) == len(result.table.trips)
    assert list(read["away_s"]) == pytest.approx(
        [round(trip.away_s, 2) for trip in result.table.trips]
    )
    assert str(read["away_clock"].dt.tz) == "UTC"
    unused = read.loc[~read["used"], "doubts"]
    assert len(unused)
    assert all(text.startswith("about twice the usual (") for text in unused)


def test_bees_have_units_in_their_columns(result: HuntResult) -> None:
    frame = pd.read_csv(io.StringIO(bees_text(result)))

    assert frame.loc[0, "distance_median_m"] == 640
    assert frame.loc[0, "hand_rule_low_m"] == 512
    measured = [name for name in frame.columns if "distance" in name or "rule" in name]
    assert all(name.endswith("_m") for name in measured)


def test_an_empty_hunt_still_has_its_columns(empty: HuntResult) -> None:
    assert "away_s" in trips_text(empty).split(",")
    assert len(bees_text(empty).splitlines()) == 1


@given(st.text(max_size=12))
def test_no_cell_of_text_is_a_formula(text: str) -> None:
    written = io.StringIO(_table([{"note": text}], ("note",)), newline="")
    _, (safe,) = csv.reader(written)

    assert safe[:1] not in {"=", "+", "-", "@", "\t", "\r", "\n"}
    assert unguard(safe) == text


def test_numbers_stay_numbers() -> None:
    assert _table([{"sum": -3.5}], ("sum",)) == "sum\r\n-3.5\r\n"


def test_a_mark_made_to_bite_is_defused(result: HuntResult) -> None:
    trip = replace(result.table.trips[0], mark="=cmd|' /C calc'!A0", bee="@x")
    table = replace(result.table, trips=(trip,))

    frame = pd.read_csv(io.StringIO(trips_text(replace(result, table=table))))

    assert frame.loc[0, "mark"] == "'=cmd|' /C calc'!A0"
    assert frame.loc[0, "bee"] == "'@x"
