"""Tables of typed notes: every cell is a note, or is listed."""

from __future__ import annotations

from datetime import date

import pytest

from notes.typed_page import BOOK, DAY, ZONE, told
from treeward.notes.clocked import Clocked, read_clocked
from treeward.notes.clocked_signs import has_clock_times


def page(text: str, *, day: date | None = DAY) -> Clocked:
    return read_clocked(text, BOOK, ZONE, name="page.txt", near=DAY, day=day)


def notes(text: str) -> list[str]:
    return [told(event) for event in page(text).events if event.clock]


def unread(text: str) -> list[str]:
    return [line.text for line in page(text).unread]


def test_a_row_that_says_nothing_is_listed_though_its_station_is_filled_in() -> None:
    sheet = (
        "time,station,bee,event,bearing\n"
        "9:05,1,Y,out,210\n"
        "9:07,1,W,lost,\n"
        "9:09,1,Q,in,\n"
        "9:10,1,,in,\n"
        "9:11,1,Y,,\n"
        "9:12,1,,,\n"
        ",1,Y,in,\n"
        "9:14,2,Y,in,\n"
    )

    assert notes(sheet) == [
        "9:05 station 1",
        "9:05 away yellow",
        "9:05 bearing yellow 210",
        "9:14 station 2",
        "9:14 back yellow",
    ]
    assert unread(sheet) == [
        "9:07,1,W,lost,",
        "9:09,1,Q,in,",
        "9:10,1,,in,",
        "9:11,1,Y,,",
        "9:12,1,,,",
        ",1,Y,in,",
    ]
    assert [line.line for line in page(sheet).unread] == [3, 4, 5, 6, 7, 8]


def test_a_bearing_that_is_none_puts_its_row_in_doubt() -> None:
    (away,) = page("time,bee,event,bearing\n9:05,Y,off,4OO\n").events

    assert away.doubtful


FLIGHTS = [
    "9:05 away yellow",
    "9:05 bearing yellow 210",
    "9:12 back yellow",
    "9:06 away white",
    "9:06 bearing white 270 w",
    "9:14 back blue",
]


@pytest.mark.parametrize(
    "heading",
    [
        "bee,out,in,bearing",
        "Bee,Off,Back,Direction",
        "colour,left,returned,dir",
        "mark,time out,time in,heading (deg)",
        "bee,departed,landed,azimuth",
    ],
)
def test_a_row_a_flight_gives_the_bearing_to_the_leaving(heading: str) -> None:
    text = f"2026-07-14\n{heading}\nY,9:05,9:12,210\nW,9:06,,W\nB,,9:14,\n"

    assert notes(text) == FLIGHTS
    assert unread(text) == []


def test_a_cell_of_a_flight_that_gives_nothing_is_listed() -> None:
    text = "bee,out,in,bearing\nG,lost,9:20,\nR,,,190\nY,,,\nQ,9:05,,\n,9:06,,\n"

    assert notes(text) == ["9:20 back green"]
    assert unread(text) == [
        "G out lost",
        "R bearing 190",
        "Y,,,",
        "Q out 9:05",
        "out 9:06",
    ]


def test_a_visit_a_row_is_read_in_its_order() -> None:
    assert notes("bee,in,out,direction\nY,11:58,12:03,NW\nY,12:40,12:44,\n") == [
        "11:58 back yellow",
        "12:03 away yellow",
        "12:03 bearing yellow 315 nw",
        "12:40 back yellow",
        "12:44 away yellow",
    ]


def test_ticks_stand_for_the_time_of_their_row() -> None:
    assert notes("time,bee,in,out,dir\n9:05,Y,,x,210\n9:08,W,x,,\n") == [
        "9:05 away yellow",
        "9:05 bearing yellow 210",
        "9:08 back white",
    ]


@pytest.mark.parametrize("heading", ["event", "b/a", "Event (b/a)", "in/out", "what"])
def test_a_letter_stands_for_coming_or_going_in_its_column(heading: str) -> None:
    text = f"time,bee,{heading}\n9:05,Y,b\n9:07,Y,a\n9:09,B,b\n9:11,B,A\n"

    assert notes(text) == [
        "9:05 back yellow",
        "9:07 away yellow",
        "9:09 back blue",
        "9:11 away blue",
    ]


def test_a_heading_that_is_not_known_makes_remarks() -> None:
    text = "time,bee,event,temp,bearing\n9:05,Y,off,18,210\n9:07,Y,in,,\n"

    assert notes(text) == [
        "9:05 away yellow",
        "9:05 bearing yellow 210",
        "9:05 remark temp: 18",
        "9:07 back yellow",
    ]
    assert unread(text) == []


def test_cells_beyond_the_heading_are_kept_as_remarks() -> None:
    text = "time,bee,event\n9:05,Y,off,over the thorn\n"

    assert notes(text) == ["9:05 away yellow", "9:05 remark over the thorn"]


def test_a_cell_of_a_bees_column_is_listed_by_itself() -> None:
    text = "time,yellow,blue\n9:05,off 210,lost\n9:07,not back,in\n9:09,-,?\n"

    assert notes(text) == [
        "9:05 away yellow",
        "9:05 bearing yellow 210",
        "9:07 back blue",
    ]
    assert unread(text) == [
        "09:05 blue: lost",
        "09:07 yellow: not back",
        "09:09 blue: ?",
    ]
    assert [line.marks for line in page(text).unread] == [
        ("blue",),
        ("yellow",),
        ("blue",),
    ]


@pytest.mark.parametrize(
    "above",
    ["2026-07-14\n", "14 July 2026, station 1\n", "station 1\n", "Marl Hollow\n\n", ""],
)
@pytest.mark.parametrize(
    "table",
    [
        "time,yellow,white\n9:05,off,\n9:06,,off\n9:12,in,\n",
        "Yellow | White\n9:05 off | 9:06 off\n9:12 in |\n",
        "| Yellow | White |\n|---|---|\n| 9:05 off | 9:06 off |\n| 9:12 in | |\n",
        "Yellow;White\n9:05 off;9:06 off\n9:12 in;\n",
        "Yellow\nout 9:05\nin 9:12\n\nWhite:\n9:06 off\n",
        "Yellow\nout  in\n9:05  9:12\nWhite\nout  in\n9:06  -\n",
    ],
)
def test_what_stands_above_a_table_does_not_hide_it(above: str, table: str) -> None:
    assert has_clock_times(above + table, BOOK)

    found = [note for note in notes(above + table) if "station" not in note]

    assert sorted(found) == ["9:05 away yellow", "9:06 away white", "9:12 back yellow"]
    assert [text for text in unread(above + table) if text != "Marl Hollow"] == []


def test_times_under_a_bees_name_that_say_no_more_are_listed_as_hers() -> None:
    read = page("Yellow\n9:05\n9:12\n")

    assert read.events == ()
    assert [(line.text, line.marks) for line in read.unread] == [
        ("Yellow", ("yellow",)),
        ("9:05", ("yellow",)),
        ("9:12", ("yellow",)),
    ]


def test_a_bees_name_holds_until_a_line_names_another() -> None:
    assert notes("Yellow\n9:05 off\n9:06 W off\n9:12 back\n") == [
        "9:05 away yellow",
        "9:06 away white",
    ]
    assert unread("Yellow\n9:05 off\n9:06 W off\n9:12 back\n") == ["9:12 back"]


@pytest.mark.parametrize(
    "text",
    [
        "Date;Time;Bee;Event;Direction\n14/07/2026;9:05;Y;off;W\n15/07/2026;9:12;Y;in;",
        "Time,Bee,Event,Dir\n2026-07-14 09:05,Y,off,W\n2026-07-15 09:12,Y,in,",
        "Bee,Out,In,Dir\nY,2026-07-14 09:05,2026-07-15T09:12,W",
        "day\ttime\tbee\tevent\tdir\n14 July\t9:05\tY\toff\tW\n15 July\t9:12\tY\tin\t",
        "date;time;bee;event;dir\n14-Jul-26;09:05:00;Y;off;W\n15-Jul-26;9:12 AM;Y;in;",
        "2026-07-14 09:05 Y off W\n2026-07-15 09:12 Y in",
        "14/7/2026, 9:05 Y off W\n15/7/2026, 9:12 Y in",
    ],
)
def test_the_day_may_stand_in_a_column_or_before_the_time(text: str) -> None:
    read = page(text, day=None)

    assert [(f"{e.clock:%d %H:%M}", e.kind, e.value) for e in read.events] == [
        ("14 09:05", "away", ""),
        ("14 09:05", "bearing", "270 w"),
        ("15 09:12", "back", ""),
    ]
    assert read.unread == ()


@pytest.mark.parametrize(
    "cell",
    ["14.07.26", "14.7.26", "14.07.2026", "07/14/26", "14-07-26", "2026/7/14",
     "2026. 7. 14.", "2026.07.14"],
)  # fmt: skip
def test_a_day_is_read_as_spreadsheets_write_it(cell: str) -> None:
    (away,) = page(f"date;time;bee;event\n{cell};09:05:00;Y;away\n", day=None).events

    assert away.clock is not None
    assert away.clock.date() == date(2026, 7, 14)


def days_of(*cells: str) -> list[date]:
    rows = "".join(f"{cell},9:05,Y,away\n" for cell in cells)
    events = page(f"date,time,bee,event\n{rows}", day=None).events
    return [event.clock.date() for event in events if event.clock]


def test_one_day_tells_of_all_which_figure_is_the_month() -> None:
    assert days_of("03/04/2026", "03/14/2026") == [date(2026, 3, 4), date(2026, 3, 14)]
    assert days_of("03/04/2026", "14/03/2026") == [date(2026, 4, 3), date(2026, 3, 14)]


def test_no_day_is_read_as_still_to_come_if_it_may_be_past() -> None:
    # Typed by 14 July 2026, so 7 August is not meant.
    assert days_of("07/08/26") == [date(2026, 7, 8)]
    assert days_of("06/07/26") == [date(2026, 7, 6)]


def test_a_row_with_a_date_that_is_none_is_listed() -> None:
    text = "date,time,bee,event\n14/07/2026,9:05,Y,off\n31/06/2026,9:06,Y,in\n"

    assert notes(text) == ["9:05 away yellow"]
    assert unread(text) == ["31/06/2026,9:06,Y,in"]


def test_a_row_between_spaces_is_whole_or_read_as_a_line() -> None:
    text = "time  bee  event  bearing\n9:05  Y  off  W\n9:12  W  back\n"

    assert notes(text) == [
        "9:05 away yellow",
        "9:05 bearing yellow 270 w",
        "9:12 back white",
    ]
    columns = "time  yellow  white\n9:05  off  off\n9:12  in\n"
    assert unread(columns) == ["9:12 in"]


@pytest.mark.parametrize(
    "line", ["yellow back, blue", "Marl Hollow, Heath", "Y, back", "in, out", "a; b"]
)
def test_no_other_line_is_a_heading(line: str) -> None:
    assert not has_clock_times(f"{line}\n9:05, over there\n", BOOK)
    assert notes(f"{line}\n9:05 Y off\n") == ["9:05 away yellow"]


def test_a_given_day_stands_under_one_that_is_written() -> None:
    read = page("15 July 2026\n9:05 Y off\n")

    assert [f"{e.clock:%d}" for e in read.events] == ["15"]
    assert read.other_days == (date(2026, 7, 15),)
    assert page("9:05 Y off\n").other_days == ()


@pytest.mark.parametrize(
    ("sheet", "wanted"),
    [
        (  # how long she was away beside when she left: no third time of day
            "bee,left,returned,away\nY,9:05,9:12,7:10\n",
            ["9:05 away yellow", "9:12 back yellow", "9:12 duration yellow away 430"],
        ),
        (
            "time,bee,event,away (min)\n9:12,Y,in,7.5\n",
            ["9:12 back yellow", "9:12 duration yellow away 450"],
        ),
        (
            "time,bee,event,away s\n9:12,Y,in,430\n",
            ["9:12 back yellow", "9:12 duration yellow away 430"],
        ),
        (
            "time,bee,event,away\n9:12,Y,in,0:07:10\n",
            ["9:12 back yellow", "9:12 duration yellow away 430"],
        ),
        (  # a number of minutes is no bearing
            "time,bee,event,min\n9:12,Y,in,12\n",
            ["9:12 back yellow", "9:12 duration yellow away 720"],
        ),
        (
            "Clock (BST),Bee colour,In or Out,Bearing (true)\n9:05,Y,Out,210\n",
            ["9:05 away yellow", "9:05 bearing yellow 210 true"],
        ),
        (
            "Trip,Colour,Depart,Arrive,Flight direction\n1,Y,9:05,9:12,210\n",
            ["9:05 away yellow", "9:05 bearing yellow 210", "9:12 back yellow"],
        ),
        (
            "time,yellow out,yellow in,blue out\n9:05,x,,\n9:12,,x,x\n",
            ["9:05 away yellow", "9:12 back yellow", "9:12 away blue"],
        ),
        (
            "yellow out;yellow in;blue out;blue in\n9:05;9:12;9:07;9:17\n",
            ["9:05 away yellow", "9:12 back yellow",
             "9:07 away blue", "9:17 back blue"],
        ),
    ],
)  # fmt: skip
def test_a_heading_tells_units_norths_and_what_a_bee_did(
    sheet: str, wanted: list[str]
) -> None:
    assert notes(sheet) == wanted
    assert unread(sheet) == []


def test_minutes_without_a_unit_are_in_doubt_and_too_many_are_none() -> None:
    sheet = page("bee,left,back,away\nY,9:05,9:12,7\nW,9:05,9:12,420\n").events

    lasted = [told(e, doubt=True) for e in sheet if e.kind == "duration"]
    assert lasted == ["9:12 duration yellow away 420 ?"]
    assert [e.doubtful for e in sheet if e.mark == "white"] == [False, True]


@pytest.mark.parametrize(
    ("sheet", "wanted"),
    [
        (
            ("Bee,Left,Returned,Time away,Direction (deg)\n"
            "Yellow,09:05:00,09:11:00,00:06:00,47\n"),
            ["9:05 away yellow", "9:05 bearing yellow 47", "9:11 back yellow",
             "9:11 duration yellow away 360"],
        ),
        (
            "Bee\tOut\tIn\tBearing\tGone for\nWhite\t9:07\t9:14\tNE\t7:00\n",
            ["9:07 away white", "9:07 bearing white 45 ne", "9:14 back white",
             "9:14 duration white away 420"],
        ),
        (  # also where her coming was not written
            "bee,out,in,duration\nY,9:05,,6:30\n",
            ["9:05 away yellow", "9:05 duration yellow away 390"],
        ),
        (
            "bee,out,in,gone for,notes\nW,9:16,,never came back,\nY,9:17,,,not back\n",
            ["9:16 away white", "9:16 missed white", "9:17 away yellow",
             "9:17 missed yellow"],
        ),
        (
            "time,bee,event\n9:30,W,did not return\n",
            ["9:30 missed white"],
        ),
        (  # a column without a heading holds bearings where it fits one
            "Yellow\t\tWhite\t\noff 9.05\t47\toff 9.07\t50\non 9.11\t\ton 9.14\t\n",
            ["9:05 away yellow", "9:05 bearing yellow 47", "9:07 away white",
             "9:07 bearing white 50", "9:11 back yellow", "9:14 back white"],
        ),
        (
            "bee,out,,in\nY,9:05,47,9:11\nW,9:07,slow,9:14\n",
            ["9:05 away yellow", "9:05 bearing yellow 47", "9:11 back yellow",
             "9:07 away white", "9:14 back white", "9:07 remark slow"],
        ),
        (
            "yellow,white\nout 9:05 b 47,out 9:07 B 50\n",
            ["9:05 away yellow", "9:05 bearing yellow 47",
             "9:07 away white", "9:07 bearing white 50"],
        ),
        (
            "bee,off,on\nY,9:05,9:11\n",
            ["9:05 away yellow", "9:11 back yellow"],
        ),
        (
            "time,bee,event\n9:05,Y,off\n9:11,Y,on\n",
            ["9:05 away yellow", "9:11 back yellow"],
        ),
        (
            ("Bee,Out,Bearing,In,Out,Bearing,In\n"
            "yellow,9:05,47,9:11,9:12,46,9:18\nwhite,9:07,50,9:14,9:16,,9:23\n"),
            ["9:05 away yellow", "9:05 bearing yellow 47", "9:11 back yellow",
             "9:12 away yellow", "9:12 bearing yellow 46", "9:18 back yellow",
             "9:07 away white", "9:07 bearing white 50", "9:14 back white",
             "9:16 away white", "9:23 back white"],
        ),
        (  # what is told stands before each row
            ",yellow,white\nleft,9:05,9:07\nbearing,47,50\nback,9:11,9:14\n",
            ["9:05 away yellow", "9:07 away white", "9:05 bearing yellow 47",
             "9:07 bearing white 50", "9:11 back yellow", "9:14 back white"],
        ),
        (
            ("      Yellow  White\nout   9:05    9:07\nbrg   47      50\n"
            "in    9:11    -\n"),
            ["9:05 away yellow", "9:07 away white", "9:05 bearing yellow 47",
             "9:07 bearing white 50", "9:11 back yellow"],
        ),
        (
            ",yellow,white\n9:05,off 47,\n9:11,in,off\n",
            ["9:05 away yellow", "9:05 bearing yellow 47", "9:11 back yellow",
             "9:11 away white"],
        ),
    ],
)  # fmt: skip
def test_cells_are_read_by_their_heading_and_what_is_beside_them(
    sheet: str, wanted: list[str]
) -> None:
    assert notes(sheet) == wanted
    assert unread(sheet) == []
    assert page(sheet).remarks == ()


@pytest.mark.parametrize(
    ("row", "station"),
    [(",1,,W,in,did not see when", "1"), ("9:06,2,lost,W,,on the moss", "2")],
)
def test_a_listed_row_is_not_settled_by_its_station_or_remark(
    row: str, station: str
) -> None:
    sheet = f"time,station,event,bee,did,remark\n{row}\n9:07,{station},in,Y,,\n"
    read = page(sheet)

    assert [line.text for line in read.unread] == [row]
    assert row not in {event.heard for event in read.events}
    assert f"station {station}" in {event.heard for event in read.events}


@pytest.mark.parametrize(
    ("sheet", "lacks"),
    [
        ("bee,out,in\nY,five,six\n", "at what time"),
        ("time,bee,event\n9:05,Y,drank\n9:06,Q,in\n", "which bee came or left"),
    ],
)
def test_a_table_without_a_note_says_what_it_lacks(sheet: str, lacks: str) -> None:
    (remark,) = page(f"{sheet}\n").remarks

    assert remark.startswith("line 1: ")
    assert f"none says {lacks};" in remark
