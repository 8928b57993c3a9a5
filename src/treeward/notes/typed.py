"""Words that were written as an utterance, to be read as dictated notes are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.speech.utterances import Utterance, Word, WordSource

from .parser import parse_notes

if TYPE_CHECKING:
    from treeward.language.phrasebook import PhraseBook

    from .events import Event

_WORD_S = 0.3  # a pace at which written words count as one breath


def parse_typed(text: str, book: PhraseBook) -> list[Event]:
    """Return the notes in written words: "yellow away bearing two one zero".

    Parameters
    ----------
    text
        Words with spaces between, in lower case, without punctuation.
    book
        The phrase book they are read by.
    """
    words = tuple(
        Word(
            text=word,
            start_s=index * _WORD_S,
            end_s=(index + 1) * _WORD_S,
            source=WordSource.TEXT,
        )
        for index, word in enumerate(text.split())
    )
    if not words:
        return []
    said = Utterance(words=words, start_s=0.0, end_s=words[-1].end_s)
    return parse_notes([said], book)
