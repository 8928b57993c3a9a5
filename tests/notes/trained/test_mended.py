"""What was said first and then mended stays beside the note."""

from __future__ import annotations

import pytest

from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.bee_names import BeeNames
from treeward.notes.trained.lines import Line, NumberSaid, in_lines
from treeward.notes.trained.mended import bee_mended, number_mended
from treeward.speech.utterances import Utterance, spread

BOOK = PhraseBook.load()


def lines_of(*says: str) -> list[Line]:
    said = [
        Utterance.of(spread(say.split(), 10.0 * n, 10.0 * n + 3.0))
        for n, say in enumerate(says)
    ]
    return in_lines(said, BeeNames(BOOK, " ".join(says)), BOOK.colour_words)


def bearing_230(line: Line) -> NumberSaid:
    (said,) = [
        one
        for one in line.numbers
        if (one.kind, one.value) == (EventKind.BEARING, "230")
    ]
    return said


@pytest.mark.parametrize(
    ("say", "by"),
    [
        ("Blue back. No, sorry, that was the white one.", "no"),
        ("Blue's back. I mean white.", "i mean"),
        ("That's blue back, scratch that, white.", "scratch that"),
    ],
)
def test_the_bee_named_first_is_another_reading(say: str, by: str) -> None:
    (line,) = lines_of(say)
    mended = bee_mended(EventKind.BACK, "white", line, None)
    assert mended is not None
    assert mended.said_first.text == "back blue"
    assert mended.by.startswith(by)
    assert mended.by.endswith(("white", "one"))


def test_the_next_line_may_mend_the_bee() -> None:
    line, after = lines_of("Blue's back.", "Wait, no, that was white.")
    mended = bee_mended(EventKind.BACK, "white", line, after)
    assert mended is not None
    assert mended.said_first.text == "back blue"
    assert bee_mended(EventKind.BACK, "blue", line, after) is None


@pytest.mark.parametrize(
    "say",
    [
        "White's back.",
        "Blue's back and so is white.",
        "White's back. No, blue is still out.",
    ],
)
def test_two_bees_without_mending_are_two_bees(say: str) -> None:
    (line,) = lines_of(say)
    assert bee_mended(EventKind.BACK, "white", line, None) is None


def test_the_number_said_first_is_another_reading() -> None:
    (line,) = lines_of("White's away, two forty, no, make that two thirty.")
    said = bearing_230(line)
    mended = number_mended(said, "white", line, None)
    assert mended is not None
    assert mended.said_first.text == "bearing white 240"


def test_the_line_before_may_hold_the_number_that_is_mended() -> None:
    before, line = lines_of("White's away, two forty.", "Scratch that, two thirty.")
    said = bearing_230(line)
    mended = number_mended(said, "white", line, before)
    assert mended is not None
    assert (mended.said_first.text, mended.by) == (
        "bearing white 240",
        "scratch that two thirty",
    )
    assert number_mended(said, "white", line, None) is None
