"""Hearing the recordings of a hunt, by one process or several.

What is heard does not depend on how many there are: the cuts are the same, and an
engine hears each stretch by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Protocol

from treeward.audio import pieces
from treeward.errors import SoundError, TreewardError

from .hearing_processes import Begun, Ended, Reached, Remarked, Task, hear_piece
from .recordings import is_transcript, recording_name
from .transcription import Recorded, heard_by, recorded_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from treeward.speech.recognizer import Recognizer

    from .folder import HuntFolder
    from .heard import HeardFile
    from .hearing_processes import EngineChoice, Message


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

    name: str
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
        from treeward.audio.reader import probe

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
            cuts = pieces.pieces_of(
                path,
                duration_s=info.duration_s,
                container=info.container,
                longest_s=pieces.LONGEST_S,
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
            name=name,
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
        from treeward.audio.reader import SILENT_PEAK

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
    of each process at most, and a later call goes on from there.

    Parameters
    ----------
    hunt
        The hunt they belong to.
    paths
        Recordings and timed transcripts in it.
    engine
        Opens the speech engine.
    jobs
        Processes at work at the same time; with 1, this one.
    watcher
        Told of the progress.
    fresh
        Forget what was heard before.
    say
        Told where the engine that comes with Treeward does not work.

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
            from .hearing_processes import hear_in_processes

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
    faults |= {one.name: one.fault for one in hearing_round.hearings.values()}
    return [_recorded(hunt, path, faults) for path in paths], name, stopped


def _recorded(hunt: HuntFolder, path: Path, faults: dict[str, str]) -> Recorded:
    name = recording_name(path, hunt.recordings_dir)
    if fault := faults.get(name):
        return Recorded(name=name, fault=fault, complete=False)
    try:
        return recorded_of(hunt, path, hunt.heard_file(name), name=name)
    except TreewardError as error:
        return Recorded(name=name, fault=error.line(), complete=False)
