"""Names people give their bees. The sentences are invented."""

from __future__ import annotations

import pytest

from treeward.language.phrasebook import PhraseBook
from treeward.notes.bee_names import BeeNames
from treeward.notes.sentences import Speech, speech_of
from treeward.speech.utterances import Utterance, spread

BOOK = PhraseBook.load()


def speech_in(*lines: str) -> Speech:
    said = [
        Utterance.of(spread(line.split(), 10.0 * number, 10.0 * number + 5.0))
        for number, line in enumerate(lines)
    ]
    return speech_of(said, BOOK.colour_words)[0]


def named(speech: Speech, name: str) -> str:
    """Give the mark of the bee that goes by a name, "" for nobody."""
    text = f" {name} is off . "
    found = BeeNames(BOOK, speech.text, speech.proper).at(text, 1)
    return found.mark if found and found.end == len(name) + 1 else ""


@pytest.mark.parametrize(
    ("lines", "name", "mark"),
    [
        (
            ["A touch of white, and I crown you Wilhelmina.", "So Wilhelmina it is."],
            "wilhelmina",
            "white",
        ),
        (
            [
                "Green for you. Still!",
                "You are Frau Holle, my dear.",
                "There sits Holle.",
            ],
            "holle",
            "green",
        ),
        (["Here comes Bramble, the blue one.", "Now Bramble."], "bramble", "blue"),
        (["I know Tuppence, she is orange.", "Ah, Tuppence."], "tuppence", "orange"),
        (["The red has got to be Cheddar.", "So Cheddar sits."], "cheddar", "red"),
        (["And here is Posset.", "You get the pink.", "Now Posset."], "posset", "pink"),
    ],
)
def test_a_name_with_a_capital_is_that_of_the_bee_it_was_given(
    lines: list[str], name: str, mark: str
) -> None:
    assert named(speech_in(*lines), name) == mark


@pytest.mark.parametrize(
    ("lines", "name"),
    [
        # Whoever was there before anything was painted, or is spoken to.
        (["Are you there, Gwilym?", "I paint her white.", "Well, Gwilym."], "gwilym"),
        (["White, Gwilym, white.", "See, Gwilym, the brush."], "gwilym"),
        (["I paint her white.", "Nice, says Gwilym.", "Tea for Gwilym."], "gwilym"),
        # Said once only, a month, and whoever everybody calls on.
        (["White for you, Wilhelmina."], "wilhelmina"),
        (["White, as in July.", "It is still July, I think."], "july"),
        (["White, thank God for that.", "Oh my God, the wind."], "god"),
        # Two bees got it.
        (["This is Flora, the white one.", "And that is Flora, the red one."], "flora"),
    ],
)
def test_who_is_no_bee_gives_no_name(lines: list[str], name: str) -> None:
    assert not named(speech_in(*lines), name)


def test_names_without_capitals_are_not_taken_from_them() -> None:
    lines = ["a touch of white and i crown you wilhelmina", "so wilhelmina it is"]
    assert not speech_in(*lines).proper
    assert not speech_in(*(line.upper() for line in lines)).proper


def test_only_words_that_always_have_a_capital_are_proper() -> None:
    speech = speech_in(
        "The paint is called Rose and she is Rose too.",
        "A rose is no bee. We met Tansy there.",
        'He said "Never" to me.',
    )
    assert speech.proper == {"tansy"}


def test_a_bee_gets_her_number_where_she_is_painted() -> None:
    speech = speech_in(
        "First I am putting yellow.",
        "This is number one.",
        "Then red.",
        "She becomes two.",
        "Three gets blue.",
    )
    names = BeeNames(BOOK, speech.text)
    wanted = {"one": "yellow", "two": "red", "three": "blue"}
    for word, mark in wanted.items():
        found = names.at(f" . {word} is off . ", 3)
        assert found is not None
        assert found.mark == mark
