from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from treeward.hunt.journal import Journal
from treeward.hunt.recovery import for_review, read_session
from treeward.language.kinds import EventKind
from treeward.live.answer import NOT_KEPT, SAY_AGAIN
from treeward.live.notebook import Notebook, announcement, nearest_dial, sky_of
from treeward.measures import Position
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

ZONE = ZoneInfo("Europe/London")
TEN = datetime(2026, 7, 14, 10, 0, tzinfo=ZONE)
PLACE = Position(latitude_deg=52.3012, longitude_deg=-3.6104)


def at(
    seconds: float, kind: EventKind, mark: str = "red", value: str = "", **more: object
) -> Event:
    event = Event(
        kind=kind,
        mark=mark,
        value=value,
        recording="live.flac",
        start_s=seconds,
        end_s=seconds + 1,
        clock=TEN + timedelta(seconds=seconds),
    )
    return replace(event, **more)  # type: ignore[arg-type]


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    journal = Journal(tmp_path / "live.jsonl")
    yield journal
    journal.close()


@pytest.fixture
def notebook(journal: Journal) -> Notebook:
    return Notebook(journal, lambda clock: sky_of(PLACE, clock.date(), ZONE))


def test_note_is_on_disk_before_there_is_an_answer(
    notebook: Notebook, journal: Journal
) -> None:
    heard, answer = notebook.take([at(0, EventKind.AWAY)], asked_s=1.0)

    assert heard.kept
    assert answer.tones == ("away",)
    assert answer.words == "red away"
    assert answer.asked_s == 1.0
    assert read_session(journal.path).events == heard.events


def test_a_return_is_answered_with_the_away_time(notebook: Notebook) -> None:
    notebook.take([at(0, EventKind.AWAY)])
    notebook.take([at(5, EventKind.AWAY, "blue")])

    _, answer = notebook.take([at(370, EventKind.BACK)])

    assert answer.words == "red back, 6 minutes 10"


def test_one_breath_of_two_notes_gets_both_sounds(notebook: Notebook) -> None:
    notes = [at(0, EventKind.AWAY), at(1, EventKind.BEARING, "red", "210")]

    _, answer = notebook.take(notes)

    assert answer.tones == ("away", "bearing")
    assert answer.words == "red away. red bearing 2 1 0"


def test_scratch_takes_back_the_last_note_and_says_so(notebook: Notebook) -> None:
    notebook.take([at(0, EventKind.AWAY)])
    notebook.take([at(5, EventKind.AWAY, "blue")])

    heard, answer = notebook.take([at(9, EventKind.SCRATCH, "")])

    assert answer.tones == ("scratch",)
    assert answer.words == "taken back: blue away"
    assert heard.taken_back is not None
    assert [event.mark for event in notebook.standing] == ["red"]


def test_scratch_with_nothing_to_take_back(notebook: Notebook) -> None:
    _, answer = notebook.take([at(0, EventKind.SCRATCH, "")])

    assert answer.words == "nothing"


@pytest.mark.parametrize(
    "doubt",
    [
        {"confidence": 0.3},
        {"flags": (Flag.of(FlagCode.NO_VALUE, "bearing", "bearing"),)},
    ],
)
def test_a_doubtful_note_is_asked_for_again(
    notebook: Notebook, doubt: dict[str, object]
) -> None:
    note = replace(at(0, EventKind.BACK), **doubt)  # type: ignore[arg-type]
    heard, answer = notebook.take([note])

    assert heard.doubtful
    assert answer.tones == (SAY_AGAIN,)
    assert answer.words == "say again"


def test_a_hunt_says_below_which_confidence_it_asks_again(journal: Journal) -> None:
    notebook = Notebook(journal, lambda _: None, flag_below=0.8)

    sure, _ = notebook.take([at(0, EventKind.BACK, confidence=0.85)])
    unsure, _ = notebook.take([at(60, EventKind.BACK, "blue", confidence=0.75)])

    assert not sure.doubtful
    assert unsure.doubtful


def test_note_said_again_stands_once_at_its_first_saying(
    notebook: Notebook, journal: Journal
) -> None:
    notebook.take([at(0, EventKind.BACK, "rod", confidence=0.2)])
    _, answer = notebook.take([at(6, EventKind.BACK, "red")])

    assert answer.tones == ("back",)
    assert [(e.mark, e.clock) for e in notebook.standing] == [("red", TEN)]
    session = read_session(journal.path)
    assert [e.mark for e in session.events] == ["rod", "red"]
    assert [e.mark for e in for_review(session)] == ["red"]


def test_a_later_note_of_another_kind_is_no_repetition(notebook: Notebook) -> None:
    notebook.take([at(0, EventKind.BACK, confidence=0.2)])
    notebook.take([at(6, EventKind.AWAY)])
    notebook.take([at(40, EventKind.BACK, "blue")])

    assert len(notebook.standing) == 3


def test_an_answer_never_claims_what_is_not_on_disk(
    notebook: Notebook, journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(journal, "_append", lambda _: False)

    heard, answer = notebook.take([at(0, EventKind.AWAY)])
    monkeypatch.undo()
    written = journal.retry()

    assert not heard.kept
    assert answer.tones == (NOT_KEPT,)
    assert answer.words.startswith("not saved")
    assert written
    assert len(read_session(journal.path).events) == 1


def test_a_note_after_dark_is_flagged(notebook: Notebook) -> None:
    night = at(0, EventKind.BACK, clock=TEN.replace(hour=23))

    heard, _ = notebook.take([night])

    assert heard.events[0].flags == (Flag(FlagCode.AFTER_DARK),)
    assert not heard.doubtful  # it was heard well


def test_a_spoken_time_is_put_on_the_dial_of_the_clock(notebook: Notebook) -> None:
    good = at(0, EventKind.TIME, "", "10:01", clock=TEN.replace(hour=22))
    wrong = at(5, EventKind.TIME, "", "11:15")

    heard, _ = notebook.take([good])
    other, _ = notebook.take([wrong])

    assert heard.events[0].value == "22:01"
    assert heard.events[0].flags == ()
    assert other.events[0].flags == (Flag.of(FlagCode.OTHER_CLOCK, "10:00"),)


@pytest.mark.parametrize(
    ("value", "expected"),
    [("10:00", ("10:00", 0.0)), ("22:03", ("22:03", 42_960.0)), ("", ("", 0.0)),
     ("10:00:30", ("10:00:30", 30.0)), ("9:59", ("09:59", 0.0))],
)  # fmt: skip
def test_nearest_dial(value: str, expected: tuple[str, float]) -> None:
    assert nearest_dial(value, TEN) == expected


def test_station_and_pause_are_followed(notebook: Notebook) -> None:
    notebook.take([at(0, EventKind.STATION, "", "2")])
    notebook.take([at(1, EventKind.PAUSE, "")])
    paused = notebook.watching
    notebook.take([at(2, EventKind.RESUME, "")])

    assert (notebook.station, paused, notebook.watching) == ("2", False, True)


def test_notes_of_the_morning_stay_on_the_board_after_a_restart(
    notebook: Notebook,
) -> None:
    notebook.continue_from([at(0, EventKind.AWAY)])

    _, answer = notebook.take([at(300, EventKind.BACK)])

    assert answer.words == "red back, 5 minutes"
    assert len(notebook.events) == 1  # only what was heard now


def test_last_notes_are_newest_first_and_show_what_was_taken_back(
    notebook: Notebook,
) -> None:
    notebook.take([at(0, EventKind.AWAY)])
    notebook.take([at(5, EventKind.BACK, "blue", confidence=0.1)])
    notebook.take([at(9, EventKind.SCRATCH, "")])

    notes = notebook.last_notes()

    assert [n.text for n in notes] == ["scratch that", "blue back", "red away"]
    assert [n.scratched for n in notes] == [False, True, False]
    assert [n.doubtful for n in notes] == [False, True, False]


def test_sunset_is_announced_before_and_when_it_comes() -> None:
    sky = sky_of(PLACE, TEN.date(), ZONE)
    assert sky.sunset is not None
    assert sky.dusk is not None

    sunset = sky.sunset

    def said(minutes: float) -> str:
        now = sunset + timedelta(minutes=minutes)
        return announcement(sky, now - timedelta(seconds=1), now)

    assert said(-60) == ""
    assert said(-30).startswith("sunset in half an hour")
    assert said(0).startswith("sunset, end of flight")
    assert announcement(sky, sky.sunset, sky.dusk) == ""  # they are home already


def test_the_sun_that_does_not_set_is_no_fault() -> None:
    north = Position(latitude_deg=70.0, longitude_deg=25.0)

    sky = sky_of(north, TEN.date(), ZONE)

    assert sky.sunset is None
    assert not sky.is_dark(TEN.replace(hour=2))
