"""Notes among the words of an engine that writes freely."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.note_graph import NoteGraph

from .utterances import WordSource

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.language.phrasebook import PhraseBook

    from .utterances import Word

WITHIN_S = 1.0  # longest pause between two words of a note


class PhraseMatcher:
    """Finds whole notes in a sequence of words, the longest at each place.

    Parameters
    ----------
    book
        What can be said.
    """

    def __init__(self, book: PhraseBook) -> None:
        self._graph = NoteGraph(book)
        self._anchors = {
            way
            for kind in ("bearing", "time")
            for way in book.anchors().get(kind, ())
            if " " not in way
        }

    def mark(self, words: Sequence[Word]) -> tuple[Word, ...]:
        """Give the words again, with those of whole notes marked as such."""
        marked = list(words)
        for first, last in self.notes(words):
            for place in range(first, last):
                marked[place] = replace(marked[place], source=WordSource.PHRASE)
        return tuple(marked)

    def notes(self, words: Sequence[Word]) -> list[tuple[int, int]]:
        """Give first and last (not included) place of each whole note."""
        found, at = [], 0
        while at < len(words):
            texts = [words[at].text]
            for place in range(at + 1, len(words)):
                if words[place].start_s - words[place - 1].end_s > WITHIN_S:
                    break
                texts.append(words[place].text)
            note = self._graph.longest(texts)
            length = len(note.words) if note else 0
            if length:
                found.append((at, at + length))
            at += max(length, 1)
        return found

    def announces(self, text: str) -> bool:
        """Say whether a word announces a number."""
        return text in self._anchors
