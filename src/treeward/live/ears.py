"""Running sound to utterances and notes: clean, cut, recognise, parse.

Cleaning and cutting happen with the sound; recognising in a thread of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from treeward.notes.parser import DOUBT_BELOW

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from treeward.audio.records import Block
    from treeward.live.records import Endpoint, Hearing
    from treeward.notes.events import Event
    from treeward.speech.records import Utterance

REMEMBER_S = 6.0  # a note may be cut by a pause; earlier words are kept this long


class Cleaner(Protocol):
    """Takes noise off running sound (speech.front_end)."""

    def push(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return what is clean by now."""

    def flush(self) -> NDArray[np.float32]:
        """Return the rest."""

    def with_plain(self, stretch: Block) -> Block:
        """Put the sound as it came beside it, where noise was taken off."""


@dataclass(slots=True, kw_only=True)
class Ears:
    """A speech engine with what it needs in front and behind."""

    recognizer: Hearing
    parse: Callable[[Sequence[Utterance], str], Sequence[Event]]
    make_cleaner: Callable[[], Cleaner]
    make_endpoint: Callable[[], Endpoint]
    flag_below: float = DOUBT_BELOW  # confidence under which a note is asked for again

    @property
    def name(self) -> str:
        """Name of the engine."""
        return self.recognizer.name


class Cutter:
    """Cuts one recording's sound into stretches with speech in them."""

    def __init__(self, ears: Ears) -> None:
        self._cleaner = ears.make_cleaner()
        self._endpoint = ears.make_endpoint()

    @property
    def in_speech(self) -> bool:
        """Whether somebody is speaking now."""
        return self._endpoint.in_speech

    def push(self, samples: NDArray[np.float32]) -> Sequence[Block]:
        """Take sound; return stretches that are complete, in the recording's time."""
        return self._cut(self._endpoint.push(self._cleaner.push(samples)))

    def flush(self) -> Sequence[Block]:
        """Return what is open at the end of the recording."""
        rest = self._endpoint.push(self._cleaner.flush())
        return self._cut((*rest, *self._endpoint.flush()))

    def _cut(self, stretches: Sequence[Block]) -> Sequence[Block]:
        return [self._cleaner.with_plain(stretch) for stretch in stretches]


class Reader:
    """Turns stretches into new notes, with the words before them in mind."""

    def __init__(self, ears: Ears) -> None:
        self._ears = ears
        self._recent: list[Utterance] = []
        self._recording = ""
        self._done_s = float("-inf")

    def read(self, block: Block, recording: str) -> list[Event]:
        """Return the notes that end within this stretch."""
        heard = self._ears.recognizer.decode(block)
        if recording != self._recording:
            self._recording, self._recent = recording, []
            self._done_s = float("-inf")
        if heard is None or not heard.words:
            return []
        oldest_s = heard.start_s - REMEMBER_S
        self._recent = [u for u in self._recent if u.end_s >= oldest_s] + [heard]
        notes = [
            note
            for note in self._ears.parse(self._recent, recording)
            if note.end_s is not None and note.end_s > max(self._done_s, block.start_s)
        ]
        if notes:
            self._done_s = max(note.end_s or 0.0 for note in notes)
        return notes


def open_ears(hunt_dir: Path, *, model: str | None = None) -> Ears:
    """Open the speech engine with this hunt's phrase book.

    Raises
    ------
    SpeechError, PhraseBookError, HuntError
        No engine can be used, or the phrase book or hunt.toml is at fault.
    """
    from treeward.hunt_file import read_hunt_file
    from treeward.live.phrase_ends import PhraseEnds
    from treeward.notes.parser import parse_notes
    from treeward.speech.choose import open_recognizer
    from treeward.speech.front_end import FrontEnd
    from treeward.speech.phrasebook import PhraseBook

    book = PhraseBook.for_hunt(hunt_dir)
    hunt_toml = hunt_dir / "hunt.toml"
    flag_below = DOUBT_BELOW
    if hunt_toml.is_file():
        flag_below = read_hunt_file(hunt_toml).speech.flag_below

    def parse(utterances: Sequence[Utterance], recording: str) -> Sequence[Event]:
        return parse_notes(utterances, book, recording=recording, flag_below=flag_below)

    return Ears(
        recognizer=open_recognizer(book, model=model, hunt_dir=hunt_dir),
        parse=parse,
        make_cleaner=FrontEnd,
        make_endpoint=PhraseEnds,
        flag_below=flag_below,
    )
