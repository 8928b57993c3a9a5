"""DEVELOPERS.md names what is there: files, folders, doors and the types at them."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from pathlib import Path
from typing import Any

import pytest

import treeward

ROOT = Path(__file__).resolve().parent.parent
TEXT = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PACKAGE = Path(treeward.__file__).parent
# Files of a hunt, and what a contributor may write, are not of this tree.
NOT_OURS = {"review.csv", "hunt.toml", "result.json", "report.html", "phrasebook.toml"}


def section(heading: str) -> str:
    """Return a section with what stands below it."""
    begin = TEXT.index(f"\n{heading}\n") + len(heading) + 2
    depth = heading.count("#")
    end = re.search(rf"^#{{1,{depth}}} ", TEXT[begin:], re.MULTILINE)
    return TEXT[begin : begin + end.start()] if end else TEXT[begin:]


def rows(text: str) -> list[list[str]]:
    """Return the cells of the tables in a text, without heads."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    rules = [n for n, row in enumerate(cells) if set("".join(row)) <= set("-: ")]
    heads = {n - 1 for n in rules} | set(rules)
    return [row for n, row in enumerate(cells) if n not in heads]


def marked(text: str) -> list[str]:
    return re.findall(r"`([^`]+)`", text)


def door(name: str) -> Any:
    module, _, function = name.rpartition(".")
    return getattr(importlib.import_module(f"treeward.{module}"), function)


DOORS = rows(section("### A note's way through"))


@pytest.mark.parametrize("row", DOORS, ids=[marked(row[0])[0] for row in DOORS])
def test_each_door_takes_and_gives_the_types_named(row: list[str]) -> None:
    function = door(marked(row[0])[0])
    *taken, given = inspect.get_annotations(function).values()

    assert row[1]
    for name in marked(row[1]):
        assert any(re.search(rf"\b{name}\b", str(note)) for note in taken), name
    for name in marked(row[2])[:1]:
        assert re.search(rf"\b{name}\b", str(given)), name


def test_the_walk_goes_from_sound_to_the_report() -> None:
    rooms = [marked(row[0])[0].split(".")[0] for row in DOORS]

    assert rooms[0] == "audio"
    assert rooms[-1] == "report"
    assert {"speech", "notes", "trips", "survey"} <= set(rooms)


def test_every_room_is_in_the_table_of_rooms() -> None:
    named = {name.rstrip("/") for name in marked(section("## Rooms"))}
    rooms = {m.name for m in pkgutil.iter_modules(treeward.__path__) if m.ispkg}

    assert rooms - named == set()


def test_every_module_beside_the_rooms_is_named() -> None:
    beside = {f"{m.name}.py" for m in pkgutil.iter_modules(treeward.__path__)
              if not m.ispkg and m.name != "__main__"}  # fmt: skip

    assert beside - set(marked(section("## Rooms"))) == set()


def test_every_file_that_is_named_exists() -> None:
    paths = {
        text.split()[0]
        for text in marked(TEXT)
        if re.fullmatch(r"[\w./-]+(?:\.\w{2,4}|/)", text.split()[0])
        and not text.startswith((".treeward", "python"))
    }
    homes = [ROOT, PACKAGE, ROOT / "tests"]
    # Beside a file that is named in full, its neighbours are named alone.
    alone = {path.name for home in homes[1:] for path in home.rglob("*.*")}

    assert len(paths) > 20
    missing = {p for p in paths if not any((home / p).exists() for home in homes)}
    assert missing - alone - NOT_OURS == set()


def test_every_record_in_the_table_of_rooms_is_in_the_file_beside_it() -> None:
    for row in rows(section("## Rooms")):
        if len(row) < 4 or not marked(row[3]):
            continue
        path, *names = marked(row[3])
        source = (PACKAGE / path).read_text("utf-8")
        for name in names:
            assert f"class {name}" in source, f"{name} in {path}"
