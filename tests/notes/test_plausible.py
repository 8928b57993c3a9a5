"""Doubtful notes are read again by what a bee can do; sure ones never."""

from __future__ import annotations

from dataclasses import replace

from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.events import Event
from treeward.notes.second_look import weigh_by_bees
from treeward.speech.utterances import Alternative

BOOK = PhraseBook.load()


def note(
    kind: str,
    mark: str,
    at_s: float,
    confidence: float = 0.99,
    *others: tuple[str, float],
) -> Event:
    return Event(
        kind=EventKind(kind),
        mark=mark,
        value="",
        recording="memo.wav",
        start_s=at_s,
        end_s=at_s + 1,
        confidence=confidence,
        heard=f"{mark} {kind}",
        alternatives=tuple(Alternative(text=t, confidence=c) for t, c in others),
        flags=(),
    )


def weighed(*events: Event) -> list[Event]:
    return weigh_by_bees(events, BOOK, flag_below=0.9)


def test_a_bee_that_is_out_can_only_come_back() -> None:
    doubtful = note("away", "yellow", 200, 0.6, ("yellow back", 0.3))
    found = weighed(
        note("back", "yellow", 10),
        note("away", "yellow", 60),
        doubtful,
        note("away", "yellow", 260),
    )
    assert found[2].kind is EventKind.BACK
    assert found[2].mark == "yellow"
    assert found[2].alternatives[0] == Alternative(text="yellow away", confidence=0.6)
    assert any("yellow back" in flag.words for flag in found[2].flags)
    assert found[2].confidence < 0.9


def test_a_mark_that_nobody_named_gives_way_to_one_that_was() -> None:
    doubtful = note("back", "white", 200, 0.5, ("yellow back", 0.35))
    found = weighed(note("back", "yellow", 10), note("away", "yellow", 60), doubtful)
    assert found[2].mark == "yellow"


def test_a_sure_note_is_never_touched() -> None:
    sure = note("away", "yellow", 200, 0.95, ("yellow back", 0.05))
    events = (note("away", "yellow", 60), sure)
    assert weighed(*events) == list(events)


def test_a_doubtful_note_without_a_better_reading_stays() -> None:
    doubtful = note("back", "yellow", 200, 0.6, ("yellow away", 0.3))
    events = (note("away", "yellow", 60), doubtful)
    assert weighed(*events) == list(events)


def test_nothing_is_known_of_bees_after_a_pause() -> None:
    doubtful = note("away", "yellow", 200, 0.6, ("yellow back", 0.3))
    pause = replace(note("pause", "", 100), mark="")
    events = (note("away", "yellow", 60), pause, doubtful)
    assert weighed(*events)[2] == doubtful


def test_no_note_is_made_or_lost() -> None:
    events = [
        note(kind, mark, 10.0 * number, 0.5, (f"{mark} {other}", 0.4))
        for number, (kind, other, mark) in enumerate(
            [("back", "away", "red"), ("back", "away", "red"), ("away", "back", "blue")]
        )
    ]
    found = weighed(*events)
    assert [event.start_s for event in found] == [event.start_s for event in events]
