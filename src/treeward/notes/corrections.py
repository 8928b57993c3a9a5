"""Words by which people take back or change what they just said.

"Blue back. No, sorry, that was the white one" changes the bee, "scratch that, two
thirty" the value; the old reading stays beside the note, which carries a flag.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.language.number_words import cardinal_run
from treeward.speech.utterances import Alternative

from . import sentences as st
from .flags import Flag, FlagCode
from .found_notes import CORRECTED_S
from .sentences import place_after, words_from
from .told_before import tells_a_way

if TYPE_CHECKING:
    from .bee_names import BeeNames
    from .events import Event
    from .found_notes import FoundNotes
    from .narrated_actions import Actions
    from .narrated_values import ValueNotes
    from .sentences import Told

_SOFT = (
    r"(?:no|nope|naw|nah|och|aye|oh|okay|wait|hang on|hold on|well|yes|a minute"
    r"|wait a minute|hang about|oh dear|right|and|but|so|or|,)"
)
_SORRY = (
    r"(?:sorry|i am sorry|wait no|no wait|no no|i mean|i meant(?: to say)?|make (?:that"
    r"|it)|i (?:tell|told) a lie|tell a lie|i lie|i lied"
    r"|correction(?: to the last \w+)?|or rather|rather|my (?:mistake|bad|error)"
    r"|scratch (?:that|the last(?: \w+)?)|cancel that|strike that|forget that"
    r"|i apologise|apologies|(?:that|it) should (?:be|have been|read)|should (?:be"
    r"|have been)|i was wrong|that is (?:wrong|not right)|that was wrong|not that"
    r"|i take that back|oops|whoops|i had (?:it|that) (?:wrong|backwards)"
    r"|i misread(?: it| that)?|i (?:read|said) (?:it|that) wrong|(?:i )?beg your pardon"
    r"|beg pardon|i stand corrected|excuse me)"
)
_STRONG = re.compile(rf"(?:{_SOFT} )*{_SORRY} (?:(?:{_SOFT}|{_SORRY}|[.]) )*")
_WEAK = re.compile(
    r"(?:(?:oh|okay|well|and|but|,) )*(?:no|nope|naw|nah|hang on|hold on|wait)"
    r" (?:(?:no|wait|hang on|hold on|[,.]) )*"
)
_POINTS = re.compile(
    r"(?:(?:(?:that|it|this|that one|this one|she) (?:was|is|should be"
    r"|should have been)|was|should be|i meant|i mean|the|you mean|make that"
    r"|the last (?:bearing|one|time)(?: is| was)?) )*"
)
_AFTER_NAME = re.compile(
    r"(?:, )?(?:(?:that (?:was|is)|i (?:mean|meant|think)|it (?:was|is)|actually) )?"
    r"(?=[.,?]|not |one of |of the |$)"
)
_NOT_ONE = re.compile(
    r"(?:(?:no|oh|,) )*(?:(?:that|it|this|that one) (?:is|was) )?not "
)
_THEN = re.compile(
    r"[.,] (?:(?:that|it|this|that one|but|she) )?(?:(?:is|was) )?(?:the )?"
)
_STAYS = re.compile(
    r"(?:(?:no|oh|wait|hang on|,|sorry) )*(?:she|it|that one|{name}) (?:is|did|was"
    r"|has) not ?(?:[.,]|gone |left |landed |back |away |moved |go |leave |land )"
    r"|(?:(?:no|oh|wait|hang on|,|sorry) )*(?:no|wait|hang on|false alarm) (?:, )?"
    r"(?:she|it) is (?:still|back)".replace("{name}", r"[a-z]+")
)
_ASKED = re.compile(r"(?:(?:or|and|wait|,) )*(?:is|was) (?:that|it|this)(?: not)? ")
SOON_S = 6.0  # "two o'clock. Two minutes to." is one time; guess
MENDED_MIN = 9  # "forty ... forty-one"; guess
_ALONE = re.compile(r"[.,?]")
ASKED_S = 10.0  # a question so soon is about the note before it; guess
# "Yellow away, no, not yet": she did not; said in the same sentence.
_NO = r"(?:(?:no|nope|oh|wait|hang on|hold on|well|but|,|sorry) )"
_NOT_YET = re.compile(
    rf"{_NO}*(?:(?:she|it) (?:is |did )?)?not (?:yet|quite|so|really)(?: yet)? (?=[.,])"
    rf"|{_NO}*no (?:, )?false (?:start|alarm) (?=[.,])"
)
_STAYED = re.compile(
    rf"{_NO}*(?:no|nope|wait|hang on|hold on) (?:, )?(?:(?:she|it|but|is|has|was) )+"
    r"(?:settled|settling|stayed|staying|stays|sat|sitting|drinking|feeding|here"
    r"|landed again|down again|thought better|changed her mind|changed its mind)"
    r"(?: [a-z]+){0,4} (?=[.,])"
)
_TURNED = re.compile(
    rf"{_NO}*(?:no|nope|wait|hang on|hold on) (?:, )?(?:(?:she|it|but|is|has|was) )+"
    r"(?:turned (?:back|away)|veered|missed|overshot|gone past|flew past|went past"
    r"|thought better|changed her mind|changed its mind)(?: [a-z]+){0,4} (?=[.,])"
)
_SAME_BREATH_S = 6.0  # what is taken back so was said not longer ago; guess
_FALSE_ALARM = re.compile(r"(?:(?:no|oh|wait|,|sorry) )*false alarm (?=[.,])")


@dataclass(slots=True)
class Corrections:
    """Finds words that change the notes before them."""

    text: str
    names: BeeNames
    actions: Actions
    values: ValueNotes
    found: FoundNotes

    def at(self, place: int) -> int | None:
        """Change what is corrected at `place`; gives where reading goes on."""
        if not self.found.events:
            return None
        for finder in (
            self._other_minutes,
            self._meant_another,
            self._named_after,
            self._taken_back,
        ):
            end = finder(place)
            if end is not None:
                return end
        strong = _STRONG.match(self.text, place)
        if strong and self.found.soon(place, strong.end()):
            return self._instead(place, strong.end(), strong=True)
        weak = _WEAK.match(self.text, place)
        if weak and self.found.soon(place, weak.end()):
            return self._instead(place, weak.end(), strong=False)
        return None

    def asked(self, place: int) -> None:
        """Doubt what was done last where "or was that white?" asks for its bee."""
        asks = _ASKED.match(self.text, place)
        named = self.names.single(self.text, asks.end()) if asks else None
        done = self.found.since_done(place, ASKED_S)
        if named and done and done.mark != named.mark:
            self.found.doubt_last(named.mark, place, named.end)

    def _instead(self, place: int, after: int, *, strong: bool) -> int | None:
        """Read what was meant, after "no, sorry"."""
        points = _POINTS.match(self.text, after)
        start = points.end() if points else after
        pointed = start > after
        named = self.names.single(self.text, start)
        several = self.names.at(self.text, start) if named else None
        if named and several and several.marks:
            return None  # whose place each of them takes is not said
        if named:
            done = self.found.since_done(place)
            rest = _AFTER_NAME.match(self.text, named.end + 1)
            action = self.actions.at(self.text, after) or self.actions.at(
                self.text, start
            )
            same = action and done and action.kind is done.kind
            if done and same and action and action.named.mark and action.certain:
                self._correct_mark(action.named.mark, place, action.end)
                return action.end + 1
            if action and action.certain:
                return None
            if rest and (strong or pointed):
                if self._correct_mark(named.mark, place, named.end):
                    return max(rest.end(), named.end + 1)
            elif rest and done and done.mark == named.mark:
                return rest.end()
        return self._other_value(place, start, strong=strong)

    def _other_value(self, place: int, start: int, *, strong: bool) -> int | None:
        """Read a value that takes the place of the one just said."""
        last = self.found.events[-1]
        wanted = (EventKind.BEARING, EventKind.TIME, EventKind.DURATION, EventKind.WIND)
        for kind in sorted(wanted, key=lambda kind: kind is not last.kind):
            index = self._recent(kind, place)
            if index is None or (not strong and index != len(self.found.events) - 1):
                continue
            told = self.values.of_kind(self.text, start, kind)
            if told and told.value and (not told.named or strong):
                self._correct_value(index, told)
                return told.end
        return None

    def _other_minutes(self, place: int) -> int | None:
        """Read "two minutes to", said right after a time of day that was rounded."""
        last = self.found.events[-1]
        late_s = self.found.second(place) - (last.end_s or 0.0)
        no = re.compile(r"(?:(?:no|sorry|wait|rather|it is|,) )*").match(
            self.text, place
        )
        place = no.end() if no else place
        number = cardinal_run(words_from(self.text, place))
        if last.kind is not EventKind.TIME or not last.value:
            return None
        if late_s > SOON_S or not number:
            return None
        start = place_after(self.text, place, number[1])
        hour, minute = (int(part) for part in last.value.split(":")[:2])
        if _ALONE.match(self.text, start) and self._mends_minutes(
            place, number[0], minute
        ):
            value = f"{hour}:{number[0]:02}"
            self._change(len(self.found.events) - 1, place, start, value=value)
            return start
        side = re.compile(r"(?:minutes? )?(past|after|gone|to|before) (?=[.,?])").match(
            self.text, start
        )
        if side is None or not 0 < number[0] < 60:
            return None
        nearest = hour * 60 + (60 if minute > 30 else 0)
        less = side[1] in {"to", "before"}
        meant = (nearest + (-number[0] if less else number[0])) % (24 * 60)
        value = f"{meant // 60:02}:{meant % 60:02}"
        self._change(len(self.found.events) - 1, place, side.end(), value=value)
        return side.end()

    def _mends_minutes(self, place: int, said: int, minute: int) -> bool:
        """Tell whether a number mends minutes: "ten forty, no, forty-one"."""
        return (
            0 < abs(said - minute) <= MENDED_MIN
            and said < 60
            and not self.found.leaving(place)
            and not self.found.since_done(place, SOON_S)
        )

    def _meant_another(self, place: int) -> int | None:
        """Read "that is not white, that is yellow"."""
        head = _NOT_ONE.match(self.text, place)
        first = self.names.single(self.text, head.end()) if head else None
        done = self.found.since_done(place)
        if first is None or done is None or done.mark != first.mark:
            return None
        then = _THEN.match(self.text, first.end + 1)
        second = self.names.single(self.text, then.end()) if then else None
        if second is None or not self._correct_mark(second.mark, place, second.end):
            return None
        return second.end + 1

    def _named_after(self, place: int) -> int | None:
        """Read "red, I mean" and "White, that was", which name what was done."""
        named = self.names.single(self.text, place)
        if named is None or self.found.since_done(place) is None:
            return None
        said = re.compile(
            r"(?:, )?(?:i (?:mean|meant)|that was|it was|that is) (?=[.,])"
        ).match(self.text, named.end + 1)
        if said and self._correct_mark(named.mark, place, said.end() - 1):
            return said.end()
        return None

    def _taken_back(self, place: int) -> int | None:
        """Read "no she isn't": what was said did not happen."""
        done = self.found.since_done(place)
        if done is None:
            return None
        said = self._not_after_all(place, done)
        said = said or _FALSE_ALARM.match(self.text, place)
        said = said or _STAYS.match(self.text, place)
        border = {".", ",", "?"} & {self.text[:place].rstrip()[-1:], self.text[place]}
        if said is None or not border:
            return None
        spoken = self.names.word.search(self.text, place - 1, said.end())
        other = spoken and self.names.mark_of(spoken[0].strip()) != done.mark
        words = set(said[0].split())
        came = words & {"back", "landed", "land"} and done.kind is EventKind.AWAY
        went = words & {"gone", "left", "away", "go", "leave"}
        if other or came or (went and done.kind is EventKind.BACK):
            return None
        if self.text.startswith(("yet ", "so far "), said.end()):
            return None
        if self.found.events[-1].kind is EventKind.SCRATCH:
            return said.end()
        self.found.take_back(place, said.end())
        return self.text.find(" ", said.end() - 1) + 1

    def _not_after_all(self, place: int, done: Event) -> re.Match[str] | None:
        """Read "no, not yet" and "no, she's settled", said in the same breath."""
        late_s = self.found.second(place) - (done.end_s or 0.0)
        if late_s > _SAME_BREATH_S or self.text[:place].rstrip()[-1:] == "?":
            return None
        if done.kind not in {EventKind.BACK, EventKind.AWAY}:
            return None
        stays = _STAYED if done.kind is EventKind.AWAY else _TURNED
        return _NOT_YET.match(self.text, place) or stays.match(self.text, place)

    def _recent(self, kind: EventKind, place: int) -> int | None:
        """Give the last note of a kind, where it may still be corrected."""
        for index in range(len(self.found.events) - 1, -1, -1):
            event = self.found.events[index]
            if self.found.second(place) - (event.end_s or 0.0) > CORRECTED_S:
                return None
            if event.kind is kind:
                return index
        return None

    def _correct_mark(self, mark: str, start: int, end: int) -> bool:
        """Change the bee of what was done last; False where nothing is to change."""
        if self.found.last_done is None:
            return False
        first = self.found.last_done
        done = self.found.events[first]
        if (
            self.found.second(start) - (self.found.events[-1].end_s or 0.0)
            > CORRECTED_S
        ):
            return False
        old = done.mark
        if old != mark:
            for index in range(first, len(self.found.events)):
                if self.found.events[index].mark == old:
                    self._change(index, start, end, mark=mark)
            if old:
                undo = "back" if done.kind is EventKind.AWAY else "away"
                self.found.view.note(undo, old)
        self.found.by_pronoun = False
        self.found.view.note(done.kind, mark)
        self.names.seen.add(mark)
        return True

    def _correct_value(self, index: int, told: Told) -> None:
        """Change the value of a note."""
        self._change(index, told.start, told.end, value=told.value)
        event = self.found.events[index]
        if tells_a_way(event):
            self.found.view.along[event.mark] = event.value

    def _change(
        self,
        index: int,
        start: int,
        end: int,
        *,
        mark: str | None = None,
        value: str | None = None,
    ) -> None:
        """Put what was corrected in place of what was said; that stays beside it."""
        old = self.found.events[index]
        first, last = self.found.speech.pieces_between(start, end)
        said = self.found.pieces[first:last]
        before = f"{old.kind} {old.mark} {old.value}"
        new = replace(
            old,
            mark=old.mark if mark is None else mark,
            value=old.value if value is None else value,
            end_s=max(old.end_s or 0.0, said[-1].end_s),
            heard=f"{old.heard} {st.heard(said)}",
            alternatives=(
                Alternative(text=" ".join(before.split()), confidence=0.3),
                *old.alternatives,
            ),
            flags=(*old.flags, Flag.of(FlagCode.CORRECTED, st.heard(said))),
        )
        self.found.events[index] = new
