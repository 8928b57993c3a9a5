"""Notes found in free speech, made into events with their bee and their doubts."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.speech.utterances import Alternative

from . import sayings
from . import stream as st
from .bee_names import BeeNames, View
from .events import Event
from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .narrated_actions import Done
    from .sentences import Speech
    from .stream import StreamWord
    from .told import Told

ONE_BREATH_S = 6.0  # a bearing so soon after a leaving is that bee's; guess
SAID_TWICE_S = 6.0  # "she's off ... there she goes" is one leaving; guess
HEDGED = 0.5  # share of hedged notes that are right; guess
BY_PRONOUN = 0.6  # share of pronouns that mean the bee in view; guess


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
        self._last_done: int | None = None  # index of the last thing a bee did
        self._by_pronoun = False
        self.mentioned = ""  # a bee named in this sentence, without what it did

    def leaving(self, place: int) -> bool:
        """Tell whether a bee left just before `place`, its bearings aside."""
        if self._last_done is None:
            return False
        last, *after = self.events[self._last_done :]
        end_s = self.events[-1].end_s
        if last.kind is not EventKind.AWAY or end_s is None:
            return False
        here = self.pieces[self.speech.owner[place]]
        bearings = all(event.kind is EventKind.BEARING for event in after)
        return bearings and here.start_s - end_s <= ONE_BREATH_S

    def do(self, done: Done, hedges: tuple[str, ...]) -> int:
        """Take in what a bee did; gives the place where reading goes on."""
        if done.both:
            *first, last = (
                replace(done, named=replace(done.named, mark=mark), both=())
                for mark in done.both
            )
            for one in first:
                self.do(one, hedges)
            return self.do(last, hedges)
        inner = sayings.HEDGE.findall(self.text, done.start, done.end + 1)
        hedges = (*hedges, *(words.strip() for words in inner))
        tail, end, others = self._hedge_after(done)
        others = [*done.others, *others]
        flags = [*done.flags]
        if done.others:
            flags.append(Flag.of(FlagCode.OTHER_BEES, " or ".join(done.others)))
        confidence = 1.0
        mark = done.named.mark
        alternatives = [
            Alternative(text=f"{done.kind} {other}", confidence=0.4) for other in others
        ]
        if hedges or tail:
            said = (*hedges, *((tail,) if tail else ()))
            flags.append(Flag.of(FlagCode.DOUBT_IN_WORDS, ", ".join(said)))
            confidence *= HEDGED
        if not done.certain:
            flags.append(Flag(FlagCode.ONLY_NAMED))
        if done.named.pronoun:
            mark, why, could_be = self._meant(done)
            talk = done.loose and not mark and not done.named.some
            if talk or self._said_before(done, mark):
                return end
            flags.append(why)
            confidence *= BY_PRONOUN
            alternatives += [
                Alternative(text=f"{done.kind} {other}", confidence=0.2)
                for other in could_be
                if other != mark
            ]
        event = self._event(
            done.kind,
            done.start,
            done.end,
            mark=mark,
            flags=tuple(flags),
            confidence=confidence,
            alternatives=tuple(alternatives),
        )
        if self._names_the_pronoun(done):
            self._name_last(event)
        else:
            self._last_done = len(self.events)
            self.add(event)
        self._by_pronoun = bool(done.named.pronoun)
        self.view.note(done.kind, mark)
        return end

    def _names_the_pronoun(self, done: Done) -> bool:
        """Tell whether this names the bee of "there she goes" just before."""
        return (
            self._by_pronoun
            and not done.named.pronoun
            and self._just_now(done) is not None
        )

    def _name_last(self, event: Event) -> None:
        """Give the event told by a pronoun its name and keep its earlier time."""
        if self._last_done is not None:
            before = self.events[self._last_done]
            if before.mark not in {"", event.mark}:  # the guess was wrong
                undo = "back" if event.kind is EventKind.AWAY else "away"
                self.view.note(undo, before.mark)
            self.events[self._last_done] = replace(
                event,
                start_s=before.start_s,
                end_s=before.end_s,
                heard=f"{before.heard} {event.heard}",
            )

    def _just_now(self, done: Done) -> Event | None:
        """Give the last thing a bee did, if it was the same just before."""
        if self._last_done is None:
            return None
        last = self.events[self._last_done]
        start_s = self.pieces[self.speech.owner[done.start]].start_s
        if last.kind is not done.kind or last.end_s is None:
            return None
        return last if start_s - last.end_s <= SAID_TWICE_S else None

    def _meant(self, done: Done) -> tuple[str, Flag, Sequence[str]]:
        mark, could_be = self.view.meant(done.kind)
        if done.named.some:
            mark = ""
        said = done.named.pronoun
        if self.mentioned and not done.named.some:
            why = Flag.of(FlagCode.NAMED_BEFORE, said, self.mentioned)
            return self.mentioned, why, could_be
        if mark:
            return mark, Flag.of(FlagCode.BEE_IN_VIEW, said, mark), could_be
        return "", Flag.of(FlagCode.WHICH_BEE, said), could_be

    def _said_before(self, done: Done, mark: str) -> bool:
        """Tell whether this only says the event before it once more."""
        last = self._just_now(done)
        return last is not None and (not mark or mark == last.mark)

    def _hedge_after(self, done: Done) -> tuple[str, int, list[str]]:
        """Read doubt said after the note: "I think", "or was it pink"."""
        after = sayings.TAIL.match(self.text, done.end + 1)
        place = after.end() if after else done.end + 1
        match = sayings.HEDGE_TAIL.match(self.text, place)
        if match is None:
            return "", done.end + 1, []
        end = match.end() + 1
        said = match[0].replace(",", " ").strip()
        other = self.names.at(self.text, end)
        if other and other.mark and said.startswith("or"):
            return f"{said} {other.mark}", other.end + 1, [other.mark]
        return " ".join(said.split()), end, []

    def tell(self, told: Told, hedges: tuple[str, ...]) -> None:
        """Take in a note with a value."""
        flags = [*told.flags]
        confidence = 1.0
        mark = told.named.mark if told.named else ""
        if (
            told.kind is EventKind.BEARING
            and not told.named
            and self.leaving(told.start)
        ):
            left = self.events[self._last_done or 0]
            mark = left.mark
            if left.flags:
                flags.append(Flag(FlagCode.OF_LEAVING))
        elif (told.named and told.named.pronoun) or told.of_view:
            mark = self.view.last
            if mark:
                flags.append(Flag.of(FlagCode.OF_BEE_IN_VIEW, mark))
                confidence *= BY_PRONOUN
            elif told.kind is EventKind.DURATION or told.named:
                flags.append(Flag(FlagCode.BEE_UNSAID))
        tail = sayings.HEDGE_TAIL.match(self.text, told.end)
        if tail:
            hedges = (*hedges, tail[0].replace(",", " ").strip())
        if hedges:
            flags.append(Flag.of(FlagCode.DOUBT_IN_WORDS, ", ".join(hedges)))
            confidence *= HEDGED
        share = 0.5 / max(1, len(told.options))
        name = f"{told.kind} {mark}".strip()
        self.add(
            self._event(
                told.kind,
                told.start,
                told.end,
                mark=mark,
                value=told.value,
                flags=tuple(flags),
                confidence=confidence,
                alternatives=tuple(
                    Alternative(text=f"{name} {option}", confidence=share)
                    for option in told.options
                ),
            )
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
    ) -> Event:
        first, last = self.speech.pieces_between(start, end)
        said = self.pieces[first:last]
        return Event(
            kind=kind,
            mark=mark,
            value=value,
            start_s=said[0].start_s,
            end_s=said[-1].end_s,
            heard=st.heard(said),
            confidence=confidence * min(piece.confidence for piece in said),
            flags=tuple(dict.fromkeys(flags)),
            alternatives=alternatives,
        )

    def add(self, event: Event) -> None:
        """Take in an event that is ready."""
        self.events.append(event)
