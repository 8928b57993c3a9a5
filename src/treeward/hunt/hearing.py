"""Hearing the recordings of a hunt, by one process or several.

What is heard does not depend on how many there are: the cuts are the same, and an
engine hears each stretch by itself.

Several processes that hear pieces of recordings at the same time.

They are started afresh ("spawn"), as Windows and macOS do. Only this process writes:
they send what they hear. They ignore Ctrl-C, which a terminal sends to all, and are
ended by this process, or by its end.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from multiprocessing.connection import wait
from typing import TYPE_CHECKING, Any, Protocol

from treeward.audio.reader import SILENT_PEAK, probe
from treeward.errors import SoundError, TreewardError
from treeward.hunt.heard import PIECE_S, Piece, pieces_of, read_piece
from treeward.language.phrasebook import PhraseBook

from .recordings import is_transcript, recording_name
from .transcription import Recorded, heard_by, recorded_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from multiprocessing.connection import Connection
    from multiprocessing.context import SpawnProcess
    from pathlib import Path

    from treeward.audio import Block
    from treeward.speech.recognizer import Recognizer
    from treeward.speech.utterances import Utterance

    from .folder import HuntFolder
    from .heard import HeardFile


MOST_JOBS = 8  # used unasked: 350 MB each, measured
_LOOK_UP_S = 0.5  # Windows tells of Ctrl-C only between waits


def usual_jobs() -> int:
    """Give the number of processor cores this program may use, 8 at most."""
    if hasattr(os, "sched_getaffinity"):
        cores = len(os.sched_getaffinity(0))
    else:
        cores = os.cpu_count() or 1
    return min(cores, MOST_JOBS)


@dataclass(slots=True)
class _Child:
    process: SpawnProcess
    pipe: Any  # a Connection; on Windows a PipeConnection
    task: Task | None = None


def hear_in_processes(
    tasks: Sequence[Task],
    engine: EngineChoice,
    *,
    jobs: int,
    tell: Callable[[Task, Message], None],
) -> None:
    """Hear pieces in `jobs` processes; `tell` is called in this one.

    When it ends, by an exception too, so have the processes.
    """
    waiting = deque(tasks)
    children: dict[Any, _Child] = {}  # by pipe

    def give(child: _Child) -> None:
        child.task = waiting.popleft()
        tell(child.task, Begun())
        with suppress(OSError):  # it has died, as the next look tells
            child.pipe.send(child.task)

    def start() -> None:
        child = _start(engine)
        children[child.pipe] = child
        give(child)

    try:
        for _ in range(min(jobs, len(waiting))):
            start()
        while children:
            for pipe in wait(list(children), _LOOK_UP_S):
                child = children[pipe]
                assert child.task is not None  # noqa: S101
                try:
                    message = child.pipe.recv()
                except (EOFError, OSError):
                    _release(children.pop(child.pipe))
                    tell(child.task, Ended(fault=_died(child)))
                    if waiting:
                        start()
                    continue
                tell(child.task, message)
                if isinstance(message, Ended):
                    if waiting:
                        give(child)
                    else:
                        _release(children.pop(child.pipe))
    finally:
        for child in children.values():
            child.process.terminate()
        for child in children.values():
            _release(child)


def _start(engine: EngineChoice) -> _Child:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_work, args=(theirs, engine), daemon=True)
    with _no_interrupt():
        process.start()
    theirs.close()  # so that its death is seen at our end
    return _Child(process, ours)


@contextmanager
def _no_interrupt() -> Iterator[None]:
    """Let a new process inherit that Ctrl-C is ignored, before it can say so itself."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _release(child: _Child) -> None:
    child.pipe.close()
    child.process.join()


def _died(child: _Child) -> str:
    name = child.task.name if child.task else ""
    code = child.process.exitcode
    return (
        f"{name}: the process that heard it ended ({code}), perhaps for want of memory."
        " Run the same command again with --jobs 1; what was heard is kept."
    )


def _work(pipe: Connection[Any, Any], engine: EngineChoice) -> None:
    """Hear what comes through the pipe until it is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def tell(_: Task, message: Message) -> None:
        pipe.send(message)

    with suppress(EOFError, OSError):  # the other end is gone: so are we
        recognizer: Recognizer | None = None
        while True:
            task = pipe.recv()
            try:
                recognizer = recognizer or engine.open()
                hear_piece(task, recognizer, tell)
            except (EOFError, BrokenPipeError, ConnectionError):
                return
            except Exception as error:  # noqa: BLE001  (it must be told over there)
                fault = (
                    f"{task.name}: cannot be heard ({type(error).__name__}: {error})"
                )
                pipe.send(Ended(fault=fault))


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineChoice:
    """Opens the speech engine of a hunt, in any process."""

    hunt_dir: Path
    model: str | None = None  # name or folder of a model
    free: bool = False  # notes are read out of talk too: see `open_recognizer`

    def open(self, say: Callable[[str], None] | None = None) -> Recognizer:
        """Open it; `say` is told where the one that comes with Treeward does not work.

        Raises
        ------
        SpeechError
            There is no such model, or it cannot be used.
        """
        from treeward.speech.recognizer import open_recognizer

        book = PhraseBook.for_hunt(self.hunt_dir)
        return open_recognizer(
            book, model=self.model, hunt_dir=self.hunt_dir, free=self.free, say=say
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A piece of a recording to be heard, from `from_s` on."""

    path: Path
    name: str
    piece: Piece
    from_s: float


@dataclass(frozen=True, slots=True)
class Begun:
    """A piece is taken up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """What was heard since the last time, and up to where all is known."""

    utterances: tuple[Utterance, ...]
    at_s: float
    peak: float  # loudest sample so far, of 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Remarked:
    """A remark about the recording as a whole."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """A piece is done, or was given up for a fault."""

    fault: str = ""


Message = Begun | Reached | Remarked | Ended


def hear_piece(
    task: Task, recognizer: Recognizer, tell: Callable[[Task, Message], None]
) -> None:
    """Hear a piece to its end and tell what was heard; a fault is told too."""
    from treeward.speech.recognizer import transcribe

    peak = 0.0
    pending: list[Utterance] = []

    def watched(blocks: Iterable[Block]) -> Iterator[Block]:
        nonlocal peak
        for block in blocks:
            peak = max(peak, float(block.samples.max()), -float(block.samples.min()))
            yield block

    def reached(at_s: float) -> None:
        tell(task, Reached(utterances=tuple(pending), at_s=at_s, peak=peak))
        pending.clear()

    try:
        blocks = read_piece(
            task.path,
            task.piece,
            from_s=task.piece.start_s,
            warn=lambda fault: tell(task, Remarked(text=fault.line())),
        )
        for utterance in transcribe(
            watched(blocks), recognizer, progress=reached, from_s=task.from_s
        ):
            pending.append(utterance)  # noqa: PERF402  (`reached` empties it meanwhile)
        if pending:
            reached(pending[-1].end_s)
    except TreewardError as error:
        tell(task, Ended(fault=error.line()))
    else:
        tell(task, Ended())


class Watcher(Protocol):
    """Told how far the hearing has come, of all recordings together."""

    def begin(self, recordings: int, total_s: float, done_s: float) -> None:
        """Take note of what is to be heard, `done_s` of it being known already."""

    def take_up(self, name: str, from_s: float, to_s: float) -> None:
        """Take note that a recording, or this much of it, is being heard now."""

    def advance(self, done_s: float) -> None:
        """Take note that this much of all is known."""

    def end(self) -> None:
        """Take note that all is done, or was given up."""


@dataclass(slots=True)
class _Hearing:
    """One recording while it is heard."""

    kept: HeardFile
    total_s: float | None
    left: set[int]  # numbers of the pieces that are not done
    known_s: dict[int, float]  # seconds known of each piece
    fault: str = ""


@dataclass(slots=True)
class _Round:
    """Keeps what is heard, and tells the watcher."""

    watcher: Watcher | None
    hearings: dict[str, _Hearing] = field(default_factory=dict)
    tasks: list[Task] = field(default_factory=list)

    def prepare(self, hunt: HuntFolder, path: Path, recognizer: Recognizer) -> None:
        """Find out what is left to be heard of a recording."""
        name = recording_name(path, hunt.recordings_dir)
        kept = hunt.heard_file(name)
        free = hunt.file.speech.free
        book, before = hunt.phrase_book, kept.read().by
        by = heard_by(path, recognizer, book, before, free=free)
        earlier = kept.resume(by)
        # What was heard to its end for free speech serves without it too.
        if earlier.done and earlier.by in {by, replace(by, free=True)}:
            return
        info = probe(path)
        if earlier.by != by:
            cuts = pieces_of(
                path,
                duration_s=info.duration_s,
                container=info.container,
                longest_s=PIECE_S,
            )
            kept.begin(by, cuts)
            earlier = kept.read()
        known = {
            one.piece.number: one.piece.length_s(info.duration_s)
            if one.done
            else one.reached_s - one.piece.start_s
            for one in earlier.pieces
        }
        left = [one for one in earlier.pieces if not one.done]
        self.hearings[name] = _Hearing(
            kept=kept,
            total_s=info.duration_s,
            left={one.piece.number for one in left},
            known_s=known,
        )
        self.tasks += [
            Task(path=path, name=name, piece=one.piece, from_s=one.reached_s)
            for one in left
        ]

    def begin(self) -> None:
        if self.watcher and self.tasks:
            total_s = sum(one.total_s or 0.0 for one in self.hearings.values())
            self.watcher.begin(len(self.hearings), total_s, self._known_s())

    def tell(self, task: Task, message: Message) -> None:
        """Take a message about a piece."""
        hearing = self.hearings[task.name]
        number = task.piece.number
        match message:
            case Begun():
                if self.watcher:
                    length_s = task.piece.length_s(hearing.total_s)
                    to_s = task.piece.start_s + length_s
                    self.watcher.take_up(task.name, task.from_s, to_s)
            case Reached(utterances=utterances, at_s=at_s, peak=peak):
                hearing.kept.add(utterances, reached_s=at_s, piece=number, peak=peak)
                hearing.known_s[number] = at_s - task.piece.start_s
                if self.watcher:
                    self.watcher.advance(self._known_s())
            case Remarked(text=text):
                hearing.kept.remark(text)
            case Ended(fault=""):
                hearing.kept.finish_piece(number)
                hearing.left.discard(number)
                if not hearing.left:
                    self._finish(task, hearing)
            case Ended(fault=fault):
                hearing.fault = hearing.fault or fault

    def end(self) -> None:
        if self.watcher and self.tasks:
            self.watcher.end()

    def _known_s(self) -> float:
        return sum(sum(one.known_s.values()) for one in self.hearings.values())

    def _finish(self, task: Task, hearing: _Hearing) -> None:
        heard = hearing.kept.read()
        if len(heard.pieces) > 1 and all(p.peak < SILENT_PEAK for p in heard.pieces):
            hearing.fault = SoundError(
                f"is silent throughout ({heard.reached_s:.0f} s)",
                where=str(task.path),
                mend="Check which microphone the recorder was set to",
            ).line()
            return
        hearing.kept.finish()


def hear_all(
    hunt: HuntFolder,
    paths: Sequence[Path],
    engine: EngineChoice,
    *,
    jobs: int = 1,
    watcher: Watcher | None = None,
    fresh: bool = False,
    say: Callable[[str], None] | None = None,
) -> tuple[list[Recorded], str, bool]:
    """Hear recordings; a fault of one does not stop the rest.

    What was heard is kept stretch by stretch, so that an interrupt loses one stretch
    of each process at most, and a later call goes on from there. `say` is told where
    the engine that comes with Treeward does not work; the rest is as
    `Hunt.transcribe` has it.

    Returns
    -------
    list of Recorded, str, bool
        What was heard, the engine's name ("" where none was needed), and whether the
        person stopped it.

    Raises
    ------
    SpeechError
        The engine cannot be opened.
    """
    hearing_round = _Round(watcher)
    faults: dict[str, str] = {}
    sounds = [path for path in paths if not is_transcript(path)]
    stopped, name = False, ""
    try:
        opened = [engine.open(say)] if sounds else []
        name = opened[0].name if opened else ""
        for path in sounds:
            called = recording_name(path, hunt.recordings_dir)
            if fresh:
                hunt.heard_file(called).forget()
            try:
                hearing_round.prepare(hunt, path, opened[0])
            except TreewardError as error:
                faults[called] = error.line()
        hearing_round.begin()
        if jobs > 1 and len(hearing_round.tasks) > 1:
            opened.clear()  # each process opens its own
            hear_in_processes(
                hearing_round.tasks, engine, jobs=jobs, tell=hearing_round.tell
            )
        else:
            for task in hearing_round.tasks:
                hearing_round.tell(task, Begun())
                hear_piece(task, opened[0], hearing_round.tell)
    except KeyboardInterrupt:
        stopped = True
    finally:
        hearing_round.end()
    faults |= {key: one.fault for key, one in hearing_round.hearings.items()}
    return [_recorded(hunt, path, faults) for path in paths], name, stopped


def _recorded(hunt: HuntFolder, path: Path, faults: dict[str, str]) -> Recorded:
    name = recording_name(path, hunt.recordings_dir)
    if fault := faults.get(name):
        return Recorded(name=name, fault=fault, complete=False)
    try:
        return recorded_of(hunt, path, hunt.heard_file(name), name=name)
    except TreewardError as error:
        return Recorded(name=name, fault=error.line(), complete=False)
