"""Notes found in free speech, made into events with their bee and their doubts."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.speech.utterances import Alternative

from . import sayings
from . import sentences as st
from .bee_names import OTHER, BeeNames, Named, View
from .events import Event
from .flags import Flag, FlagCode
from .narrated_durations import adjuncts
from .told_before import (
    DRINKS_S,
    REPEATED_S,
    confirms,
    doubts_in_words,
    heading,
    left_last,
    left_together,
    mended,
    of_overhead,
    painted_long,
    restated,
    tells_a_way,
    told_already,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .narrated_actions import Done
    from .sentences import Speech, StreamWord, Told

ONE_BREATH_S = 6.0  # a bearing so soon after a leaving is that bee's; guess
SAID_TWICE_S = 6.0  # "she's off ... there she goes" is one leaving; guess
HEDGED = 0.5  # share of hedged notes that are right; guess
LATER_S = 30.0  # a bearing announced so soon after a leaving is that bee's; guess
CORRECTED_S = 45.0  # what is corrected was said not longer ago; guess
KNOWN_S = 90.0  # loose words so soon only tell more of what is noted; guess
FOLLOWS_S = 45.0  # "and white too" goes on about what was done so shortly before; guess
BY_PRONOUN = 0.6  # share of pronouns that mean the bee in view; guess


_LED = re.compile(r"(?:it|that|i|we|so it|make|call|bearing|no) ")
_ANNOUNCED = re.compile(
    r" (?:bearing|heading|direction|line|course|compass|reading|degrees?|flying"
    r"|flew|went|going|they|all|both) "
)


class FoundNotes:
    """The events of one recording so far, and the bees in view."""

    def __init__(
        self, speech: Speech, pieces: Sequence[StreamWord], names: BeeNames
    ) -> None:
        self.text = speech.text
        self.speech = speech
        self.pieces = pieces
        self.names = names
        self.view = View()
        self.events: list[Event] = []
        self.given: set[int] = set()  # which of them were heard surely
        self.last_done: int | None = None  # index of the last thing a bee did
        self.by_pronoun = False
        self._again_s = 0.0  # when what a bee did last was told once more
        self._took_back = False
        self._same_at = -1  # index of a bearing that was told as "the same way"
        self.last_ago_s = 0.0
        self._done_until = 0  # up to where that was read
        self.mentioned = ""  # a bee named in this sentence, without what it did

    def leaving(self, place: int, within_s: float = ONE_BREATH_S) -> bool:
        """Tell whether a bee left just before `place`, its bearings aside."""
        if self.last_done is None:
            return False
        last, *after = self.events[self.last_done :]
        end_s = self.events[-1].end_s
        if last.kind is not EventKind.AWAY or end_s is None:
            return False
        told = {EventKind.BEARING, EventKind.TIME, EventKind.SCRATCH}
        bearings = all(event.kind in told for event in after)
        return bearings and self.second(place) - max(end_s, self._again_s) <= within_s

    def second(self, place: int) -> float:
        """Give the second of the recording that was reached at `place`."""
        return self.pieces[self.speech.owner[place]].start_s

    def soon(self, start: int, place: int) -> bool:
        """Tell whether what stands at `place` was said soon after `start`."""
        if place >= len(self.text):
            return False
        return self.second(place) - self.second(start) <= ONE_BREATH_S

    def since_done(self, place: int, within_s: float = FOLLOWS_S) -> Event | None:
        """Give what a bee did last, where that was shortly before `place`."""
        if self.last_done is None:
            return None
        last = self.events[self.last_done]
        if last.end_s is None or self.second(place) - last.end_s > within_s:
            return None
        return last

    def take_in(self, event: Event) -> None:
        """Take in a note that was heard surely."""
        self.given.add(len(self.events))
        if event.kind in {EventKind.BACK, EventKind.AWAY, EventKind.MARK}:
            self.last_done = len(self.events)
            self.by_pronoun = False
            self.view.note(event.kind, event.mark)
            self.names.seen.add(event.mark)
        if tells_a_way(event):
            self.view.along[event.mark] = event.value
        self.add(event)

    def mention(self, mark: str) -> None:
        """Take in that a bee was spoken of."""
        self.mentioned = self.view.spoken = mark

    def do(self, done: Done, hedges: tuple[str, ...]) -> int:
        """Take in what a bee did; gives the place where reading goes on."""
        both = done.both or done.named.marks
        if done.named.group and not both:
            both = self.view.group(done.kind, done.named.group)
            said = done.named.pronoun
            if len(both) < done.named.group or not both:
                unclear = Flag.of(FlagCode.WHICH_BEES, said)
                done = replace(done, flags=(*done.flags, unclear))
            else:
                meant = Flag.of(FlagCode.TAKEN_AS, said, " and ".join(both))
                done = replace(done, flags=(*done.flags, meant))
            if not both:
                named = replace(done.named, group=0, some=True)
                return self.do(replace(done, named=named, both=()), hedges)
        if both:
            ends = [
                self.do(
                    replace(done, named=self.names.called(done.named, mark), both=()),
                    hedges,
                )
                for mark in both
            ]
            return ends[-1]
        return self._do_one(done, hedges)

    def _do_one(self, done: Done, hedges: tuple[str, ...]) -> int:
        inner = sayings.HEDGE.findall(self.text, done.start, done.end + 1)
        start = done.after or done.end + 1
        here = done.kind is EventKind.BACK
        added = adjuncts(self.text, start, places=not done.named.pronoun, here=here)
        done = replace(
            done,
            ago_s=added.ago_s or done.ago_s,
            flags=(*done.flags, *added.flags),
            after=added.end,
        )
        self.last_ago_s = done.ago_s
        tail, end, others = self._hedge_after(done)
        mark = done.named.mark
        alternatives = [
            Alternative(text=f"{done.kind} {other}", confidence=0.4)
            for other in (*done.others, *others)
        ]
        said = tuple(filter(None, (*hedges, *map(str.strip, inner), tail)))
        flags = [*done.flags, *doubts_in_words(done, said)]
        confidence = HEDGED if said else 1.0
        if not mark:
            mark, why, could_be = self._meant(done)
            talk = not mark and not self._worth_asking(done, could_be)
            if talk or self._said_before(done, mark):
                self._again_s = self.second(done.start)
                return end
            flags.append(why)
            confidence *= BY_PRONOUN
            alternatives += [
                Alternative(text=f"{done.kind} {other}", confidence=0.2)
                for other in could_be
                if other != mark
            ]
        elif self._repeated(done, mark) or self._known(done, mark):
            self._again_s = self.second(done.start)
            return end
        flags += self._doubts(done, mark)
        event = self._event(
            done.kind,
            done.start,
            done.end,
            mark=mark,
            flags=tuple(dict.fromkeys(flags)),
            confidence=confidence,
            alternatives=tuple(alternatives),
            ago_s=done.ago_s,
        )
        self._done_until = end
        if self._names_the_pronoun(done):
            self._name_last(event)
        else:
            self.last_done = len(self.events)
            self.add(event)
        self.by_pronoun = bool(done.named.pronoun)
        self.view.note(done.kind, mark)
        self.names.seen.add(mark)
        if done.kind is EventKind.MARK:
            self._learn_look(done, mark)
        return end

    def _doubts(self, done: Done, mark: str) -> list[Flag]:
        """Give what makes a note doubtful by what is known of the bee."""
        doubts: list[Flag] = []
        if done.kind is EventKind.BACK and mark and mark in self.view.here:
            missed = painted_long(self.events, mark, self.second(done.start))
            code = FlagCode.LEAVING_MISSED if missed else FlagCode.HERE_ALREADY
            doubts.append(Flag.of(code, mark))
        elif done.kind is EventKind.BACK and self._seen_late(done):
            doubts.append(Flag(FlagCode.FOUND_HERE))
        known = {*self.names.seen, *self.names.painted}
        new = mark and mark not in known and not self.names.painted
        if new and done.kind is EventKind.AWAY and len(self.names.seen) > 1:
            doubts.append(Flag.of(FlagCode.NEW_BEE, mark))
        return doubts

    def _learn_look(self, done: Done, mark: str) -> None:
        """Learn what a bee may be called from the sentence of her painting."""
        first = max(self.text.rfind(stop, 0, done.start) for stop in (" . ", " ? "))
        border = sayings.REST.search(self.text, done.end)
        said_end = border.start() if border else len(self.text)
        self.names.learn_look(self.text[max(0, first + 2) : said_end], mark)

    def _worth_asking(self, done: Done, could_be: Sequence[str]) -> bool:
        """Tell whether a note is to stand though nobody knows of which bee it is."""
        if done.named.some:
            return not done.named.pronoun.startswith("another")
        bare = self.text.startswith("it ", done.start)
        shown = self.text.endswith("there ", 0, done.start)
        return not (done.loose or (bare and not shown)) and (
            len(could_be) > 1 or not self.names.seen
        )

    def _seen_late(self, done: Done) -> bool:
        """Tell whether a bee was found to be here, her coming not seen."""
        said = self.text[done.named.end : done.end]
        border = sayings.REST.search(self.text, done.end)
        rest = self.text[done.end : border.start() + 1 if border else len(self.text)]
        return sayings.FOUND_HERE.search(f"{said}{rest} ") is not None

    def _repeated(self, done: Done, mark: str) -> bool:
        """Tell whether this is one note with the last, said again."""
        last = self.since_done(done.start)
        if last is None or (last.kind, last.mark) != (done.kind, mark):
            return False
        return self.second(done.start) - (last.end_s or 0.0) <= REPEATED_S

    def _known(self, done: Done, mark: str) -> bool:
        """Tell whether loose words only say where a bee is known to be."""
        last = next((e for e in reversed(self.events) if e.mark == mark), None)
        if last is None or mark not in self.view.pool(
            "away" if done.kind is EventKind.BACK else "back"
        ):
            return False
        soon_s = self.second(done.start) - (last.end_s or 0.0)
        if done.kind is EventKind.BACK and last.kind is EventKind.MARK:
            return soon_s <= DRINKS_S
        amid = any(flag.code is FlagCode.AMID_WORDS for flag in done.flags)
        return amid and soon_s <= KNOWN_S

    def _names_the_pronoun(self, done: Done) -> bool:
        """Tell whether this names the bee of "there she goes" just before."""
        return (
            self.by_pronoun
            and not done.named.pronoun
            and self._just_now(done) is not None
        )

    def _name_last(self, event: Event) -> None:
        """Give the event told by a pronoun its name and keep its earlier time."""
        if self.last_done is not None:
            before = self.events[self.last_done]
            if before.mark not in {"", event.mark}:  # the guess was wrong
                undo = "back" if event.kind is EventKind.AWAY else "away"
                self.view.note(undo, before.mark)
            self.events[self.last_done] = replace(
                event,
                start_s=before.start_s,
                end_s=before.end_s,
                heard=f"{before.heard} {event.heard}",
            )

    def _just_now(self, done: Done) -> Event | None:
        """Give the last thing a bee did, if it was the same just before."""
        if self.last_done is None:
            return None
        last = self.events[self.last_done]
        start_s = self.second(done.start)
        if last.kind is not done.kind or last.end_s is None:
            return None
        amid = any(flag.code is FlagCode.AMID_WORDS for flag in done.flags)
        within_s = FOLLOWS_S if amid else SAID_TWICE_S
        return last if start_s - last.end_s <= within_s else None

    def _meant(self, done: Done) -> tuple[str, Flag, Sequence[str]]:
        said = done.named.pronoun
        mark, could_be = self.view.meant(done.kind, said)
        if done.named.some:
            mark = ""
        if self.mentioned and not done.named.some:
            why = Flag.of(FlagCode.NAMED_BEFORE, said, self.mentioned)
            return self.mentioned, why, could_be
        if mark:
            return mark, Flag.of(FlagCode.BEE_IN_VIEW, said, mark), could_be
        asked = Flag.of(FlagCode.WHICH_BEES, said)
        why = asked if asked in done.flags else Flag.of(FlagCode.WHICH_BEE, said)
        return "", why, could_be

    def _said_before(self, done: Done, mark: str) -> bool:
        """Tell whether this only says the event before it once more."""
        last = self._just_now(done) or self.since_done(done.start)
        if last is None or last.kind is not done.kind:
            return False
        soon = self._just_now(done) is not None
        said = done.named.pronoun
        lone = said.split()[-1:] in (["away"], ["off"], ["gone"], ["up"], ["out"])
        same = last.mark and (lone or said in {"she", "it", "her"})
        gone = done.kind is EventKind.AWAY and not self.view.here
        if last.mark and not mark and gone:
            return True
        return soon and bool(not mark or mark == last.mark or same)

    def _hedge_after(self, done: Done) -> tuple[str, int, list[str]]:
        """Read doubt said after the note: "I think", "or was it pink"."""
        start = done.after or done.end + 1
        after = sayings.TAIL.match(self.text, start)
        place = after.end() if after else start
        match = sayings.HEDGE_TAIL.match(self.text, place)
        if match is None:
            return "", start, []
        end = match.end() + 1
        said = match[0].replace(",", " ").strip()
        other = self.names.at(self.text, end)
        if other and other.mark and said.startswith("or"):
            return f"{said} {other.mark}", other.end + 1, [other.mark]
        return " ".join(said.split()), end, []

    def tell(self, told: Told, hedges: tuple[str, ...]) -> None:
        """Take in a note with a value."""
        if of_overhead(self.events, told, self.second(told.start)):
            if len(self.events) - 1 not in self.given:
                first, last = self.speech.pieces_between(told.start, told.end)
                said = self.pieces[first:last]
                self.events[-1] = heading(self.events[-1], told, said)
            return
        pair = left_last(self.events) if told.both else ()
        for mark in pair:
            named = Named(mark=mark, end=told.end)
            self._tell_one(replace(told, both=False, named=named), hedges)
        if not pair:
            self._tell_one(told, hedges)

    def _tell_one(self, told: Told, hedges: tuple[str, ...]) -> None:
        if told.kind is EventKind.SCRATCH and self._took_back:
            self._took_back = False  # "no she isn't ... cancel that" takes back once
            return
        flags = [*told.flags]
        if told.kind is EventKind.SCRATCH and self._scratches_what(told):
            flags.append(Flag(FlagCode.SCRATCH_OF_WHAT))
        confidence = 1.0
        mark, why = self._bee_of(told)
        if why:
            flags.append(why)
            confidence *= BY_PRONOUN if mark else 1.0
        if told.named and told.named.mark in self.names.seen:
            self.view.spoken = told.named.mark
        value = told.value
        if told.same:
            own = self.view.along.get(mark, "") if told.same == "own" else ""
            value = own or next(
                (e.value for e in reversed(self.events) if tells_a_way(e)), ""
            )
            if not value:
                return
            flags.append(Flag.of(FlagCode.SAME_WAY, value))
            self._same_at = len(self.events)
        tail = sayings.HEDGE_TAIL.match(self.text, told.end)
        if tail:
            hedges = (*hedges, tail[0].replace(",", " ").strip())
        if hedges:
            flags.append(Flag.of(FlagCode.DOUBT_IN_WORDS, ", ".join(hedges)))
            confidence *= HEDGED
        share = 0.5 / max(1, len(told.options))
        name = f"{told.kind} {mark}".strip()
        event = self._event(
            told.kind,
            told.start,
            told.end,
            mark=mark,
            value=value,
            flags=tuple(flags),
            confidence=confidence,
            alternatives=tuple(
                Alternative(text=f"{name} {option}", confidence=share)
                for option in told.options
            ),
        )
        sure = len(self.events) - 1 in self.given
        if (
            told_already(self.events, event)
            or confirms(self.events, event)
            or self._of_nobody(event, told)
        ):
            return
        if restated(self.events, event) and not (sure or hedges):
            event = mended(self.events.pop(), event)
        if tells_a_way(event):
            self._tell_way(event, told, hedged=bool(hedges))
        else:
            self.add(event)

    def _of_nobody(self, event: Event, told: Told) -> bool:
        """Tell whether a way is told, and nobody knows of what: "to the north"."""
        if event.kind is not EventKind.BEARING or event.mark or not self.names.seen:
            return False
        return _ANNOUNCED.search(self.text, told.start - 1, told.end) is None

    def _scratches_what(self, told: Told) -> bool:
        """Tell whether nobody knows which note is taken back."""
        if not self.events:
            return False
        late_s = self.second(told.start) - (self.events[-1].end_s or 0.0)
        return late_s > CORRECTED_S / 2 or self.since_border(told.start)

    def _tell_way(self, event: Event, told: Told, *, hedged: bool) -> None:
        """Take in where a bee flew, beside what was said of it just before."""
        before = len(self.events) - 1
        as_before = before >= 0 and self._same_at == before and not told.same
        if as_before and self.events[-1].mark == event.mark:
            self.events.pop()  # "same way, two two six": what was read goes before
        last = self.events[-1] if self.events else None
        again = last and tells_a_way(last) and last.mark == event.mark
        if last and again and hedged:
            self._doubt_way(last, event)  # "one fifteen, could be one sixteen"
            return
        if last and again and told.named is None:
            if _LED.match(self.text, told.start):  # "it's one forty"
                self.events[-1] = mended(last, event)
                return
            doubt = Flag.of(FlagCode.BEARING_AFTER, event.value)
            other = Alternative(
                text=f"{event.kind} {event.mark} {event.value}", confidence=0.3
            )
            self.events[-1] = replace(
                last,
                flags=tuple(dict.fromkeys((*last.flags, doubt))),
                alternatives=(*last.alternatives, other),
            )
            return
        self.view.along[event.mark] = event.value
        self.add(event)

    def _doubt_way(self, last: Event, other: Event) -> None:
        """Put another bearing that it may have been beside the one told."""
        said = f"{other.kind} {other.mark} {other.value}"
        self.events[-1] = replace(
            last,
            flags=(*last.flags, Flag.of(FlagCode.DOUBT_IN_WORDS, other.heard)),
            alternatives=(
                *last.alternatives,
                Alternative(text=" ".join(said.split()), confidence=0.3),
            ),
        )

    def _bee_of(self, told: Told) -> tuple[str, Flag | None]:
        """Give the bee that a value is of, and why that is in doubt."""
        named = told.named
        if named and named.mark:
            as_what = Flag.of(FlagCode.TAKEN_AS, named.called, named.mark)
            return named.mark, as_what if named.called else None
        if told.kind is EventKind.BEARING:
            other = self._other_that_left(named) if named else ""
            if named and other:
                return other, Flag.of(FlagCode.TAKEN_AS, named.pronoun, other)
            soon = self.leaving(told.start)
            if soon or self.leaving(told.start, LATER_S):
                left = self.events[self.last_done or 0]
                doubt = Flag(FlagCode.OF_LEAVING) if left.flags or not soon else None
                doubt = self._beside(left.mark, told.start) or doubt
                two = len(left_last(self.events)) > 1 and left_together(self.events)
                return left.mark, Flag(FlagCode.TWO_LEFT) if two else doubt
        mark = self.view.last
        if mark and (named or told.of_view):
            return mark, Flag.of(FlagCode.OF_BEE_IN_VIEW, mark)
        unsaid = told.kind in {EventKind.DURATION, EventKind.BEARING} or named
        return "", Flag(FlagCode.BEE_UNSAID) if unsaid else None

    def _beside(self, mark: str, place: int) -> Flag | None:
        """Doubt a bearing before which another bee was named since one left."""
        said = self.names.word.finditer(self.text, max(0, self._done_until - 1), place)
        others = [self.names.mark_of(match[0].strip()) for match in said]
        others = [other for other in others if other not in mark.split("-")]
        return Flag.of(FlagCode.OTHER_BEES, others[-1]) if others else None

    def _other_that_left(self, named: Named) -> str:
        """Give the one of two that left last whose way was not told yet."""
        told_of = {e.mark for e in self.events[-2:] if tells_a_way(e)}
        rest = [mark for mark in left_last(self.events) if mark not in told_of]
        return rest[0] if re.fullmatch(OTHER, named.pronoun) and len(rest) == 1 else ""

    def put_back_by(self, ago_s: float, flags: tuple[Flag, ...]) -> None:
        """Take in that what a bee did last happened so long before it was said."""
        if self.last_done is None:
            return
        event = self.events[self.last_done]
        earlier_s = max(0.0, (event.start_s or 0.0) - ago_s)
        self.events[self.last_done] = replace(
            event, start_s=earlier_s, flags=tuple(dict.fromkeys((*event.flags, *flags)))
        )

    def take_back(self, start: int, end: int) -> None:
        """Take back what a bee did last, and what was told of it."""
        if self.last_done is not None:
            done = self.events[self.last_done]
            undo = "back" if done.kind is EventKind.AWAY else "away"
            self.view.note(undo, done.mark)
        self.last_done = None
        self.add(
            self._event(
                EventKind.SCRATCH,
                start,
                end,
                mark="",
                flags=(),
                confidence=1.0,
                alternatives=(),
            )
        )
        self._took_back = True

    def since_border(self, place: int) -> bool:
        """Tell whether other words of the sentence stand before, and no note."""
        start = max(self.text.rfind(mark, 0, place) for mark in (" . ", " ? "))
        said = self.text[max(0, start + 3) : place].replace(",", "").split()
        last_s = (self.events[-1].end_s or 0.0) if self.events else 0.0
        fillers = {"no", "oh", "sorry", "okay", "wait", "and", "please", "can", "you"}
        return bool(set(said) - fillers) and last_s < self.second(max(0, start + 3))

    def doubt_last(self, mark: str, start: int, end: int) -> None:
        """Note that a question put the bee of the last note in doubt."""
        if self.last_done is None or self.since_done(start) is None:
            return
        event = self.events[self.last_done]
        first, last = self.speech.pieces_between(start, end)
        asked = st.heard(self.pieces[first:last])
        other = Alternative(text=f"{event.kind} {mark}", confidence=0.3)
        self.events[self.last_done] = replace(
            event,
            flags=(*event.flags, Flag.of(FlagCode.DOUBT_IN_WORDS, asked)),
            alternatives=(*event.alternatives, other),
            confidence=event.confidence * HEDGED,
        )

    def _event(
        self,
        kind: EventKind,
        start: int,
        end: int,
        *,
        mark: str,
        value: str = "",
        flags: tuple[Flag, ...],
        confidence: float,
        alternatives: tuple[Alternative, ...],
        ago_s: float = 0.0,
    ) -> Event:
        first, last = self.speech.pieces_between(start, end)
        said = self.pieces[first:last]
        return Event(
            kind=kind,
            mark=mark,
            value=value,
            start_s=max(0.0, said[0].start_s - ago_s),
            end_s=said[-1].end_s,
            heard=st.heard(said),
            confidence=confidence * min(piece.confidence for piece in said),
            flags=tuple(dict.fromkeys(flags)),
            alternatives=alternatives,
        )

    def add(self, event: Event) -> None:
        """Take in an event that is ready."""
        self._took_back = False
        if event.kind is EventKind.STATION:
            before = [e.value for e in self.events if e.kind is EventKind.STATION]
            if before and before[-1] != event.value:
                self.view.moved_on()
        self.events.append(event)
