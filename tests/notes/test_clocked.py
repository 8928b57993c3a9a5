"""Notes typed with clock times: lines, tables, dates, half days, letters."""

from __future__ import annotations

import time
from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notes.typed_page import BOOK, ZONE, told
from treeward.errors import TranscriptError
from treeward.notes.clocked import read_clocked
from treeward.notes.clocked_signs import has_clock_times

WAYS = ("away", "back")
DAY = "2026-07-14\n"


def said(text: str, *, name: str = "page.txt") -> list[str]:
    """Give the notes of a page as "9:05 away yellow", in its order."""
    page = read_clocked(text, BOOK, ZONE, name=name)
    return [told(event) for event in page.events]


@pytest.mark.parametrize(
    ("line", "notes"),
    [
        ("9:05 yellow away, north east",
         ["9:05 away yellow", "9:05 bearing yellow 45 ne"]),
        ("yellow 9.07 back", ["9:07 back yellow"]),
        (
            "0912 Y back 0918 Y off 220",
            ["9:12 back yellow", "9:18 away yellow", "9:18 bearing yellow 220"],
        ),
        ("yellow 9.07 back 9.12 away", ["9:07 back yellow", "9:12 away yellow"]),
        ("yellow and blue away 9:30", ["9:30 away yellow", "9:30 away blue"]),
        ("B/W returned 9:41", ["9:41 back blue-white"]),
        ("blue-white landed 9:41", ["9:41 back blue-white"]),
        ("W gone 9:15 W", ["9:15 away white", "9:15 bearing white 270 w"]),
        ("9:15 W left 181 true", ["9:15 away white", "9:15 bearing white 181 true"]),
        ("9:50 yellow back after 6:45",
         ["9:50 back yellow", "9:50 duration yellow away 405"]),
        ("9:50 yellow back, 7 min",
         ["9:50 back yellow", "9:50 duration yellow away 420"]),
        ("9:20 station 2", ["9:20 station 2"]),
        ("9:20 wind light from the west", ["9:20 wind light 270"]),
        ("10:00 pause", ["10:00 pause"]),
        ("9:05 pm yellow away", ["21:05 away yellow"]),
        ("9h05 yellow away two hundred and ten",
         ["9:05 away yellow", "9:05 bearing yellow 210"]),
    ],
)  # fmt: skip
def test_a_line_says_its_notes(line: str, notes: list[str]) -> None:
    assert said(DAY + line) == notes


def test_the_hands_of_a_dial_go_on_into_the_afternoon() -> None:
    page = DAY + "11:50 Y away\n12:10 Y back\n1:05 Y away\n1:20 Y back"

    assert said(page) == [
        "11:50 away yellow",
        "12:10 back yellow",
        "13:05 away yellow",
        "13:20 back yellow",
    ]


@pytest.mark.parametrize(
    "page",
    [
        "time,yellow,blue\n9:05,off 210,in\n9:12,in,\n",
        "time;yellow;blue\n9:05;off 210;in\n9:12;in;\n",
        "time\tyellow\tblue\n9:05\toff 210\tin\n9:12\tin\t\n",
        "yellow;blue\n9:05 off 210;9:05 in\n9:12 in;\n",
    ],
)
def test_a_column_a_bee_is_read(page: str) -> None:
    assert sorted(said(DAY + page)) == [
        "9:05 away yellow",
        "9:05 back blue",
        "9:05 bearing yellow 210",
        "9:12 back yellow",
    ]


def test_a_row_a_note_with_its_own_date_and_station() -> None:
    page = (
        "date,station,time,bee,event,bearing,remark\n"
        "2026-07-14,1,9:05,yellow,away,210,over the thorn\n"
        "2026-07-15,,9:05,Y,back,,\n"
    )

    read = read_clocked(page, BOOK, ZONE, name="sheet.csv").events

    assert [(e.clock, e.kind, e.mark, e.value) for e in read] == [
        (datetime(2026, 7, 14, 9, 5, tzinfo=ZONE), "station", "", "1"),
        (datetime(2026, 7, 14, 9, 5, tzinfo=ZONE), "away", "yellow", ""),
        (datetime(2026, 7, 14, 9, 5, tzinfo=ZONE), "bearing", "yellow", "210"),
        (datetime(2026, 7, 14, 9, 5, tzinfo=ZONE), "remark", "", "over the thorn"),
        (datetime(2026, 7, 15, 9, 5, tzinfo=ZONE), "back", "yellow", ""),
    ]


@pytest.mark.parametrize(
    ("head", "name"),
    [
        ("Tuesday 14 July 2026\n", "page.txt"),
        ("14/7/2026\n", "page.txt"),
        ("Heath, 14 July 2026\n", "page.txt"),
        ("date: 2026-07-14\n", "page.txt"),
        ("", "notes 2026-07-14.txt"),
        ("", "20260714-heath.txt"),
    ],
)
def test_the_day_stands_above_or_in_the_name(head: str, name: str) -> None:
    page = read_clocked(f"{head}9:05 Y away", BOOK, ZONE, name=name)

    assert page.events[0].clock == datetime(2026, 7, 14, 9, 5, tzinfo=ZONE)


def test_the_line_with_the_date_may_name_the_station() -> None:
    assert said("14 July 2026, station 1\n9:05 Y away") == [
        "9:05 station 1",
        "9:05 away yellow",
    ]


def test_what_never_gets_a_time_is_to_be_looked_at() -> None:
    page = read_clocked(f"{DAY}station 1\nY away", BOOK, ZONE)

    assert not page.events
    assert [(one.line, one.text) for one in page.unread] == [
        (2, "station 1"),
        (3, "Y away"),
    ]


@pytest.mark.parametrize("between", ["\n", " "])
def test_a_long_page_takes_as_many_steps_as_it_has_notes(between: str) -> None:
    notes = [f"{n // 60:02}:{n % 60:02} Y {WAYS[n % 2]}" for n in range(1_200)]
    began = time.process_time()

    page = read_clocked(DAY + between.join(notes), BOOK, ZONE)

    assert len(page.events) == 1_200
    assert sum(len(event.heard) for event in page.events) < 2_000_000
    assert time.process_time() - began < 10.0  # s; 1 s here


def test_what_stands_without_a_time_is_of_the_next_one() -> None:
    page = "station 1\n9:05 Y away\nstation 2\nwind light\n9:40 Y back\npause\n"

    assert said(DAY + page) == [
        "9:05 station 1",
        "9:05 away yellow",
        "9:40 station 2",
        "9:40 wind light",
        "9:40 back yellow",
        "9:40 pause",
    ]
    assert said(DAY + "station 1\n") == []


def test_a_day_without_its_year_is_of_the_year_near_by() -> None:
    page = read_clocked("14 July\n9:05 Y away", BOOK, ZONE, near=date(2025, 8, 1))

    assert page.events[0].clock == datetime(2025, 7, 14, 9, 5, tzinfo=ZONE)


def test_times_without_a_date_are_refused_once_with_the_way_to_mend() -> None:
    with pytest.raises(
        TranscriptError, match=r"times and no date.*Write the date"
    ) as it:
        read_clocked("9:05 Y away\n9:10 Y back", BOOK, ZONE, name="page.txt")

    assert "page.txt line 1" in it.value.line()


def test_a_line_that_names_a_bee_and_says_no_note_is_told() -> None:
    page = read_clocked(DAY + "9:05 Y away\nblue somewhere 9:10\na cloud", BOOK, ZONE)

    line, cloud = page.unread
    assert (cloud.text, cloud.clock, cloud.marks) == ("a cloud", None, ())
    assert (line.place, line.text, line.marks) == (
        "line 3",
        "blue somewhere 9:10",
        ("blue",),
    )
    assert line.clock == datetime(2026, 7, 14, 9, 10, tzinfo=ZONE)
    assert line.start_s is None


def test_a_line_written_twice_is_one_note_and_no_line_without_one() -> None:
    page = read_clocked(DAY + "9:05 Y away\n9:05 Y away\n", BOOK, ZONE)

    assert (len(page.events), page.unread) == (1, ())


def test_only_text_with_clock_times_and_bees_is_such_a_page() -> None:
    assert has_clock_times("9:05 yellow away", BOOK)
    assert has_clock_times("time,yellow,blue\n", BOOK)
    assert not has_clock_times("[9:05] yellow away", BOOK)
    assert not has_clock_times("yellow is back, and there goes blue", BOOK)
    assert not has_clock_times("we met at 9:05", BOOK)


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        read_clocked(text, BOOK, ZONE, name="page.txt")
    except TranscriptError as error:
        assert "Write the date" in error.line()  # noqa: PT017 (or it is read)


@given(
    st.lists(
        st.tuples(
            st.integers(7, 20),
            st.integers(0, 59),
            st.sampled_from(["yellow", "blue-white", "red"]),
            st.sampled_from(["away", "back"]),
        ),
        max_size=8,
        unique=True,
    )
)
def test_what_is_written_plainly_comes_back(
    notes: list[tuple[int, int, str, str]],
) -> None:
    lines = [
        f"{hour:02}:{minute:02} {mark} {kind}" for hour, minute, mark, kind in notes
    ]
    wanted = [f"{hour}:{minute:02} {kind} {mark}" for hour, minute, mark, kind in notes]

    assert said(DAY + "\n".join(lines)) == wanted


def test_a_station_below_the_date_is_later_than_the_one_beside_it() -> None:
    assert said("14 July 2026, station 1\nstation 2\n9:05 yellow away\n") == [
        "9:05 station 1",
        "9:05 station 2",
        "9:05 away yellow",
    ]


@pytest.mark.parametrize(
    ("line", "where"),
    [
        ("10:10 colony found, in the old oak", "in the old oak"),
        ("10:10 colony found up in the ash, by the gate", "up in the ash, by the gate"),
        ("colony found at 10:10", ""),
    ],
)
def test_a_find_keeps_the_words_that_tell_where(line: str, where: str) -> None:
    page = read_clocked(DAY + line, BOOK, ZONE)

    assert [told(event) for event in page.events] == [f"10:10 found {where}".strip()]
    assert page.unread == ()


def test_a_find_with_a_question_mark_is_in_doubt() -> None:
    (event,) = read_clocked(DAY + "10:10 colony found?", BOOK, ZONE).events

    assert event.doubtful


@pytest.mark.parametrize(
    ("text", "typed"),
    [
        ("(9:05) yellow away\n(9:12) yellow back\n", True),
        ("14 July 2026\n(09:05) yellow away\n(14:12) yellow back\n", True),
        ("(0:05) yellow away\n(9:12) yellow back\n", False),
        ("(9:05) yellow away\n(24:12) yellow back\n", False),
        ("[9:05] yellow away\n[9:12] yellow back\n", False),
        ("(9:05) yellow away\n[9:12] yellow back\n", False),
    ],
)
def test_clock_times_in_round_brackets_are_no_transcript(
    text: str, typed: bool
) -> None:
    assert has_clock_times(text, BOOK) is typed
    if typed:
        read = read_clocked(DAY + text, BOOK, ZONE)
        assert [told(event, doubt=True).split()[1:] for event in read.events] == [
            ["away", "yellow"],
            ["back", "yellow"],
        ]
        assert not read.unread


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("9:05 yellow away 210,5", "210.5"),
        ("9:05 yellow away bearing 45,5 degrees", "45.5"),
        ("9:05 yellow away 210,5 true", "210.5 true"),
        ("bee;out;bearing\nyellow;9:05;210,5", "210.5"),
    ],
)
def test_a_decimal_comma_is_read_as_a_point(line: str, value: str) -> None:
    for written in (line, line.replace(",", ".")):
        page = read_clocked(DAY + written, BOOK, ZONE)

        assert [told(event, doubt=True) for event in page.events] == [
            "9:05 away yellow",
            f"9:05 bearing yellow {value}",
        ]
        assert not page.unread


@pytest.mark.parametrize("line", ["210, 215", "210,215"])
def test_two_bearings_with_a_comma_are_two(line: str) -> None:
    page = read_clocked(f"{DAY}9:05 yellow away {line}", BOOK, ZONE)

    assert [told(event, doubt=True) for event in page.events] == [
        "9:05 away yellow",
        "9:05 bearing yellow 210 ?",
    ]


@pytest.mark.parametrize(
    ("line", "clock"),
    [
        ("2026-07-15T09:05:00Z yellow away", "2026-07-15T10:05:00+01:00"),
        ("2026-07-15 09:05:07.250Z yellow away", "2026-07-15T10:05:07+01:00"),
        ("2026-07-15T09:05:00+02:00 yellow away", "2026-07-15T08:05:00+01:00"),
        ("2026-07-15T09:05:00-04:00 yellow away", "2026-07-15T14:05:00+01:00"),
        ("2026-07-15T23:30:00Z yellow away", "2026-07-16T00:30:00+01:00"),
        ("09:05Z yellow away", "2026-07-14T10:05:00+01:00"),
        ("yellow away 09:05+01:00", "2026-07-14T09:05:00+01:00"),
        ("yellow away 09:05 +01:00", "2026-07-14T09:05:00+01:00"),
        ("09:05+0200 yellow away", "2026-07-14T08:05:00+01:00"),
        ("time,bee,event\n2026-07-15T09:05:00Z,yellow,away",
         "2026-07-15T10:05:00+01:00"),
        ("time;bee;event\n09:05Z;yellow;away", "2026-07-14T10:05:00+01:00"),
    ],
)  # fmt: skip
def test_a_time_with_its_offset_is_put_into_the_hunts_zone(
    line: str, clock: str
) -> None:
    assert has_clock_times(line, BOOK)

    page = read_clocked(DAY + line, BOOK, ZONE)

    (event,) = page.events
    assert event.clock is not None
    assert event.clock.isoformat() == clock
    assert told(event, doubt=True).split()[1:] == ["away", "yellow"]
    assert not page.unread


@pytest.mark.parametrize(
    ("zone", "line", "clock"),
    [
        ("Pacific/Auckland", "21:05Z yellow away", "2026-07-14T09:05:00+12:00"),
        ("America/Denver", "00:05Z yellow away", "2026-07-14T18:05:00-06:00"),
    ],
)
def test_a_time_in_utc_alone_is_of_the_day_above_it_where_the_hunt_is(
    zone: str, line: str, clock: str
) -> None:
    page = read_clocked(DAY + line, BOOK, ZoneInfo(zone))

    (event,) = page.events
    assert event.clock is not None
    assert event.clock.isoformat() == clock


def test_a_span_of_times_is_no_offset() -> None:
    page = read_clocked(DAY + "09:05-09:30 yellow away", BOOK, ZONE)

    assert [told(event) for event in page.events] == [
        "9:05 away yellow",
        "9:30 back yellow",
    ]


@pytest.mark.parametrize(
    ("heading", "wanted"),
    [
        ("## Station 2", ["9:05 station 2", "9:05 away yellow"]),
        ("# 15 July 2026", ["9:05 away yellow"]),
        ("# Cefn Gwyn, 15 July 2026, station 2 ##",
         ["9:05 station 2", "9:05 away yellow"]),
        ("### Pause", ["9:05 pause", "9:05 away yellow"]),
    ],
)  # fmt: skip
def test_a_heading_says_what_a_line_says(heading: str, wanted: list[str]) -> None:
    page = read_clocked(f"{DAY}{heading}\n9:05 Y away", BOOK, ZONE)

    assert [told(event, doubt=True) for event in page.events] == wanted
    assert {e.clock.day for e in page.events if e.clock} == {
        15 if "15" in heading else 14
    }
    assert not page.unread


@pytest.mark.parametrize("heading", ["# What I saw", "# 9:00 Y away", "#9:00 Y aw"])
def test_a_heading_that_says_nothing_known_is_listed(heading: str) -> None:
    page = read_clocked(f"{DAY}{heading}\n9:05 Y away", BOOK, ZONE)

    assert [told(event) for event in page.events] == ["9:05 away yellow"]
    assert [line.line for line in page.unread] == [2]


@pytest.mark.parametrize(
    "before", ["1. ", "12. ", "1) ", "(1) ", "- ", "* ", "\u2022 ", "- [x] ", "- [ ] "]
)
def test_the_number_of_a_line_is_no_bearing(before: str) -> None:
    page = read_clocked(f"{DAY}{before}9:30 yellow off 47", BOOK, ZONE)

    assert [told(event, doubt=True) for event in page.events] == [
        "9:30 away yellow",
        "9:30 bearing yellow 47",
    ]
    assert not page.unread


@pytest.mark.parametrize(
    "written",
    ["St1", "St 1", "St. 1", "Stn 1", "stn. 1", "Site 1", "Station\t1", "Station,1",
     "Site;1;;", "Stn: 1"],
)  # fmt: skip
def test_a_station_is_written_short_or_in_a_cell_of_its_own(written: str) -> None:
    for text in (f"{written}\n9:05 Y away", f"{written}\nbee,out\nY,9:05"):
        page = read_clocked(DAY + text, BOOK, ZONE)

        assert [told(event, doubt=True) for event in page.events] == [
            "9:05 station 1",
            "9:05 away yellow",
        ]
        assert not page.unread


def test_a_date_and_a_short_station_stand_in_one_line() -> None:
    assert said("Tues 14/7/26  St1\n9:05 Y away") == [
        "9:05 station 1",
        "9:05 away yellow",
    ]
    assert said(f"{DAY}1st 2 bees\n9:05 Y away") == ["9:05 away yellow"]


def test_a_heading_behind_a_hash_tells_day_and_station() -> None:
    page = (
        "# Marl Hollow \u2014 14th July 2026\n"
        "## Station 1 (pool)\n"
        "- 9:05 yellow away\n"
        "# 9:06 white away\n"
        "#9:07 red away, wrong\n"
        "## what we saw\n"
        "### Station 2\n"
        "- 9:50 blue away\n"
    )
    found = read_clocked(page, BOOK, ZONE)
    assert [told(event) for event in found.events] == [
        "9:05 station 1",
        "9:05 away yellow",
        "9:50 station 2",
        "9:50 away blue",
    ]
    assert {f"{e.clock:%Y-%m-%d}" for e in found.events if e.clock} == {"2026-07-14"}


def test_a_numbered_lines_number_is_no_bearing() -> None:
    page = "14 July 2026\n1. 9:30 yellow off 47\n12. 9.36 yellow back\n"
    found = read_clocked(page, BOOK, ZONE)
    assert [told(event, doubt=True) for event in found.events] == [
        "9:30 away yellow",
        "9:30 bearing yellow 47",
        "9:36 back yellow",
    ]
