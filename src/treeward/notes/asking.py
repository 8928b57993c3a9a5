"""What was only asked, wished or planned, and what is being done to a bee just now.

"When red gets back we can take a bearing" is no note, nor is "if I'd the paint she
would be blue"; but "twenty to twelve, if anyone asks" is one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.kinds import UNMARKED, EventKind

from . import sayings
from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from .found_notes import FoundNotes
    from .narrated_actions import Done
    from .sentences import Told

# What ends a statement as a question: "white's left, isn't she?"
_TAG = re.compile(
    r"(?:(?:is|was|did|does|are|were|do) not (?:it|she|that|they|you|we|he)"
    r"|would you believe(?: it| that)?|you know|you see|okay|right|eh|yeah) (?=[?])"
)
# "White's left, has she?" asks whether she did.
_ASKED_AGAIN = re.compile(
    r"(?:is|was|has|did|does|are|were) (?:it|she|that|they|he|her) (?=[?])"
)


def after_asking_time(text: str, start: int) -> int:
    """Give the place after the words that ask for the time."""
    match = sayings.TIME_ASKED.search(text, start)
    place = match.end() if match else start
    rest = re.compile(r"(?: is it| do you make it| now)*(?: ,)? ").match(text, place)
    return rest.end() if rest else place


def statement_end(text: str, start: int, end: int) -> int:
    """Give where the statement ends that a question is only added to, else `start`."""
    comma = text.rfind(" , ", start, end)
    if comma < 0:
        return start
    tail = comma + 3
    asks = sayings.QUESTION.match(text, tail) and not _ASKED_AGAIN.match(text, tail)
    return comma if asks or _TAG.match(text, tail) else start


_ALWAYS = frozenset({EventKind.PAUSE, EventKind.RESUME, EventKind.SCRATCH})
_COMES = ("here comes ", "in comes ")
RECENT = 160  # characters in which somebody speaks of painting; guess
_PAINTING_S = 90.0  # and seconds; guess
_PUT_ON = {"is", "on", "applied", "done", "there", "here", "dry", "finished", "painted"}


@dataclass(slots=True, kw_only=True)
class Sentence:
    """What is known about the sentence being read, from `start` to `end` of `text`."""

    text: str
    start: int
    end: int
    question: bool
    unreal: bool

    def unreal_at(self, place: int, until: int | None = None) -> bool:
        """Tell whether what is said at `place` is a wish, a plan or a condition."""
        before = self.text[self.start - 1 : place]
        if self.unreal and not self._afterthought(place):
            return True
        if sayings.UNREAL_AFTER.search(before):
            return True
        since = max((m.end() for m in sayings.CLAUSE.finditer(before)), default=0)
        border = sayings.CLAUSE.search(self.text, place, self.end + 1)
        last = until or (border.start() + 1 if border else self.end)
        clause = f"{before[max(0, since - 1) :]}{self.text[place:last]} "
        return sayings.UNREAL_CLAUSE.search(f" {clause}") is not None

    def allows(self, told: Told) -> bool:
        """Let plans announce a pause, but nothing else, and questions nothing."""
        if self.question or told.kind in _ALWAYS:
            return not self.question
        if re.match(r"(?:would|could|should|might|may) ", self.text[told.end :]):
            return not self.unreal_at(told.start)
        return not self.unreal_at(told.start, told.end)

    def _afterthought(self, place: int) -> bool:
        """Tell whether what makes the sentence unreal is but added: "if you ask me"."""
        comma = self.text.find(" , ", place, self.end)
        said = self.text[self.start - 1 : comma + 1]
        rest = self.text[comma + 2 : self.end + 1]
        return (
            comma > 0
            and not sayings.UNREAL.search(said)
            and sayings.ADDED.match(rest) is not None
        )


def being_painted(found: FoundNotes, done: Done) -> bool:
    """Tell whether a bee that is new was only now given her colour."""
    text = found.text
    said = set(text[done.named.end : done.end].split())
    if said - _PUT_ON or text.startswith(_COMES, done.start):
        return False
    since = max(0, done.start - RECENT)
    while found.second(done.start) - found.second(since + 1) > _PAINTING_S:
        since += 20
    return sayings.PAINTING.search(f" {text[since : done.start]}") is not None


_NOT_OURS = re.compile(
    r" (?:not (?:one of )?(?:mine|ours|my)|else is|nothing to do with|none of (?:mine"
    r"|ours)|neighbour is|yesterday|last (?:week|year|summer|month|time)) "
)


def as_painting(found: FoundNotes, done: Done) -> Done | None:
    """Take what a bee that is new did for her painting, where it is that.

    None where she is said to be no bee of ours.
    """
    names, text, mark = found.names, found.text, done.named.mark
    if mark in {"", UNMARKED, *names.seen}:
        return done
    if done.kind is EventKind.BACK and being_painted(found, done):
        flags = (*done.flags, Flag(FlagCode.AMID_WORDS))
        done = replace(done, kind=EventKind.MARK, flags=flags)
    if mark in names.painted:
        return done
    since = 1 + max(text.rfind(stop, 0, done.start) for stop in ".?")
    border = sayings.REST.search(text, done.end)
    end = border.start() if border else len(text)
    return None if _NOT_OURS.search(text, since, end + 1) else done
