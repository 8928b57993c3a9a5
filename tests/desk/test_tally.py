"""What the desk says of trips beside the rows."""

from __future__ import annotations

from treeward.desk.tally import doubts_by_row
from treeward.notes.flags import Flag, FlagCode
from treeward.trips.doubts import Doubt, DoubtCode
from treeward.trips.table import FlightLine, TripTable


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
