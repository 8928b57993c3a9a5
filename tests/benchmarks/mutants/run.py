"""Which small faults do a room's quick tests notice?

    PYTHONPATH=tests python -m benchmarks.mutants.run ROOM [--sample N] [--seed N]
        [--into FILE] [--only KEY-PART] [--watched FILE]
    PYTHONPATH=tests python -m benchmarks.mutants.run --table FILE...

A sample of all single faults (`mutations.py`) that can be put into the modules of a
room is drawn; for each, quick tests of the room run until the first fails: those that
run the changed line, those that call its function (or, for a fault outside of
functions, the module), then the rest of their files, each lot's quickest first, as far
as 6 s of CPU go. So what survives may yet be noticed by a slower test. A fault in a
function that no test calls counts as surviving, one that no test ends in time with as
killed. They are taken in the order drawn, those outside of functions last. Which tests
run which lines is kept in the file `--watched`, for further samples of the same tests.
What nobody can tell from the right code is listed by hand in equivalent.txt, one
`key  # why` a line. Programs that tests start run without the fault. Needs a POSIX
system (fork).
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import json
import math
import os
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from importlib.abc import MetaPathFinder
from importlib.machinery import SourceFileLoader
from importlib.util import spec_from_file_location
from itertools import accumulate
from pathlib import Path
from types import CodeType, FunctionType
from typing import TYPE_CHECKING, Any

import pytest

from benchmarks.mutants.mutations import Mutant, mutants_of, mutated

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from contextlib import AbstractContextManager
    from types import FrameType

ROOT = Path(__file__).resolve().parents[3]
SOURCE = ROOT / "src" / "treeward"
EQUIVALENT = Path(__file__).with_name("equivalent.txt")
RESULTS = Path(__file__).with_name("RESULTS.md")
TESTS = {  # others: tests/ROOM
    "hunt": [
        "tests/hunt",
        "tests/test_hunt_file.py",
        "tests/audio/test_recorder.py",  # joins pieces
        "tests/live/test_recovered.py",
    ],
    "survey": ["tests/survey", "tests/published"],
}
QUICK = ["-n0", "-q", "-s", "-p", "no:cacheprovider", "-m", "not slow and not model"]
_LONGEST_KEY = 160  # characters shown of a mutant
ELSEWHERE = 99  # exit code: the fault must be in before the import
CPU_S = 40  # of one mutant, then it counts as noticed: it never ends
BUDGET_S = 6.0  # of tests (CPU, without the fault) for one mutant, the quickest first
MEMORY_B = 4 * 2**30  # of one mutant
WARM = ["numpy", "scipy.special", "scipy.stats", "shapely", "pyproj", "pydantic", "PIL"]


@dataclass(frozen=True, slots=True)
class _Seen:
    """What a test did without any fault."""

    cpu_s: float
    # Called: file and first line; and run: file and line, as a negative number.
    functions: frozenset[tuple[str, int]]


Tracer = Callable[["FrameType", str, object], Any]
Calls = dict[str, _Seen]  # by test


def _chosen(
    tests: Sequence[str], first: set[str], line: tuple[str, int], calls: Calls
) -> list[str]:
    """Put the tests in the order to run, as far as the budget goes."""
    ordered = sorted(
        tests,
        key=lambda t: (line not in calls[t].functions, t not in first, calls[t].cpu_s),
    )
    spent_s = accumulate(calls[t].cpu_s for t in ordered)
    number = sum(s <= BUDGET_S for s in spent_s)
    return ordered[: max(1, number)]


class _Session:
    """Collects the tests once, then runs them in forks, a fault in each.

    A fault within a function is put into the function that stands there already.
    """

    def __init__(
        self, room: str, mutants: Sequence[Mutant], kept: Path | None = None
    ) -> None:
        self.kept = kept
        self.folder = f"{SOURCE / room}{os.sep}"
        self.mutants = mutants
        self.ends: dict[str, str] = {}
        self.calls: Calls = {}

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self.calls = self._watched(session)
        for mutant in self.mutants:
            called = (str(mutant.path), mutant.function_line)
            first = {t for t, seen in self.calls.items() if called in seen.functions}
            files = {test.partition("::")[0] for test in first}
            tests = [t for t in self.calls if t.partition("::")[0] in files]
            by_name = {item.nodeid: item for item in session.items}
            line = (str(mutant.path), -mutant.line)
            items = [by_name[t] for t in _chosen(tests, first, line, self.calls)]
            end = "uncalled"
            if first:

                def wrong(
                    mutant: Mutant = mutant,
                    items: Sequence[pytest.Item] = items,
                ) -> int:
                    try:
                        _put_in(mutant)
                    except ValueError:  # a fault that takes away a free variable
                        return ELSEWHERE
                    _be_silent()
                    return _failed(session, items)

                status = _in_child(wrong, cpu_s=CPU_S)
                if os.waitstatus_to_exitcode(status) == ELSEWHERE:
                    continue
                end = "killed" if status else "survived"
            self.ends[mutant.key] = end
            print(f"{end:9} {mutant.line:4} {mutant.key}", flush=True)
        return True

    def _watched(self, session: pytest.Session) -> Calls:
        """Run the tests once as they are; those that fail so are left out."""
        with tempfile.TemporaryDirectory() as folder:
            told = self.kept or Path(folder) / "calls.json"

            def right() -> int:
                seen: dict[str, tuple[float, list[tuple[str, int]]]] = {}
                _failed(session, session.items, self._watching(session, seen))
                told.write_text(json.dumps(seen))
                return 0

            if not told.exists() and _in_child(right, cpu_s=1200):
                sys.exit("the tests do not end: see above")
            read: dict[str, Any] = json.loads(told.read_text())
        return {
            test: _Seen(cpu_s, frozenset((path, line) for path, line in functions))
            for test, (cpu_s, functions) in read.items()
        }

    def _watching(
        self,
        session: pytest.Session,
        seen: dict[str, tuple[float, list[tuple[str, int]]]],
    ) -> Callable[[pytest.Item], AbstractContextManager[None]]:
        @contextlib.contextmanager
        def watched(item: pytest.Item) -> Iterator[None]:
            called: set[tuple[str, int]] = set()

            def line(frame: FrameType, event: str, _what: object) -> Tracer:
                if event == "line":
                    called.add((frame.f_code.co_filename, -frame.f_lineno))
                return line

            def trace(frame: FrameType, _event: str, _what: object) -> Tracer | None:
                code = frame.f_code
                if not code.co_filename.startswith(self.folder):
                    return None
                called.add((code.co_filename, code.co_firstlineno))
                return line

            begun_s = time.process_time()
            sys.settrace(trace)
            yield
            sys.settrace(None)
            spent_s = time.process_time() - begun_s
            if session.testsfailed:
                print(f"fails as it is, so left out: {item.nodeid}", flush=True)
                session.testsfailed = 0
            else:
                seen[item.nodeid] = (round(spent_s, 3), sorted(called))

        return watched


def _failed(
    session: pytest.Session,
    items: Sequence[pytest.Item],
    around: Callable[[pytest.Item], AbstractContextManager[None]] = (
        lambda _: contextlib.nullcontext()
    ),
) -> int:
    """Run tests until the first that fails; 1 if one does."""
    for item, following in zip(items, [*items[1:], None], strict=True):
        with around(item):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        if session.testsfailed:
            return 1
    return 0


def _put_in(mutant: Mutant) -> None:
    """Give the functions that are there the code with the fault."""
    module = compile(mutated(mutant), str(mutant.path), "exec")
    new = {(c.co_qualname, c.co_firstlineno): c for c in _codes(module)}
    done = 0
    for function in [f for f in gc.get_objects() if isinstance(f, FunctionType)]:
        old = function.__code__
        if old.co_filename == str(mutant.path):
            function.__code__ = new[(old.co_qualname, old.co_firstlineno)]
            done += 1
    assert done, mutant.key


def _codes(code: CodeType) -> Iterator[CodeType]:
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield inner
            yield from _codes(inner)


def _be_silent() -> None:
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.dup2(silent, 2)


class _Faulty(MetaPathFinder):
    """Imports one module with its fault."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant

    def find_spec(self, name: str, *_: object) -> Any:
        if name != self.mutant.module:
            return None
        mutant = self.mutant

        class Loader(SourceFileLoader):
            def get_code(self, fullname: str) -> CodeType:
                assert fullname == mutant.module
                return compile(mutated(mutant), str(mutant.path), "exec")

        return spec_from_file_location(
            name, mutant.path, loader=Loader(name, str(mutant.path))
        )


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the mutants of a room, or make the table."""
    parser = argparse.ArgumentParser(description="Which faults do the tests notice?")
    parser.add_argument("room", nargs="?")
    parser.add_argument("--sample", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--into", type=Path)
    parser.add_argument("--tests", default="", help="which tests these are, in a word")
    parser.add_argument("--only", default="", help="of the sample, those with this key")
    parser.add_argument("--watched", type=Path, help="what tests run which lines")
    parser.add_argument("--table", type=Path, nargs="+")
    asked = parser.parse_args(arguments)
    os.chdir(ROOT)
    if asked.table:
        RESULTS.write_text(_table([json.loads(p.read_text()) for p in asked.table]))
        return
    found = _run_room(asked.room, asked.sample, asked.seed, asked.only, asked.watched)
    found["tests"] = asked.tests
    if asked.into:
        asked.into.write_text(json.dumps(found, indent=1, ensure_ascii=False))


def _run_room(
    room: str, size: int, seed: int, only: str, kept: Path | None
) -> dict[str, Any]:
    every = [
        mutant
        for path in sorted((SOURCE / room).rglob("*.py"))
        for mutant in mutants_of(
            path, ".".join(path.relative_to(ROOT / "src").with_suffix("").parts)
        )
        if path.name != "__init__.py"
    ]
    drawn = random.Random(seed).sample(every, min(size, len(every)))  # noqa: S311
    wanted = [m for m in drawn if only in m.key]
    for name in WARM:
        __import__(name)
    paths = TESTS.get(room, [f"tests/{room}"])
    with tempfile.TemporaryDirectory() as folder:
        told = Path(folder) / "ends.json"
        temporary = f"--basetemp={folder}/tests"

        def inside() -> int:
            session = _Session(room, [m for m in wanted if m.function], kept)
            pytest.main([*QUICK, temporary, *paths], plugins=[session])
            calls = {
                test: (seen.cpu_s, sorted({path for path, _ in seen.functions}))
                for test, seen in session.calls.items()
            }
            told.write_text(json.dumps([session.ends, calls]))
            return 0

        _in_child(inside, cpu_s=7200)
        ends, read = json.loads(told.read_text())
        calls = {
            test: _Seen(cpu_s, frozenset((path, 0) for path in files))
            for test, (cpu_s, files) in read.items()
        }
        for mutant in wanted:
            if mutant.key in ends:
                continue

            file = (str(mutant.path), 0)
            first = {t for t, seen in calls.items() if file in seen.functions}
            tests = _chosen(list(calls), first, file, calls)

            def outside(mutant: Mutant = mutant, tests: list[str] = tests) -> int:
                sys.meta_path.insert(0, _Faulty(mutant))
                _be_silent()
                return int(pytest.main(["-x", *QUICK, temporary, *tests]))

            end = "killed" if _in_child(outside, cpu_s=CPU_S) else "survived"
            ends[mutant.key] = end
            print(f"{end:9} {mutant.line:4} {mutant.key}", flush=True)
    rows = [{"key": m.key, "line": m.line, "end": ends[m.key]} for m in wanted]
    return {"room": room, "of": len(every), "seed": seed, "mutants": rows}


def _in_child(what: Callable[[], int], *, cpu_s: int) -> int:
    """Run in a process of its own; not 0 if it fails, hangs or dies."""
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        signal.alarm(4 * cpu_s)  # by the clock: it may also wait for ever
        resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_B, MEMORY_B))
        ended = 1
        try:
            ended = what()
        except BaseException:  # noqa: BLE001  (nothing may run on in the fork)
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            os._exit(ended)
    _, status = os.waitpid(child, 0)
    with contextlib.suppress(ProcessLookupError):  # it left nobody behind
        os.killpg(child, signal.SIGKILL)
    return status


def equivalents() -> dict[str, str]:
    """Read which mutants nobody can tell from the right code, and why."""
    lines = EQUIVALENT.read_text("utf-8").splitlines()
    pairs = (line.partition("  # ") for line in lines if line and line[0] != "#")
    return {key: why for key, _, why in pairs}


def _told(mutant: dict[str, Any]) -> str:
    key = " ".join(mutant["key"].split())
    short = key if len(key) <= _LONGEST_KEY else f"{key[:_LONGEST_KEY]} ..."
    return f"- {mutant['end']}: `{short}`"


def _table(runs: list[dict[str, Any]]) -> str:
    same = equivalents()
    lines = [
        "# Mutants",
        "",
        "Written by `python -m benchmarks.mutants.run --table FILE...`; run.py says",
        "how it is counted. Equivalent ones, judged by eye (equivalent.txt), count",
        "neither as drawn nor as surviving. The standard error is the binomial one.",
        "Each run drew anew: tests were written for what survived the runs above it,",
        "never its own. The runs of survey and hunt but the last chose the tests by",
        "function, not by line, and so missed some that would have noticed.",
        "",
        (
            "| room | tests | seed | possible | drawn | equivalent | survived "
            "| uncalled | share |"
        ),
        "|---|---|---|---|---|---|---|---|---|",
    ]
    left: dict[str, list[str]] = {}  # of each room's last run
    for run in runs:
        silent = [m for m in run["mutants"] if m["end"] != "killed"]
        alive = [m for m in silent if m["key"] not in same]
        n = len(run["mutants"]) - (len(silent) - len(alive))
        share = len(alive) / n
        error = math.sqrt(share * (1 - share) / n)
        uncalled = sum(m["end"] == "uncalled" for m in alive)
        lines.append(
            f"| {run['room']} | {run['tests']} | {run['seed']} | {run['of']} | {n} "
            f"| {len(silent) - len(alive)} | {len(alive)} | {uncalled} "
            f"| {share:.0%} ± {error:.0%} |"
        )
        left[run["room"]] = [_told(m) for m in alive]
    told = [
        line for room, own in left.items() for line in ("", f"**{room}**", "", *own)
    ]
    return "\n".join([*lines, "", "## What survived the last run", *told]) + "\n"


if __name__ == "__main__":
    main()
