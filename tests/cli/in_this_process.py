"""Commands without a process of their own, for tests of what they say."""

from __future__ import annotations

import contextlib
import io
import subprocess
from typing import TYPE_CHECKING

import pytest

from treeward.cli import main

if TYPE_CHECKING:
    from pathlib import Path


def here(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run a command in this process: what it says is the same, and starting is slow."""
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", newline="") for _ in range(2))
    with (
        contextlib.chdir(cwd),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        pytest.raises(SystemExit) as ended,
    ):
        main(arguments)
    said = []
    for stream in (out, err):
        stream.seek(0)
        said.append(stream.read())
    code = ended.value.code
    assert isinstance(code, int)
    return subprocess.CompletedProcess(arguments, code, *said)
