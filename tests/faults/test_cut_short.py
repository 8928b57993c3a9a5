"""What a killed command leaves behind is finished, cleared away or harmless."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from treeward.cli.new import is_cut_short
from treeward.errors import TreewardError
from treeward.files import (
    LEFT_AFTER_S,
    PREFIX,
    clear_leftovers,
    new_folder,
    replacing_set,
    write_text,
)
from treeward.hunt.hunt import Hunt
from treeward.review.store import ReviewStore

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.review.file import ReviewRow

NAMES = ("a.txt", "b.txt", "c.txt")

# Dies at the given change of files, counted from 1, while a set of files is replaced.
KILLED = """
import os, sys
from pathlib import Path
from treeward.files import replacing_set
count = 0
def change(event, arguments):
    global count
    if event in {"os.rename", "os.remove", "os.mkdir"}:
        count += 1
        if count == int(sys.argv[1]):
            os._exit(9)
with replacing_set(Path("results"), ["a.txt", "b.txt", "c.txt", "old.txt"]) as beside:
    for name in ("a.txt", "b.txt", "c.txt"):
        (beside / name).write_text("new")
    sys.addaudithook(change)
"""


def contents(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text("utf-8") for path in folder.iterdir()}


@pytest.mark.parametrize("at", range(1, 9))
def test_a_set_of_files_is_the_old_or_the_new_one(tmp_path: Path, at: int) -> None:
    folder = tmp_path / "results"
    folder.mkdir()
    old = dict.fromkeys((*NAMES, "old.txt", "mine.txt"), "old")
    new = {**dict.fromkeys(NAMES, "new"), "mine.txt": "old"}
    for name, text in old.items():
        (folder / name).write_text(text, "utf-8")

    subprocess.run([sys.executable, "-c", KILLED, str(at)], cwd=tmp_path, check=False)
    between = contents(folder)
    clear_leftovers(tmp_path)

    assert set(between) >= {*NAMES, "mine.txt"}  # none is ever missing
    assert contents(folder) in (old, new)
    assert contents(folder) == new or between == old


def test_a_set_cut_short_never_comes_after_a_newer_one(tmp_path: Path) -> None:
    left = tmp_path / f"{PREFIX}results-x"
    left.mkdir()
    (left / "a.txt").write_text("older", "utf-8")
    said = {"directory": "results", "files": ["a.txt"], "stale": []}
    (left / "complete.json").write_text(json.dumps(said), "utf-8")

    with replacing_set(tmp_path / "results", []) as beside:
        (beside / "a.txt").write_text("newer", "utf-8")
    clear_leftovers(tmp_path)

    assert contents(tmp_path / "results") == {"a.txt": "newer"}


def test_a_set_left_behind_cannot_write_elsewhere(tmp_path: Path) -> None:
    hunt = tmp_path / "hunt"
    left = hunt / f"{PREFIX}results-x"
    left.mkdir(parents=True)
    (left / "a.txt").write_text("sly", "utf-8")
    (tmp_path / "victim.txt").write_text("mine", "utf-8")
    said = {
        "directory": "../..",
        "files": ["../../victim.txt", "a.txt"],
        "stale": ["../../victim.txt", "/etc/none"],
    }
    (left / "complete.json").write_text(json.dumps(said), "utf-8")

    clear_leftovers(hunt)

    assert (tmp_path / "victim.txt").read_text("utf-8") == "mine"
    assert {path.name for path in tmp_path.iterdir()} == {"hunt", "victim.txt"}


def test_half_files_go_after_an_hour_and_what_is_young_stays(tmp_path: Path) -> None:
    (tmp_path / "results").mkdir()
    old, young = tmp_path / f"{PREFIX}review-1.csv", tmp_path / f"{PREFIX}review-2.csv"
    older = tmp_path / "results" / f"{PREFIX}x"
    mine = tmp_path / ".treewardens-notes.txt"
    for path in (old, young, older, mine):
        path.write_text("half", "utf-8")
    for path in (old, older, mine):
        stamp = path.stat().st_mtime - LEFT_AFTER_S - 10
        os.utime(path, (stamp, stamp))

    clear_leftovers(tmp_path)

    assert {p.name for p in tmp_path.rglob("*")} == {young.name, mine.name, "results"}


def test_whoever_gets_the_lock_finishes_what_was_cut_short(typed_hunt: Path) -> None:
    left = typed_hunt / f"{PREFIX}results-x"
    left.mkdir()
    (left / "map.kml").write_text("whole", "utf-8")
    said = {"directory": "results", "files": ["map.kml"], "stale": []}
    (left / "complete.json").write_text(json.dumps(said), "utf-8")

    with Hunt(typed_hunt).locked("locate"):
        pass

    assert (typed_hunt / "results" / "map.kml").read_text("utf-8") == "whole"
    assert not left.exists()


def test_a_new_folder_is_whole_or_not_there(tmp_path: Path) -> None:
    def cut_short() -> None:
        with new_folder(tmp_path / "hunt") as beside:
            (beside / "hunt.toml").write_text("half", "utf-8")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        cut_short()
    assert list(tmp_path.iterdir()) == []

    (tmp_path / "empty").mkdir()
    for name in ("hunt", "empty"):
        with new_folder(tmp_path / name) as beside:
            (beside / "hunt.toml").write_text("whole", "utf-8")
        assert contents(tmp_path / name) == {"hunt.toml": "whole"}
    assert len(list(tmp_path.iterdir())) == 2


def test_a_file_that_may_not_be_replaced_stays_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **_options: object) -> None:
        raise PermissionError(13, "in use")

    path = tmp_path / "review.csv"
    path.write_text("mine", "utf-8")
    monkeypatch.setattr("os.replace", refuse)
    with pytest.raises(TreewardError, match=r"review\.csv: cannot be replaced"):
        write_text(path, "other")

    assert contents(tmp_path) == {"review.csv": "mine"}


def test_a_reader_never_sees_one_copy_old_and_the_other_new(
    typed_hunt: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = Hunt(typed_hunt)
    rows = hunt.rows()
    hunt.review.write(rows, rows)
    newer = [replace(row, event=replace(row.event, heard="anew")) for row in rows]
    plain = ReviewStore.machine_rows
    written: list[int] = []

    def and_another_writes(store: ReviewStore) -> list[ReviewRow]:
        found = plain(store)
        if not written:
            written.append(1)
            hunt.review.write(newer, newer)
        return found

    monkeypatch.setattr(ReviewStore, "machine_rows", and_another_writes)
    machine, current = hunt.review.read()

    assert current is not None
    assert {row.event.heard for row in machine} == {"anew"}
    assert {row.event.heard for row in current} == {"anew"}


def test_a_demo_goes_on_only_where_it_was_cut_short(tmp_path: Path) -> None:
    source, mine = tmp_path / "example", tmp_path / "mine"
    for folder in (source, mine):
        folder.mkdir()
        (folder / "hunt.toml").write_text("[hunt]", "utf-8")

    assert is_cut_short(mine, source)
    (mine / "results").mkdir()
    assert is_cut_short(mine, source)
    (mine / "results" / "report.html").write_text("all of it", "utf-8")
    assert not is_cut_short(mine, source)
    (mine / f"{PREFIX}results-x").mkdir()
    assert is_cut_short(mine, source)
    (mine / "hunt.toml").write_text("[hunt]  # mine", "utf-8")
    assert not is_cut_short(mine, source)
