"""Hearing, part by part: processes, what a piece tells, and what is left to hear."""

from __future__ import annotations

import os
import signal
import threading
from dataclasses import replace
from multiprocessing import Pipe
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from hunt.found_world import hunt_of
from treeward.audio import Block, SoundInfo
from treeward.audio.reader import SILENT_PEAK
from treeward.errors import SoundError
from treeward.hunt import hearing
from treeward.hunt.heard import WHOLE, HeardBy, HeardFile, Piece
from treeward.hunt.hearing import (
    Begun,
    Ended,
    EngineChoice,
    Message,
    Reached,
    Remarked,
    Task,
    _Child,
    _Hearing,
    _no_interrupt,
    _Round,
    hear_all,
    hear_in_processes,
    hear_piece,
    usual_jobs,
)
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from treeward.hunt.hunt import Hunt

Told = list[tuple[str, Message]]


@pytest.mark.parametrize(("cores", "jobs"), [(1, 1), (3, 3), (8, 8), (9, 8)])
def test_no_more_than_eight_processes_hear_unasked(
    monkeypatch: pytest.MonkeyPatch, cores: int, jobs: int
) -> None:
    monkeypatch.setattr(
        os, "sched_getaffinity", lambda _: set(range(cores)), raising=False
    )
    assert usual_jobs() == jobs
    monkeypatch.delattr(os, "sched_getaffinity")
    monkeypatch.setattr(os, "cpu_count", lambda: cores)
    assert usual_jobs() == jobs
    monkeypatch.setattr(os, "cpu_count", lambda: None)
    assert usual_jobs() == 1


def task(name: str, piece: Piece = WHOLE, from_s: float = 0.0) -> Task:
    return Task(path=Path(name), name=name, piece=piece, from_s=from_s)


class Process:
    """Stands in for a process: a thread that hears what comes through a pipe."""

    exitcode = 3

    def __init__(self, pipe: Any, dies_at: str) -> None:
        self.pipe, self.dies_at = pipe, dies_at
        self.terminated = self.joined = False
        self.thread = threading.Thread(target=self.work, daemon=True)
        self.thread.start()

    def work(self) -> None:
        try:
            while True:
                given = self.pipe.recv()
                if given.name == self.dies_at:
                    break
                self.pipe.send(Ended())
        except (EOFError, OSError):
            pass
        self.pipe.close()

    def terminate(self) -> None:
        self.terminated = True

    def join(self) -> None:
        self.joined = True


@pytest.fixture
def processes(monkeypatch: pytest.MonkeyPatch) -> list[Process]:
    started: list[Process] = []

    def start(_: EngineChoice) -> _Child:
        ours, theirs = Pipe()
        started.append(Process(theirs, "bad.wav"))
        process: Any = started[-1]
        return _Child(process, ours)

    monkeypatch.setattr(hearing, "_start", start)
    return started


ENGINE = EngineChoice(hunt_dir=Path())


@pytest.mark.parametrize(("jobs", "started"), [(1, 1), (2, 2), (9, 3)])
def test_each_piece_is_heard_once_by_as_many_processes_as_have_work(
    processes: list[Process], jobs: int, started: int
) -> None:
    told: Told = []
    tasks = [task(name) for name in ("a.wav", "b.wav", "c.wav")]
    hear_in_processes(
        tasks, ENGINE, jobs=jobs, tell=lambda t, m: told.append((t.name, m))
    )
    for name in ("a.wav", "b.wav", "c.wav"):
        assert [m for n, m in told if n == name] == [Begun(), Ended()]
    assert len(processes) == started
    assert all(one.joined and not one.terminated for one in processes)


def test_a_process_that_dies_is_told_of_and_another_takes_its_place(
    processes: list[Process],
) -> None:
    told: Told = []
    hear_in_processes(
        [task("bad.wav"), task("b.wav")],
        ENGINE,
        jobs=1,
        tell=lambda t, m: told.append((t.name, m)),
    )
    (name, message) = told[1]
    assert name == "bad.wav"
    assert isinstance(message, Ended)
    assert message.fault.startswith("bad.wav: the process that heard it ended (3)")
    assert told[2:] == [("b.wav", Begun()), ("b.wav", Ended())]
    assert len(processes) == 2
    assert all(one.joined for one in processes)


def test_all_processes_end_where_one_is_stopped(processes: list[Process]) -> None:
    def tell(_: Task, message: Message) -> None:
        if isinstance(message, Ended):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        hear_in_processes([task("a"), task("b"), task("c")], ENGINE, jobs=2, tell=tell)
    assert len(processes) == 2
    assert all(one.terminated and one.joined for one in processes)


def test_ctrl_c_is_ignored_only_while_a_process_starts() -> None:
    before = signal.getsignal(signal.SIGINT)
    with _no_interrupt():
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    assert signal.getsignal(signal.SIGINT) is before
    seen: list[object] = []

    def elsewhere() -> None:  # where it cannot be set
        with _no_interrupt():
            seen.append(signal.getsignal(signal.SIGINT))

    other = threading.Thread(target=elsewhere)
    other.start()
    other.join()
    assert seen == [before]


def test_the_engine_is_opened_as_the_hunt_wants_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[dict[str, object]] = []
    monkeypatch.setattr(
        "treeward.speech.recognizer.open_recognizer",
        lambda _book, **named: asked.append(named),
    )
    EngineChoice(hunt_dir=tmp_path, model="own", free=True).open(print)
    EngineChoice(hunt_dir=tmp_path).open()
    own = {"model": "own", "hunt_dir": tmp_path, "free": True, "say": print}
    usual = {"model": None, "hunt_dir": tmp_path, "free": False, "say": None}
    assert asked == [own, usual]


def said(start_s: float) -> Utterance:
    word = Word(
        text="yellow back", start_s=start_s, end_s=start_s + 1, confidence=0.9,
        source=WordSource.PHRASE,
    )  # fmt: skip
    return Utterance(words=(word,), start_s=start_s, end_s=start_s + 1)


def test_a_piece_tells_what_was_heard_since_the_last_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    piece = Piece(number=1, start_s=60.0, end_s=None)

    def blocks(
        path: Path, which: Piece, *, from_s: float, warn: Callable[[SoundError], None]
    ) -> Iterator[Block]:
        assert (path, which, from_s) == (Path("a.wav"), piece, 60.0)
        warn(SoundError("is cut off", where="a.wav"))
        for number, sound in enumerate(([0.1, -0.5], [0.25, 0.0], [0.75, 0.0])):
            yield Block(start_s=60.0 + number, samples=np.array(sound, np.float32))

    def transcribe(
        given: Iterator[Block],
        _: object,
        *,
        progress: Callable[[float], None],
        from_s: float,
    ) -> Iterator[Utterance]:
        assert from_s == 65.0
        next(given)
        yield said(66.0)
        next(given)
        progress(70.0)
        next(given)
        yield said(71.0)
        yield said(73.0)

    monkeypatch.setattr(hearing, "read_piece", blocks)
    monkeypatch.setattr("treeward.speech.recognizer.transcribe", transcribe)
    told: list[Message] = []
    engine: Any = None
    hear_piece(task("a.wav", piece, 65.0), engine, lambda _, m: told.append(m))
    assert told == [
        Remarked(text="a.wav: is cut off"),
        Reached(utterances=(said(66.0),), at_s=70.0, peak=0.5),
        Reached(utterances=(said(71.0), said(73.0)), at_s=74.0, peak=0.75),
        Ended(),
    ]


def test_a_piece_that_cannot_be_read_is_told_as_a_fault(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken(*_: object, **_more: object) -> Iterator[Block]:
        raise SoundError("is broken", where="a.wav", mend="Mend it")

    monkeypatch.setattr(hearing, "read_piece", broken)
    told: list[Message] = []
    engine: Any = None
    hear_piece(task("a.wav"), engine, lambda _, m: told.append(m))
    assert told == [Ended(fault="a.wav: is broken. Mend it")]


class Recognizer:
    name, model = "scripted", "1"


FIRST = Piece(number=0, start_s=0.0, end_s=60.0)
SECOND = Piece(number=1, start_s=60.0, end_s=None)


@pytest.fixture
def hunt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Hunt:
    """Give a hunt with a recording of 100 s, as its reader is made to say."""
    made = hunt_of(tmp_path)
    made.recordings_dir.mkdir()
    (made.recordings_dir / "a.wav").write_bytes(b"sound")

    def probe(path: Path) -> SoundInfo:
        return SoundInfo(path=path, duration_s=100.0, container="WAV", created=None)

    monkeypatch.setattr(hearing, "probe", probe)
    monkeypatch.setattr(hearing, "pieces_of", lambda *_, **_more: (FIRST, SECOND))
    return made


def prepared(hunt: Hunt) -> _Round:
    rounds = _Round(None)
    engine: Any = Recognizer()
    rounds.prepare(hunt, hunt.recordings_dir / "a.wav", engine)
    return rounds


def heard_of(hunt: Hunt) -> tuple[HeardFile, HeardBy]:
    """Begin the hearing of the recording, and return who hears it."""
    prepared(hunt)
    kept = hunt.heard_file("a.wav")
    by = kept.read().by
    assert by is not None
    return kept, by


def test_a_new_recording_is_heard_from_its_start_in_pieces(hunt: Hunt) -> None:
    rounds = prepared(hunt)
    path = hunt.recordings_dir / "a.wav"
    assert rounds.tasks == [
        Task(path=path, name="a.wav", piece=FIRST, from_s=0.0),
        Task(path=path, name="a.wav", piece=SECOND, from_s=60.0),
    ]
    one = rounds.hearings["a.wav"]
    assert (one.total_s, one.left, one.known_s) == (100.0, {0, 1}, {0: 0.0, 1: 0.0})


def test_a_recording_half_heard_is_heard_from_there(hunt: Hunt) -> None:
    kept, _ = heard_of(hunt)
    kept.add([], reached_s=58.0)  # all but a silence at its end
    kept.finish_piece(0)
    kept.add([said(61.0)], reached_s=75.0, piece=1)
    rounds = prepared(hunt)
    assert [(one.piece, one.from_s) for one in rounds.tasks] == [(SECOND, 75.0)]
    one = rounds.hearings["a.wav"]
    assert (one.left, one.known_s) == ({1}, {0: 60.0, 1: 15.0})


@pytest.mark.parametrize(
    ("changed", "anew"),
    [
        ({}, False),
        ({"free": True}, False),  # what was heard for free speech serves without
        ({"model": "2"}, True),
        ({"sha256": "0"}, True),
        ({"model": "2", "free": True}, True),
    ],
)
def test_what_was_heard_to_its_end_by_the_same_is_not_heard_again(
    hunt: Hunt, changed: dict[str, Any], *, anew: bool
) -> None:
    kept, by = heard_of(hunt)
    kept.begin(replace(by, **changed, modified_ns=0), [WHOLE])
    kept.finish()
    assert bool(prepared(hunt).tasks) is anew


def test_for_free_speech_what_was_heard_without_it_is_heard_again(hunt: Hunt) -> None:
    kept, by = heard_of(hunt)
    assert not by.free
    kept.finish()
    toml = hunt.path / "hunt.toml"
    toml.write_text(toml.read_text("utf-8") + "[speech]\nfree = true\n", "utf-8")
    assert len(prepared(type(hunt)(hunt.path)).tasks) == 2


@pytest.mark.parametrize(
    ("peak", "silent"), [(SILENT_PEAK / 2, True), (SILENT_PEAK, False)]
)
def test_sound_of_the_least_peak_is_no_silence(
    tmp_path: Path, peak: float, *, silent: bool
) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    by = HeardBy(engine="x", model="1", phrase_book="1", size_bytes=9, modified_ns=7)
    kept.begin(by, [FIRST, SECOND])
    one = _Hearing(kept=kept, total_s=100.0, left={1}, known_s={})
    rounds = _Round(None, hearings={"a.wav": one})
    last = task("a.wav", SECOND)
    rounds.tell(last, Reached(utterances=(), at_s=100.0, peak=peak))
    rounds.tell(last, Ended())
    assert bool(one.fault) is silent


class Choice(EngineChoice):
    """Opens an engine that hears nothing."""

    def open(self, say: Any = None) -> Any:
        assert say is not None
        return Recognizer()


@pytest.mark.parametrize("jobs", [1, 2])
def test_several_pieces_are_heard_by_processes_where_several_are_asked_for(
    hunt: Hunt, monkeypatch: pytest.MonkeyPatch, jobs: int
) -> None:
    here: list[int] = []
    there: list[int] = []

    def in_processes(tasks: Sequence[Task], *_: object, jobs: int, tell: Any) -> None:
        assert jobs == 2
        for one in tasks:
            there.append(one.piece.number)
            tell(one, Ended())

    def alone(one: Task, _: object, tell: Any) -> None:
        here.append(one.piece.number)
        tell(one, Ended())

    monkeypatch.setattr(hearing, "hear_in_processes", in_processes)
    monkeypatch.setattr(hearing, "hear_piece", alone)
    paths = [hunt.recordings_dir / "a.wav"]
    engine = Choice(hunt_dir=hunt.path)

    def hear(**more: Any) -> list[int]:
        here.clear()
        there.clear()
        _, name, stopped = hear_all(
            hunt, paths, engine, jobs=jobs, say=lambda _: None, **more
        )
        assert (name, stopped) == ("scripted", False)
        return here if jobs == 1 else there

    hear()
    kept = hunt.heard_file("a.wav")
    by = kept.read().by
    assert by is not None
    kept.begin(by, [FIRST, SECOND])
    assert hear() == [0, 1]
    assert (here if jobs == 2 else there) == []
    # A single piece is heard here.
    kept.begin(by, [FIRST, SECOND])
    kept.finish_piece(0)
    hear()
    assert (here, there) == ([1], [])
    # What is silent throughout is no hearing; once it is done it is not heard again.
    kept.begin(by, [WHOLE])
    kept.finish()
    assert hear() == []
    assert hear(fresh=True) == [0, 1]


def test_pages_need_no_engine(hunt: Hunt) -> None:
    page = hunt.recordings_dir / "a.txt"
    page.write_text("[0:01] yellow away\n", "utf-8")
    (one,), name, stopped = hear_all(hunt, [page], Choice(hunt_dir=hunt.path))
    assert (one.name, one.fault, len(one.events)) == ("a.txt", "", 1)
    assert (name, stopped) == ("", False)


def test_a_recording_that_cannot_be_probed_does_not_stop_the_rest(
    hunt: Hunt, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(path: Path) -> SoundInfo:
        raise SoundError("is broken", where=path.name)

    monkeypatch.setattr(hearing, "probe", broken)
    page = hunt.recordings_dir / "b.txt"
    page.write_text("[0:01] yellow away\n", "utf-8")
    paths = [hunt.recordings_dir / "a.wav", page]
    one, other = hear_all(hunt, paths, Choice(hunt_dir=hunt.path), say=lambda _: None)[
        0
    ]
    assert (one.name, one.fault, one.complete) == ("a.wav", "a.wav: is broken", False)
    assert (other.name, other.fault, len(other.events)) == ("b.txt", "", 1)
