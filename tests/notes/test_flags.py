"""Flags: one sentence each, and back again out of review.csv."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode, read_flag

KNOWN = [code for code in FlagCode if code is not FlagCode.TOLD]
WORDS = st.text("abcdefghijklmnop 0123456789.:-", min_size=1, max_size=12)


def example(code: FlagCode, word: str = "x") -> Flag:
    """Give a flag with as many words as its sentence takes."""
    for count in range(5):
        flag = Flag(code, (word,) * count)
        try:
            sentence = flag.sentence
        except IndexError:
            continue
        assert "{}" not in sentence
        return flag
    raise AssertionError(code)


@pytest.mark.parametrize("code", KNOWN)
@given(word=WORDS)
def test_a_sentence_is_read_back_as_its_code(code: FlagCode, word: str) -> None:
    flag = example(code, word)

    again = read_flag(flag.sentence)

    assert (again.code, again.sentence) == (code, flag.sentence)


@given(st.text(max_size=60))
def test_any_other_sentence_stays_as_it_was_told(sentence: str) -> None:
    assert read_flag(sentence).sentence == sentence


def test_no_two_codes_have_one_sentence() -> None:
    sentences = [example(code).sentence for code in FlagCode]

    assert len(set(sentences)) == len(sentences)


@pytest.mark.parametrize(
    ("sentence", "code", "words"),
    [
        ("heard with little confidence (0.41)", FlagCode.HARDLY_HEARD, ("0.41",)),
        ("no bearing heard after 'heading'", FlagCode.NO_VALUE, ("bearing", "heading")),
        (
            (
                "clock: the recorder seems to have been paused between 10:22 and "
                "10:52, so this time may be 20 min off"
            ),
            FlagCode.RECORDER_PAUSED,
            ("10:22", "10:52", "20"),
        ),
        ("is this the red one?", FlagCode.TOLD, ("is this the red one?",)),
    ],
)
def test_words_of_a_sentence(
    sentence: str, code: FlagCode, words: tuple[str, ...]
) -> None:
    assert read_flag(sentence) == Flag(code, words)


@pytest.mark.parametrize(
    ("code", "doubtful"),
    [
        (FlagCode.HARDLY_HEARD, True),
        (FlagCode.TOLD, True),
        (FlagCode.HEARD_ANEW, True),
        (FlagCode.TAKEN_BACK, False),
        (FlagCode.UNFIT_TIME, False),
        (FlagCode.RECORDER_PAUSED, False),
        (FlagCode.DEPARTURES_IN_A_ROW, False),
        (FlagCode.STATION_UNSAID, False),
    ],
)
def test_which_flags_put_a_note_in_doubt(code: FlagCode, *, doubtful: bool) -> None:
    assert Event(kind=EventKind.BACK, flags=(example(code),)).doubtful == doubtful


def test_no_sentence_holds_a_semicolon_and_the_one_that_did_is_known() -> None:
    blank = ("",) * 4
    for code in FlagCode:
        count = Flag(code, blank).sentence.count(";")
        assert count == 0, code
    former = "station: none was said in this recording; add a row that says it"
    assert read_flag(former) == Flag(FlagCode.STATION_UNSAID)
