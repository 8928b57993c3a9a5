"""What made no note: lines to look at, and times of loading and unloading.

Nothing that names a mark, or a bee's coming or going, is to vanish: a person looks at
it and makes a note of it, or not. What is said of how long bees load and unload is no
note of one bee, but may serve as calibration.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from .narrated_durations import stretch_of_time

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from .bee_names import BeeNames
    from .events import Event
    from .sentences import Speech, StreamWord

_BEE = re.compile(
    r" (?:she|they|it is (?:back|gone|off|away)|one|bees?|both|pair|another|her|others?"
    r"|girls?|ladies|somebody|newcomer|two of them) "
)
_MOVES = re.compile(
    r" (?:back|away|off|gone|left|landed|landing|leaving|leaves|arrived|returned|flew"
    r"|flown|came|come|comes|coming|goes|went|out|in|here|up|down|again|missed|drinking"
    r"|took off|bearing|heading) "
)
_SENTENCE = re.compile(r" [.?](?= |$)")
_LOADING = re.compile(
    r" (?:fill(?:ing)? (?:up|herself)|filled up|load(?:ing|s)?(?: up)?|drink(?:s"
    r"|ing)? (?:its"
    r"|her|their) fill|tank(?:ing)? up|fuel(?:ling)? up|get (?:a )?(?:full|load)) "
)
_UNLOADING = re.compile(
    r" (?:unload(?:ing|s)?|in the (?:hive|nest|tree|colony)|make (?:the|a|her"
    r"|their) deliver\w+"
    r"|deliver(?:y|ies|ing|s)?|hand(?:ing)? (?:it )?over|turn(?:ing)? round in) "
)
_CLOSE = re.compile(
    r" (?:hives?|colony|nest)(?: \w+){0,4} (?:so|very|that|right) (?:close|near"
    r"|next to)|flight (?:does not|hardly|barely|is not) (?:count|matter|worth)"
)
_TO = re.compile(r"(?:to|or|and|-) ")
_SAME_WORDS = 0.5  # of a line that another reading gave as well; guess
_ABOUT = 0.25  # a time said once may be so far off, as a share; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class Unread:
    """A line without a note that looks as if it should have one.

    `start_s` and `end_s` are seconds within `recording`, None where it was typed; then
    `line` is its number on the page, the first being 1, and `clock` the time that
    stands in it, if one does. `marks` are the bees it names, by the phrase book, maybe
    none.
    """

    recording: str
    text: str
    start_s: float | None = None
    end_s: float | None = None
    line: int | None = None
    clock: datetime | None = None
    marks: tuple[str, ...] = ()

    @property
    def place(self) -> str:
        """Where it stands: "12:31" of a recording, "line 7" of a page."""
        if self.start_s is None:
            return f"line {self.line}"
        minutes, seconds = divmod(int(self.start_s), 60)
        return f"{minutes}:{seconds:02}"

    def is_again(self, other: Unread) -> bool:
        """Tell whether another reading of the recording gave this line too.

        Typed, its words are the same; spoken, it lies on the same sound and has half
        of its words in common.
        """
        if self.recording != other.recording:
            return False
        if self.start_s is None or other.start_s is None:
            return self.start_s is other.start_s and self.text == other.text
        first_s, last_s = self.end_s or self.start_s, other.end_s or other.start_s
        if self.start_s > last_s or other.start_s > first_s:
            return False
        mine, theirs = (Counter(one.text.lower().split()) for one in (self, other))
        shared = (mine & theirs).total()
        return shared >= _SAME_WORDS * max(mine.total(), theirs.total())


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeTold:
    """What was said of how long bees load or unload: seconds, from low to high.

    `what` is "close" where a hive was said to be so near that flight does not count;
    then no seconds are given.
    """

    what: Literal["loading", "unloading", "close"]
    start_s: float
    text: str
    low_s: float = 0.0
    high_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sentence:
    text: str
    pieces: Sequence[StreamWord]


def _sentences(speech: Speech, pieces: Sequence[StreamWord]) -> Iterator[_Sentence]:
    start = 0
    for border in _SENTENCE.finditer(speech.text):
        text = f"{speech.text[start : border.start()]} "
        if text.strip():
            first, last = speech.pieces_between(start + 1, border.start())
            yield _Sentence(text=f" {text.strip()} ", pieces=pieces[first:last])
        start = border.end()


def unread_lines(
    speech: Speech,
    pieces: Sequence[StreamWord],
    events: Sequence[Event],
    names: BeeNames,
    *,
    recording: str = "",
) -> list[Unread]:
    """Find the sentences that name a mark, or a coming or going, and made no note.

    Parameters
    ----------
    speech, pieces
        What was said.
    events
        What was made of it.
    names
        Knows the marks.
    recording
        Its name, copied into each line.
    """
    ends = sorted(event.end_s for event in events if event.end_s is not None)
    found = []
    for sentence in _sentences(speech, pieces):
        start_s, end_s = sentence.pieces[0].start_s, sentence.pieces[-1].end_s
        if any(start_s < end <= end_s + 1e-6 for end in ends):
            continue
        said = [match[0].strip() for match in names.word.finditer(sentence.text)]
        moves = _BEE.search(sentence.text) and _MOVES.search(sentence.text)
        if said or moves:
            found.append(
                Unread(
                    recording=recording,
                    start_s=start_s,
                    end_s=end_s,
                    text=" ".join(piece.text for piece in sentence.pieces),
                    marks=tuple(dict.fromkeys(names.mark_of(word) for word in said)),
                )
            )
    return found


def times_told(speech: Speech, pieces: Sequence[StreamWord]) -> list[TimeTold]:
    """Find what was said of how long bees load and unload, in general."""
    found = []
    for sentence in _sentences(speech, pieces):
        text = sentence.text
        what: Literal["loading", "unloading", "close"]
        if _CLOSE.search(text):
            what = "close"
        elif _UNLOADING.search(text):
            what = "unloading"
        elif _LOADING.search(text):
            what = "loading"
        else:
            continue
        low_high = _span_s(text)
        if low_high is None and what != "close":
            continue
        low_s, high_s = low_high or (0.0, 0.0)
        found.append(
            TimeTold(
                what=what,
                start_s=sentence.pieces[0].start_s,
                text=" ".join(piece.text for piece in sentence.pieces),
                low_s=low_s,
                high_s=high_s,
            )
        )
    return found


def _span_s(text: str) -> tuple[float, float] | None:
    """Read "about a minute", "two to three minutes"."""
    place = 1
    while 0 < place < len(text):
        one = stretch_of_time(text, place)
        if one:
            to = _TO.match(text, one[1])
            other = stretch_of_time(text, to.end()) if to else None
            if other:
                return min(one[0], other[0]), max(one[0], other[0])
            before = re.search(r" (\w+) (?:to|or) $", text[:place])
            unit = re.search(r"(hour|minute|second)", text[place : one[1]])
            low = (
                stretch_of_time(f"{before[1]} {unit[1]}s . ", 0)
                if before and unit
                else None
            )
            if low and low[0] < one[0]:
                return low[0], one[0]
            return (1 - _ABOUT) * one[0], (1 + _ABOUT) * one[0]
        place = text.find(" ", place) + 1
    return None
