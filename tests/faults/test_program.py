"""The program on faulty files, when it is stopped, and when the fault is our own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from treeward import __main__ as program
from treeward import cli
from treeward.errors import TreewardError
from treeward.hunt.hunt import Hunt

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(autouse=True)
def ctrl_c_is_heeded() -> Iterator[None]:
    """Heed Ctrl-C as in a terminal: a shell lets its background jobs ignore it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def test_a_fault_of_our_own_is_one_line_and_kept_for_a_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        msg = "odd\x1b[2J\nthing"
        raise ZeroDivisionError(msg)

    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(cli.group, "main", broken)
    with pytest.raises(SystemExit) as ended:
        cli.main(["trips"])

    said = capsys.readouterr().err
    (kept,) = tmp_path.glob("treeward-fault-*.txt")
    assert ended.value.code == 1
    assert said.count("\n") == 1
    assert "Traceback" not in said
    assert "\x1b" not in said
    assert str(kept) in said
    assert "ZeroDivisionError" in kept.read_text("utf-8")


def test_what_a_file_says_cannot_steer_the_terminal_or_fill_it() -> None:
    line = TreewardError(
        f"'\x1b]0;x\x07\u202e{'y' * 5000}' is no event",
        where="a.csv row 2",
        mend="Mend",
    ).line()

    assert line.isprintable()
    assert line.startswith("a.csv row 2: '\\x1b]0;x\\x07\\u202eyyy")
    assert line.endswith("is no event. Mend")
    assert len(line) < 400


def test_ctrl_c_while_it_starts_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped() -> None:
        raise KeyboardInterrupt

    before = signal.getsignal(signal.SIGINT)
    monkeypatch.setattr(cli, "main", stopped)
    try:
        with pytest.raises(SystemExit) as ended:
            program.run()
    finally:
        signal.signal(signal.SIGINT, before)

    assert ended.value.code == 1
    assert capsys.readouterr().err == "Stopped.\n"


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="Windows has no signals to send")
def test_ctrl_c_at_work_is_one_line_and_lets_the_lock_go(typed_hunt: Path) -> None:
    code = (
        "import time; from treeward.hunt.hunt import Hunt; from treeward import cli\n"
        "from treeward.__main__ import run\n"
        "def main():\n"
        "  with Hunt('.').locked('transcribe'):\n"
        "    print('ready', flush=True); time.sleep(60)\n"
        "cli.main = main; run()"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=typed_hunt,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "ready\n"
    with pytest.raises(TreewardError) as refused, Hunt(typed_hunt).locked():
        pass
    child.send_signal(signal.SIGINT)
    _, said = child.communicate(timeout=20)

    assert child.returncode == 1
    assert said == "Stopped.\n"
    assert "(treeward transcribe, since " in refused.value.line()
    with Hunt(typed_hunt).locked():
        pass


@pytest.mark.slow
def test_a_killed_command_leaves_no_lock_and_no_name_behind(typed_hunt: Path) -> None:
    code = (
        "import os; from treeward.hunt.hunt import Hunt\n"
        "with Hunt('.').locked('transcribe'): os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", code], cwd=typed_hunt, check=False)

    began = time.monotonic()
    with Hunt(typed_hunt).locked("locate", wait_s=20):
        took_s = time.monotonic() - began
        with pytest.raises(TreewardError, match="treeward locate, since"):
            Hunt(typed_hunt).locked().__enter__()

    assert took_s < 20
    assert not list((typed_hunt / ".treeward").glob("at_work*"))


@pytest.mark.slow
def test_a_second_command_waits_where_it_may(typed_hunt: Path) -> None:
    code = (
        "import time; from treeward.hunt.hunt import Hunt\n"
        "with Hunt('.').locked('review'): print('ready', flush=True); "
        "time.sleep(0.5); open('done', 'w').close()"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", code], cwd=typed_hunt, stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "ready\n"
    with Hunt(typed_hunt).locked("locate", wait_s=20):
        assert (typed_hunt / "done").exists()
    child.communicate(timeout=20)

    assert child.returncode == 0


def test_the_second_of_two_commands_is_told_which_is_at_work(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recordings = typed_hunt / "recordings"
    recordings.mkdir()
    (recordings / "2026-07-14_1200.txt").write_text("[0:01] yellow away\n", "utf-8")
    before = (typed_hunt / "review.csv").read_bytes()
    with Hunt(typed_hunt).locked("locate"), pytest.raises(SystemExit) as ended:
        cli.main(["transcribe", "--hunt", str(typed_hunt)])
    said = capsys.readouterr().err

    assert ended.value.code == 1
    assert said.count("\n") == 1
    assert "at work on this hunt (treeward locate, since " in said
    assert "Wait until it has ended" in said
    assert (typed_hunt / "review.csv").read_bytes() == before

    with pytest.raises(SystemExit) as ended:
        cli.main(["transcribe", "--hunt", str(typed_hunt)])
    assert ended.value.code == 0


def test_ctrl_c_that_a_library_swallows_is_raised_again(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Dropped:
        def __del__(self) -> None:
            raise KeyboardInterrupt

    def swallows() -> None:
        dropped = Dropped()
        del dropped  # Python tells of it, and goes on
        for _ in range(500):
            time.sleep(0.01)

    before = signal.getsignal(signal.SIGINT), sys.unraisablehook
    monkeypatch.setattr(cli, "main", swallows)
    began = time.monotonic()
    try:
        with pytest.raises(SystemExit) as ended:
            program.run()
    finally:
        signal.signal(signal.SIGINT, before[0])

    assert ended.value.code == 1
    assert capsys.readouterr().err == "Stopped.\n"
    assert time.monotonic() - began < 4
    assert sys.unraisablehook is before[1]


def test_ctrl_c_that_a_library_makes_an_error_of_is_no_fault(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def draws(**_: object) -> None:
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt:
            raise ValueError("Invalid bounding box") from None

    usual = signal.getsignal(signal.SIGINT)
    monkeypatch.setattr(cli.group, "main", draws)
    with pytest.raises(SystemExit) as ended:
        cli.main([])

    assert ended.value.code == 1
    assert capsys.readouterr().err == "Stopped. What was finished is kept.\n"
    assert signal.getsignal(signal.SIGINT) is usual


def test_an_error_without_ctrl_c_is_a_fault(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    def fails(**_: object) -> None:
        raise ValueError("Invalid bounding box")

    monkeypatch.setattr(cli.group, "main", fails)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    with pytest.raises(SystemExit) as ended:
        cli.main([])

    assert ended.value.code == 1
    assert "a fault of Treeward's own" in capsys.readouterr().err


def test_little_is_imported_before_ctrl_c_is_answered() -> None:
    code = "import sys, treeward.__main__; print('typing' in sys.modules)"
    run = subprocess.run(
        [
            sys.executable,
            "-S",
            "-c",
            f"import sys; sys.path[:0] = {sys.path!r}; {code}",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout == "False\n"
