"""What bees did, out of free speech: the phrase book's ways, with any bee's name."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.notes import sayings
from treeward.notes.events import EventKind
from treeward.notes.sentences import plain_phrase

if TYPE_CHECKING:
    from collections.abc import Mapping

    from treeward.notes.bee_names import BeeNames, Named
    from treeward.speech.phrasebook import PhraseBook

_SLOT = "{mark}"
_LEAVING = re.compile(r" (?:leaving|leave|going|go|departing|flying off|take off)(?= )")
_LANDING = re.compile(r" (?:landing|land|coming in|come in|arriving|arrive)(?= )")
_PARTICIPLES: Mapping[str, EventKind] = {
    "leaving": EventKind.AWAY,
    "going": EventKind.AWAY,
    "flying off": EventKind.AWAY,
    "landing": EventKind.BACK,
    "arriving": EventKind.BACK,
    "coming in": EventKind.BACK,
}
_PAINTING = re.compile(
    r"(?:(?:i|we|have|am|are|was|new bee|got) |, )*"
    r"(?:marked|painted|marking|painting|put|putting|dabbed|gave)"
    r"(?: (?:this|that|the|one|a|an|another|new|next|bee|her|it|some|dot|of|little))* "
)
_PAINTED = re.compile(r" (?:one|bee|dot|spot|paint)(?= )")
_ON_HER = re.compile(r" on (?:this|that|the|her|it|one|another|a|new|bee| )+(?= )")


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """Something a bee did, said from `start` to `end` of the text."""

    kind: EventKind
    named: Named
    start: int
    end: int
    flags: tuple[str, ...] = ()
    certain: bool = True  # False: a bee is named, but not what it did


@dataclass(frozen=True, slots=True, kw_only=True)
class _Template:
    head: str
    tail: str
    kind: EventKind


class Actions:
    """Finds what a bee did at a place in the text of sentences."""

    def __init__(self, book: PhraseBook, names: BeeNames) -> None:
        self._names = names
        self._by_head: dict[str, list[_Template]] = {}
        for action in book.actions.values():
            for way in (*action.say, *action.narrate):
                head, tail = (plain_phrase(part) for part in way.split(_SLOT))
                self._add(head, tail, EventKind(action.kind))
        for tail, kind in _PARTICIPLES.items():
            self._add("", tail, kind)
        for templates in self._by_head.values():
            templates.sort(key=lambda template: -len(template.tail))

    def _add(self, head: str, tail: str, kind: EventKind) -> None:
        templates = self._by_head.setdefault(head, [])
        templates.append(_Template(head=head, tail=tail, kind=kind))

    def at(self, text: str, place: int) -> Done | None:
        """Find the longest note about a bee that starts at `place`."""
        special = self._missed_sight(text, place) or self._painted(text, place)
        if special:
            return special
        found = [
            done
            for head, templates in self._by_head.items()
            if (done := self._with_head(text, place, head, templates))
        ]
        return max(found, key=lambda done: done.end, default=None)

    def _with_head(
        self, text: str, place: int, head: str, templates: list[_Template]
    ) -> Done | None:
        name_at = place
        if head:
            if not text.startswith(f"{head} ", place):
                return None
            name_at = place + len(head) + 1
            if text.startswith(", ", name_at):
                name_at += 2
        named = self._names.at(text, name_at)
        if named is None:
            return None
        for template in templates:
            if template.kind is EventKind.MARK and named.pronoun:
                continue
            end = self._tail_end(text, named.end, template.tail)
            if end is not None and self._fits(text, template, end, named):
                return Done(kind=template.kind, named=named, start=place, end=end)
        return None

    @staticmethod
    def _tail_end(text: str, name_end: int, tail: str) -> int | None:
        """Give the end of `tail` after a name, a comma between them allowed."""
        if not tail:
            return name_end
        for gap in (" ", " , ", " that "):
            if text.startswith(f"{gap}{tail} ", name_end):
                return name_end + len(gap) + len(tail)
        return None

    @staticmethod
    def _fits(text: str, template: _Template, end: int, named: Named) -> bool:
        """Refuse where the sentence goes on in a way that makes it something else."""
        place = end + 1
        place = sayings.TAIL.match(text, place).end()  # type: ignore[union-attr]
        if sayings.STOP.match(text, place) or sayings.HEDGE_TAIL.match(text, place):
            return True
        if template.kind is EventKind.AWAY and leads_to_bearing(text, place):
            return True
        if template.tail == "" or named.pronoun:
            return False
        return template.tail != "" and bool(sayings.ONWARD.match(text, place))

    def _missed_sight(self, text: str, place: int) -> Done | None:
        """Read "I missed her leaving": it did, but when is not known."""
        match = re.compile(r"(?:i|we) (?:did not see|missed) ").match(text, place)
        named = self._names.at(text, match.end()) if match else None
        if named is None:
            return None
        for pattern, kind in ((_LEAVING, EventKind.AWAY), (_LANDING, EventKind.BACK)):
            found = pattern.match(text, named.end)
            if found:
                return Done(
                    kind=kind,
                    named=named,
                    start=place,
                    end=found.end(),
                    flags=("not seen as it happened: the time is late",),
                )
        return None

    def _painted(self, text: str, place: int) -> Done | None:
        """Read "I have painted this one pink", "put a yellow dot on her"."""
        match = _PAINTING.match(text, place)
        if match is None:
            return None
        named = self._names.at(text, match.end())
        if named is None or named.pronoun:
            return None
        more = _PAINTED.match(text, named.end)
        end = more.end() if more else named.end
        on_her = _ON_HER.match(text, end)
        end = on_her.end() if on_her else end
        if not sayings.STOP.match(text, end + 1):
            return None
        return Done(kind=EventKind.MARK, named=named, start=place, end=end)

    def bare(self, text: str, place: int) -> Done | None:
        """Read a bee's name that is all that is said."""
        named = self._names.at(text, place)
        if named is None:
            return None
        after = sayings.TAIL.match(text, named.end + 1)
        end = after.end() if after else named.end + 1
        if not sayings.STOP.match(text, end):
            return None
        return Done(
            kind=EventKind.BACK, named=named, start=place, end=named.end, certain=False
        )


BEARING_LINK = re.compile(
    r"(?:(?:,|and|heading|bearing|flying|going|is|was|of|off|out|away|due|to|towards"
    r"|toward|the|at|on|in|a|straight|about|around|roughly|approximately|maybe|perhaps"
    r"|probably|possibly|nearly|almost|direction|compass|says|reads|said|it|her|course"
    r"|i|make|made|that) )*"
)
_BEARING_START = re.compile(
    r"(?:north|south|east|west|zero|oh|one|two|three|a hundred|\d)"
)


def leads_to_bearing(text: str, place: int) -> bool:
    """Tell whether what follows is where the bee flew, in degrees or as a point."""
    match = BEARING_LINK.match(text, place)
    return match is not None and bool(_BEARING_START.match(text, match.end()))
