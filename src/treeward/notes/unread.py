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

from treeward.language.dates import MONTHS
from treeward.language.kinds import EventKind

from .sentences import place_after, words_from
from .time_spans import stretch_of_time
from .values import bearing_value, time_value

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
# A find, or none, told in words of one's own.
_FIND = re.compile(
    r" (?:colony|colonies|nests?) (?:\w+ ){0,3}found "
    r"| found (?:\w+ ){0,3}(?:colony|colonies|nests?|them|it|tree) "
)
_SENTENCE = re.compile(r" [.?](?= |$)")
_CLAUSE = re.compile(r" (?:[,;]|and|but|then|so|while) ")
# Somebody else than the bee of the notes, and what she did.
_ANOTHER = re.compile(
    r" (?:another|the other|one of them|both|they|all|two|somebody|newcomer|her friend"
    r"|a (?:new|second|third) (?:one|bee)|the (?:next|last) (?:one|bee)) "
)
_WENT = re.compile(
    r" (?:away|off|gone|left(?! of| hand| side)|leaving|leaves|departed|took off|flew"
    r"|flown|goes|went) "
)
_CAME = re.compile(
    r" (?:back|landed|landing|lands|arrived|arrives|returned|came in|comes in|came) "
)
_ONE_LEFT = frozenset({EventKind.AWAY})
_ONE_CAME = frozenset({EventKind.BACK, EventKind.MARK, EventKind.MISSED})
_WAY_TOLD = frozenset({EventKind.BEARING, EventKind.TIME, EventKind.DURATION})
_FLEW = re.compile(r" (?:at|on|along|about|bearing|heading|to|towards?|roughly|line) ")
_MEASURE = re.compile(
    r"(?:and (?:a )?(?:half|quarter) )?(?:minutes?|seconds?|hours?|metres?|meters?"
    r"|yards?|feet|foot|miles?|paces?|steps?|bees?|times?|days?|years?|weeks?|pounds?"
    r"|pence|per|percent|degrees?|more|ago) "
)
_UNIT = re.compile(rf"{_MEASURE.pattern}|(?:of|in|the|a|her|my|this|that) ")
_WORD = re.compile(r" (?=\S)")
_MAY_BE_HOUR = re.compile(
    r"\d|half|quarter|a$|[a-z]+(?:teen|ty|ne|wo|ree|our|ive|ix|en|ght|ve)$"
)
# Before one of these a number is where, or how much.
_NO_TIME = re.compile(r" (?:number|station|page|chapter|route|another|first|last) $")
_MONTHS = "|".join(one for one in MONTHS if one != "may")
_TELLS_WHEN = re.compile(
    rf" (?:(?:{_MONTHS})|(?:of|in|since|late|early|\d+(?:st|nd|rd|th)?"
    r"|first|second|third|[a-z]+(?:st|nd|rd|th)) may|half past|quarter (?:past|to)"
    r"|[a-z]+ o'clock) "
)
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
    """A sentence, and the piece that each of its words came from."""

    text: str
    pieces: Sequence[StreamWord]
    first: int
    last: int
    owner: Sequence[int]


def _sentences(speech: Speech, pieces: Sequence[StreamWord]) -> Iterator[_Sentence]:
    start = 0
    for border in _SENTENCE.finditer(speech.text):
        text = f"{speech.text[start : border.start()]} "
        if text.strip():
            first, last = speech.pieces_between(start + 1, border.start())
            words = re.compile(r"\S+").finditer(speech.text, start, border.start())
            owner = [speech.owner[word.start()] for word in words]
            yield _Sentence(
                text=f" {text.strip()} ",
                pieces=pieces[first:last],
                first=first,
                last=last,
                owner=owner,
            )
        start = border.end()


def unread_lines(
    speech: Speech,
    pieces: Sequence[StreamWord],
    events: Sequence[Event],
    names: BeeNames,
    *,
    recording: str = "",
) -> list[Unread]:
    """Find the sentences that name a mark, or a coming or going, in no note.

    A sentence that holds notes is looked at clause by clause.

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
    spans = [*_spans(pieces, events)]
    ends = [event.end_s for event in events if event.end_s is not None]
    found = []
    for sentence in _sentences(speech, pieces):
        own = [span for span in spans if sentence.first < span.end <= sentence.last]
        start_s, end_s = sentence.pieces[0].start_s, sentence.pieces[-1].end_s
        if not own and any(start_s < end <= end_s + 1e-6 for end in ends):
            continue  # a note that was heard surely stands in the midst of it
        said = [match[0].strip() for match in names.word.finditer(sentence.text)]
        marks = dict.fromkeys(names.mark_of(word) for word in said)
        if own:
            lost = _left_out(sentence, own, names)
        else:
            moves = _BEE.search(sentence.text) and _MOVES.search(sentence.text)
            lost = bool(said or moves or _TELLS_WHEN.search(sentence.text))
            lost = lost or bool(_FIND.search(sentence.text))
            lost = lost or _clock_like(sentence.text)
        if lost:
            found.append(
                Unread(
                    recording=recording,
                    start_s=start_s,
                    end_s=end_s,
                    text=" ".join(piece.text for piece in sentence.pieces),
                    marks=tuple(marks),
                )
            )
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """The pieces that an event was made of, from `first` to before `end`."""

    first: int
    end: int
    event: Event


def _spans(pieces: Sequence[StreamWord], events: Sequence[Event]) -> Iterator[_Span]:
    """Give the words of each event: those that end where it does."""
    at = {round(piece.end_s, 6): index for index, piece in enumerate(pieces)}
    for event in events:
        last = at.get(round(event.end_s, 6)) if event.end_s is not None else None
        if last is not None:
            first = max(0, last + 1 - len(event.heard.split()))
            yield _Span(first=first, end=last + 1, event=event)


def _left_out(sentence: _Sentence, own: Sequence[_Span], names: BeeNames) -> bool:
    """Tell whether a clause beside the notes of a sentence names what is in none.

    That is a bee of which nothing is noted there, another's coming or going, or where
    one that left flew.
    """
    whole = [span for span in own if span.first <= sentence.first]  # read as a line
    inside = {
        index
        for span in own
        for index in range(span.first, span.end)
        if span not in whole
    }
    noted = {mark for span in own for mark in _marks_of(span.event)}
    text = _without(sentence, inside)
    said = [names.mark_of(match[0].strip()) for match in names.word.finditer(text)]
    if any(mark not in noted for mark in said):
        return True
    kinds = {span.event.kind for span in own}
    led = _FLEW.finditer(text) if _ONE_LEFT & kinds and not _WAY_TOLD & kinds else ()
    for match in led:
        value = bearing_value(words_from(text, match.end()))
        if value and (value.text or value.options):
            return not _UNIT.match(text, place_after(text, match.end(), value.used))
    clauses = _CLAUSE.split(text)
    others = (
        _ANOTHER.search(c) and (_WENT.search(c) or _CAME.search(c)) for c in clauses
    )
    if not whole and any(others):
        return True
    told = [clause for clause in clauses if _BEE.search(clause)]
    went = not _ONE_LEFT & kinds and any(_WENT.search(clause) for clause in told)
    came = not _ONE_CAME & kinds and any(_CAME.search(clause) for clause in told)
    return bool(kinds & (_ONE_LEFT | _ONE_CAME)) and (went or came)


def _marks_of(event: Event) -> set[str]:
    """Give the marks that a note is of, and the colours of each."""
    others = {word for other in event.alternatives for word in other.text.split()}
    return {event.mark, *event.mark.split("-"), *others}


def _without(sentence: _Sentence, inside: set[int]) -> str:
    """Give the sentence with a border in place of the words of its notes."""
    parts = []
    for place, word in enumerate(sentence.text.split()):
        index = sentence.owner[place] if place < len(sentence.owner) else -1
        parts.append("," if index in inside else word)
    return f" {' '.join(parts)} . "


def _clock_like(text: str) -> bool:
    """Tell whether a sentence holds what may be a time of day."""
    for match in _WORD.finditer(text):
        start = match.start() + 1
        words = words_from(text, start)
        if (
            not words
            or not _MAY_BE_HOUR.match(words[0])
            or _NO_TIME.search(text[:start])
        ):
            continue
        value = time_value(words)
        if value is None or not value.text:
            continue
        long = value.used > 1 or ":" in words[0] or "." in words[0]
        if long and not _MEASURE.match(text, place_after(text, start, value.used)):
            return True
    return False


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
