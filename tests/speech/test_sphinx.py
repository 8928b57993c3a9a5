"""The embedded engine: stretches, evidence, and the example hunt's own sound."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.audio.reader import read_blocks
from treeward.audio.records import Block
from treeward.resources import example_hunt_dir
from treeward.simulate.voice import HibariVoice
from treeward.speech import sphinx
from treeward.speech.evidence import Evidence, probability, twins
from treeward.speech.phrase_match import PhraseMatcher
from treeward.speech.phrasebook import PhraseBook
from treeward.speech.recognizer import part_at_pauses, transcribe
from treeward.speech.records import Utterance, Word, WordSource
from treeward.speech.spans import (
    GAP_S,
    LONG_PAUSE_S,
    LONGEST_NOTE_S,
    PAUSE_S,
    stretches,
    worth_a_look,
)
from treeward.speech.sphinx import SphinxRecognizer
from treeward.speech.sphinx_model import prepare_model
from treeward.speech.token_words import (
    Heard,
    note_words,
    notes_of,
    sayings,
    talk_words,
)

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.speech.phrase_tokens import TokenTable


@pytest.fixture(scope="module")
def book() -> PhraseBook:
    return PhraseBook.load()


@pytest.fixture(scope="module")
def table(book: PhraseBook, tmp_path_factory: pytest.TempPathFactory) -> TokenTable:
    return prepare_model(book, cache_dir=tmp_path_factory.mktemp("model")).tokens


@pytest.fixture(scope="module")
def engine(
    book: PhraseBook, tmp_path_factory: pytest.TempPathFactory
) -> SphinxRecognizer:
    return SphinxRecognizer(book, cache_dir=tmp_path_factory.mktemp("model"))


def heard(*tokens: str, gap_s: float = 0.0) -> list[Heard]:
    return [
        Heard(
            token=token,
            start_s=n * (0.5 + gap_s),
            end_s=n * (0.5 + gap_s) + 0.5,
            posterior=0.9,
        )
        for n, token in enumerate(tokens)
    ]


def chain(table: TokenTable, kind: str, *words: str) -> list[str]:
    """Find the tokens of a chain for words, following the table."""
    names = [
        n
        for n, t in table.tokens.items()
        if t.text == words[0] and t.chain == kind and n in table.starts
    ]
    for word in words[1:]:
        names.append(
            next(n for n in table.follow[names[-1]] if table.tokens[n].text == word)
        )
    return names


def test_whole_notes_are_found_and_talk_is_left(table: TokenTable) -> None:
    number = chain(table, "bearing", "heading", "two", "one", "zero")
    segments = heard("<s>", "the", "_yellow_back(2)", "<sil>", *number, "</s>")
    notes = notes_of(segments, table)
    assert [note.text for note in notes] == ["yellow back", "heading two one zero"]
    words = note_words(notes[1], 100.0, 0.8)
    assert [word.text for word in words] == ["heading", "two", "one", "zero"]
    assert [word.source for word in words] == [
        WordSource.PHRASE,
        *[WordSource.GRAMMAR] * 3,
    ]
    assert words[0].start_s == 102.0
    assert [word.text for word in talk_words(segments, table, 0.0)] == ["the"]


def test_number_that_lost_a_digit_is_no_whole_note(table: TokenTable) -> None:
    number = chain(table, "bearing", "heading", "two", "one", "zero")
    assert notes_of(heard(*number[:-1]), table) == []


def test_two_colours_are_one_mark(table: TokenTable) -> None:
    tokens = chain(table, "mark", "blue", "white", "back")
    (note,) = notes_of(heard(*tokens), table)
    (word,) = note_words(note, 0.0, 1.0)
    assert word.text == "blue white back"
    assert word.source is WordSource.PHRASE


def test_stretches_part_at_long_pauses_only() -> None:
    close = heard("a", "b", gap_s=PAUSE_S / 2)
    assert len(stretches(close)) == 1
    assert len(stretches(heard("a", "b", gap_s=PAUSE_S * 2))) == 2
    assert stretches(heard("<sil>", "[NOISE]")) == []


def test_the_shorter_pause_beside_a_stretch_counts() -> None:
    segments = heard("a", "b", "c", "d", gap_s=0.0)
    moved = [
        replace(each, start_s=each.start_s + later, end_s=each.end_s + later)
        for each, later in zip(segments, (0.0, 0.6, 1.1, 5.0), strict=True)
    ]
    pauses_s = [stretch.pause_s for stretch in stretches(moved)]
    # Nothing is known of what is said before the first and after the last.
    assert pauses_s == pytest.approx([0.6, 0.5, 0.5, LONG_PAUSE_S])


def test_many_notes_in_a_breath_are_looked_at_in_parts(table: TokenTable) -> None:
    tokens = ["_yellow_back", "two", "one", "_red_away"] * 4
    close = heard(*tokens, gap_s=GAP_S / 2)
    # The longest gap is after the ninth of sixteen.
    moved = [
        replace(each, start_s=each.start_s + 0.3, end_s=each.end_s + 0.3)
        for each in close[9:]
    ]
    (whole,) = stretches(close[:9] + moved)
    assert whole.duration_s > LONGEST_NOTE_S

    parts = list(worth_a_look(whole, table))

    assert [len(part.heard) for part in parts] == [9, 7]
    assert parts[0].pause_s == pytest.approx(0.3 + GAP_S / 2)
    assert not any(part.alone for part in parts)


def test_a_gap_beside_a_note_parts_before_a_longer_one(table: TokenTable) -> None:
    close = heard(*"abcde", "_yellow_back", "_red_away", *"fghij")
    # The longer one, after "b", may lie in a note that was misheard.
    later_s = [0.0] * 2 + [0.3] * 5 + [0.45] * 5
    moved = [
        replace(each, start_s=each.start_s + later, end_s=each.end_s + later)
        for each, later in zip(close, later_s, strict=True)
    ]
    (whole,) = stretches(moved)
    parts = list(worth_a_look(whole, table))
    assert [h.token for h in parts[0].heard][-2:] == ["_yellow_back", "_red_away"]
    assert parts[0].pause_s == pytest.approx(0.15)


def test_without_any_gap_only_tokens_are_looked_at(table: TokenTable) -> None:
    (whole,) = stretches(heard("a", "_yellow_back", *"bcdefghijk", "_red_away"))
    parts = list(worth_a_look(whole, table))
    assert [[h.token for h in p.heard] for p in parts] == [
        ["_yellow_back"],
        ["_red_away"],
    ]


def test_leaving_and_its_bearing_are_one_saying(table: TokenTable) -> None:
    number = chain(table, "bearing", "bearing", "two", "one", "zero")
    segments = heard("_red_away", *number, *number, "_blue_back")
    groups = sayings(notes_of(segments, table))
    assert [[note.text for note in group] for group in groups] == [
        ["red away", "bearing two one zero"],
        ["bearing two one zero"],
        ["blue back"],
    ]


numbers = st.floats(-5, 5)


@given(
    numbers,
    st.booleans(),
    st.floats(0, 1),
    st.none() | st.floats(-20, 5),
    st.tuples(st.integers(1, 6), st.integers(1, 8)),
)
def test_agreement_and_margin_raise_confidence(
    margin: float,
    alone: bool,
    pause_s: float,
    left: float | None,
    counts: tuple[int, int],
) -> None:
    def sure(margin: float, *, agreed: bool) -> float:
        return probability(
            Evidence(
                margin=margin,
                poorest=min(margin, 0.0),
                agreed=agreed,
                alone=alone,
                pause_s=pause_s,
                left=left,
                talk=0.0,
                words=counts[0],
                sayings=counts[1],
            )
        )

    assert 0 < sure(margin, agreed=False) < 1
    assert sure(margin, agreed=True) > sure(margin, agreed=False)
    assert sure(margin + 1, agreed=True) >= sure(margin, agreed=True)


def test_a_breath_with_talk_in_it_is_doubted() -> None:
    pair = Evidence(
        margin=0.4,
        poorest=0.4,
        agreed=True,
        alone=True,
        pause_s=1.0,
        left=None,
        talk=0.0,
        words=2,
        sayings=2,
    )
    talk = replace(pair, poorest=-3.0)
    assert probability(talk) < 0.5 < probability(pair)
    # One note alone has nothing beside it.
    assert probability(replace(talk, sayings=1)) > probability(talk)


def test_what_suppression_took_away_was_noise() -> None:
    words = {
        "margin": 0.0,
        "poorest": 0.0,
        "agreed": True,
        "alone": True,
        "pause_s": 1.0,
        "talk": 0.0,
    }
    evidence = Evidence(**words, words=2, sayings=1, left=-1.0)  # type: ignore[arg-type]

    assert probability(replace(evidence, left=-5.0)) < probability(evidence)


@pytest.mark.parametrize(
    ("said", "others"),
    [
        ("one forty", ["one fourteen"]),
        ("ten fifteen", ["ten fifty"]),
        ("thirteen thirty", ["thirty thirty", "thirteen thirteen"]),
        ("two forty one", []),
        ("zero three five", []),
        ("twelve twenty", []),
    ],
)
def test_teens_and_tens_have_twins(said: str, others: list[str]) -> None:
    assert [" ".join(words) for words in twins(said.split())] == others


def test_silence_and_nothing_make_no_words(engine: SphinxRecognizer) -> None:
    for length in (0, 16_000):
        silence = Block(start_s=0.0, samples=np.zeros(length, np.float32))
        assert engine.decode(silence) is None
    quiet = [Block(start_s=0.0, samples=np.zeros(320_000, np.float32))]
    done: list[float] = []
    assert list(transcribe(quiet, engine, progress=done.append)) == []
    assert done[-1] == pytest.approx(20.0)
    assert done == sorted(done)


def test_notes_without_any_pause_between_are_heard(engine: SphinxRecognizer) -> None:
    said = [
        "yellow back.",
        "green away.",
        "bearing two hundred and ten.",
        "red landed.",
    ]
    voice = HibariVoice("british")
    spoken = [
        voice.say(text, rate_hz=16_000, seed=number) for number, text in enumerate(said)
    ]
    quiet = 1e-3 * np.random.default_rng(1).standard_normal(
        sum(map(len, spoken)) + 16_000
    )
    quiet[8_000:-8_000] += np.concatenate(spoken)
    found = engine.decode(Block(samples=quiet.astype(np.float32), start_s=0.0))
    assert found is not None
    assert found.text == (
        "yellow back green away bearing two hundred and ten red landed"
    )
    assert all(word.confidence > 0.5 for word in found.words)


def test_utterances_are_parted_where_nobody_speaks() -> None:
    words = tuple(
        Word(text=text, start_s=start_s, end_s=start_s + 0.4)
        for text, start_s in (("yellow back", 0.0), ("bearing", 0.9), ("time", 5.0))
    )
    parts = list(part_at_pauses(Utterance(words=words, start_s=0.0, end_s=5.4)))
    assert [part.text for part in parts] == ["yellow back bearing", "time"]
    assert parts[1].start_s == 5.0


@pytest.mark.slow
def test_notes_of_the_example_hunt_are_heard(engine: SphinxRecognizer) -> None:
    path = example_hunt_dir() / "recordings" / "2026-07-14_1012_station-1.ogg"
    first = itertools.takewhile(lambda b: b.start_s < 60, read_blocks(path))
    spoken = [
        word
        for utterance in transcribe(first, engine)
        for word in utterance.words
        if word.source is WordSource.PHRASE
    ]
    sure = [word.text for word in spoken if word.confidence > 0.5]
    # The recording opens with the station, says the wind, and then the time.
    assert sure[0] == "station"
    assert "time" in sure
    assert len(sure) >= 5


def test_a_note_is_found_though_the_first_way_to_it_is_given_up(
    book: PhraseBook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    narrow = {"beam": 0.1, "pbeam": 0.1, "wbeam": 0.1}
    said = HibariVoice("american").say("station two.", rate_hz=16_000, seed=1)
    quiet = 1e-3 * np.random.default_rng(1).standard_normal(len(said) + 16_000)
    quiet[8_000 : 8_000 + len(said)] += said
    block = Block(samples=quiet.astype(np.float32), start_s=0.0)

    def heard_with(wide: dict[str, float]) -> str:
        opened = iter([narrow, wide])
        first = sphinx._open_strict
        monkeypatch.setattr(
            sphinx, "_open_strict", lambda m, **_: first(m, **next(opened))
        )
        recognizer = SphinxRecognizer(book, cache_dir=tmp_path)
        monkeypatch.undo()
        found = recognizer.decode(block)
        notes = (
            [w for w in found.words if w.source is WordSource.PHRASE] if found else []
        )
        return " ".join(word.text for word in notes)

    assert heard_with(narrow) == ""
    assert heard_with(sphinx.WIDE) == "station two"


def test_phrases_are_found_among_plain_words(book: PhraseBook) -> None:
    said = "well yellow back then bearing two one zero and blue white gone two one"
    words = [
        Word(text=text, start_s=n * 0.4, end_s=n * 0.4 + 0.35)
        for n, text in enumerate(said.split())
    ]
    matcher = PhraseMatcher(book)
    notes = [" ".join(w.text for w in words[a:b]) for a, b in matcher.notes(words)]
    assert notes == ["yellow back", "bearing two one zero", "blue white gone"]
    marked = matcher.mark(words)
    assert marked[0].source is WordSource.GENERAL
    assert marked[1].source is WordSource.PHRASE
    assert marked[5].source is WordSource.GRAMMAR
