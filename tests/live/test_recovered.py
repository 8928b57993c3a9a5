"""What a killed session left is found by the next command, whichever it is."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
import soundfile
from click.testing import CliRunner

from drawing import mostly_slow
from live import stand_in
from treeward import cli
from treeward.audio.recorder import Recorder
from treeward.cli import locate, transcribe
from treeward.cli.transcribe import review_command
from treeward.errors import HuntError
from treeward.hunt.hunt import Hunt
from treeward.hunt.journal import Journal, event_record
from treeward.hunt.recovery import journals_dir
from treeward.language.kinds import EventKind
from treeward.live.opening import only_listener, recover_sessions
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from pathlib import Path

    import click

    from treeward.audio import Block

NAME = "live-20260714-102000-station-1"
START = datetime(2026, 7, 14, 9, 20, tzinfo=UTC)
NOTES = [
    (1.0, "red", "away"),
    (3.0, "blue", "away"),
    (5.0, "red", "back"),
    (7.0, "white", "away"),
]


class Knowing:
    """An engine that knows what was said when, and hears `said` of it."""

    name, model = "knowing", "1"

    def __init__(self, said: list[tuple[float, str, str]]) -> None:
        self._said = said

    def decode(self, stretch: Block) -> Utterance | None:
        start_s, end_s = stretch.start_s, stretch.end_s
        words = tuple(
            Word(
                text=f"{mark} {kind}",
                start_s=second + 0.05,
                end_s=second + 0.4,
                confidence=0.95,
                source=WordSource.PHRASE,
            )
            for second, mark, kind in self._said
            if start_s <= second < end_s
        )
        return Utterance(words=words, start_s=start_s, end_s=end_s) if words else None


def hear_again(
    hunt_dir: Path,
    monkeypatch: pytest.MonkeyPatch,
    said: list[tuple[float, str, str]],
) -> str:
    monkeypatch.setattr(
        "treeward.speech.recognizer.open_recognizer", lambda *_a, **_k: Knowing(said)
    )
    arguments = ["--hunt", str(hunt_dir), "--jobs", "1"]
    done = CliRunner().invoke(transcribe.transcribe_command, arguments)
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.fixture
def killed(hunt_dir: Path) -> Path:
    """A hunt with a session that was killed after three of its notes."""
    journal = Journal(journals_dir(hunt_dir) / f"{NAME}.jsonl")
    journal.write(
        {"type": "session", "recording": f"{NAME}.flac", "start": START.isoformat()}
    )
    for number, (second, mark, kind) in enumerate(NOTES[:3]):
        event = Event(
            kind=EventKind(kind),
            mark=mark,
            recording=f"{NAME}.flac",
            start_s=second,
            end_s=second + 0.4,
            clock=START + timedelta(seconds=second),
            confidence=0.9,
            heard=f"{mark} {kind}",
        )
        journal.write(event_record(event, number))
    keeper = Recorder(journals_dir(hunt_dir) / NAME)
    keeper.begin(0.0)
    keeper.write(stand_in.spoken_at(NOTES, 9.0))
    keeper.wait()
    keeper.close()
    journal.close()
    return hunt_dir


def events(hunt_dir: Path) -> list[tuple[str, str]]:
    with (hunt_dir / "review.csv").open(encoding="utf-8-sig", newline="") as file:
        return [(row["mark"], row["event"]) for row in csv.DictReader(file)]


@pytest.mark.parametrize(
    "command",
    mostly_slow(
        [locate.trips_command, locate.locate_command, review_command],
        quick=[locate.trips_command, review_command],
    ),
)
def test_the_next_command_recovers_a_killed_session_and_says_so(
    killed: Path, command: click.Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cli, "SILENT_S", 60.0)  # on a slow machine too
    first = CliRunner().invoke(command, ["--hunt", str(killed), "--json"])
    second = CliRunner().invoke(command, ["--hunt", str(killed), "--json"])

    assert "was cut short: 3 notes recovered" in first.stderr
    assert "recovered" not in first.stdout
    assert second.stderr == ""
    assert events(killed) == [("red", "away"), ("blue", "away"), ("red", "back")]
    sound = killed / "recordings" / f"{NAME}.flac"
    assert soundfile.info(sound).duration == pytest.approx(9.0)


def test_a_second_pass_adds_what_was_missed_and_keeps_what_was_changed(
    killed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recover_sessions(Hunt(killed))
    path = killed / "review.csv"
    path.write_text(path.read_text("utf-8").replace(",blue,", ",blue-white,"), "utf-8")

    output = hear_again(killed, monkeypatch, NOTES)

    assert "1 of your changes kept" in output
    assert events(killed) == [
        ("red", "away"),
        ("blue-white", "away"),
        ("red", "back"),
        ("white", "away"),
    ]
    clocks = [row.event.clock for row in Hunt(killed).rows()]
    for clock, (second, _, _) in zip(clocks, NOTES, strict=True):
        assert clock is not None
        assert (clock - START).total_seconds() == pytest.approx(second, abs=0.5)


def test_no_note_that_was_answered_is_lost_in_a_second_pass(
    killed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    others = [(1.0, "red", "away"), (5.0, "green", "back")]

    hear_again(killed, monkeypatch, others)

    rows = Hunt(killed).rows()
    assert [(row.event.mark, row.event.kind.value) for row in rows] == [
        ("red", "away"),
        ("blue", "away"),
        ("green", "back"),
    ]
    assert [r.event.has(FlagCode.HEARD_ONLY_LIVE) for r in rows] == [False, True, False]
    assert Flag.of(FlagCode.HEARD_LIVE_AS, "'red back'") in rows[2].event.flags
    assert all(row.event.clock is not None for row in rows)


def test_while_somebody_listens_nothing_is_touched(killed: Path) -> None:
    with only_listener(killed):
        lines = recover_sessions(Hunt(killed))

    assert lines == ["treeward listen is at work here; its notes come when it ends"]
    assert not (killed / "review.csv").exists()


def test_a_hunt_that_was_never_listened_to_is_left_alone(hunt_dir: Path) -> None:
    assert recover_sessions(Hunt(hunt_dir)) == []
    assert not (hunt_dir / ".treeward").exists()


@pytest.mark.slow
def test_another_command_at_work_is_told_and_nothing_is_lost(killed: Path) -> None:
    hunt = Hunt(killed)
    with hunt.locked(), pytest.raises(HuntError, match="is at work on this hunt"):
        recover_sessions(hunt)

    assert any("3 notes recovered" in line for line in recover_sessions(hunt))
