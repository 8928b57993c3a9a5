"""All that can be said, in every way the recogniser may write it.

Each word is spelt with and without a capital, joined to the word before ("greenback",
"two-ten"), in digits, and as the phrase book's usual mishearings. Full stops and commas
may stand between words, and after one note another may follow. Ways that are spelt
alike are walked together, so that a search sees each text once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from treeward.language.note_graph import (
    END,
    MORE,
    START,
    Arc,
    GraphNote,
    Meaning,
    NoteGraph,
)
from treeward.language.number_words import DIGIT_WORDS, TEEN_WORDS, TENS_WORDS

from .model import END as NO_MORE
from .model import SPACE

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import NDArray

    from .model import Tokens

PAUSES = (",", ".", "...", "!", "?", ";", "-")  # what may stand after a word
# What is written for a word of the same sound, beside the phrase book's mishearings.
_SAME_SOUND: Mapping[str, tuple[str, ...]] = {
    "is": ("'s",),
    "has": ("'s",),
    "two": ("to", "too"),
    "four": ("for", "fore"),
    "eight": ("ate",),
    "one": ("won",),
    "oh": ("o",),
    "o'clock": ("oclock",),
}
_DIGITS: Mapping[str, str] = {
    word: str(digit) for digit, words in DIGIT_WORDS.items() for word in words
} | {word: str(value) for value, word in {**TEEN_WORDS, **TENS_WORDS}.items()}


@dataclass(frozen=True, slots=True)
class Thread:
    """A way through the graph: where it is, and what was said on it."""

    node: int
    rest: tuple[int, ...] = ()  # pieces left of the word under way
    words: tuple[str, ...] = ()  # of the note under way
    meaning: Meaning = ()
    notes: tuple[GraphNote, ...] = ()  # those before it
    paused: bool = False  # a full stop or comma was the last


class SpeltGraph:
    """The graph of words, spelt in a recogniser's pieces.

    Parameters
    ----------
    graph
        What can be said.
    tokens
        The recogniser's pieces of words.
    misheard
        Other words that are written for those of the graph, heard -> meant.
    """

    def __init__(
        self, graph: NoteGraph, tokens: Tokens, misheard: Mapping[str, str]
    ) -> None:
        self._graph = graph
        self._tokens = tokens
        self._entries: dict[int, dict[int, list[tuple[tuple[int, ...], Arc]]]] = {}
        self._next: dict[tuple[int, bool, bool], NDArray[np.intp]] = {}
        self._written: dict[str, list[str]] = {}
        for heard, meant in misheard.items():
            self._written.setdefault(meant, []).append(heard)
        texts = [space + pause for pause in PAUSES for space in ("", SPACE)]
        spelt = (tokens.spell(text) for text in texts)
        self._pauses = frozenset(one[0] for one in spelt if one and len(one) == 1)

    def is_pause(self, piece: int) -> bool:
        """Tell whether a piece is a full stop, a comma or the like."""
        return piece in self._pauses

    def note_of(self, pieces: Iterable[int]) -> GraphNote | None:
        """Give the one note that a text says, if it says just that."""
        threads: Iterable[Thread] = self.start
        for piece in pieces:
            threads = self.take(threads, piece)
        for thread in threads:
            if thread.node in (END, MORE) and not thread.rest and not thread.notes:
                return GraphNote(words=thread.words, meaning=thread.meaning)
        return None

    @property
    def start(self) -> tuple[Thread, ...]:
        """Where every text begins."""
        return (Thread(node=START),)

    def next_pieces(self, threads: Iterable[Thread]) -> NDArray[np.intp]:
        """Give the pieces that may be written next, the last where a text may end."""
        sets = [self._next_of(thread) for thread in threads]
        return sets[0] if len(sets) == 1 else np.unique(np.concatenate(sets))

    def take(self, threads: Iterable[Thread], piece: int) -> list[Thread]:
        """Go on with a piece."""
        found: list[Thread] = []
        for thread in threads:
            said = (thread.words, thread.meaning, thread.notes)
            if thread.rest:
                if thread.rest[0] == piece:
                    found.append(Thread(thread.node, thread.rest[1:], *said))
                continue
            for here in _at_border(thread):
                found.extend(
                    Thread(
                        arc.target,
                        rest,
                        (*here.words, arc.word),
                        (*here.meaning, *arc.meaning),
                        here.notes,
                    )
                    for rest, arc in self._entries_of(here.node).get(piece, ())
                )
                if piece == NO_MORE and here.node == START and here.notes:
                    found.append(here)
            if piece in self._pauses and not thread.paused and thread.node != START:
                found.append(Thread(thread.node, (), *said, paused=True))
        return found if len(found) < 2 else _without_twins(found)

    def _next_of(self, thread: Thread) -> NDArray[np.intp]:
        if thread.rest:
            return np.array(thread.rest[:1], dtype=np.intp)
        key = (thread.node, thread.paused, bool(thread.notes))
        known = self._next.get(key)
        if known is None:
            pieces: set[int] = set()
            for here in _at_border(thread):
                pieces |= set(self._entries_of(here.node))
                if here.node == START and here.notes:
                    pieces.add(NO_MORE)
            if not thread.paused and thread.node != START:
                pieces |= self._pauses
            known = self._next[key] = np.array(sorted(pieces), dtype=np.intp)
        return known

    def _entries_of(self, node: int) -> dict[int, list[tuple[tuple[int, ...], Arc]]]:
        known = self._entries.get(node)
        if known is None:
            known = self._entries[node] = {}
            for arc in self._graph.arcs[node]:
                for spelt in self._spellings(arc.word, first=node == START):
                    known.setdefault(spelt[0], []).append((spelt[1:], arc))
        return known

    def _spellings(self, word: str, *, first: bool) -> list[tuple[int, ...]]:
        forms = [word, *self._written.get(word, ()), *_SAME_SOUND.get(word, ())]
        texts = []
        for form in forms:
            if ":" in form:  # a time of day in digits
                texts += [SPACE + form, SPACE + form.replace(":", ".")]
            elif form.startswith("'"):
                texts.append(form)
            else:
                texts += [SPACE + form, SPACE + form.capitalize()]
                texts += [] if first else [form, "-" + form]
        digits = _DIGITS.get(word)
        if digits is not None and not first:
            texts += [SPACE + digits, digits, "-" + digits, ":" + digits, "." + digits]
        spelt = (self._tokens.spell(text) for text in texts)
        return list(dict.fromkeys(one for one in spelt if one))


def _without_twins(threads: Iterable[Thread]) -> list[Thread]:
    """Keep one of the threads that are at the same place and mean the same.

    "zero" and "oh" are both written 0: in a row of digits they would double each time.
    """
    kept: dict[tuple[object, ...], Thread] = {}
    for thread in threads:
        meant = tuple(note.meaning for note in thread.notes)
        place = (thread.node, thread.rest, thread.paused)
        kept.setdefault((*place, thread.meaning, meant), thread)
    return list(kept.values())


def _at_border(thread: Thread) -> tuple[Thread, ...]:
    """Give a thread between two words, or ended where its note may end, or both."""
    if thread.node not in (END, MORE):
        return (thread,)
    note = GraphNote(words=thread.words, meaning=thread.meaning)
    ended = Thread(START, (), (), (), (*thread.notes, note))
    return (ended,) if thread.node == END else (thread, ended)
