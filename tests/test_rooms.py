"""The rooms import one another in one direction only (DEVELOPERS.md, "Rooms")."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import treeward

PACKAGE = Path(treeward.__file__).parent
# Room -> the rooms it may import. Modules that stand beside the rooms follow.
MAY_IMPORT = {
    "audio": set[str](),
    "speech": {"audio"},
    "notes": {"speech", "audio"},
    "trips": {"notes", "speech", "audio"},
    "survey": set[str](),
    "report": {"trips", "survey", "notes", "speech", "audio"},
    "live": {"trips", "survey", "notes", "speech", "audio"},
    "desk": {"trips", "survey", "notes", "speech", "audio", "report"},
    "simulate": {"notes", "speech", "audio"},
}
# What any room but survey may use; none of these imports a room.
BESIDE = {
    "cautions",
    "errors",
    "resources",
    "positions",
    "hunt_file",
    "hunt_tables",
    "tracks",
    "atomic",
    "within",
    "whole_file",
}
LIGHT = {
    "errors",
    "positions",
    "hunt_file",
    "hunt_tables",
    "hunt_template",
    "resources",
    "atomic",
    "whole_file",
    "within",
}


def imported(path: Path) -> set[str]:
    """Return the first name under `treeward.` of every import in a module."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            head, _, rest = node.module.partition(".")
            if head == "treeward":
                names |= {rest.split(".")[0]} if rest else {a.name for a in node.names}
        elif isinstance(node, ast.Import):
            for alias in node.names:
                parts = alias.name.split(".")
                if parts[0] == "treeward" and len(parts) > 1:
                    names.add(parts[1])
    return names - {"__version__"}


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_a_room_imports_only_what_lies_before_it(room: str) -> None:
    allowed = MAY_IMPORT[room] | {room} | (set() if room == "survey" else BESIDE)
    wrong = {
        str(path.relative_to(PACKAGE)): sorted(extra)
        for path in sorted((PACKAGE / room).rglob("*.py"))
        if (extra := imported(path) - allowed)
    }

    assert wrong == {}


def test_what_stands_beside_the_rooms_imports_no_room() -> None:
    wrong = {
        path.name: sorted(extra)
        for path in sorted(PACKAGE.glob("*.py"))
        if path.stem in LIGHT and (extra := imported(path) - LIGHT)
    }

    assert wrong == {}


def test_only_the_program_itself_imports_the_command_line() -> None:
    importers = {
        str(path.relative_to(PACKAGE))
        for path in modules()
        if "cli" in imported(path) and path.parent.name != "cli"
    }

    assert importers == {"__main__.py"}


def test_a_hunt_as_a_whole_stands_on_the_rooms_and_not_the_other_way() -> None:
    of_hunts = {p.stem for p in PACKAGE.glob("*.py")} - BESIDE - {"__init__"}
    rooms = [p for room in MAY_IMPORT for p in sorted((PACKAGE / room).rglob("*.py"))]

    assert "hunt" in of_hunts
    assert [str(p) for p in rooms if imported(p) & of_hunts] == []


def test_no_module_has_a_name_that_says_nothing() -> None:
    empty_names = {"utils", "util", "helpers", "helper", "common", "misc"}

    assert [p for p in modules() if p.stem in empty_names] == []


def test_no_module_is_longer_than_four_hundred_lines() -> None:
    long = {
        str(path.relative_to(PACKAGE)): count
        for path in modules()
        if (count := len(path.read_text("utf-8").splitlines())) > 400
    }

    assert long == {}


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys, treeward.cli\n"
        "try: treeward.cli.main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'matplotlib', 'pyproj', 'onnxruntime',"
        " 'vosk', 'dateparser', 'pydantic'} & set(sys.modules)\n"
        "print('heavy:', sorted(heavy))\n"
    )

    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )

    assert run.stdout.splitlines()[-1] == "heavy: []"
