"""Practice without a model: what was heard is scripted, or beeps stand for words."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from live import stand_in
from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.errors import NotesError, SoundError
from treeward.language.phrasebook import PhraseBook
from treeward.live.messages import Chunk
from treeward.notes.parser import parse_notes
from treeward.practice.outcome import (
    attempt_line,
    judge_sound,
    outcome_dict,
    outcome_lines,
    outcome_of,
    state_of,
    suggest_sensitivity,
    words_to_avoid,
)
from treeward.practice.prompts import Prompt, make_prompts, prompt_of, read_prompts
from treeward.practice.scoring import (
    BEGIN_QUIET_S,
    Aligned,
    Attempt,
    Loudness,
    Phrase,
    PhraseCatcher,
    Turns,
    align,
    judge,
    part_at_notes,
    phrases_in,
    tally_parts,
    tally_shapes,
)
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

BOOK = PhraseBook.load()
PARSE = partial(parse_notes, book=BOOK)
EVERY_S = 3.0  # between scripted phrases


def heard(text: str, at_s: float = 0.0, confidence: float = 0.9) -> Phrase:
    """A phrase that the engine heard in these words, "" for none."""
    words = tuple(
        Word(
            text=word,
            start_s=at_s + 0.3 * n,
            end_s=at_s + 0.3 * (n + 1),
            confidence=confidence,
            source=WordSource.PHRASE,
        )
        for n, word in enumerate(text.split())
    )
    end_s = at_s + 0.3 * max(len(words), 1)
    utterance = Utterance(words=words, start_s=at_s, end_s=end_s) if words else None
    return Phrase(start_s=at_s, end_s=end_s, utterance=utterance)


def all_heard(*texts: str, confidence: float = 0.9) -> list[Phrase]:
    return [heard(text, n * EVERY_S, confidence) for n, text in enumerate(texts)]


def prompts(*texts: str) -> list[Prompt]:
    return [prompt_of(text, BOOK) for text in texts]


def fitted(asked: Sequence[str], said: Sequence[str]) -> Aligned:
    return align(prompts(*asked), all_heard(*said), PARSE)


def outcomes(aligned: Aligned) -> list[tuple[str, str]]:
    return [(attempt.prompt.text, attempt.heard) for attempt in aligned.attempts]


# --- prompts ---------------------------------------------------------------------


def test_prompts_try_every_colour_digit_and_usual_way() -> None:
    found = make_prompts(BOOK)

    parts = [part for prompt in found for part in prompt.parts]
    assert len(found) == 32
    assert {p.meaning for p in parts if p.role == "mark"} == set(BOOK.colours)
    assert {p.meaning for p in parts if p.role == "digit"} == set("0123456789")
    said = {p.words for p in parts if p.role == "say"}
    assert {"back", "landed", "away", "gone", "bearing", "heading", "time"} <= said
    assert {"clock", "station", "wind", "scratch that"} <= said


@pytest.mark.parametrize("number", range(1, 6))
def test_every_prompt_is_read_as_what_it_wants(number: int) -> None:
    for prompt in make_prompts(BOOK, 60, number=number):
        assert judge(prompt, [heard(prompt.text)], PARSE).right


def test_a_set_is_the_same_each_time_and_another_is_not() -> None:
    first = [p.text for p in make_prompts(BOOK, 16, number=3)]

    assert first == [p.text for p in make_prompts(BOOK, 16, number=3)]
    assert first != [p.text for p in make_prompts(BOOK, 16, number=4)]


def test_only_marks_in_use_are_asked_for() -> None:
    book = BOOK.only(["yellow", "blue-white"])

    found = make_prompts(book, 24)

    marks = {p.meaning for prompt in found for p in prompt.parts if p.role == "mark"}
    assert marks == {"yellow", "blue-white"}


def test_own_prompts_may_hold_two_notes() -> None:
    prompt = prompt_of("Yellow away, heading two one zero", BOOK)

    assert [reading.text for reading in prompt.wanted] == [
        "yellow away",
        "yellow bearing 210",
    ]
    assert [(p.words, p.role, p.note) for p in prompt.parts] == [
        ("yellow", "mark", 0),
        ("away", "say", 0),
        ("heading", "say", 1),
        ("two", "digit", 1),
        ("one", "digit", 1),
        ("zero", "digit", 1),
    ]


def test_own_prompts_are_read_line_by_line(tmp_path: Path) -> None:
    path = tmp_path / "prompts.txt"
    path.write_text(
        "\ufeffyellow back\n\n# later\nclock ten past two # noon\n", "utf-8"
    )

    assert [p.text for p in read_prompts(path, BOOK)] == [
        "yellow back",
        "clock ten past two",
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("yellow back\nnice weather\n", r"line 2: 'nice weather' is no note"),
        ("bearing\n", r"line 1: 'bearing' is no note"),
        ("# nothing\n", "there are no prompts in it"),
    ],
)
def test_prompts_that_are_no_notes_are_refused(
    tmp_path: Path, text: str, message: str
) -> None:
    path = tmp_path / "prompts.txt"
    path.write_text(text, "utf-8")

    with pytest.raises(NotesError, match=message) as raised:
        read_prompts(path, BOOK)

    assert raised.value.mend


def test_missing_prompts_are_said(tmp_path: Path) -> None:
    with pytest.raises(NotesError, match="cannot be read"):
        read_prompts(tmp_path / "none.txt", BOOK)


# --- fitting phrases to prompts --------------------------------------------------

ASKED = ("yellow back", "heading two one zero", "red away", "clock ten fifteen")


def test_what_is_said_in_order_is_right() -> None:
    aligned = fitted(ASKED, ASKED)

    assert all(attempt.right for attempt in aligned.attempts)
    assert (aligned.unreached, aligned.strays) == (0, 0)


def test_a_missing_phrase_shifts_nothing() -> None:
    aligned = fitted(ASKED, (ASKED[0], ASKED[2], ASKED[3]))

    assert [a.right for a in aligned.attempts] == [True, False, True, True]
    assert aligned.attempts[1].heard == "nothing"


def test_a_cough_and_talk_between_answer_no_prompt() -> None:
    said = (ASKED[0], "", ASKED[1], "shall we have tea", ASKED[2], ASKED[3])

    aligned = fitted(ASKED, said)

    assert all(attempt.right for attempt in aligned.attempts)
    assert aligned.strays == 2


def test_a_note_made_of_other_sounds_is_a_wrong_reading() -> None:
    aligned = fitted(ASKED[:2], (ASKED[0], "pink missed", ASKED[1]))

    outcome = outcome_of(
        aligned, BOOK, background_dbfs=-60.0, flag_below=0.5, engine="scripted"
    )

    assert [event.mark for event in aligned.invented] == ["pink"]
    assert (outcome.sensitivity.wrong, outcome.sensitivity.right) == (1, 2)


def test_a_prompt_said_twice_invents_nothing() -> None:
    aligned = fitted(ASKED, (ASKED[0], ASKED[1], ASKED[1], *ASKED[2:]))

    assert all(attempt.right for attempt in aligned.attempts)
    assert aligned.strays == 1
    assert aligned.invented == ()


def test_a_phrase_cut_by_a_pause_is_joined() -> None:
    phrases = [
        heard("yellow back", 0.0),
        heard("red", 3.0),
        heard("away", 4.0),
        heard("clock ten fifteen", 8.0),
    ]

    aligned = align(prompts("yellow back", "red away", ASKED[3]), phrases, PARSE)

    assert all(attempt.right for attempt in aligned.attempts)
    assert [len(a.phrases) for a in aligned.attempts] == [1, 2, 1]


def test_a_wrong_phrase_is_kept_with_its_prompt() -> None:
    aligned = fitted(ASKED, ("white back", "heading two one four", *ASKED[2:]))

    assert outcomes(aligned)[:2] == [
        ("yellow back", "white back"),
        ("heading two one zero", "bearing 214"),
    ]
    assert aligned.strays == 0


def test_prompts_after_the_end_of_the_sound_were_not_reached() -> None:
    phrases = all_heard(*ASKED[:2])

    short = align(prompts(*ASKED), phrases, PARSE, end_s=phrases[-1].end_s + 1.0)
    long = align(prompts(*ASKED), phrases, PARSE, end_s=phrases[-1].end_s + 9.0)

    assert (len(short.attempts), short.unreached) == (2, 2)
    assert (len(long.attempts), long.unreached) == (4, 0)  # there was time: missed


@given(
    st.lists(st.sampled_from([*ASKED, "white back", "", "hello"]), max_size=8),
    st.integers(1, 4),
)
def test_each_prompt_has_one_attempt_and_no_phrase_is_used_twice(
    said: list[str], asked: int
) -> None:
    aligned = fitted(ASKED[:asked], said)

    used = [id(phrase) for a in aligned.attempts for phrase in a.phrases]
    assert [a.prompt.text for a in aligned.attempts] == list(ASKED[:asked])
    assert len(used) == len(set(used))
    assert len(used) + aligned.strays == len(said)


def test_what_was_said_in_one_breath_is_parted_at_the_notes() -> None:
    utterance = heard("okay yellow back red away").utterance
    assert utterance is not None

    parts = part_at_notes(utterance, PARSE([utterance]))

    assert [part.text for part in parts] == ["okay yellow back", "red away"]


# --- scores ------------------------------------------------------------------------


def test_words_are_scored_by_what_was_heard_for_them() -> None:
    asked = ("yellow back", "red back", "heading two one zero", "red landed")
    said = ("yellow away", "white back", "heading two one four", "red landed")

    tallies = {t.words: t for t in tally_parts(fitted(asked, said).attempts)}

    assert (tallies["back"].hits, tallies["back"].tries) == (1, 2)
    assert tallies["back"].instead == {"away": 1}
    assert (tallies["red"].hits, tallies["red"].tries) == (1, 2)
    assert tallies["red"].instead == {"white": 1}
    assert tallies["zero"].instead == {"4": 1}
    assert tallies["two"].rate == tallies["one"].rate == tallies["heading"].rate == 1.0
    assert tallies["yellow"].rate == 1.0


def test_phrases_are_scored_by_their_shape() -> None:
    asked = ("yellow back", "red back", "heading two one zero", "clock ten fifteen")
    said = ("yellow back", "", "heading two one zero", "clock ten fifty")

    shapes = {t.words: t for t in tally_shapes(fitted(asked, said).attempts)}

    assert (shapes["... back"].hits, shapes["... back"].tries) == (1, 2)
    assert shapes["heading ..."].rate == 1.0
    assert shapes["clock ..."].instead == {"time 10:50": 1}


def test_states_tell_right_flagged_wrong_and_missed() -> None:
    asked = prompts("yellow back")[0]

    def state(text: str, confidence: float = 0.9) -> str:
        return state_of(judge(asked, [heard(text, confidence=confidence)], PARSE))

    assert state("yellow back") == "right"
    assert state("yellow back", 0.3) == "flagged"
    assert state("yellow away") == "WRONG"
    assert state("hello") == "missed"
    line = attempt_line(judge(asked, [heard("yellow away")], PARSE))
    assert " ".join(line.split()) == (
        "WRONG yellow back confidence 0.90, heard yellow away"
    )


# --- advice ------------------------------------------------------------------------


def avoided(asked: Sequence[str], said: Sequence[str]) -> dict[str, tuple[str, ...]]:
    tallies = tally_parts(fitted(asked, said).attempts)
    return {each.words: each.instead for each in words_to_avoid(tallies, BOOK)}


@pytest.mark.parametrize(
    ("bad", "good", "said", "words", "instead"),
    [
        ("yellow back", "yellow landed", "yellow away", "back", "landed"),
        ("bearing two one zero", "heading two one zero", "", "bearing", "heading"),
        ("time ten fifteen", "clock ten fifteen", "", "time", "clock"),
        ("wind calm", "wind still", "wind light", "calm", "still"),
    ],
)
def test_a_word_missed_twice_is_to_be_avoided(
    bad: str, good: str, said: str, words: str, instead: str
) -> None:
    found = avoided((bad, bad, good, good), (said, said, good, good))

    assert found[words][0] == instead


def test_the_words_known_to_be_heard_well_come_first_when_untried() -> None:
    found = avoided(("yellow back", "red back"), ("yellow away", "red away"))

    assert found["back"][0] == "landed"


def test_another_word_is_not_advised_when_it_was_heard_no_better() -> None:
    asked = ("yellow back", "red back", "yellow landed", "red landed")
    found = avoided(asked, ("yellow away", "red away", "yellow away", "red away"))

    assert "landed" not in found["back"]
    assert "back" not in found["landed"]


def test_one_miss_says_nothing() -> None:
    assert avoided(("yellow back", "red away"), ("yellow away", "red away")) == {}


def test_a_colour_is_changed_for_one_that_was_heard() -> None:
    asked = ("purple back", "purple away", "green back", "green away")
    tallies = tally_parts(
        fitted(asked, ("pink back", "pink away", *asked[2:])).attempts
    )

    (advice,) = words_to_avoid(tallies, BOOK)

    assert advice.words == "purple"
    assert advice.heard_as == ("pink",)
    assert advice.advice == "paint another colour: 'green'"


def loud(speech_dbfs: float, *, clipped: bool = False) -> Loudness:
    return Loudness(speech_dbfs=speech_dbfs, clipped=clipped)


@pytest.mark.parametrize(
    ("phrases", "background_dbfs", "faults"),
    [
        ([loud(-22), loud(-25)], -60, []),
        ([loud(-62)], -100, ["too quiet"]),
        ([loud(-6, clipped=True), loud(-9)], -60, ["clipping in 1 of 2 phrases"]),
        ([loud(-22)], -32, ["noisy"]),
        ([loud(-60, clipped=True)], -65, ["clipping", "too quiet", "noisy"]),
        ([], -90, ["no speech was found"]),
    ],
)
def test_the_sound_is_judged(
    phrases: list[Loudness], background_dbfs: float, faults: list[str]
) -> None:
    found = judge_sound(phrases, background_dbfs).faults

    assert len(found) == len(faults)
    for text, begin in zip(found, faults, strict=True):
        assert text.startswith(begin)


CONFIDENCES = st.lists(st.tuples(st.floats(0, 1), st.booleans()), max_size=40)


@given(CONFIDENCES, st.floats(0.01, 1.0), st.floats(0, 1))
def test_the_suggestion_flags_the_asked_share_of_wrong_readings(
    readings: list[tuple[float, bool]], share: float, now: float
) -> None:
    found = suggest_sensitivity(readings, now=now, share=share)

    wrong = [confidence for confidence, right in readings if not right]
    assert 0 <= found.flag_below <= 1
    assert found.wrong_flagged == sum(c < found.flag_below for c in wrong)
    if not wrong:
        assert found.flag_below == now
    elif sum(c < 1.0 for c in wrong) >= share * len(wrong):
        assert found.wrong_flagged >= share * len(wrong) - 1e-6
    else:
        assert "full confidence" in found.why


def test_the_least_confidence_that_does_is_suggested() -> None:
    wrong = [(0.3 + 0.01 * n, False) for n in range(20)]  # 0.30 to 0.49
    right = [(0.4, True), (0.8, True)]

    found = suggest_sensitivity([*wrong, *right], share=0.9)

    assert found.flag_below == pytest.approx(0.48)  # 18 of 20 lie below
    assert (found.wrong_flagged, found.right_flagged) == (18, 1)


# Engines give four decimals: nothing hangs on the sixteenth.
@given(st.floats(0.5, 1.0).map(lambda c: round(c, 4)), st.integers(50, 99))
def test_what_is_counted_as_flagged_is_what_would_be(
    confidence: float, limit: int
) -> None:
    for text in ("yellow back", "bearing two one zero", "time ten fifteen"):
        attempt = judge(prompts(text)[0], [heard(text, confidence=confidence)], PARSE)
        found = suggest_sensitivity(attempt.readings(), now=limit / 100)
        (event,) = parse_notes(
            [p.utterance for p in attempt.phrases if p.utterance],
            BOOK,
            flag_below=limit / 100,
        )
        assert found.right_flagged == bool(event.flags), text


def test_few_mistakes_do_not_lower_the_sensitivity() -> None:
    found = suggest_sensitivity([(0.2, False), (0.3, False), (0.9, True)], now=0.5)

    assert found.flag_below == 0.5
    assert "too few" in found.why


def test_few_mistakes_do_raise_it() -> None:
    found = suggest_sensitivity([(0.62, False), (0.95, True)], now=0.5)

    assert found.flag_below == pytest.approx(0.63)
    assert found.right_flagged == 0


@pytest.mark.parametrize("share", [0.0, -1.0, 1.1])
def test_a_share_outside_its_range_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="share"):
        suggest_sensitivity([], share=share)


def test_the_outcome_tells_all_of_it() -> None:
    asked = ("yellow back", "red back", "green landed", "blue landed")
    said = ("yellow away", "red away", "green landed", "blue landed")

    outcome = outcome_of(
        fitted(asked, said),
        BOOK,
        background_dbfs=-60.0,
        flag_below=0.5,
        engine="scripted",
    )

    text = "\n".join(outcome_lines(outcome))
    assert "2 of 4 prompts were read right (50%)" in text
    assert "2 read wrong, 2 of them unflagged" in text
    assert "'back', heard 0 of 2 times: say 'landed'" in text
    assert "hunt.toml [speech] flag_below = 0.91" in text
    assert "most rows would be flagged" in text  # all were heard with 0.9
    as_json = outcome_dict(outcome)
    assert [each["state"] for each in as_json["attempts"]] == [
        "wrong", "wrong", "right", "right",
    ]  # fmt: skip
    assert as_json["sensitivity"]["wrong"] == 2
    assert as_json["sensitivity_avoiding"]["wrong"] == 0


# --- sound -------------------------------------------------------------------------


def chunks_of(sound: np.ndarray) -> Iterator[Chunk]:
    size = SAMPLE_RATE_HZ // 10
    for first in range(0, len(sound), size):
        part = sound[first : first + size].astype(np.float32)
        yield Chunk(samples=part, arrival_s=(first + len(part)) / SAMPLE_RATE_HZ)


def turns(**options: object) -> tuple[Turns, list[str], list[Attempt]]:
    shown: list[str] = []
    told: list[Attempt] = []
    ears = stand_in.ears()
    made = Turns(
        catcher=PhraseCatcher(ears),
        ears=ears,
        show=lambda number, prompt: shown.append(f"{number} {prompt.text}"),
        told=told.append,
        **options,  # type: ignore[arg-type]
    )
    return made, shown, told


def test_prompts_are_shown_one_after_the_other_and_listened_for() -> None:
    notes = [(1.5, "red", "away"), (4.0, "blue", "back"), (6.0, "white", "away")]
    sound = stand_in.spoken_at(notes, 8.0)
    made, shown, told = turns()

    done = made.run(chunks_of(sound), prompts("red away", "yellow back", "white away"))

    assert shown == ["1 red away", "2 yellow back", "3 white away"]
    assert [a.right for a in done] == [True, False, True]
    assert done[1].heard == "blue back"
    assert done == told


def test_who_says_nothing_has_missed_the_prompt() -> None:
    sound = stand_in.spoken_at([(1.5, "red", "away"), (12.0, "red", "back")], 14.0)
    made, _, _ = turns()

    done = made.run(chunks_of(sound), prompts("red away", "blue away", "red back"))

    assert [a.heard for a in done] == ["red away", "nothing", "red back"]


def test_the_end_of_the_sound_ends_the_practice() -> None:
    sound = stand_in.spoken_at([(1.5, "red", "away")], 3.0)
    made, _, _ = turns()

    done = made.run(chunks_of(sound), prompts("red away", "blue away"))

    assert len(done) == 1


def test_three_prompts_without_a_sound_end_the_practice_and_do_not_count() -> None:
    sound = stand_in.spoken_at([(1.5, "red", "away")], 60.0)
    made, _, _ = turns()

    done = made.run(chunks_of(sound), prompts(*["red away"] * 9))

    assert made.gave_up
    assert [a.right for a in done] == [True]


def test_silence_is_said_to_be_a_fault() -> None:
    made, _, _ = turns()

    with pytest.raises(SoundError, match="nobody was heard"):
        made.run(chunks_of(stand_in.quiet(60.0)), prompts(*["red away"] * 9))


def test_a_prompt_read_aloud_is_not_heard_as_the_answer() -> None:
    # The loudspeaker says "red away" from 1.1 s to 1.5 s, the person "white back".
    notes = [(BEGIN_QUIET_S + 0.1, "red", "away"), (3.0, "white", "back")]
    made, _, _ = turns(read_aloud=lambda _: BEGIN_QUIET_S + 0.5)

    done = made.run(chunks_of(stand_in.spoken_at(notes, 5.0)), prompts("red away"))

    assert [a.heard for a in done] == ["white back"]


def test_levels_of_speech_and_background_are_measured() -> None:
    sound = stand_in.spoken_at([(2.0, "red", "away"), (4.0, "red", "back")], 6.0)
    catcher = PhraseCatcher(stand_in.ears())

    first, second = phrases_in([Block(start_s=0.0, samples=sound)], catcher)

    # A sine of amplitude 0.3: 20 log10(0.3 / sqrt 2); noise of 0.001 throughout.
    assert first.loudness is not None
    assert first.loudness.speech_dbfs == pytest.approx(-13.5, abs=0.3)
    assert not first.loudness.clipped
    assert second.start_s == pytest.approx(4.0, abs=0.02)
    assert catcher.background_dbfs() == pytest.approx(-60.0, abs=0.5)
    assert catcher.seconds == pytest.approx(6.0)


def test_clipping_is_found() -> None:
    sound = np.clip(4 * stand_in.spoken_at([(2.0, "red", "away")], 4.0), -1, 1)
    catcher = PhraseCatcher(stand_in.ears())

    (phrase,) = phrases_in([Block(start_s=0.0, samples=sound)], catcher)

    assert phrase.loudness is not None
    assert phrase.loudness.clipped
