"""The notes that a stretch of sound most probably says, all spellings together.

How sure a reading is: the share of such readings that are right: a logistic regression
on what the search and the free text say, fitted on people's words in real noise amid
other people's talk (tests/benchmarks/hearing/calibrate.py). What counts most is how
much likelier the recogniser finds its own free text than the note, and whether a wider
and a narrower piece of the sound are read alike.

Searched is all that can be said, in every way the recogniser may write it: each word is
spelt with and without a capital, joined to the word before ("greenback", "two-ten"), in
digits, and as the phrase book's usual mishearings. Full stops and commas may stand
between words, and after one note another may follow. Ways that are spelt alike are
walked together, so that a search sees each text once.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from treeward.language.kinds import KINDS, NUMBERS, EventKind
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
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from .model import Beam, Encoded, FreeText, Model, Tokens


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

    `misheard` are other words that are written for those of the graph, heard -> meant.
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
        # Full stops, commas and the like.
        self.pauses = frozenset(one[0] for one in spelt if one and len(one) == 1)

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
            if piece in self.pauses and not thread.paused and thread.node != START:
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
                pieces |= self.pauses
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


BEAM = 10  # beginnings kept; more changed nothing
SPELLINGS = 3  # kept of the same words, or their spellings would fill the beam
LOOKED_AT = 2  # times the beam: ways that are made before the beam is thinned
# Natural logarithms below which a text is no note, whatever else might be said: of
# right readings, most in noise, one in a hundred is less likely. Each note before the
# last gives more room.
LEAST, MORE_EACH_NOTE = -16.0, -10.0
BEHIND = 5.0  # nats below the likeliest text of as many pieces; measured
FAR_BEHIND = 12.0  # nats below the best text that has ended: no use going on
TEXTS_BEAM = 8  # beginnings of free texts kept; with 5 a few notes of a day are lost
TEXTS_BEHIND = 4.0  # nats below the likeliest free text: no use; guess


@dataclass(slots=True)
class Reading:
    """Notes that a stretch may say, and how probable they are."""

    notes: tuple[GraphNote, ...]
    pieces: tuple[int, ...]  # of the likeliest spelling
    log_p: float  # of all spellings found, natural logarithm
    best_log_p: float = field(default=-np.inf)  # of that one

    @property
    def meaning(self) -> tuple[Meaning, ...]:
        """What it says, whatever the words."""
        return tuple(note.meaning for note in self.notes)


@dataclass(slots=True)
class _Text:
    """A text under way."""

    pieces: tuple[int, ...]
    log_p: float
    threads: Sequence[Thread]
    row: int = 0

    @property
    def said(self) -> int:
        """Notes so far, the one under way included."""
        thread = self.threads[0]
        return len(thread.notes) + bool(thread.words)


def search(
    model: Model, encoded: Encoded, graph: SpeltGraph, *, at_least: float = -np.inf
) -> list[Reading]:
    """Find the likeliest notes, the likeliest first.

    There are none where nothing comes near `at_least`, the natural logarithm of a
    probability below which nothing is of interest.
    """
    beam = encoded.first
    ways = [_Text(pieces=(), log_p=0.0, threads=graph.start)]
    found: dict[tuple[Meaning, ...], Reading] = {}
    best = -np.inf
    for _ in range(encoded.most_pieces + 1):
        longer = [
            way
            for way in _longer(ways, beam, graph, max(at_least, best - FAR_BEHIND))
            if way.log_p > LEAST + MORE_EACH_NOTE * max(way.said - 1, 0)
        ]
        for way in longer:
            if way.pieces[-1] == NO_MORE:
                best = max(best, way.log_p)
                _keep(found, way)
        ways = [way for way in longer if way.pieces[-1] != NO_MORE]
        limit = max(at_least, best - FAR_BEHIND)
        ways = _thinned([way for way in ways if way.log_p > limit])
        if not ways:
            break
        rows = [way.row for way in ways]
        beam = model.step(encoded, beam, rows, [way.pieces[-1] for way in ways])
    return sorted(found.values(), key=lambda reading: -reading.log_p)


def _longer(
    ways: Sequence[_Text], beam: Beam, graph: SpeltGraph, above: float
) -> list[_Text]:
    """Go on with every piece that may follow; the likeliest few, in order."""
    each: list[NDArray[np.intp]] = [graph.next_pieces(way.threads) for way in ways]
    pieces = np.concatenate(each)
    rows = np.repeat(np.arange(len(ways)), [len(one) for one in each])
    begun = np.array([way.log_p for way in ways])
    log_p = beam.log_p[rows, pieces] + begun[rows]
    order = np.argsort(-log_p)[: LOOKED_AT * BEAM]
    on = order[pieces[order] != NO_MORE]
    if len(on):
        above = max(above, float(log_p[on[0]]) - BEHIND)
    order = order[(log_p[order] > above) | (pieces[order] == NO_MORE)]
    return [
        _Text(
            pieces=(*ways[row].pieces, piece),
            log_p=float(log_p[place]),
            threads=graph.take(ways[row].threads, piece),
            row=row,
        )
        for place, row, piece in zip(
            order.tolist(), rows[order].tolist(), pieces[order].tolist(), strict=True
        )
    ]


def _thinned(ways: Sequence[_Text]) -> list[_Text]:
    kept: list[_Text] = []
    counts: dict[tuple[object, ...], int] = {}
    for way in ways:
        thread = way.threads[0]
        said = (thread.notes, thread.words, bool(thread.rest))
        counts[said] = counts.get(said, 0) + 1
        if counts[said] <= SPELLINGS:
            kept.append(way)
        if len(kept) == BEAM:
            break
    return kept


def _keep(found: dict[tuple[Meaning, ...], Reading], way: _Text) -> None:
    notes = way.threads[0].notes
    meaning = tuple(note.meaning for note in notes)
    known = found.get(meaning)
    if known is None:
        known = found[meaning] = Reading(notes=notes, pieces=(), log_p=-np.inf)
    known.log_p = float(np.logaddexp(known.log_p, way.log_p))
    if way.log_p > known.best_log_p:
        known.best_log_p, known.notes = way.log_p, notes
        known.pieces = way.pieces[:-1]


def free_texts(model: Model, encoded: Encoded) -> list[tuple[tuple[int, ...], float]]:
    """Write what may be said, whatever it is, the likeliest first.

    Gives pieces and the natural logarithm of their probability.
    """
    beam = encoded.first
    ways: list[tuple[tuple[int, ...], float]] = [((), 0.0)]
    ended: list[tuple[tuple[int, ...], float]] = []
    best = -np.inf
    for _ in range(encoded.most_pieces + 1):
        log_p = beam.log_p + np.array([[way[1]] for way in ways], dtype=np.float32)
        flat = log_p.ravel()
        likely = np.argpartition(-flat, 2 * TEXTS_BEAM)[: 2 * TEXTS_BEAM]
        likely = likely[np.argsort(-flat[likely])]
        likely = likely[flat[likely] > max(flat[likely[0]], best) - TEXTS_BEHIND]
        rows, pieces = np.divmod(likely, log_p.shape[1])
        longer: list[tuple[tuple[int, ...], float]] = []
        kept: list[int] = []
        for row, piece in zip(rows.tolist(), pieces.tolist(), strict=True):
            way = ((*ways[row][0], piece), float(log_p[row, piece]))
            if piece == NO_MORE:
                ended.append((ways[row][0], way[1]))
                best = max(best, way[1])
            elif len(longer) < TEXTS_BEAM:
                longer.append(way)
                kept.append(row)
        if not longer:
            break
        ways = longer
        beam = model.step(encoded, beam, kept, [way[0][-1] for way in ways])
    return sorted(ended or ways, key=lambda way: -way[1])


def parted(graph: SpeltGraph, reading: Reading) -> list[list[int]]:
    """Part the pieces of a reading's text into those of each note."""
    parts: list[list[int]] = [[] for _ in reading.notes]
    threads: Sequence[Thread] = graph.start
    at = 0
    for piece in reading.pieces:
        taken = graph.take(threads, piece)
        threads = [one for one in taken if _leads_to(one, reading.notes)] or taken
        at = min(len(threads[0].notes), len(parts) - 1)
        parts[at].append(piece)
    return parts


def _leads_to(thread: Thread, notes: Sequence[GraphNote]) -> bool:
    """Tell whether the notes begin as this thread does."""
    done = len(thread.notes)
    if done >= len(notes):
        return not thread.words and thread.notes == tuple(notes)
    words = notes[done].words[: len(thread.words)]
    return thread.notes == tuple(notes[:done]) and thread.words == words


def clauses(graph: SpeltGraph, pieces: Sequence[int]) -> list[tuple[int, int]]:
    """Part a text at its full stops and commas: first and last (not included) piece."""
    found, first = [], 0
    for place, piece in enumerate((*pieces, None)):
        if piece is None or piece in graph.pauses:
            if place > first:
                found.append((first, place))
            first = place + 1
    return found


TAKEN_FROM = 0.4  # readings less sure than this are taken for talk
SYLLABLE_S = 0.2  # of speech; people's usual pace
_RUNS_ON_S = 0.35  # a shorter pause beside a note: it may be part of talk; guess
_LONE = frozenset(kind for kind in EventKind if KINDS[kind].alone)  # a word or two
_VOWELS = re.compile("[aeiouy]+")
_NOT_LETTERS = re.compile("[^a-z0-9 ]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What one window of sound says: freely, and as notes."""

    start_s: float
    end_s: float
    encoded: Encoded
    free: FreeText
    text: str  # the free text
    readings: Sequence[Reading]  # the likeliest first


def evidence(
    look: Look, other: Look, *, voiced_s: float, pause_s: float
) -> NDArray[np.float64]:
    """Gather what tells right readings from wrong ones, for a look's best reading.

    `other` is the same speech with more, or less, sound around it; `voiced_s` how long
    somebody speaks in it, `pause_s` the shorter of the pauses before and after it.
    """
    best, free = look.readings[0], look.free
    said = " ".join(note.text for note in best.notes)
    pieces, free_pieces = len(best.pieces) + 1, len(free.pieces) + 1
    ratio = best.log_p - free.log_p
    margin = 10.0
    if len(look.readings) > 1:
        margin = best.log_p - look.readings[1].log_p
    pace = math.log(max(voiced_s, 0.03) / syllables(said) / SYLLABLE_S)
    kinds = {note.part("kind") for note in best.notes}
    same = bool(other.readings) and other.readings[0].meaning == best.meaning
    known = any(reading.meaning == best.meaning for reading in other.readings)
    other_ratio = other.readings[0].log_p - other.free.log_p if same else -16.0
    return np.array(
        [
            np.clip(ratio, -16, 4),
            np.clip(ratio, -16, 0) ** 2 / 16,
            np.clip(best.best_log_p / pieces, -5, 0),
            np.clip(margin, 0, 6),
            np.clip(math.log(pieces / free_pieces), -1.5, 1),
            np.clip(pace, -2, 2),
            np.clip(pace, -2, 2) ** 2,
            kinds <= _LONE,
            any(_is_number(note) for note in best.notes),
            np.clip(free.log_p / free_pieces, -3, 0),
            plain(look.text) == said,
            np.clip(best.log_p, -20, 0),
            len(best.notes) > 1,
            pause_s < _RUNS_ON_S,
            same,
            np.clip(other_ratio, -16, 4),
            known,
        ],
        dtype=np.float64,
    )


def _is_number(note: GraphNote) -> bool:
    """Tell whether a note is a number that was announced."""
    holds = KINDS[EventKind(note.part("kind"))].holds
    return holds in NUMBERS and bool(note.part("value"))


def syllables(text: str) -> int:
    """Count the syllables of words, roughly: runs of vowels."""
    return sum(max(1, len(_VOWELS.findall(word))) for word in text.split()) or 1


def plain(text: str) -> str:
    """Give text without capitals and punctuation."""
    return " ".join(_NOT_LETTERS.sub(" ", text.lower()).split())


def share_right(found: NDArray[np.float64]) -> float:
    """Give the probability that a reading with this evidence is right."""
    z = _OFFSET + float(_WEIGHTS @ found)
    return 1 / (1 + math.exp(-max(min(z, 30.0), -30.0)))


def share_of_each(look: Look, share: float) -> list[float]:
    """Give the probability that each note of a look's best reading is right.

    Where readings differ in one note, the others are surer than the whole.
    """
    top = look.readings[0].log_p
    weights = [math.exp(reading.log_p - top) for reading in look.readings]
    total, rest = sum(weights), 1 - 1 / sum(weights)
    shares = []
    for number, note in enumerate(look.readings[0].notes):
        agree = sum(
            weight
            for weight, reading in zip(weights, look.readings, strict=True)
            if len(reading.notes) > number
            and reading.notes[number].meaning == note.meaning
        )
        won = (agree - 1) / total / rest if rest > 1e-9 else 0.0
        shares.append(share + (1 - share) * min(max(won, 0.0), 1.0) * _ONE_DIFFERS)
    return shares


_ONE_DIFFERS = 0.8  # of a doubt that concerns another note only; guess
_OFFSET = 2.869
_WEIGHTS = np.array(
    [
        *(0.0062, -0.233, 0.8189, 0.4183, -0.1309, 0.2529, -0.3568, -4.6989, -1.1168),
        *(0.5228, -0.2978, 0.0827, 0.8024, -0.3768, 0.332, 0.0654, -0.3697),
    ]
)
