"""What bees did, out of free speech: the phrase book's ways, with any bee's name."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from . import sayings
from .adjuncts import adjuncts, goes_on
from .bee_names import Named
from .movement_words import AND_THEN, PATTERNS, PRESENT, STILL
from .narrated_bearings import leads_to_bearing, same_way_at
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
_PLURAL_HEADS: Mapping[str, str] = {
    "here comes": "here come",
    "there goes": "there go",
    "off goes": "off go",
    "away goes": "away go",
    "up goes": "up go",
    "out goes": "out go",
    "in comes": "in come",
    "back comes": "back come",
    "here is": "here are",
    "there is": "there are",
}
_THEY: Mapping[str, EventKind] = {
    "here they come": EventKind.BACK,
    "here they are": EventKind.BACK,
    "off they go": EventKind.AWAY,
    "there they go": EventKind.AWAY,
    "away they go": EventKind.AWAY,
}
_OR = re.compile(r" (?:, )?or (?:(?:maybe|perhaps|possibly|is it) )?")
_BACKWARDS = re.compile(r"(?:in|back|down|here) ")
_ENDS_IN_PREPOSITION = re.compile(
    r"(?:in|on|off|out|down|up|left|went|goes|here|again)$"
)
_OBJECT = re.compile(r"(?:the|a|an|her|his|its|my|our|your|their|to|for|of|with|some) ")
_PAINTING = re.compile(
    r"(?:(?:i|we|have|am|are|was|new bee|got) |, )*"
    r"(?:mark|marked|painted|marking|painting|put|putting|dabbed|gave|given|got|done"
    r"|dotted|daubed)"
    r"(?: (?:this|that|the|one|a|an|another|new|next|bee|her|it|some|dot|of|bit"
    r"|little|spot|blob|dab|drop|splash|touch|up))* "
)
_PAINTED = re.compile(r" (?:one|bee|dot|spot|paint|mark|blob)(?= )")
_ON_HER = re.compile(
    r" on (?:this|that|the|her|it|one|another|a|new|my)"
    r"(?: (?!and |but |then |so )[a-z]+){0,4}?(?= [.?,]| and | but | so |$)"
)
_NOUNS = frozenset({"leaves", "drops", "lands", "flies", "left", "in", "out", "up"})
_NOT_YET = re.compile(r" (?:yet|so far|since|for a while|lately)(?= )")
_FOLLOWS_LEAD = re.compile(
    r"(?:(?:and|then|,|first|next|that will be|this is|so is|so did|also|followed by"
    r"|joined by|with|now|there is"
    r"|here is|that is) )*"
)
_FOLLOWS_TAIL = re.compile(
    r"(?:, )?(?:(?:is|was|did) )?(?:(?:right|straight|just|close|hot|directly|not far"
    r"|a bit"
    r"|a second|a moment) )?(?:behind(?: her| it| them)?|after(?: her| it| them)?"
    r"|on her (?:heels|tail)|with (?:her|it|them)|too|as well|also|likewise|next"
    r"|followed(?: her| it)?|follows|following|joining her|alongside)(?= )"
)
_PARTICLE = re.compile(
    r"(?:and )?(?:(?P<away>off|away|up|out)|back|in|down"
    r"|(?:with|behind|after|beside) (?:her|it|them)(?= (?:comes|lands|is)))"
    r" (?:right |straight |again |at last )?"
)
_MOVED = re.compile(
    r"(?:goes|go|pops|pop|zooms|flies|zips|shoots|drops|comes|come|went|came|popped"
    r"|flew"
    r"|dropped|is|sails|floats|whizzes|buzzes|trots|toddles|sets|darts|slips|lands) "
)
_RELATIVE = re.compile(r" (?:, )?(?:who|which|that) ")
# Said of a bee between commas: "orange, the one with the torn wing, is back".
_ASIDE = re.compile(
    r" , (?:which|who|the|my|our|number|that|bless|again|at last|finally|of all)"
    r"(?: [^.?, ]+){0,9} , "
)
_ARRIVAL = re.compile(
    r"(?:(?:my|the|our|and|so|today is) )*(?:first|next|second|third|latest|last|new"
    r"|only)"
    r" (?:(?:bee|one) )?(?:arrival|visitor|guest|customer|caller|in|back|to (?:land"
    r"|arrive"
    r"|come|return|come in|come back|be back|show))(?: [a-z]+){0,2}? (?:is|was) "
)
_LEAVER = re.compile(
    r"(?:(?:the|and|so) )*(?:first|next|last) (?:(?:bee|one) )?(?:away|off|out"
    r"|to (?:leave"
    r"|go|depart|take off|be off|fly)) (?:is|was) "
)
_GIVEN_UP = re.compile(
    r"(?:(?:i|we|am|are|so|and|have|will) )*(?:writing|giving|counting|recording"
    r"|marking"
    r"|putting|written|given|calling|put)(?: up on)? "
)
_AS_LOST = re.compile(
    r" (?:off|up|(?:down )?(?:as )?(?:missed|lost|a no show))(?= [.,])"
)
_VISIT = re.compile(
    r"(?:(?:we|i|have|had|is|another|a|got|there is) )*visit (?:from|by) "
)
_MAY_COME = re.compile(r"late|overdue|should|missing|is not back")
_PLURAL = re.compile(
    r"(?: ,)?(?: (?:are|were|have|is|has|had|both|all|each|together|been|too|now"
    r"|then))*"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """Something a bee did, said from `start` to `end` of the text."""

    kind: EventKind
    named: Named
    start: int
    end: int
    flags: tuple[str, ...] = ()
    certain: bool = True  # False: a bee is named, but not what it did
    others: tuple[str, ...] = ()  # bees it may have been instead
    both: tuple[str, ...] = ()  # bees that all did it
    loose: bool = False  # not as the phrase book lists it
    ago_s: float = 0.0  # it happened so long before it was said
    after: int = 0  # where reading goes on, when that is not the end


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
                if head in _PLURAL_HEADS:
                    self._add(_PLURAL_HEADS[head], tail, EventKind(action.kind))
        self._add("there", "is", EventKind.BACK)
        for head, kind in _THEY.items():
            self._add(head, "", kind)
        for tail, kind in _PARTICIPLES.items():
            self._add("", tail, kind)
        for templates in self._by_head.values():
            templates.sort(key=lambda template: -len(template.tail))

    def _add(self, head: str, tail: str, kind: EventKind) -> None:
        templates = self._by_head.setdefault(head, [])
        templates.append(_Template(head=head, tail=tail, kind=kind))

    def at(self, text: str, place: int) -> Done | None:
        """Find the longest note about a bee that starts at `place`."""
        special = (
            self._missed_sight(text, place)
            or self._painted(text, place)
            or self._inverted(text, place)
            or self._as_noun(text, place)
        )
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
        if named is None or (head == "there" and named.pronoun != "she"):
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
            several = bool(named.marks or named.group)
            end = None
            if not several:
                end = self._tail_end(text, name_end, template.tail)
            elif template.tail:
                end = self._plural_end(text, named, template.tail)
            elif template.head:
                end = named.end
            both = named.marks if end else ()
            flags = () if end is None else self._fits(text, template, end, named)
            if end is not None and flags is not None:
                kind = template.kind
                soft = kind is EventKind.MISSED and _MAY_COME.search(template.tail)
                if soft or (kind is EventKind.MISSED and "no sign" in template.head):
                    flags = (*flags, "she may still come")
                return [
                    Done(
                        kind=kind, named=named, start=0, end=end, flags=flags, both=both
                    )
                ]
        return []

    def _moved(self, text: str, named: Named, name_end: int) -> list[Done]:
        """Read what a bee did in verb and particle, whatever the verb."""
        found: list[Done] = []
        starts = [name_end + (3 if text.startswith(" , ", name_end) else 1)]
        for gap in (_RELATIVE.match(text, name_end), _ASIDE.match(text, name_end)):
            if gap and (named.mark or named.marks):
                starts.append(gap.end())
        for start, (kind, pattern) in product(starts, PATTERNS):
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
        """Give the end of "are both back" after several bees named together."""
        verb = _PLURAL.match(text, named.end)
        tail = re.sub(r"^(?:is|was) ", "", tail)
        if verb is None or not text.startswith(f" {tail} ", verb.end()):
            return None
        return verb.end() + 1 + len(tail)

    @staticmethod
    def _tail_end(text: str, name_end: int, tail: str) -> int | None:
        """Give the end of `tail` after a name, a comma between them allowed."""
        if not tail:
            return name_end
        gaps = [" ", " , ", " that ", " who ", " , who ", " which ", " , which "]
        aside = _ASIDE.match(text, name_end)
        if aside:
            gaps.append(aside[0])
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
    ) -> tuple[str, ...] | None:
        """Refuse (None) where the sentence goes on and becomes something else.

        Otherwise give the flags that what follows calls for.
        """
        place = end + 1
        leaves = template.kind is EventKind.AWAY
        if template.kind is EventKind.MISSED and _NOT_YET.search(
            text[named.end : text.index(" ", place) + 1]
        ):
            return None
        here = template.kind is EventKind.BACK
        place = _after_tail(text, place, places=not named.pronoun, here=here)
        if (
            sayings.STOP.match(text, place)
            or sayings.HEDGE_TAIL.match(text, place)
            or AND_THEN.match(text, place)
            or (leaves and (leads_to_bearing(text, place) or same_way_at(text, place)))
            or (not named.pronoun and template.tail and goes_on(text, place))
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
        if vague or odd or back or template.tail.split()[-1] in _NOUNS:
            return None
        border = re.compile(r" [.?,] |$").search(text, place)
        more = text[place : border.start() if border else len(text)]
        return (f"more was said: '{more.strip()}'",)

    def _as_noun(self, text: str, place: int) -> Done | None:
        """Read "the next arrival is blue", "first to leave was red"."""
        for pattern, kind in (
            (_ARRIVAL, EventKind.BACK),
            (_VISIT, EventKind.BACK),
            (_LEAVER, EventKind.AWAY),
            (_GIVEN_UP, EventKind.MISSED),
        ):
            match = pattern.match(text, place)
            named = self._names.at(text, match.end()) if match else None
            if named and pattern is _GIVEN_UP and not _AS_LOST.match(text, named.end):
                continue
            if named and not named.pronoun:
                return Done(
                    kind=kind,
                    named=named,
                    start=place,
                    end=named.end,
                    both=named.marks,
                )
        return None

    def _inverted(self, text: str, place: int) -> Done | None:
        """Read "off she pops", "in drops white"."""
        particle = _PARTICLE.match(text, place)
        if particle is None:
            return None
        verb = _MOVED.match(text, particle.end())
        named = self._names.at(text, verb.end() if verb else particle.end())
        if named is None or named.some:
            return None
        end = named.end
        if not verb:
            verb = _MOVED.match(text, named.end + 1)
            if verb is None:
                return None
            end = verb.end() - 1
        kind = EventKind.AWAY if particle["away"] else EventKind.BACK
        template = _Template(head=particle[0], tail=particle[0].strip(), kind=kind)
        flags = self._fits(text, template, end, named)
        if flags is None:
            return None
        return Done(
            kind=kind,
            named=named,
            start=place,
            end=end,
            flags=flags,
            both=named.marks,
            loose=bool(named.pronoun),
        )

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
        named = self._names.single(text, match.end())
        if named is None:
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

    def going_on(self, text: str, place: int, named: Named) -> Done | None:
        """Read what the same bee did next: "landed, then left"."""
        link = AND_THEN.match(text, place)
        if link is None:
            return None
        found: list[Done] = []
        for kind, pattern in PATTERNS:
            match = pattern.match(text, link.end())
            if match is None:
                continue
            template = _Template(head="", tail=match[0], kind=kind)
            flags = self._fits(text, template, match.end(), named)
            if flags is not None:
                found.append(
                    Done(
                        kind=kind,
                        named=named,
                        start=place,
                        end=match.end(),
                        flags=flags,
                    )
                )
        return max(found, key=lambda done: done.end, default=None)

    def follower(self, text: str, place: int, kind: EventKind) -> Done | None:
        """Read a bee named as doing what the one before did: "and then white"."""
        lead = _FOLLOWS_LEAD.match(text, place)
        start = lead.end() if lead else place
        named = self._names.single(text, start)
        if named is None:
            return None
        tail = _FOLLOWS_TAIL.match(text, named.end + 1)
        end = (tail.end() if tail else named.end) + 1
        after = _after_tail(text, end, places=True)
        led = bool(lead and re.search(r"then|followed|next|so ", lead[0]))
        if not (tail or led or after > end):
            return None
        if not (
            sayings.STOP.match(text, after)
            or leads_to_bearing(text, after)
            or same_way_at(text, after)
        ):
            return None
        end = tail.end() if tail else named.end
        return Done(kind=kind, named=named, start=place, end=end)

    def clipped(self, text: str, place: int) -> Done | None:
        """Read a name and what the bee did as two sentences: "Yellow. Down."."""
        named = self._names.at(text, place)
        if named is None or named.pronoun or not text.startswith(" . ", named.end):
            return None
        for kind, pattern in PATTERNS:
            match = pattern.match(text, named.end + 3)
            if match and text[match.end() + 1 : match.end() + 2] in {".", ","}:
                return Done(
                    kind=kind,
                    named=named,
                    start=place,
                    end=match.end(),
                    both=named.marks,
                )
        return None

    @staticmethod
    def present(text: str, done: Done) -> bool:
        """Tell whether only her being here was said: "is drinking"."""
        match = PRESENT.match(text, done.named.end + 1)
        return (
            done.kind is EventKind.BACK
            and match is not None
            and match.end() == done.end
        )

    @staticmethod
    def goes_nowhere(text: str, place: int) -> bool:
        """Tell whether a bee is said to do nothing new: "still here"."""
        return STILL.match(text, place) is not None

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


def _after_tail(text: str, place: int, *, places: bool, here: bool = False) -> int:
    """Give the place after everything that was added to a note."""
    while True:
        tail = sayings.TAIL.match(text, place)
        start = tail.end() if tail else place
        end = adjuncts(text, start, places=places, here=here).end
        if end == place:
            return place
        place = end
