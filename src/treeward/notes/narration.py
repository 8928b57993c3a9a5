"""Events out of free speech, as people narrate what marked bees do.

"White's just left, about two ten ... there she goes ... what's the time? Ten past
two." Talk that is no observation makes no event: a note has to stand at the start of
a clause, after nothing but fillers and hedges, and nothing that follows may make it
something else. A pronoun means the bee in view, and the event says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from . import sayings
from . import stream as st
from .bee_names import BeeNames
from .events import Event
from .flags import Flag, FlagCode
from .found_notes import FoundNotes
from .narrated_actions import Actions, Done
from .narrated_values import ValueNotes
from .scratch import flag_scratched
from .sentences import Speech, speech_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treeward.language.phrasebook import PhraseBook
    from treeward.speech.utterances import Utterance

    from .stream import StreamWord
    from .told import Told


_OF_HER = re.compile(r"(?:is|was|had|got|drank|took) ")
_BORDER = re.compile(r" [.?,] | and | but | then | so | while | okay | right | oh ")


@dataclass(slots=True)
class _Sentence:
    """What is known about the sentence being read."""

    end: int
    question: bool
    unreal: bool


class _Narrator:
    """Read the sentences of one recording from front to back."""

    def __init__(
        self, speech: Speech, pieces: Sequence[StreamWord], book: PhraseBook
    ) -> None:
        self.text = speech.text
        self.speech = speech
        self.pieces = pieces
        self.book = book
        self.names = BeeNames(book)
        self.actions = Actions(book, self.names)
        self.values = ValueNotes(book, self.names)
        self.found = FoundNotes(speech, pieces, self.names)
        self.asked = False

    def read(self) -> list[Event]:
        place = 1
        while place < len(self.text):
            place = self._sentence(place)
        return self.found.events

    def _sentence(self, start: int) -> int:
        ending = re.compile(r"[.?] ").search(self.text, start)
        end = ending.start() if ending else len(self.text)
        body = f" {self.text[start:end]}"
        first = re.compile(rf"(?:(?:{'|'.join(_OPENERS)}|,) )*").match(self.text, start)
        opening = first.end() if first else start
        marked = ending is not None and ending[0].startswith("?")
        asks = sayings.QUESTION.match(self.text, opening) is not None
        hedge = sayings.HEDGE.match(self.text, opening - 1) is not None
        sentence = _Sentence(
            end=end,
            question=marked or (asks and not hedge),
            unreal=sayings.UNREAL.search(body) is not None,
        )
        if sayings.TIME_ASKED.search(body):
            self.asked = True
            place = self._answer(start, sentence)
        else:
            place = start
        while place < end:
            place = self._clause(place, sentence)
        if not sentence.question:
            self.asked = False
        self.found.mentioned = ""
        return end + 2

    def _answer(self, start: int, sentence: _Sentence) -> int:
        """Skip the words that ask for the time."""
        match = sayings.TIME_ASKED.search(self.text, start)
        sentence.question = False
        place = match.end() if match else start
        rest = re.compile(r"(?: is it| do you make it| now)*(?: ,)? ").match(
            self.text, place
        )
        return rest.end() if rest else place

    def _clause(self, start: int, sentence: _Sentence) -> int:
        """Read one note, or skip to the next place where one may start."""
        remark = self._remark(start, sentence)
        if remark:
            return remark
        for place in self._openings(start):
            if place >= sentence.end:
                break
            end = self._note(start, place, sentence)
            if end is not None:
                return end
        after = self._next(start, sentence)
        self._mention(start, after)
        inside = self._inside(start, min(after, sentence.end), sentence)
        return after if inside is None else inside

    def _mention(self, start: int, after: int) -> None:
        """Remember a bee named without what it did: "it is red, and she ..."."""
        for place in self._openings(start):
            named = self.names.at(self.text, place)
            rest = self.text[named.end : after].strip() if named else ""
            if named and named.mark and (rest in {",", ""} or _OF_HER.match(rest)):
                self.found.mentioned = named.mark

    def _inside(self, start: int, end: int, sentence: _Sentence) -> int | None:
        """Find a plain statement about a marked bee within other words.

        Speech without punctuation gives no clause to start from; such a note is
        taken with a flag.
        """
        if sentence.question or sentence.unreal:
            return None
        place = self.text.find(" ", start) + 1
        while 0 < place < end:
            done = self.actions.at(self.text, place)
            if done and done.named.mark and " is " in self.text[place : done.end]:
                flags = (*done.flags, Flag(FlagCode.AMID_WORDS))
                return self.found.do(replace(done, flags=flags), ())
            place = self.text.find(" ", place) + 1
        return None

    def _openings(self, start: int) -> list[int]:
        """Give the places after what may be said before a note, nearest first."""
        places = [start]
        left = sayings.LEFT.match(self.text, start)
        if left and left.end() > start:
            places.append(left.end())
        for place in tuple(places):
            for pattern in (sayings.HEDGED_LEAD, sayings.LEAD):
                match = pattern.match(self.text, place)
                if match and match.end() not in places:
                    places.append(match.end())
        return places

    def _next(self, start: int, sentence: _Sentence) -> int:
        border = _BORDER.search(self.text, start - 1, sentence.end + 1)
        if border is None or border.end() <= start:
            return sentence.end
        return border.end()

    def _remark(self, start: int, sentence: _Sentence) -> int | None:
        """Take a remark: the words up to the end of the utterance."""
        left = sayings.LEFT.match(self.text, start)
        announced = None
        for place in dict.fromkeys((start, left.end() if left else start)):
            announced = announced or self.values.own_words_at(self.text, place)
        if announced is None or announced[1] >= sentence.end or self._middle(start):
            return None
        kind, after = announced
        first = self.speech.owner[start]
        said = self.speech.owner[after]
        last = said
        while (
            last < len(self.pieces)
            and self.pieces[last].utterance == self.pieces[said].utterance
        ):
            last += 1
        words = " ".join(piece.text for piece in self.pieces[said:last])
        self.found.add(
            Event(
                kind=kind,
                value=words,
                start_s=self.pieces[first].start_s,
                end_s=self.pieces[last - 1].end_s,
                heard=st.heard(self.pieces[first:last]),
                confidence=min(p.confidence for p in self.pieces[first:last]),
            )
        )
        place = after
        while place < len(self.text) and self.speech.owner[place] < last:
            place += 1
        return place

    def _after_border(self, start: int) -> bool:
        return self.text[:start].rstrip()[-1:] in {"", ".", "?", ","}

    def _middle(self, start: int) -> bool:
        """Tell whether words that are no border stand right before."""
        return not self._after_border(start)

    def _note(self, start: int, place: int, sentence: _Sentence) -> int | None:
        hedges = self._hedges(start, place)
        told = self.values.at(
            self.text, place, asked=self.asked, leaving=self.found.leaving(place)
        )
        done = None
        if not sentence.question and not sentence.unreal:
            done = self.actions.at(self.text, place)
            if done is None and (hedges or self._pointed(start, place)):
                done = self.actions.bare(self.text, place)
            if done is None and self._after_border(start) and self.found.view.last:
                done = self.actions.lone(self.text, start)
        if told and self._allowed(told, sentence) and not _outweighs(done, told):
            self.found.tell(told, hedges)
            self.asked = self.asked and told.kind is not EventKind.TIME
            return told.end
        if done and done.end < sentence.end + 1:
            return self.found.do(done, hedges)
        return None

    @staticmethod
    def _allowed(told: Told, sentence: _Sentence) -> bool:
        """Let plans announce a pause, but nothing else."""
        if sentence.question:
            return False
        free = {EventKind.PAUSE, EventKind.RESUME, EventKind.SCRATCH}
        return not sentence.unreal or told.kind in free

    def _hedges(self, start: int, place: int) -> tuple[str, ...]:
        body = f" {self.text[start:place]}"
        return tuple(match.strip() for match in sayings.HEDGE.findall(body))

    def _pointed(self, start: int, place: int) -> bool:
        """Tell whether a bee is pointed out: "that is the blue one"."""
        lead = sayings.LEAD.match(self.text, start)
        named = self.names.at(self.text, place)
        return bool(lead and lead.end() == place and named and named.full)


def _outweighs(done: Done | None, told: Told) -> bool:
    """Tell whether what a bee did goes before a value said in the same place."""
    if done is None:
        return False
    where_to = done.kind is EventKind.AWAY and told.kind is EventKind.BEARING
    return where_to or done.end > told.end


_OPENERS = (
    "okay",
    "and",
    "so",
    "well",
    "oh",
    "but",
    "hey",
    "then",
    "yes",
    "no",
    "right",
)


def parse_narration(
    utterances: Iterable[Utterance], book: PhraseBook, *, recording: str = ""
) -> list[Event]:
    """Make events of free speech.

    Parameters
    ----------
    utterances
        A timed transcript, seconds from the start of the recording.
    book
        The phrase book: its colours and its ways of saying, those under `narrate`
        among them.
    recording
        Name of the recording, copied into each event.

    Returns
    -------
    list of Event
        In order of time, without clock times. Doubt in words, pronouns and rough
        values are said in the flags.
    """
    speech, pieces = speech_of(utterances)
    if not pieces:
        return []
    events = _Narrator(speech, pieces, book).read()
    return flag_scratched([replace(event, recording=recording) for event in events])
