"""What a speaker said first and then mended: "blue back ... sorry, that was white".

The network reads what was meant, for it sees the words that follow. What was said first
stays beside the note, which says by which words it was corrected.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.speech.utterances import Alternative

from .bees import ACTIONS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from treeward.language.kinds import EventKind

    from .lines import Line, NumberSaid

_CUE = re.compile(
    r" (?:no|nope|sorry|i mean|i meant|scratch that|cancel that|strike that|correction"
    r"|make (?:that|it)|or rather|rather|wait|oops|whoops|actually|tell a lie|i lie"
    r"|should (?:be|have been|say|read)|my mistake|not|beg pardon|misread)(?= )"
)
FIRST_SAID = 0.3  # how likely the first reading is still meant; guess


@dataclass(frozen=True, slots=True)
class Mended:
    """What was said first, as another reading, and the words that mended it."""

    said_first: Alternative
    by: str


def mends(line: Line | None) -> bool:
    """Tell whether a line holds words by which people mend what they said."""
    return line is not None and any(_cues(line))


def bee_mended(
    kind: EventKind, mark: str, line: Line, after: Line | None
) -> Mended | None:
    """Find the bee that was named first, where another is meant."""
    if kind not in ACTIONS:
        return None
    named = [(one.mark, one.words) for one in line.mentions if one.mark]
    for cue, by in _cues(line):
        first = [one for one, words in named if max(words) < by and one != mark]
        then = [words for one, words in named if one == mark and min(words) > cue]
        before = any(one == mark and max(words) < by for one, words in named)
        if first and then and not before:
            return Mended(_instead(kind, first[-1]), _words(line, by, max(then[0])))
    here = {one for one, _ in named}
    there = [one.words for one in after.mentions if one.mark == mark] if after else []
    if after is None or mark in here or len(here) != 1 or not there:
        return None
    for cue, by in _cues(after):
        if cue <= max(there[0]) + 1:
            end = max(*there[0], by)
            return Mended(_instead(kind, here.pop()), _words(after, min(by, end), end))
    return None


def number_mended(
    said: NumberSaid, mark: str, line: Line, before: Line | None
) -> Mended | None:
    """Find the number that was said first, where another is meant."""
    kind, words, own = said.kind, said.words, line.numbers
    for cue, by in _cues(line):
        if cue >= min(words):
            continue
        first = [one for one in own if one.kind is kind and max(one.words) < by]
        if not first and before and by <= 1:
            first = [one for one in before.numbers if one.kind is kind]
        if first:
            end = max(words)
            return Mended(_instead(kind, mark, first[-1]), _words(line, by, end))
    return None


def _instead(kind: EventKind, mark: str, said: NumberSaid | None = None) -> Alternative:
    value = said.written if said else ""
    text = " ".join(filter(None, (kind.value, mark, value)))
    return Alternative(text=text, confidence=FIRST_SAID)


def _cues(line: Line) -> Iterator[tuple[int, int]]:
    """Give where words of mending end and begin, as places of words."""
    text = f" {' '.join(line.bare_words).lower()} "
    for match in _CUE.finditer(text):
        begins = text.count(" ", 0, match.start() + 1) - 1
        yield begins + match[0].count(" ") - 1, begins


def _words(line: Line, first: int, last: int) -> str:
    return " ".join(line.bare_words[first : last + 1])
