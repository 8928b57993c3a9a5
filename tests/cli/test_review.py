"""treeward review, run as a person or a script does."""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from cli.in_this_process import here

if TYPE_CHECKING:
    from pathlib import Path

ENVIRONMENT = {**os.environ, "PYTHONIOENCODING": "utf-8", "TERM": "dumb"}


def review(cwd: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "treeward", "review", *arguments],
        capture_output=True,
        cwd=cwd,
        env=ENVIRONMENT,
        encoding="utf-8",
        check=False,
        timeout=120,
        stdin=subprocess.DEVNULL,
    )


@pytest.mark.slow
def test_without_a_terminal_the_rows_are_printed(typed_hunt: Path) -> None:
    path = typed_hunt / "review.csv"
    path.write_text(path.read_text("utf-8") + "2026-07-14 10:30:00,bearing,yellow,\n")

    run = review(typed_hunt)

    assert run.returncode == 0, run.stderr
    assert "bearing (yellow)  [look]  by hand" in run.stdout
    assert "why: bearing without a value" in run.stdout
    assert run.stdout.splitlines()[-1].startswith("To look at: 1 note, of 17 notes.")
    assert run.stderr == ""


def test_nothing_to_look_at_is_said(typed_hunt: Path) -> None:
    run = here("review", cwd=typed_hunt)

    assert run.stdout.startswith("Nothing left to look at in 16 notes.")


def test_rows_come_as_json(typed_hunt: Path) -> None:
    run = here("review", "--json", "--all", cwd=typed_hunt)

    whole = json.loads(run.stdout)
    rows = whole["rows"]
    assert whole["to_look_at"] == {"notes": 0, "of": 16, "lines": 0}
    assert whole["lines_without_note"] == []
    assert len(rows) == 16
    assert rows[1]["event"] == "away"
    assert rows[1]["status"] == "added"


def test_a_fault_in_the_file_is_one_line(typed_hunt: Path) -> None:
    path = typed_hunt / "review.csv"
    path.write_text(path.read_text("utf-8").replace("away", "landing", 1))

    run = here("review", cwd=typed_hunt)

    assert run.returncode == 1
    assert "event: 'landing' is no event" in run.stderr
    assert "Traceback" not in run.stderr
    assert len(run.stderr.splitlines()) == 1


def test_options_that_do_not_go_together_are_a_usage_error(typed_hunt: Path) -> None:
    assert here("review", "--json", "--browser", cwd=typed_hunt).returncode == 2
    assert here("review", "--no-open", cwd=typed_hunt).returncode == 2


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent another way there")
def test_the_page_is_served_until_ctrl_c(typed_hunt: Path) -> None:
    command = [sys.executable, "-m", "treeward", "review", "--browser", "--no-open"]
    with subprocess.Popen(
        command,
        cwd=typed_hunt,
        env=ENVIRONMENT | {"PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        first = process.stdout.readline()
        host, _, path = first.split("http://")[1].strip().partition("/")
        connection = http.client.HTTPConnection(host, timeout=60)
        connection.request("GET", f"/{path}")
        answer = connection.getresponse()
        answer.read()
        connection.close()
        process.send_signal(signal.SIGINT)
        rest, errors = process.communicate(timeout=60)

    assert first.startswith("Review page: http://127.0.0.1:")
    assert answer.status == 303
    assert "Everything is saved in" in rest
    assert errors == ""
    assert process.returncode == 0
