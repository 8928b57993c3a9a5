"""Whole sessions with stand-in ears: gaps, faults, and our own voice."""

from __future__ import annotations

import threading
import time
from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import soundfile

from live import stand_in
from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.hunt.journal import Journal, read_journal
from treeward.hunt.recovery import recover, without_own_voice
from treeward.language.kinds import EventKind
from treeward.live import ears, intake
from treeward.live.answer import Synthesiser
from treeward.live.board import Office, trips_to_halve
from treeward.live.messages import Alarm, Chunk, Estimate, Snapshot
from treeward.live.notebook import FOUND_WORDS, Calls
from treeward.live.session import Session, Setting
from treeward.live.streams import BlocksSource, RehearsalTime, WatchClock
from treeward.notes.events import Event
from treeward.speech.recognizer import AROUND_S, FRAME_S, Segmenter
from treeward.trips.table import Trip, TripTable

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.live.messages import HeardNotes, Source
    from treeward.live.microphone import Player

ZONE = ZoneInfo("Europe/London")
EMPTY = TripTable(visits=(), trips=(), lines=(), winds=())


class Rig:
    """A session on a temporary hunt, with everything it said and showed."""

    def __init__(self, folder: Path, source: Source, watch: WatchClock) -> None:
        self.folder = folder
        self.source = source
        self.watch = watch
        self.heard: list[HeardNotes] = []
        self.said: list[str] = []
        self.shots: list[Snapshot] = []
        self.journal_path = folder / ".treeward" / "live" / "live-1.jsonl"

    def session(
        self,
        *,
        player: Player | None = None,
        speak: Synthesiser | None = None,
        paced: bool = False,
    ) -> Session:
        return Session(
            pieces_dir=self.folder / ".treeward" / "live" / "live-1",
            journal=Journal(self.journal_path),
            source=self.source,
            ears=stand_in.ears(),
            watch=self.watch,
            setting=Setting(
                hunt_name="Test Moor", recording="live-1.flac", station="1",
                paced=paced, player=player, speak=speak,
            ),
            office=Office(lambda _: EMPTY, lambda _: None),
            sky_on=lambda _: None,
            on_heard=self.heard.append,
            on_said=self.said.append,
        )  # fmt: skip

    def run(self, **options: object) -> Session:
        session = self.session(**options)  # type: ignore[arg-type]
        session.run(self.shots.append)
        return session

    @property
    def notes(self) -> list[tuple[str, str]]:
        return [(e.mark, e.kind.value) for h in self.heard for e in h.events]

    def records(self, kind: str) -> list[dict[str, object]]:
        text = read_journal(self.journal_path)
        return [r for r in text.records if r["type"] == kind]

    def recording(self) -> NDArray[np.float32]:
        recover(self.folder, lambda *_: [])
        samples, _ = soundfile.read(
            self.folder / "recordings" / "live-1.flac", dtype="float32"
        )
        return np.asarray(samples, np.float32)


def rehearsal(folder: Path, sound: NDArray[np.float32]) -> Rig:
    clock = RehearsalTime()
    watch = WatchClock(ZONE, start=WatchClock(ZONE).start, elapsed=clock, wall=clock)
    blocks = [Block(start_s=0.0, samples=sound)]
    return Rig(folder, BlocksSource(blocks, clock, name="test", time=clock), watch)


NOTES = [(1.0, "red", "away"), (3.0, "blue", "away"), (6.0, "red", "back")]


def test_a_session_hears_keeps_and_shows(tmp_path: Path) -> None:
    sound = stand_in.spoken_at(NOTES, 8.0)
    rig = rehearsal(tmp_path, sound)

    session = rig.run()

    assert rig.notes == [("red", "away"), ("blue", "away"), ("red", "back")]
    starts = [e.start_s for h in rig.heard for e in h.events]
    assert starts == pytest.approx([1.0, 3.0, 6.0], abs=0.02)
    assert rig.recording() == pytest.approx(sound, abs=1 / 32768)
    last = rig.shots[-1]
    assert {b.mark: b.where for b in last.bees} == {"red": "here", "blue": "away"}
    assert last.kept_s == pytest.approx(8.0)
    assert session.summary()["notes"] == 3


class Aloud(Synthesiser):
    """A player and a synthesiser that keep what they are given."""

    def __init__(self) -> None:
        self.name = "aloud"
        self.words: list[str] = []
        self.played = 0

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> None:
        del samples, rate_hz
        self.played += 1

    def say(self, text: str) -> tuple[NDArray[np.float32], int]:
        self.words.append(text)
        return np.zeros(10, np.float32), 16_000


def test_found_is_answered_with_what_to_do_next(tmp_path: Path) -> None:
    notes = [(1.0, "red", "away"), (3.0, "red", "found")]
    rig = rehearsal(tmp_path, stand_in.spoken_at(notes, 5.0))
    aloud = Aloud()

    rig.run(player=aloud, speak=aloud)

    assert rig.notes[-1] == ("", "found")
    assert FOUND_WORDS in aloud.words
    shown = rig.shots[-1].next_steps
    assert [line for line in rig.said if line in shown] == list(shown)
    assert "treeward found --from-note" in " ".join(shown)
    assert "stings can kill" in " ".join(shown)


def test_found_that_is_taken_back_is_shown_no_longer(tmp_path: Path) -> None:
    notes = [(1.0, "red", "found"), (3.0, "red", "scratch")]
    rig = rehearsal(tmp_path, stand_in.spoken_at(notes, 5.0))

    rig.run()

    assert rig.shots[-1].next_steps == ()


ENOUGH = Estimate(
    station="1", bees=2, trips=9, median_m=640, low90_m=420, high90_m=1010,
    trips_to_halve=None,
)  # fmt: skip


def test_when_to_get_up_is_said_once_a_change() -> None:
    calls = Calls(due=False)

    def said(units: str = "metric", **more: Any) -> list[str]:
        answers = calls.get_up(replace(ENOUGH, **more), units)
        assert all(one.tones == (Alarm.GET_UP,) for one in answers)
        return [one.words for one in answers]

    assert calls.get_up(None, "metric") == []
    assert said() == []
    first = ("yellow", "blue-white")
    assert said(enough_of=first) == ["more of yellow and blue white won't help"]
    assert said(enough_of=first) == []
    assert said(enough_of=(*first, "red")) == ["more of red won't help"]
    assert said(enough_of=first, bearings_enough=True) == [
        "more bearings here won't help"
    ]
    to: dict[str, Any] = {"enough_of": first, "move_true_deg": 8.4}
    assert said(**to, move_m=412.0) == ["enough here. move 410 metres on 0 0 8 true"]
    assert said(**to, move_m=460.0) == []
    assert said(enough_of=first) == []
    assert said(**to, move_m=1250.0, units="imperial") == [
        "enough here. move 0.8 miles on 0 0 8 true"
    ]
    assert said(station="2", enough_of=("red",)) == ["more of red won't help"]


def test_when_to_get_up_goes_the_way_of_other_answers(tmp_path: Path) -> None:
    rig = rehearsal(tmp_path, stand_in.spoken_at(NOTES, 8.0))
    aloud = Aloud()
    session = rig.session(player=aloud, speak=aloud)
    session._office.estimate = replace(ENOUGH, move_m=412.0, move_true_deg=8.4)

    session.run(rig.shots.append)

    assert aloud.words.count("enough here. move 410 metres on 0 0 8 true") == 1
    assert rig.said.count("enough here; move: 410 m on 008 true") == 1


class Endless:
    """Sound without end, as fast as it is taken."""

    live = True
    name = "zeros"

    def __init__(self, watch: WatchClock, samples: NDArray[np.float32]) -> None:
        self._watch = watch
        self._samples = samples
        self._stopped = False

    def stop(self) -> None:
        self._stopped = True

    def chunks(self) -> Iterator[Chunk]:
        while not self._stopped:
            yield Chunk(samples=self._samples, arrival_s=self._watch.now_s())


def test_sound_without_end_ends_after_two_days(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake, "LONGEST_S", 40.0)
    watch = WatchClock(ZONE, early_s=3.0)
    rig = Rig(tmp_path, Endless(watch, np.zeros(1600, np.float32)), watch)

    session = rig.run(paced=True)

    assert 40.0 <= session.summary()["sound_kept_s"] < 42.0  # type: ignore[operator]
    assert any("as long as one recording may be" in line for line in rig.said)
    assert len(rig.recording()) == pytest.approx(40.0 * SAMPLE_RATE_HZ, rel=0.1)


@pytest.mark.slow
def test_a_source_that_cannot_wait_is_not_held_back_as_a_rehearsal_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    notes = [(0.5 + n, "red", "away" if n % 2 == 0 else "back") for n in range(8)]
    sound = stand_in.spoken_at(notes, 9.0)
    watch = WatchClock(ZONE)
    blocks = [Block(start_s=0.0, samples=sound)]
    source = BlocksSource(blocks, watch.now_s, name="test")
    source.live = True
    rig = Rig(tmp_path, source, watch)
    session = rig.session(paced=False)
    slowly = session._hear

    def hear(*given: Any) -> None:
        time.sleep(1.2)  # a phrase a second comes
        slowly(*given)

    monkeypatch.setattr(session, "_hear", hear)

    session.run(rig.shots.append)

    assert session.summary()["stretches_unheard"] == 0
    assert len(rig.notes) == 8


@pytest.mark.slow
def test_pieces_end_where_nobody_speaks_and_join_without_a_seam(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake, "PIECE_S", 2.0)
    monkeypatch.setattr(intake, "PIECE_MOST_S", 3.0)
    sound = stand_in.spoken_at([(1.8, "red", "away"), (3.9, "red", "back")], 7.0)
    rig = rehearsal(tmp_path, sound)

    rig.run()

    begun = [piece["start_s"] for piece in rig.records("piece")]
    # 2.0 s lies in the first note: the piece goes on until that is over.
    assert begun == pytest.approx([0.0, 2.6, 4.7, 6.8], abs=0.11)
    assert rig.notes == [("red", "away"), ("red", "back")]
    assert rig.recording() == pytest.approx(sound, abs=1 / 32768)


class ScriptedSource:
    """Live sound that jumps in time, as a closed lid or a lost microphone makes it."""

    name = "script"
    live = True

    def __init__(self, parts: Sequence[tuple[float, NDArray[np.float32], str]]) -> None:
        self.parts = parts
        self.clock = RehearsalTime()
        self.stopped = False

    def stop(self) -> None:
        self.stopped = True

    def chunks(self) -> Iterator[Chunk]:
        for start_s, sound, lost in self.parts:
            self.clock.seconds = start_s
            if lost:
                yield Chunk(samples=sound[:0], arrival_s=start_s, lost=lost)
            for first in range(0, len(sound), 1600):
                part = sound[first : first + 1600]
                self.clock.seconds += len(part) / SAMPLE_RATE_HZ
                yield Chunk(
                    samples=part,
                    arrival_s=self.clock.seconds,
                    lost=lost if first == 0 else "",
                )


def scripted(folder: Path, *parts: tuple[float, NDArray[np.float32], str]) -> Rig:
    source = ScriptedSource(parts)
    watch = WatchClock(
        ZONE, start=WatchClock(ZONE).start, elapsed=source.clock, wall=source.clock
    )
    return Rig(folder, source, watch)


@pytest.mark.slow
def test_a_closed_lid_is_a_gap_and_clocks_stay_right(tmp_path: Path) -> None:
    first = stand_in.spoken_at([(1.0, "red", "away")], 3.0)
    second = stand_in.spoken_at([(2.0, "red", "back")], 4.0)
    rig = scripted(tmp_path, (0.0, first, ""), (600.0, second, ""))

    rig.run(paced=True)

    events = [e for h in rig.heard for e in h.events]
    start = rig.watch.start.timestamp()
    seconds = [e.clock.timestamp() - start for e in events if e.clock]
    assert seconds == pytest.approx([1.0, 602.0], abs=0.05)
    (gap,) = rig.records("gap")
    assert gap["why"] == "the computer slept or stood still"
    # Fed all at once, the gap may be written while the note before it is recognized.
    by_clock = sorted(rig.records("event"), key=lambda r: str(r["clock"]))
    assert [r["kind"] for r in by_clock] == ["away", "pause", "resume", "back"]
    whole = rig.recording()
    assert len(whole) == 604 * SAMPLE_RATE_HZ
    assert whole[600 * SAMPLE_RATE_HZ :] == pytest.approx(second, abs=1 / 32768)
    assert not whole[3 * SAMPLE_RATE_HZ : 600 * SAMPLE_RATE_HZ].any()


def test_a_lost_microphone_is_shown_until_it_is_back(tmp_path: Path) -> None:
    away = "the microphone was away"
    sound = stand_in.spoken_at([(0.5, "red", "back")], 2.0)
    rig = scripted(tmp_path, (0.0, stand_in.quiet(2.0), ""), (4.0, sound, away))

    rig.run()

    assert [r["why"] for r in rig.records("lost")] == [away]
    assert [r["why"] for r in rig.records("gap")] == [away]
    assert any(line.startswith("listening again after 2 s") for line in rig.said)
    assert rig.notes == [("red", "back")]
    # Two seconds are too short to hide a bee: nobody stopped watching.
    assert [r["kind"] for r in rig.records("event")] == ["back"]


def test_a_device_that_records_the_computer_itself_is_shown(tmp_path: Path) -> None:
    rig = scripted(tmp_path, (0.0, stand_in.quiet(1.0), ""))
    rig.source.name = "Monitor of Built-in Audio"

    rig.run()

    assert any(fault.startswith("wrong microphone") for fault in rig.shots[0].faults)
    assert any(line.startswith("wrong microphone: ") for line in rig.said)


def test_the_computers_clock_set_meanwhile_is_told(tmp_path: Path) -> None:
    sound = stand_in.spoken_at([(1.0, "red", "back")], 3.0)
    rig = scripted(tmp_path, (0.0, sound, ""))
    source = rig.source
    assert isinstance(source, ScriptedSource)
    rig.watch = WatchClock(
        ZONE,
        start=rig.watch.start,
        elapsed=source.clock,
        wall=lambda: source.clock() + (3600.0 if source.clock() > 0.5 else 0.0),
    )

    rig.run()

    (record,) = rig.records("clock set")
    assert record["by_s"] == 3600.0
    (event,) = rig.heard[0].events
    assert event.clock is not None
    assert event.clock.timestamp() - rig.watch.start.timestamp() == pytest.approx(
        1.0, abs=0.05
    )


@pytest.mark.slow
def test_a_full_disk_stops_sound_but_no_note(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake, "DISK_RETRY_S", 0.5)
    sound = stand_in.spoken_at(
        [(1.0, "red", "away"), (80.0, "blue", "away"), (95.0, "red", "back")], 100.0
    )
    rig = rehearsal(tmp_path, sound)
    session = rig.session()
    keeper = session.keeper

    def has_room(*, anew: bool = False) -> bool:
        del anew
        return not 10.0 < rig.watch.now_s() < 90.0

    monkeypatch.setattr(keeper, "_has_room", has_room)

    session.run(rig.shots.append)

    assert rig.notes == [("red", "away"), ("blue", "away"), ("red", "back")]
    assert all(h.kept for h in rig.heard)
    kept_s = keeper.kept_samples / SAMPLE_RATE_HZ
    # 70 s follow the full disk; a minute waits in memory until it gives up.
    assert 15.0 < kept_s < 25.0
    assert len(rig.recording()) == pytest.approx(100 * SAMPLE_RATE_HZ, abs=8000)


class Air:
    """A loudspeaker and a microphone in the same room."""

    name = "air"
    live = True

    def __init__(self, person: NDArray[np.float32], watch: WatchClock) -> None:
        self.person = person
        self.watch = watch
        self.stopped = threading.Event()
        self.lock = threading.Lock()
        self.sounding: deque[NDArray[np.float32]] = deque()
        self.played = 0

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> None:
        """Answer with what would be a note, whatever the answer is."""
        del samples, rate_hz
        note = np.concatenate([stand_in.quiet(0.05), stand_in.say("white", "back")])
        with self.lock:
            self.sounding.append(note)
            self.played += 1
        time.sleep(len(note) / SAMPLE_RATE_HZ)

    def stop(self) -> None:
        self.stopped.set()

    def chunks(self) -> Iterator[Chunk]:
        pending = np.zeros(0, np.float32)
        start_s = self.watch.now_s()
        for first in range(0, len(self.person), 800):
            part = self.person[first : first + 800].copy()
            due_s = start_s + (first + len(part)) / SAMPLE_RATE_HZ
            time.sleep(max(0.0, due_s - self.watch.now_s()))
            with self.lock:
                while self.sounding:
                    pending = np.concatenate([pending, self.sounding.popleft()])
            part[: min(len(part), len(pending))] += pending[: len(part)]
            pending = pending[len(part) :]
            if self.stopped.is_set():
                return
            yield Chunk(samples=part, arrival_s=self.watch.now_s())


@pytest.mark.slow
@pytest.mark.parametrize("gated", [True, False])
def test_the_tool_never_hears_its_own_answer(
    tmp_path: Path, gated: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the gate the same answers are heard as notes, so the test can fail."""
    person = stand_in.spoken_at([(0.3, "red", "away"), (2.0, "red", "back")], 3.6)
    watch = WatchClock(ZONE)
    air = Air(person, watch)
    rig = Rig(tmp_path, air, watch)
    if not gated:
        monkeypatch.setattr(
            "treeward.live.answer.Gate.mute", lambda _, samples, __: samples
        )

    rig.run(player=air, paced=True)

    mine = [("red", "away"), ("red", "back")]
    if gated:
        assert rig.notes == mine
        assert air.played == 2
    else:
        assert ("white", "back") in rig.notes


def test_a_second_pass_leaves_out_what_the_tool_said(tmp_path: Path) -> None:
    folder = tmp_path / ".treeward" / "live"
    journal = Journal(folder / "live-1.jsonl")
    journal.write({"type": "own voice", "start_s": 10.0, "end_s": 12.0, "words": "x"})
    journal.close()

    def heard_at(start_s: float, recording: str = "live-1.flac") -> Event:
        return Event(kind=EventKind.BACK, recording=recording, start_s=start_s)

    kept = without_own_voice(
        tmp_path,
        [heard_at(9.0), heard_at(11.0), heard_at(13.0), heard_at(11.0, "memo.wav")],
    )

    assert [(e.recording, e.start_s) for e in kept] == [
        ("live-1.flac", 9.0), ("live-1.flac", 13.0), ("memo.wav", 11.0)
    ]  # fmt: skip


def test_a_recognizer_that_cannot_keep_up_leaves_the_rest_to_the_second_pass(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ears, "HELD_STRETCHES", 1)
    slow = stand_in.BeepRecognizer.decode

    def decode(self: object, stretch: Block) -> object:
        time.sleep(0.3)
        return slow(self, stretch)  # type: ignore[arg-type]

    monkeypatch.setattr(stand_in.BeepRecognizer, "decode", decode)
    notes = [(1.0 + n, "red", "back") for n in range(8)]
    rig = scripted(tmp_path, (0.0, stand_in.spoken_at(notes, 10.0), ""))

    session = rig.run(paced=True)

    unheard = rig.records("unheard")
    assert len(unheard) + len(rig.notes) == 8
    assert session.tally.unheard == len(unheard) > 0
    assert len(rig.recording()) == 10 * SAMPLE_RATE_HZ


class RealTime:
    """Live sound at its own speed."""

    name = "real"
    live = True

    def __init__(self, sound: NDArray[np.float32], watch: WatchClock) -> None:
        self.sound = sound
        self.watch = watch
        self.given = 0
        self.stopped = threading.Event()

    def stop(self) -> None:
        self.stopped.set()

    def chunks(self) -> Iterator[Chunk]:
        begun_s = self.watch.now_s()
        for first in range(0, len(self.sound), 800):
            part = self.sound[first : first + 800]
            due_s = begun_s + (first + len(part)) / SAMPLE_RATE_HZ
            if self.stopped.wait(max(0.0, due_s - self.watch.now_s())):
                return
            self.given += len(part)
            yield Chunk(samples=part, arrival_s=self.watch.now_s())


@pytest.mark.slow
@pytest.mark.parametrize("held_up", ["cutting", "recognizing", "the journal"])
def test_sound_is_written_whatever_else_is_held_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, held_up: str
) -> None:
    watch = WatchClock(ZONE)
    notes = [(0.2, "red", "away"), (0.9, "red", "back")]
    source = RealTime(stand_in.spoken_at(notes, 3.0), watch)
    rig = Rig(tmp_path, source, watch)
    session = rig.session(paced=True)
    free = threading.Event()
    behind: list[int] = []
    place = {
        "cutting": (Segmenter, "push"),
        "recognizing": (stand_in.BeepRecognizer, "decode"),
        "the journal": (Journal, "write"),
    }[held_up]
    usual = getattr(*place)

    def held(*arguments: object, **named: object) -> object:
        free.wait()
        return usual(*arguments, **named)

    monkeypatch.setattr(*place, held)

    def look() -> None:
        while source.given < len(source.sound):
            time.sleep(0.05)
            behind.append(source.given - session.keeper.kept_samples)
        free.set()

    looking = threading.Thread(target=look)
    looking.start()
    session.intake.start()
    session._recognise.start()
    looking.join()
    session.finish()

    assert max(behind) <= 0.5 * SAMPLE_RATE_HZ
    assert rig.notes == [("red", "away"), ("red", "back")]


def test_a_phrase_that_the_recognizer_fails_at_is_left_to_the_second_pass(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    decode = stand_in.BeepRecognizer.decode

    def failing(self: stand_in.BeepRecognizer, stretch: Block) -> object:
        if stretch.start_s < 3.0 < stretch.end_s:
            failed.append(stretch)
            raise RuntimeError("of its inside")
        return decode(self, stretch)

    failed: list[Block] = []
    monkeypatch.setattr(stand_in.BeepRecognizer, "decode", failing)
    rig = rehearsal(tmp_path, stand_in.spoken_at(NOTES, 8.0))

    rig.run()

    assert rig.notes == [("red", "away"), ("red", "back")]
    (unheard,) = rig.records("unheard")
    (stretch,) = failed
    assert unheard["start_s"] == pytest.approx(stretch.start_s, abs=0.01)
    assert unheard["end_s"] == pytest.approx(stretch.end_s, abs=0.01)
    # Of the stretch no more than that note, with the sound that is kept around it.
    assert unheard["start_s"] == pytest.approx(3.0 - AROUND_S, abs=2 * FRAME_S)
    assert 3.0 + 2 * stand_in.BEEP_S < stretch.end_s < 6.0  # as was just compared
    assert any("a phrase was not heard" in fault for fault in rig.shots[-1].faults)
    assert len(rig.recording()) == 8 * SAMPLE_RATE_HZ


def test_a_fault_in_cutting_leaves_the_sound_and_the_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pushed = []

    usual = Segmenter.push

    def failing(self: Segmenter, samples: NDArray[np.float32]) -> list[Block]:
        pushed.append(len(samples))
        if len(pushed) == 33:
            raise FloatingPointError("of its inside")
        return usual(self, samples)

    monkeypatch.setattr(Segmenter, "push", failing)
    rig = rehearsal(tmp_path, stand_in.spoken_at(NOTES, 8.0))

    rig.run()

    assert rig.notes == [("red", "away"), ("red", "back")]
    (unheard,) = rig.records("unheard")
    assert unheard["end_s"] == pytest.approx(3.3, abs=0.02)
    assert len(rig.recording()) == 8 * SAMPLE_RATE_HZ


class Losing(ScriptedSource):
    """Loses a second of sound at 4 s without a word, as an overrun card does."""

    def chunks(self) -> Iterator[Chunk]:
        for chunk in super().chunks():
            late_s = 1.0 if chunk.arrival_s > 4.0 else 0.0
            yield Chunk(samples=chunk.samples, arrival_s=chunk.arrival_s + late_s)


def test_sound_lost_without_a_word_leaves_notes_at_their_sound(tmp_path: Path) -> None:
    notes = [(2.0, "red", "away"), (6.0, "red", "back"), (30.0, "blue", "away")]
    source = Losing([(0.0, stand_in.spoken_at(notes, 35.0), "")])
    watch = WatchClock(
        ZONE, start=WatchClock(ZONE).start, elapsed=source.clock, wall=source.clock
    )
    rig = Rig(tmp_path, source, watch)

    # All at once from a source that cannot wait: stretches queue up, as they do live.
    rig.run(paced=True)

    assert rig.notes == [("red", "away"), ("red", "back"), ("blue", "away")]
    assert rig.records("unheard") == []
    kept = rig.recording()
    events = [e for h in rig.heard for e in h.events]
    assert len(kept) == 36 * SAMPLE_RATE_HZ
    for event in events:
        at = round((event.start_s or 0.0) * SAMPLE_RATE_HZ)
        assert np.abs(kept[at + 400 : at + 3200]).mean() > 0.1
        assert np.abs(kept[at - 3200 : at - 400]).mean() < 0.01
    assert events[2].start_s == pytest.approx(31.0, abs=0.05)


def test_trips_that_would_halve_the_interval() -> None:
    trips = [
        Trip(
            mark="red", bee="red", station="1", away_clock=None, back_clock=None,
            away_s=300.0,
        )
    ] * 5  # fmt: skip
    table = TripTable(visits=(), trips=tuple(trips), lines=(), winds=())

    def shrinking(table: TripTable, station: str) -> float:
        del station
        return float(100.0 / len(table.trips) ** 0.5)

    def stuck(table: TripTable, station: str) -> float:
        del station
        return float(60.0 + 40.0 / len(table.trips) ** 0.5)

    assert trips_to_halve(shrinking, table, "1") == 15  # four times as many in all
    assert trips_to_halve(stuck, table, "1") is None
