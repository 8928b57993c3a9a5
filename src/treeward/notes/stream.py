"""The words of all utterances as one stream of single spoken words.

A note may be cut by a pause into two utterances, and one engine word may hold a whole
phrase. Here every word is a `StreamWord` with its own time, so that phrases can be
found across both kinds of border.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.number_words import plain_words
from treeward.speech.utterances import WordSource

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treeward.speech.utterances import Alternative, Utterance, Word

# Said in passing; they neither make talk nor break a note.
FILLERS = frozenset(
    {
        *("um", "uh", "er", "erm", "ah", "oh", "mm", "hmm", "okay", "ok", "right"),
        *("and", "so", "now", "well", "yes", "yeah", "yep", "then", "the", "a"),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamWord:
    """One spoken word.

    `word` counts engine words and `utterance` utterances from the start. `raw` keeps
    the punctuation of a transcript.
    """

    text: str
    start_s: float
    end_s: float
    confidence: float
    source: WordSource
    word: int
    utterance: int
    raw: str
    alternatives: tuple[Alternative, ...] = ()

    @property
    def strong(self) -> bool:
        """Whether the engine listened for just this."""
        return self.source is WordSource.PHRASE


def _pieces_of(word: Word, count: int, utterance: int) -> list[StreamWord]:
    texts = plain_words(word.text)
    raws = word.text.split()
    total = sum(len(text) for text in texts) or 1
    duration_s = word.end_s - word.start_s
    pieces: list[StreamWord] = []
    said = 0
    for index, text in enumerate(texts):
        start_s = word.start_s + duration_s * said / total
        said += len(text)
        pieces.append(
            StreamWord(
                text=text,
                start_s=start_s,
                end_s=word.start_s + duration_s * said / total,
                confidence=word.confidence,
                source=word.source,
                word=count,
                utterance=utterance,
                raw=raws[index] if len(raws) == len(texts) else word.text,
                alternatives=word.alternatives,
            )
        )
    return pieces


def stream(utterances: Iterable[Utterance]) -> list[StreamWord]:
    """Lay out all words in order of time."""
    pieces: list[StreamWord] = []
    count = 0
    ordered = sorted(utterances, key=lambda utterance: utterance.start_s)
    for number, utterance in enumerate(ordered):
        for word in utterance.words:
            if word.source is WordSource.TALK:
                continue
            pieces += _pieces_of(word, count, number)
            count += 1
    return pieces


def gap_before_s(pieces: Sequence[StreamWord], index: int) -> float:
    """Give the silence before a piece in seconds, endless before the first."""
    if index <= 0:
        return float("inf")
    if index >= len(pieces):
        return float("inf")
    return pieces[index].start_s - pieces[index - 1].end_s


def texts_from(
    pieces: Sequence[StreamWord], first: int, *, within_s: float, most: int = 12
) -> list[str]:
    """Give the words from `first` on until a gap longer than `within_s`."""
    found: list[str] = []
    for index in range(first, min(len(pieces), first + most)):
        if index > first and gap_before_s(pieces, index) > within_s:
            break
        found.append(pieces[index].text)
    return found


def confidence_of(pieces: Sequence[StreamWord]) -> float:
    """Give the confidence of the least sure word.

    The engine gives all words of one note the confidence of the whole note, so that
    multiplying them would count it several times.
    """
    return min(piece.confidence for piece in pieces)


def heard(pieces: Sequence[StreamWord]) -> str:
    """Give the words as the engine wrote them."""
    return " ".join(piece.text for piece in pieces)


def alternatives_of(pieces: Sequence[StreamWord]) -> tuple[Alternative, ...]:
    """Give other readings of a note, which stand on its first word that has any."""
    found = next((piece.alternatives for piece in pieces if piece.alternatives), ())
    return tuple(sorted(found, key=lambda other: -other.confidence))
