"""Weighing what the rules made of free speech, line by line, by the trained network.

A note of the rules is kept where the network finds it likely, or where the rules were
sure and the network does not deny it; a note that only one of the two sees says how
likely it is meant. What the speaker took back or corrected stands, and so does what the
words deny. What bees did is taken in as it is read, so that the next line is read in
its light.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from treeward.language.kinds import UNMARKED, EventKind
from treeward.notes.events import Event, taken_back
from treeward.notes.flags import Flag, FlagCode
from treeward.notes.values import Lexicon

from .around_bees import share_of_kind, told_beside, wind_in, wind_mended
from .bees import ACTIONS, Deed, Known
from .inputs import LINE_KINDS, RuleNote, holds_number, inputs_of, tokens_of
from .lines import in_lines, with_spots

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.bee_names import BeeNames
    from treeward.speech.utterances import Utterance, Word

    from .inputs import Inputs
    from .lines import Line
    from .network import Network, Outputs

# Shares of the network, measured on days that it was not trained on.
NEW = 0.9  # from which a note is made where the rules made none: likelier right
KEPT = 0.7  # below which a doubtful note of the rules is dropped
SURE_KEPT = 0.08  # and one that the rules did not doubt
A_PHRASE = 6  # words of a line in which the rules are believed: "mark orange"; guess
AGO = 0.5  # from which a stretch of time is how long ago a bee did it
SHORTEST_OUT_S = 20  # that anybody would tell of a bee's time out; guess
AGREED = 0.8  # below which a note of the rules is doubted
LINES_AT_ONCE = 32
# What makes a coming or leaving after it one that only nearly happened.
_NEARLY = re.compile(
    r" (?:(?:nearly|almost)(?! (?:due|dead|straight|exactly|north|south|east|west|\d))"
    r"|not quite|didn't quite"
    r"|(?:tri|attempt|threaten|want)(?:ed|es|s|ing)? to|(?:try(?:ing)?|meant) to"
    r"|(?:made|makes) as if to|(?:had|having|has) a go at"
    r"|(?:thought|thinking|thinks) (?:of|about)|on the (?:point|verge|brink) of"
    r"|(?:came|comes|coming|got|gets|getting) (?:[a-z]+ )?close)(?= )"
)
# What else moves, or leads somewhere, where bees are watched.
_OTHERS = re.compile(
    r" (?:(?:bumble ?bee|bumble|wasp|hornet|moth|beetle|bird|kite|buzzard|hawk|kestrel"
    r"|eagle|owl|crow|rook|raven|magpie|jay|gull|heron|duck|swan|pigeon|swallow|swift"
    r"|lark|skylark|pheasant|dog|spaniel|cat|cow|ewe|lamb|goat|horse|pony|hare|rabbit"
    r"|badger|squirrel|tractor|car|van|lorry|train|plane|jet|helicopter|drone|glider"
    r"|boat|walker|rider|cyclist|runner|path|footpath|road|lane|stream|river)s?"
    r"|hover ?fl(?:y|ies)|(?:butter|dragon|damsel)fl(?:y|ies)|geese|goose|sheep|deer"
    r"|fox(?:es)?)(?= )"
)
_NUMBERS = frozenset({EventKind.BEARING, EventKind.DURATION, EventKind.TIME})
_MOVING = frozenset({EventKind.AWAY, EventKind.BACK})
_MOVES = [ACTIONS.index(kind) for kind in _MOVING]
_SWITCHES = frozenset({EventKind.PAUSE, EventKind.RESUME})


@dataclass(frozen=True, slots=True)
class _Found:
    """A note the network sees in a line: of which words, and how likely it is."""

    kind: EventKind
    mark: str
    value: str
    share: float
    words: tuple[int, ...]
    others: tuple[tuple[str, float], ...] = ()


def weigh(
    utterances: Sequence[Utterance],
    events: Sequence[Event],
    names: BeeNames,
    book: PhraseBook,
    network: Network,
    *,
    given: Collection[int] = (),
    least_words: int = 1,
) -> list[Event]:
    """Weigh the notes that rules made of talk, and add what they missed.

    Parameters
    ----------
    utterances
        The talk.
    events
        What the rules made of it, in order of time, and notes that were heard surely;
        `given` holds the places of those, which stay as they are.
    names
        The names of bees.
    book
        The phrase book.
    network
        The trained network.
    least_words
        Of a line to which a note is added.

    Returns
    -------
    list of Event
        In order of time.
    """
    lines = in_lines(utterances, names, book.colour_words)
    if not lines:
        return list(events)
    weighing = _Weighing(
        lines,
        events,
        names=names,
        book=book,
        network=network,
        given=set(given),
        least_words=least_words,
    )
    return weighing.run()


class _Weighing:
    def __init__(
        self,
        lines: Sequence[Line],
        events: Sequence[Event],
        *,
        names: BeeNames,
        book: PhraseBook,
        network: Network,
        given: set[int],
        least_words: int,
    ) -> None:
        self.stations = Lexicon.of(book).stations
        self.lines, self.names, self.network = lines, names, network
        self.known = Known()
        self.own: list[list[Event]] = [[] for _ in lines]
        self.sure: list[Event] = []
        # What was taken back stays, else "scratch that" would take another.
        self.gone = {_place_of(events[place]) for place in taken_back(events)}
        for place, event in enumerate(events):
            if place in given or event.end_s is None:
                self.sure.append(event)
            else:
                self.own[self._line_of(event)].append(event)
        self.sure.sort(key=lambda event: event.start_s or 0.0)
        self.heard = 0  # how many of the sure ones were taken in
        self.least_words = least_words

    def _line_of(self, event: Event) -> int:
        end_s = (event.end_s or 0.0) + 1e-6
        starts = (place for place, one in enumerate(self.lines) if one.start_s <= end_s)
        return max(starts, default=0)

    def run(self) -> list[Event]:
        found: list[Event] = []
        places = [
            tokens_of(line, before, after, self.network.pieces)
            for line, before, after in self._with_neighbours()
        ]
        for first in range(0, len(places), LINES_AT_ONCE):
            some = places[first : first + LINES_AT_ONCE]
            states = self.network.read(
                np.stack([one.tokens for one in some]),
                np.stack([one.segment for one in some]),
            )
            for number, (state, place) in enumerate(
                zip(states, some, strict=True), first
            ):
                line, before, after = self._neighbours(number)
                self._hear(line.start_s)
                spotted = with_spots(line, set(self.known.here))
                self.own[number] = [
                    replace(event, mark=self._called(event.mark, spotted))
                    for event in self.own[number]
                ]
                rules = [self._as_rule(event) for event in self.own[number]]
                inputs = inputs_of(
                    line, before, after, known=self.known, rules=rules, places=place
                )
                told = self.network.say(state, inputs.arrays)
                found += self._line(number, inputs, told)
        self._hear(float("inf"))
        found += self.sure
        return sorted(found, key=lambda event: event.start_s or 0.0)

    def _neighbours(self, number: int) -> tuple[Line, Line | None, Line | None]:
        before = self.lines[number - 1] if number else None
        after = self.lines[number + 1] if number + 1 < len(self.lines) else None
        return self.lines[number], before, after

    def _with_neighbours(self) -> list[tuple[Line, Line | None, Line | None]]:
        return [self._neighbours(number) for number in range(len(self.lines))]

    def _hear(self, until_s: float) -> None:
        """Take in the notes that were heard surely up to here."""
        while self.heard < len(self.sure):
            event = self.sure[self.heard]
            if (event.start_s or 0.0) >= until_s:
                break
            self.heard += 1
            self._take_in(event)

    def _called(self, mark: str, line: Line) -> str:
        """Give a bee the spot that she was, or is in this line, said to have."""
        mark = self.known.called(mark)
        if not mark or mark in self.known.here:
            return mark
        named = [one.mark for one in line.mentions]
        like = {one for one in named if one.partition(" ")[0] == mark}
        return like.pop() if len(like) == 1 else mark

    def _take_in(self, event: Event) -> None:
        at_s = event.start_s or 0.0
        if event.kind in ACTIONS:
            self.known.do(Deed(event.kind, event.mark, at_s))
        elif event.kind is EventKind.BEARING and event.bearing:
            self.known.fly(event.mark, round(event.bearing.deg))
        elif event.kind is EventKind.TIME and event.value:
            self.known.tell_time(event.value, at_s)

    def _as_rule(self, event: Event) -> RuleNote:
        doubtful = bool(event.flags)
        return RuleNote(event.kind, event.mark, event.value, doubtful)

    def _line(self, number: int, inputs: Inputs, told: Outputs) -> list[Event]:
        line = self.lines[number]
        told = self._denied_by_words(line, inputs, told)
        seen = [
            *_deeds(line, inputs, told),
            *_numbers(inputs, told),
            *_switches(told),
        ]
        least = 0.0 if len(line.words) <= A_PHRASE else SURE_KEPT
        new = NEW if len(line.words) >= self.least_words else 1.0
        settled = [event for event in self.own[number] if self._settled(event)]
        seen = [one for one in seen if not any(_denied(one, e) for e in settled)]
        found: list[Event] = []
        for event in self.own[number]:
            if event in settled:
                found.append(event)
                continue
            if event.kind is EventKind.WIND:
                blown = self._blown(event, inputs, told)
                found += [blown] if blown else []
                continue
            kept, taken = _kept(event, seen, inputs, told, least)
            seen = [one for one in seen if one is not taken]
            if kept:
                found.append(kept)
        kinds = {event.kind for event in found}
        found += [
            _event(line, one)
            for one in seen
            if one.share >= new and one.kind not in _SWITCHES & kinds
        ]
        if new < 1.0:
            found += self._beside(line, found, inputs, told)
        agos = _agos(line, inputs, told)
        found = [self._put_back(event, line, agos) for event in found]
        found = [self._painted_where(event, line) for event in found]
        found.sort(key=lambda event: event.end_s or 0.0)
        for event in found:
            self._take_in(event)
        self.known.speak(self.known.named_in(line.mentions))
        self.known.speak(event.mark for event in found if event.kind in ACTIONS)
        return found

    def _denied_by_words(self, line: Line, inputs: Inputs, told: Outputs) -> Outputs:
        """Take out what the words deny: what nearly happened, and an animal's way."""
        deeds, numbers = told.deeds.copy(), told.numbers
        for bee, mark in enumerate(inputs.marks):
            if _nearly(line, mark):
                deeds[bee, _MOVES] = 0.0
        if self._of_others(line):
            numbers = np.zeros_like(numbers)
        return replace(told, deeds=deeds, numbers=numbers)

    def _of_others(self, line: Line) -> bool:
        """Tell whether a line is of an animal or a path and of no bee that is known."""
        bees = (one for one in line.mentions if one.mark in self.known.here)
        said = f" {' '.join(line.bare_words)} "
        return _OTHERS.search(said) is not None and not any(bees)

    def _settled(self, event: Event) -> bool:
        """Tell whether the speaker corrected a note or took it back, which stands."""
        return event.has(FlagCode.CORRECTED) or _place_of(event) in self.gone

    def _painted_where(self, event: Event, line: Line) -> Event:
        """Add the place of the paint, where the same line tells it."""
        new = event.kind is EventKind.MARK and event.mark not in self.known.here
        if not new or " " in event.mark:
            return event
        spot = self.names.spot_in(f" {' '.join(line.bare_words)} ")
        return replace(event, mark=f"{event.mark} {spot}") if spot else event

    def _beside(
        self, line: Line, found: Sequence[Event], inputs: Inputs, told: Outputs
    ) -> list[Event]:
        """Read wind, station and date where the network hears them told."""
        read = told_beside(line, found, inputs, told, self.stations, least=NEW)
        return [
            _event(line, _Found(one.kind, "", one.value, one.share, ())) for one in read
        ]

    @staticmethod
    def _blown(event: Event, inputs: Inputs, told: Outputs) -> Event | None:
        """Weigh the wind of the rules: whether it is told, and how strong it is."""
        share = share_of_kind(told, EventKind.WIND)
        if share < SURE_KEPT:
            return None
        read = wind_mended(event, wind_in(inputs, told))
        if read.value == event.value and share >= KEPT:
            return event
        return read if read.flags else read.flagged(_likely(share))

    def _put_back(self, event: Event, line: Line, agos: Sequence[_Ago]) -> Event:
        """Put a note to when it happened, where the line tells how long ago."""
        if event.kind not in _MOVING or event.has(FlagCode.TOLD_LATE):
            return event
        own = [one for one in agos if one.mark in {event.mark, ""}]
        if not own or (event.start_s or 0.0) < line.start_s:
            return event
        start_s = max(0.0, (event.start_s or 0.0) - own[0].ago_s)
        flag = Flag.of(FlagCode.TOLD_LATE, f"{own[0].ago_s:.0f}", own[0].words)
        return replace(event, start_s=start_s).flagged(flag)


@dataclass(frozen=True, slots=True)
class _Ago:
    """How long ago a bee did what a line tells of her; "" for any."""

    mark: str
    ago_s: float
    words: str


def _agos(line: Line, inputs: Inputs, told: Outputs) -> list[_Ago]:
    """Give how long ago things were done, as the network reads it."""
    found = []
    for place, said in enumerate(inputs.said):
        if said.kind is not EventKind.DURATION or told.agos[place] < AGO:
            continue
        mark, _ = _whose(inputs, told, place)
        words = " ".join(word.text for word in line.span(said.words))
        found.append(_Ago(mark, float(said.value), words))
    return found


def _whose(inputs: Inputs, told: Outputs, place: int) -> tuple[str, float]:
    """Give which bee a number is likeliest of, "" for none, and how likely."""
    bee = int(told.whose[place].argmax())
    mark = inputs.marks[bee] if bee < len(inputs.marks) else ""
    return mark, float(told.whose[place, bee])


def _deeds(line: Line, inputs: Inputs, told: Outputs) -> list[_Found]:
    """Give what bees may have done."""
    found = []
    for bee, mark in enumerate(inputs.marks):
        words = next((one.words for one in line.mentions if one.mark == mark), ())
        for place, kind in enumerate(ACTIONS):
            share = float(told.deeds[bee, place])
            if share >= KEPT:
                found.append(_Found(kind, mark, "", share, words))
    return found


def _nearly(line: Line, mark: str) -> bool:
    """Tell whether a bee only nearly came or left: "yellow nearly landed"."""
    first, last = 0, len(line.bare_words)
    for one in line.mentions:
        if one.mark == mark:
            first, last = max(one.words), len(line.bare_words)
        elif min(one.words) > first:
            last = min(last, *one.words)
    return _NEARLY.search(f" {' '.join(line.bare_words[first:last])} ") is not None


def _numbers(inputs: Inputs, told: Outputs) -> list[_Found]:
    """Give the numbers that may be notes, no two of the same words."""
    found: list[_Found] = []
    taken: set[int] = set()
    for place in np.argsort(-told.numbers[: len(inputs.said)], kind="stable"):
        said, share = inputs.said[place], float(told.numbers[place])
        if share < KEPT or taken & set(said.words):
            continue
        if said.kind is EventKind.DURATION and int(said.value) < SHORTEST_OUT_S:
            continue
        mark, of_her = _whose(inputs, told, place)
        if said.kind is EventKind.TIME:
            mark = ""
        elif mark:
            share *= of_her
        if any((one.kind, one.mark) == (said.kind, mark) for one in found):
            continue
        taken |= set(said.words)
        away = said.kind is EventKind.DURATION
        value = f"away {said.value}" if away else said.value
        found.append(_Found(said.kind, mark, value, share, said.words))
    return found


def _switches(told: Outputs) -> list[_Found]:
    """Give a pause of the watching, or its end."""
    shares = zip(LINE_KINDS, told.kinds, strict=True)
    return [
        _Found(kind, "", "", float(share), ())
        for kind, share in shares
        if kind in _SWITCHES and share >= KEPT
    ]


def _kept(
    event: Event,
    seen: Sequence[_Found],
    inputs: Inputs,
    told: Outputs,
    least: float,
) -> tuple[Event | None, _Found | None]:
    """Tell what becomes of a note of the rules, and which finding it is."""
    weighed = event.kind in {*ACTIONS, *_NUMBERS, *_SWITCHES}
    if not weighed or event.mark == UNMARKED:
        return event, None
    same = next((one for one in seen if _same(one, event)), None)
    if same:
        if same.share < AGREED and not event.flags:
            event = event.flagged(_likely(same.share))
        if event.kind in _NUMBERS and same.mark and same.mark != event.mark:
            event = replace(event, mark=same.mark)
            if not event.flags:
                event = event.flagged(_likely(same.share))
        return event, same
    share = _share_of(event, inputs, told)
    if share is None:
        return event, None
    if share >= (KEPT if event.flags else least):
        return (event if event.flags else event.flagged(_likely(share))), None
    return None, None


def _place_of(event: Event) -> tuple[EventKind, float | None, str]:
    return event.kind, event.start_s, event.value


def _denied(one: _Found, event: Event) -> bool:
    """Tell whether a finding is what the speaker said and then corrected."""
    if one.kind is not event.kind:
        return False
    said = {one.text for one in event.alternatives}
    brief = " ".join(filter(None, (one.kind, one.mark, one.value)))
    return _same(one, event) or brief in said or one.kind in _NUMBERS


def _same(one: _Found, event: Event) -> bool:
    if one.kind is not event.kind:
        return False
    if one.kind not in _NUMBERS:
        return one.mark == event.mark
    return holds_number(event.value, one.kind, one.value.split()[-1])


def _share_of(event: Event, inputs: Inputs, told: Outputs) -> float | None:
    """Give how likely the network finds a note of the rules; None where it cannot."""
    if event.kind in ACTIONS:
        if event.mark not in inputs.marks:
            return None
        bee = inputs.marks.index(event.mark)
        return float(told.deeds[bee, ACTIONS.index(event.kind)])
    if event.kind in _SWITCHES:
        return share_of_kind(told, event.kind)
    shares = [
        float(share)
        for said, share in zip(inputs.said, told.numbers, strict=False)
        if said.kind is event.kind and holds_number(event.value, said.kind, said.value)
    ]
    return max(shares, default=None)


def _right(share: float) -> float:
    """Give how often notes of such a share are right: the network is over-sure.

    Measured on 769 notes of 39 days that it was not trained on; of those that it gives
    .8 half are right.
    """
    share = min(max(share, 1e-4), 1 - 1e-4)
    return 1 / (1 + math.exp(0.8 - 0.53 * math.log(share / (1 - share))))


def _likely(share: float) -> Flag:
    return Flag.of(FlagCode.LIKELY_MEANT, f"{100 * _right(share):.0f}")


def _event(line: Line, one: _Found) -> Event:
    """Make a note of what only the network sees."""
    words: Sequence[Word] = line.span(one.words) if one.words else line.words
    ago_s = line.ago_s if one.kind in ACTIONS else 0.0
    flags = (_likely(one.share), *(line.ago_flags if ago_s else ()))
    return Event(
        kind=one.kind,
        mark=one.mark,
        value=one.value,
        start_s=max(0.0, words[0].start_s - ago_s),
        end_s=line.end_s,
        heard=" ".join(word.text for word in line.words),
        confidence=_right(one.share) * min(word.confidence for word in line.words),
        flags=flags,
    )
