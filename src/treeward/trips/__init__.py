"""Events in, visits, trips and flight lines out, each with its doubts.

The same as pandas tables, for a notebook; units stand in the column names.
"""

from __future__ import annotations

from dataclasses import asdict
from statistics import median
from typing import TYPE_CHECKING, Any

from .pair import pair_trips
from .wording import doubt_texts

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from .table import FlightLine, Trip, TripTable, Visit

__all__ = [
    "bees_frame",
    "lines_frame",
    "pair_trips",
    "trips_frame",
    "visits_frame",
]

BEE_COLUMNS = (
    "bee",
    "mark",
    "station",
    "trips",
    "trips_used",
    "shortest_away_s",
    "median_away_s",
    "median_visit_s",
    "bearings_used",
)


def trips_frame(table: TripTable) -> pd.DataFrame:
    """Return one row for each trip, used or not; doubts are joined by "; "."""
    return _frame(table.trips)


def visits_frame(table: TripTable) -> pd.DataFrame:
    """Return one row for each visit, used or not."""
    return _frame(table.visits)


def lines_frame(table: TripTable) -> pd.DataFrame:
    """Return one row for each bearing, used or not."""
    return _frame(table.lines)


def bees_frame(table: TripTable) -> pd.DataFrame:
    """Return one row for each bee at each station.

    The away times are of trips used that were timed from departure to landing and
    hold one trip; they are missing where there is none. A bearing counts for the bee
    it was read on.
    """
    import pandas as pd

    keys = dict.fromkeys(
        [(t.bee, t.mark, t.station) for t in table.trips]
        + [(v.bee, v.mark, v.station) for v in table.visits]
    )
    rows: list[dict[str, Any]] = []
    for bee, mark, station in keys:
        here = (bee, station)
        trips = [t for t in table.trips if (t.bee, t.station) == here]
        used = [t for t in trips if t.used]
        away_s = [t.away_s for t in used if t.timing == "away" and t.cycles == 1]
        visit_s = [
            v.visit_s for v in table.visits if v.used and (v.bee, v.station) == here
        ]
        rows.append(
            {
                "bee": bee,
                "mark": mark,
                "station": station,
                "trips": len(trips),
                "trips_used": len(used),
                "shortest_away_s": min(away_s, default=None),
                "median_away_s": median(away_s) if away_s else None,
                "median_visit_s": median(visit_s) if visit_s else None,
                "bearings_used": sum(
                    x.used and (x.bee, x.station) == here for x in table.lines
                ),
            }
        )
    return pd.DataFrame(rows, columns=list(BEE_COLUMNS))


def _frame(records: Sequence[Trip | Visit | FlightLine]) -> pd.DataFrame:
    import pandas as pd

    rows = [asdict(r) | {"doubts": "; ".join(doubt_texts(r.doubts))} for r in records]
    return pd.DataFrame(rows)
