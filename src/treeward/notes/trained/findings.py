"""What the network finds in one line: deeds of bees, numbers, a pause, how long ago.

What words deny, it does not find: what nearly happened, and where an animal went.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from treeward.language.kinds import EventKind

from .bees import ACTIONS
from .inputs import LINE_KINDS
from .lines import Refers

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .inputs import Inputs
    from .lines import Line, NumberSaid
    from .network import Outputs

# Shares of the network, measured on days that it was not trained on.
NEW = 0.875  # from which a note is made of a transcript
BESIDE = 0.2  # less of it for times, durations and what is of no bee: rarer wrong
IN_TALK = 0.65  # and of talk between notes that were heard: it is heard worse
UNNAMED = 0.95  # of what a bee did in a line that does not even say "she": "the kettle"
BORNE_OUT = 0.5  # of a leaving with a bearing, a coming with a time out
# A bearing needs no more in the line that tells that its bee left, nor one told in
# degrees, nor "the same way", which says in a flag what it is taken for.
OF_A_LEAVING, IN_DEGREES, SAME_AGAIN = 0.725, 0.575, 0.475
LIKELIEST = 0.5  # share of a number, where its readings together are as likely as asked
OR_ELSE = 0.15  # and from which it is another reading of one; guess
AGO = 0.5  # from which a stretch of time is how long ago a bee did it
SHORTEST_OUT_S = 20  # that anybody would tell of a bee's time out; guess
_ROUND_TRIP = re.compile(r" (?:round(?:ed)?[ -]trip|there and back)(?= )")
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
NUMBERS = frozenset({EventKind.BEARING, EventKind.DURATION, EventKind.TIME})
MOVING = frozenset({EventKind.AWAY, EventKind.BACK})
SWITCHES = frozenset({EventKind.PAUSE, EventKind.RESUME})
_SHOWS = {EventKind.BEARING: EventKind.AWAY, EventKind.DURATION: EventKind.BACK}
_MOVES = [ACTIONS.index(kind) for kind in (*MOVING, EventKind.MISSED)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A note the network sees in a line: of which words, and how likely it is.

    `others` are other readings, in words, and how likely; `said` is the number.
    """

    kind: EventKind
    share: float
    mark: str = ""
    value: str = ""
    words: tuple[int, ...] = ()
    others: tuple[tuple[str, float], ...] = ()
    said: NumberSaid | None = None


@dataclass(frozen=True, slots=True)
class Ago:
    """How long ago a bee did what a line tells of her; "" for any."""

    mark: str
    ago_s: float
    words: str


def findings(
    line: Line,
    inputs: Inputs,
    told: Outputs,
    here: Mapping[str, bool],
    *,
    least: float = NEW,
) -> list[Finding]:
    """Give what a line tells, as likely as `least`; `here` tells where bees are."""
    told = _denied_by_words(line, inputs, told, here)
    numbers = _numbers(line, inputs, told, here, least)
    bears = {(_SHOWS[one.kind], one.mark) for one in numbers if one.kind in _SHOWS}
    deeds = [
        one
        for one in _deeds(line, inputs, told, min(least, BORNE_OUT))
        if one.share >= (least if line.mentions else max(least, UNNAMED))
        or (one.kind, one.mark) in bears
    ]
    return [*deeds, *numbers, *_switches(told, max(least, NEW) - BESIDE)]


def _denied_by_words(
    line: Line, inputs: Inputs, told: Outputs, here: Mapping[str, bool]
) -> Outputs:
    """Take out what the words deny: what nearly happened, and an animal's way."""
    deeds, numbers = told.deeds.copy(), told.numbers
    for bee, mark in enumerate(inputs.marks):
        if _nearly(line, mark):
            deeds[bee, _MOVES] = 0.0
        if _is_no_bee(line, mark):
            deeds[bee] = 0.0
    if of_others(line, here):
        numbers = np.zeros_like(numbers)
    return replace(told, deeds=deeds, numbers=numbers)


def _is_no_bee(line: Line, mark: str) -> bool:
    """Tell whether a colour is that of something else wherever it is: "a red kite"."""
    named = [max(one.words) for one in line.mentions if one.mark == mark]
    after = (line.bare_words[place + 1 : place + 2] for place in named)
    return bool(named) and all(
        word and _OTHERS.search(f" {word[0].lower()} ") for word in after
    )


def of_others(line: Line, here: Mapping[str, bool]) -> bool:
    """Tell whether a line is of an animal or a path and of no bee that is known."""
    bees = (one for one in line.mentions if one.mark in here)
    said = f" {' '.join(line.bare_words)} "
    return _OTHERS.search(said) is not None and not any(bees)


def agos(line: Line, inputs: Inputs, told: Outputs) -> list[Ago]:
    """Give how long ago things were done, as the network reads it."""
    found = []
    for place, said in enumerate(inputs.said):
        if said.kind is not EventKind.DURATION or told.agos[place] < AGO:
            continue
        mark, _ = _whose(inputs, told, place)
        words = " ".join(word.text for word in line.span(said.words))
        found.append(Ago(mark, float(said.value), words))
    return found


def _whose(inputs: Inputs, told: Outputs, place: int) -> tuple[str, float]:
    """Give which bee a number is likeliest of, "" for none, and how likely."""
    bee = int(told.whose[place].argmax())
    mark = inputs.marks[bee] if bee < len(inputs.marks) else ""
    return mark, float(told.whose[place, bee])


def _deeds(line: Line, inputs: Inputs, told: Outputs, least: float) -> list[Finding]:
    """Give what bees may have done."""
    found = []
    for bee, mark in enumerate(inputs.marks):
        words = next((one.words for one in line.mentions if one.mark == mark), ())
        for place, kind in enumerate(ACTIONS):
            share = float(told.deeds[bee, place])
            if share < least:
                continue
            rest = zip(inputs.marks, told.deeds[:, place], strict=False)
            others = tuple(
                (f"{kind} {other}", float(less))
                for other, less in rest
                if other != mark and OR_ELSE <= less < least
            )
            found.append(
                Finding(kind=kind, mark=mark, share=share, words=words, others=others)
            )
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


def _numbers(
    line: Line,
    inputs: Inputs,
    told: Outputs,
    here: Mapping[str, bool],
    least: float,
) -> list[Finding]:
    """Give the numbers that may be notes, no two of the same words."""
    found: list[Finding] = []
    taken: set[int] = set()
    leaving = ACTIONS.index(EventKind.AWAY)
    left = {
        mark
        for bee, mark in enumerate(inputs.marks)
        if told.deeds[bee, leaving] >= least
    }
    away = not _ROUND_TRIP.search(f" {' '.join(line.bare_words).lower()} ")
    for place in np.argsort(-told.numbers[: len(inputs.said)], kind="stable"):
        said, share = inputs.said[place], float(told.numbers[place])
        mark, of_her = _whose(inputs, told, place)
        enough = least - BESIDE
        if said.kind is EventKind.BEARING:
            is_out = mark in left or here.get(mark) is False
            bearing = _of_a_bearing(line, said, left=mark in left, is_out=is_out)
            enough = min(least, bearing)
        together = _together(inputs, told, place)
        if min(share / LIKELIEST, 1.0) * together < enough:
            continue
        if taken & set(said.words):
            continue
        if said.kind is EventKind.DURATION and int(said.value) < SHORTEST_OUT_S:
            continue
        if said.kind is EventKind.TIME:
            mark = ""
        elif mark:
            share *= of_her
        if any((one.kind, one.mark) == (said.kind, mark) for one in found):
            continue
        taken |= set(said.words)
        rest = zip(inputs.said, told.numbers, strict=False)
        others = tuple(
            (" ".join(filter(None, (other.kind, mark, other.written))), float(less))
            for other, less in rest
            if set(other.words) & set(said.words) and OR_ELSE <= less < least
        )
        found.append(
            Finding(
                kind=said.kind,
                mark=mark,
                value=said.written if away else said.written.replace("away", "round"),
                share=share,
                words=said.words,
                others=others,
                said=said,
            )
        )
    return found


def _of_a_bearing(line: Line, said: NumberSaid, *, left: bool, is_out: bool) -> float:
    """Give the share that a bearing needs where words bear it out, else 1.

    Of a bee that `left` in this line, or `is_out` by now.
    """
    if said.refers is Refers.SAME_WAY:
        return SAME_AGAIN
    after = line.bare_words[said.words[-1] : said.words[-1] + 2]
    if is_out and any(word.lower() in {"degrees", "degree"} for word in after):
        return IN_DEGREES
    return OF_A_LEAVING if left else 1.0


def _together(inputs: Inputs, told: Outputs, place: int) -> float:
    """Give how likely a number is a note in any of its readings: 45, 145, 245."""
    own = inputs.said[place]
    return float(
        sum(
            share
            for other, share in zip(inputs.said, told.numbers, strict=False)
            if other.kind is own.kind and set(other.words) & set(own.words)
        )
    )


def _switches(told: Outputs, least: float) -> list[Finding]:
    """Give a pause of the watching, or its end."""
    shares = zip(LINE_KINDS, told.kinds, strict=True)
    return [
        Finding(kind=kind, share=float(share))
        for kind, share in shares
        if kind in SWITCHES and share >= least
    ]
