"""The wheel runs on every system, and holds all that the program reads."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "src" / "treeward"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel with the declared build backend."""
    folder = tmp_path_factory.mktemp("wheel")
    code = "import sys, hatchling.build as b; print(b.build_wheel(sys.argv[1]))"
    subprocess.run(
        [sys.executable, "-c", code, str(folder)],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    (built,) = folder.glob("*.whl")
    return built


def names_in(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


@pytest.mark.slow
def test_the_wheel_is_for_every_system(wheel: Path) -> None:
    assert wheel.name.endswith("-py3-none-any.whl")
    compiled = (".so", ".pyd", ".dll", ".dylib", ".pyc")
    assert [name for name in names_in(wheel) if name.endswith(compiled)] == []


def test_every_file_of_the_package_is_in_the_wheel(wheel: Path) -> None:
    wanted = {
        f"treeward/{path.relative_to(PACKAGE).as_posix()}"
        for path in PACKAGE.rglob("*")
        if path.is_file() and path.suffix != ".pyc"
    }
    wanted |= {
        f"treeward/_example_hunt/{path.relative_to(folder).as_posix()}"
        for folder in [ROOT / "fixtures" / "example_hunt"]
        for path in folder.rglob("*")
        if path.is_file()
    }
    wanted.add("treeward/_models/phrasebook.toml")

    assert {Path(name).suffix for name in wanted} > {
        ".py",
        ".js",
        ".css",
        ".j2",
        ".ogg",
    }
    assert wanted - names_in(wheel) == set()


def test_nothing_else_is_in_the_wheel(wheel: Path) -> None:
    heads = {name.split("/")[0] for name in names_in(wheel)}

    assert {head.split("-")[0] for head in heads} == {"treeward"}
    assert [n for n in names_in(wheel) if "/test" in n or "benchmark" in n] == []


@pytest.mark.slow
def test_the_wheel_finds_its_own_files(wheel: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(tmp_path)
    code = (
        "import treeward.files as r\n"
        "from treeward.language.phrasebook import PhraseBook\n"
        "print(r.phrasebook_path(), r.example_hunt_dir(), sep='\\n')\n"
        "assert PhraseBook.load().fixed_phrases()\n"
        "assert any((r.example_hunt_dir() / 'recordings').iterdir())\n"
    )

    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )

    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert all(Path(line).is_relative_to(tmp_path) for line in lines), lines


def test_the_program_is_declared(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        (entries,) = (n for n in archive.namelist() if n.endswith("entry_points.txt"))
        text = archive.read(entries).decode()

    assert "treeward = treeward.__main__:run" in text
