"""The notes that a stretch of sound most probably says, all spellings together."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from .tokens import END

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from treeward.language.note_graph import GraphNote, Meaning

    from .model import Beam, Encoded, Model
    from .spelt_graph import SpeltGraph, Thread

BEAM = 10  # beginnings kept; more changed nothing
SPELLINGS = 3  # kept of the same words, or their spellings would fill the beam
LOOKED_AT = 2  # times the beam: ways that are made before the beam is thinned
# Natural logarithms below which a text is no note, whatever else might be said: of
# right readings, most in noise, one in a hundred is less likely. Each note before the
# last gives more room.
LEAST, MORE_EACH_NOTE = -16.0, -10.0
BEHIND = 5.0  # nats below the likeliest text of as many pieces; measured
FAR_BEHIND = 12.0  # nats below the best text that has ended: no use going on
TEXTS_BEAM = 5  # beginnings of free texts kept; half of them differ in commas only
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
class _Way:
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
    """Find the likeliest notes.

    Parameters
    ----------
    model, encoded
        The recogniser and what it made of the sound.
    graph
        What can be said.
    at_least
        Natural logarithm of a probability below which nothing is of interest.

    Returns
    -------
    list of Reading
        The likeliest first; none where nothing comes near `at_least`.
    """
    beam = encoded.first
    ways = [_Way(pieces=(), log_p=0.0, threads=graph.start)]
    found: dict[tuple[Meaning, ...], Reading] = {}
    best = -np.inf
    for _ in range(encoded.most_pieces + 1):
        longer = [
            way
            for way in _longer(ways, beam, graph, max(at_least, best - FAR_BEHIND))
            if way.log_p > LEAST + MORE_EACH_NOTE * max(way.said - 1, 0)
        ]
        for way in longer:
            if way.pieces[-1] == END:
                best = max(best, way.log_p)
                _keep(found, way)
        ways = [way for way in longer if way.pieces[-1] != END]
        limit = max(at_least, best - FAR_BEHIND)
        ways = _thinned([way for way in ways if way.log_p > limit])
        if not ways:
            break
        rows = [way.row for way in ways]
        beam = model.step(encoded, beam, rows, [way.pieces[-1] for way in ways])
    return sorted(found.values(), key=lambda reading: -reading.log_p)


def _longer(
    ways: Sequence[_Way], beam: Beam, graph: SpeltGraph, above: float
) -> list[_Way]:
    """Go on with every piece that may follow; the likeliest few, in order."""
    each: list[NDArray[np.intp]] = [graph.next_pieces(way.threads) for way in ways]
    pieces = np.concatenate(each)
    rows = np.repeat(np.arange(len(ways)), [len(one) for one in each])
    begun = np.array([way.log_p for way in ways])
    log_p = beam.log_p[rows, pieces] + begun[rows]
    order = np.argsort(-log_p)[: LOOKED_AT * BEAM]
    on = order[pieces[order] != END]
    if len(on):
        above = max(above, float(log_p[on[0]]) - BEHIND)
    order = order[(log_p[order] > above) | (pieces[order] == END)]
    return [
        _Way(
            pieces=(*ways[row].pieces, piece),
            log_p=float(log_p[place]),
            threads=graph.take(ways[row].threads, piece),
            row=row,
        )
        for place, row, piece in zip(
            order.tolist(), rows[order].tolist(), pieces[order].tolist(), strict=True
        )
    ]


def _thinned(ways: Sequence[_Way]) -> list[_Way]:
    kept: list[_Way] = []
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


def _keep(found: dict[tuple[Meaning, ...], Reading], way: _Way) -> None:
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
    """Write what may be said, whatever it is.

    Returns
    -------
    list of tuple
        Pieces and natural logarithm of their probability, the likeliest first.
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
            if piece == END:
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
        if piece is None or graph.is_pause(piece):
            if place > first:
                found.append((first, place))
            first = place + 1
    return found
