"""Notes to visits, trips and flight lines: each case a person could meet."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawing import examples
from treeward.hunt_file import HuntFile, parse_hunt_table
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode, read_flags
from treeward.trips import pair_trips
from treeward.trips.table import DoubtCode
from treeward.trips.wording import doubt_text, doubt_texts

if TYPE_CHECKING:
    from random import Random

    from treeward.trips.table import Trip, TripTable

LONDON = ZoneInfo("Europe/London")
MORNING = datetime(2026, 7, 14, 10, 0, tzinfo=LONDON)
VISIT_S, AWAY_S = 60, 300


def hunt(*stations: str, **more: object) -> HuntFile:
    table = {
        "hunt": {"name": "Marl Hollow", "timezone": "Europe/London"},
        "station": [{"id": s, "position": "52.3, -3.6"} for s in stations or ("1",)],
    }
    return parse_hunt_table(table | more, where="hunt.toml")


def note(second: float, kind: str, mark: str = "", value: str = "") -> Event:
    return Event(
        kind=EventKind(kind),
        mark=mark,
        value=value,
        clock=at(second),
        row=f"{kind}-{mark}-{second:g}",
    )


def at(second: float) -> datetime:
    return (MORNING.astimezone(UTC) + timedelta(seconds=second)).astimezone(LONDON)


def rounds(
    count: int,
    mark: str = "yellow",
    *,
    first: float = 0,
    away: float = AWAY_S,
    visit: float = VISIT_S,
) -> list[Event]:
    """Return landings and departures of one bee that keeps to her habits."""
    events = []
    for n in range(count):
        second = first + n * (visit + away)
        events += [note(second, "back", mark), note(second + visit, "away", mark)]
    return events


def without(events: list[Event], *indices: int) -> list[Event]:
    return [e for i, e in enumerate(events) if i not in indices]


def used(table: TripTable) -> list[tuple[str, float]]:
    return [(t.bee, t.away_s) for t in table.trips if t.used]


def only(table: TripTable) -> Trip:
    (trip,) = table.trips
    return trip


def left_over(table: TripTable) -> dict[str, str]:
    return {u.row: doubt_text(u.why) for u in table.unpaired}


def test_a_bee_that_comes_and_goes() -> None:
    table = pair_trips(rounds(3), hunt())

    assert [(v.visit_s, v.used, doubt_texts(v.doubts)) for v in table.visits] == [
        (60, True, ())
    ] * 3
    assert [(t.away_s, t.used, doubt_texts(t.doubts)) for t in table.trips] == [
        (300, True, ())
    ] * 2
    trip = table.trips[0]
    assert (trip.mark, trip.bee, trip.station) == ("yellow", "yellow", "1")
    assert (trip.away_row, trip.back_row) == ("away-yellow-60", "back-yellow-360")
    assert (trip.away_clock, trip.back_clock) == (at(60), at(360))
    assert left_over(table) == {}
    assert doubt_texts(table.doubts) == ()


def test_a_bee_that_leaves_and_is_not_seen_again() -> None:
    table = pair_trips([note(0, "away", "red"), note(9, "back", "pink")], hunt())

    assert left_over(table) == {
        "away-red-0": "she was not seen again",
        "back-pink-9": "nothing of her is noted before or after",
    }


def test_two_bees_of_two_marks_do_not_disturb_each_other() -> None:
    table = pair_trips(rounds(3) + rounds(3, "red", first=20, away=500), hunt())

    assert used(table) == [
        ("yellow", 300),
        ("red", 500),
        ("yellow", 300),
        ("red", 500),
    ]


def test_a_bee_that_is_there_at_the_start() -> None:
    table = pair_trips(without(rounds(2), 0), hunt())

    assert used(table) == [("yellow", 300)]
    assert [v.visit_s for v in table.visits] == [60]


def test_a_painted_bee_leaves_and_returns_without_a_visit_counted() -> None:
    events = [note(0, "mark", "red"), note(90, "away", "red"), note(400, "back", "red")]

    table = pair_trips(events, hunt())

    assert used(table) == [("red", 310)]
    assert table.visits == ()


def test_a_missed_departure_makes_a_round_trip() -> None:
    table = pair_trips(without(rounds(4), 3), hunt())

    trip = table.trips[1]
    assert (trip.timing, trip.away_s, trip.used) == ("round", 360, True)
    assert (trip.away_clock, trip.back_clock) == (None, at(720))
    assert (trip.from_clock, trip.to_clock) == (at(360), at(720))
    assert "departure between was not noted" in doubt_texts(trip.doubts)[0]


def test_a_missed_landing_makes_a_round_trip_between_departures() -> None:
    table = pair_trips(without(rounds(4), 2), hunt())

    trip = table.trips[0]
    assert (trip.timing, trip.away_s, trip.used) == ("round", 360, True)
    assert (trip.away_clock, trip.back_clock) == (at(60), None)
    assert "landing between was not noted" in doubt_texts(trip.doubts)[0]


@pytest.mark.parametrize(("gone", "cycles", "gap"), [(1, 2, 660), (2, 3, 1020)])
def test_missed_visits_make_a_gap_of_two_or_three_trips(
    gone: int, cycles: int, gap: float
) -> None:
    table = pair_trips(without(rounds(7), *range(4, 4 + 2 * gone)), hunt())

    (trip,) = (t for t in table.trips if t.away_s == gap)
    assert trip.cycles == cycles
    assert trip.used
    assert "the usual" in doubt_texts(trip.doubts)[0]
    assert all(t.cycles == 1 for t in table.trips if t is not trip)


def test_a_gap_of_many_trips_is_not_used() -> None:
    table = pair_trips(without(rounds(9), *range(4, 12)), hunt())

    (trip,) = (t for t in table.trips if t.away_s > 1000)
    assert not trip.used
    assert "29:00 min against the usual 5:00 min" in doubt_texts(trip.doubts)[0]


def test_a_stay_somewhat_longer_than_usual_is_used_with_a_doubt() -> None:
    late = [replace(e, clock=at(1140 + 240)) for e in rounds(4)[-1:]]
    events = [*rounds(3), note(780 + 530, "back", "yellow"), *late]

    trip = pair_trips(events, hunt()).trips[-1]

    assert (trip.away_s, trip.cycles, trip.used) == (530, 1, True)
    assert "much longer than usual" in doubt_texts(trip.doubts)[0]


def test_a_bee_said_not_to_have_come_is_not_taken_for_two_trips() -> None:
    events = without(rounds(6), 4, 5)
    events.append(note(900, "missed", "yellow"))

    (trip,) = (t for t in pair_trips(events, hunt()).trips if t.away_s == 660)

    assert (trip.cycles, trip.used) == (1, False)
    assert "said not to have come" in doubt_texts(trip.doubts)[0]


def test_who_has_only_just_left_is_not_missed_yet() -> None:
    table = pair_trips([*rounds(2), note(60, "missed", "yellow")], hunt())

    assert left_over(table) == {"missed-yellow-60": "she was not known to be away then"}
    assert used(table) == [("yellow", 300)]


def test_a_long_visit_may_hide_a_trip() -> None:
    visit = pair_trips(without(rounds(6), 3, 4), hunt()).visits[1]

    assert (visit.visit_s, visit.used) == (420, False)
    assert "much longer than usual" in doubt_texts(visit.doubts)[0]


def test_who_lands_in_the_second_she_is_missed_was_away_till_then() -> None:
    table = pair_trips([*rounds(2), note(360, "missed", "yellow")], hunt())

    assert left_over(table) == {}


@pytest.mark.parametrize(("longer_s", "long"), [(150, False), (170, True)])
def test_a_visit_is_long_beyond_three_times_the_usual(
    longer_s: int, *, long: bool
) -> None:
    events = rounds(6, visit=80)  # usual: 80 s, so long beyond 240 s
    last = [
        note(2280, "back", "yellow"),
        note(2360 + longer_s, "away", "yellow"),
    ]
    table = pair_trips([*events, *last], hunt())

    assert table.visits[-1].visit_s == 80 + longer_s
    assert [d.code for d in table.visits[-1].doubts] == [DoubtCode.LONG_VISIT] * long


def test_nothing_is_paired_over_night() -> None:
    next_day = [
        replace(e, clock=e.clock + timedelta(days=1)) for e in rounds(2) if e.clock
    ]

    apart = pair_trips(rounds(2) + next_day, hunt())
    same = pair_trips(rounds(2) + next_day, hunt(same_bee=["Yellow"]))

    assert used(apart) == [("yellow 14 Jul", 300), ("yellow 15 Jul", 300)]
    assert len(apart.trips) == 2
    assert used(same) == [("yellow", 300), ("yellow", 300)]
    assert [doubt_texts(t.doubts) for t in same.trips if not t.used] == [("overnight",)]


def test_midnight_and_a_clock_change_do_not_break_a_trip() -> None:
    # 2026-10-25, 01:59:59 BST is followed by 01:00:00 GMT.
    change = datetime(2026, 10, 25, 0, 58, tzinfo=UTC).astimezone(LONDON)
    midnight = datetime(2026, 7, 14, 23, 58, tzinfo=LONDON)
    for start in (change, midnight):
        moments = [start.astimezone(UTC) + timedelta(seconds=s) for s in (0, 300)]
        events = [
            replace(note(0, kind, "red"), clock=m.astimezone(LONDON))
            for kind, m in zip(("away", "back"), moments, strict=True)
        ]

        assert only(pair_trips(events, hunt())).away_s == 300


def test_a_pause_makes_a_gap_an_upper_bound() -> None:
    watched = rounds(5)
    pause = [note(500, "pause"), note(620, "resume")]
    long_pause = [note(440, "pause"), note(1100, "resume")]

    short = pair_trips(watched + pause, hunt()).trips[1]
    long = pair_trips(without(watched, 4, 5) + long_pause, hunt()).trips[1]

    assert (short.used, len(doubt_texts(short.doubts))) == (True, 1)
    assert "not longer than usual, so used" in doubt_texts(short.doubts)[0]
    assert (long.away_s, long.used) == (660, False)
    assert "upper bound only" in doubt_texts(long.doubts)[0]


def test_a_pause_too_short_to_hide_a_visit_does_no_harm() -> None:
    events = [*rounds(3), note(500, "pause"), note(520, "resume")]

    assert all(not doubt_texts(t.doubts) for t in pair_trips(events, hunt()).trips)


def test_a_pause_that_begins_as_she_lands_does_no_harm() -> None:
    events = [*rounds(2), note(360, "pause"), note(600, "resume")]

    trip = pair_trips(events, hunt()).trips[0]

    assert (trip.away_s, trip.used, trip.doubts) == (300, True, ())


def test_a_pause_that_nobody_ended_lasts_to_the_next_bee() -> None:
    table = pair_trips([*rounds(3), note(500, "pause")], hunt())

    assert "nobody was watching" in doubt_texts(table.trips[1].doubts)[0]
    assert "was not ended by a resume" in doubt_texts(table.doubts)[0]


def doubted(event: Event) -> Event:
    flag = "heard with little confidence (0.70)"
    return replace(event, confidence=0.7, flags=read_flags([flag]))


def bees_used(table: TripTable) -> list[tuple[str, str, float]]:
    return sorted((t.bee, t.station, t.away_s) for t in table.trips if t.used)


@pytest.mark.parametrize("ended", [True, False])
def test_a_flagged_pause_takes_no_trip_away(*, ended: bool) -> None:
    both = [*rounds(2), *rounds(2, "white", first=5)]
    plain = pair_trips(both, hunt())
    pause = note(100, "pause")
    resume = [note(200, "resume")] if ended else []

    table = pair_trips([*both, doubted(pause), *resume], hunt())

    assert bees_used(table) == bees_used(plain)
    assert all(not doubt_texts(trip.doubts) for trip in table.trips)
    assert any(
        "not believed until its row is kept" in text
        for text in doubt_texts(table.doubts)
    )
    kept = pair_trips([*both, pause, *resume], hunt())
    assert bees_used(kept) == []  # what a sure pause does


def test_a_flagged_resume_does_not_end_a_pause() -> None:
    events = [*rounds(5), note(440, "pause"), note(1100, "resume")]
    early = doubted(note(450, "resume"))

    assert bees_used(pair_trips([*events, early], hunt())) == bees_used(
        pair_trips(events, hunt())
    )


def test_a_flagged_scratch_takes_nothing_back() -> None:
    events = rounds(3)
    scratch = doubted(note(61, "scratch"))

    table = pair_trips([*events, scratch], hunt())

    assert bees_used(table) == bees_used(pair_trips(events, hunt()))
    assert left_over(table)["scratch--61"].startswith("it was heard with doubt")


def test_a_flagged_station_moves_no_sure_note() -> None:
    events = [note(-5, "station", "", "1"), *rounds(3)]
    moved = doubted(note(200, "station", "", "2"))

    table = pair_trips([*events, moved], hunt("1", "2"))

    assert {t.station for t in table.trips} == {"1"}
    assert all(
        t.used and "not believed yet" in doubt_texts(t.doubts)[0]
        for t in table.trips[1:]
    )
    assert any(
        "count for station 1 until its row is kept" in d
        for d in doubt_texts(table.doubts)
    )


@pytest.mark.parametrize(("second", "kind"), [(520, "back"), (560, "away")])
def test_a_flagged_note_cuts_up_no_trip_that_sure_notes_tell(
    second: float, kind: str
) -> None:
    events = rounds(6)
    odd = doubted(note(second, kind, "yellow"))

    table = pair_trips([*events, odd], hunt())

    assert bees_used(table) == bees_used(pair_trips(events, hunt()))
    assert "surer notes" in left_over(table)[f"{kind}-yellow-{second}"]


def test_a_flagged_missed_return_takes_no_trip_away() -> None:
    events = without(rounds(6), 6, 7)  # one gap holds two trips
    plain = pair_trips(events, hunt())
    missed = note(900, "missed", "yellow")

    table = pair_trips([*events, doubted(missed)], hunt())

    assert bees_used(table) == bees_used(plain)
    assert left_over(table)["missed-yellow-900"].startswith("heard with doubt")
    assert bees_used(pair_trips([*events, missed], hunt())) != bees_used(plain)


def test_flagged_notes_do_not_bend_what_is_usual() -> None:
    sure = rounds(5)
    odd = [doubted(e) for e in rounds(4, first=3000, away=100)]
    long = [note(6000, "away", "yellow"), note(6560, "back", "yellow")]

    table = pair_trips([*sure, *odd, *long], hunt())

    (last,) = (t for t in table.trips if t.away_s == 560)
    assert any(
        "against the usual 5:00 min" in doubt for doubt in doubt_texts(last.doubts)
    )


def test_flagged_notes_still_fill_what_sure_ones_leave_open() -> None:
    events = rounds(6)
    fill = [doubted(e) if i in {4, 5} else e for i, e in enumerate(events)]

    assert bees_used(pair_trips(fill, hunt())) == bees_used(pair_trips(events, hunt()))


def test_a_gap_between_recordings_is_unwatched() -> None:
    first = [replace(e, recording="a.m4a") for e in rounds(3)]
    second = [replace(e, recording="b.m4a") for e in rounds(3, first=1500)]

    table = pair_trips(first + second, hunt())

    (gap,) = (t for t in table.trips if t.away_s == 720)
    assert not gap.used
    assert "between two recordings" in doubt_texts(gap.doubts)[0]


def test_unmarked_and_unnamed_bees_are_never_paired() -> None:
    events = [
        note(0, "back", "unmarked"),
        note(60, "away", "unmarked"),
        note(300, "back", "unmarked"),
        note(400, "back"),
    ]

    table = pair_trips(events, hunt())

    assert (table.trips, table.visits) == ((), ())
    assert set(left_over(table).values()) == {
        "unmarked bees cannot be told apart",
        "no bee is named",
    }


def test_two_bees_of_one_mark_are_told_apart_by_their_times() -> None:
    events = rounds(5) + rounds(5, first=30, away=380)

    table = pair_trips(events, hunt())

    assert doubt_texts(table.doubts) == ("two bees wear yellow: yellow, yellow (2)",)
    assert {t.bee: t.away_s for t in table.trips} == {"yellow": 300, "yellow (2)": 380}
    assert {b for b, _ in used(table)} == {"yellow", "yellow (2)"}


def test_two_bees_that_cannot_be_told_apart_are_not_used() -> None:
    events = rounds(5) + rounds(5, first=30)

    table = pair_trips(events, hunt())

    assert "two bees wear yellow" in doubt_texts(table.doubts)[0]
    assert used(table) == []
    assert all("could be either" in doubt_texts(t.doubts)[0] for t in table.trips)


def test_a_bee_that_circles_and_lands_again_makes_no_trip() -> None:
    events = [*rounds(2), note(790, "back", "yellow"), note(800, "away", "yellow")]
    events += [note(787, "away", "yellow"), note(1100, "back", "yellow")]
    events = [e for e in events if e.row != "back-yellow-790"]
    events.append(note(70, "back", "yellow"))
    events.append(note(95, "away", "yellow"))

    table = pair_trips(events, hunt())

    short = [t for t in table.trips if t.away_s == 10]
    assert [t.used for t in short] == [False]
    assert "too short for a trip" in doubt_texts(short[0].doubts)[0]


@pytest.mark.parametrize(("away_s", "too_short"), [(29, True), (30, False)])
def test_half_a_minute_is_the_shortest_trip(away_s: int, *, too_short: bool) -> None:
    trip = only(
        pair_trips([note(0, "away", "red"), note(away_s, "back", "red")], hunt())
    )

    assert trip.used is not too_short
    assert [d.code for d in trip.doubts] == [DoubtCode.TOO_SHORT] * too_short


def test_a_doubtful_note_that_fits_nothing_is_not_believed() -> None:
    wrong = replace(
        note(75, "back", "yellow"), flags=(Flag.of(FlagCode.HARDLY_HEARD, "0.41"),)
    )

    table = pair_trips([*rounds(3), wrong], hunt())

    assert used(table) == [("yellow", 300), ("yellow", 300)]
    assert left_over(table)["back-yellow-75"].startswith("does not fit")
    assert doubt_texts(table.trips[0].doubts) == (
        "a note between was not believed (back-yellow-75)",
    )


def test_the_same_note_said_twice_counts_once() -> None:
    table = pair_trips([*rounds(2), note(364, "back", "yellow")], hunt())

    assert used(table) == [("yellow", 300)]
    assert left_over(table)["back-yellow-364"] == "the same was said just before"


@pytest.mark.parametrize(("later_s", "landings"), [(10, 1), (11, 2)])
def test_a_note_is_said_twice_within_ten_seconds(later_s: int, landings: int) -> None:
    events = [note(0, "back", "yellow"), note(later_s, "back", "yellow")]

    table = pair_trips(events, hunt())

    repeated = [u for u in table.unpaired if u.why.code is DoubtCode.SAID_TWICE]
    assert len(events) - len(repeated) == landings


def test_scratch_takes_back_the_last_note() -> None:
    events = [*rounds(2), note(200, "back", "yellow"), note(203, "scratch")]

    table = pair_trips(events, hunt())

    assert used(table) == [("yellow", 300)]
    assert left_over(table)["back-yellow-200"] == "taken back by a scratch"
    assert doubt_texts(table.doubts) == ("1 note was taken back by a scratch",)


def test_a_scratch_with_nothing_before_it() -> None:
    table = pair_trips([note(0, "scratch")], hunt())

    assert left_over(table) == {
        "scratch--0": "there was no note before it to take back"
    }


def test_flags_of_the_notes_become_doubts_of_the_trip() -> None:
    events = rounds(2)
    events[1] = replace(events[1], flags=(Flag.of(FlagCode.HARDLY_HEARD, "0.41"),))

    table = pair_trips(events, hunt())
    assert doubt_texts(table.trips[0].doubts) == (
        "away-yellow-60: heard with little confidence (0.41)",
    )


def test_a_time_that_is_doubtful_for_a_paused_recorder_is_not_used() -> None:
    events = rounds(3)
    events[2] = replace(
        events[2], flags=(Flag.of(FlagCode.RECORDER_PAUSED, "10:00", "10:30", "9"),)
    )

    table = pair_trips(events, hunt())

    assert [t.used for t in table.trips] == [False, True]
    assert "recorder seems to have been paused" in doubt_texts(table.trips[0].doubts)[0]


def test_a_trip_over_a_stopped_recorder_is_good_to_a_minute() -> None:
    away = replace(note(0, "away", "red"), recording="a.ogg", start_s=10.0)
    back = replace(note(300, "back", "red"), recording="a.ogg", start_s=110.0)

    trip = only(pair_trips([away, back], hunt()))

    assert (trip.away_s, trip.used, trip.rounding_s) == (300, True, 60)
    assert doubt_texts(trip.doubts) == (
        "the recorder was stopped meanwhile; good to a minute",
    )


@pytest.mark.parametrize("sound_s", [300.0, 270.0])
def test_a_trip_in_sound_that_ran_on_is_exact(sound_s: float) -> None:
    away = replace(note(0, "away", "red"), recording="a.ogg", start_s=10.0)
    back = replace(note(300, "back", "red"), recording="a.ogg", start_s=10 + sound_s)

    trip = only(pair_trips([away, back], hunt()))

    assert (trip.away_s, trip.used, trip.rounding_s, trip.doubts) == (300, True, 0, ())


def test_a_long_gap_over_a_stopped_recorder_is_not_used() -> None:
    events = [
        replace(e, recording="a.ogg", start_s=i * 20.0)
        for i, e in enumerate(without(rounds(6), 4, 5))
    ]

    (trip,) = (t for t in pair_trips(events, hunt()).trips if t.away_s == 660)

    assert not trip.used
    assert "the recorder was stopped meanwhile" in doubt_texts(trip.doubts)[-1]


def test_the_station_in_force() -> None:
    events = [note(-5, "station", "", "1"), *rounds(2), note(900, "away", "red")]
    events += [
        note(1100, "back", "red"),
        note(1000, "station", "", "2"),
        *rounds(2, first=1010),
    ]

    table = pair_trips(events, hunt("1", "2"))

    assert [(t.station, t.away_s) for t in table.trips] == [("1", 300), ("2", 300)]
    assert left_over(table)["away-red-900"] == "her colour was next seen at station 2"


def test_nobody_said_a_station() -> None:
    table = pair_trips(rounds(2), hunt("1", "2"))

    assert not only(table).used
    assert doubt_texts(only(table).doubts) == ("no station was said",)
    assert doubt_texts(table.doubts) == (
        "nobody said at which station 4 notes were taken",
    )


def test_a_station_that_is_not_in_the_hunt() -> None:
    table = pair_trips([note(-5, "station", "", "7"), *rounds(2)], hunt("1", "2"))

    assert not only(table).used
    assert doubt_texts(table.doubts) == (
        "station 7 was said but is not in hunt.toml, which has 1, 2",
    )


def test_two_recorders_at_two_stations_at_once() -> None:
    one = [replace(e, recording="2026-07-14_1000_station-1.ogg") for e in rounds(3)]
    two = [
        replace(e, recording="b.ogg")
        for e in [note(1, "station", "", "2"), *rounds(3, first=7, away=500)]
    ]

    table = pair_trips(one + two, hunt("1", "2"))

    assert {(t.station, t.away_s, t.used) for t in table.trips} == {
        ("1", 300, True),
        ("2", 500, True),
    }


def test_a_station_said_late_counts_for_the_recording_with_a_doubt() -> None:
    events = [replace(e, recording="a.ogg") for e in rounds(2)]
    late = replace(note(900, "station", "", "2"), recording="a.ogg")

    trip = only(pair_trips([*events, late], hunt("1", "2")))

    assert (trip.station, trip.used) == ("2", True)
    assert doubt_texts(trip.doubts) == ("the station was said only later",)


def at_two_stations(*between: Event, second: float = 1500) -> list[Event]:
    return [
        note(-5, "station", "", "1"),
        *rounds(4),
        note(second - 5, "station", "", "2"),
        *between,
        *rounds(4, first=second),
    ]


def test_a_colour_at_another_station_is_left_open() -> None:
    table = pair_trips(at_two_stations(), hunt("1", "2"))

    assert {(b, s) for b, s, _ in bees_used(table)} == {
        ("yellow", "1"),
        ("yellow at 2", "2"),
    }
    assert table.maybe_same == (("yellow", "yellow at 2"),)
    assert any("same_bee = ['yellow']" in doubt for doubt in doubt_texts(table.doubts))


@pytest.mark.parametrize(
    "events",
    [
        at_two_stations(note(1490, "mark", "yellow")),
        at_two_stations(second=1440 + 3 * 3600),
    ],
    ids=["painted there", "hours between"],
)
def test_a_colour_painted_anew_is_another_bee(events: list[Event]) -> None:
    table = pair_trips(events, hunt("1", "2"))

    assert {b for b, _, _ in bees_used(table)} == {"yellow", "yellow at 2"}
    assert table.maybe_same == ()


def test_same_bee_is_one_bee_at_every_station() -> None:
    table = pair_trips(at_two_stations(), hunt("1", "2", same_bee=["yellow"]))

    assert {b for b, _, _ in bees_used(table)} == {"yellow"}
    assert table.maybe_same == ()


def by(recording: str, events: list[Event]) -> list[Event]:
    return [replace(e, recording=recording) for e in events]


TWO_OBSERVERS = [
    {"name": "ann*.m4a", "observer": "Ann", "station": "1"},
    {"name": "bob*.m4a", "observer": "Bob", "station": "2"},
]


@pytest.mark.parametrize("same_bee", [[], ["yellow"]])
@pytest.mark.parametrize("named", [True, False])
def test_the_same_colour_at_two_stations_at_once_is_two_bees(
    *, named: bool, same_bee: list[str]
) -> None:
    one = by("ann 1.m4a", [note(-5, "station", "", "1"), *rounds(4)])
    two = by("bob 1.m4a", [note(1, "station", "", "2"), *rounds(4, first=7, away=500)])
    recording = TWO_OBSERVERS if named else []

    table = pair_trips(
        one + two, hunt("1", "2", recording=recording, same_bee=same_bee)
    )

    # The same words within ten seconds of each other: neither drops the other's.
    assert [(s, a) for _, s, a in bees_used(table)].count(("1", 300)) == 3
    assert [(s, a) for _, s, a in bees_used(table)].count(("2", 500)) == 3
    assert len({b for b, _, _ in bees_used(table)}) == 2
    assert table.maybe_same == ()


def test_each_observer_has_a_station_bearings_and_a_pause_of_their_own() -> None:
    one = by("ann 1.m4a", [*rounds(2), note(61, "bearing", "yellow", "210")])
    two = by("bob 1.m4a", [*rounds(2, first=1), note(64, "bearing", "", "100")])
    pause = by("bob 1.m4a", [note(90, "pause"), note(400, "resume")])

    table = pair_trips(one + two + pause, hunt("1", "2", recording=TWO_OBSERVERS))

    told = {(x.observer, x.station, x.bee, x.bearing_read_deg) for x in table.lines}
    assert told == {
        ("Ann", "1", "yellow of Ann", 210.0),
        ("Bob", "2", "yellow of Bob", 100.0),
    }
    assert {b for b, _, _ in bees_used(table) if b.endswith("Ann")}
    assert not any(t.used for t in table.trips if t.station == "2")
    assert all(t.used for t in table.trips if t.station == "1")


def test_a_pause_of_one_observer_is_none_of_the_other_at_the_same_station() -> None:
    told = [{**one, "station": "1"} for one in TWO_OBSERVERS]
    one = by("ann 1.m4a", rounds(2))
    two = by("bob 1.m4a", rounds(2, "white", first=1))
    pause = by("bob 1.m4a", [note(90, "pause"), note(300, "resume")])

    table = pair_trips(one + two + pause, hunt("1", "2", recording=told))

    assert [(t.mark, t.used) for t in table.trips] == [
        ("yellow", True),
        ("white", False),
    ]


def test_a_recording_without_a_station_is_doubted_and_named() -> None:
    first = by("a.m4a", [note(-5, "station", "", "1"), *rounds(3)])
    second = by("b.m4a", rounds(3, first=4000))

    table = pair_trips(first + second, hunt("1", "2"))

    late = [t for t in table.trips if t.from_clock and t.from_clock > at(3000)]
    assert [t.station for t in late] == ["1", "1"]
    assert all("no station was said in b.m4a" in doubt_texts(t.doubts)[0] for t in late)
    assert any(
        "no station was said in b.m4a: its 6 notes" in d
        for d in doubt_texts(table.doubts)
    )
    (assumed,) = table.assumed
    assert (assumed.recording, assumed.station, assumed.notes) == ("b.m4a", "1", 6)


def test_hunt_toml_gives_a_recording_its_station() -> None:
    first = by("a.m4a", [note(-5, "station", "", "1"), *rounds(3)])
    second = by("b.m4a", rounds(3, first=4000))
    told = [{"name": "b.m4a", "station": "2"}]

    table = pair_trips(first + second, hunt("1", "2", recording=told))

    assert {s for _, s, _ in bees_used(table)} == {"1", "2"}
    assert table.assumed == ()


def test_bees_of_a_known_hive_are_left_out() -> None:
    hive = {"name": "Upper Yard", "position": "52.31, -3.6", "marks": ["yellow"]}

    trip = only(pair_trips(rounds(2), hunt(known_hive=[hive])))

    assert not trip.used
    assert doubt_texts(trip.doubts) == ("yellow is from Upper Yard, which is known",)


def test_a_stated_duration_is_a_trip_unless_it_was_timed() -> None:
    events = [
        *rounds(2),
        note(380, "duration", "yellow", "away 300"),
        note(900, "duration", "red", "away 330"),
        note(950, "duration", "red", "round 400"),
        note(960, "duration", "", "away 330"),
        note(970, "duration", "red", "soon"),
    ]

    table = pair_trips(events, hunt())

    stated = [t for t in table.trips if t.stated]
    assert [(t.bee, t.away_s, t.timing, t.rounding_s, t.used) for t in stated] == [
        ("yellow", 300, "away", 60, False),
        ("red", 330, "away", 30, True),
        ("red", 400, "round", 10, True),
    ]
    assert (
        "was timed as well (away-yellow-60, back-yellow-360)"
        in doubt_texts(stated[0].doubts)[0]
    )
    assert left_over(table)["duration--960"].startswith("no marked bee is named")
    assert left_over(table)["duration-red-970"] == "'soon' is no duration"


@pytest.mark.parametrize(
    ("stated_s", "code"),
    [
        (240, DoubtCode.TIMED_AS_WELL),  # a minute less than the 300 s timed
        (239, DoubtCode.TIMED_OTHERWISE),
        (400, DoubtCode.TIMED_AS_WELL),  # a quarter of itself more
        (401, DoubtCode.TIMED_OTHERWISE),
    ],
)
def test_a_stated_trip_agrees_with_a_timed_one_to_a_minute_or_a_quarter(
    stated_s: int, code: DoubtCode
) -> None:
    events = [*rounds(2), note(380, "duration", "yellow", f"away {stated_s}")]

    (stated,) = [t for t in pair_trips(events, hunt()).trips if t.stated]

    assert [d.code for d in stated.doubts] == [code]


@pytest.mark.parametrize(("stated_s", "used"), [(405, False), (700, True)])
def test_a_trip_stated_beside_her_leaving_counts_once(
    stated_s: int, *, used: bool
) -> None:
    events = [
        note(0, "station", "", "1"),
        note(60, "away", "yellow"),
        note(60, "duration", "yellow", f"away {stated_s}"),  # "Y out, 6:45 away"
        note(480, "back", "yellow"),
    ]

    (stated,) = [t for t in pair_trips(events, hunt()).trips if t.stated]

    assert stated.used is used


@pytest.mark.parametrize("stated", ["away 1", "away 29", "round 59"])
def test_a_stated_trip_too_short_for_any_is_not_used(stated: str) -> None:
    events = [note(0, "station", "", "1"), note(380, "duration", "yellow", stated)]

    (trip,) = [t for t in pair_trips(events, hunt()).trips if t.stated]

    assert not trip.used
    assert [d.code for d in trip.doubts] == [DoubtCode.NO_TIME_FOR_A_TRIP]


def test_of_two_timed_trips_a_stated_one_tells_of_the_one_of_its_length() -> None:
    events = [
        *rounds(1),
        note(360, "back", "yellow"),
        note(370, "away", "yellow"),
        note(470, "back", "yellow"),
        note(480, "duration", "yellow", "away 300"),
    ]

    table = pair_trips(events, hunt())

    (stated,) = [t for t in table.trips if t.stated]
    assert [(d.code, d.rows) for d in stated.doubts] == [
        (DoubtCode.TIMED_AS_WELL, ("away-yellow-60", "back-yellow-360"))
    ]


def test_a_bee_without_a_clock_is_left_over() -> None:
    table = pair_trips([replace(note(0, "back", "red"), clock=None)], hunt())

    assert left_over(table) == {"back-red-0": "nothing tells when this was"}
    assert doubt_texts(table.doubts) == ("1 note has no clock time",)


def test_everything_is_in_order_of_time_and_utc() -> None:
    table = pair_trips(rounds(3, "red", first=50) + rounds(3), hunt())

    times = [t.from_clock for t in table.trips if t.from_clock]
    assert times == sorted(times, key=lambda c: c.timestamp())


# Properties -------------------------------------------------------------------------

EVENTS = st.lists(
    st.builds(
        note,
        st.integers(0, 400).map(lambda n: n * 7.0),
        st.sampled_from([k.value for k in EventKind]),
        st.sampled_from(["", "yellow", "red", "unmarked"]),
        st.sampled_from(["", "1", "2", "210", "away 330", "light 225", "SW", "\u0663"]),
    ),
    max_size=40,
).map(lambda events: [replace(e, row=f"r{i}") for i, e in enumerate(events)])


@settings(max_examples=examples(150), deadline=None)
@given(EVENTS)
def test_no_events_crash_it_and_every_note_is_accounted_for(
    events: list[Event],
) -> None:
    table = pair_trips(events, hunt("1", "2"))

    told = {u.row for u in table.unpaired}
    told |= {r for t in table.trips for r in (t.away_row, t.back_row)}
    told |= {r for v in table.visits for r in (v.away_row, v.back_row)}
    told |= {line.row for line in table.lines}
    must = {"back", "away", "bearing", "duration"}
    assert {e.row for e in events if e.kind in must} <= told
    assert all(t.away_s >= 0 and t.cycles >= 1 for t in table.trips)
    assert all(v.visit_s >= 0 for v in table.visits)
    assert all(doubt_texts(t.doubts) for t in table.trips if not t.used)
    assert all(doubt_texts(v.doubts) for v in table.visits if not v.used)
    assert all(doubt_texts(line.doubts) for line in table.lines if not line.used)


@settings(max_examples=examples(60), deadline=None)
@given(EVENTS, st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(events: list[Event], random: Random) -> None:
    shuffled = list(events)
    random.shuffle(shuffled)

    assert pair_trips(shuffled, hunt("1", "2")) == pair_trips(events, hunt("1", "2"))


@settings(max_examples=examples(60), deadline=None)
@given(EVENTS, st.integers(0, 6 * 60))
def test_the_time_of_day_does_not_matter(events: list[Event], minutes: int) -> None:
    later = [
        replace(e, clock=e.clock + timedelta(minutes=minutes))
        for e in events
        if e.clock
    ]

    one, two = pair_trips(events, hunt("1")), pair_trips(later, hunt("1"))

    assert [(t.bee, t.away_s, t.used, t.cycles) for t in one.trips] == [
        (t.bee, t.away_s, t.used, t.cycles) for t in two.trips
    ]
    assert [(v.visit_s, v.used) for v in one.visits] == [
        (v.visit_s, v.used) for v in two.visits
    ]
    assert [doubt_text(u.why) for u in one.unpaired] == [
        doubt_text(u.why) for u in two.unpaired
    ]


@pytest.mark.parametrize(
    ("first_s", "observers", "doubted"),
    [
        (60, (), True),
        (60, ("Ann", "Bryn"), False),
        (60, ("Ann", "Ann"), True),
        (60, ("Ann", ""), False),
        (3600, (), False),
    ],
)
def test_two_recordings_at_two_stations_at_once_raise_a_doubt(
    first_s: float, observers: tuple[str, ...], doubted: bool
) -> None:
    events = [
        replace(event, recording=f"{station}.wav")
        for station, first in (("1", 0.0), ("2", first_s))
        for event in [
            note(first - 5, "station", value=station),
            *rounds(3, f"red {station}", first=first),
        ]
    ]
    told = [{"name": f"{n}.wav", "observer": who} for n, who in enumerate(observers, 1)]
    table = pair_trips(events, hunt("1", "2", recording=told))
    said = [d for d in table.doubts if d.code is DoubtCode.TWO_AT_ONCE]
    assert len(said) == doubted
    if doubted:
        assert doubt_text(said[0]) == (
            "two recordings at two stations at once (1.wav at 1, 2.wav at 2): name "
            "the observers under [[recording]] in hunt.toml"
        )


def test_flights_with_the_sun_down_raise_a_doubt() -> None:
    def moved(seconds: float) -> list[Event]:
        return [
            replace(e, clock=at(seconds + n * 120)) for n, e in enumerate(rounds(3))
        ]

    day = pair_trips(rounds(3), hunt())
    night = pair_trips(moved(-9 * 3600), hunt())
    # Sunset there was at 21:29 summer time, civil dusk at 22:17.
    evening, dusk = (pair_trips(moved(s * 60), hunt()) for s in (665, 695))

    fine = doubt_texts((*day.doubts, *evening.doubts))
    assert not any("sun down" in doubt for doubt in fine)
    assert (
        "6 notes are of bees flying with the sun down, the first at 14 Jul 01:00"
        in " ".join(doubt_texts(night.doubts))
    )
    assert "with the sun down, the first at 14 Jul 21:35" in " ".join(
        doubt_texts(dusk.doubts)
    )


def test_the_evening_is_day_until_the_sun_sets() -> None:
    # At 52.3 N, 3.6 W on 14 July 2026 the sun sets at 21:30, by `astral` itself: this
    # checks what is made of it, not the sun.
    before = pair_trips([note(40_800, "away", "red")], hunt())  # 21:20
    after = pair_trips([note(42_600, "away", "red")], hunt())  # 21:50

    assert not any(d.code is DoubtCode.IN_THE_DARK for d in before.doubts)
    assert any(d.code is DoubtCode.IN_THE_DARK for d in after.doubts)


def test_days_that_lie_months_apart_raise_a_doubt() -> None:
    late = [replace(e, clock=at(112 * 86_400 + n * 300)) for n, e in
            enumerate(rounds(2))]  # fmt: skip

    table = pair_trips([*rounds(2), *late], hunt())

    assert any(
        "lie 112 days apart: are both days right?" in d
        for d in doubt_texts(table.doubts)
    )
