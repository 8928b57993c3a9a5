"""Phrases of the phrase book as tokens that a language model can hold.

A fixed phrase is one token with the joined pronunciation of its words, so that it
competes with the general vocabulary on equal terms and needs no threshold to keep
talk out. Numbers, two-colour marks and phrases with a pause inside are chains of
tokens, one for each arc of a word graph: such a token can only stand where the
graph allows it, so that a bearing cannot lose a digit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import islice, product
from typing import TYPE_CHECKING

from treeward.speech import number_forms
from treeward.speech.records import WordSource
from treeward.speech.word_graph import WordGraph, build_graph

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from treeward.speech.phrasebook import PhraseBook

Phones = tuple[str, ...]  # pronunciations, each phones with spaces between

# Shares of what is said, where a note may begin. Guesses; tried at a third and at
# three times, which moved the F1 of the tuning recordings by less than 0.01.
SHARE_FIXED = 0.60
SHARE_CHAIN = 0.08
SHARE_ANCHOR = {"bearing": 0.13, "time": 0.09, "station": 0.02, "wind": 0.02}
SHARE_REMARK = 0.01
SHARE_COMMAND = 0.05
CHAIN_BREAKS = 0.02  # share of chains that go on in other words than the graph's
AFTER_NOTE_END = 0.35  # share of notes after which the person is silent
AFTER_NOTE_NOTE = 0.45  # share of notes followed by another at once
MOST_PRONUNCIATIONS = 12  # of one joined phrase

# Digits as radio operators say them, beside the plain words: ICAO Annex 10,
# Volume II, 5.2.1.4.3.
_RADIO_DIGITS = {"three": "tree", "four": "fower", "five": "fife", "nine": "niner"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Token:
    """One entry of the recognizer's dictionary that stands for words of a note.

    `chain` is "" for a whole phrase, else the kind of note the chain makes
    ("bearing"); `role` tells the anchor of a chain from its values.
    """

    text: str
    phones: Phones
    source: WordSource
    chain: str = ""
    role: str = ""  # "anchor", "value", or "" for fixed phrases
    kind: str = ""


@dataclass(slots=True, kw_only=True)
class TokenTable:
    """Tokens, where they may begin, and what may follow each.

    `follow[name]` holds shares of the tokens that may come next; what is missing to
    one goes to any note (`ends[name]`) or to general words.
    """

    tokens: dict[str, Token] = field(default_factory=dict)
    starts: dict[str, float] = field(default_factory=dict)
    follow: dict[str, dict[str, float]] = field(default_factory=dict)
    ends: dict[str, float] = field(default_factory=dict)  # share that ends there
    graphs: dict[str, WordGraph] = field(default_factory=dict)  # values, by kind

    def departs(self, name: str) -> bool:
        """Say whether a note may end here with a bee's leaving."""
        token = self.tokens[name]
        return self.ends[name] > 0 and token.kind in {"away", "mark"}


def plain_bearings() -> Iterator[tuple[tuple[str, ...], float]]:
    """Yield ways of saying bearings, and how likely each is beside the others."""
    for degrees in range(361):
        for form in number_forms.bearing_forms(degrees):
            words = tuple(form.split())
            if _is_plain(words):
                yield words, _form_weight(words)
    from treeward.speech.compass_words import COMPASS_POINTS

    for point in COMPASS_POINTS:
        yield tuple(point.split()), 2.0


def plain_times() -> Iterator[tuple[tuple[str, ...], float]]:
    """Yield ways of saying times of day, and how likely each is."""
    for hour, minute in product(range(24), range(60)):
        for form in number_forms.time_forms(hour, minute):
            words = tuple(form.split())
            # "ten five five" is hardly said, but easily heard for "ten forty-four".
            digits = len(words) == 3 and set(words[1:]) <= _LONE_DIGITS
            if _is_plain(words) and not _TAILS & set(words) and not digits:
                yield words, _form_weight(words)


_LONE_DIGITS = {"one", "two", "three", "four", "five", "six", "seven", "eight", "nine"}
_TAILS = {"am", "pm", "in", "hours", "a", "minutes", "minute", "noon", "midnight"}


def _is_plain(words: tuple[str, ...]) -> bool:
    odd = set(_RADIO_DIGITS.values()) | {"a"}
    return not any(word in odd or "-" in word or ":" in word for word in words)


def _form_weight(words: tuple[str, ...]) -> float:
    """Guess how likely a form is beside the others of the same value."""
    weight = 0.5 ** words.count("oh") * 0.5 ** words.count("and")
    return weight * (0.1 if len(words) >= 4 and "hundred" not in words else 1.0)


def build_tokens(
    book: PhraseBook, pronounce: Callable[[str], Phones], *, share: float = 1.0
) -> TokenTable:
    """Make the tokens of a phrase book.

    Parameters
    ----------
    book
        What can be said.
    pronounce
        Gives the pronunciations of one word; raises where there is none.
    share
        How likely a note is where one may begin, all kinds together.
    """
    table = TokenTable()
    say = _Pronouncer(pronounce)
    _add_fixed(table, book, say)
    _add_chains(table, book, say)
    anchors = {
        kind: words for kind, words in book.anchors().items() if kind in SHARE_ANCHOR
    }
    values: dict[str, list[tuple[tuple[str, ...], float]]] = {
        "bearing": list(plain_bearings()),
        "time": list(plain_times()),
        "station": _values(book.stations),
        "wind": _values(book.wind),
    }
    for kind, words in anchors.items():
        if values[kind]:
            _add_anchor(table, kind, words, values[kind], say)
    for word in book.anchors().get("remark", ()):
        name = f"_remark_{_joined(word)}"
        table.tokens[name] = Token(
            text=word, phones=say(word), source=WordSource.PHRASE, kind="remark"
        )
        table.starts[name] = SHARE_REMARK
        table.follow[name] = {}
        table.ends[name] = 0.0
    total = sum(table.starts.values())
    table.starts = {name: share * p / total for name, p in table.starts.items()}
    return table


class _Pronouncer:
    """Pronunciations of several words said as one."""

    def __init__(self, pronounce: Callable[[str], Phones]) -> None:
        self._pronounce = pronounce

    def __call__(self, text: str) -> Phones:
        ways = []
        for word in text.split():
            own = self._pronounce(word)
            if word in _RADIO_DIGITS:
                own += self._pronounce(_RADIO_DIGITS[word])
            ways.append(tuple(dict.fromkeys(own)))
        joined = (" ".join(parts) for parts in product(*ways))
        return tuple(islice(dict.fromkeys(joined), MOST_PRONUNCIATIONS))


def _joined(text: str) -> str:
    return text.replace(" ", "_")


def _values(
    table: Mapping[str, tuple[str, ...]],
) -> list[tuple[tuple[str, ...], float]]:
    return [(tuple(way.split()), 1.0) for ways in table.values() for way in ways]


def _add_fixed(table: TokenTable, book: PhraseBook, say: _Pronouncer) -> None:
    phrases = book.fixed_phrases()
    commands = set(book.commands)
    groups: dict[str, float] = {}
    for phrase in phrases:
        groups[phrase.kind] = groups.get(phrase.kind, 0.0) + 1.0
    kind_weight = {phrase.kind: phrase.weight for phrase in phrases}
    total = sum(w for kind, w in kind_weight.items() if kind not in commands)
    for phrase in phrases:
        name = f"_{_joined(phrase.text)}"
        table.tokens[name] = Token(
            text=phrase.text,
            phones=say(phrase.text),
            source=WordSource.PHRASE,
            kind=phrase.kind,
        )
        if phrase.kind in commands:
            share = SHARE_COMMAND / sum(groups[kind] for kind in commands)
        else:
            share = SHARE_FIXED * phrase.weight / total / groups[phrase.kind]
        table.starts[name] = share
        table.follow[name] = {}
        table.ends[name] = 1.0


def _add_chains(table: TokenTable, book: PhraseBook, say: _Pronouncer) -> None:
    """Add marks of two colours and spots, and one-colour notes with a pause inside."""
    marks = [
        (phrase.words, _mark_weight(phrase.words)) for phrase in book.mark_phrases()
    ]
    actions = book.action_phrases()
    sequences: list[tuple[tuple[str, ...], float]] = []
    for action in actions:
        share = action.weight / len(actions)
        for words, weight in marks:
            # The action's own words stay together: "has left" is one token.
            part = (action.text.replace(" ", "_"),)
            order = (*part, *words) if action.place == "before" else (*words, *part)
            sequences.append((order, share * weight))
    if sequences:
        graph = build_graph(sequences)
        _add_graph(table, "mark", graph, say, WordSource.PHRASE)
        for arc in graph.arcs:
            if arc.source == graph.start:
                name = _arc_name("mark", arc.word, arc.target)
                table.starts[name] = SHARE_CHAIN * arc.probability


def _mark_weight(words: tuple[str, ...]) -> float:
    """Guess how likely a mark is in a chain: one colour, two, with a spot."""
    return {1: 8.0, 2: 1.0}.get(len(words), 0.1)


def _add_anchor(
    table: TokenTable,
    kind: str,
    words: tuple[str, ...],
    values: list[tuple[tuple[str, ...], float]],
    say: _Pronouncer,
) -> None:
    graph = build_graph(values)
    table.graphs[kind] = graph
    _add_graph(table, kind, graph, say, WordSource.GRAMMAR)
    first = {
        _arc_name(kind, arc.word, arc.target): arc.probability * (1 - CHAIN_BREAKS)
        for arc in graph.arcs
        if arc.source == graph.start
    }
    for word in words:
        name = f"_{kind}_{_joined(word)}"
        table.tokens[name] = Token(
            text=word,
            phones=say(word),
            source=WordSource.PHRASE,
            chain=kind,
            role="anchor",
            kind=kind,
        )
        table.starts[name] = SHARE_ANCHOR[kind] / len(words)
        table.follow[name] = dict(first)
        table.ends[name] = 0.0


def _arc_name(kind: str, word: str, target: int) -> str:
    return f"_{kind}{target}_{_joined(word)}"


def _add_graph(
    table: TokenTable,
    kind: str,
    graph: WordGraph,
    say: _Pronouncer,
    source: WordSource,
) -> None:
    leaving: dict[int, dict[str, float]] = {}
    for arc in graph.arcs:
        name = _arc_name(kind, arc.word, arc.target)
        text = arc.word.replace("_", " ")
        table.tokens.setdefault(
            name,
            Token(
                text=text,
                phones=say(text),
                source=source,
                chain=kind,
                role="value",
                kind=kind,
            ),
        )
        leaving.setdefault(arc.source, {})[name] = arc.probability * (1 - CHAIN_BREAKS)
    for arc in graph.arcs:
        name = _arc_name(kind, arc.word, arc.target)
        table.follow[name] = dict(leaving.get(arc.target, {}))
        table.ends[name] = graph.final.get(arc.target, 0.0)
