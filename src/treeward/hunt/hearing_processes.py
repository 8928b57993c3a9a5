"""Several processes that hear pieces of recordings at the same time.

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
from dataclasses import dataclass
from multiprocessing.connection import wait
from typing import TYPE_CHECKING, Any

from treeward.audio.pieces import Piece, read_piece
from treeward.errors import TreewardError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from multiprocessing.connection import Connection
    from multiprocessing.context import SpawnProcess
    from pathlib import Path

    from treeward.audio.blocks import Block
    from treeward.speech.recognizer import Recognizer
    from treeward.speech.utterances import Utterance

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
        """Open it.

        Parameters
        ----------
        say
            Told where the engine that comes with Treeward does not work.

        Raises
        ------
        SpeechError
            There is no such model, or it cannot be used.
        """
        from treeward.language.phrasebook import PhraseBook
        from treeward.speech.engines import open_recognizer

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
