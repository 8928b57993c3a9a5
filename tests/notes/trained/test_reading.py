"""What the network reads of talk, line by line."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.bee_names import BeeNames
from treeward.notes.flags import FlagCode
from treeward.notes.narration import read_narration, read_talk
from treeward.notes.trained.lines import LONGEST, in_lines
from treeward.notes.trained.network import load_network
from treeward.speech.utterances import Utterance, WordSource, spread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.notes.events import Event

BOOK = PhraseBook.load()


def told(*said: tuple[float, str]) -> Sequence[Event]:
    """Read what was said at these seconds, with the network."""
    talk = []
    for start_s, text in said:
        words = tuple(spread(text.split(), start_s, start_s + 0.3 * len(text.split())))
        talk.append(Utterance(words=words, start_s=start_s, end_s=words[-1].end_s))
    return read_narration(talk, BOOK, network=load_network()).events


def brief(events: Sequence[Event]) -> list[tuple[str, str]]:
    return [(str(event.kind), event.mark) for event in events]


def test_a_note_that_is_not_sure_says_how_likely_it_is_meant() -> None:
    notes = told(
        (0, "Dabbed this one red, there we are."),
        (90, "And red has had enough, over the wall with her."),
    )
    unsure = [note for note in notes if note.has(FlagCode.LIKELY_MEANT)]
    assert all(note.doubtful and note.confidence < 1.0 for note in unsure)
    assert ("away", "red") in brief(notes)


def test_scratch_that_takes_the_note_it_was_said_of() -> None:
    notes = told(
        *((0, "Yellow is back."), (60, "White is back."), (120, "Yellow is away.")),
        *((180, "White is away."), (240, "Yellow is back."), (245, "Scratch that.")),
    )
    gone = [note for note in notes if note.has(FlagCode.TAKEN_BACK)]
    assert [(note.mark, note.start_s and note.start_s > 200) for note in gone] == [
        ("yellow", True)
    ]


def test_a_scratch_of_what_made_no_note_takes_no_other() -> None:
    notes = told(
        *((0, "Yellow is back."), (60, "White is back.")),
        *((180, "Some sort of leaving, was that?"), (185, "Scratch that.")),
    )
    assert not [note for note in notes if note.has(FlagCode.TAKEN_BACK)]


def test_what_is_denied_in_the_same_breath_is_no_note() -> None:
    notes = told(
        (0, "Yellow is back."),
        (60, "White is back."),
        (240, "Yellow away, no, not yet."),
    )
    assert brief(notes) == [("back", "yellow"), ("back", "white")]


def test_a_short_phrase_is_doubted_but_never_lost() -> None:
    notes = told((0, "Mark white."), (60, "Mark orange."), (120, "It's warm today."))
    assert brief(notes) == [("mark", "white"), ("mark", "orange")]


def test_a_leaving_may_open_a_recording() -> None:
    line = (0, "There goes the yellow lady, two-oh-five I make it.")
    assert ("away", "yellow") in brief(told(line))


def test_a_bee_keeps_the_spot_she_was_painted_with() -> None:
    notes = told(
        (0, "This one gets white on her abdomen."),
        (80, "White's off."),
        (500, "White is back on the dish."),
    )
    assert {note.mark for note in notes} == {"white abdomen"}


def test_what_did_not_happen_is_no_note() -> None:
    notes = told(
        (0, "Painting this one green."),
        (60, "Green is away, heading two ten."),
        (120, "If green is not back by noon I shall have my sandwich."),
        (180, "Green's still out."),
    )
    kinds = [note.kind for note in notes if note.start_s and note.start_s > 100]
    assert EventKind.BACK not in kinds
    assert EventKind.AWAY not in kinds


def test_a_long_utterance_is_parted_at_its_sentences() -> None:
    sentence = "The red one has just now come back to the dish again. "
    words = tuple(spread((sentence * 12).split(), 0.0, 60.0))
    talk = [Utterance(words=words, start_s=0.0, end_s=60.0)]
    lines = in_lines(talk, BeeNames(BOOK), BOOK.colour_words)
    assert sum(len(line.words) for line in lines) == len(words)
    assert all(len(line.words) <= LONGEST for line in lines)
    assert all(line.words[-1].text == "again." for line in lines)


def test_lone_words_amid_a_recording_are_no_notes() -> None:
    words = ("Red.", "Zero.", "Street.", "Light.", "Blue.", "So, thanks, one.")
    talk = []
    for number, text in enumerate(words):
        said = spread(text.split(), 20.0 * number, 20.0 * number + 1)
        heard = tuple(replace(word, source=WordSource.TALK) for word in said)
        talk.append(
            Utterance(words=heard, start_s=said[0].start_s, end_s=said[-1].end_s)
        )
    assert not read_talk(talk, [], BOOK, network=load_network()).events


def test_silence_makes_nothing() -> None:
    assert not read_narration([], BOOK, network=load_network()).events
