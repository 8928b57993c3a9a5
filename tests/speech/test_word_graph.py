"""Word graphs hold exactly the sequences they were made of."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.speech import number_forms
from treeward.speech.phrase_tokens import plain_bearings, plain_times
from treeward.speech.word_graph import WordGraph, build_graph

words = st.lists(st.sampled_from("abc"), min_size=1, max_size=4).map(tuple)


def sequences_of(graph: WordGraph) -> set[tuple[str, ...]]:
    found: set[tuple[str, ...]] = set()
    todo: list[tuple[int, tuple[str, ...]]] = [(graph.start, ())]
    while todo:
        state, said = todo.pop()
        if state in graph.final:
            found.add(said)
        todo += [
            (arc.target, (*said, arc.word)) for arc in graph.arcs if arc.source == state
        ]
    return found


@given(st.lists(st.tuples(words, st.floats(0.1, 5.0)), min_size=1, max_size=30))
def test_holds_what_it_was_made_of_and_nothing_else(
    given_sequences: list[tuple[tuple[str, ...], float]],
) -> None:
    graph = build_graph(given_sequences)
    assert sequences_of(graph) == {said for said, _ in given_sequences}
    assert all(graph.holds(said) for said, _ in given_sequences)
    assert not graph.holds(("a", "b", "c", "a", "b"))


@given(st.lists(st.tuples(words, st.floats(0.1, 5.0)), min_size=1, max_size=30))
def test_shares_of_each_state_sum_to_one(
    given_sequences: list[tuple[tuple[str, ...], float]],
) -> None:
    graph = build_graph(given_sequences)
    for state in {arc.source for arc in graph.arcs}:
        leaving = sum(arc.probability for arc in graph.arcs if arc.source == state)
        assert leaving + graph.final.get(state, 0.0) == pytest.approx(1.0)


def test_every_bearing_and_minute_of_the_day_can_be_said() -> None:
    bearings = {" ".join(said) for said, _ in plain_bearings()}
    for degrees in range(361):
        assert bearings & set(number_forms.bearing_forms(degrees))
    times = {" ".join(said) for said, _ in plain_times()}
    for minute in range(24 * 60):
        assert times & set(number_forms.time_forms(*divmod(minute, 60)))


def test_digits_cannot_be_lost() -> None:
    said = sequences_of(build_graph(plain_bearings()))
    assert ("two", "one", "zero") in said
    assert ("two", "one") not in said
    assert ("three", "six", "one") not in said


def test_nothing_to_say_is_refused() -> None:
    with pytest.raises(ValueError, match="sequences"):
        build_graph([])
    with pytest.raises(ValueError, match="no words"):
        build_graph([((), 1.0)])
