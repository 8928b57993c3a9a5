"""What a page says of its own shorthand: "Y = yellow, BW = blue/white", "o" and "i"."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.language.kinds import EventKind

    from .clocked_words import Reader

_HEAD = re.compile(
    r"\W*(?:key|legend|codes?|marks|bees|abbreviations)\W+", re.IGNORECASE
)
_SHORT = re.compile(r"\W*([^\W\d_]{1,4})\s*=\s*([^\W\d_][^=\d]*)")
_PARTED = re.compile(r"[,;\t]|\s{2,}|\.\s*$|\s(?=[^\W\d_]{1,4}\s?=)")
# A letter by itself in a line with a figure: "Y o 0905", "0911 Y i".
_ALONE = re.compile(r"(?<![\w'\u2019/&-])([oi])(?![\w'\u2019/&-])")


def learn(reader: Reader, lines: Sequence[str]) -> frozenset[int]:
    """Tell a reader the shorthand of a page; return the numbers of such lines.

    "o" and "i" are out and in where the page has both beside figures.
    """
    learnt = set()
    alone: set[str] = set()
    for number, line in enumerate(lines, start=1):
        if "=" in line and (told := _legend(line, reader)):
            learnt.add(number)
            for short, meant in told:
                reader.learn(short, meant)
        elif any("0" <= char <= "9" for char in line):
            alone |= set(_ALONE.findall(line))
    reader.in_and_out = alone == {"o", "i"}
    return frozenset(learnt)


def _legend(line: str, reader: Reader) -> list[tuple[str, str | EventKind]]:
    """Read a line that says what is meant, and nothing else; none for any other."""
    found: list[tuple[str, str | EventKind]] = []
    head = _HEAD.match(line)
    for part in _PARTED.split(line[head.end() if head else 0 :]):
        if not part.strip():
            continue
        match = _SHORT.fullmatch(part)
        name = match[2].strip(" .()*") if match else ""
        meant = reader.mark_of(name) or reader.event_of(name)
        if match is None or not meant:
            return []
        found.append((match[1].lower(), meant))
    return found
