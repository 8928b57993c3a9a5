"""Pieces of words: how texts are spelt in them, and what spelt texts mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from treeward.errors import SpeechError
from treeward.language.note_graph import NoteGraph
from treeward.language.phrasebook import PhraseBook
from treeward.speech.neural.model import END, SPACE, Tokens
from treeward.speech.neural.search import Reading, SpeltGraph, parted
from treeward.speech.recognizer import embedded_folder

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.language.note_graph import GraphNote

BOOK = PhraseBook.load()
pytestmark = pytest.mark.model


@pytest.fixture(scope="module")
def tokens() -> Tokens:
    folder = embedded_folder()
    if folder is None:
        pytest.skip("moonshine-voice is not installed")
    return Tokens.read(folder / "tokenizer.bin")


@pytest.fixture(scope="module")
def graph(tokens: Tokens) -> SpeltGraph:
    return SpeltGraph(NoteGraph(BOOK), tokens, BOOK.misheard)


def spelt(tokens: Tokens, text: str) -> list[int]:
    """Spell a text word by word; "|" parts what is spelt by itself."""
    pieces: list[int] = []
    for word in text.split():
        for number, part in enumerate(word.split("|")):
            found = tokens.spell(part if number else SPACE + part)
            assert found is not None, part
            pieces += found
    return pieces


def meant(graph: SpeltGraph, pieces: list[int]) -> set[tuple[GraphNote, ...]]:
    threads = list(graph.start)
    for piece in (*pieces, END):
        assert piece in graph.next_pieces(threads) or not threads
        threads = graph.take(threads, piece)
    return {thread.notes for thread in threads}


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("Yellow back|.", ["yellow back"]),
        ("yellow Back", ["yellow back"]),
        ("green|back", ["green back"]),
        ("Bearing 2|1|0|.", ["bearing two one zero"]),
        ("bearing two|-ten", ["bearing two ten"]),
        ("Time 9:22|.", ["time 9:22"]),
        ("Yellow away|, bearing two one zero", ["yellow away", "bearing two one zero"]),
        ("red back|. Blue away|.", ["red back", "blue away"]),
    ],
)
def test_what_the_recogniser_writes_is_understood(
    graph: SpeltGraph, tokens: Tokens, text: str, wanted: list[str]
) -> None:
    readings = meant(graph, spelt(tokens, text))

    assert wanted in [[note.text for note in notes] for notes in readings]


@pytest.mark.parametrize("text", ["yellow", "good morning", "bearing", "back yellow"])
def test_what_is_no_note_leads_nowhere(
    graph: SpeltGraph, tokens: Tokens, text: str
) -> None:
    threads = list(graph.start)
    for piece in (*spelt(tokens, text), END):
        threads = graph.take(threads, piece)
    assert threads == []


def test_pieces_are_parted_among_the_notes(graph: SpeltGraph, tokens: Tokens) -> None:
    first, second = spelt(tokens, "Red back|."), spelt(tokens, "Blue away|.")
    pieces = (*first, *second)
    (notes,) = meant(graph, list(pieces))

    found = parted(graph, Reading(notes=notes, pieces=pieces, log_p=0.0))

    assert [*found[0], *found[1]] == list(pieces)
    assert found[1][0] == second[0]


def test_text_is_what_was_spelt(tokens: Tokens) -> None:
    for text in ("yellow back", "two hundred", "station one"):
        assert tokens.text(spelt(tokens, text)) == text


def test_a_word_is_spelt_in_the_pieces_with_the_lowest_numbers() -> None:
    pieces = [b""] * 259 + [b"a", b"b", b"c", b"ab", b"bc", b"abc"]
    tokens = Tokens(pieces)

    assert tokens.spell("abc") == (264,)
    assert tokens.spell("bca") == (263, 259)
    assert tokens.spell("abx") is None


@pytest.mark.parametrize("data", [b"", b"\x05ab", b"\x01a" * 20])
def test_a_file_of_pieces_that_is_cut_off_is_refused(
    tmp_path: Path, data: bytes
) -> None:
    path = tmp_path / "tokenizer.bin"
    path.write_bytes(data)

    with pytest.raises(SpeechError, match="cut off") as caught:
        Tokens.read(path)

    assert str(path) in caught.value.line()
