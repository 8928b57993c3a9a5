"""Notes put up for review for what they do not fit."""

from __future__ import annotations

from dataclasses import replace

from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.second_look import look_twice, read_again
from treeward.speech.utterances import Alternative


def note(second: float, kind: str, mark: str = "yellow", value: str = "") -> Event:
    return Event(
        kind=EventKind(kind),
        mark=mark,
        value=value,
        start_s=second,
        end_s=second + 1,
        recording="a.m4a",
    )


def flagged(events: list[Event]) -> list[float]:
    return [e.start_s or 0.0 for e in look_twice(events) if e.flags]


def test_two_departures_in_a_row_are_both_put_up() -> None:
    events = [note(0, "away"), note(300, "away"), note(360, "back"), note(420, "away")]

    looked = look_twice(events)

    assert flagged(events) == [0.0, 300.0]
    assert looked[0].flags[0].words == ("the first", "yellow", "5:00")
    assert not looked[0].doubtful  # it was heard well: it still counts in full
    assert look_twice(looked) == looked


def test_others_are_not() -> None:
    plain = [note(0, "away"), note(300, "back"), note(360, "away")]
    two_bees = [note(0, "away"), note(100, "away", "white")]
    twice = [note(0, "away"), note(4, "away")]
    unnamed = [note(0, "away", ""), note(100, "away", "")]
    landings = [note(0, "back"), note(300, "back")]
    two_recorders = [note(0, "away"), replace(note(90, "away"), recording="b.m4a")]

    for events in (plain, two_bees, twice, unnamed, landings, two_recorders):
        assert flagged(events) == []


def test_the_first_note_of_a_recording_without_a_station_is_put_up() -> None:
    events = [note(5, "time", "", "10:01"), note(10, "away"), note(310, "back")]
    said = [note(1, "station", "", "1"), *events]

    looked = look_twice(events, without_station={"a.m4a"})

    assert [bool(e.flags) for e in looked] == [False, True, False]
    assert not any(e.flags for e in look_twice(said, without_station={"a.m4a"}))
    assert not any(e.flags for e in look_twice(events))


def test_a_station_that_the_hunt_does_not_list_is_put_up() -> None:
    said = [note(1, "station", "", "1"), note(9, "station", "", "5")]
    said.append(note(20, "station", "", "Sheepwash"))

    looked = look_twice(said, stations=("1", "2", "sheepwash"))

    assert [flag.sentence for event in looked for flag in event.flags] == [
        "station: 5 is not in hunt.toml, which has 1, 2, sheepwash"
    ]
    assert not looked[1].doubtful
    assert not any(event.flags for event in look_twice(said))


def test_a_time_is_read_again_in_the_order_of_the_sure_ones_about_it() -> None:
    # The recorder was paused after 10:44, 10:50 and 10:53: each is later by more.
    sure = [
        (31, "10:38"),
        (233, "10:43"),
        (488, "10:50"),
        (558, "10:53"),
        (733, "10:58"),
    ]
    doubtful = replace(
        note(293, "time", "", "10:54"),
        heard="time ten fifty four",
        confidence=0.7,
        alternatives=(
            Alternative(text="time ten fifty", confidence=0.25),
            Alternative(text="time ten forty four", confidence=0.2),
        ),
    )
    events = [note(second, "time", "", value) for second, value in sure]
    events.insert(2, doubtful)

    found = read_again(events, flag_below=0.95)

    # 10:50 suits two of the later ones, but 10:50 was said three minutes on.
    assert found[2].value == "10:44"
