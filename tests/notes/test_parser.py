"""Dictated notes: what is made of phrases, numbers, pauses and talk."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.language.kinds import EventKind
from treeward.language.number_words import bearing_forms
from treeward.language.phrasebook import PhraseBook
from treeward.notes.flags import FlagCode, sentences_of
from treeward.notes.parser import parse_notes
from treeward.speech.utterances import Alternative, Utterance, Word, WordSource

if TYPE_CHECKING:
    from treeward.notes.events import Event

BOOK = PhraseBook.load()
PHRASES = {phrase.text for phrase in BOOK.fixed_phrases()} | {"note"}
ANCHORS = {way for ways in BOOK.anchor_words.values() for way in ways}
P, G, N = WordSource.PHRASE, WordSource.PHRASE, WordSource.GENERAL


def said(
    *words: str | float | tuple[str, WordSource], start_s: float = 10.0
) -> Utterance:
    """Lay words end to end; a number is a pause in seconds.

    Words of the phrase book are phrase tokens, words after an anchor grammar words,
    all else general; a pair says otherwise.
    """
    now_s = start_s
    laid: list[Word] = []
    source_of_number = N
    for word in words:
        if isinstance(word, float):
            now_s += word
            continue
        text, source = word if isinstance(word, tuple) else (word, None)
        if source is None:
            source = P if text in PHRASES | ANCHORS else source_of_number
        if text in ANCHORS:
            source_of_number = G
        length_s = 0.08 * len(text)
        laid.append(
            Word(
                text=text,
                start_s=now_s,
                end_s=now_s + length_s,
                confidence=0.95,
                source=source,
            )
        )
        now_s += length_s + 0.02
    return Utterance(words=tuple(laid), start_s=start_s, end_s=now_s)


def brief(events: list[Event]) -> list[str]:
    return [f"{event.kind}:{event.mark}:{event.value}".rstrip(":") for event in events]


def heard(*utterances: Utterance) -> list[str]:
    return brief(parse_notes(utterances, BOOK))


@pytest.mark.parametrize("phrase", BOOK.fixed_phrases(), ids=lambda phrase: phrase.text)
def test_every_fixed_phrase(phrase: object) -> None:
    text, kind = getattr(phrase, "text", ""), getattr(phrase, "kind", "")
    (event,) = parse_notes([said((text, P))], BOOK, recording="a.ogg")

    assert (event.kind, event.mark, event.value) == (
        kind,
        getattr(phrase, "mark", None),
        getattr(phrase, "value", None),
    )
    assert (event.recording, event.heard, event.flags) == ("a.ogg", text, ())
    assert event.start_s == pytest.approx(10.0)
    assert event.end_s == pytest.approx(10.0 + 0.08 * len(text))
    assert event.confidence == pytest.approx(0.95)


@pytest.mark.parametrize(
    ("words", "events"),
    [
        (
            ("yellow away", "bearing", "two", "ten"),
            ["away:yellow", "bearing:yellow:210"],
        ),
        (
            ("yellow away", 0.6, "heading", "two-ten"),
            ["away:yellow", "bearing:yellow:210"],
        ),
        (("bearing", "zero", "three", "nine"), ["bearing::39"]),
        (("bearing", "two", "hundred", "and", "eight"), ["bearing::208"]),
        (("bearing", "three", "sixty"), ["bearing::0"]),
        (("heading", "south", "west"), ["bearing::225 sw"]),
        (("bearing", "zero", "five", "zero", "true"), ["bearing::50 true"]),
        (("clock", "ten", "twenty-two"), ["time::10:22"]),
        (("time", "five", "oh", "five"), ["time::5:05"]),
        (("time", "fourteen", "ten"), ["time::14:10"]),
        (("station two",), ["station::2"]),
        (("station", "twelve"), ["station::12"]),
        (("wind", "light", "from", "the", "south", "west"), ["wind::light 225"]),
        (("wind calm",), ["wind::calm"]),
        (("red back", "blue away"), ["back:red", "away:blue"]),
        (
            ("note", "two", "wasps", "at", "the", "dish"),
            ["remark::two wasps at the dish"],
        ),
        (("note", 0.8, "rain", "starts"), ["remark::rain starts"]),
        (
            ("note", "rain", "starts", 0.5, ("yellow back", P)),
            ["remark::rain starts", "back:yellow"],
        ),
        ((("blue white", P), ("back", P)), ["back:blue-white"]),
        ((("yellow abdomen", P), ("landed", P)), ["back:yellow abdomen"]),
        ((("mark", P), ("pink", P)), ["mark:pink"]),
        ((("red", P), 2.0, ("back", P)), ["back:red"]),
        ((("red", N), 1.5, ("back", N)), ["back:red"]),
        ((("yellow", P), "bearing", "two", "ten"), ["bearing:yellow:210"]),
    ],
)
def test_notes(words: tuple[str, ...], events: list[str]) -> None:
    assert heard(said(*words)) == events


def test_a_pause_across_two_utterances_loses_nothing() -> None:
    first = said(("red", N), start_s=10.0)
    second = said(("back", N), start_s=12.2)
    (event,) = parse_notes([first, second], BOOK)

    assert (event.kind, event.mark) == ("back", "red")
    assert event.start_s == pytest.approx(10.0)
    assert event.end_s == pytest.approx(12.52)
    assert event.has(FlagCode.ORDINARY_WORDS)


def test_an_anchor_and_its_number_in_two_utterances() -> None:
    first = said("bearing", start_s=10.0)
    second = said(("two", G), ("ten", G), start_s=11.5)

    assert heard(first, second) == ["bearing::210"]


def test_a_long_silence_parts_a_phrase() -> None:
    assert heard(said(("red", P), 3.0, ("back", P))) == []


@pytest.mark.parametrize(
    "talk",
    [
        "the yellow back door was open",
        "i like the blue paint best",
        "we went away and came back by half past five",
        "what was the bearing on the last one",
        "have a note of that somewhere",
        "we should pause for a moment here",
        "next time five of us will come",
        "the white one left her keys",
    ],
)
def test_talk_in_general_words_makes_no_event(talk: str) -> None:
    assert heard(said(*((word, N) for word in talk.split()))) == []


def test_anchors_in_talk_make_no_event_without_a_value() -> None:
    talk = [(word, N) for word in ("what", "was", "the")]
    tail = [(word, N) for word in ("on", "the", "last", "one", "then")]

    assert heard(said(*talk, "bearing", *tail)) == []


def test_a_phrase_in_the_middle_of_talk_is_flagged() -> None:
    (event,) = parse_notes(
        [said(("i", N), ("saw", N), "yellow back", ("doors", N), ("there", N))], BOOK
    )

    assert event.has(FlagCode.AMID_TALK)


def test_fillers_are_no_talk() -> None:
    (event,) = parse_notes([said(("okay", N), "yellow back", ("right", N))], BOOK)

    assert event.flags == ()


def test_commands_in_talk_are_dropped() -> None:
    words = (("if", N), ("you", N), ("pause", P), ("there", N), ("for", N))

    assert heard(said(*words)) == []


def test_a_lost_number_leaves_a_row_to_fill_in() -> None:
    (event,) = parse_notes([said("bearing")], BOOK)

    assert (event.kind, event.value) == ("bearing", "")
    assert sentences_of(event.flags) == ("no bearing heard after 'bearing'",)


def test_a_doubtful_number_is_flagged_with_what_it_could_be() -> None:
    (event,) = parse_notes([said("bearing", "twenty")], BOOK)

    assert event.value == ""
    assert sentences_of(event.flags) == ("'twenty' is not a whole bearing",)
    assert [other.text for other in event.alternatives] == [
        "bearing 20",
        "bearing 120",
        "bearing 220",
        "bearing 320",
    ]


def test_sound_alikes_in_numbers_are_read_and_flagged() -> None:
    (event,) = parse_notes([said("bearing", ("to", N), ("ten", N))], BOOK)

    assert event.value == "210"
    assert sentences_of(event.flags) == ("'to' taken as a number",)


def test_misheard_words_count_when_alone() -> None:
    (event,) = parse_notes([said(("read", N), ("landed", N))], BOOK)

    assert (event.kind, event.mark, event.heard) == ("back", "red", "read landed")
    assert event.flags


def test_scratch_flags_the_note_before_it() -> None:
    events = parse_notes(
        [said("red back", 1.0, "blue back", 1.0, "scratch that")], BOOK
    )

    assert brief(events) == ["back:red", "back:blue", "scratch"]
    assert [sentences_of(event.flags) for event in events] == [
        (),
        ("taken back by 'scratch that'",),
        (),
    ]


def test_two_scratches_take_back_two_notes() -> None:
    events = parse_notes(
        [said("red back", 1.0, "blue back", 1.0, "scratch that", 1.0, "scratch that")],
        BOOK,
    )

    assert [bool(event.flags) for event in events] == [True, True, False, False]


def test_confidence_is_that_of_the_least_sure_word() -> None:
    words = tuple(
        Word(text=text, start_s=s, end_s=s + 0.3, confidence=c, source=source)
        for text, s, c, source in (
            ("bearing", 0.0, 0.8, P),
            ("two", 0.4, 0.4, G),
            ("ten", 0.8, 0.9, G),
        )
    )
    (event,) = parse_notes([Utterance(words=words, start_s=0, end_s=2)], BOOK)

    assert event.confidence == pytest.approx(0.4)
    assert sentences_of(event.flags) == ("heard with little confidence (0.40)",)


def test_other_readings_stand_on_the_first_word_of_a_note() -> None:
    other = Alternative(text="bearing two one five", confidence=0.3)
    words = (
        Word(text="bearing", start_s=0, end_s=0.4, source=P, alternatives=(other,)),
        Word(text="two", start_s=0.4, end_s=0.6, source=G),
        Word(text="ten", start_s=0.6, end_s=0.9, source=G),
    )
    (event,) = parse_notes([Utterance(words=words, start_s=0, end_s=1)], BOOK)

    assert (event.value, event.alternatives) == ("210", (other,))


def test_other_readings_come_along_best_first() -> None:
    others = (
        Alternative(text="white back", confidence=0.1),
        Alternative(text="yellow away", confidence=0.2),
    )
    word = Word(text="yellow back", start_s=1, end_s=2, source=P, alternatives=others)
    (event,) = parse_notes([Utterance(words=(word,), start_s=0, end_s=3)], BOOK)

    assert [other.text for other in event.alternatives] == ["yellow away", "white back"]


@pytest.mark.parametrize("deg", range(0, 361, 7))
def test_bearings_in_all_forms(deg: int) -> None:
    for form in bearing_forms(deg):
        assert heard(said("bearing", *form.split())) == [f"bearing::{deg % 360}"], form


def test_a_hunts_own_words(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("hunt")
    (folder / "phrasebook.toml").write_text(
        '[colours]\nblack = ["black"]\n[anchors]\nbearing = ["line"]\n',
        encoding="utf-8",
    )
    book = PhraseBook.for_hunt(folder)
    utterance = said(("black", P), ("back", P), ("line", P), ("two", G), ("ten", G))

    assert brief(parse_notes([utterance], book)) == ["back:black", "bearing::210"]


WORDS = st.sampled_from(
    sorted(BOOK.vocabulary() | PHRASES | {"door", "we", "the", "to", "10:22", "", "?"})
)


@pytest.mark.parametrize(
    ("flag_below", "flagged"), [(0.5, False), (0.71, True), (0.7, False), (0.0, False)]
)
def test_rows_under_the_asked_confidence_say_so(
    flag_below: float, flagged: bool
) -> None:
    word = Word(
        text="yellow back",
        start_s=0,
        end_s=1,
        confidence=0.7,
        source=WordSource.PHRASE,
    )
    utterance = Utterance(words=(word,), start_s=0, end_s=1)

    (event,) = parse_notes([utterance], BOOK, flag_below=flag_below)

    flags = ("heard with little confidence (0.70)",) if flagged else ()
    assert sentences_of(event.flags) == flags


@pytest.mark.parametrize(("confidence", "flagged"), [(0.94, True), (0.96, False)])
def test_numbers_are_flagged_a_little_sooner(confidence: float, flagged: bool) -> None:
    texts = ("bearing", "two", "one", "zero")
    words = tuple(
        Word(
            text=text,
            start_s=number * 0.4,
            end_s=number * 0.4 + 0.3,
            confidence=confidence,
            source=WordSource.PHRASE,
        )
        for number, text in enumerate(texts)
    )
    (event,) = parse_notes([Utterance(words=words, start_s=0, end_s=2)], BOOK)
    assert event.value == "210"
    assert bool(event.flags) == flagged


@given(
    st.lists(
        st.tuples(
            WORDS | st.text(max_size=5),
            st.floats(0, 3),
            st.floats(0, 1),
            st.sampled_from(list(WordSource)),
        ),
        max_size=12,
    )
)
def test_any_words_are_read_without_a_crash(
    words: list[tuple[str, float, float, WordSource]],
) -> None:
    now_s = 0.0
    laid: list[Word] = []
    for text, gap_s, confidence, source in words:
        now_s += gap_s
        laid.append(
            Word(
                text=text,
                start_s=now_s,
                end_s=now_s + 0.2,
                confidence=confidence,
                source=source,
            )
        )
        now_s += 0.2
    utterance = Utterance(words=tuple(laid), start_s=0.0, end_s=now_s)

    for event in parse_notes([utterance], BOOK):
        assert event.kind in EventKind
        assert event.start_s is not None
        assert event.end_s is not None
        assert 0 <= event.start_s <= event.end_s <= now_s + 1e-6
        assert 0 <= event.confidence <= 1
