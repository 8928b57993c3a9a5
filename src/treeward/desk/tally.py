"""Trips and distances as the desk shows them, in plain values for JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from treeward.errors import TreewardError
from treeward.hunt.finds import check_finds, read_finds
from treeward.hunt.review_update import said_in_words
from treeward.measures import Units, counted, duration_text
from treeward.notes.flags import sentences_of
from treeward.report.figures import mark_colours
from treeward.report.flight_lines import read_text
from treeward.report.looking import check_sentences, percent
from treeward.report.wording import (
    NO_MOVE_M,
    advice_sentences,
    basis_sentence,
    colony_sentences,
    disagreements,
    headline,
    missing_sentences,
    next_sentences,
)
from treeward.trips.table import Doubt, DoubtCode
from treeward.trips.wording import doubt_texts

if TYPE_CHECKING:
    from collections.abc import Iterable

    from treeward.desk.sources import Pasted
    from treeward.hunt.hunt import Hunt
    from treeward.hunt.partial import RowMove
    from treeward.measures import UnitSystem
    from treeward.report.model import HuntResult
    from treeward.trips.table import Trip, TripTable

MOST_SHOWN = 300  # notes of a pasted page, and lines of it without one; choice
LEAST_USED_UP = 0.005  # of the chance, by a note of looking, that is told; choice
UNKNOWN_RANK = 2  # of a row of which it is not known how far it moves the place


def bee_values(table: TripTable) -> list[dict[str, Any]]:
    """Return the trips and bearings by bee and station, in order of their names."""
    seats = {(t.bee, t.station): t.mark for t in table.trips}
    seats |= {(x.bee, x.station): x.mark for x in table.lines}
    return [
        {
            "bee": bee or "no bee named",
            "station": station,
            "paint": mark_colours(seats[bee, station]),
            "trips": [
                _trip_values(trip)
                for trip in table.trips
                if (trip.bee, trip.station) == (bee, station)
            ],
            "bearings": [
                {
                    "row": line.row,
                    "text": read_text(line),
                    "used": line.used,
                    "doubts": doubt_texts(line.doubts),
                }
                for line in table.lines
                if (line.bee, line.station) == (bee, station)
            ],
        }
        for bee, station in sorted(seats, key=lambda seat: (seat[1], seat[0]))
    ]


def _trip_values(trip: Trip) -> dict[str, Any]:
    clock = trip.away_clock or trip.back_clock
    return {
        "away_row": trip.away_row,
        "back_row": trip.back_row,
        "clock": f"{clock:%H:%M}" if clock else "",
        "away": duration_text(trip.away_s),
        "away_s": trip.away_s,
        "timing": trip.timing,
        "used": trip.used,
        "doubts": doubt_texts(trip.doubts),
    }


def counts_line(table: TripTable) -> str:
    """Say how many trips there are: "14 trips (2 left out), 9 bearings"."""
    parts = []
    for thing, of in (("trip", table.trips), ("bearing", table.lines)):
        out = sum(not one.used for one in of)
        parts.append(counted(len(of), thing) + (f" ({out} left out)" if out else ""))
    return ", ".join(parts)


def trip_changes(before: TripTable, after: TripTable) -> list[str]:
    """Say what a correction did: a line for every trip that came, went or changed."""
    was, now = ({_trip_words(t) for t in table.trips} for table in (before, after))
    return [f"- {words}" for words in sorted(was - now)] + [
        f"+ {words}" for words in sorted(now - was)
    ]


def _trip_words(trip: Trip) -> str:
    clock = trip.away_clock or trip.back_clock
    when = f" {clock:%H:%M:%S}" if clock else ""
    way = "round trip" if trip.timing == "round" else "away"
    left_out = "" if trip.used else " (left out)"
    return f"{trip.bee}{when} {way} {duration_text(trip.away_s)}{left_out}"


def doubts_by_row(table: TripTable) -> dict[str, tuple[str, ...]]:
    """Return what the pairing of trips says against the notes it used, by row."""
    found: dict[str, list[Doubt]] = {}

    def note(names: Iterable[str], doubts: Iterable[Doubt]) -> None:
        for name in names:
            if name:
                found.setdefault(name, []).extend(doubts)

    for trip in table.trips:
        note((trip.away_row, trip.back_row), trip.doubts)
    for visit in table.visits:
        note((visit.back_row, visit.away_row), visit.doubts)
    for line in table.lines:
        note((line.row,), line.doubts)
    said = {
        row: doubt_texts(d for d in dict.fromkeys(doubts) if not _is_own_flag(row, d))
        for row, doubts in found.items()
    }
    return {row: texts for row, texts in said.items() if texts}


def _is_own_flag(row: str, doubt: Doubt) -> bool:
    """Tell whether a doubt is the row's own flag over again."""
    return doubt.code is DoubtCode.FLAGGED and doubt.rows == (row,)


def trips_payload(table: TripTable) -> dict[str, Any]:
    """Return the trips for the page."""
    return {
        "counts": counts_line(table),
        "bees": bee_values(table),
        "visits": [
            {
                "bee": v.bee or v.mark,
                "back_row": v.back_row,
                "away_row": v.away_row,
                "used": v.used,
                "paint": mark_colours(v.mark),
            }
            for v in table.visits
        ],
        "doubts": list(doubt_texts(table.doubts)),
    }


def answer_payload(result: HuntResult) -> dict[str, Any]:
    """Return the answer for the page, in words and by bee."""
    units = result.units
    sentences: list[str] = []
    for colony in result.colonies:
        # The headline has the first sentence of the only colony.
        sentences += colony_sentences(result, colony)[not result.several :]
    reach_m = max((bee.high90_m for bee in result.bees), default=1.0)
    distances = [
        {
            "bee": bee.bee,
            "station": bee.station,
            "trips": bee.trips_used,
            "text": units.distance(bee.median_m),
            "range": units.distance_range(bee.low90_m, bee.high90_m),
            "low": bee.low90_m / reach_m,
            "low50": bee.low50_m / reach_m,
            "median": bee.median_m / reach_m,
            "high50": bee.high50_m / reach_m,
            "high": bee.high90_m / reach_m,
        }
        for bee in result.bees
    ]
    return {
        "headline": headline(result),
        "sentences": [*sentences, *disagreements(result)],
        "next": next_sentences(result),
        "basis": basis_sentence(result),
        "missing": missing_sentences(result),
        "advice": advice_sentences(result),
        "distances": distances,
    }


def moves_payload(
    moves: Iterable[RowMove], system: UnitSystem, *, done: bool
) -> dict[str, Any]:
    """Return how far each row may move the place, in words, and whether all is known.

    `rank` is 0 where no place would be left, 1 where it moves, 2 where that is not
    known and 3 where it hardly moves; rows that are not named have rank 2.
    """
    units = Units(system)
    rows = {}
    for move in moves:
        if move.lost:
            rows[move.row] = {"rank": 0, "text": "without it there is no place"}
        elif move.moves_m is not None:
            rows[move.row] = _move_values(move.moves_m, move.used_up or 0.0, units)
    return {"rows": rows, "done": done}


def _move_values(moves_m: float, used_up: float, units: Units) -> dict[str, Any]:
    far = moves_m >= NO_MOVE_M
    text = "hardly moves the place"
    if far:
        text = f"moves the place by up to {units.distance(moves_m)}"
    if used_up < LEAST_USED_UP:
        rank = 1 if far else 3
        return {"rank": rank, "text": text} | (
            {"moves_m": round(moves_m, 1)} if far else {}
        )
    return {
        "rank": 1,
        "text": f"if right, takes {percent(used_up)} of the chance; {text}",
        "moves_m": round(moves_m, 1),
        "used_up": round(used_up, 4),
    }


def pasted_payload(page: Pasted) -> dict[str, Any]:
    """Return what would be read of pasted notes, for the page."""
    days = sorted({event.clock.date() for event in page.events if event.clock})
    return {
        "name": page.name,
        "notes": len(page.events),
        "days": [f"{day:%d %B %Y}".lstrip("0") for day in days],
        "said": [
            {
                "clock": f"{event.clock:%H:%M}" if event.clock else "",
                "said": said_in_words(event),
                "line": event.heard,
                "doubts": list(sentences_of(event.flags)),
            }
            for event in page.events[:MOST_SHOWN]
        ],
        "in_doubt": sum(event.doubtful for event in page.events),
        "unread": [
            {"place": line.place, "text": line.text}
            for line in page.unread[:MOST_SHOWN]
        ],
        "lines_unread": len(page.unread),
        "replaces": page.replaces,
        "known": page.known,
    }


def finds_payload(hunt: Hunt, result: HuntResult | None) -> dict[str, Any]:
    """Return the finds and how the answer compares, without saying where they are."""
    try:
        finds = read_finds(hunt.path).find
    except TreewardError as error:
        return {"finds": [], "finds_fault": error.line()}
    checks = check_finds(result, finds) if result is not None else ()
    said = {check.find: check_sentences(result, check) for check in checks if result}
    return {
        "finds": [
            {
                "id": find.id,
                "found": f"{find.found:%d %B %Y}".lstrip("0"),
                "nest": find.nest,
                "sentences": said.get(find.id, []),
            }
            for find in finds
        ],
        "finds_fault": "",
    }
