"""Free speech: observations found, doubts flagged, talk left alone."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.flags import Flag, FlagCode, sentences_of
from treeward.notes.narration import numbers_whole, read_narration
from treeward.speech.utterances import Utterance, spread

if TYPE_CHECKING:
    from types import ModuleType

    from treeward.notes.events import Event

BOOK = PhraseBook.load()
PROSE = """
The morning was blue and white, and the hills lay green under a yellow sun. We left
the house at ten past seven with our flasks, and by half past eight the red roofs of
the village were behind us. My brother carried the pink umbrella which he had bought
for two pounds ten. It is a hundred and twenty steps to the chapel, he said, and then
you turn south west by the white gate. The old man who lives there came back from the
wars in forty five. His orange cat was away all summer; she went off with the tinkers,
people say, and never came home. Where is she now? Nobody knows. In the afternoon the
wind rose, and the yellow leaves flew over the wall. We took note of the time, two
hours, and paused for bread and cheese. A green van is leaving the yard. The station
has been closed since nineteen sixty two. If the weather is calm we should be back by
a quarter to six, and purple clouds are out in the west. I left my watch on the blue
chair, so I cannot tell you what time it was when she landed. Read back to me what you
wrote. There goes a red kite, out over the bracken. That took courage.
"""


def benchmark() -> ModuleType:
    path = Path(__file__).parents[1] / "benchmarks" / "narration.py"
    spec = importlib.util.spec_from_file_location("narration_benchmark", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    import sys

    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


BENCH = benchmark()


def said(text: str, start_s: float = 10.0) -> Utterance:
    words = spread(text.split(), start_s, start_s + 0.08 * len(text))
    return Utterance(words=tuple(words), start_s=start_s, end_s=words[-1].end_s)


def brief(events: list[Event]) -> list[str]:
    return [f"{event.kind}:{event.mark}:{event.value}".rstrip(":") for event in events]


def read(*said: Utterance, book: PhraseBook = BOOK) -> list[Event]:
    return list(read_narration(said, book).events)


def events_of(*texts: str, every_s: float = 10.0) -> list[Event]:
    return read(
        *(said(text, every_s * (number + 1)) for number, text in enumerate(texts))
    )


@pytest.mark.parametrize(("part", "least"), [("rules", 0.9), ("held", 0.8)])
def test_lone_sentences_are_mostly_read(part: str, least: float) -> None:
    outcomes = [BENCH.outcome(s, BOOK) for s in BENCH.sentences(part)]
    precision, recall, _, _ = BENCH.precision_and_recall(outcomes)

    assert precision >= 0.9
    assert recall >= least


def test_enough_sentences_are_labelled_and_none_twice() -> None:
    every = [s["say"] for part in ("held", "rules") for s in BENCH.sentences(part)]

    assert len(every) >= 240
    assert len(set(every)) == len(every)


def test_prose_with_colours_and_times_makes_no_event() -> None:
    assert brief(events_of(PROSE)) == []


@pytest.mark.parametrize(
    "phrase",
    [
        phrase
        for phrase in BOOK.fixed_phrases()
        if phrase.mark in {"", "yellow", "unmarked"} or phrase.kind == "back"
    ],
    ids=lambda phrase: phrase.text,
)
def test_every_fixed_phrase_is_read_from_text(phrase: Any) -> None:
    (event,) = events_of(phrase.text)

    assert (event.kind, event.mark, event.value) == (
        phrase.kind,
        phrase.mark,
        phrase.value,
    )
    doubts = {"found": FlagCode.TOLD_FREELY, "scratch": FlagCode.TAKES_NOTHING_BACK}
    doubted = doubts.get(phrase.kind)
    assert event.flags == ((Flag(doubted),) if doubted else ())


def test_a_whole_scene() -> None:
    events = events_of(
        "Okay, we're at station one, it's nine forty in the morning.",
        "White's just landed. And there's yellow back too.",
        "There she goes, that's yellow away, about one thirty five.",
        "White has left, south west.",
        "I'll stop the recorder for a minute.",
        "Recording again, it is eleven thirty-one.",
        "Here's yellow again. She took five and a half minutes.",
        every_s=60.0,
    )

    assert brief(events) == [
        "station::1",
        "time::09:40",
        "back:white",
        "back:yellow",
        "away:yellow",
        "bearing:yellow:135",
        "away:white",
        "bearing:white:225 sw",
        "pause",
        "resume",
        "time::11:31",
        "back:yellow",
        "duration:yellow:away 330",
    ]
    assert [event.start_s for event in events] == sorted(
        event.start_s for event in events if event.start_s is not None
    )


def test_a_pronoun_takes_the_bee_in_view() -> None:
    *_, event = events_of("white back.", "white away.", "red back.", "she's off")

    assert (event.kind, event.mark) == ("away", "red")


@pytest.mark.xfail(reason="misread", strict=True)
def test_who_it_was_is_told_as_another_reading() -> None:
    (event,) = events_of("white is away, no, sorry, it was pink")

    assert (event.kind, event.mark) == ("away", "pink")
    assert event.has(FlagCode.CORRECTED)
    assert "away white" in [other.text for other in event.alternatives]


@pytest.mark.xfail(reason="misread", strict=True)
def test_a_phrase_across_two_cues() -> None:
    first, second = said("red", 10.0), said("back", 12.0)

    assert brief(read(first, second)) == ["back:red"]


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ("away again forty", "eight on the", ["away again", "forty eight on the"]),
        ("two hundred and", "six.", ["two hundred and six."]),
        ("out for five", "minutes ten", ["out for", "five minutes ten"]),
        ("that's 2", "10 for her", ["that's", "2 10 for her"]),
        ("white and", "two ten", ["white and", "two ten"]),
        ("one forty.", "two ten.", ["one forty.", "two ten."]),
        ("she took two", "of them", ["she took two", "of them"]),
    ],
)
def test_a_number_that_two_cues_part_is_read_whole(
    first: str, second: str, expected: list[str]
) -> None:
    cues = [said(first, 10.0)]
    cues.append(said(second, cues[0].end_s))
    late = said(second, cues[0].end_s + 2.0)

    assert [one.text for one in numbers_whole(cues)] == expected
    assert [one.text for one in numbers_whole([cues[0], late])] == [first, second]


def test_scratch_flags_the_note_before_it() -> None:
    back, scratch = events_of("blue's back.", "scratch that")

    assert sentences_of(back.flags) == ("taken back by 'scratch that'",)
    assert scratch.kind == "scratch"


def test_a_colour_a_hunt_added_is_known(tmp_path: Path) -> None:
    (tmp_path / "phrasebook.toml").write_text(
        '[colours]\nblack = ["black"]\n'
        '[actions.back]\nnarrate = ["{mark} is sipping"]\n',
        encoding="utf-8",
    )
    book = PhraseBook.for_hunt(tmp_path)

    black = said("the black one is sipping")
    assert brief(read(black, book=book)) == ["back:black"]


def test_nothing_said_gives_nothing() -> None:
    assert read() == []
    assert read(Utterance(words=(), start_s=0, end_s=1)) == []


VOCABULARY = st.sampled_from(
    [
        *sorted(BOOK.vocabulary()),
        *("she's", "there", "goes", "that", "took", "minutes", "or"),
        *("was", "it", "i", "think", "the", "one", "is"),
        *("what's", "time?", "-", "...", ",", "?", "bearing"),
        *("note", "and", "it's", "10:22", "2:", "wind", "from"),
        *("on", "white's", "missed", "her", "leaving"),
    ]
)


@given(
    st.lists(
        st.tuples(
            st.lists(VOCABULARY | st.text(max_size=6), min_size=1, max_size=12),
            st.floats(0, 5),
        ),
        max_size=4,
    )
)
def test_any_text_is_read_without_a_crash(
    rows: list[tuple[list[str], float]],
) -> None:
    now_s = 0.0
    utterances: list[Utterance] = []
    for texts, gap_s in rows:
        now_s += gap_s
        words = spread(" ".join(texts).split(), now_s, now_s + 2.0)
        utterances.append(
            Utterance(words=tuple(words), start_s=now_s, end_s=now_s + 2.0)
        )
        now_s += 2.0

    for event in read_narration(utterances, BOOK, recording="a.vtt").events:
        assert event.kind in EventKind
        assert event.recording == "a.vtt"
        assert event.heard
        assert event.start_s is not None
        assert event.end_s is not None
        assert 0 <= event.start_s <= event.end_s <= now_s + 1e-6
        assert 0 <= event.confidence <= 1
