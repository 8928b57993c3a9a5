"""The network's computing: against scipy, and what has to be the same."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.special import erf, softmax

from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.bee_names import BeeNames
from treeward.notes.trained import network as net
from treeward.notes.trained.bees import ACTIONS, Deed, Known
from treeward.notes.trained.inputs import (
    WordPieces,
    before_line,
    inputs_of,
    tokens_of,
)
from treeward.notes.trained.lines import Line, in_lines
from treeward.speech.utterances import Utterance, spread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.notes.trained.inputs import Inputs, Places

BOOK = PhraseBook.load()


def lines_of(said: Sequence[str], every_s: float = 60.0) -> list[Line]:
    """Lay out sentences as lines, one a minute."""
    utterances = []
    for number, text in enumerate(said):
        start_s = number * every_s
        words = tuple(spread(text.split(), start_s, start_s + 3))
        utterances.append(Utterance(words=words, start_s=start_s, end_s=start_s + 3))
    return in_lines(utterances, BeeNames(BOOK, " ".join(said)), BOOK.colour_words)


def laid_out(said: Sequence[str], number: int, known: Known) -> tuple[Places, Inputs]:
    """Give the inputs of one of several lines."""
    lines = lines_of(said)
    before = before_line(lines, number)
    after = lines[number + 1] if number + 1 < len(lines) else None
    places = tokens_of(lines[number], before, after, net.load_network().pieces)
    return places, inputs_of(lines[number], before, after, known=known, places=places)


def out_and_here(out: str, here: str) -> Known:
    """Make a state in which one bee left five minutes ago and another has just come."""
    known = Known()
    known.do(Deed(EventKind.AWAY, out, -300.0))
    known.do(Deed(EventKind.BACK, here, -30.0))
    known.speak([out, here])
    return known


def test_the_error_function_is_scipys_within_what_its_source_states() -> None:
    x = np.linspace(-5, 5, 2001).astype(np.float32)
    # Abramowitz and Stegun 7.1.26 states 1.5e-7; float32 adds its own rounding.
    assert np.abs(net._erf(x) - erf(x)).max() < 1.5e-7 + 4 * np.finfo(np.float32).eps


def test_the_softmax_is_scipys() -> None:
    x = np.random.default_rng(1).normal(0, 20, (5, 7)).astype(np.float32)
    assert np.allclose(net._softmax(x), softmax(x, axis=-1), atol=1e-6)


def test_what_is_read_beside_a_line_does_not_change_its_states() -> None:
    network = net.load_network()
    said = ["Yellow is back.", "It is a lovely, warm and very long afternoon today."]
    places = [laid_out([one], 0, Known())[0] for one in said]
    alone = network.read(places[0].tokens[None], places[0].segment[None])[0]
    together = network.read(
        np.stack([one.tokens for one in places]),
        np.stack([one.segment for one in places]),
    )[0]
    assert np.allclose(alone, together[: len(alone)], atol=1e-4)


def test_bees_in_another_order_get_the_same_shares() -> None:
    network = net.load_network()
    places, inputs = laid_out(["There she goes."], 0, out_and_here("red", "blue"))
    state = network.read(places.tokens[None], places.segment[None])[0]
    turned = dict(inputs.arrays)
    order = [1, 0, *range(2, 8)]
    for name in ("bees", "named", "beside"):
        turned[name] = inputs.arrays[name][order]
    turned["pairs"] = inputs.arrays["pairs"][:, order]
    told, other = network.say(state, inputs.arrays), network.say(state, turned)
    assert np.allclose(told.deeds[order], other.deeds, atol=1e-5)


@pytest.mark.parametrize(
    ("said", "kind", "mark"),
    [
        ("Red's come home to the dish.", EventKind.BACK, "red"),
        ("Blue took herself off over the hedge.", EventKind.AWAY, "blue"),
        ("And away she flies.", EventKind.AWAY, "blue"),
    ],
)
def test_the_likeliest_deed_is_what_was_said(
    said: str, kind: EventKind, mark: str
) -> None:
    network = net.load_network()
    places, inputs = laid_out([said], 0, out_and_here("red", "blue"))
    state = network.read(places.tokens[None], places.segment[None])[0]
    shares = network.say(state, inputs.arrays).deeds[: len(inputs.marks)]
    bee, deed = np.unravel_index(shares.argmax(), shares.shape)
    assert (ACTIONS[deed], inputs.marks[bee]) == (kind, mark)


def test_a_word_is_parted_into_the_longest_pieces_known() -> None:
    words = ["[PAD]", "[UNK]", "[CLS]", "[SEP]", "bee", "##line", "##s", "b", "."]
    pieces = WordPieces(words)
    # Devlin et al. 2019: greedy, longest first; one unknown letter makes it unknown.
    assert [words[n] for n in pieces.of("Beelines.")] == ["bee", "##line", "##s", "."]
    assert [words[n] for n in pieces.of("bex")] == ["[UNK]"]


@pytest.mark.parametrize(
    ("apart_s", "expected"),
    [
        (10.0, ["two.", "three.", "four."]),
        (40.0, ["three.", "four."]),
        (200.0, ["four."]),
    ],
)
def test_a_line_is_read_with_those_shortly_before_it(
    apart_s: float, expected: list[str]
) -> None:
    lines = lines_of(["One.", "Two.", "Three.", "Four.", "Gone."], apart_s)
    found = before_line(lines, 4)

    assert [line.words[0].text for line in found] == expected


def test_of_the_lines_before_the_end_is_kept_and_bees_in_them_are_found() -> None:
    known = Known()
    known.do(Deed(EventKind.BACK, "red", 0.0))
    lines = lines_of(["So on and on. " * 8, "Red sits.", "And on." * 4, "Gone."], 5.0)
    *before, line = lines
    pieces = net.load_network().pieces
    places = tokens_of(line, before, None, pieces)
    inputs = inputs_of(line, before, None, known=known, places=places)
    (at,) = np.flatnonzero(inputs.arrays["beside"][inputs.marks.index("red")])

    assert places.tokens[at] == pieces.of("red")[0]
    assert next(iter(places.before[-2].values())) == [at]
    assert 0 not in places.before[0]
