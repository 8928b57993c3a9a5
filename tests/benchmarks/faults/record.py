"""Puts a bench's table into its place in RESULTS.md, with the machine and the day."""

from __future__ import annotations

import datetime as dt
import os
import platform
from pathlib import Path

RESULTS = Path(__file__).parent / "RESULTS.md"


def write(name: str, lines: list[str]) -> None:
    """Replace what stands between the marks of this name."""
    text = RESULTS.read_text("utf-8")
    begin, end = f"<!-- {name} -->", f"<!-- end of {name} -->"
    head, found, rest = text.partition(begin)
    _, closed, tail = rest.partition(end)
    if not found or not closed:
        msg = f"{RESULTS} has no place marked {name}"
        raise ValueError(msg)
    day = dt.datetime.now(tz=dt.UTC).date()
    machine = (
        f"{day}, {platform.system()} {platform.machine()}, Python "
        f"{platform.python_version()}, {os.cpu_count()} cores."
    )
    body = "\n".join([begin, machine, "", *lines, end])
    RESULTS.write_text(head + body + tail, "utf-8")
