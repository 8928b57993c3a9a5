"""Free speech is never silently wrong: what did not happen, or is in doubt, says so.

The sentences are ours; no narrator said them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from treeward.language.phrasebook import PhraseBook
from treeward.notes.flags import FlagCode
from treeward.notes.narration import read_narration
from treeward.speech.utterances import Utterance, spread

if TYPE_CHECKING:
    from treeward.notes.events import Event
    from treeward.notes.narration import Narration

BOOK = PhraseBook.load()
APART_S = 60.0
HERE = ("Yellow is back.", "White is back.")
OUT = (*HERE, "Yellow is away.", "White is away.")


def told(*lines: str, apart_s: float = APART_S) -> Narration:
    said: list[Utterance] = []
    start_s = 10.0
    for line in lines:
        end_s = start_s + 0.06 * len(line)
        words = tuple(spread(line.split(), start_s, end_s))
        said.append(Utterance(words=words, start_s=start_s, end_s=end_s))
        start_s = end_s + apart_s
    return read_narration(said, BOOK)


def stands(narration: Narration, after: int = 0) -> list[str]:
    """Give the notes that stand, from the one numbered `after` on."""
    return [
        brief(event)
        for event in narration.events[after:]
        if event.kind != "scratch" and not event.has(FlagCode.TAKEN_BACK)
    ]


def brief(event: Event) -> str:
    return f"{event.kind}:{event.mark}:{event.value}".rstrip(":")


@pytest.mark.parametrize(
    ("before", "line", "notes"),
    [
        (OUT, "Yellow nearly landed but went off again.", []),
        (OUT, "White nearly came in but turned back.", []),
        (OUT, "Yellow came close but never landed.", []),
        (OUT, "White almost came down but veered off.", []),
        (OUT, "Yellow very nearly touched down, then went away again.", []),
        (OUT, "White got close to landing and flew off.", []),
        (OUT, "Yellow had a go at landing, went off again.", []),
        (OUT, "Yellow nearly landed. Off again.", []),
        (OUT, "Yellow nearly landed, and white is back.", ["back:white"]),
        (HERE, "Yellow tried to leave.", []),
        (HERE, "Yellow tried to leave but settled again.", []),
        (HERE, "Yellow almost took off, came back down.", []),
        (HERE, "White tried to go but she's back on the rim.", []),
        (HERE, "Yellow thought about leaving, then sat down.", []),
        (HERE, "Yellow was on the point of leaving, no, still here.", []),
        (HERE, "White's off, almost due north.", ["away:white", "bearing:white:0 n"]),
    ],
)
def test_what_nearly_happened_is_no_note(
    before: tuple[str, ...], line: str, notes: list[str]
) -> None:
    assert stands(told(*before, line), len(before)) == notes


@pytest.mark.parametrize(
    "line",
    [
        "Yellow away, no, not yet.",
        "Yellow going, going, no she's settled.",
        "Yellow's away, oh no, not quite.",
        "Yellow's leaving, wait, she's changed her mind.",
        "Yellow's off, not yet.",
        "Yellow away. No, hang on, she's sat down again.",
    ],
)
def test_not_yet_takes_back_what_stands_before_it(line: str) -> None:
    narration = told("Yellow is back.", line)

    assert stands(narration) == ["back:yellow"]
    assert [brief(e) for e in narration.events][1] == "away:yellow"


def test_not_yet_of_another_bee_takes_nothing_back() -> None:
    narration = told(*OUT, "White's back. Is yellow? Not yet.")

    assert stands(narration, len(OUT)) == ["back:white"]
