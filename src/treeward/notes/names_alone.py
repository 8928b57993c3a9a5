"""Bees that are named, while what they did is left unsaid: "White, two oh three".

A bee that is named alone came, if she was not here; she left, where a bearing follows.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from . import sayings
from .asking import RECENT
from .clauses import COUNTED
from .narrated_actions import Done

if TYPE_CHECKING:
    from .asking import Asked
    from .bee_names import BeeNames
    from .found_notes import FoundNotes
    from .narrated_actions import Actions
    from .narrated_values import ValueNotes

STAYS_S = 20.0  # what is told of a bee sooner is of her coming; guess
# What may follow a bee's name that is all that is said of her coming.
_NAME_ENDS = re.compile(
    r"[.]|, (?!(?:nothing|not|no|never|negative|still|neither|soon|she|i|we|it|they|he"
    r"|her|his|the|a|an|my|that(?! is new)|who|which|what|where|has|is|was|let|remember"
    r"|do|did|not|this|if|when|one|as|like|in|of|for|poor|finished|gone|bye|away|off) )"
)


@dataclass(slots=True)
class NamesAlone:
    """Reads a bee's name where nothing is said of what she did."""

    text: str
    names: BeeNames
    actions: Actions
    values: ValueNotes
    found: FoundNotes
    asked: Asked

    def at(self, start: int, place: int, *, whole: bool, hedged: bool) -> Done | None:
        """Read a bee's name; `whole` tells that a sentence starts at `start`."""
        done = None
        shown = self.text.endswith(sayings.SHOWN, 0, place)
        if shown or (whole and place >= start):
            done = self._name_alone(place) or self._left_unsaid(place)
        if done is None and (hedged or self._pointed(start, place)):
            done = self.actions.bare(self.text, place)
        return done

    def _left_unsaid(self, place: int) -> Done | None:
        """Read "white, two oh three" of a bee that was here: she left."""
        named = self.names.single(self.text, place)
        if named is None or named.mark not in self.found.view.here:
            return None
        start = named.end + (3 if self.text.startswith(" , ", named.end) else 1)
        told = next(e for e in reversed(self.found.events) if e.mark == named.mark)
        long_s = self.found.second(place) - (told.end_s or 0.0)
        if long_s < STAYS_S or not self.values.degrees_at(self.text, start):
            return None
        return Done(
            kind=EventKind.AWAY,
            named=named,
            start=place,
            end=named.end,
            certain=False,
        )

    def _name_alone(self, place: int) -> Done | None:
        """Read a bee's name as a whole sentence: she came, if she was not here."""
        named = self.names.single(self.text, place)
        if named is None or not _NAME_ENDS.match(self.text, named.end + 1):
            return None
        new = named.full and self.text.startswith(("a ", "an ", "one "), place)
        shown = self.text.endswith(sayings.SHOWN, 0, place) and self._painting(place)
        known = named.mark in self.names.seen or new or shown
        if self.asked.done and known:
            return Done(
                kind=self.asked.done,
                named=named,
                start=place,
                end=named.end,
                certain=False,
            )
        if named.mark in self.found.view.here or not known:
            return None
        if COUNTED.match(self.text, named.end):
            return None
        if sayings.DENIED.search(self.text[:place]):
            return None
        dotted = re.search(r" (?:dot|spot|mark|blob) $", self.text[: named.end + 1])
        after_mark = self.found.events and self.found.events[-1].kind is EventKind.MARK
        painted = named.mark not in self.names.seen and (shown or dotted or after_mark)
        return Done(
            kind=EventKind.MARK if painted else EventKind.BACK,
            named=named,
            start=place,
            end=named.end,
            certain=False,
        )

    def _painting(self, place: int) -> bool:
        """Tell whether somebody spoke of painting shortly before."""
        before = self.text[max(0, place - RECENT) : place]
        return sayings.PAINTING.search(f" {before}") is not None

    def _pointed(self, start: int, place: int) -> bool:
        """Tell whether a bee is pointed out: "that is the blue one"."""
        lead = sayings.LEAD.match(self.text, start)
        named = self.names.at(self.text, place)
        if lead is None or lead.end() != place or named is None:
            return False
        if named.full or not named.mark:
            return named.full
        words = lead[0].split()
        sees = words[:3] in (["i", "can", "see"], ["we", "have", "got"])
        shown = sees or words[:2] in (
            ["here", "is"],
            ["there", "is"],
            ["that", "is"],
            ["it", "is"],
            ["if", "it"],
            ["if", "that"],
        )
        watched = bool(self.found.events) or sees
        return bool(watched and shown and named.mark not in self.found.view.here)
