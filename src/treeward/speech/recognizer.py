"""The one protocol of all speech engines, and whole recordings through it.

    for utterance in transcribe(read_blocks(path), open_recognizer(book)):
        ...

A live listener cleans the sound with `FrontEnd`, cuts phrases with `Endpointer` and
hands each to `Recognizer.decode`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from treeward.audio.records import SAMPLE_RATE_HZ, Block
from treeward.speech.front_end import FrontEnd
from treeward.speech.records import Utterance
from treeward.speech.sieve import Rises, spoken_spans
from treeward.speech.windows import cut_windows

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

RUN_IN_S = 30.0  # of speech, for the engine to get used to first; guess
RUN_IN_AT_MOST_S = 600.0  # of sound, where little is said; guess
UTTERANCE_PAUSE_S = 1.0  # a longer pause ends an utterance


class Recognizer(Protocol):
    """A speech engine with its model."""

    name: str  # "pocketsphinx"
    model: str  # "en-us 5.1.1"

    def get_used_to(self, stretches: Iterable[Block]) -> None:
        """Take in how voice and microphone sound, before anything is recognised.

        Parameters
        ----------
        stretches
            Cleaned sound as `decode` takes it, in which somebody probably speaks.
        """
        ...

    def decode(self, stretch: Block) -> Utterance | None:
        """Recognise one stretch of cleaned sound.

        Parameters
        ----------
        stretch
            At most about 12 s, with the sound as it came where noise was taken off.

        Returns
        -------
        Utterance or None
            The words in it, with times in seconds of the recording; None when
            there are none.
        """
        ...


def transcribe(
    blocks: Iterable[Block],
    recognizer: Recognizer,
    *,
    progress: Callable[[float], None] | None = None,
) -> Iterator[Utterance]:
    """Recognise a whole recording; memory does not grow with its length.

    Parameters
    ----------
    blocks
        The recording as `treeward.audio.reader.read_blocks` gives it.
    recognizer
        The engine.
    progress
        Called with the second up to which everything is done and has been yielded;
        a later run may begin there (`read_blocks(path, start_s=...)`).

    Yields
    ------
    Utterance
        In order of time, parted where nobody speaks for UTTERANCE_PAUSE_S.
    """
    waiting: list[tuple[float, list[Block]]] = []
    spoken_s, used_to_it, begun_s = 0.0, False, None
    front_end = FrontEnd(in_batches=True)
    for window in cut_windows(_cleaned(blocks, front_end)):
        begun_s = window.start_s if begun_s is None else begun_s
        stretches = _stretches(window, front_end, begun_s)
        spoken_s += sum(stretch.end_s - stretch.start_s for stretch in stretches)
        waiting.append((window.end_s, stretches))
        if not used_to_it:
            if spoken_s < RUN_IN_S and window.end_s - begun_s < RUN_IN_AT_MOST_S:
                continue
            recognizer.get_used_to(_all(waiting))
            used_to_it = True
        yield from _decoded(recognizer, waiting, progress)
    if not used_to_it:
        recognizer.get_used_to(_all(waiting))
    yield from _decoded(recognizer, waiting, progress)


def _stretches(window: Block, front_end: FrontEnd, begun_s: float) -> list[Block]:
    cut = [
        Block(
            start_s=window.start_s + first / SAMPLE_RATE_HZ,
            samples=window.samples[first:end],
        )
        for first, end in spoken_spans(window.samples)
    ]
    return [front_end.with_plain(stretch, begun_s) for stretch in cut]


def _all(waiting: Sequence[tuple[float, Sequence[Block]]]) -> Iterator[Block]:
    return (stretch for _, stretches in waiting for stretch in stretches)


def _decoded(
    recognizer: Recognizer,
    waiting: list[tuple[float, list[Block]]],
    progress: Callable[[float], None] | None,
) -> Iterator[Utterance]:
    """Recognise the windows that wait, and empty the list."""
    for end_s, stretches in waiting:
        for stretch in stretches:
            heard = recognizer.decode(stretch)
            if heard is not None:
                yield from part_at_pauses(heard)
        if progress is not None:
            progress(end_s)
    waiting.clear()


def _cleaned(blocks: Iterable[Block], front_end: FrontEnd) -> Iterator[Block]:
    at_s: float | None = None
    for block, spoken in _with_speech_near(blocks):
        if at_s is None:
            at_s = block.start_s
        cleaned = front_end.push(block.samples, spoken=spoken)
        clean = Block(start_s=at_s, samples=cleaned)
        at_s = clean.end_s
        yield clean
    if at_s is not None:
        yield Block(start_s=at_s, samples=front_end.flush())


def _with_speech_near(blocks: Iterable[Block]) -> Iterator[tuple[Block, bool]]:
    """Tell of each block whether something rises in it, before it or after it."""
    rises = Rises()
    held: Block | None = None
    before = now = False
    for block in blocks:
        after = rises.push(block.samples)
        if held is not None:
            yield held, before or now or after
        held, before, now = block, now, after
    if held is not None:
        yield held, before or now


def part_at_pauses(utterance: Utterance) -> Iterator[Utterance]:
    """Part an utterance where nobody speaks for UTTERANCE_PAUSE_S."""
    held = [utterance.words[0]]
    for word in utterance.words[1:]:
        if word.start_s - held[-1].end_s > UTTERANCE_PAUSE_S:
            yield _joined(held)
            held = []
        held.append(word)
    yield _joined(held)


def _joined(words: list) -> Utterance:  # type: ignore[type-arg]
    return Utterance(
        words=tuple(words), start_s=words[0].start_s, end_s=words[-1].end_s
    )
