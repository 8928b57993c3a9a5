"""Tables of trips for a notebook."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from treeward.hunt_file import parse_hunt_table
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.trips import (
    bees_frame,
    lines_frame,
    pair_trips,
    trips_frame,
    visits_frame,
)

MORNING = datetime(2026, 7, 14, 10, 0, tzinfo=ZoneInfo("Europe/London"))
HUNT = parse_hunt_table(
    {"hunt": {"name": "x", "timezone": "Europe/London"}, "station": [{"id": "1"}]},
    where="hunt.toml",
)


def note(second: float, kind: str, mark: str, value: str = "") -> Event:
    return Event(
        kind=EventKind(kind),
        mark=mark,
        value=value,
        clock=MORNING + timedelta(seconds=second),
    )


def test_tables_of_a_short_hunt() -> None:
    events = [
        note(0, "back", "red"),
        note(50, "away", "red"),
        note(53, "bearing", "", "210"),
        note(350, "back", "red"),
        note(420, "away", "red"),
        note(760, "back", "red"),
        note(800, "back", "pink"),
        note(860, "away", "pink"),
    ]

    table = pair_trips(events, HUNT)

    bees = bees_frame(table).set_index("bee")
    assert list(bees.index) == ["red", "pink"]
    red = bees.loc["red"]
    assert (red["trips"], red["trips_used"], red["bearings_used"]) == (2, 2, 1)
    assert (red["shortest_away_s"], red["median_away_s"]) == (300, 320)
    assert red["median_visit_s"] == 60
    assert bees.loc["pink", "trips"] == 0
    assert bees["shortest_away_s"].isna()["pink"]
    assert list(trips_frame(table)["away_s"]) == [300, 340]
    assert len(visits_frame(table)) == 3
    assert "circle" in lines_frame(table)["doubts"][0]


def test_tables_of_nothing() -> None:
    table = pair_trips([], HUNT)

    assert bees_frame(table).empty
    assert trips_frame(table).empty
