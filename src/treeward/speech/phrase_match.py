"""Notes among the words of an engine that has no phrase tokens."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.speech.phrase_tokens import plain_bearings, plain_times
from treeward.speech.records import WordSource
from treeward.speech.word_graph import build_graph

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from treeward.speech.phrasebook import PhraseBook
    from treeward.speech.records import Word
    from treeward.speech.word_graph import WordGraph

WITHIN_S = 1.0  # longest pause between two words of a note


class PhraseMatcher:
    """Finds whole notes in a sequence of words, the longest at each place.

    Parameters
    ----------
    book
        What can be said.
    """

    def __init__(self, book: PhraseBook) -> None:
        values = {
            "bearing": build_graph(plain_bearings()),
            "time": build_graph(plain_times()),
        }
        self._phrases = set(_phrases(book))
        self._longest = max(map(len, self._phrases), default=0)
        self._values: dict[tuple[str, ...], WordGraph] = {
            tuple(way.split()): values[kind]
            for kind, ways in book.anchors().items()
            if kind in values
            for way in ways
        }
        self._ways = {
            (id(graph), arc.source, arc.word): arc.target
            for graph in values.values()
            for arc in graph.arcs
        }

    def mark(self, words: Sequence[Word]) -> tuple[Word, ...]:
        """Give the words again, with those of whole notes marked as such."""
        marked = list(words)
        for first, last, sources in self._notes(words):
            for place, source in zip(range(first, last), sources, strict=True):
                marked[place] = replace(marked[place], source=source)
        return tuple(marked)

    def notes(self, words: Sequence[Word]) -> list[tuple[int, int]]:
        """Give first and last (not included) place of each whole note."""
        return [(first, last) for first, last, _ in self._notes(words)]

    def announces(self, text: str) -> bool:
        """Say whether a word announces a number."""
        return (text,) in self._values

    def _notes(
        self, words: Sequence[Word]
    ) -> Iterator[tuple[int, int, list[WordSource]]]:
        at = 0
        while at < len(words):
            texts = [words[at].text]
            for place in range(at + 1, len(words)):
                if words[place].start_s - words[place - 1].end_s > WITHIN_S:
                    break
                texts.append(words[place].text)
            length = self._phrase(texts)
            if length:
                yield at, at + length, [WordSource.PHRASE] * length
                at += length
                continue
            anchor, length = self._anchored(texts)
            if length:
                number = [WordSource.GRAMMAR] * (length - anchor)
                yield at, at + length, [WordSource.PHRASE] * anchor + number
                at += length
                continue
            at += 1

    def _phrase(self, texts: Sequence[str]) -> int:
        for length in range(min(self._longest, len(texts)), 0, -1):
            if tuple(texts[:length]) in self._phrases:
                return length
        return 0

    def _anchored(self, texts: Sequence[str]) -> tuple[int, int]:
        """Give the length of the anchor, and of anchor and number; 0 for none."""
        for anchor, graph in self._values.items():
            if tuple(texts[: len(anchor)]) != anchor:
                continue
            state, best = graph.start, 0
            for length, text in enumerate(texts[len(anchor) :], len(anchor) + 1):
                target = self._ways.get((id(graph), state, text))
                if target is None:
                    break
                state = target
                best = length if state in graph.final else best
            if best:
                return len(anchor), best
        return 0, 0


def _phrases(book: PhraseBook) -> Iterator[tuple[str, ...]]:
    for phrase in book.fixed_phrases():
        yield phrase.words
    for action in book.action_phrases():
        for mark in book.mark_phrases():
            before = action.place == "before"
            order = (action, mark) if before else (mark, action)
            yield (*order[0].words, *order[1].words)
