"""Constructions of free speech, each by sentences of our own that no narrator said.

In fixtures/narration/constructions.txt the sentences stand after what was noted before:
red and white are here, both are out, or nothing was said at all. The network was taught
with them in other colours, so they tell that nothing is lost, not how much is read.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.narration_training.sentences import BEFORE
from treeward.language.phrasebook import PhraseBook
from treeward.notes.flags import FlagCode
from treeward.notes.narration import read_narration
from treeward.speech.utterances import Utterance, spread

TABLE = Path(__file__).parents[2] / "fixtures" / "narration" / "constructions.txt"
BOOK = PhraseBook.load()
APART_S = 70.0


def utterances(lines: tuple[str, ...], apart_s: float = APART_S) -> list[Utterance]:
    found: list[Utterance] = []
    start_s = 10.0
    for line in lines:
        end_s = start_s + 0.06 * len(line)
        words = tuple(spread(line.split(), start_s, end_s))
        found.append(Utterance(words=words, start_s=start_s, end_s=end_s))
        start_s = end_s + apart_s
    return found


def noted(
    lines: tuple[str, ...], after: int = 0, apart_s: float = APART_S
) -> list[str]:
    """Give what the lines from `after` on came to, in order of time."""
    heard = utterances(lines, apart_s)
    events = read_narration(heard, BOOK).events
    return [
        f"{e.kind}:{e.mark}:{e.value}".rstrip(":")
        for e in events
        if (e.end_s or 0.0) > heard[after].start_s
    ]


def table() -> list[tuple[str, str, tuple[str, ...]]]:
    found: list[tuple[str, str, tuple[str, ...]]] = []
    group = ""
    for line in TABLE.read_text("utf-8").splitlines():
        if line.startswith("["):
            group = line.strip("[]")
        elif line and not line.startswith("#"):
            say, _, notes = line.partition(" => ")
            found.append((group, say, tuple(filter(None, notes.split("; ")))))
    return found


@pytest.mark.parametrize(("group", "say", "notes"), table())
def test_a_sentence_means(
    group: str, say: str, notes: tuple[str, ...], request: pytest.FixtureRequest
) -> None:
    known, _, misread = group.partition(", ")
    before = BEFORE[known]
    if misread:
        request.applymarker(pytest.mark.xfail(reason="misread", strict=True))

    found = noted((*before, say), len(before))

    assert sorted(found) == sorted(notes)


@pytest.mark.parametrize(
    ("lines", "notes"),
    [
        (
            ("I'm doing this one green. She's called Duchess.", "Duchess is off."),
            ["mark:green", "away:green"],
        ),
        (
            ("I've dabbed a new one pink, like a boiled sweet.", "The sweet's away."),
            ["mark:pink", "away:pink"],
        ),
        (
            (
                "This one gets two colours, blue and white.",
                "The blue and white one left.",
            ),
            ["mark:blue-white", "away:blue-white"],
        ),
        pytest.param(
            ("A new one, half green and half pink.", "My two-coloured one is gone."),
            ["mark:green-pink", "away:green-pink"],
            marks=pytest.mark.xfail(reason="misread", strict=True),
        ),
        (
            ("I'm painting a skinny bee orange.", "The skinny one has left."),
            ["mark:orange", "away:orange"],
        ),
    ],
)
def test_bees_have_names_of_their_own(lines: tuple[str, ...], notes: list[str]) -> None:
    assert noted(lines) == notes


@pytest.mark.parametrize(
    ("say", "bearing"),
    [
        ("Red's gone. Two hundred and... sixty... two hundred sixty-eight.", "268"),
        pytest.param(
            "Red's gone. Ninety... ninety-six. East, then.",
            "96",
            marks=pytest.mark.xfail(reason="misread", strict=True),
        ),
        ("Red's gone. One hundred eighty... five.", "185"),
        ("Red's gone. Two hundred and, er, twelve.", "212"),
        ("Red's gone. Two twenty-four, put two twenty-six.", "226"),
    ],
)
def test_numbers_that_are_mended(say: str, bearing: str) -> None:
    assert noted(("Red is back.", say), 1) == ["away:red", f"bearing:red:{bearing}"]


@pytest.mark.xfail(reason="misread", strict=True)
def test_a_point_of_the_compass_is_the_winds_where_no_bee_left() -> None:
    assert noted(("The wind's back.", "North-west, fresh."), 0, 2.0) == [
        "wind::moderate 315"
    ]


def test_what_was_told_late_is_put_back_and_flagged() -> None:
    heard = utterances(("Red is back.", "Red left. That was half a minute ago."))
    _, away = read_narration(heard, BOOK).events

    assert away.start_s == pytest.approx(heard[1].start_s - 30.0, abs=1.0)
    assert [flag.code for flag in away.flags] == [FlagCode.TOLD_LATE]


@pytest.mark.parametrize(
    ("lines", "notes"),
    [
        (
            ("It's ten past eleven on the fourteenth of July.",),
            ["time::11:10", "date::14 July"],
        ),
        (("Third of May, station two.",), ["date::3 May", "station::2"]),
        (("The fourteenth of July was a hot one.",), []),
        (("Since the third of May I've been here twice.",), []),
        (("The second may have left.",), []),
    ],
)
def test_dates_within_sentences(lines: tuple[str, ...], notes: list[str]) -> None:
    assert sorted(noted(lines)) == sorted(notes)


@pytest.mark.parametrize(
    ("leaving", "coming"),
    [
        ("Getting up for a moment.", "Sat down again."),
        ("Getting up to stretch my legs.", "Back in my seat."),
        ("I'll be off for a bit.", "Right, I'm sitting down again."),
        ("Observations are suspended.", "Observations are resumed."),
        ("Going off watch.", "On duty again."),
    ],
)
def test_getting_up_and_sitting_down(leaving: str, coming: str) -> None:
    assert noted((leaving, coming)) == ["pause", "resume"]
