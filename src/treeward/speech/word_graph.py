"""A smallest word graph of many word sequences: shared beginnings and endings.

The graph becomes chain tokens of the language model (one per arc, so that a pair
of tokens can only stand where the graph allows it) and a strict grammar for the
second decode.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


@dataclass(frozen=True, slots=True, kw_only=True)
class Arc:
    """One word from one state to the next, with its share among its state's ways."""

    source: int
    target: int
    word: str
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WordGraph:
    """States are integers; `final` holds the share of sequences that end there."""

    start: int
    arcs: tuple[Arc, ...]
    final: dict[int, float]

    def holds(self, words: Sequence[str]) -> bool:
        """Say whether a sequence is among those the graph was made of."""
        state = self.start
        for word in words:
            targets = [
                arc.target
                for arc in self.arcs
                if arc.source == state and arc.word == word
            ]
            if not targets:
                return False
            (state,) = targets
        return state in self.final


@dataclass(slots=True)
class _Node:
    ways: dict[str, _Node] = field(default_factory=dict)
    weight: float = 0.0  # of all sequences that pass
    ends: float = 0.0  # of those that end here


def build_graph(sequences: Iterable[tuple[tuple[str, ...], float]]) -> WordGraph:
    """Return the smallest graph that holds `sequences` and nothing else.

    Shares are averaged over the places that were merged, so that the likelihood
    of a sequence is near its weight, not equal to it.

    Raises
    ------
    ValueError
        There are no sequences, or an empty one.
    """
    root = _Node()
    for words, weight in sequences:
        if not words:
            msg = "sequences: a sequence has no words"
            raise ValueError(msg)
        node = root
        node.weight += weight
        for word in words:
            node = node.ways.setdefault(word, _Node())
            node.weight += weight
        node.ends += weight
    if not root.ways:
        msg = "sequences: there are none"
        raise ValueError(msg)
    names: dict[tuple[bool, tuple[tuple[str, int], ...]], int] = {}
    weights: dict[tuple[int, str], float] = {}
    ends: dict[int, float] = {}
    totals: dict[int, float] = {}

    def merge(node: _Node) -> int:
        ways = tuple(sorted((word, merge(child)) for word, child in node.ways.items()))
        state = names.setdefault((node.ends > 0, ways), len(names))
        for word, child in node.ways.items():
            key = (state, word)
            weights[key] = weights.get(key, 0.0) + child.weight
        if node.ends:
            ends[state] = ends.get(state, 0.0) + node.ends
        totals[state] = totals.get(state, 0.0) + node.weight
        return state

    start = merge(root)
    arcs = tuple(
        Arc(
            source=state,
            target=target,
            word=word,
            probability=weights[state, word] / totals[state],
        )
        for (_, ways), state in names.items()
        for word, target in ways
    )
    final = {state: end / totals[state] for state, end in ends.items()}
    return WordGraph(start=start, arcs=arcs, final=final)
