from __future__ import annotations

import errno
import json
from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.hunt.journal import (
    BALLAST_NAME,
    Journal,
    event_of,
    event_record,
    read_journal,
)
from treeward.hunt.recovery import read_session
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import read_flags
from treeward.speech.utterances import Alternative
from treeward.within import Held

if TYPE_CHECKING:
    from pathlib import Path

texts = st.text(max_size=20)
seconds = st.integers(0, 10**7).map(lambda ms: ms / 1000)
clocks = st.integers(946_684_800_000, 4_102_444_800_000).map(
    lambda ms: datetime.fromtimestamp(ms / 1000, tz=timezone(timedelta(hours=1)))
)
confidences = st.integers(0, 10_000).map(lambda n: n / 10_000)


@st.composite
def events(draw: st.DrawFn) -> Event:
    start_s = draw(st.none() | seconds)
    return Event(
        kind=draw(st.sampled_from(EventKind)),
        mark=draw(texts),
        value=draw(texts),
        recording=draw(texts),
        start_s=start_s,
        end_s=None if start_s is None else round(start_s + draw(seconds), 3),
        clock=draw(st.none() | clocks),
        confidence=draw(confidences),
        heard=draw(texts),
        alternatives=tuple(
            draw(st.lists(st.builds(Alternative, text=texts, confidence=confidences),
                          max_size=2))
        ),
        flags=read_flags(draw(st.lists(texts, max_size=2))),
    )  # fmt: skip


@given(events())
def test_event_comes_back_from_the_journal_as_it_went_in(event: Event) -> None:
    assert event_of(event_record(event, 1)) == event


def test_each_line_is_on_disk_when_write_returns(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "a.jsonl")

    assert journal.write({"type": "event", "n": 1})

    on_disk = read_journal(tmp_path / "a.jsonl").records
    journal.close()
    assert on_disk == ({"type": "event", "n": 1},)


def test_a_line_that_a_crash_cut_short_is_left_out_and_counted(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(b'{"n":1}\n{"n":2}\n{"n":3,"ma')

    text = read_journal(path)

    assert [record["n"] for record in text.records] == [1, 2]
    assert text.broken_lines == 1


class FullFile:
    """A file on a disk that fills up in the middle of a line."""

    def __init__(self, inner: Any, room: int) -> None:
        self.inner = inner
        self.room = room

    def write(self, data: bytes) -> int:
        if self.room <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        part = data[: self.room]
        self.room -= len(part)
        return int(self.inner.write(part))

    def __getattr__(self, name: str) -> Any:
        return getattr(self.inner, name)


def test_full_disk_keeps_notes_in_memory_and_writes_them_later(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    journal = Journal(path)
    assert journal.write({"n": 1})
    disk = FullFile(journal._file, 0)
    journal._file = disk
    journal.path.with_name(BALLAST_NAME).unlink()

    disk.room = 5
    assert not journal.write({"n": 2})
    assert not journal.write({"n": 3})
    waiting = journal.waiting
    on_disk = read_journal(path)
    disk.room = 10_000
    mended = journal.retry()
    journal.close()

    assert waiting == 2
    assert on_disk.records == ({"n": 1},)
    assert on_disk.broken_lines == 0
    assert mended
    assert [r["n"] for r in read_journal(path).records] == [1, 2, 3]


def test_room_set_aside_is_given_back_when_the_disk_is_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = Journal(tmp_path / "a.jsonl")
    ballast = tmp_path / BALLAST_NAME
    before = ballast.stat().st_size
    disk = FullFile(journal._file, 0)
    journal._file = disk

    usual = Held.remove

    def freed(self: Held, name: str) -> None:
        usual(self, name)
        disk.room = before

    monkeypatch.setattr(Held, "remove", freed)

    assert journal.write({"n": 1})
    assert not ballast.exists()
    journal.close()


def test_close_leaves_no_ballast(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "a.jsonl")
    journal.close()

    assert [p.name for p in tmp_path.iterdir()] == ["a.jsonl"]


GOOD = {
    "type": "event", "n": 1, "kind": "back", "mark": "red", "recording": "live-1.flac",
    "start_s": 1.0, "end_s": 1.4, "clock": "2026-07-14T10:20:01+01:00",
    "confidence": 0.9, "alternatives": [["red away", 0.1]], "flags": ["x"],
}  # fmt: skip


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("start_s", float("inf")),
        ("start_s", float("nan")),
        ("end_s", "soon"),
        ("end_s", -1),
        ("start_s", 1e300),
        ("start_s", True),
        ("confidence", float("inf")),
        ("confidence", "much"),
        ("kind", 5),
        ("kind", ["back"]),
        ("mark", ["red"]),
        ("recording", 5),
        ("clock", "2026-07-14T10:20:01"),
        ("clock", "9999-12-31T23:59:59+00:00"),
        ("clock", 5),
        ("alternatives", 5),
        ("alternatives", [["red away"]]),
        ("alternatives", [["red away", float("nan")]]),
        ("flags", 5),
        ("flags", [5]),
        ("heard", {}),
        ("heard", "caf\udce9"),
    ],
)
def test_a_record_of_wrong_types_is_left_out_and_told(
    tmp_path: Path, key: str, value: object
) -> None:
    path = tmp_path / "live-1.jsonl"
    records = [GOOD, GOOD | {key: value}, {"type": "own voice", "start_s": value}]
    path.write_text("\n".join(json.dumps(r) for r in records), "utf-8")

    session = read_session(path)

    assert len(session.events) == 1
    assert session.broken_lines == 2


@pytest.mark.parametrize(
    ("kind", "value"),
    [("bearing", "400"), ("bearing", "-1"), ("bearing", "1e9"), ("time", "soon"),
     ("duration", "330"), ("duration", "away long")],
)  # fmt: skip
def test_a_value_that_the_review_could_not_hold_is_left_out(
    tmp_path: Path, kind: str, value: str
) -> None:
    path = tmp_path / "live-1.jsonl"
    path.write_text(json.dumps(GOOD | {"kind": kind, "value": value}), "utf-8")

    session = read_session(path)

    assert (session.events, session.broken_lines) == ((), 1)


@pytest.mark.parametrize(
    ("kind", "value"),
    [("bearing", "225 sw"), ("bearing", "210 true"), ("overhead", "210"),
     ("date", "14 July"), ("searched", "along the wall"), ("found", "")],
)  # fmt: skip
def test_a_value_that_was_heard_is_kept(tmp_path: Path, kind: str, value: str) -> None:
    path = tmp_path / "live-1.jsonl"
    path.write_text(json.dumps(GOOD | {"kind": kind, "value": value}), "utf-8")

    session = read_session(path)

    assert [event.value for event in session.events] == [value]
    assert session.broken_lines == 0


def test_lines_that_are_no_records_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "live-1.jsonl"
    lines = [json.dumps(GOOD), "[" * 100_000, "7", "\x00" * 50, "{", json.dumps(GOOD)]
    path.write_text("\n".join(lines), "utf-8")

    session = read_session(path)

    assert (len(session.events), session.broken_lines) == (2, 4)


def test_a_name_that_is_not_utf8_comes_back(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "live-1.jsonl")
    assert journal.write({"type": "session", "source": "caf\udce9.wav"})
    journal.close()

    (record,) = read_journal(journal.path).records
    assert record["source"] == "caf\udce9.wav"
    assert not journal.write({"type": "late"})  # after the end, by a thread that hung


def test_a_folder_where_room_is_set_aside_is_in_nobodys_way(tmp_path: Path) -> None:
    (tmp_path / BALLAST_NAME).mkdir()
    journal = Journal(tmp_path / "a.jsonl")
    journal._file = FullFile(journal._file, 0)

    assert not journal.write({"n": 1})
    journal.close()

    assert journal.waiting == 1
