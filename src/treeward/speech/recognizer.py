"""The one protocol of all speech engines, and whole recordings through it.

    for utterance in transcribe(read_blocks(path), open_recognizer(book)):
        ...

A live listener cuts the sound with `Segmenter` itself, and hands each stretch to
`Recognizer.decode`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from .segments import Segmenter
from .utterances import Utterance

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from treeward.audio.blocks import Block

    from .utterances import Word

UTTERANCE_PAUSE_S = 1.0  # a longer pause ends an utterance
SILENCE_S = 20.0  # where nobody speaks, progress is told this often


class Recognizer(Protocol):
    """A speech engine with its model."""

    name: str  # "neural"
    model: str  # "tiny-en"

    def decode(self, stretch: Block) -> Utterance | None:
        """Recognise one stretch of sound.

        Parameters
        ----------
        stretch
            Some nine seconds at most, and where in it somebody speaks.

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
    segmenter: Segmenter | None = None
    told_s = end_s = 0.0
    for block in blocks:
        if segmenter is None:
            segmenter, told_s = Segmenter(start_s=block.start_s), block.start_s
        for stretch in segmenter.push(block.samples):
            yield from _heard(recognizer, stretch)
            told_s = stretch.start_s + stretch.voiced[-1][1]
            if progress is not None:
                progress(told_s)
        end_s = block.end_s
        quiet_s = segmenter.quiet_until_s
        if progress is not None and quiet_s - told_s > SILENCE_S:
            told_s = quiet_s
            progress(told_s)
    if segmenter is not None:
        for stretch in segmenter.flush():
            yield from _heard(recognizer, stretch)
        if progress is not None:
            progress(end_s)


def _heard(recognizer: Recognizer, stretch: Block) -> Iterator[Utterance]:
    heard = recognizer.decode(stretch)
    if heard is not None:
        yield from part_at_pauses(heard)


def part_at_pauses(utterance: Utterance) -> Iterator[Utterance]:
    """Part an utterance where nobody speaks for UTTERANCE_PAUSE_S."""
    held = [utterance.words[0]]
    for word in utterance.words[1:]:
        if word.start_s - held[-1].end_s > UTTERANCE_PAUSE_S:
            yield _joined(held)
            held = []
        held.append(word)
    yield _joined(held)


def _joined(words: Sequence[Word]) -> Utterance:
    return Utterance(
        words=tuple(words), start_s=words[0].start_s, end_s=words[-1].end_s
    )
