"""The work on one piece of a recording, and what is told of it meanwhile.

Everything here goes from one process to another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.audio.pieces import Piece, read_piece
from treeward.errors import TreewardError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from treeward.audio.blocks import Block
    from treeward.speech.recognizer import Recognizer
    from treeward.speech.utterances import Utterance


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineChoice:
    """Opens the speech engine of a hunt, in any process."""

    hunt_dir: Path
    model: str | None = None  # name or folder of a model

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
        return open_recognizer(book, model=self.model, hunt_dir=self.hunt_dir, say=say)


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
            from_s=task.from_s,
            warn=lambda fault: tell(task, Remarked(text=fault.line())),
        )
        for utterance in transcribe(watched(blocks), recognizer, progress=reached):
            pending.append(utterance)  # noqa: PERF402  (`reached` empties it meanwhile)
        if pending:
            reached(pending[-1].end_s)
    except TreewardError as error:
        tell(task, Ended(fault=error.line()))
    else:
        tell(task, Ended())
