"""What the desk says of trips beside the rows."""

from __future__ import annotations

from treeward.desk.tally import doubts_by_row, moves_payload
from treeward.hunt.partial import RowMove
from treeward.notes.flags import Flag, FlagCode
from treeward.trips.table import Doubt, DoubtCode, FlightLine, TripTable


def test_doubts_of_trips_reach_the_rows_but_not_a_row_its_own_flag() -> None:
    line = FlightLine(
        mark="blue",
        bee="blue",
        station="1",
        clock=None,
        bearing_read_deg=210,
        rounding_deg=5,
        used=False,
        doubts=(
            Doubt(code=DoubtCode.FLAGGED, rows=("r7",), flag=Flag(FlagCode.AMID_TALK)),
            Doubt(code=DoubtCode.FLAGGED, rows=("r8",), flag=Flag(FlagCode.AMID_TALK)),
            Doubt(code=DoubtCode.ARRIVING),
        ),
        row="r7",
    )
    table = TripTable(visits=(), trips=(), lines=(line,), winds=())

    assert doubts_by_row(table) == {
        "r7": (
            "r8: in the middle of talk",
            "read on an arriving bee? Only departures point home",
        )
    }


def test_a_row_of_looking_says_what_chance_it_takes_and_how_far_it_moves() -> None:
    moves = [
        RowMove(row="wood", moves_m=23.0, used_up=0.12),
        RowMove(row="tree", moves_m=1.0, used_up=0.02),
        RowMove(row="bees", moves_m=40.0, used_up=0.0),
        RowMove(row="far", moves_m=0.0, used_up=0.0),
        RowMove(row="unknown"),
    ]

    rows = moves_payload(moves, "metric", done=True)["rows"]

    assert {row: (told["rank"], told["text"]) for row, told in rows.items()} == {
        "wood": (
            1,
            "if right, takes 12 % of the chance; moves the place by up to 23 m",
        ),
        "tree": (1, "if right, takes 2 % of the chance; hardly moves the place"),
        "bees": (1, "moves the place by up to 40 m"),
        "far": (3, "hardly moves the place"),
    }
    assert (rows["wood"]["moves_m"], rows["wood"]["used_up"]) == (23.0, 0.12)
