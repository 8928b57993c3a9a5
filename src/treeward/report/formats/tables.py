"""trips.csv and bees.csv, for a spreadsheet: metric, units in the column names."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from treeward.review.table import guard

from .result_json import result_dict

if TYPE_CHECKING:
    from treeward.report.model import HuntResult

_TRIP_COLUMNS = (
    "mark",
    "bee",
    "station",
    "away_clock",
    "back_clock",
    "away_s",
    "timing",
    "stated",
    "rounding_s",
    "cycles",
    "used",
    "doubts",
    "away_row",
    "back_row",
    "recording",
    "away_start_s",
    "back_start_s",
)
_BEE_COLUMNS = (
    "mark",
    "station",
    "trips_used",
    "shortest_away_s",
    "distance_median_m",
    "distance_low50_m",
    "distance_high50_m",
    "distance_low90_m",
    "distance_high90_m",
    "hand_rule_low_m",
    "hand_rule_high_m",
)


def safe_cell(value: Any) -> Any:  # noqa: ANN401  (a table holds any plain value)
    """Keep a spreadsheet from taking text for a formula, as in review.csv.

    Numbers stay as they are.
    """
    return guard(value) if isinstance(value, str) else value


def _text(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> str:
    out = io.StringIO(newline="")
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(columns)
    table.writerows([safe_cell(row.get(name)) for name in columns] for row in rows)
    return out.getvalue()


def trips_text(result: HuntResult) -> str:
    """Return trips.csv: one line for each trip, used or not, with its doubts."""
    rows = []
    for trip in result_dict(result)["trips"]:
        away, back = trip["away_note"] or {}, trip["back_note"] or {}
        rows.append(
            trip
            | {
                "doubts": "; ".join(trip["doubts"]),
                "away_row": away.get("row"),
                "back_row": back.get("row"),
                "recording": away.get("recording") or back.get("recording"),
                "away_start_s": away.get("start_s"),
                "back_start_s": back.get("start_s"),
            }
        )
    return _text(rows, _TRIP_COLUMNS)


def bees_text(result: HuntResult) -> str:
    """Return bees.csv: one line for each bee at each station, with its distance."""
    rows = []
    for bee in result_dict(result)["bees"]:
        rule = bee["hand_rule_m"] or {}
        distances = {
            f"distance_{name}_m": value for name, value in bee["distance_m"].items()
        }
        rows.append(
            bee
            | distances
            | {
                "hand_rule_low_m": rule.get("low"),
                "hand_rule_high_m": rule.get("high"),
            }
        )
    return _text(rows, _BEE_COLUMNS)
