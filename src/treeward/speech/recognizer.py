"""The one protocol of all speech engines, and whole recordings through it.

    for utterance in transcribe(read_blocks(path), open_recognizer(book)):
        ...

A live listener cuts the sound with `Segmenter` itself, and hands each stretch to
`Recognizer.decode`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from treeward.audio.blocks import SAMPLE_RATE_HZ, Block

from .segments import FRAME_S, Segmenter
from .utterances import Utterance

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

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
    from_s: float = 0.0,
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
        a later run may begin there.
    from_s
        Second at which such a later run goes on. Its blocks begin where those of the
        run before did, so that voices are told from noise as they were then; what was
        heard is not recognised again.

    Yields
    ------
    Utterance
        In order of time, parted where nobody speaks for UTTERANCE_PAUSE_S.
    """
    segmenter: Segmenter | None = None
    told_s = end_s = 0.0
    for block in blocks:
        if segmenter is None:
            segmenter = Segmenter(start_s=block.start_s)
            told_s = max(block.start_s, from_s)
        for cut in segmenter.push(block.samples):
            if (stretch := _after(cut, from_s)) is None:
                continue
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
        for cut in segmenter.flush():
            if (stretch := _after(cut, from_s)) is not None:
                yield from _heard(recognizer, stretch)
        if progress is not None:
            progress(end_s)


def _after(stretch: Block, from_s: float) -> Block | None:
    """Return what of a stretch is spoken after `from_s`; None where nothing is."""
    begun_s = from_s - stretch.start_s + FRAME_S / 2
    voiced = tuple(span for span in stretch.voiced if span[1] > begun_s)
    if len(voiced) == len(stretch.voiced):
        return stretch
    if not voiced:
        return None
    cut = round(max(0.0, from_s - stretch.start_s) * SAMPLE_RATE_HZ)
    cut_s = cut / SAMPLE_RATE_HZ
    return Block(
        start_s=stretch.start_s + cut_s,
        samples=stretch.samples[cut:],
        voiced=tuple((max(0.0, a - cut_s), b - cut_s) for a, b in voiced),
    )


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
