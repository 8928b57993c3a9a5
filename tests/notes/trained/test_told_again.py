"""What a line leaves to what was told before it."""

from __future__ import annotations

import pytest

from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.bee_names import BeeNames
from treeward.notes.trained.bees import Deed, Known
from treeward.notes.trained.lines import MOST_NUMBERS, Line, Refers, in_lines
from treeward.notes.trained.told_again import landmarks_in, numbers_of
from treeward.speech.utterances import Utterance, spread

BOOK = PhraseBook.load()


def line_of(say: str, at_s: float = 600.0) -> Line:
    said = [Utterance.of(spread(say.split(), at_s, at_s + 3.0))]
    (line,) = in_lines(said, BeeNames(BOOK, say), BOOK.colour_words)
    return line


def known() -> Known:
    bees = Known()
    for mark, deg in (("white", 290), ("red", 45)):
        bees.do(Deed(EventKind.AWAY, mark, 300.0))
        bees.fly(mark, deg, ["pylon"] if mark == "white" else (), point="")
    return bees


def bearings(say: str, bees: Known | None = None) -> list[tuple[str, Refers | None]]:
    said = numbers_of(line_of(say), bees or known())
    return [(one.value, one.refers) for one in said if one.kind is EventKind.BEARING]


def test_the_same_way_is_of_the_bee_named_first() -> None:
    same = Refers.SAME_WAY
    assert bearings("White, same line as before.") == [("290", same), ("45", same)]
    assert bearings("Ditto.") == [("45", same)]
    assert bearings("Opposite way to white.")[0] == ("110", same)


def test_nothing_is_the_same_before_anything_was_told() -> None:
    assert bearings("Same way as before.", Known()) == []


def test_a_landmark_once_told_with_a_bearing_stands_for_it() -> None:
    assert bearings("Over the pylon again.") == [("290", Refers.LANDMARK)]
    assert bearings("Over the pylon, two ninety-five.") == [("295", None)]
    assert bearings("Over the barn.") == []


def test_landmarks_are_what_a_bee_flew_over_or_to() -> None:
    line = line_of("She's off over the tall pine, towards that barn, two ninety.")
    assert {"tall", "pine", "barn"} <= set(landmarks_in(line))
    assert landmarks_in(line_of("The pine is tall.")) == []


def test_the_point_of_the_compass_is_kept() -> None:
    bees = known()
    bees.fly("red", 225, point="sw")
    (one,) = numbers_of(line_of("Same again, red."), bees)[:1]
    assert one.written == "225 sw"


@pytest.mark.parametrize(
    ("say", "told", "value"),
    [
        ("Twenty past now.", "9:05", "9:20"),
        ("It's eighteen minutes to.", "9:35", "9:42"),
        ("It's ten past.", "9:58", "10:10"),
        ("It's ten past.", "12:55", "1:10"),
    ],
)
def test_minutes_are_of_the_hour_told_last(say: str, told: str, value: str) -> None:
    bees = Known()
    bees.tell_time(told, 300.0)
    said = numbers_of(line_of(say), bees)
    assert (value, Refers.HOUR) in [(one.value, one.refers) for one in said]


def test_minutes_of_no_hour_are_no_time() -> None:
    said = numbers_of(line_of("Twenty past now."), Known())
    assert not [one for one in said if one.kind is EventKind.TIME]


def test_no_more_readings_than_the_network_looks_at() -> None:
    say = "one two three four five six seven eight nine ten eleven twelve " * 3
    assert len(numbers_of(line_of(say), known())) <= MOST_NUMBERS
