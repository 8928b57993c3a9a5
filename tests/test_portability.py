"""Nothing on the way of a Windows or macOS user that only another system has.

What a type checker knows (functions that a system lacks) is checked by mypy with
`--platform win32` and `--platform darwin` in .ci/run. Here stands what it cannot know.
"""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from pathlib import Path, PureWindowsPath
from typing import TYPE_CHECKING

import pytest

import treeward

if TYPE_CHECKING:
    from collections.abc import Iterator

PACKAGE = Path(treeward.__file__).parent
POSIX_MODULES = {
    "curses", "fcntl", "grp", "posix", "pty", "pwd", "readline", "resource", "select",
    "syslog", "termios", "tty",
}  # fmt: skip
# Calls that behave otherwise, or fail, on another system; with what stands for them.
UNPORTABLE_CALLS = {
    "rename": "replace: rename fails on Windows where the target exists",
    "symlink_to": "a copy: links need rights on Windows",
    "symlink": "a copy: links need rights on Windows",
    "hardlink_to": "a copy: not every file system has links",
    "link": "a copy: not every file system has links",
    "fork": "subprocess or the spawn start method",
    "system": "subprocess.run with a list",
    "popen": "subprocess.run with a list",
    "kill": "a flag or a queue: SIGKILL and process groups differ",
    "killpg": "a flag or a queue",
    "tzset": "ZoneInfo",
    "setlocale": "formatting of our own",
    "getpreferredencoding": "utf-8",
}
# Only named like them: they open no text.
HARMLESS = {
    *("platform.system", "engine.open", "tarfile.open"),
    *("Image.open", "rasterio.open"),
}
UNPORTABLE_KEYWORDS = {"preexec_fn", "start_new_session", "dir_fd", "pass_fds"}
# "module: what" -> why it may stand there.
ALLOWED = {
    "files.py: rename()": "into a folder that was not there before",
    "within.py: link()": "suppressed where the disk has no such links",
    "within.py: dir_fd=": "None where the system has no descriptors of folders",
    "within.py: open() of text without encoding": "its callers name it",
    "speech/vosk_engine.py: the path /usr/share/vosk": "one of the places looked at",
}
# strftime codes that are the same everywhere (C89), written %x or {:%x}.
PORTABLE_CODES = set("aAbBdfHIjmMpSUwWyYzZ%:")


class Fault:
    """Where something stands that another system lacks."""

    def __init__(self, path: Path, node: ast.AST, what: str) -> None:
        self.where = path.relative_to(PACKAGE).as_posix()
        self.line = getattr(node, "lineno", 0)
        self.what = what

    @property
    def allowed(self) -> bool:
        return f"{self.where}: {self.what}" in ALLOWED

    def __str__(self) -> str:
        return f"{self.where}:{self.line}: {self.what}"


def trees() -> Iterator[tuple[Path, ast.Module]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        yield path, ast.parse(path.read_text("utf-8"))


def faults_of(path: Path, tree: ast.Module) -> Iterator[Fault]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            names = (
                [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else [alias.name for alias in node.names]
            )
            for name in names:
                if name.split(".")[0] in POSIX_MODULES:
                    yield Fault(path, node, f"import {name}")
        elif isinstance(node, ast.Call):
            yield from _faults_of_call(path, node)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from _faults_of_text(path, node)


def _faults_of_call(path: Path, call: ast.Call) -> Iterator[Fault]:
    name = _called(call)
    given = {keyword.arg for keyword in call.keywords if keyword.arg}
    if ast.unparse(call.func) in HARMLESS:
        return
    if name in UNPORTABLE_CALLS:
        yield Fault(path, call, f"{name}()")
    yield from (Fault(path, call, f"{k}=") for k in given & UNPORTABLE_KEYWORDS)
    if any(
        k.arg == "shell" and not _is_constant(k.value, value=False)
        for k in call.keywords
    ):
        yield Fault(path, call, "shell=")
    if name in {"open", "open_file", "open_plain"}:
        mode = _open_mode(call)
        if mode is None or "b" in mode:
            return
        if "encoding" not in given:
            yield Fault(path, call, "open() of text without encoding")
        if set(mode) & set("wax+") and "newline" not in given:
            yield Fault(path, call, "open() of text to write without newline")
    if name in {"read_text", "write_text"} and isinstance(call.func, ast.Attribute):
        positional = 1 if name == "read_text" else 2
        if len(call.args) < positional and "encoding" not in given:
            yield Fault(path, call, f"{name}() without encoding")
        if name == "write_text" and "newline" not in given:
            yield Fault(path, call, "write_text() without newline")


def _called(call: ast.Call) -> str:
    if isinstance(call.func, ast.Attribute):
        return call.func.attr
    return call.func.id if isinstance(call.func, ast.Name) else ""


def _is_constant(node: ast.AST, *, value: bool) -> bool:
    return isinstance(node, ast.Constant) and node.value is value


def _open_mode(call: ast.Call) -> str | None:
    """Return the mode of a call of open() or Path.open(); None for other opens."""
    if isinstance(call.func, ast.Attribute):
        owner = call.func.value
        if isinstance(owner, ast.Name) and owner.id in {"os", "av", "webbrowser"}:
            return None
        at = int(call.func.attr == "open_file")  # a folder's, which is told the name
    else:
        at = 1
    for keyword in call.keywords:
        if keyword.arg == "mode" and isinstance(keyword.value, ast.Constant):
            return str(keyword.value.value)
    if len(call.args) > at and isinstance(mode := call.args[at], ast.Constant):
        return str(mode.value)
    return "r"


def _faults_of_text(path: Path, node: ast.Constant) -> Iterator[Fault]:
    text = str(node.value)
    if re.match(r"/(?:tmp|dev|proc|etc|usr|var|home)(?:/|$)", text):
        yield Fault(path, node, f"the path {text}")
    codes = re.findall(r"%(-?[A-Za-z#:%])", text) if "%" in text else []
    looks_like_time = {"H", "M", "Y", "d"} & set(codes) and len(set(codes)) > 1
    if looks_like_time and (odd := set(codes) - PORTABLE_CODES):
        yield Fault(path, node, f"the time codes {sorted(odd)}")


@pytest.mark.slow
def test_the_source_uses_nothing_that_one_system_lacks() -> None:
    found = [f for path, tree in trees() for f in faults_of(path, tree)]

    assert "\n".join(str(f) for f in found if not f.allowed) == ""
    used = {f"{f.where}: {f.what}" for f in found}
    assert set(ALLOWED) - used == set(), "no longer needed"


@pytest.mark.parametrize(
    ("source", "what"),
    [
        ("import fcntl", "import fcntl"),
        ("from resource import getrusage", "import resource"),
        ("p.rename(q)", "rename()"),
        ("open(p)", "open() of text without encoding"),
        ("p.open('w', encoding='utf-8')", "open() of text to write without newline"),
        ("p.read_text()", "read_text() without encoding"),
        ("p.write_text(t, 'utf-8')", "write_text() without newline"),
        ("run(c, shell=True)", "shell="),
        ("Popen(c, preexec_fn=f)", "preexec_fn="),
        ("x = '/tmp/x'", "the path /tmp/x"),
        ("f'{now:%-d %H}'", "the time codes ['-d']"),
    ],
)
def test_the_scan_sees(source: str, what: str) -> None:
    found = list(faults_of(PACKAGE / "made_up.py", ast.parse(source)))

    assert what in [fault.what for fault in found]


@pytest.mark.parametrize(
    "source",
    ["p.open('rb')", "open(p, encoding='utf-8')", "text.replace('a', 'b')",
     "p.open('w', encoding='utf-8', newline='')", "f'{now:%Y-%m-%d %H:%M:%S}'"],
)  # fmt: skip
def test_the_scan_lets_pass(source: str) -> None:
    assert list(faults_of(PACKAGE / "made_up.py", ast.parse(source))) == []


# --- what we write -------------------------------------------------------------


def run(*arguments: str, **settings: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "treeward", *arguments],
        capture_output=True,
        text=True,
        encoding=settings.pop("encoding", "utf-8"),
        env=os.environ | settings,
        timeout=120,
        check=False,
    )


def names_below(folder: Path) -> list[PureWindowsPath]:
    return [
        PureWindowsPath(*path.relative_to(folder).parts)
        for path in sorted(folder.rglob("*"))
    ]


# Naming Files, Paths, and Namespaces (Microsoft, Windows app development).
_RESERVED = re.compile(r"(?i)(?:con|prn|aux|nul|com[1-9]|lpt[1-9])(?:\..*)?$")
_REFUSED = re.compile(r'[<>:"/\\|?*\x00-\x1f]|[. ]$')


def unfit(name: str) -> bool:
    """Tell whether Windows refuses a file of that name."""
    return bool(_RESERVED.match(name) or _REFUSED.search(name))


@pytest.mark.slow
def test_files_of_a_hunt_have_names_and_line_ends_for_every_system(
    typed_hunt: Path,
) -> None:
    assert run("locate", "--hunt", str(typed_hunt)).returncode == 0

    names = names_below(typed_hunt)
    assert "report.html" in {path.name for path in names}
    assert [str(path) for path in names if unfit(path.name)] == []
    lowered = [str(path).lower() for path in names]
    assert len(lowered) == len(set(lowered)), "two names differ by case only"
    crlf = {
        path.name: b"\r\n" in path.read_bytes()
        for path in (typed_hunt / "results").iterdir()
        if path.suffix in {".csv", ".json", ".html", ".geojson", ".gpx"}
    }
    assert crlf == {
        "trips.csv": True,  # RFC 4180
        "bees.csv": True,
        "result.json": False,
        "report.html": False,
        "map.geojson": False,
        "stations.gpx": False,
    }


@pytest.mark.parametrize("name", ["con", "AUX.txt", "a:b", "what?", "end.", "a|b"])
def test_unfit_names_are_known(name: str) -> None:
    assert unfit(name)


def test_a_clone_can_be_checked_out_on_windows() -> None:
    root = PACKAGE.parent.parent
    names = [
        path
        for top in ("src", "tests", "fixtures", "models")
        for path in names_below(root / top)
        if "__pycache__" not in path.parts
    ]

    assert [str(path) for path in names if unfit(path.name)] == []


# --- where we run --------------------------------------------------------------


@pytest.mark.slow
def test_time_zones_are_found_where_the_system_has_none(typed_hunt: Path) -> None:
    # Windows has no time zone files: the tzdata package must do.
    done = run("trips", "--json", "--hunt", str(typed_hunt), PYTHONTZPATH="")

    assert done.returncode == 0, done.stderr
    assert "+01:00" in done.stdout  # British Summer Time


@pytest.mark.parametrize(
    ("command", "code_page"),
    [
        pytest.param("trips", "cp437", marks=pytest.mark.slow),
        pytest.param("trips", "cp932", marks=pytest.mark.slow),
        ("phrases", "cp1252"),
    ],
)
def test_a_console_with_an_old_code_page_is_written_to(
    typed_hunt: Path, command: str, code_page: str
) -> None:
    done = run(
        *(command, "--hunt", str(typed_hunt)),
        PYTHONIOENCODING=code_page,
        encoding=code_page,
    )

    assert done.returncode == 0, done.stderr
    assert done.stdout


# --- files that are open -------------------------------------------------------


@pytest.mark.usefixtures("windows_rules")
def test_the_rule_that_open_files_stay_is_kept_in_tests(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    with path.open("w", encoding="utf-8", newline="\n"):
        with pytest.raises(PermissionError, match="held open"):
            path.replace(tmp_path / "b.txt")
        with pytest.raises(PermissionError, match="held open"):
            path.unlink()

    path.replace(tmp_path / "b.txt")


@pytest.mark.slow
@pytest.mark.usefixtures("windows_rules")
def test_results_and_review_are_written_twice_over_without_an_open_file(
    typed_hunt: Path,
) -> None:
    hunt = treeward.Hunt(typed_hunt)
    for _ in range(2):
        hunt.write_results(hunt.locate())
        machine, rows = hunt.review.read()
        hunt.review.write(rows or [], machine)

    assert (typed_hunt / "results" / "report.html").is_file()
    assert len(hunt.rows()) > 10
