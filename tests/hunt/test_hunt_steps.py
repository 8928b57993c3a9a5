"""The steps of a hunt: what each is given of the one before, and what it hands on."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest

from hunt.found_world import A, answer, hunt_of
from treeward.errors import HuntError
from treeward.hunt.hearing import hear_all
from treeward.language.kinds import EventKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from treeward.hunt.hunt import Hunt
    from treeward.notes.events import Event
    from treeward.report.model import HuntResult, NoteRow

DAY = "2026-07-14 10:0"
NOTES = (
    f"{DAY}0:00,station,,1",
    f"{DAY}1:00,away,yellow,",
    f"{DAY}1:05,bearing,yellow,210",
    f"{DAY}6:00,back,yellow,",
    f"{DAY}7:00,remark,,warm",
)


def test_what_is_asked_of_a_hearing_arrives_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Any] = []

    def hear(hunt: Hunt, paths: Any, engine: Any, **named: Any) -> Any:
        asked.append((engine, named))
        with (
            pytest.raises(HuntError, match="treeward transcribe, since"),
            hunt.locked(),
        ):
            pass
        named["say"]("a word of the engine")
        return hear_all(hunt, paths, engine)

    monkeypatch.setattr("treeward.hunt.hunt.hear_all", hear)
    hunt = hunt_of(tmp_path, *NOTES)
    text = (tmp_path / "hunt.toml").read_text("utf-8")
    (tmp_path / "hunt.toml").write_text(text + "[speech]\nfree = true\n", "utf-8")
    hunt.recordings_dir.mkdir()
    (hunt.recordings_dir / "2026-07-15_1000.txt").write_text("", "utf-8")
    watcher: Any = object()
    done = hunt.transcribe(model="own", fresh=True, jobs=3, watcher=watcher)
    hunt.transcribe()
    (engine, named), (_, usual) = asked
    assert (engine.hunt_dir, engine.model, engine.free) == (tmp_path, "own", True)
    assert (named["jobs"], named["watcher"], named["fresh"]) == (3, watcher, True)
    assert (usual["jobs"], usual["watcher"], usual["fresh"]) == (1, None, False)
    assert "a word of the engine" in done.remarks
    assert not done.stopped


def test_a_file_without_sound_is_a_fault_and_the_rest_is_read(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path, *NOTES)
    hunt.recordings_dir.mkdir()
    junk = tmp_path / "memo.wav"
    junk.write_bytes(b"no sound")
    done = hunt.transcribe([junk])
    (one,) = done.recordings
    assert (one.name, one.complete) == ("memo.wav", False)
    assert one.fault.startswith(f"{junk}: ")
    assert done.rows == len(NOTES)
    assert done.engine == ""


def test_rows_that_are_taken_as_dropped_do_not_count(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path, *NOTES)
    rows = hunt.rows()
    kinds = [event.kind for event in hunt.events()]
    assert kinds == [event.kind for event in hunt.events(rows)]
    assert EventKind.BACK in kinds
    back = next(row for row in rows if row.event.kind is EventKind.BACK)
    without = hunt._rows_without({back.name})
    left = [event.kind for event in hunt.events(without)]
    assert left == [kind for kind in kinds if kind is not EventKind.BACK]
    assert [row.name for row in without] == [row.name for row in rows]
    assert hunt.rows() == rows  # the file is as it was


def test_trips_of_one_day_have_no_days_and_of_two_they_have(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path, *NOTES)
    one = hunt.paired()
    assert (one.days, one.fix, one.stations) == ((), None, ())
    assert len(one.table.trips) == 1
    assert len(one.rows) == len(NOTES)
    later = [note.replace("07-14", "07-16") for note in NOTES]
    two = hunt_of(tmp_path, *NOTES, *later).paired()
    assert [day.day.day for day in two.days] == [14, 16]


class Written:
    """Keeps what is written, and takes nothing to the disk."""

    def __init__(self, hunt: Hunt, monkeypatch: pytest.MonkeyPatch) -> None:
        self.told: list[tuple[HuntResult, dict[str, Any]]] = []
        self.labels: list[HuntResult] = []
        self.clips: list[set[str]] = []
        self.locked: list[tuple[str, float]] = []

        @contextmanager
        def locked(command: str = "", *, wait_s: float = 0.0) -> Iterator[None]:
            self.locked.append((command, wait_s))
            yield

        def results(result: HuntResult, _: Path, **named: Any) -> None:
            self.told.append((result, named))

        def clips(notes: Iterable[NoteRow], folder: Path) -> dict[str, bytes]:
            assert folder == hunt.recordings_dir
            self.clips.append({note.said for note in notes})
            return {"row": b"sound"}

        writing = "treeward.report.writing"
        monkeypatch.setattr(f"{writing}.write_results", results)
        monkeypatch.setattr(
            f"{writing}.write_labels", lambda result, _: self.labels.append(result)
        )
        monkeypatch.setattr("treeward.hunt.hunt.clips_of", clips)
        monkeypatch.setattr(hunt, "locked", locked)


def test_clips_are_of_departures_returns_and_bearings_and_only_where_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = hunt_of(tmp_path, *NOTES)
    written = Written(hunt, monkeypatch)
    result = hunt.paired()
    hunt.write_results(result)
    hunt.write_results(result, with_sound=True, online_map=True)
    (_, plain), (_, more) = written.told
    assert plain == {"with_sound": None, "online_map": False}
    assert more == {"with_sound": {"row": b"sound"}, "online_map": True}
    (said,) = written.clips
    assert len(said) == 3
    assert not any(word in note for note in said for word in ("warm", "station"))
    assert written.locked == [("locate", 5.0)] * 2
    assert len(written.labels) == 2


def test_a_map_that_is_named_goes_into_what_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = hunt_of(tmp_path, *NOTES)
    written = Written(hunt, monkeypatch)
    ground: Any = object()
    monkeypatch.setattr("treeward.hunt.ground.read_ground", lambda *_: None)
    hunt.write_results(answer(A))
    monkeypatch.setattr("treeward.hunt.ground.read_ground", lambda *_: ground)
    hunt.write_results(answer(A))
    without, with_map = (result for result, _ in written.told)
    assert without.ground is None
    assert with_map.ground is ground
    assert written.labels[1] is with_map


def test_a_typed_time_has_no_other_way_and_another_note_has(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Any] = []

    def moves(_: HuntResult, events: Any, rows: Any, **named: Any) -> Iterator[Any]:
        asked.append((events, rows, named["otherwise"]))
        yield "moved"

    monkeypatch.setattr("treeward.hunt.partial.row_moves", moves)
    hunt = hunt_of(tmp_path, *NOTES, f"{DAY}8:00,time,,10:08")
    events = hunt.events()
    back, time = (
        next(e for e in events if e.kind is kind)
        for kind in (EventKind.BACK, EventKind.TIME)
    )
    readings: dict[str, list[Event]] = {back.row: [], time.row: []}
    told_of: list[Any] = list(hunt.row_moves(answer(A), readings))
    assert told_of == ["moved"]
    ((told, rows, otherwise),) = asked
    assert told == events
    assert rows == (back.row, time.row)
    (without,) = otherwise(back.row)
    assert list(without) == [e for e in events if e.row != back.row]
    assert list(otherwise(time.row)) == []  # no clock hangs on it
