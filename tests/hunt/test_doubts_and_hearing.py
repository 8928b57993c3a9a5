"""Notes in doubt by what they are about; what a round of hearing keeps and tells."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from hunt.found_world import HERE, colony, off
from treeward.hunt.heard import HeardBy, HeardFile, Piece
from treeward.hunt.hearing import (
    Begun,
    Ended,
    Reached,
    Remarked,
    Task,
    _Hearing,
    _Round,
)
from treeward.hunt.partial import _compared, _other_ways, farthest_m, gather, ways_of
from treeward.language.kinds import About, EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode
from treeward.report.model import DoubtfulNotes
from treeward.speech.utterances import Utterance, Word, WordSource
from treeward.survey.records import AreaShape, Fix

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from treeward.survey.records import Colony

DOUBT = (Flag.of(FlagCode.HARDLY_HEARD, "0.70"),)


def note(
    row: str, kind: EventKind, *flags: Flag, mark: str = "", recording: str = ""
) -> Event:
    return Event(kind=kind, row=row, mark=mark, flags=flags, recording=recording)


def test_notes_in_doubt_are_counted_by_what_they_are_about() -> None:
    lots = gather(
        [
            note("a", EventKind.BACK, *DOUBT),
            note("b", EventKind.STATION, *DOUBT),
            note("c", EventKind.AWAY, *DOUBT),
            note("d", EventKind.AWAY),
            note("e", EventKind.REMARK, *DOUBT),
            note("f", EventKind.AWAY, Flag.of(FlagCode.DEPARTURES_IN_A_ROW)),
            note("g", EventKind.AWAY, Flag.of(FlagCode.STATION_UNSAID)),
        ]
    )
    told = {lot.about: lot for lot in lots}
    assert About.NOTHING not in told
    assert told[About.MOVE].rows == ("a", "c")
    assert (told[About.MOVE].notes, told[About.MOVE].believed) == (2, True)
    assert told[About.STATION].rows == ("b",)
    # A station that is in doubt is not believed: notes stay where they were.
    assert not told[About.STATION].believed
    assert told[About.ORDER].rows == ("f",)
    assert told[About.NO_STATION].rows == ("g",)
    assert gather([note("d", EventKind.AWAY)]) == ()


def rows(events: Sequence[Event]) -> list[tuple[str, bool]]:
    return [(event.row, event.doubtful) for event in events]


def test_a_row_that_is_wrong_is_missing_or_read_otherwise() -> None:
    one, two = note("a", EventKind.AWAY, *DOUBT), note("b", EventKind.BACK)
    other = replace(one, kind=EventKind.BACK)
    without, read = ways_of([one, two], "a", [other])
    assert rows(without) == [("b", False)]
    assert list(read) == [other, two]
    assert list(ways_of([one, two], "x", [other])) == []
    # What is not believed while in doubt is taken for right.
    station = note("s", EventKind.STATION, *DOUBT)
    (believed,) = ways_of([station, two], "s")
    assert rows(believed) == [("s", False), ("b", False)]
    (gone,) = ways_of([replace(station, flags=()), two], "s")
    assert rows(gone) == [("b", False)]


def lot(about: About, *names: str, believed: bool = True) -> DoubtfulNotes:
    return DoubtfulNotes(about=about, notes=len(names), rows=names, believed=believed)


def test_a_lot_is_otherwise_all_of_it_and_note_by_note() -> None:
    events = [
        note("a", EventKind.AWAY, *DOUBT, recording="x.wav"),
        note("b", EventKind.BACK, *DOUBT, recording="x.wav"),
        note("c", EventKind.BACK, recording="y.wav"),
        note("s", EventKind.STATION, *DOUBT),
    ]
    asked: list[set[str]] = []

    def without(dropped: Collection[str]) -> Sequence[Event]:
        asked.append(set(dropped))
        return []

    def ways(one: DoubtfulNotes, *, singly: bool = False) -> list[list[str]]:
        found = _other_ways(one, events, without, singly=singly)
        return [[e.row + "?" * e.doubtful for e in way] for way in found]

    move = lot(About.MOVE, "a", "b")
    assert ways(move) == [["c", "s?"]]
    assert ways(move, singly=True) == [
        ["c", "s?"],
        ["b?", "c", "s?"],
        ["a?", "c", "s?"],
    ]
    assert ways(lot(About.STATION, "s", believed=False)) == [["a?", "b?", "c", "s"]]
    # Of a recording without a station nobody knows where any note belongs.
    assert ways(lot(About.NO_STATION, "a")) == [["c", "s?"]]
    assert asked == []
    ways(lot(About.TIME, "a", "b"), singly=True)
    assert asked == [{"a", "b"}, {"a"}, {"b"}]


def fix(*colonies: Colony) -> Fix:
    return Fix(bees=(), colonies=colonies, next_station=None)


def test_two_answers_are_as_far_apart_as_any_colony_of_either() -> None:
    one, near, far = (colony("A", off(m)) for m in (0, 100, 900))
    assert farthest_m(fix(one), fix(near)) == pytest.approx(100, abs=0.1)
    assert farthest_m(fix(one), fix(one, far)) == pytest.approx(900, abs=0.1)
    assert farthest_m(fix(one, far), fix(one)) == pytest.approx(900, abs=0.1)
    assert farthest_m(fix(one, far), fix(far, near)) == pytest.approx(100, abs=0.1)


def test_a_days_answer_is_held_against_the_whole_ones_colony() -> None:
    whole = fix(colony("A", HERE), colony("B", off(5_000)))
    day = fix(
        colony("A", off(120)),
        replace(colony("B", HERE), shape=AreaShape.NOTHING_MEASURED),
        colony("C", HERE),
    )
    (told,) = _compared(day, whole)
    assert told.colony.id == "A"
    assert told.off_m == pytest.approx(120, abs=0.1)
    assert told.off_bearing_true_deg == pytest.approx(90, abs=0.1)
    assert told.holds_percent == 95  # 120 m: within 150 m, not within 100 m


class Watched:
    """Keeps what a watcher is told."""

    def __init__(self) -> None:
        self.told: list[Any] = []

    def begin(self, recordings: int, total_s: float, done_s: float) -> None:
        self.told.append(("begin", recordings, total_s, done_s))

    def take_up(self, name: str, from_s: float, to_s: float) -> None:
        self.told.append(("take up", name, from_s, to_s))

    def advance(self, done_s: float) -> None:
        self.told.append(("advance", done_s))

    def end(self) -> None:
        self.told.append(("end",))


BY = HeardBy(engine="scripted", model="1", phrase_book="1", size_bytes=9, modified_ns=7)
FIRST = Piece(number=0, start_s=0.0, end_s=60.0)
SECOND = Piece(number=1, start_s=60.0, end_s=None)


def heard_round(folder: Path, watcher: Watched | None) -> tuple[_Round, list[Task]]:
    """Return a round of one recording of 100 s in two pieces, 10 s of it known."""
    kept = HeardFile(folder / "a.jsonl")
    kept.begin(BY, [FIRST, SECOND])
    hearing = _Hearing(kept=kept, total_s=100.0, left={0, 1}, known_s={0: 10.0, 1: 0.0})
    tasks = [
        Task(path=Path("a.wav"), name="a.wav", piece=piece, from_s=from_s)
        for piece, from_s in ((FIRST, 10.0), (SECOND, 60.0))
    ]
    return _Round(watcher, hearings={"a.wav": hearing}, tasks=tasks), tasks


def word(start_s: float) -> Utterance:
    one = Word(
        text="yellow back", start_s=start_s, end_s=start_s + 1, confidence=0.9,
        source=WordSource.PHRASE,
    )  # fmt: skip
    return Utterance(words=(one,), start_s=start_s, end_s=start_s + 1)


def reached(at_s: float, *words: Utterance, peak: float = 0.5) -> Reached:
    return Reached(utterances=words, at_s=at_s, peak=peak)


def test_a_watcher_is_told_how_much_of_all_is_known(tmp_path: Path) -> None:
    watcher = Watched()
    rounds, (one, two) = heard_round(tmp_path, watcher)
    rounds.begin()
    rounds.tell(one, Begun())
    rounds.tell(two, Begun())
    rounds.tell(two, reached(75.0))
    rounds.tell(one, reached(40.0))
    rounds.end()
    assert watcher.told == [
        ("begin", 1, 100.0, 10.0),
        ("take up", "a.wav", 10.0, 60.0),
        ("take up", "a.wav", 60.0, 100.0),
        ("advance", 10.0 + 15.0),
        ("advance", 40.0 + 15.0),
        ("end",),
    ]
    idle = Watched()
    empty = _Round(idle)
    empty.begin()
    empty.end()
    assert idle.told == []  # nothing is to be heard


def test_a_recording_is_done_when_all_its_pieces_are(tmp_path: Path) -> None:
    rounds, (one, two) = heard_round(tmp_path, None)
    hearing = rounds.hearings["a.wav"]
    rounds.tell(two, reached(70.0, word(61.0)))
    rounds.tell(two, Remarked(text="cut off"))
    rounds.tell(two, Ended())
    assert not hearing.kept.read().done
    rounds.tell(one, reached(60.0, word(1.0)))
    rounds.tell(one, Ended())
    heard = hearing.kept.read()
    assert heard.done
    assert heard.utterances == (word(1.0), word(61.0))
    assert heard.remarks == ("cut off",)
    assert [piece.done for piece in heard.pieces] == [True, True]
    assert hearing.fault == ""


def test_the_first_fault_of_a_recording_is_told(tmp_path: Path) -> None:
    rounds, (one, two) = heard_round(tmp_path, None)
    rounds.tell(one, Ended(fault="a.wav: broken"))
    rounds.tell(two, Ended(fault="a.wav: broken too"))
    hearing = rounds.hearings["a.wav"]
    assert hearing.fault == "a.wav: broken"
    assert not hearing.kept.read().done


@pytest.mark.parametrize(("peak", "silent"), [(0.0, True), (0.5, False)])
def test_a_long_recording_without_any_sound_is_told(
    tmp_path: Path, peak: float, *, silent: bool
) -> None:
    rounds, (one, two) = heard_round(tmp_path, None)
    rounds.tell(one, reached(60.0, peak=0.0))
    rounds.tell(one, Ended())
    rounds.tell(two, reached(100.0, peak=peak))
    rounds.tell(two, Ended())
    hearing = rounds.hearings["a.wav"]
    assert ("is silent throughout (100 s)" in hearing.fault) is silent
    assert hearing.kept.read().done is not silent
