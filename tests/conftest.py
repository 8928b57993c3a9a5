"""What tests of several rooms share: an invented hunt typed by hand."""

from __future__ import annotations

import functools
import os
import pickle
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from collections.abc import Iterator

# Each core has a worker of its own: threads of theirs would be too many.
for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(threads, "1")

# Else each program that a test starts would compile all modules anew, and each run all
# tests, where Python is told to keep no compiled files.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# Timings are no pass or fail. The quick round draws fewer examples than the whole.
settings.register_profile("untimed", deadline=None)
settings.register_profile("quick", deadline=None, max_examples=30)
settings.load_profile("untimed")
sys.path.insert(0, str(Path(__file__).parent))  # for `loudness`, `live.stand_in`

HUNT_TOML = """\
[hunt]
name = "Marl Hollow"
timezone = "Europe/London"

[[station]]
id = "1"
position = "52.301200, -3.610400"
cargo = "water"

[[station]]
id = "2"
position = "52.304000, -3.613000"
cargo = "water"
"""

# Invented: two bees at station 1 fly about 210 degrees and are away about 5 minutes.
NOTES = [
    ("10:00:00", "station", "", "1"),
    ("10:01:00", "away", "yellow", ""),
    ("10:01:05", "bearing", "yellow", "211"),
    ("10:02:30", "away", "blue-white", ""),
    ("10:06:10", "back", "yellow", ""),
    ("10:07:20", "away", "yellow", ""),
    ("10:07:25", "bearing", "yellow", "206"),
    ("10:08:00", "back", "blue-white", ""),
    ("10:09:05", "away", "blue-white", ""),
    ("10:09:10", "bearing", "blue-white", "214"),
    ("10:12:20", "back", "yellow", ""),
    ("10:13:40", "away", "yellow", ""),
    ("10:14:20", "back", "blue-white", ""),
    ("10:15:30", "away", "blue-white", ""),
    ("10:18:45", "back", "yellow", ""),
    ("10:21:00", "back", "blue-white", ""),
]


def pytest_configure(config: pytest.Config) -> None:
    """Draw few examples where slow tests are left out."""
    if "not slow" in config.option.markexpr:
        settings.load_profile("quick")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """Take one process where single files or tests are asked for, else all cores."""
    single = all(".py" in argument for argument in config.args)
    return 0 if single else None


_KEPT_HUNTS = 40  # solved, some MB each


@pytest.fixture(autouse=True, scope="session")
def solved_once() -> Iterator[None]:
    """Solve hunts alike in every number once for all tests: nothing costs as much.

    What `survey.locate` said is said again where all that it is told is the same;
    `answer.locate`, as tests of the survey itself may call it, still looks at what was
    searched, advises and draws areas each time.
    """
    from treeward import survey
    from treeward.survey import answer, case

    real_prepare, real_solve = case.prepare, answer.solve_hunt
    said: dict[bytes, survey.Fix] = {}
    prepared: dict[bytes, Any] = {}
    solved: dict[int, Any] = {}

    def prepare(*parts: Any) -> Any:
        key = pickle.dumps(parts)
        if key not in prepared:
            while len(prepared) >= _KEPT_HUNTS:
                solved.pop(id(prepared.pop(next(iter(prepared)))), None)
            prepared[key] = real_prepare(*parts)
        return prepared[key]

    def solve_hunt(hunt: Any, names: tuple[str, ...]) -> Any:
        if id(hunt) not in solved:
            answer_of = real_solve(hunt, names)
            if not any(hunt is one for one in prepared.values()):
                return answer_of
            solved[id(hunt)] = answer_of
        return solved[id(hunt)]

    @functools.wraps(answer.locate)
    def locate(*told: Any, **named: Any) -> survey.Fix:
        key = pickle.dumps((told, sorted(named.items())))
        if key not in said:
            while len(said) >= _KEPT_HUNTS:
                said.pop(next(iter(said)))
            said[key] = answer.locate(*told, **named)
        return said[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(survey, "locate", locate)
        patch.setattr(answer, "prepare", prepare)
        patch.setattr(answer, "solve_hunt", solve_hunt)
        yield


@pytest.fixture
def typed_hunt(tmp_path: Path) -> Path:
    """Give a hunt folder with hunt.toml and a review.csv typed by hand."""
    folder = tmp_path / "hunt"
    folder.mkdir()
    (folder / "hunt.toml").write_text(HUNT_TOML, "utf-8")
    lines = ["clock,event,mark,value"]
    lines += [
        f"2026-07-14 {time},{kind},{mark},{value}" for time, kind, mark, value in NOTES
    ]
    (folder / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return folder


def refuse_if_open(*paths: str | os.PathLike[str]) -> None:
    """Raise what Windows raises where a file that we hold open is moved or removed."""
    wanted = [os.path.realpath(path) for path in paths]
    for descriptor in Path("/proc/self/fd").iterdir():
        try:
            held = str(descriptor.readlink())
        except OSError:
            continue  # closed meanwhile
        if any(held == path or held.startswith(f"{path}/") for path in wanted):
            raise PermissionError(13, "held open by this very process", held)


@pytest.fixture(autouse=os.environ.get("TREEWARD_WINDOWS_RULES") == "1")
def windows_rules(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let files that are open be neither moved nor removed, as on Windows (on Linux).

    Every test keeps to it when TREEWARD_WINDOWS_RULES=1.
    """

    monkeypatch.setattr("treeward.within.BY_DESCRIPTOR", False)

    def guarded(name: str, count: int) -> None:
        plain = getattr(os, name)

        def refusing(*args: Any, **options: Any) -> Any:
            if options.get("dir_fd") is None:
                refuse_if_open(*args[:count])
            return plain(*args, **options)

        monkeypatch.setattr(os, name, refusing)

    for name, count in (
        ("replace", 2), ("rename", 2), ("unlink", 1), ("remove", 1), ("rmdir", 1)
    ):  # fmt: skip
        guarded(name, count)


_skipped: list[str] = []
_passed: dict[str, bool] = {}


def _passed_file() -> Path | None:
    """Return where tests that passed are written: those are not run again."""
    named = os.environ.get("TREEWARD_PASSED_TESTS")
    return Path(named) if named else None


def pytest_collection_modifyitems(
    config: pytest.Config, items: list[pytest.Item]
) -> None:
    """Leave out what passed in an earlier run, where TREEWARD_PASSED_TESTS names it."""
    file = _passed_file()
    if file is None or not file.exists():
        return
    before = set(file.read_text("utf-8").splitlines())
    config.hook.pytest_deselected(items=[i for i in items if i.nodeid in before])
    items[:] = [item for item in items if item.nodeid not in before]


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Remember what was skipped and what passed."""
    if report.skipped and not hasattr(report, "wasxfail"):
        _skipped.append(report.nodeid)
    _passed[report.nodeid] = report.passed and _passed.get(report.nodeid, True)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    """Remember a whole file that was skipped."""
    if report.skipped:
        _skipped.append(report.nodeid)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail where TREEWARD_REQUIRE_ALL_TESTS says that nothing may be skipped.

    And write what passed into the file that TREEWARD_PASSED_TESTS names.
    """
    if hasattr(session.config, "workerinput"):
        return  # the process that gave this worker its tests sees to both
    if os.environ.get("TREEWARD_REQUIRE_ALL_TESTS") == "1" and _skipped:
        print("\nskipped, though no test may be: ", *_skipped, sep="\n  ")  # noqa: T201
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
    if file := _passed_file():
        with file.open("a", encoding="utf-8") as lines:
            lines.writelines(f"{test}\n" for test, passed in _passed.items() if passed)
