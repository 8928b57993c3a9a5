"""What a session left: its notes as they were answered, and its sound in pieces."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile

from treeward.errors import HuntError
from treeward.hunt.journal import (
    BALLAST_NAME,
    LONGEST_MS,
    Joined,
    clear_joined,
    event_of,
    event_record,
    is_pieces,
    join_pieces,
    read_journal,
)
from treeward.hunt.recovery import (
    finish_session,
    for_review,
    journals_dir,
    left_behind,
    read_session,
    recover,
    sessions_of,
    with_answered,
    without_own_voice,
)
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode, sentences_of
from treeward.speech.utterances import Alternative

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

RATE_HZ = 16_000
CLOCK = datetime(2026, 7, 14, 10, 20, 1, 234_567, tzinfo=UTC)


def note(start_s: float | None = 1.0, mark: str = "red", **more: Any) -> Event:
    told: dict[str, Any] = {
        "kind": EventKind.BACK, "recording": "live-1.flac", "start_s": start_s,
        "end_s": None if start_s is None else start_s + 0.5, "row": "r",
    }  # fmt: skip
    return Event(mark=mark, **(told | more))


def journal(hunt: Path, *records: dict[str, Any], name: str = "live-1") -> Path:
    path = journals_dir(hunt) / f"{name}.jsonl"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("".join(json.dumps(r) + "\n" for r in records), "utf-8")
    return path


def test_a_note_is_kept_with_all_that_was_known_of_it() -> None:
    event = note(
        1.23456, value="on the left", heard="red back", clock=CLOCK,
        confidence=0.912345, alternatives=(Alternative(text="read", confidence=0.2),),
        flags=(Flag.of(FlagCode.HARDLY_HEARD, "0.70"),),
    )  # fmt: skip
    assert event_record(event, 7) == {
        "type": "event", "n": 7, "kind": "back", "mark": "red", "value": "on the left",
        "recording": "live-1.flac", "heard": "red back", "row": "r",
        "start_s": 1.235, "end_s": 1.735, "clock": "2026-07-14T10:20:01.234+00:00",
        "confidence": 0.9123, "alternatives": [["read", 0.2]],
        "flags": list(sentences_of(event.flags)),
    }  # fmt: skip


def test_what_is_not_known_of_a_note_is_not_written() -> None:
    bare = Event(kind=EventKind.PAUSE, confidence=1.0)
    record = {"type": "event", "n": 1, "kind": "pause", "confidence": 1.0}
    assert event_record(bare, 1) == record
    assert event_of(record) == bare
    assert event_of({"kind": "pause"}) == bare
    # A note without an end has no place in the sound.
    assert "start_s" not in event_record(note(1.0, end_s=None), 1)


@pytest.mark.parametrize(
    ("clock", "good"),
    [
        ("1900-01-01T00:00:00+00:00", True),
        ("2200-12-31T00:00:00+00:00", True),
        ("1899-12-31T00:00:00+00:00", False),
        ("2201-01-01T00:00:00+00:00", False),
        ("2026-07-14T10:00:00", False),
    ],
)
def test_a_clock_of_a_note_is_of_these_centuries(clock: str, *, good: bool) -> None:
    record = event_record(note(), 1) | {"clock": clock}
    if good:
        assert event_of(record).clock == datetime.fromisoformat(clock)
    else:
        with pytest.raises(ValueError, match=clock[:4]):
            event_of(record)


def test_a_journal_is_a_file_of_records_and_blank_lines(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    path.write_text('\n{"n": 1}\n\n[2]\n"x"\n{"n": 3}\n', "utf-8")
    text = read_journal(path)
    assert text.records == ({"n": 1}, {"n": 3})
    assert text.broken_lines == 2
    with pytest.raises(OSError, match="is not a file"):
        read_journal(tmp_path)


def test_a_session_tells_how_it_ended_and_what_it_said(tmp_path: Path) -> None:
    voice = {"type": "own voice", "start_s": 2.0, "end_s": 3.0, "words": "red away"}
    path = journal(
        tmp_path,
        {"type": "session"},
        event_record(note(), 1),
        voice,
        {"type": "unheard"},
        {"type": "own voice", "start_s": 2.0},
        {"type": "unheard"},
    )
    session = read_session(path)
    assert session.events == (note(),)
    assert session.recordings == {"live-1.flac"}
    assert session.own_voice == ((2.0, 3.0),)
    assert (session.broken_lines, session.unheard) == (1, 2)
    assert (session.ended, session.merged) == (False, False)
    path = journal(tmp_path, {"type": "end"}, {"type": "merged"})
    session = read_session(path)
    assert (session.ended, session.merged, session.events) == (True, True, ())


def test_a_note_said_again_stands_with_the_last(tmp_path: Path) -> None:
    again = {
        "type": "said again", "recording": "live-1.flac", "start_s": 1.0, "kind": "back"
    }  # fmt: skip
    first, other = event_record(note(), 1), event_record(note(4.0, "blue"), 2)

    def stand(record: dict[str, Any]) -> list[str]:
        session = read_session(journal(tmp_path, first, other, record))
        return [event.mark for event in for_review(session)]

    assert stand(again) == ["blue"]
    for change in ({"recording": "b.flac"}, {"start_s": 2.0}, {"kind": "away"}):
        assert stand(again | change) == ["red", "blue"]
    session = read_session(journal(tmp_path, first, {"type": "said again"}))
    assert session.broken_lines == 1


def test_what_was_taken_back_stays_with_a_flag_and_no_flag_stands_twice(
    tmp_path: Path,
) -> None:
    doubt = Flag.of(FlagCode.HARDLY_HEARD, "0.70")
    twice = event_record(note(flags=(doubt,)), 1)
    twice["flags"] *= 2
    scratch = event_record(note(3.0, "", kind=EventKind.SCRATCH), 2)
    taken, last = for_review(read_session(journal(tmp_path, twice, scratch)))
    assert last.kind is EventKind.SCRATCH
    assert taken.has(FlagCode.TAKEN_BACK)
    assert len(taken.flags) == len(set(taken.flags))


@pytest.mark.parametrize(
    ("start_s", "kept"), [(1.9, True), (2.0, False), (3.0, False), (3.1, True)]
)
def test_what_the_program_said_itself_is_no_note(
    tmp_path: Path, start_s: float, *, kept: bool
) -> None:
    journal(tmp_path, {"type": "own voice", "start_s": 2.0, "end_s": 3.0})
    heard = note(start_s)
    assert without_own_voice(tmp_path, [heard]) == [heard] * kept
    others = [
        note(2.5, recording="b.wav"), note(None), note(2.5, recording=""),
    ]  # fmt: skip
    assert without_own_voice(tmp_path, others) == others


def test_a_note_that_was_answered_is_not_lost_in_a_second_pass(tmp_path: Path) -> None:
    live = note(5.0, "red", clock=CLOCK)
    journal(tmp_path, event_record(live, 1))

    def second(*events: Event) -> list[tuple[str, bool, str]]:
        return [
            (e.mark, e.has(FlagCode.HEARD_ONLY_LIVE), " ".join(sentences_of(e.flags)))
            for e in with_answered(tmp_path, "live-1.flac", events)
        ]

    (early, only) = second(note(1.0, "blue"))
    assert (early[:2], only[:2]) == (("blue", False), ("red", True))
    # Heard alike at that moment: as it is. Read otherwise: that reading, and a word.
    assert second(note(5.2, "red")) == [("red", False, "")]
    ((mark, added, flag),) = second(note(5.2, "pink"))
    assert (mark, added) == ("pink", False)
    assert "'red back'" in flag
    # Of two notes at that moment the one that says the same is meant.
    both = second(note(4.9, "pink"), note(5.3, "red"))
    assert both == [("pink", False, ""), ("red", False, "")]
    # And of two that say something else the nearer one.
    near = second(note(4.7, "pink"), note(5.1, "grey"))
    assert [bool(flag) for *_, flag in near] == [False, True]
    added_note = with_answered(tmp_path, "live-1.flac", [])[0]
    assert added_note.clock is None  # the second pass puts it on the clock
    assert with_answered(tmp_path, "b.flac", [live]) == [live]
    assert with_answered(tmp_path, "", [live]) == [live]


def merge_into(kept: list[Any]) -> Any:
    def merge(events: Sequence[Event], recordings: frozenset[str]) -> list[str]:
        kept.append(([event.mark for event in events], recordings))
        return ["merged so many"]

    return merge


def test_a_session_is_brought_into_the_review_once(tmp_path: Path) -> None:
    journal(tmp_path, event_record(note(), 1), {"type": "unheard"}, {"type": "event"})
    journal(tmp_path, {"type": "end"}, name="live-2")
    journal(tmp_path, event_record(note(), 1), {"type": "merged"}, name="live-3")
    assert left_behind(tmp_path)
    kept: list[Any] = []
    found = recover(tmp_path, merge_into(kept))
    assert kept == [(["red"], frozenset({"live-1.flac"}))]
    assert found.waiting == []
    assert found.lines[0] == "live-1 was cut short: 1 note recovered"
    assert found.lines[1].startswith("live-1.jsonl: 1 line cut short left out")
    assert found.lines[2].startswith("1 stretches of sound were not listened to")
    assert found.lines[3:] == ["merged so many"]
    assert [s.merged for s in sessions_of(tmp_path)] == [True, True, True]
    assert not left_behind(tmp_path)
    again = recover(tmp_path, merge_into(kept))
    assert (len(kept), again.lines) == (1, [])


def test_what_cannot_be_merged_yet_waits_or_is_told(tmp_path: Path) -> None:
    journal(tmp_path, event_record(note(), 1))

    def cannot(*_: object) -> list[str]:
        raise ValueError("full.")

    with pytest.raises(ValueError, match="full"):
        recover(tmp_path, cannot)
    found = recover(tmp_path, cannot, can_wait=True)
    (line,) = found.waiting
    assert line.startswith("live-1: 1 note kept, not in review.csv yet (ValueError(")
    assert found.lines == []
    assert left_behind(tmp_path)


def test_a_journal_without_a_last_line_end_is_finished_all_the_same(
    tmp_path: Path,
) -> None:
    path = journal(tmp_path, {"type": "end"})
    path.write_bytes(path.read_bytes().rstrip())
    assert finish_session(read_session(path), merge_into([]), within=tmp_path) == []
    assert read_session(path).merged
    assert read_session(path).broken_lines == 0


def piece(folder: Path, at_ms: int, samples: NDArray[np.int16]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    soundfile.write(folder / f"{at_ms:010d}.flac", samples, RATE_HZ, subtype="PCM_16")


def sound(seconds: float, value: int) -> NDArray[np.int16]:
    return np.full(int(seconds * RATE_HZ), value, np.int16)


def test_pieces_lie_at_their_millisecond_with_silence_between(tmp_path: Path) -> None:
    folder = tmp_path / "live-1"
    piece(folder, 100, sound(0.2, 7))
    piece(folder, 500, sound(0.1, 9))
    joined = join_pieces(folder, tmp_path / "recordings" / "live-1.flac")
    assert joined is not None
    assert joined.path == tmp_path / "recordings" / "live-1.flac"
    assert joined.sound_s == pytest.approx(0.3)
    assert (joined.fault, joined.remarks) == ("", ())
    whole, rate = soundfile.read(joined.path, dtype="int16")
    assert rate == RATE_HZ
    runs = [(1600, 0), (3200, 7), (3200, 0), (1600, 9)]
    assert whole.tolist() == [v for count, v in runs for _ in range(count)]
    assert not folder.exists()


@pytest.mark.parametrize(
    ("at_ms", "length", "skipped"),
    [(201, 3208, 0), (200, 3208, 0), (202, 3232, 0), (190, 3040, 168)],
)
def test_a_piece_that_follows_on_has_no_seam_and_an_overlap_is_heard_once(
    tmp_path: Path, at_ms: int, length: int, skipped: int
) -> None:
    # The first ends half a millisecond after 200; a name is rounded to milliseconds.
    folder = tmp_path / "live-1"
    piece(folder, 0, np.full(3208, 7, np.int16))
    piece(folder, at_ms, np.arange(1600, dtype=np.int16))
    joined = join_pieces(folder, tmp_path / "live-1.flac")
    assert joined is not None
    whole, _ = soundfile.read(joined.path, dtype="int16")
    assert len(whole) == length + 1600
    assert whole[:3208].tolist() == [7] * 3208
    assert whole[-(1600 - skipped) :].tolist() == list(range(skipped, 1600))
    assert joined.sound_s == (3208 + 1600 - skipped) / RATE_HZ


def test_a_recording_that_has_the_pieces_stays_and_another_gets_one_beside(
    tmp_path: Path,
) -> None:
    folder, target = tmp_path / "live-1", tmp_path / "recordings" / "live-1.flac"
    one = np.arange(8000, dtype=np.int16)
    piece(folder, 0, one)
    join_pieces(folder, target)
    piece(folder, 0, one)  # as a removal cut short leaves it
    assert join_pieces(folder, target) is None
    assert not folder.exists()
    for number in (2, 3):
        piece(folder, 0, one + number)
        joined = join_pieces(folder, target)
        assert joined is not None
        assert joined.path.name == f"live-1-part-{number}.flac"
        (remark,) = joined.remarks
        assert remark.startswith(f"live-1-part-{number}.flac: sound that the recording")
    whole, _ = soundfile.read(target, dtype="int16")
    assert whole.tolist() == one.tolist()


@pytest.mark.parametrize(
    ("hours", "told"), [(48.4, "48"), (48.6, "49"), (999.4, "999"), (9_000.4, "9000")]
)
def test_sound_far_on_is_told_in_whole_hours(
    tmp_path: Path, hours: float, told: str
) -> None:
    piece(tmp_path / "live-1", int(hours * 3_600_000), sound(0.01, 7))
    joined = join_pieces(tmp_path / "live-1", tmp_path / "live-1.flac")
    assert joined is not None
    assert joined.remarks[0].endswith(f".flac: sound from {told} h on")


def test_a_piece_two_days_on_is_a_recording_of_its_own(tmp_path: Path) -> None:
    folder, target = tmp_path / "live-1", tmp_path / "recordings" / "live-1.flac"
    piece(folder, LONGEST_MS + 3_600_000, sound(0.1, 7))
    joined = join_pieces(folder, target)
    assert joined is not None
    assert joined.sound_s == 0
    assert joined.remarks == (
        f"live-1-from-{LONGEST_MS + 3_600_000}.flac: sound from 49 h on",
    )
    assert [p.name for p in target.parent.iterdir()] == [
        f"live-1-from-{LONGEST_MS + 3_600_000}.flac"
    ]


def test_what_is_no_piece_is_left_where_it_is(tmp_path: Path) -> None:
    folder = tmp_path / "live-1"
    piece(folder, 0, sound(0.1, 7))
    (folder / "0000000500.flac").write_bytes(b"no sound")
    soundfile.write(folder / "0000000700.flac", sound(0.1, 1), 8_000)
    (folder / "0000000900.flac.part").write_bytes(b"half")
    joined = join_pieces(folder, tmp_path / "live-1.flac")
    assert joined is not None
    assert joined.sound_s == pytest.approx(0.1)
    (remark,) = joined.remarks
    assert remark.endswith("live-1.left: sound that cannot be read, kept there")
    kept = sorted(p.name for p in (tmp_path / "live-1.left").iterdir())
    assert kept == ["0000000500.flac", "0000000700.flac"]
    assert not is_pieces(tmp_path / "live-1.left")
    assert not is_pieces(tmp_path / "live-1.flac")
    assert join_pieces(tmp_path / "none", tmp_path / "b.flac") is None


def test_what_is_left_of_joined_folders_goes(tmp_path: Path) -> None:
    for name in ("live-1.joined", "live-2", "other.joined"):
        piece(tmp_path / name, 0, sound(0.01, 1))
    assert not is_pieces(tmp_path / "live-1.joined")
    assert is_pieces(tmp_path / "live-2")
    clear_joined(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["live-2", "other.joined"]
    clear_joined(tmp_path / "none")


def test_sound_of_a_killed_session_is_told_with_its_length(tmp_path: Path) -> None:
    piece(journals_dir(tmp_path) / "live-1", 0, sound(0.25, 7))
    assert left_behind(tmp_path)
    assert recover(tmp_path, merge_into([]), sound=False).lines == []
    found = recover(tmp_path, merge_into([]))
    assert found.lines == ["live-1.flac: 0.2 s of sound"]
    assert (tmp_path / "recordings" / "live-1.flac").is_file()
    assert not left_behind(tmp_path)


def answered(folder: Path, *live: Event, later: Sequence[Event]) -> list[str]:
    """Say which notes stand after a second pass: "+" added, "?" heard otherwise."""
    records = [event_record(event, n) for n, event in enumerate(live)]
    journal(folder, *records)
    return [
        e.mark
        + "+" * e.has(FlagCode.HEARD_ONLY_LIVE)
        + "?" * e.has(FlagCode.HEARD_LIVE_AS)
        for e in with_answered(folder, "live-1.flac", later)
    ]


@pytest.mark.parametrize(
    ("live", "later", "stands"),
    [
        # A second apart is one moment, and more is not; before it as after it.
        ([note(5.0)], [note(6.0)], ["red"]),
        ([note(5.0)], [note(4.0)], ["red"]),
        ([note(5.0)], [note(6.001)], ["red+", "red"]),
        ([note(5.0)], [note(3.999)], ["red", "red+"]),
        # A note without a second is at no moment; it comes first.
        ([note(5.0)], [note(None)], ["red", "red+"]),
        ([note(None)], [note(None)], ["red", "red+"]),
        ([note(None)], [note(5.0)], ["red+", "red"]),
        # Two of one moment each have their own.
        ([note(5.0), note(5.2, "blue")], [note(5.1)], ["red", "blue+"]),
        ([note(5.0), note(5.4)], [note(5.3), note(5.1)], ["red", "red"]),
        # What says the same goes before what is nearer, in kind, mark and value.
        ([note(5.0)], [note(5.0, "blue"), note(5.9)], ["blue", "red"]),
        ([note(5.0)], [note(5.0, kind=EventKind.AWAY)], ["red?"]),
        ([note(5.0)], [note(5.0, value="left")], ["red?"]),
        ([note(5.0)], [note(5.2, "grey"), note(4.7, "pink")], ["pink", "grey?"]),
        # They come in the order of time.
        ([note(2.0)], [note(9.0, "blue"), note(5.0, "pink")], ["red+", "pink", "blue"]),
    ],
)
def test_what_was_answered_is_found_again_within_a_second(
    tmp_path: Path, live: list[Event], later: list[Event], stands: list[str]
) -> None:
    assert answered(tmp_path, *live, later=later) == stands


def test_an_added_note_keeps_its_doubts_and_a_note_said_again_is_not_added(
    tmp_path: Path,
) -> None:
    doubt = Flag.of(FlagCode.HARDLY_HEARD, "0.70")
    again = {
        "type": "said again", "recording": "live-1.flac", "start_s": 1.0, "kind": "back"
    }  # fmt: skip
    records = [event_record(note(flags=(doubt,)), 1), event_record(note(4.0), 2)]
    journal(tmp_path, *records)
    one, _ = with_answered(tmp_path, "day/live-1.flac", [])
    assert [flag.code for flag in one.flags] == [doubt.code, FlagCode.HEARD_ONLY_LIVE]
    journal(tmp_path, *records, again)
    assert [e.start_s for e in with_answered(tmp_path, "live-1.flac", [])] == [4.0]


def test_the_words_of_another_reading_are_told_without_what_was_not_said(
    tmp_path: Path,
) -> None:
    for said, words in (
        (note(5.0, "", kind=EventKind.STATION, value="2"), "'station 2'"),
        (note(5.0, "red", kind=EventKind.BEARING, value="210"), "'red bearing 210'"),
    ):
        journal(tmp_path, event_record(said, 1))
        (other,) = with_answered(tmp_path, "live-1.flac", [note(5.0, "blue")])
        assert words in sentences_of(other.flags)[-1]


def test_each_stretch_of_its_own_voice_counts_and_each_recordings_own(
    tmp_path: Path,
) -> None:
    spoken = [
        {"type": "own voice", "start_s": start, "end_s": start + 1}
        for start in (2.0, 6.0)
    ]
    journal(tmp_path, *spoken)
    journal(tmp_path, spoken[0], name="live-2")
    heard = [
        note(start, recording=name)
        for name in ("live-1.flac", "live-2.flac")
        for start in (2.5, 4.0, 6.5)
    ]
    kept = without_own_voice(tmp_path, heard)
    assert [(e.recording, e.start_s) for e in kept] == [
        ("live-1.flac", 4.0),
        ("live-2.flac", 4.0),
        ("live-2.flac", 6.5),
    ]


def test_seconds_of_its_own_voice_are_those_of_a_recording(tmp_path: Path) -> None:
    longest_s = 10_000_000.0
    spoken: list[dict[str, Any]] = [
        {"type": "own voice", "start_s": 0, "end_s": longest_s},
        {"type": "own voice", "start_s": 0, "end_s": longest_s + 1},
        {"type": "own voice", "start_s": -1.0, "end_s": 2.0},
        {"type": "own voice", "end_s": 2.0},
        {"type": "voice", "start_s": 0},
        {"n": 1},
    ]
    session = read_session(journal(tmp_path, *spoken))
    assert (session.own_voice, session.broken_lines) == (((0.0, longest_s),), 3)


def test_journals_are_read_oldest_first_and_nothing_else(tmp_path: Path) -> None:
    assert sessions_of(tmp_path) == []
    assert not left_behind(tmp_path)
    for name in ("live-2", "live-10", "live-1"):
        journal(tmp_path, {"type": "end"}, name=name)
    (journals_dir(tmp_path) / "live-3.jsonl").mkdir()
    (journals_dir(tmp_path) / "live-4.txt").write_text("{}", "utf-8")
    names = [session.path.name for session in sessions_of(tmp_path)]
    assert names == ["live-1.jsonl", "live-10.jsonl", "live-2.jsonl"]


def test_room_for_notes_goes_where_nobody_listens_any_more(tmp_path: Path) -> None:
    room = journals_dir(tmp_path) / BALLAST_NAME
    room.parent.mkdir(parents=True)
    room.write_bytes(b"room")
    recover(tmp_path, merge_into([]), sound=False)
    assert room.exists()
    recover(tmp_path, merge_into([]))
    assert not room.exists()
    assert recover(tmp_path / "none", merge_into([])).lines == []
    assert not (tmp_path / "none").exists()


def test_sound_is_joined_unless_one_says_otherwise_and_left_behind_till_then(
    tmp_path: Path,
) -> None:
    folder = journals_dir(tmp_path) / "live-1"
    piece(folder, 0, sound(0.1, 7))
    (tmp_path / "recordings").mkdir()
    (journals_dir(tmp_path) / "live-2.joined").mkdir()
    (journals_dir(tmp_path) / "other").mkdir()
    recover(tmp_path, merge_into([]), sound=False)
    assert left_behind(tmp_path)
    recover(tmp_path, merge_into([]))
    assert not left_behind(tmp_path)
    assert [p.name for p in journals_dir(tmp_path).iterdir()] == ["other"]


def test_one_session_that_cannot_be_merged_keeps_no_other_back(tmp_path: Path) -> None:
    for name, mark in (("live-1", "red"), ("live-2", "blue"), ("live-3", "pink")):
        ended = {"type": "end"}
        journal(tmp_path, event_record(note(mark=mark), 1), ended, name=name)
    kept: list[Any] = []

    def merge(events: Sequence[Event], recordings: frozenset[str]) -> list[str]:
        if events[0].mark == "blue":
            raise HuntError("is in use", where="review.csv", mend="Close it.")
        return list(merge_into(kept)(events, recordings))

    found = recover(tmp_path, merge, can_wait=True)
    assert [marks for marks, _ in kept] == [["red"], ["pink"]]
    assert found.lines == ["merged so many"] * 2
    (line,) = found.waiting
    assert line.startswith("live-2: 1 note kept, not in review.csv yet (review.csv: ")
    assert line.endswith("Close it)")
    assert [s.merged for s in sessions_of(tmp_path)] == [True, False, True]


def test_sound_that_cannot_be_joined_is_told_and_the_rest_is_joined(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    live = journals_dir(tmp_path)
    for number in (1, 2, 3, 4, 5):
        piece(live / f"live-{number}", 0, sound(0.1, number))
    faults: dict[str, Exception] = {
        "live-1": HuntError("is a link", where="recordings", mend="Take it away."),
        "live-2": PermissionError(13, "Permission denied", "0.wav"),
        "live-3": OSError("odd"),
    }

    def join(pieces: Path, recording: Path, *, within: Path) -> Joined | None:
        assert recording == tmp_path / "recordings" / f"{pieces.name}.flac"
        if fault := faults.get(pieces.name):
            raise fault
        if pieces.name == "live-4":
            return Joined(path=pieces, sound_s=0.1, fault="no room")
        return join_pieces(pieces, recording, within=within)

    monkeypatch.setattr("treeward.hunt.recovery.join_pieces", join)
    lines = recover(tmp_path, merge_into([])).lines
    assert len(lines) == 5
    assert lines[0] == faults["live-1"].line()  # type: ignore[attr-defined]
    assert lines[1].startswith("0.wav: sound left in pieces (Permission denied); ")
    assert lines[2].startswith(f"{live / 'live-3'}: sound left in pieces (odd); ")
    assert lines[3].startswith(f"{live / 'live-4'}: sound left in pieces (no room); ")
    assert lines[4] == "live-5.flac: 0.1 s of sound"


def test_sound_that_lies_elsewhere_only_is_told_by_where_it_lies(
    tmp_path: Path,
) -> None:
    live = journals_dir(tmp_path)
    (live / "live-1").mkdir(parents=True)
    (live / "live-1" / "0000000000.flac").write_bytes(b"no sound")
    (live / "live-2").mkdir()  # nothing was heard in it
    (line,) = recover(tmp_path, merge_into([])).lines
    assert line == f"{live / 'live-1.left'}: sound that cannot be read, kept there"
    assert not (live / "live-2").exists()


@pytest.mark.parametrize(
    ("records", "said"),
    [
        ([{"type": "end"}], []),
        ([], ["live-1 was cut short: 0 notes recovered"]),
        ([{"type": "end"}, {"type": "event"}], ["live-1.jsonl: 1 line cut short"]),
        ([{"type": "end"}, *[{"type": "unheard"}] * 3], ["3 stretches of sound"]),
    ],
)
def test_of_a_session_is_said_what_is_not_as_usual(
    tmp_path: Path, records: list[dict[str, Any]], said: list[str]
) -> None:
    path = journal(tmp_path, *records)
    kept: list[Any] = []
    lines = finish_session(read_session(path), merge_into(kept), within=tmp_path)
    assert len(lines) == len(said)
    for line, begun in zip(lines, said, strict=True):
        assert line.startswith(begun)
    assert kept == []  # without a note nothing is merged
    assert read_session(path).merged
