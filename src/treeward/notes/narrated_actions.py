"""What bees did, out of free speech: the phrase book's ways, with any bee's name."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from . import sayings
from .bee_names import Named
from .flags import Flag, FlagCode
from .narrated_bearings import leads_to_bearing, same_way_at
from .narrated_durations import adjuncts, goes_on, stretch_of_time
from .sentences import plain_phrase

if TYPE_CHECKING:
    from treeward.language.phrasebook import PhraseBook

    from .bee_names import BeeNames
    from .sentences import Told

_LEADS_ON = re.compile(r"then|followed|next|so |heels|tail|behind|after|beside")
MAY_COME_FLAG = Flag(FlagCode.MAY_COME)
_SLOT = "{mark}"


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
    ago_s: float = 0.0  # it happened so long before it was said
    after: int = 0  # where reading goes on, when that is not the end
    present: bool = False  # only her being here was said


@dataclass(frozen=True, slots=True, kw_only=True)
class _Template:
    head: str
    tail: str
    kind: EventKind


class Actions:
    """Finds what a bee did at a place in the text of sentences."""

    def __init__(self, book: PhraseBook, names: BeeNames) -> None:
        self._names = names
        self._by_head: dict[str, list[_Template]] = {head: [] for head in sayings.SEEN}
        for action in book.actions.values():
            for way in (*action.say, *action.narrate):
                head, tail = (plain_phrase(part) for part in way.split(_SLOT))
                self._add(head, tail, EventKind(action.kind))
                if head in sayings.PLURAL_HEADS:
                    self._add(sayings.PLURAL_HEADS[head], tail, EventKind(action.kind))
        self._add("there", "is", EventKind.BACK)
        for farewell in sayings.FAREWELLS:
            self._add(farewell, "", EventKind.AWAY)
        for head, kind in sayings.THEY.items():
            self._add(head, "", kind)
        for tail, kind in sayings.PARTICIPLES.items():
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
            or self._who_came(text, place)
            or self._painted(text, place)
            or self._inverted(text, place)
            or self._as_noun(text, place)
            or self._together(text, place)
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
        if head in sayings.SEEN and named.pronoun != "it":
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
                soft = kind is EventKind.MISSED and sayings.MAY_COME.search(
                    template.tail
                )
                if soft or (kind is EventKind.MISSED and "no sign" in template.head):
                    flags = (*flags, MAY_COME_FLAG)
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
        gaps = (
            sayings.RELATIVE.match(text, name_end),
            sayings.ASIDE.match(text, name_end),
        )
        if named.mark or named.marks:
            starts += [gap.end() for gap in gaps if gap]
        first = sayings.FIRST.match(text, name_end) if named.mark else None
        if first:
            starts.append(first.end())
        for start, (kind, pattern) in product(starts, sayings.PATTERNS):
            match = pattern.match(text, start)
            late = first and start == first.end() and found
            if match is None or late:
                continue
            template = _Template(head="", tail=match[0], kind=kind)
            flags = self._fits(text, template, match.end(), named)
            if flags is not None:
                if kind is EventKind.MISSED and sayings.MAY_COME.search(match[0]):
                    flags = (*flags, MAY_COME_FLAG)
                if first and start == first.end():
                    flags = (
                        *flags,
                        Flag.of(FlagCode.MORE_SAID_BEFORE, first[0].strip()),
                    )
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
        link = sayings.OR.match(text, named.end)
        other = self._names.at(text, link.end()) if link else None
        if other is None or not other.mark:
            return named.end, ()
        return other.end, (other.mark,)

    @staticmethod
    def _plural_end(text: str, named: Named, tail: str) -> int | None:
        """Give the end of "are both back" after several bees named together."""
        verb = sayings.PLURAL.match(text, named.end)
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
        aside = sayings.ASIDE.match(text, name_end)
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
    ) -> tuple[Flag, ...] | None:
        """Refuse (None) where the sentence goes on and becomes something else.

        Otherwise give the flags that what follows calls for.
        """
        place = end + 1
        leaves = template.kind is EventKind.AWAY
        if template.kind is EventKind.MISSED and sayings.NOT_YET.search(
            text[named.end : text.index(" ", place) + 1]
        ):
            return None
        here = template.kind is EventKind.BACK
        place = _after_tail(text, place, places=not named.pronoun, here=here)
        if (
            sayings.STOP.match(text, place)
            or sayings.HEDGE_TAIL.match(text, place)
            or sayings.AND_THEN.match(text, place)
            or (here and stretch_of_time(text, place))
            or (leaves and (leads_to_bearing(text, place) or same_way_at(text, place)))
            or (not named.pronoun and template.tail and goes_on(text, place))
        ):
            return ()
        at_time = sayings.AT_TIME.match(text, place) and template.tail
        from_it = sayings.FROM_DISH.match(text, place) if leaves else None
        if (at_time and named.pronoun in {"", "she"}) or (
            from_it and leads_to_bearing(text, from_it.end())
        ):
            return ()
        vague = template.tail == "" or bool(named.pronoun)
        if not vague and (
            sayings.LEFT_PLACE.match(text, place) or sayings.ONWARD.match(text, place)
        ):
            return ()
        has_object = sayings.OBJECT.match(text, place) is not None
        back = (
            leaves and sayings.BACKWARDS.match(text, place) is not None
        )  # "has flown in"
        odd = (
            has_object and sayings.ENDS_IN_PREPOSITION.search(template.tail) is not None
        )
        if vague or odd or back or template.tail.split()[-1] in sayings.AS_NOUNS:
            return None
        border = re.compile(r" [.?,] |$").search(text, place)
        more = text[place : border.start() if border else len(text)]
        return (Flag.of(FlagCode.MORE_SAID, more.strip()),)

    def _as_noun(self, text: str, place: int) -> Done | None:
        """Read "the next arrival is blue", "first to leave was red"."""
        for pattern, kind in (
            (sayings.ARRIVAL, EventKind.BACK),
            (sayings.VISIT, EventKind.BACK),
            (sayings.SOMEBODY, EventKind.BACK),
            (sayings.LEAVER, EventKind.AWAY),
            (sayings.LEAVING_OF, EventKind.AWAY),
            (sayings.LANDING_OF, EventKind.BACK),
            (sayings.GIVEN_UP, EventKind.MISSED),
        ):
            match = pattern.match(text, place)
            named = self._names.at(text, match.end()) if match else None
            if (
                named
                and pattern is sayings.GIVEN_UP
                and not sayings.AS_LOST.match(text, named.end)
            ):
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

    def _together(self, text: str, place: int) -> Done | None:
        """Read "two at once, yellow and white": they came."""
        named = self._names.at(text, place)
        if named is None or not named.marks:
            return None
        end = _after_tail(text, named.end + 1, places=True)
        said = text[named.end : end]
        if self._names.single(text, place) and not sayings.AS_ONE.search(said):
            return None
        if re.search(r" colou?rs (?:, )?$", text[:place]):  # of one bee
            return None
        if text[end : end + 1] not in {".", ","}:
            return None
        return Done(
            kind=EventKind.BACK,
            named=named,
            start=place,
            end=named.end,
            both=named.marks,
            flags=(Flag(FlagCode.ONLY_BEES_NAMED),),
        )

    def _inverted(self, text: str, place: int) -> Done | None:
        """Read "off she pops", "in drops white"."""
        particle = sayings.PARTICLE.match(text, place)
        if particle is None:
            return None
        verb = sayings.MOVED.match(text, particle.end())
        named = self._names.at(text, verb.end() if verb else particle.end())
        if named is None or named.some:
            return None
        end = named.end
        if not verb:
            verb = sayings.MOVED.match(text, named.end + 1)
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
        for pattern, kind in (
            (sayings.LEAVING, EventKind.AWAY),
            (sayings.LANDING, EventKind.BACK),
        ):
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

    def _who_came(self, text: str, place: int) -> Done | None:
        """Read "look who is back, yellow", "and who is this landing, all pink"."""
        match = sayings.WHO_CAME.match(text, place)
        border = re.compile(r" [.?] ").search(text, match.end()) if match else None
        if match is None or border is None:
            return None
        word = self._names.word.search(text, match.end() - 1, border.start() + 1)
        named = self._names.single(text, word.start() + 1) if word else None
        return (
            Done(
                kind=EventKind.BACK,
                named=named,
                start=place,
                end=named.end,
                flags=(Flag(FlagCode.AMID_WORDS),),
            )
            if named
            else None
        )

    def _painted(self, text: str, place: int) -> Done | None:
        """Read "I have painted this one pink", "put a yellow dot on her"."""
        match = sayings.PAINTS.match(text, place)
        if match is None:
            return None
        named = self._names.single(text, match.end())
        if named is None:
            return None
        more = sayings.PAINTED.match(text, named.end)
        end = more.end() if more else named.end
        on_her = sayings.ON_HER.match(text, end)
        end = on_her.end() if on_her else end
        if not sayings.STOP.match(text, end + 1) or (
            not on_her and " got " in f" {match[0]}"
        ):
            return None
        return Done(kind=EventKind.MARK, named=named, start=place, end=end)

    def going_on(self, text: str, place: int, named: Named) -> Done | None:
        """Read what the same bee did next: "landed, then left"."""
        link = sayings.AND_THEN.match(text, place)
        if link is None:
            return None
        found: list[Done] = []
        for kind, pattern in sayings.PATTERNS:
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
        lead = sayings.FOLLOWS_LEAD.match(text, place)
        start = lead.end() if lead else place
        named = self._names.single(text, start)
        if named is None:
            return None
        tail = sayings.FOLLOWS_TAIL.match(text, named.end + 1)
        end = (tail.end() if tail else named.end) + 1
        after = _after_tail(text, end, places=True)
        flew = lead and lead[0].endswith("with ") and leads_to_bearing(text, end)
        led = bool(lead and (flew or _LEADS_ON.search(lead[0])))
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
        for kind, pattern in sayings.PATTERNS:
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
        match = sayings.PRESENT.match(text, done.named.end + 1)
        return done.present or (
            done.kind is EventKind.BACK
            and match is not None
            and match.end() == done.end
        )

    @staticmethod
    def goes_nowhere(text: str, place: int) -> bool:
        """Tell whether a bee is said to do nothing new: "still here"."""
        return sayings.STILL.match(text, place) is not None

    def lone(self, text: str, place: int) -> Done | None:
        """Read an action that is a whole clause by itself: "... and away"."""
        for kind, pattern in sayings.LONE:
            match = pattern.match(text, place)
            if match:
                end = place + len(match[0].rstrip())
                named = Named(mark="", end=end, pronoun=match[0].strip())
                return Done(kind=kind, named=named, start=place, end=end)
        led = sayings.LONE_LED.match(text, place)
        if led and leads_to_bearing(text, led.end() + 1):
            named = Named(mark="", end=led.end(), pronoun=led[0])
            kind = EventKind.AWAY
            return Done(kind=kind, named=named, start=place, end=led.end())
        return None

    def bare(self, text: str, place: int) -> Done | None:
        """Read a bee's name that is all that is said."""
        named = self._names.at(text, place)
        if named is None or named.pronoun == "it":
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


def outweighs(done: Done | None, told: Told, *, already: bool) -> bool:
    """Tell whether what a bee did goes before a value said in the same place."""
    if done is None:
        return False
    if already:
        return False
    where_to = done.kind is EventKind.AWAY and told.kind is EventKind.BEARING
    return where_to or done.end > told.end
