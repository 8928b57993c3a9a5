"""The clock: known recordings, of which the right times are known beforehand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from drawing import examples
from treeward.errors import ClockError
from treeward.language.kinds import EventKind
from treeward.notes.clock import (
    ClockResult,
    RecordingFacts,
    place_on_clock,
    place_recordings,
)
from treeward.notes.clock_evidence import daylight_at, parse_start
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Sequence

LONDON = ZoneInfo("Europe/London")
START = datetime(2026, 7, 14, 10, 20, 33, tzinfo=LONDON)


def said(second: float, value: str, **more: object) -> Event:
    event = Event(
        kind=EventKind.TIME,
        value=value,
        start_s=second,
        end_s=second + 1.2,
        recording="memo.m4a",
    )
    return replace(event, **more)  # type: ignore[arg-type]


def note(second: float) -> Event:
    return Event(
        kind=EventKind.BACK,
        mark="yellow",
        start_s=second,
        end_s=second + 0.8,
        recording="memo.m4a",
    )


def facts(**more: object) -> RecordingFacts:
    return replace(RecordingFacts(name="memo.m4a", duration_s=1800.0), **more)  # type: ignore[arg-type]


def clocks(result: ClockResult) -> list[str]:
    return [f"{e.clock:%H:%M:%S}" if e.clock else "" for e in result.events]


def test_spoken_times_bound_the_start_and_the_container_gives_its_second() -> None:
    made = facts(created=START.astimezone(UTC))

    result = place_on_clock(
        [said(100, "10:22"), note(400), said(700, "10:32")], made, LONDON
    )

    assert result.start == START
    assert clocks(result) == ["10:22:13", "10:27:13", "10:32:13"]
    assert result.flags == ()


def test_more_spoken_times_narrow_the_start() -> None:
    day = facts(file_modified=datetime(2026, 7, 14, 15, 0, tzinfo=LONDON))
    # Second 0 is 10:20:33: said at 10:20:58 and at 10:22:01.
    times = [said(25, "10:20"), said(88, "10:22")]

    one = place_on_clock(times[:1], day, LONDON)
    all_of_them = place_on_clock(times, day, LONDON)

    assert one.stretches[0].half_width_s == pytest.approx(35.0)
    assert all_of_them.stretches[0].half_width_s < 10.0
    assert all_of_them.start is not None
    assert abs((all_of_them.start - START).total_seconds()) < 10.0


@pytest.mark.parametrize(
    "given_facts",
    [
        facts(start=START, created=START - timedelta(hours=5)),
        facts(name="2026-07-14 11.20.33.m4a", created=START.astimezone(UTC)),
        facts(name="Recording_20260714_102033.wav"),
        facts(file_modified=START + timedelta(seconds=1800)),
    ],
)
def test_the_strongest_evidence_is_used(given_facts: RecordingFacts) -> None:
    result = place_on_clock([note(60)], given_facts, LONDON)

    assert clocks(result) == ["10:21:33"]


def test_spoken_times_win_and_disagreement_is_said() -> None:
    hour_late = facts(name="2026-07-14 11.20.33.m4a")

    result = place_on_clock([said(100, "10:22")], hour_late, LONDON)

    assert result.start is not None
    assert f"{result.start:%H:%M}" == "10:20"
    (flag,) = result.flags
    assert flag.startswith("the file name puts the start at 2026-07-14 11:20, 60 min")
    assert "summer-time or time-zone" in flag


def test_a_container_written_at_the_end_is_known_by_the_file_time() -> None:
    end = START + timedelta(seconds=1800)
    closed = facts(created=end, file_modified=end + timedelta(seconds=2))

    result = place_on_clock([note(0)], closed, LONDON)

    assert result.start == START


def test_local_time_marked_as_utc_is_recognised_by_the_name() -> None:
    wrong = facts(name="2026-07-14 10.20.33.m4a", created=START.replace(tzinfo=UTC))

    result = place_on_clock([note(0)], wrong, LONDON)

    assert result.start == START


@pytest.mark.parametrize("year", [1904, 1970])
def test_a_clock_that_was_never_set_is_passed_over(year: int) -> None:
    unset = facts(
        created=datetime(year, 1, 1, tzinfo=UTC), name="2026-07-14 10.20.33.m4a"
    )

    assert place_on_clock([note(0)], unset, LONDON).start == START


def test_a_paused_recorder_gives_two_stretches_and_doubt_between() -> None:
    events = [note(50), said(100, "10:22"), note(300), note(600), said(700, "10:52")]

    result = place_on_clock(events, facts(created=START), LONDON)

    assert clocks(result)[:3] == ["10:21:23", "10:22:13", "10:25:33"]
    doubtful = [e.has(FlagCode.RECORDER_PAUSED) for e in result.events]
    assert doubtful == [False, False, True, True, False]
    late = result.events[3].clock
    assert late is not None
    assert 29 * 60 < (late - START).total_seconds() < 31 * 60
    assert "paused for about 20 min between 10:22 and 10:52" in result.flags[0]


def test_a_pause_that_was_said_leaves_no_doubt() -> None:
    resume = replace(note(650), kind=EventKind.RESUME, mark="")
    events = [said(100, "10:22"), note(600), resume, note(660), said(700, "10:52")]

    result = place_on_clock(events, facts(created=START), LONDON)

    assert clocks(result)[:2] == ["10:22:13", "10:30:33"]
    assert all(not e.flags for e in result.events)
    late = result.events[3].clock
    assert late is not None
    assert f"{late:%H:%M}" in {"10:51", "10:52"}
    assert result.flags[0].endswith("between 10:22 and 10:52; as was said")


@pytest.mark.parametrize("wrong", ["10:52", "10:12", "9:32", "3:50"])
def test_a_misheard_time_among_three_bends_nothing(wrong: str) -> None:
    right = [said(100, "10:22"), said(1000, "10:37"), said(1600, "10:47")]
    events = [right[0], said(700, wrong), *right[1:], note(720)]

    result = place_on_clock(events, facts(created=START), LONDON)

    assert result.start == START
    assert len(result.stretches) == 1
    assert clocks(result)[-1] == "10:32:33"
    assert [bool(e.flags) for e in result.events] == [False, True, False, False, False]
    assert result.flags == (f"said as a time, but left out: {wrong}",)


@pytest.mark.parametrize("place", [0, 3])
def test_a_misheard_time_at_either_end_bends_nothing(place: int) -> None:
    seconds = [100, 700, 1000, 1600]
    values = ["10:22", "10:32", "10:37", "10:47"]
    values[place] = "10:02" if place == 0 else "11:17"
    events = [said(s, v) for s, v in zip(seconds, values, strict=True)]

    result = place_on_clock(events, facts(file_modified=START), LONDON)

    assert [bool(e.flags) for e in result.events] == [i == place for i in range(4)]


def test_the_files_end_confirms_a_pause_before_the_last_spoken_time() -> None:
    events = [said(100, "10:22"), said(700, "10:32"), said(1600, "11:17")]
    closed = START + timedelta(seconds=1800 + 30 * 60)

    result = place_on_clock(events, facts(created=START, file_modified=closed), LONDON)

    assert len(result.stretches) == 2
    assert clocks(result)[-1] == "11:17:13"


def stretches_of(times: Sequence[tuple[float, str]]) -> list[tuple[str, ...]]:
    named = facts(name="2026-07-14 10.37.00.m4a")
    result = place_on_clock([said(s, v) for s, v in times], named, LONDON)
    return [stretch.spoken for stretch in result.stretches]


def test_a_recorder_that_is_stopped_whenever_nothing_happens() -> None:
    times = [
        (31, "10:38"),
        (180, "10:43"),
        (240, "10:44"),
        (425, "10:49"),
        (488, "10:50"),
        (558, "10:53"),
        (733, "10:58"),
    ]

    assert stretches_of(times) == [
        ("10:38",),
        ("10:43", "10:44"),
        ("10:49", "10:50"),
        ("10:53",),
        ("10:58",),
    ]


def test_who_stops_often_says_the_time_on_starting_again() -> None:
    times = [said(31, "10:38"), said(180, "10:43"), said(425, "10:49")]
    named = facts(name="2026-07-14 10.37.30.m4a")

    often = place_on_clock([*times, note(170), note(415)], named, LONDON)
    close = place_on_clock([*times, note(170), note(423)], named, LONDON)

    assert clocks(often)[3:] == ["10:40:20", "10:47:28"]
    assert all(not e.flags for e in often.events)
    assert "started again just before 10:49" in often.flags[1]
    assert [bool(e.flags) for e in close.events] == [False, False, False, True, True]


def test_who_stops_often_may_have_stopped_before_the_first_spoken_time() -> None:
    named = facts(name="2026-07-14_1037_station-2.ogg")
    events = [note(44), said(425, "10:49"), said(558, "10:53"), said(733, "10:58")]

    result = place_on_clock(events, named, LONDON)

    assert result.start == datetime(2026, 7, 14, 10, 37, 30, tzinfo=LONDON)
    assert clocks(result)[0] == "10:38:14"
    assert "between 10:37 and 10:49" in result.flags[0]
    assert not any("disagree" in f or "earlier than" in f for f in result.flags)


def test_a_misheard_time_among_many_pauses() -> None:
    times = [
        (31, "10:38"),
        (180, "10:43"),
        (240, "10:34"),  # 10:44
        (425, "10:49"),
        (488, "10:50"),
        (733, "10:58"),
    ]

    assert stretches_of(times) == [
        ("10:38",),
        ("10:43",),
        ("10:49", "10:50"),
        ("10:58",),
    ]


@pytest.mark.parametrize(
    ("name", "spoken", "expected"),
    [
        ("2026-07-14 17.20.33.m4a", "5:22", "17:22"),
        ("2026-07-14 05.20.33.m4a", "5:22", "05:22"),
        ("2026-07-14 12.20.33.m4a", "12:22", "12:22"),
        ("2026-07-14 00.20.33.m4a", "12:22", "00:22"),
        ("2026-07-14 14.20.33.m4a", "14:22", "14:22"),
        ("2026-07-14.m4a", "2:22", "14:22"),
        ("2026-07-14.m4a", "10:22", "10:22"),
    ],
)
def test_twelve_hour_times_are_resolved(name: str, spoken: str, expected: str) -> None:
    result = place_on_clock([said(100, spoken)], facts(name=name), LONDON)

    assert result.events[0].value == expected


def test_daylight_at_the_place_tells_morning_from_evening() -> None:
    winter = facts(name="2026-12-14.m4a")
    wales = daylight_at(latitude_deg=52.3, longitude_deg=-3.6)

    morning = place_on_clock([said(100, "7:30")], winter, LONDON, is_daylight=wales)
    neither = place_on_clock([said(100, "8:30")], winter, LONDON, is_daylight=wales)

    # Civil twilight is from about 7:40 to 16:40: neither 7:30 nor 19:30 is light.
    assert morning.events[0].value == "07:30"
    assert neither.events[0].value == "08:30"
    assert "morning from evening" in neither.flags[0]


def test_midnight_inside_a_recording() -> None:
    late = facts(name="2026-07-14 23.50.00.m4a")
    events = [said(60, "23:51"), note(700), said(1200, "00:10")]

    result = place_on_clock(events, late, LONDON)

    assert [e.clock.isoformat() for e in result.events if e.clock] == [
        "2026-07-14T23:51:00+01:00",
        "2026-07-15T00:01:40+01:00",
        "2026-07-15T00:10:00+01:00",
    ]
    assert result.flags == ()


def test_the_hour_that_is_leapt_over() -> None:
    # 2026-03-29: 00:59:59 GMT is followed by 02:00:00 BST.
    spring = facts(name="2026-03-29 00.50.00.m4a")
    events = [said(60, "0:51"), note(540), note(660), said(900, "2:05")]

    result = place_on_clock(events, spring, LONDON)

    assert clocks(result) == ["00:51:00", "00:59:00", "02:01:00", "02:05:00"]
    assert result.flags == ()


def test_the_hour_that_comes_twice() -> None:
    # 2026-10-25: 01:59:59 BST is followed by 01:00:00 GMT.
    autumn = facts(name="2026-10-25 01.50.00.m4a")
    events = [said(60, "01:51"), note(540), note(660), said(900, "01:05")]

    result = place_on_clock(events, autumn, LONDON)

    assert [e.clock.isoformat()[11:] for e in result.events if e.clock] == [
        "01:51:00+01:00",
        "01:59:00+01:00",
        "01:01:00+00:00",
        "01:05:00+00:00",
    ]
    assert len(result.stretches) == 1


def test_nothing_that_tells_leaves_the_clock_open() -> None:
    result = place_on_clock([said(100, "10:22"), note(200)], facts(), LONDON)

    assert result.start is None
    assert clocks(result) == ["", ""]
    assert "nothing tells when this was recorded" in result.flags[-1]


def test_a_scratched_time_is_no_anchor() -> None:
    scratch = Event(kind=EventKind.SCRATCH, start_s=103.0, recording="memo.m4a")
    events = [said(100, "11:22"), scratch, said(110, "10:22")]

    result = place_on_clock(events, facts(created=START), LONDON)

    assert result.start == START
    assert result.flags == ()


def test_absolute_times_of_a_transcript_stay() -> None:
    fixed = replace(note(5), clock=datetime(2026, 7, 14, 9, 0, tzinfo=UTC))

    kept = place_on_clock([fixed], facts(created=START), LONDON)

    assert clocks(kept) == ["10:00:00"]


def test_recordings_are_sorted_and_an_overlap_is_said() -> None:
    one = facts(name="a 2026-07-14 10.20.00.m4a")
    two = facts(name="b 2026-07-14 10.40.00.m4a")

    results = place_recordings([(two, []), (facts(), [note(1)]), (one, [])], LONDON)

    assert [r.recording[0] for r in results] == ["a", "b", "m"]
    assert "overlaps a 2026-07-14 10.20.00.m4a by 10 min" in results[1].flags[-1]


@pytest.mark.parametrize(
    ("text", "iso", "resolution_s"),
    [
        ("2026-07-14 10:20", "2026-07-14T10:20:00+01:00", 60.0),
        ("2026-07-14 10:20:33", "2026-07-14T10:20:33+01:00", 1.0),
        ("2026-07-14 9:00", "2026-07-14T09:00:00+01:00", 60.0),
        ("2026-07-14 9:00:05", "2026-07-14T09:00:05+01:00", 1.0),
        ("2026-07-14T10:20:33Z", "2026-07-14T11:20:33+01:00", 1.0),
        ("2026-07-14T10:20+02:00", "2026-07-14T09:20:00+01:00", 60.0),
    ],
)
def test_a_given_start_is_read(text: str, iso: str, resolution_s: float) -> None:
    start, resolution = parse_start(text, LONDON, where="--start")

    assert start.isoformat() == iso
    assert resolution == resolution_s


@pytest.mark.parametrize(
    ("text", "said_of_it"),
    [
        ("10:20", "is not a date and a time"),
        ("2026-07-14", "has no time of day"),
        ("2026-03-29 01:30", "clocks went forward"),
        ("soon", "is not a date and a time"),
    ],
)
def test_a_start_that_is_none_is_refused(text: str, said_of_it: str) -> None:
    with pytest.raises(ClockError, match=said_of_it):
        parse_start(text, LONDON, where="--start")


# In the second of the two hours that are told alike, by a twelve-hour dial.
@example(
    start=datetime(2025, 10, 26, 1, 50),  # noqa: DTZ001
    seconds=[0, 3000],
    delay_s=1.0,
    twelve=True,
)
@example(
    start=datetime(2025, 10, 26, 1, 5),  # noqa: DTZ001
    seconds=[600],
    delay_s=1.0,
    twelve=False,
)
@settings(max_examples=examples(60), deadline=None)
@given(
    start=st.datetimes(datetime(2025, 1, 1), datetime(2026, 12, 30)),  # noqa: DTZ001
    seconds=st.lists(st.integers(0, 7200), min_size=1, max_size=6, unique=True),
    delay_s=st.floats(0.0, 4.0),
    twelve=st.booleans(),
)
def test_true_times_are_found_again(
    start: datetime, seconds: list[int], delay_s: float, twelve: bool
) -> None:
    """Times read off a right watch put every event within its minute."""
    true_start = start.replace(tzinfo=UTC)
    times = []
    for second in sorted(seconds):
        read = (true_start + timedelta(seconds=second)).astimezone(LONDON)
        hour = read.hour % 12 or 12 if twelve else read.hour
        text = f"{hour}:{read:%M}" if twelve else f"{read:%H:%M}"
        times.append(said(second + delay_s, text))
    named = (true_start + timedelta(seconds=20)).astimezone(LONDON)
    recorder = facts(name=f"{named:%Y-%m-%d %H.%M.%S}.m4a")

    result = place_on_clock([*times, note(100)], recorder, LONDON)

    assert len(result.stretches) == 1
    off_s = []
    for event in result.events:
        assert event.clock is not None
        assert event.start_s is not None
        true_s = true_start.timestamp() + event.start_s
        off_s.append(event.clock.timestamp() - true_s)
    # A name in the hour that comes twice does not say which of the two it is of.
    twice = named.replace(fold=0).utcoffset() != named.replace(fold=1).utcoffset()
    asides_s = (0.0, -3600.0, 3600.0) if twice else (0.0,)
    assert any(
        all(abs(off - aside_s) <= 75.0 for off in off_s) for aside_s in asides_s
    ), off_s


@settings(max_examples=examples(100), deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 1e5), st.text("0123456789:apm. ", max_size=9)),
        max_size=12,
    )
)
def test_no_values_crash_it_and_no_event_is_lost(
    times: list[tuple[float, str]],
) -> None:
    events = [said(second, value) for second, value in times]

    result = place_on_clock(events, facts(created=START), LONDON)

    assert [e.start_s for e in result.events] == [e.start_s for e in events]
    assert all(e.clock is not None for e in result.events)


def dated(second: float, value: str, **more: object) -> Event:
    event = replace(said(second, value), kind=EventKind.DATE)
    return replace(event, **more)  # type: ignore[arg-type]


NOVEMBER = datetime(2026, 11, 3, 9, 0, tzinfo=LONDON)


def test_a_spoken_date_wins_over_the_files_time() -> None:
    events = [dated(5, "14 July"), said(100, "10:22"), note(400)]

    result = place_on_clock(events, facts(file_modified=NOVEMBER), LONDON)

    assert (result.day, result.day_from) == (date(2026, 7, 14), "spoken date")
    assert result.events[0].value == "2026-07-14"  # the year that is nearest
    assert [e.clock and e.clock.date() for e in result.events] == [result.day] * 3
    assert clocks(result)[1].startswith("10:22")
    assert result.remarks[0] == "14 Jul 2026, the day as it was said"


def test_a_spoken_date_keeps_the_time_that_suits_it() -> None:
    named = facts(name="2026-07-14 10.20.33.m4a", file_modified=NOVEMBER)

    result = place_on_clock([dated(5, "14 July"), note(60)], named, LONDON)

    assert clocks(result) == ["10:20:38", "10:21:33"]
    assert result.day_from == "spoken date"


def test_a_spoken_date_without_any_time_of_day_places_nothing() -> None:
    result = place_on_clock(
        [dated(5, "14 July"), note(60)], facts(file_modified=NOVEMBER), LONDON
    )

    assert clocks(result) == ["", ""]
    assert "nothing tells when" in result.flags[-1]


@pytest.mark.parametrize("other", [date(2026, 7, 13), date(2026, 7, 2)])
@pytest.mark.parametrize("with_time", [True, False])
def test_a_spoken_date_wins_over_the_day_of_a_given_start(
    other: date, *, with_time: bool
) -> None:
    given = datetime(other.year, other.month, other.day, 10, 20, 33, tzinfo=LONDON)
    times = [said(100, "10:22")] if with_time else []

    result = place_on_clock(
        [dated(5, "14 July 2026"), *times, note(400)], facts(start=given), LONDON
    )

    assert (result.day, result.day_from) == (date(2026, 7, 14), "spoken date")
    assert {e.clock and e.clock.date() for e in result.events} == {result.day}
    assert clocks(result)[-1] == "10:27:13"  # the time of day is as it was given
    assert result.remarks[0] == "14 Jul 2026, the day as it was said"
    (flag,) = result.flags
    assert flag.startswith(f"the start given puts the start at {other} 10:20")
    assert flag.endswith("not used")


def test_a_given_start_that_the_spoken_date_bears_out_is_not_doubted() -> None:
    result = place_on_clock(
        [dated(5, "14 July"), note(400)], facts(start=START), LONDON
    )

    assert clocks(result) == ["10:20:38", "10:27:13"]
    assert result.remarks == ("14 Jul 2026, the day as it was said",)


def test_a_date_said_after_midnight_is_that_of_the_second_it_was_said_at() -> None:
    late = datetime(2026, 7, 13, 23, 50, tzinfo=LONDON)

    result = place_on_clock(
        [note(60), dated(900, "14 July")], facts(start=late), LONDON
    )

    assert clocks(result) == ["23:51:00", "00:05:00"]
    assert result.day == date(2026, 7, 13)
    assert result.flags == ()


def test_a_clock_that_is_a_day_off_still_tells_the_time_of_day() -> None:
    named = facts(name="2026-07-13 10.20.33.m4a")

    result = place_on_clock([dated(5, "14 July 2026"), note(60)], named, LONDON)

    assert clocks(result) == ["10:20:38", "10:21:33"]
    assert (result.day, result.day_from) == (date(2026, 7, 14), "spoken date")
    assert "the file name puts the start at 2026-07-13" in " ".join(result.flags)


def test_a_day_in_the_files_name_gives_way_to_the_spoken_one() -> None:
    named = facts(name="2026-07-13.m4a")
    events = [dated(5, "14 July 2026"), said(100, "10:22"), note(400)]

    result = place_on_clock(events, named, LONDON)

    assert (result.day, result.day_from) == (date(2026, 7, 14), "spoken date")


def test_a_date_in_doubt_does_not_tell_the_day() -> None:
    doubtful = dated(5, "15 July", flags=(Flag.of(FlagCode.HARDLY_HEARD, "0.70"),))

    result = place_on_clock([doubtful, note(60)], facts(start=START), LONDON)

    assert result.remarks[0] == "14 Jul 2026, the day as it was given"


@pytest.mark.parametrize(
    ("year", "day"), [(1, "31 December 9999"), (9999, "1 January 2000")]
)
def test_days_an_age_apart_are_no_fault(year: int, day: str) -> None:
    given = datetime(year, 6, 1, 10, 20, tzinfo=UTC)

    result = place_on_clock([dated(5, day), note(60)], facts(start=given), LONDON)

    assert result.flags


def test_a_flagged_date_moves_nothing() -> None:
    doubtful = dated(5, "14 July", flags=(Flag.of(FlagCode.HARDLY_HEARD, "0.70"),))
    day = facts(file_modified=NOVEMBER)

    result = place_on_clock([doubtful, note(60)], day, LONDON)

    assert result.start == place_on_clock([note(60)], day, LONDON).start
    assert any("14 July was heard with doubt" in flag for flag in result.flags)


@pytest.mark.parametrize(
    ("known", "day_from"),
    [
        (facts(start=START), "start given"),
        (facts(created=START.astimezone(UTC)), "container"),
        (facts(name="2026-07-14.m4a"), "file name"),
        (facts(file_modified=START + timedelta(seconds=1800)), "file time"),
    ],
)
def test_what_a_day_was_taken_from_is_told(
    known: RecordingFacts, day_from: str
) -> None:
    result = place_on_clock([said(100, "10:22"), note(400)], known, LONDON)

    assert (result.day, result.day_from) == (date(2026, 7, 14), day_from)
    assert result.remarks[0].startswith("14 Jul 2026, the day ")


def test_recordings_months_apart_put_the_weaker_day_in_doubt() -> None:
    july = facts(name="2026-07-14 10.20.33.m4a")
    copied = facts(name="memo 2.m4a", file_modified=NOVEMBER)

    one, two = place_recordings([(copied, [note(60)]), (july, [note(60)])], LONDON)

    assert one.flags == ()
    assert "lies 112 days from 2026-07-14 10.20.33.m4a: is its day right?" in " ".join(
        two.flags
    )


def test_bees_fly_until_sunset_and_not_to_the_end_of_twilight() -> None:
    # Sunset at 52.3 N 3.6 W on 14 July 2026 is at 21:30 BST by astral, which
    # tests/published/test_sun.py holds against an almanac.
    light = daylight_at(latitude_deg=52.3, longitude_deg=-3.6)

    assert light(datetime(2026, 7, 14, 21, 28, tzinfo=LONDON))
    assert not light(datetime(2026, 7, 14, 21, 32, tzinfo=LONDON))


def test_a_flagged_time_alone_does_not_outweigh_what_the_file_itself_says() -> None:
    flag = (Flag.of(FlagCode.HARDLY_HEARD, "0.90"),)
    wrong = said(100, "11:22", flags=flag, confidence=0.9)
    named = facts(name="2026-07-14 10.20.33.m4a")

    doubtful = place_on_clock([wrong, note(400)], named, LONDON)
    two = place_on_clock(
        [wrong, said(700, "11:32", flags=flag, confidence=0.9)], named, LONDON
    )
    weak = place_on_clock([wrong], facts(file_modified=NOVEMBER), LONDON)

    assert clocks(doubtful)[1] == "10:27:13"
    assert clocks(two)[1].startswith("11:32")  # two that agree do
    assert clocks(weak)[0].startswith("11:22")  # and a file's time is weak


def test_of_a_day_that_was_given_what_tells_another_day_is_not_heeded() -> None:
    day = date(2026, 7, 14)
    made = datetime(2026, 9, 1, 10, 0, tzinfo=UTC)
    other = RecordingFacts(name="memo.m4a", day=day, created=made)
    result = place_on_clock([note(200)], other, LONDON)
    assert clocks(result) == [""]
    same = replace(other, created=made.replace(month=7, day=14))
    assert clocks(place_on_clock([note(200)], same, LONDON)) == ["11:03:20"]
    spoken = [said(100, "10:22"), note(200)]
    assert clocks(place_on_clock(spoken, other, LONDON))[1].startswith("10:2")
