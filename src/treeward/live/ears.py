"""Running sound to utterances and notes: cut, recognise, parse.

Cutting happens with the sound; recognising in a thread of its own.
"""

from __future__ import annotations

import queue
import sys
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.hunt_tables import DOUBT_BELOW
from treeward.speech.recognizer import LONGEST_S, Segmenter
from treeward.speech.utterances import WordSource

from .answer import LevelMeter

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.notes.events import Event
    from treeward.speech.recognizer import Recognizer
    from treeward.speech.utterances import Utterance

    from .answer import Gate
    from .streams import Timeline

PAUSE_S = 0.4  # of silence end a phrase, so that it is answered soon; choice
GOES_ON_S = 1.0  # a longer pause is outside a note said word by word; guess
REMEMBER_S = 6.0  # a note may be cut by a pause; earlier words are kept this long
# Sound that is piped in faster than it was said sets the session's clock back for each
# stretch; words of one that follows overlap those before by less.
CLOCK_BACK_S = 0.2  # guess


@dataclass(slots=True, kw_only=True)
class Ears:
    """A speech engine with what it needs behind."""

    recognizer: Recognizer
    parse: Callable[[Sequence[Utterance], str], Sequence[Event]]
    flag_below: float = DOUBT_BELOW  # confidence under which a note is asked for again


class NoteReader:
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
    from treeward.speech.recognizer import open_recognizer

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
        flag_below=flag_below,
    )


def _say(line: str) -> None:
    sys.stderr.write(f"{line}\n")


HELD_STRETCHES = 64  # waiting to be recognised
HELD_CHUNKS = 600  # a minute of sound that waits to be cut
HELD_LONGEST_S = 9.2  # of a stretch: LONGEST_S and sound around it


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldSound:
    """A chunk of sound that was given to the disk.

    `begins_s` counts from the beginning of what hangs together, `elapsed_s` is when its
    first sample was heard, as far as is known by then. `timeline` gives its place in
    the recording; None while that is not known yet.
    """

    samples: NDArray[np.float32]
    begins_s: float
    elapsed_s: float
    timeline: Timeline | None
    can_wait: bool  # its source can be told to wait

    @property
    def ends_s(self) -> float:
        """Second of what hangs together at which it ends."""
        return self.begins_s + len(self.samples) / SAMPLE_RATE_HZ


class Cuts:
    """Cuts what is pushed, from `run`'s thread.

    `gate` mutes our own answers, where they are heard. `on_unheard` is told of seconds
    of the recording that were left to the second pass. `paced` is False for a
    rehearsal as fast as it goes.
    """

    def __init__(
        self,
        gate: Gate | None,
        *,
        on_unheard: Callable[[float, float], None],
        paced: bool,
    ) -> None:
        self._gate = gate
        self._on_unheard = on_unheard
        self._items: queue.Queue[HeldSound | Callable[[], None] | None] = queue.Queue()
        self.stretches: queue.Queue[Block | None] = queue.Queue(
            HELD_STRETCHES if paced else 1
        )
        self._cutter = Segmenter(pause_s=PAUSE_S)
        self._begins_s: float | None = None  # second at which the cutter began
        self._reached_s = 0.0
        self._can_wait = False
        self._waiting: list[Block] = []  # stretches whose place is not known yet
        self.meter = LevelMeter()
        self.fault = ""

    @property
    def in_speech(self) -> bool:
        """Whether somebody is speaking now."""
        return self._cutter.in_speech

    # --- from the disk's thread ----------------------------------------------

    def push(self, sound: HeldSound) -> None:
        """Take a chunk; returns at once where its source cannot wait."""
        if not sound.can_wait and self._items.qsize() >= HELD_CHUNKS:
            return  # `_take` sees that it is missing
        self._items.put(sound)
        if sound.can_wait:
            self._items.join()

    def place(self, timeline: Timeline) -> None:
        """Hand on what waits for its place."""
        self.tell(lambda: self._pass_on(timeline))

    def cut_off(self, timeline: Timeline) -> None:
        """End what hangs together; `timeline` holds its places."""

        def end() -> None:
            self._flush(timeline)
            self._reached_s = 0.0

        self.tell(end)

    def tell(self, call: Callable[[], None]) -> None:
        """Have something told from the cutter's thread, in its turn."""
        self._items.put(call)

    def end(self) -> None:
        """End `run` after what is waiting."""
        self._items.put(None)

    # --- the cutter's thread -------------------------------------------------

    def run(self) -> None:
        """Cut until `end`."""
        try:
            while (item := self._items.get()) is not None:
                try:
                    if isinstance(item, HeldSound):
                        self._take(item)
                    else:
                        item()
                except Exception as error:  # noqa: BLE001 (sound is kept, and the session goes on)
                    self._give_up(error, item)
                finally:
                    self._items.task_done()
        finally:
            self.stretches.put(None)

    def _take(self, sound: HeldSound) -> None:
        if sound.begins_s > self._reached_s + 1e-6 and sound.timeline is not None:
            self._flush(sound.timeline)
            at = sound.timeline.at
            self._on_unheard(at(self._reached_s), at(sound.begins_s))
        self._reached_s = sound.ends_s
        self._can_wait = sound.can_wait
        self.meter.push(sound.samples)
        samples = sound.samples
        if self._gate is not None:
            samples = self._gate.mute(samples, sound.elapsed_s)
        if self._begins_s is None:
            self._begins_s = sound.begins_s
        self._waiting += self._in_place(self._cutter.push(samples))
        if sound.timeline is not None:
            self._pass_on(sound.timeline)

    def _give_up(self, error: Exception, item: object) -> None:
        """Begin afresh after a fault of ours; the second pass hears what was lost."""
        self.fault = f"some sound is kept but was not heard ({type(error).__name__})"
        began_s = self._begins_s
        self._cutter, self._begins_s = Segmenter(pause_s=PAUSE_S), None
        if isinstance(item, HeldSound) and item.timeline is not None:
            from_s = item.begins_s - HELD_LONGEST_S if began_s is None else began_s
            at = item.timeline.at
            self._on_unheard(
                at(max(from_s, item.begins_s - HELD_LONGEST_S, 0.0)), at(item.ends_s)
            )

    def _in_place(self, blocks: Sequence[Block]) -> list[Block]:
        """Count stretches from the beginning of what hangs together."""
        began_s = self._begins_s or 0.0
        return [replace(b, start_s=b.start_s + began_s) for b in blocks]

    def _flush(self, timeline: Timeline) -> None:
        if self._begins_s is not None:
            self._waiting += self._in_place(self._cutter.flush())
            self._cutter, self._begins_s = Segmenter(pause_s=PAUSE_S), None
        self._pass_on(timeline)

    def _pass_on(self, timeline: Timeline) -> None:
        """Hand stretches to the recognizer, in seconds of the recording."""
        for cut in self._waiting:
            block = replace(cut, start_s=timeline.at(cut.start_s))
            if self._can_wait:
                self.stretches.put(block)
                continue
            try:
                self.stretches.put_nowait(block)
            except queue.Full:
                self._on_unheard(block.start_s, block.end_s)
        self._waiting.clear()
