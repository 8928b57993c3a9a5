"""Free speech as whole scenes: who was meant, what was corrected, what stays.

The days in fixtures/narration/days hold to figures; see their README.
"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from treeward.language.phrasebook import PhraseBook
from treeward.notes.flags import Flag, FlagCode
from treeward.notes.narration import read_narration, read_talk
from treeward.speech.utterances import (
    Alternative,
    Utterance,
    Word,
    WordSource,
    spread,
)

if TYPE_CHECKING:
    from types import ModuleType

    from treeward.notes.events import Event
    from treeward.notes.narration import Narration

BOOK = PhraseBook.load()
EVERY_S = 10.0
MISREAD = {
    "It's two o'clock. Two minutes to.",
    "White is off at two hundred and, I want to say sixty-three.",
    "White back.",
}


def said(text: str, start_s: float) -> Utterance:
    words = spread(text.split(), start_s, start_s + 0.06 * len(text))
    return Utterance(words=tuple(words), start_s=start_s, end_s=words[-1].end_s)


def told(*lines: str, book: PhraseBook = BOOK) -> Narration:
    return read_narration(
        [said(line, EVERY_S * (1 + number)) for number, line in enumerate(lines)], book
    )


def brief(events: tuple[Event, ...]) -> list[str]:
    return [f"{e.kind}:{e.mark}:{e.value}".rstrip(":") for e in events]


def days() -> ModuleType:
    path = Path(__file__).parents[1] / "benchmarks" / "narration_days.py"
    spec = importlib.util.spec_from_file_location("narration_days", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (
            ["white back.", "red back.", "white away.", "orange right behind her."],
            ["back:white", "back:red", "away:white", "away:orange"],
        ),
        (
            ["white back.", "red back.", "The pair of them are off."],
            ["back:white", "back:red", "away:white", "away:red"],
        ),
        (
            ["white back.", "red back.", "red away.", "There goes the other one."],
            ["back:white", "back:red", "away:red", "away:white"],
        ),
        (
            ["Purple and blue-white both away."],
            ["away:purple", "away:blue-white"],
        ),
        (["White's away, two forty."], ["away:white", "bearing:white:240"]),
        (["Pinks off, blues landed."], ["away:pink", "back:blue"]),
        (
            ["white away, two ninety.", "red away.", "Same direction as before."],
            ["away:white", "bearing:white:290", "away:red", "bearing:red:290"],
        ),
        (
            ["Green's off, two twenty-eight on the compass."],
            ["away:green", "bearing:green:228"],
        ),
        (["white away, south-westish."], ["away:white", "bearing:white:225 sw"]),
        (
            ["white back.", "She'd been gone three and a half minutes."],
            ["back:white", "duration:white:away 210"],
        ),
        (["white landed, then left."], ["back:white", "away:white"]),
        (["half past eleven, nearly"], ["time::11:30"]),
        (["Making that ten thirty-five and a bit."], ["time::10:35"]),
        (
            ["white away.", "She's back. 10.49."],
            ["away:white", "back:white", "time::10:49"],
        ),
        (["I'd call it calm."], ["wind::calm"]),
        (["The wind has dropped right off."], ["wind::calm"]),
        (["Light breeze from the north."], ["wind::light 0"]),
        (["Okay station two, this is the sheepwash."], ["station::2"]),
        (["I'll stop for lunch now."], ["pause"]),
    ],
)
def test_who_what_when_and_which_way(
    lines: list[str],
    expected: list[str],
    request: pytest.FixtureRequest,
) -> None:
    if lines[-1] in {
        "The pair of them are off.",
        "white landed, then left.",
    }:
        request.applymarker(pytest.mark.xfail(reason="misread", strict=True))
    assert brief(told(*lines).events) == expected


@pytest.mark.parametrize(
    "line",
    [
        "White isn't back yet.",
        "She might have gone.",
        "Did I say that already?",
        "If red's back before ten I'll be surprised.",
        "There's a wasp back on the dish.",
        "My neighbour's bees are back.",
        "Green is still here.",
        "Neither pink nor yellow has returned.",
    ],
)
def test_what_makes_no_note(line: str) -> None:
    assert brief(told("red away.", line).events) == ["away:red"]


@pytest.mark.parametrize(
    ("lines", "expected", "before"),
    [
        (["Blue back. No, sorry, that was the white one."], "back:white", "back blue"),
        (["Blue back.", "Wait, no, that was white."], "back:white", "back blue"),
        (["Blue back.", "White, I mean."], "back:white", "back blue"),
        (["White's in. It's not white, it's yellow."], "back:yellow", "back white"),
    ],
)
def test_a_correction_changes_the_bee_and_keeps_what_was_said(
    lines: list[str],
    expected: str,
    before: str,
    request: pytest.FixtureRequest,
) -> None:
    if lines[-1] == "White, I mean.":
        request.applymarker(pytest.mark.xfail(reason="misread", strict=True))
    (event,) = told("red away.", *lines).events[1:]

    assert brief((event,)) == [expected]
    assert event.has(FlagCode.CORRECTED)
    assert before in [other.text for other in event.alternatives]


def test_a_correction_changes_a_bearing_on_the_next_line() -> None:
    *_, event = told("White's away, two forty.", "Scratch that, two thirty.").events

    assert brief((event,)) == ["bearing:white:230"]
    assert "bearing white 240" in [other.text for other in event.alternatives]
    assert event.doubtful


def test_what_is_cancelled_is_taken_back() -> None:
    events = told("red back.", "white back.", "White's away.", "Cancel that.").events

    assert brief(events) == ["back:red", "back:white", "away:white", "scratch"]
    assert events[2].flags == (Flag.of(FlagCode.TAKEN_BACK, "cancel that"),)


def test_a_note_told_late_stands_where_it_happened() -> None:
    late = "White came in half a minute ago."
    _, event = told("white away.", "Ah.", "Ah.", "Ah.", late).events

    assert event.start_s == pytest.approx(5 * EVERY_S - 30.0)
    assert event.doubtful


def test_lines_that_name_a_bee_and_make_no_note_are_listed() -> None:
    narration = told(
        "white away.",
        "Lovely morning.",
        "I wonder about red.",
        "She might have gone.",
        "The kettle is on.",
    )

    assert [line.text for line in narration.unread] == [
        "i wonder about red",
        "she might have gone",
    ]
    assert [line.marks for line in narration.unread] == [("red",), ()]
    assert narration.unread[0].start_s == pytest.approx(3 * EVERY_S)


@pytest.mark.parametrize(
    ("line", "what", "low_s", "high_s"),
    [
        ("It takes them about a minute to fill up.", "loading", 45, 75),
        ("Two to three minutes to make the delivery.", "unloading", 120, 180),
        ("These hives are so close that flight doesn't count.", "close", 0, 0),
    ],
)
def test_times_of_loading_and_unloading_are_kept(
    line: str, what: str, low_s: float, high_s: float
) -> None:
    narration = told(line)

    assert narration.events == ()
    (time,) = narration.times
    assert (time.what, time.low_s, time.high_s) == (what, low_s, high_s)


def test_marks_of_the_hunt_hold_for_transcripts() -> None:
    book = replace(BOOK, marks_in_use=frozenset({"blue", "white", "red"}))
    blue, white, pink = told("Blue and white back.", "Pink's away.", book=book).events

    assert brief((blue, white)) == ["back:blue", "back:white"]
    assert pink.mark == "pink"
    assert pink.flags == (Flag.of(FlagCode.UNPAINTED, "pink"),)


def talk(*texts: str, start_s: float) -> Utterance:
    words = tuple(
        replace(word, source=WordSource.TALK)
        for word in said(" ".join(texts), start_s).words
    )
    return Utterance(words=words, start_s=start_s, end_s=words[-1].end_s)


def note(text: str, start_s: float) -> Utterance:
    word = Word(text=text, start_s=start_s, end_s=start_s + 1, source=WordSource.PHRASE)
    return Utterance(words=(word,), start_s=start_s, end_s=start_s + 1)


def test_talk_between_fixed_notes_is_read_freely_and_says_so() -> None:
    from treeward.notes.parser import parse_notes

    heard = [
        note("white back", 10.0),
        talk("She's off,", "two ninety.", start_s=40.0),
        talk("Lovely day for it.", start_s=60.0),
        note("white back", 300.0),
        talk("No, sorry, that was red.", start_s=303.0),
    ]
    narration = read_talk(heard, parse_notes(heard, BOOK), BOOK, recording="a.flac")

    assert brief(narration.events) == [
        "back:white",
        "away:white",
        "bearing:white:290",
        "back:red",
    ]
    first, away, bearing, last = narration.events
    assert first.flags == ()
    assert away.has(FlagCode.TOLD_FREELY)
    assert bearing.has(FlagCode.TOLD_FREELY)
    assert "back white" in [other.text for other in last.alternatives]
    assert away.recording == "a.flac"


def either(*texts: tuple[str, float], start_s: float) -> Utterance:
    """Talk that an engine may have heard as several texts, each so likely."""
    heard = talk(texts[0][0], start_s=start_s)
    others = tuple(Alternative(text=text, confidence=sure) for text, sure in texts)
    first, *rest = heard.words
    words = (replace(first, alternatives=others), *rest)
    return replace(heard, words=words)


@pytest.mark.parametrize(
    ("texts", "expected"),
    [
        (
            [("He is read settling down.", 0.14), ("Here's red settling down.", 0.02)],
            ["back:red"],
        ),
        ([("Red again?", 0.4), ("Red again.", 0.001)], []),
        ([("That's right.", 0.5), ("That's white.", 0.2)], []),
        ([("White's just dropped in two.", 0.1)], ["back:white"]),
    ],
)
def test_of_what_talk_may_say_what_makes_notes_is_likelier(
    texts: list[tuple[str, float]],
    expected: list[str],
) -> None:
    narration = read_talk([either(*texts, start_s=10.0)], [], BOOK)

    assert brief(narration.events) == expected
    assert all(event.has(FlagCode.TOLD_FREELY) for event in narration.events)


def test_talk_goes_on_about_the_bee_of_a_fixed_note() -> None:
    from treeward.notes.parser import parse_notes

    heard = [note("yellow back", 10.0), talk("and then off again.", start_s=11.1)]
    narration = read_talk(heard, parse_notes(heard, BOOK), BOOK)

    assert brief(narration.events) == ["back:yellow", "away:yellow"]


def test_invented_days_are_mostly_read() -> None:
    bench = days()
    tally = bench.whole([bench.judge(name, BOOK) for name in bench.JUDGE])

    assert tally.recall >= 0.82
    assert tally.precision >= 0.95
    assert tally.silently_wrong <= 0.02


@pytest.mark.slow
def test_days_of_strangers_are_read_as_well_as_was_aimed_for() -> None:
    bench = days()
    tally = bench.whole(
        [bench.judge(name, BOOK) for name in (*bench.JUDGE, *bench.UNREAD)]
    )

    assert tally.recall >= 0.85
    assert tally.precision >= 0.93
    assert tally.silently_wrong <= 0.02


@pytest.mark.parametrize(
    ("lines", "notes"),
    [
        (
            ["the read 1 is back", "she's off 250"],
            ["back:red", "away:red", "bearing:red:250"],
        ),
        (["there goes blew 2"], ["away:blue"]),
        (["write that down would you", "it blew all night"], []),
        (["Read back to me what you wrote."], []),
        (["Whitey's off, did you see that?"], ["away:white"]),
        (["White's off, is she?"], []),
        (["Which d'you want first? Yellow."], []),
        (["It's two o'clock. Two minutes to."], ["time::01:58"]),
        (["And the wind? None.", "Put calm."], ["wind::calm"]),
        (
            ["White is off at two hundred and, I want to say sixty-three."],
            ["away:white", "bearing:white:263"],
        ),
        (
            ["White is off. One fifteen, could be one sixteen."],
            ["away:white", "bearing:white:115"],
        ),
        (["White is having another go."], []),
        (["How's the wind? Put it light."], ["wind::light"]),
        (
            ["The time is seven forty-five.", "Seven fifty-one. White's back."],
            ["time::7:45", "time::7:51", "back:white"],
        ),
        (
            [
                "White back.",
                "Red back.",
                "White and red are off.",
                "White 255 and the other 1 251",
            ],
            [
                *("back:white", "back:red", "away:white", "away:red"),
                *("bearing:white:255", "bearing:red:251"),
            ],
        ),
    ],
)
def test_talk_of_two_and_words_set_down_by_sound(
    lines: list[str],
    notes: list[str],
    request: pytest.FixtureRequest,
) -> None:
    if lines[0] in MISREAD:
        request.applymarker(pytest.mark.xfail(reason="misread", strict=True))
    assert brief(told(*lines).events) == notes


@pytest.mark.parametrize(
    ("said", "deg"),
    [
        ("Yellow away, forty-five degrees.", 45),
        ("Yellow away, 46 degrees.", 46),
        ("Yellow off, sixty five degrees.", 65),
        ("yellow away 95 degrees", 95),
        ("Yellow away, a hundred and five degrees.", 105),
        ("Yellow away, zero four five.", 45),
    ],
)
def test_a_number_of_degrees_is_the_way_that_a_bee_left(said: str, deg: int) -> None:
    *_, bearing = told("Yellow is back.", said).events

    assert bearing.kind == "bearing"
    assert bearing.mark == "yellow"
    assert bearing.bearing is not None
    assert bearing.bearing.deg == deg


def test_degrees_with_all_bees_here_are_of_the_weather() -> None:
    assert brief(told("Yellow is back.", "It's twenty-four degrees.").events) == [
        "back:yellow"
    ]


@pytest.mark.parametrize("said", ["165-ish", "165ish", "one sixty-five-ish"])
def test_a_number_with_ish_is_a_rough_one(said: str) -> None:
    *_, bearing = told("Yellow is back.", f"Yellow's off, {said}.").events

    assert brief((bearing,)) == ["bearing:yellow:165"]
    assert bearing.has(FlagCode.ROUGH)


def test_a_coming_that_is_said_twice_in_one_breath_is_one_note() -> None:
    assert brief(told("Yellow in. No. Yes, yellow in.").events) == ["back:yellow"]


def test_a_new_station_has_no_bees_yet() -> None:
    narration = told("Station one.", "White back.", "Station two.", "White's in.")

    assert brief(narration.events)[-1] == "back:white"
    assert len(narration.events) == 4


@pytest.mark.slow
def test_days_of_other_narrators_stay_read() -> None:
    bench = days()
    others = ("ngaire", "col", "odile", "kobus")
    tally = bench.whole([bench.judge(name, BOOK) for name in others])

    assert tally.recall >= 0.94
    assert tally.precision >= 0.95
    assert tally.silently_wrong <= 0.01


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Still.", []),
        ("The wind is light now.", ["wind::light"]),
        ("Five to nine.", []),
        ("It's five to nine.", ["time::8:55"]),
        ("What's the time? Five to nine.", ["time::8:55"]),
    ],
)
def test_talk_makes_a_note_only_of_what_it_names(
    text: str,
    expected: list[str],
) -> None:
    assert brief(read_talk([talk(text, start_s=10.0)], [], BOOK).events) == expected


@pytest.mark.parametrize(
    ("line", "where"),
    [
        ("found them, in the old oak.", "in the old oak"),
        ("we've finally found the nest.", ""),
        ("Colony found, up in the dead beech by the wall.",
         "up in the dead beech by the wall"),
        ("colony found there, in the ash.", "in the ash"),
        ("colony found here.", ""),
    ],
)  # fmt: skip
def test_a_find_keeps_the_words_that_tell_where(line: str, where: str) -> None:
    (event,) = told(line).events

    assert (event.kind, event.value) == ("found", where)
    assert event.doubtful  # it was told freely


@pytest.mark.parametrize(
    "line",
    [
        "No wild colony found.",
        "we haven't found them in the oak.",
        "we found no nest.",
        "if we found it in the wall we'd be glad.",
    ],
)
def test_what_was_not_found_is_no_find_and_is_listed(line: str) -> None:
    narration = told(line)

    assert [e for e in narration.events if e.kind == "found"] == []
    assert len(narration.unread) == 1


def test_painted_behind_the_colour_marks_a_bee() -> None:
    assert brief(told("white painted.").events) == ["mark:white"]
    assert brief(told("the white painted one is back.").events) == ["back:white"]


def test_a_comma_before_a_time_out_does_not_make_it_rough() -> None:
    narration = told("Yellow away.", "Yellow is back, my yellow, six minutes ten.")
    rough = told("Yellow away.", "Yellow is back, about six minutes ten.")
    codes = [
        [f for e in one.events for f in e.flags if f.code is FlagCode.ROUGH]
        for one in (narration, rough)
    ]
    assert [len(flags) for flags in codes] == [0, 1]
    assert codes[1][0].words == ("about",)
