"""Bearings to flight lines, and the wind."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from treeward.hunt_file import parse_hunt_table
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode
from treeward.trips import pair_trips
from treeward.trips.wording import doubt_text, doubt_texts

MORNING = datetime(2026, 7, 14, 10, 0, tzinfo=ZoneInfo("Europe/London"))
HUNT = parse_hunt_table(
    {
        "hunt": {"name": "Marl Hollow", "timezone": "Europe/London"},
        "station": [{"id": "1"}],
    },
    where="hunt.toml",
)


def note(second: float, kind: str, mark: str = "", value: str = "") -> Event:
    return Event(
        kind=EventKind(kind),
        mark=mark,
        value=value,
        clock=MORNING + timedelta(seconds=second),
        row=f"{kind}-{second:g}",
    )


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("210", (210.0, 1.0, "")),
        ("360", (0.0, 1.0, "")),
        ("212.5", (212.5, 1.0, "")),
        ("225 sw", (225.0, 45.0, "")),
        ("180 s", (180.0, 45.0, "")),
        ("203 ssw", (202.5, 22.5, "")),
        ("SW", (225.0, 45.0, "")),
        ("ssw", (202.5, 22.5, "")),
        ("south-south-west", (202.5, 22.5, "")),
        ("North East", (45.0, 45.0, "")),
        ("southwest", (225.0, 45.0, "")),
        ("210 true", (210.0, 1.0, "true")),
        ("225 SW magnetic", (225.0, 45.0, "magnetic")),
        ("210 +-10", (210.0, 20.0, "")),
        ("210\u00b0 true", (210.0, 1.0, "true")),
    ],
)
def test_bearings_carry_their_width_and_their_north(
    value: str, expected: tuple[float, float, str]
) -> None:
    event = note(0, "bearing", "", value)

    assert event.bearing is not None
    read = (event.bearing.deg, event.precision_deg, event.reference)
    assert read == expected
    (line,) = pair_trips([event], HUNT).lines
    assert (line.bearing_read_deg, line.rounding_deg, line.reference) == expected


@pytest.mark.parametrize(
    "value", ["", "400", "home", "100 sw", "210 true magnetic", "210 +-0", "-5"]
)
def test_what_is_no_bearing_is_left_out(value: str) -> None:
    event = note(0, "bearing", "", value)

    assert event.bearing is None
    assert event.precision_deg is None
    assert pair_trips([event], HUNT).lines == ()


@pytest.mark.parametrize("value", ["", "400", "-5", "nan", "over the oak", "SSSW"])
def test_what_is_no_bearing_is_left_over(value: str) -> None:
    table = pair_trips([note(0, "bearing", "", value)], HUNT)

    assert table.lines == ()
    assert doubt_text(table.unpaired[0].why).endswith(
        ("is no bearing", "no bearing was heard")
    )


def test_a_bearing_belongs_to_the_departure_just_before_it() -> None:
    events = [
        note(0, "away", "yellow"),
        note(4, "bearing", "", "210"),
        note(60, "bearing", "", "215"),
        note(100, "away", "red"),
        note(101, "away", "unmarked"),
        note(105, "bearing", "red", "90"),
        note(118, "bearing", "", "95"),
    ]

    lines = pair_trips(events, HUNT).lines

    assert [(x.mark, x.bee, x.bearing_read_deg) for x in lines] == [
        ("yellow", "yellow", 210),
        ("", "", 215),
        ("red", "red", 90),
        ("unmarked", "", 95),
    ]
    assert all(x.used for x in lines)


def test_a_bearing_told_of_no_bee_counts_only_where_one_left() -> None:
    unsaid = Flag(FlagCode.BEE_UNSAID)
    events = [
        note(0, "away", "yellow"),
        note(4, "bearing", "", "210").flagged(unsaid),
        note(60, "bearing", "", "215").flagged(unsaid),
        note(90, "bearing", "", "220"),
    ]

    lines = pair_trips(events, HUNT).lines

    assert [(x.mark, x.used) for x in lines] == [
        ("yellow", True),
        ("", False),
        ("", True),
    ]
    assert "of no bee, and none left then: not used until its row is kept" in (
        doubt_texts(lines[1].doubts)
    )


def test_a_bearing_on_an_arriving_bee_is_doubted() -> None:
    events = [note(0, "back", "yellow"), note(4, "bearing", "", "30")]

    (line,) = pair_trips(events, HUNT).lines

    assert doubt_texts(line.doubts) == (
        "read on an arriving bee? Only departures point home",
    )


def test_a_departure_before_the_bearing_goes_before_one_after_it() -> None:
    events = [
        note(0, "away", "red"),
        note(18, "bearing", "", "210"),
        note(21, "away", "green"),
    ]

    (line,) = pair_trips(events, HUNT).lines

    assert line.mark == "red"


@pytest.mark.parametrize(
    ("late_s", "attached"), [(-6, False), (-5, True), (20, True), (21, False)]
)
def test_a_bearing_is_of_a_departure_twenty_seconds_before_or_five_after(
    late_s: int, *, attached: bool
) -> None:
    events = [note(100, "away", "red"), note(100 + late_s, "bearing", "", "210")]

    (line,) = pair_trips(events, HUNT).lines

    assert line.mark == ("red" if attached else "")


def test_bundles_north_and_south_hint_at_two_bees() -> None:
    events = []
    for n, degrees in enumerate((350, 170, 10, 190)):
        events += [
            note(n * 360, "back", "red"),
            note(n * 360 + 60, "away", "red"),
            note(n * 360 + 65, "bearing", "red", str(degrees)),
        ]

    assert "red left station 1 in two directions: two bees?" in doubt_texts(
        pair_trips(events, HUNT).doubts
    )


@pytest.mark.parametrize(("late_s", "doubted"), [(0, True), (10, True), (11, False)])
def test_a_bee_is_arriving_for_ten_seconds(late_s: int, *, doubted: bool) -> None:
    events = [note(0, "back", "yellow"), note(late_s, "bearing", "", "30")]

    (line,) = pair_trips(events, HUNT).lines

    assert bool(line.doubts) is doubted


def test_a_colour_known_at_another_station_by_its_bearing_alone_is_named_so() -> None:
    events = [
        note(0, "station", "", "1"),
        note(10, "away", "yellow"),
        note(310, "back", "yellow"),
        note(600, "station", "", "2"),
        note(700, "bearing", "yellow", "210"),
    ]

    (line,) = pair_trips(events, HUNT).lines

    assert (line.bee, line.station) == ("yellow at 2", "2")


def test_a_first_departure_is_doubted_once_there_are_others() -> None:
    events = []
    for n in range(3):
        events += [note(n * 360, "back", "red"), note(n * 360 + 60, "away", "red")]
        events.append(note(n * 360 + 65, "bearing", "red", str(200 + n)))

    lines = pair_trips(events, HUNT).lines

    assert [bool(doubt_texts(x.doubts)) for x in lines] == [True, False, False]
    assert "bees circle" in doubt_texts(lines[0].doubts)[0]


@pytest.mark.parametrize(
    ("values", "width"),
    [
        ((210, 215, 200), 5),
        ((210, 220, 200), 10),
        ((210, 215, 203), 1),
        ((210, 220), 1),
    ],
)
def test_round_numbers_tell_how_finely_a_person_reads(
    values: tuple[int, ...], width: float
) -> None:
    events = [note(100 * n, "bearing", "", str(v)) for n, v in enumerate(values)]

    assert {x.rounding_deg for x in pair_trips(events, HUNT).lines} == {width}


def test_two_bundles_of_bearings_hint_at_two_bees() -> None:
    events = []
    for n, degrees in enumerate((210, 30, 214, 35)):
        events += [
            note(n * 360, "back", "red"),
            note(n * 360 + 60, "away", "red"),
            note(n * 360 + 65, "bearing", "red", str(degrees)),
        ]

    assert doubt_texts(pair_trips(events, HUNT).doubts) == (
        "red left station 1 in two directions: two bees?",
    )
    steady = [replace(e, value="358" if e.value == "30" else e.value) for e in events]
    assert len(doubt_texts(pair_trips(steady, HUNT).doubts)) <= 1


def test_the_wind_is_read() -> None:
    events = [
        note(0, "wind", "", "Calm"),
        note(60, "wind", "", "light 225"),
        note(90, "wind", "", "strong 999"),
        note(120, "wind"),
    ]

    table = pair_trips(events, HUNT)

    assert [(w.strength, w.from_deg) for w in table.winds] == [
        ("calm", None),
        ("light", 225),
        ("strong", None),
    ]
    assert table.unpaired[0].row == "wind-120"


def test_flagged_notes_change_neither_rounding_nor_wind() -> None:
    flag = (Flag.of(FlagCode.HARDLY_HEARD, "0.70"),)
    sure = [note(n * 10, "bearing", "", value) for n, value in
            enumerate(("210", "220", "200"))]  # fmt: skip
    wind = note(-5, "wind", "", "light 225")
    odd = replace(note(40, "bearing", "", "213"), flags=flag)
    gust = replace(note(41, "wind", "", "strong 90"), flags=flag)

    table = pair_trips([*sure, wind, odd, gust], HUNT)

    assert [x.rounding_deg for x in table.lines if x.row != odd.row] == [10.0] * 3
    assert [w.strength for w in table.winds] == ["light"]
    assert any(u.row == gust.row for u in table.unpaired)


def test_a_bearing_said_again_counts_once() -> None:
    away = note(0, "away", "yellow")
    one, again = note(2, "bearing", "yellow", "48"), note(8, "bearing", "yellow", "48")
    other, later = (
        note(9, "bearing", "yellow", "50"),
        note(60, "bearing", "white", "48"),
    )

    table = pair_trips([away, one, again, other, later], HUNT)

    assert [line.row for line in table.lines] == [
        "bearing-2",
        "bearing-9",
        "bearing-60",
    ]
    (left,) = [one for one in table.unpaired if one.kind == "bearing"]
    assert (left.row, doubt_text(left.why)) == (
        "bearing-8",
        "the same was said just before",
    )


def test_a_bearing_of_no_bee_is_the_same_only_in_another_recording() -> None:
    one = replace(note(0, "bearing", "", "48"), recording="day.txt")
    two = replace(note(0, "bearing", "", "48"), recording="day.txt", row="bearing-b")
    copied = replace(one, recording="copy.txt", row="bearing-c")

    assert len(pair_trips([one, two], HUNT).lines) == 2  # two bees in a minute
    assert len(pair_trips([one, copied], HUNT).lines) == 1
