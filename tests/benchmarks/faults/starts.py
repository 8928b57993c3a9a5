"""Ctrl-C while the program starts: one line, or Python's own words?

    PYTHONPATH=tests python -m benchmarks.faults.starts [--times 200]

`treeward trips` is started as its console script starts it, in a process of its own,
and gets SIGINT after a random time up to its whole length. What comes before our first
line of code (the interpreter's own start) is not ours to answer; it is told apart by
the process not having come so far as to open our package.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from benchmarks.faults import record
from faults.contract import HUNT_TOML, REVIEW

SCRIPT = "import sys; from treeward.__main__ import run; sys.exit(run())"


def main() -> None:
    """Interrupt so many starts and write what they said."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    # Whoever starts this in the background has Ctrl-C ignored, by our children as well.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    rng = random.Random(options.seed)  # noqa: S311  (moments, no secrets)
    seen: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        (home / "hunt.toml").write_text(HUNT_TOML, "utf-8")
        (home / "review.csv").write_text(REVIEW, "utf-8")
        length_s = 0.0
        for number in range(options.times + 1):
            began = time.monotonic()
            child = subprocess.Popen(
                [sys.executable, "-c", SCRIPT, "trips"],
                cwd=home,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                text=True,
                env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
            )
            if number:
                time.sleep(rng.uniform(0, length_s))
                child.send_signal(signal.SIGINT)
            _, said = child.communicate()
            if number == 0:
                length_s = time.monotonic() - began
                continue
            kind = _kind(child.returncode, said)
            if "ours" in kind or "else" in kind:
                print(said)
            seen[kind] += 1
    print(seen)
    record.write(
        "starts",
        ["| what came of it | times |", "|---|---|"]
        + [f"| {what} | {count} |" for what, count in seen.most_common()],
    )


def _kind(status: int, said: str) -> str:
    if status == 0 and not said:
        return "done before it could be stopped"
    if "Traceback" in said or "KeyboardInterrupt" in said:
        ours = "treeward" in said
        return "a traceback of ours" if ours else "Python's own start, words of its own"
    if not said and status in {-signal.SIGINT, 130}:
        return "Python's own start, no word"
    if status in {1, 130, -signal.SIGINT} and said.strip().count("\n") == 0:
        return "one line, exit 1 or 130"
    return f"something else: {status} {said[-80:]!r}"


if __name__ == "__main__":
    main()
