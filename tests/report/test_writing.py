"""results/: all files or none, and nothing left lying about."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from treeward.errors import ReportError
from treeward.report.model import Missing, MissingKind
from treeward.report.writing import MANAGED, write_labels, write_results

if TYPE_CHECKING:
    from treeward.report.model import HuntResult, WrittenFiles


LACKING = Missing(kind=MissingKind.NO_POSITION, stations=("1",))


def test_everything_is_written(written: WrittenFiles) -> None:
    folder = written.report.parent

    assert {path.name for path in written.files} == set(MANAGED) - {"online-map.html"}
    assert written.report.read_text("utf-8").startswith("<!doctype html>")
    assert json.loads((folder / "result.json").read_text())["schema"] == 1
    assert (folder / "map.png").read_bytes()[:4] == b"\x89PNG"
    assert (folder / "map.pdf").read_bytes()[:4] == b"%PDF"
    assert (folder / "report.html").read_text("utf-8").count("<svg") > 4
    assert [path.name for path in folder.parent.iterdir()] == ["results"]


def test_old_pictures_go_and_strange_files_stay(
    empty: HuntResult, tmp_path: Path
) -> None:
    (tmp_path / "map.png").write_bytes(b"from last time")
    (tmp_path / "my notes.txt").write_text("keep")

    write_results(empty, tmp_path)

    names = {path.name for path in tmp_path.iterdir()}
    assert "map.png" not in names
    assert {"report.html", "result.json", "my notes.txt"} <= names


def test_a_failure_half_way_leaves_the_old_files(
    empty: HuntResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "results"
    write_results(replace(empty, missing=(LACKING,)), folder)
    (folder / "map.png").write_bytes(b"from last time")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    plain = os.replace

    def locked(name: str, target: Any, **options: Any) -> None:
        if Path(name).name == "result.json":
            raise PermissionError(13, "in use", str(target))
        plain(name, target, **options)

    monkeypatch.setattr(os, "replace", locked)
    with pytest.raises(
        ReportError, match=r"result\.json.*in use.*Close other"
    ) as caught:
        write_results(empty, folder)
    monkeypatch.undo()

    assert "\n" not in caught.value.line()
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_a_folder_that_cannot_be_made_is_named(
    empty: HuntResult, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way")

    with pytest.raises(ReportError, match="cannot be written"):
        write_results(empty, tmp_path / "file" / "results")


def test_labels_stand_beside_the_recordings(result: HuntResult, tmp_path: Path) -> None:
    (tmp_path / "memo 1.ogg").write_bytes(b"OggS")

    written = write_labels(result, tmp_path)

    assert [path.name for path in written] == [
        "memo 1.events.vtt",
        "memo 1.events.txt",
    ]
    assert written[0].read_text("utf-8").startswith("WEBVTT\n\nrow 1\n")
    assert "yellow back" in written[1].read_text("utf-8")
