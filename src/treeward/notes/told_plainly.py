"""Sentences of free speech that are a note of the phrase book and nothing else.

"The yellow one is back." needs no guess: it is "{mark} is back" as the phrase book has
it. What a hunt's own phrase book adds is read so too, and so are remarks, "scratch
that", and what is told of the colony.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, EventKind, Holds
from treeward.language.phrasebook import SLOT
from treeward.speech.utterances import Alternative

from . import sentences as st
from .events import Event
from .flags import Flag, FlagCode
from .parser import notes_of
from .told_of_colony import ColonyNotes
from .values import Lexicon, bearing_value

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from treeward.language.phrasebook import PhraseBook

    from .bee_names import BeeNames
    from .sentences import Speech, StreamWord
    from .told_of_colony import Told

OTHER_HUNDREDS = 0.1  # that "forty-five degrees" is 145 or so; guess
THEIR_WAY_S = 6.0  # from bees overhead to where they fly; guess
# Said before a note and meaning nothing.
_FILLERS = re.compile(
    r"(?:(?:sure enough|here we are|there we go|by the way|here we go|now then|at last"
    r"|hang on|hold on|right|there|great|sorry|okay|well|yeah|look|then|good|nice|wait"
    r"|oops|next|hiya|aye|och|naw|nah|and|yes|yep|but|hey|aha|ooh|wow|see|so|no|oh|ah"
    r"|ha|hello|hi|now|,) )*"
)
_PLURAL = {"are": "is", "were": "was", "have": "has", "both": "", "all": ""}
_AFTER = re.compile(r"(?:(?:again|now|too|already|then|there|please|,) )*$")
_SENTENCE = re.compile(r"(?P<said>(?:(?![.?] )[^ ]+ )+)(?P<end>[.?]) ")
_CLAUSE = re.compile(r" (?:,|and|but|so|then) ")
_MAY_COME = re.compile(r"late|overdue|should|missing|not back|coming|no sign")
_PART = re.compile(r" (?:, )?and |(?<=[a-z]) , ")
_DEGREES = re.compile(r" degrees (?:(?:true|magnetic) )?$")
_LEADS_ON = re.compile(r" (?:(?:,|at|on|bearing|heading) )*$")
_SCRATCHES = re.compile(
    r"(?:(?:i|will|please) )*(?:scratch|forget|ignore|strike|delete|cancel|disregard) "
    r"(?:it|her|this|him|that|the last|that last|what i said)(?: (?:last )?(?:one|note"
    r"|bit))? (?:(?:please|sorry|,) )*$"
    r"|(?:i )?take that back $|(?:correction|my mistake) $"
)


class PlainNotes:
    """Finds the notes told in the phrase book's own words."""

    def __init__(
        self,
        speech: Speech,
        pieces: Sequence[StreamWord],
        book: PhraseBook,
        names: BeeNames,
    ) -> None:
        self._speech, self._pieces, self._names = speech, pieces, names
        self._book = book
        self._colony = ColonyNotes(book)

    def read(self) -> list[Event]:
        """Read everything; gives the events in the order they were said."""
        found: list[Event] = []
        until = 0
        for sentence in _SENTENCE.finditer(self._speech.text, 1):
            start, end = sentence.start(), sentence.end("said")
            if start < until:
                continue
            remark = self._remark(start)
            if remark:
                event, until = remark
                found.append(event)
            elif sentence["end"] == ".":
                for event in self._notes(start, end):
                    _put(event, found)
        return found

    @cached_property
    def _lexicon(self) -> Lexicon:
        actions = {
            kind: replace(action, say=(*action.say, *action.narrate))
            for kind, action in self._book.actions.items()
        }
        return Lexicon.of(replace(self._book, actions=actions))

    def _notes(self, start: int, end: int) -> list[Event]:
        """Read a sentence that is notes from beginning to end, or one of the colony."""
        text = self._speech.text
        opening = _FILLERS.match(text, start, end)
        first = opening.end() if opening else start
        for place in dict.fromkeys((start, first)):
            if _SCRATCHES.fullmatch(text, place, end):
                return [self._event(EventKind.SCRATCH, start, end)]
        if of_colony := [*self._of_colony(start, end)]:
            return of_colony
        for place in dict.fromkeys((start, first)):
            words, template, marks = self._words(place, end)
            if kind := self._ways.get(template):
                late = kind is EventKind.MISSED and _MAY_COME.search(template)
                flags = (Flag(FlagCode.MAY_COME),) if late else ()
                event = self._event(kind, place, end)
                return [replace(event, mark=mark, flags=flags) for mark in marks]
            if len(marks) > 1:
                break
            if parts := self._in_parts(place, end) or self._in_degrees(place, end):
                return parts
            if words and (found := notes_of(words, self._lexicon)) is not None:
                return [
                    replace(event, heard=self._heard(event.start_s, event.end_s))
                    for event in found
                    if event.value or KINDS[event.kind].holds is not Holds.WORDS
                ]
        return []

    def _in_parts(self, start: int, end: int) -> list[Event]:
        """Read "white is back and orange is away": each part a way of its own."""
        found: list[Event] = []
        borders = [
            match.span() for match in _PART.finditer(self._speech.text, start, end)
        ]
        starts = [start, *(after for _, after in borders)]
        ends = [*(before for before, _ in borders), end]
        for first, last in zip(starts, ends, strict=True):
            _, template, marks = self._words(first, last + (last < end))
            kind = self._ways.get(template)
            if kind is None or kind is EventKind.MISSED or not borders:
                return []
            event = self._event(kind, first, last)
            found += [replace(event, mark=mark) for mark in marks]
        return found

    def _in_degrees(self, start: int, end: int) -> list[Event]:
        """Read "white is away, ninety-five degrees": a leaving, and which way."""
        text = self._speech.text
        if not _DEGREES.search(text, start, end):
            return []
        for space in re.finditer(" ", text[start:end]):
            place = start + space.end()
            words = text[place:end].split()
            value = bearing_value(words)
            if value is None or value.used < len(words):
                continue
            lead = _LEADS_ON.search(text, start, place)
            last = lead.start() + 1 if lead else place
            _, template, marks = self._words(start, last)
            left = self._ways.get(template) is EventKind.AWAY
            if not left or len(marks) != 1 or not value.text:
                return []
            (mark,) = marks
            away = self._event(EventKind.AWAY, start, last)
            others = tuple(
                Alternative(text=f"bearing {mark} {other}", confidence=OTHER_HUNDREDS)
                for other in value.options
            )
            way = replace(
                self._event(EventKind.BEARING, place, end),
                value=value.text,
                flags=value.flags,
                alternatives=others,
            )
            return [replace(one, mark=mark) for one in (away, way)]
        return []

    @cached_property
    def _ways(self) -> dict[str, EventKind]:
        """What bees do, by the words for it: "in comes {mark}"."""
        return {
            st.plain_phrase(way): EventKind(action.kind)
            for action in self._book.actions.values()
            for way in (*action.say, *action.narrate)
        }

    def _words(
        self, start: int, end: int
    ) -> tuple[list[StreamWord], str, tuple[str, ...]]:
        """Give the words of a sentence, each bee under her mark as one word.

        And as one text, `SLOT` for the bee or the bees named together, with their
        marks, the last ones'; "both are" is then "is".
        """
        text, found, place = self._speech.text, list[st.StreamWord](), start
        template, marks = list[str](), tuple[str, ...]()
        tail = _AFTER.search(text, start, end)
        last = tail.start() if tail else end
        while place < last:
            named = self._names.at(text, place)
            several = named.marks if named else ()
            named = named if named and (named.mark or several) else None
            after = named.end + 1 if named else text.index(" ", place) + 1
            said = named.mark if named else text[place : after - 1]
            one, other = self._speech.pieces_between(place, after - 1)
            if named:
                marks = several or (named.mark,)
            plural = len(marks) > 1 and not named
            if said != "," and not (plural and said in _PLURAL and not _PLURAL[said]):
                said = _PLURAL.get(said, said) if plural else said
                template.append(SLOT if named else said)
                run = self._pieces[one:other]
                word = replace(run[0], text=said, end_s=run[-1].end_s, utterance=0)
                found.append(word)
            place = after
        return found, " ".join(template), marks

    def _of_colony(self, start: int, end: int) -> Iterator[Event]:
        text, place = self._speech.text, start
        while 0 < place < end:
            told = self._colony.at(text, place)
            if told is None:
                border = _CLAUSE.search(text, place - 1, end)
                filled = _FILLERS.match(text, place, end)
                after = filled.end() if filled and filled.end() > place else 0
                place = after or (border.end() if border else 0)
                continue
            yield self._told(told)
            place = told.end

    def _remark(self, start: int) -> tuple[Event, int] | None:
        """Read "note the lid was off": the words up to the end of the utterance.

        Gives the place after them too.
        """
        text, speech, pieces = self._speech.text, self._speech, self._pieces
        opening = _FILLERS.match(text, start)
        place = opening.end() if opening else start
        kind, after = self._announced(place)
        if kind is None or after >= len(text):
            return None
        first, said = speech.owner[place], speech.owner[after]
        last = said
        while last < len(pieces) and pieces[last].utterance == pieces[said].utterance:
            last += 1
        event = Event(
            kind=kind,
            value=st.heard(pieces[said:last]),
            start_s=pieces[first].start_s,
            end_s=pieces[last - 1].end_s,
            heard=st.heard(pieces[first:last]),
            confidence=st.confidence_of(pieces[first:last]),
        )
        return event, bisect_left(speech.owner, last)

    def _announced(self, place: int) -> tuple[EventKind | None, int]:
        """Give the kind that own words are announced for, and the place after that."""
        for words, kind in self._lexicon.anchors.items():
            way = f"{' '.join(words)} "
            if KINDS[kind].holds is Holds.WORDS and self._speech.text.startswith(
                way, place
            ):
                return kind, place + len(way)
        return None, place

    def _told(self, told: Told) -> Event:
        event = self._event(told.kind, told.start, told.end)
        return replace(event, value=told.value, flags=told.flags)

    def _event(self, kind: EventKind, start: int, end: int) -> Event:
        first, last = self._speech.pieces_between(start, end)
        run = self._pieces[first:last]
        return Event(
            kind=kind,
            start_s=run[0].start_s,
            end_s=run[-1].end_s,
            heard=st.heard(run),
            confidence=st.confidence_of(run),
        )

    def _heard(self, start_s: float | None, end_s: float | None) -> str:
        return st.heard(
            [
                piece
                for piece in self._pieces
                if (start_s or 0.0) <= piece.start_s and piece.end_s <= (end_s or 0.0)
            ]
        )


def _put(event: Event, found: list[Event]) -> None:
    """Add a note; "heading two ten" right after bees overhead is their direction."""
    last = found[-1] if found else None
    theirs = (
        last is not None
        and (last.kind, last.value) == (EventKind.OVERHEAD, "")
        and (event.kind, event.mark) == (EventKind.BEARING, "")
        and (event.start_s or 0.0) - (last.end_s or 0.0) <= THEIR_WAY_S
    )
    if last and theirs:
        heard = f"{last.heard} {event.heard}"
        found[-1] = replace(last, value=event.value, end_s=event.end_s, heard=heard)
    else:
        found.append(event)
