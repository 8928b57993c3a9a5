"""The rooms import one another in one direction only (DEVELOPERS.md, "Rooms")."""

from __future__ import annotations

import ast
import subprocess
import sys
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import treeward

PACKAGE = Path(treeward.__file__).parent
# A module imports what stands before it here, or in its room. DEVELOPERS.md draws it.
BESIDE = (
    "errors",
    "measures",
    "within",
    "files",
    "hunt_tables",
    "hunt_file",
)
ROOMS = (
    "language",
    "audio",
    "speech",
    "notes",
    "review",
    "trips",
    "survey",
    "simulate",
    "report",
    "hunt",
    "live",
    "practice",
    "desk",
    "cli",
)
ORDER = BESIDE + ROOMS
ALONE = {"survey": {"survey"}}  # works from a notebook without the rest
UNKNOWN_TO = {"simulate": {"survey"}}  # a world that must not hang on the model


def name_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts).removesuffix(".__init__") if len(parts) > 1 else parts[0]


@cache
def imports() -> dict[str, set[str]]:
    """Return the modules each module imports, also within functions and for types."""
    paths = {name_of(p): p for p in modules()}
    return {name: _imports(name, path, set(paths)) for name, path in paths.items()}


def _imports(name: str, path: Path, known: set[str]) -> set[str]:
    package = name.split(".") if path.name == "__init__.py" else name.split(".")[:-1]
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if not isinstance(node, ast.ImportFrom):
            continue
        if node.level:
            base = package[: len(package) - node.level + 1]
            base += node.module.split(".") if node.module else []
        elif node.module and node.module.split(".")[0] == "treeward":
            base = node.module.split(".")[1:]
        else:
            continue
        for alias in node.names:
            whole = ".".join([*base, alias.name])
            found.add(whole if whole in known else ".".join(base))
    return found - {"", name}


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def room_of(module: str) -> str:
    return module.split(".", 1)[0]


def test_every_room_has_its_place_in_the_order() -> None:
    there = {room_of(name_of(p)) for p in modules()} - {"__main__", "__init__", ""}

    assert there == set(ORDER)


@pytest.mark.parametrize("room", ORDER)
def test_a_room_imports_only_what_lies_before_it(room: str) -> None:
    allowed = ALONE.get(room, set(ORDER[: ORDER.index(room) + 1]))
    allowed -= UNKNOWN_TO.get(room, set())
    wrong = {
        module: sorted(extra)
        for module, imported in imports().items()
        if room_of(module) == room
        and (extra := {room_of(m) for m in imported} - allowed)
    }

    assert wrong == {}


def test_no_modules_import_one_another_in_a_circle() -> None:
    order = TopologicalSorter(imports())

    order.prepare()  # raises CycleError, which names them

    assert order.is_active()


def test_only_the_program_itself_imports_the_command_line() -> None:
    importers = {
        module
        for module, imported in imports().items()
        if any(room_of(m) == "cli" for m in imported) and room_of(module) != "cli"
    }

    assert importers == {"__main__"}


def test_no_module_has_a_name_that_says_nothing() -> None:
    empty_names = {"utils", "util", "helpers", "helper", "common", "misc"}

    assert [p for p in modules() if p.stem in empty_names] == []


def test_no_module_is_longer_than_six_hundred_lines() -> None:
    long = {
        str(path.relative_to(PACKAGE)): count
        for path in modules()
        if (count := len(path.read_text("utf-8").splitlines())) > 600
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
