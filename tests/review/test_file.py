"""review.csv: write and read, and what spreadsheet programs make of it."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawing import examples
from treeward.errors import ReviewError
from treeward.language.kinds import KINDS, EventKind, Holds
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode, read_flags
from treeward.review.file import (
    COLUMNS,
    ReviewFaultsError,
    ReviewRow,
    cells_of,
    effective_events,
    read_review,
    rows_from_table,
    write_review,
)
from treeward.review.row import parse_clock
from treeward.review.table import parse_table
from treeward.speech.utterances import Alternative

if TYPE_CHECKING:
    from pathlib import Path

LONDON = ZoneInfo("Europe/London")
MORNING = datetime(2026, 7, 14, 10, 22, 31, 400_000, tzinfo=LONDON)

TEXT = st.text(
    st.characters(blacklist_categories=("Cs", "Cc")) | st.sampled_from("=+-@';\\|,\""),
    max_size=20,
).map(str.strip)
MARKS = st.sampled_from(["", "yellow", "blue-white", "red abdomen", "unmarked"])
SECONDS = st.none() | st.integers(0, 10**6).map(lambda n: n / 100)
CLOCKS = st.none() | st.integers(0, 10**7).map(
    lambda n: (datetime(2026, 3, 1, tzinfo=UTC) + timedelta(seconds=n / 10)).astimezone(
        LONDON
    )
)
RED_OR_WHITE = read_flags(["red or white?"])
VALUES = {
    Holds.DEGREES: st.sampled_from(["", "0", "210", "SW", "225 sw", "210 true"]),
    Holds.DATE: st.sampled_from(["", "2026-07-14", "14 July"]),
    Holds.TIME: st.sampled_from(["", "10:22", "10:22:30", "9:40"]),
    Holds.DURATION: st.sampled_from(["away 330", "round 600"]),
    Holds.STATION: st.sampled_from(["1", "north gate"]),
    Holds.WIND: st.sampled_from(["calm", "light 225"]),
    Holds.WORDS: TEXT,
    Holds.NOTHING: st.just(""),  # what is typed there: test_by_hand.py
}


@st.composite
def review_rows(draw: st.DrawFn) -> list[ReviewRow]:
    """Rows as the machine and a person could have made them."""
    rows = []
    for n in range(draw(st.integers(0, 6))):
        kind = draw(st.sampled_from(EventKind))
        clock, start_s = draw(CLOCKS), draw(SECONDS)
        if clock is None and start_s is None:
            clock = MORNING
        event = Event(
            kind=kind,
            mark=draw(MARKS),
            value=draw(VALUES[KINDS[kind].holds]),
            recording=draw(TEXT),
            start_s=start_s,
            end_s=draw(SECONDS),
            clock=clock,
            confidence=draw(st.integers(0, 100)) / 100,
            heard=draw(TEXT),
            alternatives=tuple(
                Alternative(text=text, confidence=share / 100)
                for text, share in draw(
                    st.lists(
                        st.tuples(TEXT.filter(bool), st.integers(0, 100)), max_size=3
                    )
                )
            ),
            flags=read_flags(draw(st.lists(TEXT.filter(bool), max_size=3))),
            row=f"r{n + 1:04d}",
        )
        rows.append(
            ReviewRow(
                event=event,
                decision=draw(st.sampled_from(["", "keep", "drop"])),
                remark=draw(TEXT),
            )
        )
    return rows


def plain(row: ReviewRow) -> dict[str, str]:
    """Return a row's cells with the clock in UTC, for comparing."""
    cells = cells_of(row)
    if row.event.clock is not None:
        cells["clock"] = row.event.clock.astimezone(UTC).isoformat()
    return cells


def row(name: str = "r0001", **changes: object) -> ReviewRow:
    event = Event(
        kind=EventKind.BACK,
        mark="yellow",
        recording="memo.m4a",
        start_s=118.5,
        end_s=119.3,
        clock=MORNING,
        confidence=0.93,
        heard="yellow back",
        row=name,
    )
    return ReviewRow(event=replace(event, **changes))  # type: ignore[arg-type]


def read(text: str | bytes, machine: list[ReviewRow] | None = None) -> list[ReviewRow]:
    raw = text.encode() if isinstance(text, str) else text
    return rows_from_table(
        parse_table(raw, where="review.csv"), LONDON, machine=machine or []
    )


@given(rows=review_rows())
def test_what_is_written_is_read_again(
    rows: list[ReviewRow], tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.getbasetemp() / "review.csv"

    write_review(path, rows)

    assert [plain(r) for r in read_review(path, LONDON)] == [plain(r) for r in rows]


def test_the_heading_is_the_one_of_the_design(tmp_path: Path) -> None:
    write_review(tmp_path / "review.csv", [row()])

    text = (tmp_path / "review.csv").read_text("utf-8")

    heading, line = text.splitlines()
    assert heading == (
        "row,recording,start_s,end_s,clock,event,mark,value,confidence,heard,"
        "alternatives,flag,decision,remark"
    )
    assert line == (
        "r0001,memo.m4a,118.50,119.30,2026-07-14T10:22:31.4+01:00,back,yellow,,0.93,"
        "yellow back,,,,"
    )


@pytest.mark.parametrize("text", ["=1+1", "+44", "-x", "@sum", "'=1", "''@a", "\t=1"])
def test_no_cell_is_run_as_a_formula(text: str, tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    write_review(path, [replace(row(heard=text.strip()), remark=text.strip())])

    (back,) = read_review(path, LONDON)

    assert f",{text.strip()}" not in path.read_text("utf-8")
    assert back.remark == text.strip()
    assert back.event.heard == text.strip()


def as_saved(rows: list[ReviewRow], delimiter: str, **changes: str) -> str:
    """Write rows as a spreadsheet program would, with some cells its own way."""
    cells = [cells_of(r) | changes for r in rows]
    lines = [delimiter.join(COLUMNS)]
    lines += [delimiter.join(c[name] for name in COLUMNS) for c in cells]
    return "\r\n".join(lines) + "\r\n"


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le"])
def test_any_delimiter_and_encoding_is_read(delimiter: str, encoding: str) -> None:
    written = [row(), row("r0002", kind=EventKind.AWAY)]

    found = read(as_saved(written, delimiter).encode(encoding))

    assert [plain(r) for r in found] == [plain(r) for r in written]


@pytest.mark.parametrize(
    "clock",
    [
        "14/07/2026 10:22:31",
        "14.07.2026 10:22",
        "7/14/2026 10:22:31 AM",
        "14/07/26 10:22",
        "2026-07-14 10:22:31",
        "2026-07-14T10:22:31.4+01:00",
        "2026-07-14T09:22:31.4Z",
        "10:22:31",
        "10:22",
        "46217.43230787037",
        "14 July 2026 10:22",
    ],
)
def test_a_local_date_of_a_spreadsheet_is_no_change(clock: str) -> None:
    (found,) = read(as_saved([row()], ";", clock=clock), machine=[row()])

    assert found.event.clock == MORNING


@pytest.mark.parametrize(
    "clock",
    [
        "2026-07-1time0:06:10",
        "yesterday 10:22",
        "today 10:22:31",
        "Monday 10:22",
        "July 10:22",
        "in 5:00 hours",
        "3:00 hours ago",
        "now 1:00",
    ],
)
def test_no_clock_is_guessed_from_today(clock: str) -> None:
    with pytest.raises(ReviewFaultsError, match="is no date and time"):
        read(as_saved([row()], ";", clock=clock))


def test_decimal_commas_are_numbers() -> None:
    saved = as_saved([row()], ";", start_s="118,50", end_s="119,3", confidence="0,93")

    (found,) = read(saved)

    assert found.event.start_s == 118.5
    assert found.event.end_s == 119.3
    assert found.event.confidence == 0.93


def test_a_day_that_may_be_a_month_is_refused() -> None:
    with pytest.raises(ReviewFaultsError, match=r"05 April or 04 May.*year first"):
        read(as_saved([row()], ",", clock="05/04/2026 10:22"))


def test_other_rows_tell_day_from_month() -> None:
    saved = as_saved([row()], ",", clock="05/04/2026 10:22")
    more = as_saved([row("r0002")], ",", clock="25/04/2026 10:22").splitlines()[1]

    found = read(saved + more)

    assert found[0].event.clock == datetime(2026, 4, 5, 10, 22, tzinfo=LONDON)


def test_the_machines_copy_tells_day_from_month() -> None:
    written = row(clock=datetime(2026, 4, 5, 10, 22, 31, tzinfo=LONDON))

    (found,) = read(as_saved([written], ",", clock="05/04/2026 10:22"), [written])

    assert found.event.clock == written.event.clock


def test_rows_typed_by_hand_need_little() -> None:
    found = read(
        "Clock,Event,Mark,Value\n"
        "2026-07-14 10:20,STATION,,1\n"
        "\n"
        "2026-07-14 10:22:31,Back,Yellow,\n"
        "10:23:40,away,Blue / White,\n"
        "10:23:45,bearing,,210.0\n"
    )

    assert [(r.name, r.event.kind, r.event.mark, r.event.value) for r in found] == [
        ("h0001", EventKind.STATION, "", "1"),
        ("h0002", EventKind.BACK, "yellow", ""),
        ("h0003", EventKind.AWAY, "blue-white", ""),
        ("h0004", EventKind.BEARING, "", "210"),
    ]
    assert found[3].event.clock == datetime(2026, 7, 14, 10, 23, 45, tzinfo=LONDON)


def test_dropped_and_reordered_columns_come_from_the_machines_copy() -> None:
    written = [row(), row("r0002", kind=EventKind.AWAY, start_s=150.0)]

    found = read(
        "event,row,clock\nback,r0001,2026-07-14T10:22:31.4+01:00\n"
        "back,r0002,2026-07-14T10:22:31.4+01:00\n",
        written,
    )

    assert found[0] == written[0]
    assert found[1].event.kind is EventKind.BACK
    assert found[1].event.start_s == 150.0
    assert found[1].event.mark == "yellow"


def test_a_dropped_name_column_is_found_again() -> None:
    written = [row(), row("r0002", kind=EventKind.AWAY, start_s=150.0)]
    lines = as_saved(written, ",").splitlines()

    found = read("\n".join(line.split(",", 1)[1] for line in lines), written)

    assert [r.name for r in found] == ["r0001", "r0002"]


def test_a_copied_row_gets_a_name_of_its_own() -> None:
    saved = as_saved([row(), row(mark="red")], ",")

    found = read(saved, [row(mark="red")])

    assert [(r.name, r.event.mark) for r in found] == [
        ("h0001", "yellow"),
        ("r0001", "red"),
    ]


def test_a_time_that_grew_seconds_is_no_change() -> None:
    written = row(kind=EventKind.TIME, mark="", value="10:22")

    (found,) = read(as_saved([written], ",", value="10:22:00"), [written])

    assert found.event.value == "10:22"


def test_every_fault_has_a_line_with_row_and_column() -> None:
    saved = (
        "row,clock,event,mark,value,decision\n"
        "r0001,2026-07-14 10:22,flown,yellow,,\n"
        "r0002,yesterday,back,yellow,,\n"
        "r0003,2026-07-14 10:22,bearing,,400,\n"
        "r0004,2026-07-14 10:22,back,red,,maybe\n"
        "r0005,,back,red,,\n"
    )

    with pytest.raises(ReviewFaultsError) as caught:
        read(saved)

    assert [line.split(". ")[0] for line in caught.value.lines] == [
        "review.csv row 2 (r0001): event: 'flown' is no event",
        "review.csv row 3 (r0002): clock: 'yesterday' is no date and time",
        "review.csv row 4 (r0003): value: '400' is no bearing",
        "review.csv row 5 (r0004): decision: 'maybe' is no decision",
        "review.csv row 6 (r0005): clock: is empty",
    ]
    assert "(4 more after this one.)" in caught.value.line()


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (b"a,b,c\n1,2,3\n", "has no column event"),
        (b"event,mark\nback,red\n", "has no column clock"),
        (b"clock,event,event\n", "has column event twice"),
        (b"clock,event\n2026,back\n1,2,3,4\n", "row 3: has more cells"),
        (b"clock,event\n\0\0", "row 2: holds a zero byte"),
        (b"clock,event\nx,\x81\xfe\n", "row 2: byte 14 is not text"),
    ],
)
def test_a_file_that_is_none_is_refused_with_its_line(raw: bytes, said: str) -> None:
    with pytest.raises(ReviewError, match=said):
        read(raw)


def test_a_leapt_over_time_is_refused_and_a_doubled_one_flagged() -> None:
    head = "clock,event,mark\n"

    with pytest.raises(ReviewFaultsError, match="clocks went forward"):
        read(f"{head}2026-03-29 01:30,back,red\n")
    (doubled,) = read(f"{head}2026-10-25 01:30,back,red\n")
    (told,) = read(f"{head}2026-10-25T01:30:00+00:00,back,red\n")

    assert doubled.event.flags == (Flag(FlagCode.HOUR_TWICE),)
    assert told.event.flags == ()
    assert told.event.clock is not None
    assert (
        told.event.clock.timestamp()
        == datetime(2026, 10, 25, 1, 30, tzinfo=UTC).timestamp()
    )


def test_own_columns_of_the_person_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    path.write_text(
        "clock,event,mark,weather\n2026-07-14 10:22,back,red,sunny\n", "utf-8"
    )

    write_review(path, read_review(path, LONDON))

    assert read_review(path, LONDON)[0].extra == (("weather", "sunny"),)


def test_dropped_rows_do_not_count_and_kept_ones_lose_their_flags() -> None:
    flagged = row(flags=RED_OR_WHITE)
    rows = [
        replace(flagged, decision="drop"),
        replace(row("r0002", flags=RED_OR_WHITE), decision="keep"),
        row("r0003", flags=RED_OR_WHITE, mark="red"),
        row("r0004", flags=RED_OR_WHITE),
    ]
    machine = [row("r0003", flags=RED_OR_WHITE), rows[3]]

    events = effective_events(rows, machine)

    assert [(e.row, e.flags) for e in events] == [
        ("r0002", ()),
        ("r0003", ()),
        ("r0004", RED_OR_WHITE),
    ]


@settings(max_examples=examples(300), deadline=None)
@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_any_bytes_are_rows_or_a_clear_refusal(raw: bytes) -> None:
    try:
        found = read(b"clock,event,mark,value,start_s\n" + raw)
    except ReviewError as error:
        assert "review.csv" in error.line()  # noqa: PT017
    else:
        assert all(r.event.clock or r.event.start_s is not None for r in found)


OWN = (
    "row,recording,start_s,end_s,clock,event,mark,value,confidence,heard,"
    "alternatives,flag,decision,remark"
)
LINE = "r0001,m.wav,1.00,2.00,2026-07-14T10:20:01+01:00,back,red,,0.90,,,,,"


def round_trip(tmp_path: Path, text: str) -> list[list[str]]:
    path = tmp_path / "review.csv"
    path.write_text(text, "utf-8")
    for _ in range(2):
        write_review(path, read_review(path, LONDON))
    return list(csv.reader(path.read_text("utf-8-sig").splitlines()))


def test_cells_right_of_the_last_heading_are_kept(tmp_path: Path) -> None:
    heading, row = round_trip(tmp_path, f"{OWN},,\n{LINE},shade,\n")

    assert (heading[-1], row[-1]) == ("", "shade")
    assert len(row) == len(OWN.split(",")) + 1


def test_both_of_two_columns_of_one_name_are_kept(tmp_path: Path) -> None:
    heading, row = round_trip(tmp_path, f"{OWN},Wind,wind,Wind,,\n{LINE},a,b,c,d,e\n")

    assert heading[-5:] == ["Wind", "wind", "Wind", "", ""]
    assert row[-5:] == ["a", "b", "c", "d", "e"]


def test_a_column_that_is_headed_and_still_empty_is_kept(tmp_path: Path) -> None:
    heading, row = round_trip(tmp_path, f"{OWN},Shade\n{LINE},\n")

    assert (heading[-1], row[-1]) == ("Shade", "")


@pytest.mark.parametrize("cut", [3, 30, 60, len(LINE) - 1])
def test_a_last_row_that_is_cut_off_is_told(cut: int) -> None:
    text = f"{OWN}\n{LINE}\n{LINE[:cut]}"

    with pytest.raises(ReviewError, match=r"review\.csv row 3: is cut off .* row"):
        parse_table(text.encode(), where="review.csv")
    quoted = f'{OWN}\n{LINE}"seen by'
    with pytest.raises(ReviewError, match=r"row 2: is cut off"):
        parse_table(quoted.encode(), where="review.csv")


def test_a_short_last_row_typed_by_hand_is_whole() -> None:
    text = "clock,event,mark,value\n2026-07-14 10:20,back,red"

    assert len(parse_table(text.encode(), where="review.csv").lines) == 1


@pytest.mark.parametrize(
    ("text", "zone", "clock"),
    [
        ("2026-07-14T09:05:00Z", "Europe/London", "2026-07-14T10:05:00+01:00"),
        ("2026-07-14T10:22:31+01", "Europe/London", "2026-07-14T10:22:31+01:00"),
        ("09:05Z", "Europe/London", "2026-07-14T10:05:00+01:00"),
        ("10:22+01:00", "Europe/London", "2026-07-14T10:22:00+01:00"),
        ("21:05Z", "Pacific/Auckland", "2026-07-14T09:05:00+12:00"),
        ("2026-07-13T21:05Z", "Pacific/Auckland", "2026-07-14T09:05:00+12:00"),
    ],
)
def test_a_clock_with_its_offset_is_put_into_the_hunts_zone(
    text: str, zone: str, clock: str
) -> None:
    read = parse_clock(text, ZoneInfo(zone), day=date(2026, 7, 14))

    assert read.clock.isoformat() == clock
