"""Whether a text holds notes typed with clock times."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.speech.transcripts import names_speakers

from .clocked_legend import learn
from .clocked_tables import read_heading
from .clocked_words import Reader

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.language.phrasebook import PhraseBook

_TIMED_LINE = re.compile(r"\s*(?P<bracket>[\[(])\s*(?P<first>\d{1,3}):\d{2}")  # [m:ss]
_FIRST_H = 5  # in round brackets a page begins later than this, a transcript not; guess


def has_clock_times(text: str, book: PhraseBook) -> bool:
    """Tell whether a text holds notes typed with clock times.

    Lines that begin with "[m:ss]" are a transcript's, and so are those with "(m:ss)"
    unless all of them may be hours of the day: "(9:05) yellow away".
    """
    reader = Reader(book)
    table = headed = False
    lines = text.splitlines()
    timed = [found for line in lines if (found := _TIMED_LINE.match(line))]
    if (timed and not _in_round_brackets(timed)) or names_speakers(text):
        return False
    learnt = learn(reader, lines)
    for number, line in enumerate(lines, start=1):
        if number in learnt:
            continue
        if any("0" <= char <= "9" for char in line):
            sorts = {token.sort for token in reader.read(line)}
            if sorts & {"time", "range"} and (headed or "mark" in sorts):
                return True
        elif not headed:
            table = table or read_heading(line, reader) is not None
            headed = table or bool(reader.mark_of(line))
    return table


def _in_round_brackets(timed: Sequence[re.Match[str]]) -> bool:
    """Tell whether the times at the beginning of lines are of the day, in brackets."""
    firsts = [int(found["first"]) for found in timed]
    brackets = {found["bracket"] for found in timed}
    return brackets == {"("} and firsts[0] >= _FIRST_H and max(firsts) <= 23
