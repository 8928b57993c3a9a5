"""What to say of a page in which no note has its time.

A page is refused by its first line that should have had a time, or a bee, and not by
its heading.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.errors import TranscriptError

from .clocked_words import Reader

if TYPE_CHECKING:
    from treeward.language.phrasebook import PhraseBook

_WIDEST = 60  # letters of a line in a message; choice
_EXAMPLE = "'9:05 yellow away 48'"
_OR_TIMED = "; a transcript's lines are '[0:30] yellow away'"


def untimed_fault(text: str, book: PhraseBook, *, where: str) -> TranscriptError:
    """Return the fault of a page that holds neither clock times of bees nor seconds.

    Parameters
    ----------
    text
        The page.
    book
        The phrase book that names the marks.
    where
        What the fault names, beside the line.
    """
    reader = Reader(book)
    lines = [(n, one) for n, one in enumerate(text.splitlines(), 1) if one.strip()]
    timed = bees = None
    for number, line in lines:
        sorts = {token.sort for token in reader.read(line)}
        if "mark" in sorts and bees is None:
            bees = number, line
        elif "time" in sorts and ":" in line and timed is None:
            timed = number, line
    if bees is not None:
        number, line = bees
        what = f"{_quoted(line)} names a bee and no time"
        mend = f"Write the time on the same line, as {_EXAMPLE}{_OR_TIMED}"
    elif timed is not None:
        number, line = timed
        marks = ", ".join(book.colours)
        what = f"{_quoted(line)} has a time and no bee of a known mark ({marks})"
        mend = (
            "Write the mark so, or its word under [colours] in the hunt's "
            'phrasebook.toml, as yellow = ["yellow", "gold"]'
        )
    else:
        number, line = lines[0] if lines else (1, "")
        what = f"no line has a time, from {_quoted(line)} on"
        mend = f"Write the time on each line, as {_EXAMPLE}{_OR_TIMED}"
    return TranscriptError(what, where=f"{where} line {number}", mend=mend)


def _quoted(line: str) -> str:
    plain = " ".join(line.split())
    return repr(plain if len(plain) <= _WIDEST else f"{plain[:_WIDEST]}...")
