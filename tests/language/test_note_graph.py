"""The graph of all that can be said, against the parser that reads the words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.language.note_graph import NoteGraph
from treeward.language.number_words import DIGIT_WORDS, bearing_forms, time_forms
from treeward.language.phrasebook import PhraseBook
from treeward.notes.parser import parse_notes
from treeward.speech.utterances import Utterance, Word, WordSource

BOOK = PhraseBook.load()
GRAPH = NoteGraph(BOOK)
FIXED = BOOK.fixed_phrases()
ODD = {"tree", "fower", "fife", "niner", "a"}  # digits of radio, hardly said outdoors
ODD_TIMES = ODD | {"am", "pm", "in", "hours", "noon", "midnight", "minute", "minutes"}
DIGITS = {word for digit, words in DIGIT_WORDS.items() if digit for word in words}


@pytest.mark.parametrize("phrase", FIXED, ids=lambda phrase: phrase.text)
def test_every_fixed_phrase_is_found_with_its_meaning(phrase: object) -> None:
    note = GRAPH.longest([*phrase.words, "indeed"])  # type: ignore[attr-defined]

    assert note is not None
    assert note.text == phrase.text  # type: ignore[attr-defined]
    for part in ("kind", "mark", "value"):
        assert note.part(part) == (getattr(phrase, part) or "")


def test_every_bearing_is_found_in_every_plain_form() -> None:
    for degrees in range(361):
        forms = [f for f in bearing_forms(degrees) if "-" not in f]
        forms = [f for f in forms if not ODD & set(f.split())]
        assert forms
        for form in forms:
            for words in (f"bearing {form}", f"yellow bearing {form} degrees"):
                note = GRAPH.longest(words.split())
                assert note is not None, words
                assert note.text == words
                assert note.part("kind") == "bearing"
                assert note.part("value") == str(degrees % 360)


@pytest.mark.slow
@pytest.mark.parametrize("hour", range(24))
def test_every_time_of_day_is_found(hour: int) -> None:
    for minute in range(60):
        value = f"{hour % 12}:{minute:02d}"
        forms = [f"{hour}:{minute:02d}"]
        for form in time_forms(hour, minute):
            words = form.split()
            odd = "-" in form or ODD_TIMES & set(words)
            if not odd and not (len(words) == 3 and DIGITS.issuperset(words[1:])):
                forms.append(form)
        for form in forms:
            note = GRAPH.longest(["time", *form.split()])
            assert note is not None
            assert (note.text, note.part("value")) == (f"time {form}", value)


def test_only_marks_in_use_are_in_it() -> None:
    graph = NoteGraph(BOOK.only(["yellow"]))

    assert graph.longest(["yellow", "back"]) is not None
    assert graph.longest(["red", "back"]) is None


def test_a_note_begins_with_the_first_word_and_is_whole() -> None:
    assert GRAPH.longest([]) is None
    assert GRAPH.longest(["yellow"]) is None
    assert GRAPH.longest(["the", "yellow", "back"]) is None
    assert GRAPH.longest(["bearing"]) is None


@st.composite
def walks(draw: st.DrawFn) -> list[str]:
    """Draw a whole note by walking through the graph."""
    node, words = 0, list[str]()
    while node not in (2, 3):  # MORE, END
        arc = draw(st.sampled_from(GRAPH.arcs[node]))
        words.append(arc.word)
        node = arc.target
    return words


@given(walks())
def test_the_graph_means_what_the_parser_reads(words: list[str]) -> None:
    note = GRAPH.longest(words)
    assert note is not None
    word = Word(
        text=note.text, start_s=1.0, end_s=2.0, source=WordSource.PHRASE, confidence=0.9
    )

    events = parse_notes([Utterance(words=(word,), start_s=1.0, end_s=2.0)], BOOK)

    assert [event.kind.value for event in events] == [note.part("kind")]
    (event,) = events
    if note.part("mark"):
        assert event.mark == note.part("mark")
    value = note.part("value")
    if note.part("kind") == "bearing" and value.isdigit():
        assert float(event.value) % 360 == float(value)
    if note.part("kind") == "time":
        hour, _, minute = event.value.partition(":")
        assert f"{int(hour) % 12}:{minute}" == value
