"""What was heard is kept and told: hearings, talk, lines without a note, and rows."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from treeward.audio import Block
from treeward.errors import ReviewError
from treeward.hunt.heard import HeardBy, HeardFile, Piece, _quietest_s
from treeward.hunt.hunt import Hunt
from treeward.hunt.review_update import (
    _flagged_if_dark,
    note_rows,
    said_in_words,
    times_corrected,
    written_lines,
)
from treeward.hunt.transcription import (
    Recorded,
    dismiss,
    dismissed_lines,
    given_day,
    heard_by,
    holds_clock_times,
    keep_unread,
    open_lines,
    talk_webvtt,
    time_line,
    typed_notes,
    unread_of,
)
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode, sentences_of
from treeward.notes.unread import TimeTold, Unread
from treeward.review.file import ReviewRow
from treeward.speech.utterances import Alternative, Utterance, Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Sequence

NOON = datetime(2026, 7, 14, 12, 0, tzinfo=UTC)
BY = HeardBy(
    engine="neural", model="tiny", phrase_book="1", size_bytes=9, modified_ns=7
)


def hunt_of(folder: Path, more: str = "") -> Hunt:
    folder.mkdir(exist_ok=True)
    text = '[hunt]\nname = "x"\ntimezone = "Europe/London"\n[[station]]\nid = "1"\n'
    (folder / "hunt.toml").write_text(text + more, "utf-8")
    (folder / "recordings").mkdir(exist_ok=True)
    return Hunt(folder)


def word(text: str, start_s: float, source: WordSource = WordSource.TALK) -> Word:
    return Word(
        text=text, start_s=start_s, end_s=start_s + 0.5, confidence=0.9, source=source
    )


def utterance(*words: Word) -> Utterance:
    return Utterance(words=words, start_s=words[0].start_s, end_s=words[-1].end_s)


@pytest.mark.parametrize(
    ("start_s", "end_s", "total_s", "length_s"),
    [
        (10.0, 25.0, None, 15.0),
        (10.0, 25.0, 99.0, 15.0),
        (10.0, None, 99.0, 89.0),
        (10.0, None, None, 0.0),
        (10.0, None, 5.0, 0.0),
    ],
)
def test_a_piece_is_as_long_as_is_known(
    start_s: float, end_s: float | None, total_s: float | None, length_s: float
) -> None:
    piece = Piece(number=1, start_s=start_s, end_s=end_s)
    assert piece.length_s(total_s) == length_s


def test_the_quietest_second_is_found_by_its_middle() -> None:
    rng = np.random.default_rng(1)
    sound = (0.2 * rng.standard_normal(10 * 16_000)).astype(np.float32)
    sound[6 * 16_000 : 7 * 16_000] *= 0.01
    blocks = [
        Block(start_s=n, samples=sound[n * 16_000 : (n + 1) * 16_000])
        for n in range(10)
    ]
    assert _quietest_s(blocks) == pytest.approx(6.5, abs=0.001)
    assert _quietest_s(blocks[:1]) == 0.0  # in a second there is no quietest one


def test_of_several_pieces_each_goes_on_where_it_was(tmp_path: Path) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    pieces = [
        Piece(number=0, start_s=0.0, end_s=60.0),
        Piece(number=1, start_s=60.0, end_s=None),
    ]
    kept.begin(BY, pieces)
    late, early = utterance(word("red", 61.0)), utterance(word("blue", 1.0))
    kept.add([late], reached_s=70.0, piece=1, peak=0.5)
    kept.add([early], reached_s=12.0, peak=0.25)
    kept.add([], reached_s=65.0, piece=1, peak=0.125)
    kept.finish_piece(1)
    kept.remark("cut off")
    kept.remark("cut off")
    heard = kept.resume(BY)
    assert heard == kept.read()
    first, second = heard.pieces
    assert [first.piece, second.piece] == pieces
    assert (first.reached_s, first.peak, first.done) == (12.0, 0.25, False)
    assert (second.reached_s, second.peak, second.done) == (70.0, 0.5, True)
    assert heard.utterances == (early, late)
    assert heard.reached_s == 12.0 + 10.0
    assert heard.remarks == ("cut off",)
    assert not heard.done
    kept.forget()
    assert not kept.path.exists()
    kept.forget()


def test_times_are_kept_to_a_millisecond_and_shares_to_four_digits(
    tmp_path: Path,
) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    kept.begin(BY)
    one = Word(
        text="red", start_s=1.23456, end_s=2.34567, confidence=0.123456,
        source=WordSource.PHRASE,
        alternatives=(Alternative(text="read", confidence=0.654321),),
    )  # fmt: skip
    kept.add([Utterance(words=(one,), start_s=1.23456, end_s=2.34567)],
             reached_s=3.45678, peak=0.12345678)  # fmt: skip
    heard = kept.read()
    (said,) = heard.utterances
    assert (said.start_s, said.end_s) == (1.235, 2.346)
    (told,) = said.words
    assert (told.start_s, told.end_s, told.confidence) == (1.235, 2.346, 0.1235)
    assert told.alternatives == (Alternative(text="read", confidence=0.6543),)
    assert heard.pieces[0].reached_s == 3.457
    assert heard.pieces[0].peak == 0.123457


def test_a_hearing_by_another_time_of_the_file_keeps_that_time(tmp_path: Path) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    kept.begin(BY)
    later = replace(BY, modified_ns=8)
    assert later == BY  # a copy has another time, and the same sound
    for by, modified_ns in ((replace(later, engine="vosk"), 7), (later, 8)):
        kept.resume(by)
        known = kept.read().by
        assert known is not None
        assert known.modified_ns == modified_ns


class Engine:
    name, model = "neural", "tiny"


def test_a_hearing_depends_on_the_bytes_of_its_file(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_text("abc", "utf-8")
    book = hunt_of(tmp_path / "hunt").phrase_book
    engine: Any = Engine()
    by = heard_by(path, engine, book, None, free=True)
    assert (by.engine, by.model, by.free) == ("neural", "tiny", True)
    assert by.phrase_book == book.digest()
    assert (by.size_bytes, by.modified_ns) == (3, path.stat().st_mtime_ns)
    assert by.sha256.startswith("ba7816bf")  # FIPS 180-2: SHA-256 of "abc"
    # Where size and time are as before, the bytes are not read again.
    known = replace(by, sha256="as before")
    assert heard_by(path, engine, book, known).sha256 == "as before"
    for other in (replace(known, size_bytes=4), replace(known, modified_ns=1)):
        assert heard_by(path, engine, book, other).sha256 == by.sha256
    assert not heard_by(path, engine, book, known).free


def test_talk_is_told_as_cues_of_what_is_no_note() -> None:
    phrase = word("yellow away", 5.0, WordSource.PHRASE)
    text = talk_webvtt(
        [
            utterance(word("look  at", 3661.5), word("that <one>", 3662.0)),
            utterance(phrase),
            utterance(phrase, word("there", 6.0)),
        ]
    )
    assert text == (
        "WEBVTT\n\n01:01:01.500 --> 01:01:02.500\nlook at that &lt;one&gt;\n\n"
        "00:00:06.000 --> 00:00:06.500\nthere\n"
    )
    assert talk_webvtt([utterance(phrase)]) == ""
    assert talk_webvtt([]) == ""


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("unloading", "90 to 240 s in the hive; to reckon with it, write in_hive_s"),
        ("loading", "90 to 240 s of loading; your own notes of back and away"),
        ("close", "trips to a hive so near can serve as calibration"),
    ],
)  # fmt: skip
def test_told_times_say_which_key_they_fit(what: Any, said: str) -> None:
    told = TimeTold(what=what, start_s=125.9, text="they stay", low_s=90, high_s=240)
    assert time_line(told).startswith(f"said at 2:05: 'they stay': {said}")


A = Unread(recording="a.wav", text="yellow, hm", start_s=10.0, end_s=12.0)
B = Unread(recording="a.wav", text="blue maybe", start_s=20.0, end_s=22.0,
           marks=("blue",))  # fmt: skip
T = Unread(recording="n.txt", text="9:05 Y lost", line=3, clock=NOON)


def keep(hunt: Hunt, *lines: Unread, fault: str = "") -> None:
    names = dict.fromkeys(line.recording for line in lines)
    keep_unread(
        hunt,
        [
            Recorded(
                name=name,
                unread=tuple(x for x in lines if x.recording == name),
                fault=fault,
            )
            for name in names
        ],
    )


def test_lines_without_a_note_are_kept_as_they_were_read(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    keep(hunt, T, A, B)
    assert unread_of(hunt) == [A, B, T]
    # Of what could not be read now, those from before stay; of others the new ones.
    keep_unread(hunt, [Recorded(name="a.wav", fault="cut off")])
    keep_unread(hunt, [Recorded(name="n.txt")])
    assert unread_of(hunt) == [A, B]
    raw = json.loads((hunt.machine_dir / "unread.json").read_text("utf-8"))
    assert list(raw) == ["a.wav"]


@pytest.mark.parametrize(
    ("start_s", "end_s", "of_it"),
    [
        (10.4, 30.0, True),  # begins with it
        (9.6, 30.0, True),
        (10.6, 30.0, False),
        (5.0, 12.4, True),  # ends with it, or within
        (5.0, 12.6, False),
        (5.0, 10.04, False),  # of what was said just before
        (5.0, 10.06, True),
    ],
)
def test_a_note_that_begins_or_ends_with_a_line_is_made_of_it(
    tmp_path: Path, start_s: float, end_s: float, *, of_it: bool
) -> None:
    hunt = hunt_of(tmp_path)
    keep(hunt, A)
    note = Event(kind=EventKind.BACK, recording="a.wav", start_s=start_s, end_s=end_s)
    assert (open_lines(hunt, [note]) == []) is of_it
    assert open_lines(hunt, [replace(note, recording="b.wav")]) == [A]


def test_of_two_typed_lines_alike_a_note_is_of_one(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    again = replace(T, line=9)
    keep(hunt, T, again)
    note = Event(kind=EventKind.BACK, recording="n.txt", heard=T.text)
    assert open_lines(hunt, [note]) == [again]
    assert open_lines(hunt, [note, note]) == []
    assert open_lines(hunt, [replace(note, heard="else")]) == [T, again]


def test_a_line_that_was_dismissed_stays_away_until_that_is_undone(
    tmp_path: Path,
) -> None:
    hunt = hunt_of(tmp_path)
    keep(hunt, A, B, T)
    assert dismiss(hunt, B)
    assert not dismiss(hunt, B)
    assert dismiss(hunt, T)
    assert dismissed_lines(hunt) == [B, T]
    assert open_lines(hunt, []) == [A]
    assert dismiss(hunt, B, undo=True)
    assert not dismiss(hunt, B, undo=True)
    assert open_lines(hunt, []) == [A, B]
    # When the page is read anew it is still away, wherever it stands by now.
    moved = replace(T, line=5)
    keep(hunt, moved)
    assert dismissed_lines(hunt) == [moved]
    with pytest.raises(ReviewError, match="no such line any more") as told:
        dismiss(hunt, T)
    assert told.value.where == "n.txt line 3"


@pytest.mark.parametrize(
    "text",
    [
        "", "[1]", '{"a.wav": 7}', '{"a.wav": [{"text": "x"}]}',
        '{"a.wav": [{"text": "x", "marks": [], "line": 1, "clock": "2026-07-14"}]}',
        '{"a.wav": [{"text": "x", "marks": [], "start_s": 10000001, "end_s": 1}]}',
        '{"a.wav": [{"text": "x", "marks": [], "line": -1, "clock": ""}]}',
    ],
)  # fmt: skip
def test_spoilt_lines_are_none(tmp_path: Path, text: str) -> None:
    hunt = hunt_of(tmp_path)
    hunt.machine_dir.mkdir()
    (hunt.machine_dir / "unread.json").write_text(text, "utf-8")
    assert unread_of(hunt) == []


def typed(hunt: Hunt, text: str, name: str = "n.txt") -> Path:
    path = hunt.recordings_dir / name
    path.write_text(text, "utf-8")
    return path


def test_only_a_page_with_clock_times_is_read_by_them(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    page = typed(hunt, "9:05 yellow away\n9:10 yellow back\n")
    assert holds_clock_times(hunt, page)
    assert not holds_clock_times(hunt, typed(hunt, "nothing here\n", "b.txt"))
    assert not holds_clock_times(hunt, hunt.recordings_dir / "none.txt")
    assert not holds_clock_times(hunt, typed(hunt, "9:05 yellow away\n", "c.vtt"))
    assert typed_notes(hunt, hunt.recordings_dir / "b.txt", "b.txt") is None


def test_the_day_of_a_page_is_given_or_written_in_it(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path, '[start]\n"n.txt" = "2026-07-15"\n')
    page = typed(hunt, "14 July 2026\n9:05 yellow away\n9:10 yellow back\n")
    other = typed(hunt, "9:05 yellow away\n", "b.txt")
    assert given_day(hunt, page, "n.txt") == date(2026, 7, 15)
    assert given_day(hunt, other, "b.txt") is None
    read = typed_notes(hunt, page, "n.txt")
    assert read is not None
    assert [e.kind.value for e in read.events if e.mark] == ["away", "back"]
    (remark,) = read.remarks
    assert remark.startswith("2026-07-14 stands in it, 2026-07-15 was given")
    # What was given with --start stands before hunt.toml.
    hunt.machine_dir.mkdir(exist_ok=True)
    starts = hunt.machine_dir / "starts.json"
    starts.write_text('{"n.txt": "2026-07-16", "b.txt": "2026-07-17"}', "utf-8")
    assert given_day(hunt, page, "n.txt") == date(2026, 7, 16)
    assert given_day(hunt, other, "b.txt") == date(2026, 7, 17)
    starts.write_text('{"n.txt": "soon"}', "utf-8")
    assert given_day(hunt, page, "n.txt") == date(2026, 7, 15)


def row(
    name: str = "r1", kind: EventKind = EventKind.AWAY, value: str = "", **more: Any
) -> ReviewRow:
    decision = more.pop("decision", "")
    event = Event(kind=kind, value=value, row=name, **more)
    return ReviewRow(event=event, decision=decision)


@pytest.mark.parametrize(
    ("kind", "mark", "value", "said"),
    [
        (EventKind.AWAY, "yellow", "", "yellow away"),
        (EventKind.BEARING, "yellow", "210", "bearing 210 (yellow)"),
        (EventKind.BEARING, "", "210", "bearing 210"),
        (EventKind.STATION, "", "2", "station 2"),
        (EventKind.PAUSE, "", "", "pause"),
    ],
)
def test_a_note_is_said_in_plain_words(
    kind: EventKind, mark: str, value: str, said: str
) -> None:
    assert said_in_words(Event(kind=kind, mark=mark, value=value)) == said


def test_rows_say_where_they_were_heard_and_no_place_of_a_find() -> None:
    flags = (Flag.of(FlagCode.HARDLY_HEARD, "0.70"), Flag.of(FlagCode.AMID_TALK))
    heard = row(
        mark="red", recording="a.wav", start_s=1.0, end_s=2.0, clock=NOON,
        heard="red way", confidence=0.7, flags=flags, decision="keep",
    )  # fmt: skip
    found = row("r2", EventKind.FOUND, "52.3, -3.6")
    words = row("r3", EventKind.FOUND, "in an ash")
    looked = row("r4", EventKind.SEARCHED, "52.3, -3.6")
    rows = note_rows([heard, found, words, looked])
    assert list(rows) == ["r1", "r2", "r3", "r4"]
    one = rows["r1"]
    assert (one.row, one.recording, one.start_s, one.end_s) == ("r1", "a.wav", 1.0, 2.0)
    assert (one.clock, one.said, one.heard) == (NOON, "red away", "red way")
    assert (one.confidence, one.decision) == (0.7, "keep")
    assert one.flag == "; ".join(sentences_of(flags))
    assert [rows[name].said for name in ("r2", "r3", "r4")] == [
        "found",
        "found in an ash",
        "searched 52.3, -3.6",
    ]


def test_a_corrected_time_is_seen_in_whatever_way_it_was_corrected() -> None:
    time = row("t", EventKind.TIME, "10:22")
    bee = row("b", mark="red")
    before = [bee, time]
    assert not times_corrected(before, before)
    assert not times_corrected(before, [time])  # a bee's note is no time
    for after in (
        [bee],
        [row("t", EventKind.TIME, "10:23")],
        [row("t", EventKind.DATE, "10:22")],
        [row("t", EventKind.TIME, "10:22", decision="drop")],
    ):
        assert times_corrected(before, after)
    assert not times_corrected(
        before, [row("t", EventKind.TIME, "10:22", decision="keep")]
    )
    assert times_corrected([row("d", EventKind.DATE, "14 July")], [])


def test_a_flying_bee_after_dark_is_flagged() -> None:
    def flags(kind: EventKind, *, light: bool, clock: datetime | None = NOON) -> bool:
        event = Event(kind=kind, clock=clock)
        return _flagged_if_dark(event, lambda _: light).has(FlagCode.AFTER_DARK)

    assert flags(EventKind.AWAY, light=False)
    assert not flags(EventKind.AWAY, light=True)
    assert not flags(EventKind.REMARK, light=False)
    assert not flags(EventKind.AWAY, light=False, clock=None)


def test_what_another_program_did_to_the_review_is_told() -> None:
    assert written_lines([], None) == ()
    (line,) = written_lines([], Path("hunt") / "review-1.csv")
    assert "is kept in review-1.csv: look what differs" in line
    gone, saved = written_lines([row("r7")], Path("x.csv"))
    assert gone.startswith("review.csv: ")
    assert "stand in it again" in gone
    assert "x.csv" in saved


def test_what_could_not_be_read_is_a_line_of_each() -> None:
    from treeward.hunt.transcription import Transcribed

    recorded: Sequence[Recorded] = [
        Recorded(name="a", fault="cut"),
        Recorded(name="b"),
        Recorded(name="c", fault="x"),
    ]
    left: Any = None
    told = Transcribed(
        recordings=tuple(recorded), engine="", rows=0, left=left, kept_changes=0
    )
    assert told.faults == ("cut", "x")
