"""What was asked, and what the sentence after it may answer.

"Which one's that leaving? Yellow." tells of a leaving; "which d'you want first?
Yellow." tells of none. "White's left, did you see that?" asks only at its end.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from . import sayings

if TYPE_CHECKING:
    from .wishes import Sentence

# What ends a statement as a question: "white's left, isn't she?"
_TAG = re.compile(
    r"(?:(?:is|was|did|does|are|were|do) not (?:it|she|that|they|you|we|he)"
    r"|would you believe(?: it| that)?|you know|you see|okay|right|eh|yeah) (?=[?])"
)
# "White's left, has she?" asks whether she did.
_ASKED_AGAIN = re.compile(
    r"(?:is|was|has|did|does|are|were) (?:it|she|that|they|he|her) (?=[?])"
)
# Which bee it was that did something: "who's that leaving?", "which one?"
_WHO = re.compile(
    r"(?:and )?(?:who|which|what colou?r)(?: (?:one|bee|of them))?(?: (?:is|was)"
    r"(?: (?:that|this|it|she))?)?(?: (?:(?P<away>leaving|going|off|gone|away|left"
    r"|taking off|flying off)|(?P<back>coming in|landing|back|in|landed|here"
    r"|coming)))?(?: now| then)? (?=[?])"
)
# A question of what is to be done; a bee named in answer does nothing.
_WISH = re.compile(r" (?:want|wants|shall|should|would|prefer|will|next|fancy) ")


def statement_end(text: str, start: int, end: int) -> int:
    """Give where the statement ends that a question is only added to, else `start`."""
    comma = text.rfind(" , ", start, end)
    if comma < 0:
        return start
    tail = comma + 3
    asks = sayings.QUESTION.match(text, tail) and not _ASKED_AGAIN.match(text, tail)
    return comma if asks or _TAG.match(text, tail) else start


@dataclass(slots=True)
class Asked:
    """What was asked up to here.

    `done` is what the sentence being read may name the bee of, and `planned` tells
    that it answers what is to be done.
    """

    time: bool = False
    done: EventKind | None = None
    planned: bool = False
    _who: EventKind | None = None
    _wished: bool = False
    _time_now: bool = False

    def take_in(
        self, sentence: Sentence, opening: int, unnamed: EventKind | None
    ) -> None:
        """Take in a sentence; `unnamed` was done just before by nobody knows whom."""
        body = f" {sentence.text[sentence.start : sentence.end]}"
        self.planned = self._wished and not sentence.question
        self._wished = sentence.question and _WISH.search(body) is not None
        self._time_now = sayings.TIME_ASKED.search(body) is not None
        self.time = self.time or self._time_now
        who = _WHO.match(sentence.text, opening)
        if who:
            away, back = who["away"], who["back"]
            self.done = None
            self._who = unnamed if not (away or back) else EventKind.BACK
            self._who = EventKind.AWAY if away else self._who
        elif not sentence.question:
            self.done, self._who = self._who, None

    def finish(self, sentence: Sentence) -> None:
        """Forget what a statement answered, or let go unanswered."""
        if not sentence.question and not self._time_now:
            self.time = False
        self.done = None
