"""What bees did, out of free speech: the phrase book's ways, with any bee's name."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from . import sayings
from .bee_names import Named
from .flags import Flag, FlagCode
from .movement_words import PATTERNS
from .narrated_bearings import leads_to_bearing
from .sentences import plain_phrase

if TYPE_CHECKING:
    from collections.abc import Mapping

    from treeward.language.phrasebook import PhraseBook

    from .bee_names import BeeNames

_SLOT = "{mark}"
_LEAVING = re.compile(r" (?:leaving|leave|going|go|departing|flying off|take off)(?= )")
_LANDING = re.compile(r" (?:landing|land|coming in|come in|arriving|arrive)(?= )")
_PARTICIPLES: Mapping[str, EventKind] = {
    "leaving": EventKind.AWAY,
    "going": EventKind.AWAY,
    "flying off": EventKind.AWAY,
    "flying away": EventKind.AWAY,
    "taking off": EventKind.AWAY,
    "lifting off": EventKind.AWAY,
    "heading off": EventKind.AWAY,
    "setting off": EventKind.AWAY,
    "going off": EventKind.AWAY,
    "landing": EventKind.BACK,
    "arriving": EventKind.BACK,
    "coming in": EventKind.BACK,
    "coming back": EventKind.BACK,
    "touching down": EventKind.BACK,
}
# Said of the bee just watched, without naming her: "... and away".
_LONE: Mapping[str, EventKind] = {
    "away": EventKind.AWAY,
    "gone": EventKind.AWAY,
    "and away": EventKind.AWAY,
    "and off": EventKind.AWAY,
    "and gone": EventKind.AWAY,
    "away again": EventKind.AWAY,
    "off again": EventKind.AWAY,
    "landed": EventKind.BACK,
    "back again": EventKind.BACK,
}
_SEEN = frozenset(
    {
        "",
        "we have",
        "i have",
        "there is",
        "here is",
        "that is",
        "i can see",
        "i see",
        "i have got",
    }
)
_OR = re.compile(r" (?:, )?or (?:(?:maybe|perhaps|possibly|is it) )?")
_BACKWARDS = re.compile(r"(?:in|back|down|here) ")
_ENDS_IN_PREPOSITION = re.compile(
    r"(?:in|on|off|out|down|up|left|went|goes|here|again)$"
)
_OBJECT = re.compile(r"(?:the|a|an|her|his|its|my|our|your|their|to|for|of|with|some) ")
_PAINTING = re.compile(
    r"(?:(?:i|we|have|am|are|was|new bee|got) |, )*"
    r"(?:mark|marked|painted|marking|painting|put|putting|dabbed|gave|given|got)"
    r"(?: (?:this|that|the|one|a|an|another|new|next|bee|her|it|some|dot|of|bit"
    r"|little))* "
)
_PAINTED = re.compile(r" (?:one|bee|dot|spot|paint|mark|blob)(?= )")
_ON_HER = re.compile(
    r" on(?: (?:this|that|the|her|it|one|another|a|new|bee))+"
    r"(?: (?:is )?(?:back|thorax|abdomen))?(?= )"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """Something a bee did, said from `start` to `end` of the text."""

    kind: EventKind
    named: Named
    start: int
    end: int
    flags: tuple[Flag, ...] = ()
    certain: bool = True  # False: a bee is named, but not what it did
    others: tuple[str, ...] = ()  # bees it may have been instead
    both: tuple[str, ...] = ()  # bees that all did it
    loose: bool = False  # not as the phrase book lists it


@dataclass(frozen=True, slots=True, kw_only=True)
class _Template:
    head: str
    tail: str
    kind: EventKind


class Actions:
    """Finds what a bee did at a place in the text of sentences."""

    def __init__(self, book: PhraseBook, names: BeeNames) -> None:
        self._names = names
        self._by_head: dict[str, list[_Template]] = {head: [] for head in _SEEN}
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
        name_end, others = self._or_another(text, named)
        found = self._listed(text, named, name_end, templates)
        if head in _SEEN and named.pronoun != "it":
            found += self._moved(text, named, name_end)
        best = max(found, key=lambda done: done.end, default=None)
        return replace(best, start=place, others=others) if best else None

    def _listed(
        self, text: str, named: Named, name_end: int, templates: list[_Template]
    ) -> list[Done]:
        """Read what the phrase book lists; the first that fits, longest first."""
        for template in templates:
            if template.kind is EventKind.MARK and named.pronoun:
                continue
            end = self._tail_end(text, name_end, template.tail)
            both: tuple[str, ...] = ()
            if end is None:
                end = self._plural_end(text, named, template.tail)
                both = tuple(named.mark.split("-")) if end else ()
            flags = () if end is None else self._fits(text, template, end, named)
            if end is not None and flags is not None:
                kind = template.kind
                return [
                    Done(
                        kind=kind, named=named, start=0, end=end, flags=flags, both=both
                    )
                ]
        return []

    def _moved(self, text: str, named: Named, name_end: int) -> list[Done]:
        """Read what a bee did in verb and particle, whatever the verb."""
        start = name_end + (3 if text.startswith(" , ", name_end) else 1)
        found: list[Done] = []
        for kind, pattern in PATTERNS:
            match = pattern.match(text, start)
            if match is None:
                continue
            template = _Template(head="", tail=match[0], kind=kind)
            flags = self._fits(text, template, match.end(), named)
            if flags is not None:
                found.append(
                    Done(
                        kind=kind,
                        named=named,
                        start=0,
                        end=match.end(),
                        flags=flags,
                        loose=True,
                    )
                )
        return found

    def _or_another(self, text: str, named: Named) -> tuple[int, tuple[str, ...]]:
        """Read "blue or purple": where the names end, and the other bee."""
        link = _OR.match(text, named.end)
        other = self._names.at(text, link.end()) if link else None
        if other is None or not other.mark:
            return named.end, ()
        return other.end, (other.mark,)

    @staticmethod
    def _plural_end(text: str, named: Named, tail: str) -> int | None:
        """Give the end of "are both back" after two bees named together."""
        if "-" not in named.mark or " " in named.mark or not tail.startswith("is "):
            return None
        for verb in (" are both ", " are ", " have both ", " have ", " both "):
            plural = f"{verb}{tail.removeprefix('is ')} "
            if text.startswith(plural, named.end):
                return named.end + len(plural) - 1
        return None

    @staticmethod
    def _tail_end(text: str, name_end: int, tail: str) -> int | None:
        """Give the end of `tail` after a name, a comma between them allowed."""
        if not tail:
            return name_end
        gaps = [" ", " , ", " that "]
        hedge = sayings.HEDGE_BETWEEN.match(text, name_end)
        if hedge:
            gaps.append(hedge[0])
        for gap in gaps:
            if text.startswith(f"{gap}{tail} ", name_end):
                return name_end + len(gap) + len(tail)
        return None

    @staticmethod
    def _fits(
        text: str, template: _Template, end: int, named: Named
    ) -> tuple[Flag, ...] | None:
        """Refuse (None) where the sentence goes on and becomes something else.

        Otherwise give the flags that what follows calls for.
        """
        place = end + 1
        place = sayings.TAIL.match(text, place).end()  # type: ignore[union-attr]
        leaves = template.kind is EventKind.AWAY
        if (
            sayings.STOP.match(text, place)
            or sayings.HEDGE_TAIL.match(text, place)
            or (leaves and leads_to_bearing(text, place))
        ):
            return ()
        if sayings.AT_TIME.match(text, place) and not named.pronoun and template.tail:
            return ()
        vague = template.tail == "" or bool(named.pronoun)
        if not vague and (
            sayings.LEFT_PLACE.match(text, place) or sayings.ONWARD.match(text, place)
        ):
            return ()
        has_object = _OBJECT.match(text, place) is not None
        back = leaves and _BACKWARDS.match(text, place) is not None  # "has flown in"
        odd = has_object and _ENDS_IN_PREPOSITION.search(template.tail) is not None
        if vague or odd or back or not template.tail.startswith("is "):
            return None
        border = re.compile(r" [.?,] |$").search(text, place)
        more = text[place : border.start() if border else len(text)]
        return (Flag.of(FlagCode.MORE_SAID, more.strip()),)

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
                    flags=(Flag(FlagCode.NOT_AS_IT_HAPPENED),),
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
        if not sayings.STOP.match(text, end + 1) or (
            not on_her and " got " in match[0]
        ):
            return None
        return Done(kind=EventKind.MARK, named=named, start=place, end=end)

    def lone(self, text: str, place: int) -> Done | None:
        """Read an action that is a whole clause by itself: "... and away"."""
        for words, kind in _LONE.items():
            end = place + len(words)
            if text.startswith(f"{words} ", place) and text[end + 1 : end + 2] in ".,":
                named = Named(mark="", end=end, pronoun=words)
                return Done(kind=kind, named=named, start=place, end=end)
        return None

    def bare(self, text: str, place: int) -> Done | None:
        """Read a bee's name that is all that is said."""
        named = self._names.at(text, place)
        if named is None:
            return None
        name_end, others = self._or_another(text, named)
        after = sayings.TAIL.match(text, name_end + 1)
        end = after.end() if after else name_end + 1
        if not sayings.STOP.match(text, end):
            return None
        return Done(
            kind=EventKind.BACK,
            named=named,
            start=place,
            end=name_end,
            certain=False,
            others=others,
        )
