"""Running sound to utterances and notes: cut, recognise, parse.

Cutting happens with the sound; recognising in a thread of its own.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio.blocks import SAMPLE_RATE_HZ, Block
from treeward.notes.parser import DOUBT_BELOW
from treeward.speech.segments import LONGEST_S
from treeward.speech.utterances import WordSource

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from treeward.notes.events import Event
    from treeward.speech.utterances import Utterance

    from .messages import Hearing, Segments

PAUSE_S = 0.4  # of silence end a phrase, so that it is answered soon; choice
GOES_ON_S = 1.0  # a longer pause is outside a note said word by word; guess
REMEMBER_S = 6.0  # a note may be cut by a pause; earlier words are kept this long
# Sound that is piped in faster than it was said sets the session's clock back for each
# stretch; words of one that follows overlap those before by less.
CLOCK_BACK_S = 0.2  # guess


@dataclass(slots=True, kw_only=True)
class Ears:
    """A speech engine with what it needs in front and behind."""

    recognizer: Hearing
    parse: Callable[[Sequence[Utterance], str], Sequence[Event]]
    make_segmenter: Callable[[], Segments]
    flag_below: float = DOUBT_BELOW  # confidence under which a note is asked for again

    @property
    def name(self) -> str:
        """Name of the engine."""
        return self.recognizer.name


class Reader:
    """Turns stretches into new notes, with the words before them in mind.

    An answer is wanted soon, so a stretch ends at a short pause. Who says a note word
    by word pauses longer: a stretch without a note is read again with the next one.
    """

    def __init__(self, ears: Ears) -> None:
        self._ears = ears
        self._recent: list[Utterance] = []
        self._held: Block | None = None  # without a note, may go on
        self._recording = ""
        self._done_s = float("-inf")

    def read(self, block: Block, recording: str) -> list[Event]:
        """Return the notes that end within this stretch."""
        if recording != self._recording:
            self._recording, self._recent, self._held = recording, [], None
            self._done_s = float("-inf")
        heard = self._decoded(block)
        if heard is None or not heard.words:
            return []
        if heard.start_s < self._done_s - CLOCK_BACK_S:  # what was before is elsewhere
            self._recent, self._done_s = [], float("-inf")
        oldest_s = heard.start_s - REMEMBER_S
        self._recent = [u for u in self._recent if u.end_s >= oldest_s] + [heard]
        notes = [
            note
            for note in self._ears.parse(self._recent, recording)
            if note.end_s is not None and note.end_s > max(self._done_s, heard.start_s)
        ]
        if notes:
            self._done_s = max(note.end_s or 0.0 for note in notes)
        return notes

    def _decoded(self, block: Block) -> Utterance | None:
        heard = self._ears.recognizer.decode(block)
        held, self._held = self._held, None
        if _has_note(heard):
            return heard
        if held is not None and (joined := _joined(held, block)) is not None:
            together = self._ears.recognizer.decode(joined)
            if _has_note(together):
                return together
        self._held = block
        return heard


def _has_note(heard: Utterance | None) -> bool:
    return heard is not None and any(
        word.source is WordSource.PHRASE for word in heard.words
    )


def _joined(held: Block, block: Block) -> Block | None:
    """Put a stretch before the one that follows it closely, else give None."""
    if not held.voiced or not block.voiced:
        return None
    shift_s = block.start_s - held.start_s
    pause_s = shift_s + block.voiced[0][0] - held.voiced[-1][1]
    length_s = shift_s + block.voiced[-1][1] - held.voiced[0][0]
    kept = round(shift_s * SAMPLE_RATE_HZ)
    if pause_s > GOES_ON_S or length_s > LONGEST_S or kept > len(held.samples):
        return None
    return Block(
        start_s=held.start_s,
        samples=np.concatenate((held.samples[:kept], block.samples)),
        voiced=held.voiced + tuple((a + shift_s, b + shift_s) for a, b in block.voiced),
    )


def open_ears(hunt_dir: Path, *, model: str | None = None) -> Ears:
    """Open the speech engine with this hunt's phrase book.

    Raises
    ------
    SpeechError, PhraseBookError, HuntError
        No engine can be used, or the phrase book or hunt.toml is at fault.
    """
    from treeward.hunt_file import read_hunt_file
    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.parser import parse_notes
    from treeward.speech.engines import open_recognizer
    from treeward.speech.segments import Segmenter

    book = PhraseBook.for_hunt(hunt_dir)
    hunt_toml = hunt_dir / "hunt.toml"
    flag_below = DOUBT_BELOW
    if hunt_toml.is_file():
        flag_below = read_hunt_file(hunt_toml).speech.flag_below

    def parse(utterances: Sequence[Utterance], recording: str) -> Sequence[Event]:
        return parse_notes(utterances, book, recording=recording, flag_below=flag_below)

    return Ears(
        recognizer=open_recognizer(book, model=model, hunt_dir=hunt_dir, say=_say),
        parse=parse,
        make_segmenter=partial(Segmenter, pause_s=PAUSE_S),
        flag_below=flag_below,
    )


def _say(line: str) -> None:
    sys.stderr.write(f"{line}\n")
