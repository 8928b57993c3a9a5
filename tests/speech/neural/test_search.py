"""The search, through a recogniser whose probabilities are known."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from treeward.language.note_graph import NoteGraph
from treeward.language.phrasebook import PhraseBook
from treeward.speech.neural.model import END, SPACE, Tokens
from treeward.speech.neural.search import (
    Look,
    SpeltGraph,
    free_texts,
    search,
    share_of_each,
)
from treeward.speech.recognizer import embedded_folder

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

BOOK = PhraseBook.load()
pytestmark = pytest.mark.model
LEAST = 1e-12  # of what was not scripted


@pytest.fixture(scope="module")
def graph() -> SpeltGraph:
    folder = embedded_folder()
    if folder is None:
        pytest.skip("moonshine-voice is not installed")
    tokens = Tokens.read(folder / "tokenizer.bin")
    return SpeltGraph(NoteGraph(BOOK), tokens, BOOK.misheard)


class Scripted:
    """A recogniser that writes each text with a given probability."""

    def __init__(self, tokens: Tokens, texts: Mapping[str, float]) -> None:
        self.size = len(tokens)
        self.texts = {
            (*(p for w in text.split() for p in tokens.spell(SPACE + w) or ()), END): p
            for text, p in texts.items()
        }

    def beam(self, prefixes: Sequence[tuple[int, ...]]) -> Any:
        log_p = np.full((len(prefixes), self.size), math.log(LEAST))
        for row, prefix in enumerate(prefixes):
            count = len(prefix)
            going = {t: p for t, p in self.texts.items() if t[:count] == prefix}
            total = sum(going.values())
            for text, p in going.items():
                if len(text) > count:
                    log_p[row, text[count]] = np.logaddexp(
                        log_p[row, text[count]], math.log(p / total)
                    )
        return SimpleNamespace(log_p=log_p, past=prefixes)

    def encoded(self) -> Any:
        return SimpleNamespace(first=self.beam([()]), most_pieces=20)

    def step(
        self, _: Any, beam: Any, rows: Sequence[int], pieces: Sequence[int]
    ) -> Any:
        return self.beam(
            [(*beam.past[row], piece) for row, piece in zip(rows, pieces, strict=True)]
        )


def found(graph: SpeltGraph, texts: Mapping[str, float], **options: float) -> Any:
    model: Any = Scripted(graph._tokens, texts)
    return search(model, model.encoded(), graph, **options)


def test_free_texts_come_with_what_they_are_worth(graph: SpeltGraph) -> None:
    texts = {"he is red": 0.2, "he is read": 0.7, "lovely day": 0.099, "red": 0.001}
    model: Any = Scripted(graph._tokens, texts)
    written = free_texts(model, model.encoded())

    said = [graph._tokens.text(pieces) for pieces, _ in written]
    assert said == ["he is read", "he is red", "lovely day"]
    assert [math.exp(log_p) for _, log_p in written] == pytest.approx([0.7, 0.2, 0.099])


def test_spellings_of_one_meaning_are_added_up(graph: SpeltGraph) -> None:
    readings = found(
        graph,
        {"red back": 0.2, "Red back": 0.2, "blue back": 0.3, "lovely day": 0.3},
    )

    shares = [(r.notes[0].part("mark"), math.exp(r.log_p)) for r in readings[:2]]
    assert [mark for mark, _ in shares] == ["red", "blue"]
    assert [p for _, p in shares] == pytest.approx([0.4, 0.3], rel=1e-6)
    assert readings[0].best_log_p == pytest.approx(math.log(0.2))


def test_several_notes_of_one_breath_are_one_reading(graph: SpeltGraph) -> None:
    (best, *_) = found(graph, {"red back blue away": 0.6, "red back": 0.4})

    assert [note.text for note in best.notes] == ["red back", "blue away"]
    assert math.exp(best.log_p) == pytest.approx(0.6)


def test_a_word_unlikely_at_first_is_found_where_the_rest_is_likely(
    graph: SpeltGraph,
) -> None:
    texts = {"white away": 0.25}
    texts |= {f"yellow {word}": 0.15 for word in ("tea", "grass", "sun", "rock")}

    best = found(graph, texts)[0]

    assert best.notes[0].text == "white away"


def test_nothing_is_found_where_no_note_is_likely(graph: SpeltGraph) -> None:
    assert found(graph, {"lovely day": 1.0}, at_least=-14.0) == []


def test_a_doubt_about_one_note_is_not_one_about_the_others(graph: SpeltGraph) -> None:
    texts = {"red back blue away": 0.6, "red back green away": 0.3}
    readings = found(graph, texts | {"lovely day": 0.1})
    none: Any = None
    look = Look(start_s=0, end_s=2, encoded=none, free=none, text="", readings=readings)

    for share in (0.2, 0.5, 0.8):
        first, second = share_of_each(look, share)
        assert share <= second < first <= 1
        assert second == pytest.approx(share, abs=0.01)
