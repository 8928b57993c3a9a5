"""Which of several words for the same thing is heard best.

    PYTHONPATH=tests python -m benchmarks.hearing.words CORPUS

hears the notes of a corpus with Treeward, and counts for each word that says what
happened ("landed", "back") or begins a value ("heading", "bearing") how many of the
notes said with it came out right.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

from benchmarks.hearing.scoring import WITHIN_S, is_right
from benchmarks.hearing.systems import open_system

QUIET = "mixed-30"
RIVALS = (
    ("landed", "back"),
    ("away", "gone"),
    ("heading", "bearing"),
    ("clock", "time"),
)


def said_with(each: dict[str, Any], said: list[dict[str, Any]]) -> str:
    """Give the word of RIVALS that a note was said with, "" for none."""
    for line in said:
        if line["role"] == "note" and abs(line["start_s"] - each["start_s"]) < 0.01:
            words = line["text"].lower().replace(",", "").split()
            for word in (word for pair in RIVALS for word in pair):
                if word in words:
                    return word
    return ""


def main() -> None:
    """Hear, count, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("corpus", type=Path)
    args = parser.parse_args()
    said: Counter[tuple[str, bool]] = Counter()
    right: Counter[tuple[str, bool]] = Counter()
    with tempfile.TemporaryDirectory() as room:
        engine = open_system("treeward", Path(room))
        for file in sorted(args.corpus.glob("*.json")):
            truth = json.loads(file.read_text(encoding="utf-8"))
            if not truth["events"]:
                continue
            engine.get_ready(args.corpus / truth["recording"])
            events = engine.hear(args.corpus / truth["recording"])
            for each in truth["events"]:
                key = (said_with(each, truth["said"]), truth["condition"] == QUIET)
                if each["optional"] or not key[0]:
                    continue
                said[key] += 1
                right[key] += any(
                    is_right(event, each)
                    and abs((event.start_s or 0.0) - each["start_s"]) <= WITHIN_S
                    for event in events
                )
    print("| word | in quiet | in noise |\n|---|---|---|")
    for word in (word for pair in RIVALS for word in pair):
        quiet, noisy = (
            f"{right[word, still]}/{said[word, still]}" for still in (True, False)
        )
        print(f"| {word} | {quiet} | {noisy} |")


if __name__ == "__main__":
    main()
