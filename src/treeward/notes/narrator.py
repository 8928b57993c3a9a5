"""Events out of free speech, as people narrate what marked bees do.

"White's just left, about two ten ... the time? Ten past two." A note stands at the
start of a clause, after fillers and hedges; what stands elsewhere the network reads. A
pronoun means the bee in view, and the event says so.
"""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from . import sayings
from .asking import (
    Sentence,
    after_asking_time,
    as_painting,
    statement_end,
)
from .bee_names import BeeNames, Named
from .corrections import Corrections
from .flags import Flag, FlagCode
from .found_notes import LATER_S, FoundNotes
from .narrated_actions import Actions, Done, outweighs
from .narrated_durations import adjuncts, ago_at, out_for, time_out_s, was_ago
from .narrated_times import bare_time
from .narrated_values import ValueNotes
from .told_before import clock_gain_s, in_own_words, painted_long, skips

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.language.phrasebook import PhraseBook

    from .events import Event
    from .sentences import Speech, StreamWord, Told

_WATCHED = frozenset({EventKind.PAUSE, EventKind.RESUME})
CLOCK_OFF_S = 720.0  # a number that far from the last time told is none; guess
SKIPS_S = 3600.0  # what a recorder may leave out between two words; guess
SILENCE_S = 100.0  # nobody speaks for so long who watches; guess
SILENCE_NEAR_S = 40.0  # and what was said so soon before or after tells why; guess
ON_S = 6.0  # "landed, then left" is one breath; guess
NEXT_S = 6.0  # a time of day alone, so soon after a station, is one; guess
_UNSURE = frozenset({FlagCode.DURATION_OF_WHAT, FlagCode.AMID_WORDS})
_CALLED = re.compile(
    r"(?: (?:anyway|again|too|now|as well|at last|home|already|there|then))* , "
    r"(?:(?:my|the|our|that is|it is) (?=[a-z]))?"
)
_BETWEEN = re.compile(  # from "six minutes" to "red is back"
    r"(?:(?:,|and|exactly|on the (?:dot|nose)|dead|flat|later|or so|near enough|it is"
    r"|then|i (?:think|make it)|there is|here is|so) ?)*"
)
_OF_HER = re.compile(r"(?:is|was|had|got|drank|took) ")
_THAT_IS = ("that is ", "that was ", "that makes ", "so that is ")
_ALONG = re.compile(r" (?:together |along )?with (?!a |no )")


class Narrator:
    """Read the sentences of one recording from front to back."""

    def __init__(
        self,
        speech: Speech,
        pieces: Sequence[StreamWord],
        book: PhraseBook,
        fixed: Sequence[Event] = (),
    ) -> None:
        self.fixed = list(fixed)  # notes heard surely, still to come
        self.text = speech.text
        self.speech = speech
        self.pieces = pieces
        self.names = BeeNames(book, speech.text, speech.proper)
        self.actions = Actions(book, self.names)
        self.values = ValueNotes(book, self.names)
        self.found = FoundNotes(speech, pieces, self.names)
        self.corrections = Corrections(
            text=self.text,
            names=self.names,
            actions=self.actions,
            values=self.values,
            found=self.found,
        )
        self.silences = [
            (before.end_s, after.start_s)
            for before, after in pairwise(pieces)
            if after.start_s - before.end_s >= SILENCE_S
        ]
        self.asked_time = False
        self.went_on: Done | None = None  # what a bee did up to where reading is
        self.told_until = 0  # up to where values were read
        self.done_at = -1  # where reading went on after what a bee did last

    def read(self) -> list[Event]:
        """Read everything; gives the events in the order they were said."""
        place = 1
        while place < len(self.text):
            self._take_in_fixed(place)
            place = self._sentence(place)
        for event in self.fixed:
            self.found.take_in(event)
        return self.found.events

    def _take_in_fixed(self, place: int) -> None:
        """Take in the notes that were heard surely up to here."""
        until_s = self.pieces[self.speech.owner[place]].start_s
        while self.fixed and (self.fixed[0].start_s or 0.0) <= until_s:
            event = self.fixed.pop(0)
            self.found.take_in(event)
            if event.mark and event.kind in {EventKind.BACK, EventKind.AWAY}:
                named = Named(mark=event.mark, end=place)
                self.went_on = Done(
                    kind=event.kind, named=named, start=place, end=place
                )

    def _sentence(self, start: int) -> int:
        ending = re.compile(r"[.?] ").search(self.text, start)
        end = ending.start() if ending else len(self.text)
        body = f" {self.text[start:end]}"
        first = re.compile(rf"(?:(?:{sayings.OPENERS}|,) )*").match(self.text, start)
        opening = first.end() if first else start
        marked = ending is not None and ending[0].startswith("?")
        asks = sayings.QUESTION.match(self.text, opening) is not None
        hedge = sayings.HEDGE.match(self.text, opening - 1) is not None
        if asks and ending:
            last = self.pieces[self.speech.owner[ending.start()]]
            asks = not last.raw.endswith(".")  # "Is half past twelve."
        sentence = Sentence(
            end=end,
            question=marked or (asks and not hedge),
            start=start,
            text=self.text,
            unreal=sayings.UNREAL.search(body) is not None,
        )
        said_end = end
        if marked and not asks:
            stated = statement_end(self.text, start, end)
            if stated > start:
                sentence.question = False
                sentence.end = end = stated
        asks_time = sayings.TIME_ASKED.search(body) is not None
        self.asked_time = self.asked_time or asks_time
        place = start
        if asks_time:
            sentence.question = False
            place = after_asking_time(self.text, start)
        if sentence.question:
            self.corrections.asked(opening)
        while place < end:
            place = self._clause(place, sentence)
        if not sentence.question and not asks_time:
            self.asked_time = False
        self.found.mentioned = ""
        return max(said_end + 2, place)

    def _clause(self, start: int, sentence: Sentence) -> int:
        """Read one note, or skip to the next place where one may start."""
        went_on, self.went_on = self.went_on, None
        if (
            went_on
            and not sentence.unreal_at(start)
            and self.found.since_done(start, ON_S)
        ):
            done = self.actions.going_on(self.text, start, went_on.named)
            if done and done.end <= sentence.end:
                done = replace(done, ago_s=self.found.last_ago_s)
                return self._take_in(done, ())
        border = self._after_border(start) or self.text[start] == ","
        border = border or sayings.SAYS_AGAIN.match(self.text, start) is not None
        if border and not sentence.question:
            corrected = self.corrections.at(start)
            if corrected is not None:
                return corrected
        aside = self._told_late(start) or self._remark(start, sentence)
        if aside:
            return aside
        for place in sayings.openings(self.text, start):
            if place >= sentence.end:
                break
            if self._after_border(start) and self._nowhere(place):
                return self._next(place, sentence)
            end = self._note(start, place, sentence)
            if end is not None:
                return end
        after = self._next(start, sentence)
        self._mention(start, after)
        return after

    def _told_late(self, start: int) -> int | None:
        """Read "that was half a minute ago", and put back what was done last."""
        ago = was_ago(self.text, start) if self.found.since_done(start) else None
        soon = self.found.since_done(start, NEXT_S) is not None
        if ago is None and soon and start != self.done_at:
            ago = ago_at(self.text, start)
        if ago is None or not ago.ago_s:
            return None
        self.found.put_back_by(ago.ago_s, ago.flags)
        return ago.end

    def _mention(self, start: int, after: int) -> None:
        """Remember a bee named without what it did: "it is red, and she ..."."""
        spoken = [*self.names.word.finditer(self.text, max(0, start - 1), after)]
        if spoken:
            mark = self.names.mark_of(spoken[-1][0].strip())
            if mark in self.names.seen:
                self.found.view.spoken = self.found.view.wanted = mark
            elif spoken[-1].start() <= start:
                self.found.mention(mark)
        for place in sayings.openings(self.text, start):
            named = self.names.at(self.text, place)
            rest = self.text[named.end : after].strip() if named else ""
            if named and named.mark and (rest in {",", ""} or _OF_HER.match(rest)):
                self.found.mention(named.mark)

    def _nowhere(self, place: int) -> bool:
        """Take in "green is still drinking": a bee was spoken of that did nothing."""
        named = self.names.at(self.text, place)
        if named and named.mark in self.found.view.here:
            gone = sayings.NOT_HERE.match(self.text, named.end + 1)
            if gone:  # "green is not here": she left, nobody saw when
                flags = (Flag(FlagCode.NOT_AS_IT_HAPPENED),)
                self._take_in(
                    Done(
                        kind=EventKind.AWAY,
                        named=named,
                        start=place,
                        end=gone.end(),
                        flags=flags,
                    ),
                    (),
                )
                return True
        if named is None or not self.actions.goes_nowhere(self.text, named.end + 1):
            return False
        if " not come " in self.text[named.end : named.end + 30] or named.some:
            return False
        if named.mark:
            self.found.mention(named.mark)
            last = self.found.since_done(place, ON_S)
            if (
                last
                and (last.kind, last.mark) == (EventKind.AWAY, named.mark)
                and self.text.startswith(("is still ", "still "), named.end + 1)
            ):  # "green's away. no, green is still here"
                self.found.take_back(place, named.end)
        return True

    def _take_in(self, done: Done, hedges: tuple[str, ...]) -> int:
        """Take in what a bee did, and remember her for what she does next."""
        painted = as_painting(self.found, done)
        if painted is None:
            return done.end + 1
        done, mark = painted, done.named.mark
        if (
            done.named.group
            and self.actions.present(self.text, done)
            and len(self.found.view.here) >= max(2, done.named.group)
        ):
            return done.end + 1
        known = mark in self.found.view.here or (done.named.pronoun and not mark)
        here = self.text.endswith(" here", 0, done.end)
        known = known and not (here and self._painted_long(mark, done.start))
        if known and not done.named.group and self.actions.present(self.text, done):
            return done.end + 1
        ends = adjuncts(self.text, done.end + 1).end
        if done.named.group and self.text.startswith(", ", ends):
            marks, after = self.names.listed(self.text, ends + 2)
            if len(marks) > 1:  # "both back, purple and orange"
                done = replace(done, both=marks, after=after + 1)
        apart = _CALLED.match(self.text, done.end) if done.named.pronoun else None
        called = self.names.single(self.text, apart.end()) if apart else None
        if called and self.text[called.end + 1] in ".,":  # "away she goes, yellow"
            named = replace(done.named, mark=called.mark, pronoun="")
            done = replace(done, named=named, after=called.end + 1)
            mark = called.mark
        along = _ALONG.match(self.text, done.end) if done.named.mark else None
        other = self.names.single(self.text, along.end()) if along else None
        first = done
        if along and other:  # "yellow is in with white"
            self.found.do(done, hedges)
            start = along.start() + 1
            done = replace(done, named=other, start=start, end=other.end, both=())
        end = self.done_at = self.found.do(done, hedges)
        if done.kind is EventKind.BACK:
            self._time_before(done)
        if mark or first.both:
            self.went_on = first
        return end

    def _painted_long(self, mark: str, place: int) -> bool:
        """Tell whether a bee was painted minutes ago: if she is here, she came."""
        return painted_long(self.found.events, mark, self.found.second(place))

    def _time_before(self, done: Done) -> None:
        """Take "six minutes on the dot, red is back" for how long she was out."""
        start = max(self.text.rfind(stop, 0, done.start) + 3 for stop in (" . ", " ? "))
        start = max(1, start)
        told = self.values.since_back(self.text, start, self._out_s())
        if told is None or told.end > done.start or told.start < self.told_until:
            return
        if _BETWEEN.fullmatch(self.text[told.end : done.start]):
            self.found.tell(replace(told, of_view=True), ())

    def _next(self, start: int, sentence: Sentence) -> int:
        borders = sayings.BORDER.finditer(self.text, start - 1, sentence.end + 1)
        ends = (border.end() for border in borders)
        return next((end for end in ends if end > start), sentence.end)

    def _remark(self, start: int, sentence: Sentence) -> int | None:
        """Take a remark: the words up to the end of the utterance."""
        left = sayings.LEFT.match(self.text, start)
        announced = None
        for place in dict.fromkeys((start, left.end() if left else start)):
            announced = announced or self.values.own_words_at(self.text, place)
        middle = not self._after_border(start)
        if announced is None or announced[1] >= sentence.end or middle:
            return None
        kind, after = announced
        first, said = self.speech.owner[start], self.speech.owner[after]
        remark, last = in_own_words(kind, self.pieces, first, said)
        self.found.add(remark)
        place = after
        while place < len(self.text) and self.speech.owner[place] < last:
            place += 1
        return place

    def _after_border(self, start: int) -> bool:
        return self.text[:start].rstrip()[-1:] in {"", ".", "?", ","}

    def _note(self, start: int, place: int, sentence: Sentence) -> int | None:
        hedges = self._hedges(start, place)
        told = self._told(start, place)
        done = None
        if not sentence.question and not sentence.unreal_at(place):
            clipped = self._whole(start) and self.actions.clipped(self.text, place)
            if clipped:
                return self._take_in(clipped, hedges)
            last = self.found.since_done(place)
            done = self.actions.at(self.text, place)
            if done is None and last:
                done = self._follower(place, last)
            if done is None and self._after_border(start) and self.found.view.last:
                done = self._lone(start)
        already = bool(
            done
            and told
            and done.kind is EventKind.AWAY
            and told.named
            and done.named.mark == told.named.mark
            and done.named.mark in self.found.view.out
            and self.found.since_done(place, LATER_S)
        )
        if (
            told
            and sentence.allows(told)
            and not outweighs(done, told, already=already)
        ):
            self.found.tell(told, hedges)
            self.done_at = self.told_until = told.end
            self.asked_time = self.asked_time and told.kind is not EventKind.TIME
            return told.end
        if done and done.end < sentence.end + 1:
            return self._take_in(done, hedges)
        return None

    def _told(self, start: int, place: int) -> Told | None:
        """Read a note with a value at `place`, by what was said before it."""
        whole = self._whole(start)
        left = self.found.leaving(place, LATER_S)
        told = self.values.at(
            self.text,
            place,
            asked=self.asked_time,
            leaving=self.found.leaving(place)
            or (left and (whole or self._degrees_after_comma(place))),
            left=left,
        )
        last = self.found.since_done(place)
        if last and last.kind is EventKind.BACK and self._may_state_time(start, place):
            lasted = self.values.since_back(self.text, place, self._out_s())
            longer = (
                told
                and lasted
                and (told.kind is not EventKind.DURATION or told.end > lasted.end)
                and not _may_last(told, lasted)
            )
            if lasted and not longer:
                told = lasted
        if told is None and self._after_border(start):
            if self._paused() or self._silence(place, -SILENCE_NEAR_S):
                told = self.values.resumed(self.text, place)
            elif self._silence(place, SILENCE_NEAR_S):
                told = self.values.goes_off(self.text, place)
        idle = not self.found.since_done(place, LATER_S) and self._may_be_time(place)
        if told is None and whole and (idle or self._at_station(place)):
            told = bare_time(self.text, place)
        fresh = self._after_border(start) or start == self.done_at == place
        if fresh and not self.found.leaving(place):
            by_clock = self._clock_told(place)
            sure = told and not any(f.code in _UNSURE for f in told.flags)
            if by_clock and not (told and (sure or told.end > by_clock.end)):
                told = by_clock
        return told

    def _degrees_after_comma(self, place: int) -> bool:
        """Tell whether three figures stand after a comma: "over the oak, two sixty"."""
        return self._after_border(place) and self.values.degrees_at(self.text, place)

    def _may_state_time(self, start: int, place: int) -> bool:
        """Tell whether how long a bee was out may stand here, told as a bare number."""
        if self._whole(start) or self.text.startswith(_THAT_IS, place):
            return True
        last = self.found.events[-1]
        soon = self.found.since_done(place, NEXT_S) is last
        led = self.text.startswith(("after ", "in "), place)
        return soon and (
            led or self._after_border(start) or start == self.done_at == place
        )

    def _may_be_time(self, place: int) -> bool:
        """Tell whether a number alone fits the times told before, if any were."""
        told = bare_time(self.text, place)
        now_s = self.found.second(place)
        gain_s = clock_gain_s(self.found.events, told.value, now_s) if told else None
        return gain_s is None or -CLOCK_OFF_S / 4 <= gain_s <= CLOCK_OFF_S

    def _clock_told(self, place: int) -> Told | None:
        """Read "eight thirteen" alone where the clock may well show that."""
        told = bare_time(self.text, place)
        gain_s = (
            clock_gain_s(self.found.events, told.value, self.found.second(place))
            if told
            else None
        )
        most_s = SKIPS_S if skips(self.found.events) else CLOCK_OFF_S
        return told if gain_s is not None and -90.0 <= gain_s <= most_s else None

    def _out_s(self) -> float:
        if skips(self.found.events):
            return 0.0  # by the recording's own time nobody knows
        last = self.found.last_done
        return 0.0 if last is None else time_out_s(self.found.events, last)

    def _whole(self, start: int) -> bool:
        """Tell whether a sentence starts here."""
        return self.text[:start].rstrip()[-1:] in {"", ".", "?"}

    def _silence(self, place: int, within_s: float) -> bool:
        """Tell whether nobody spoke for long, so soon after `place`, or before it."""
        here_s = self.found.second(place)
        later = within_s > 0
        return any(
            0.0 <= (begun_s - here_s if later else here_s - ended_s) <= abs(within_s)
            for begun_s, ended_s in self.silences
        )

    def _paused(self) -> bool:
        """Tell whether a pause was noted and nothing since."""
        last = self.found.events[-1] if self.found.events else None
        since = last and last.kind in {EventKind.PAUSE, EventKind.TIME}
        watched = [e.kind for e in self.found.events if e.kind in _WATCHED]
        return bool(since and watched and watched[-1] is EventKind.PAUSE)

    def _at_station(self, place: int) -> bool:
        """Tell whether a station was named just before, or the wind."""
        if not self.found.events or self._paused():
            return True
        last = self.found.events[-1]
        here_s = self.pieces[self.speech.owner[place]].start_s
        kinds = {
            EventKind.STATION,
            EventKind.WIND,
            EventKind.PAUSE,
            EventKind.RESUME,
            EventKind.BACK,
        }
        return last.kind in kinds and here_s - (last.end_s or 0.0) <= NEXT_S

    def _follower(self, place: int, last: Event) -> Done | None:
        """Read "and white right behind her": another bee did the same."""
        went = last.kind in {EventKind.BACK, EventKind.AWAY}
        if not went or sayings.DENIED.search(self.text[:place]):
            return None
        done = self.actions.follower(self.text, place, last.kind)
        if done is None:
            return None
        gone = (
            self.found.view.here if last.kind is EventKind.BACK else self.found.view.out
        )
        mark = done.named.mark
        again = mark not in gone or self._painted_long(mark, place)
        return done if again else None

    def _lone(self, start: int) -> Done | None:
        """Read an action without its bee; "back in five" may tell by itself which."""
        done = self.actions.lone(self.text, start)
        lead = (
            re.compile(r"(?:in|after|,) ").match(self.text, done.end + 1)
            if done
            else None
        )
        if done and done.named.pronoun == "back" and lead is None:
            return None  # "back." may be anybody
        if done is None or lead is None:
            return done
        told = self.values.since_back(self.text, lead.start(), 0.0)
        mark = ""
        if told:
            stated_s = float(told.value.split()[1])
            now_s = self.found.second(start)
            mark = out_for(self.found.events, self.found.view.out, now_s, stated_s)
        if not mark:
            called = lead[0] == ", " and (told or done.named.pronoun != "back")
            return done if called else None
        return replace(done, named=replace(done.named, mark=mark, pronoun=""))

    def _hedges(self, start: int, place: int) -> tuple[str, ...]:
        body = f" {self.text[start:place]}"
        return tuple(match.strip() for match in sayings.HEDGE.findall(body))


def _may_last(told: Told, lasted: Told) -> bool:
    """Tell whether numbers are no time of day, as a bee was out for just so long."""
    by_sound = any(flag.code is FlagCode.AS_TIME_OF_DAY for flag in told.flags)
    return by_sound and not any(flag.code in _UNSURE for flag in lasted.flags)
