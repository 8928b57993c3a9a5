"""Names people give their bees: "she's called Lady Muck", "number two goes orange".

They are learned from the whole of what was said, before it is read: from words of
naming, from where a bee was painted first, and from who comes and goes later on.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

# How people tell what they call a bee.
_CALLED = (
    r" (?P<colour>COLOUR) is (?:called|named) (?P<name>\w{4,}) (?=[.,])",
    (
        r" (?P<colour>COLOUR) is (?!here |back |away |gone |left |done |next |down )"
        r"(?P<name>\w{4,}) then (?=[.,])"
    ),
    r" (?:say|said) (?P<name>\w{4,}) (?:, )?i mean (?:the )?(?P<colour>COLOUR) ",
    (
        r" call (?:the |our )?(?P<colour>COLOUR) (?:one|bee|girl) (?:[?,.] )?"
        r"(?P<name>\w{4,}) (?=[.,])"
    ),
)


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


NO_LOOK = _words(
    "the this that one another first second third fourth fifth next new last other same"
    " two nice good each every any some our her his its for and with lovely right"
)
# How a bee gets a name of her own: "she's called Lady Muck", "so she's Greedy".
_NAMING = re.compile(
    r"(?P<sure> (?:called|calling (?:her|him|it|this one|that one)|call (?:her|him|it"
    r"|this|this one)|named|naming her|name (?:her|is)|christen(?:ed)? (?:her|him)|meet"
    r"|known as)) (?:the |my |our )?(?P<a>[a-z-]{3,}(?: [a-z]{3,})?) (?=[.,]|and )"
    r"| (?:she|he|this one|that one|that|this) (?:is|will be) (?P<the>(?:the |my "
    r"|our )?)(?!called |named )(?P<b>[a-z-]{4,}(?: [a-z]{4,})?) (?=[.,])"
    r"|[.] (?P<my>(?:the |my ))(?P<c>[a-z-]{4,}) (?=[.])"
)
_NO_NAME = _words(
    "back away here there gone left landed down off out home again done ready painted"
    " marked drinking still leaving coming going here today okay good great lovely nice"
    " it all that this one two three four five six seven eight nine ten right wrong"
    " enough"
    " full busy sure true fine calm light strong wind time bearing station lost missing"
    " late early north south east west she her mine yours tired thirsty beautiful easy"
)
_AS_NAME = (  # where such a name stands later
    r"(?: (?:goes|comes|bye|hello|hiya|welcome) | [.,?] (?:(?:and|so|but|well|there"
    r"|oh) )*)(?:the |my |our )?NAME (?:is|was|came|comes|left|leaves|goes|landed|lands"
    r"|went|down|up|off|in|out|back|away)(?= )"
)
_NO_BEE = _words(
    "wind breeze sun rain cloud clouds kettle tea mum dad gran nan grandad man"
    " woman everything everybody bees bee she her them they it that this these those"
    " what dog cat bird lid paint brush dish feeder plate cup pen pot water syrup"
    " line time clock compass one two three four five six seven eight nine ten first"
    " second third last next other another both all none some any there here and but"
    " now then number"
)
_NEAR_NAMING = 110  # characters between a bee's painting and her naming; guess
# What a bee does, right after her name: "Queen is off", "two has landed".
_MOVES = (
    r"(?:(?:is|has|was|have|just|now|already|all|only|again|finally|then|gets|got) )*"
    r"(?:in|out|off|on|up|away|awa|oot|back|home|down|gone|here|left|went|came|comes"
    r"|landed|flown|finished|airborne|lands|leaves|leaving|goes|going|coming|returns"
    r"|returned|flies|flew|departs|departed|arrives|arrived|lifts|lifted|landing|takes"
    r"|took)(?= )"
)
_LED = r"(?: [.,?]|^) (?:(?:and|so|but|well|there|oh|now|then|that is|okay|right) )*"
_MOVING = re.compile(rf"{_LED}(?:the |my |our )?(?P<name>[a-z]{{3,}}) {_MOVES}")
LED_TO = re.compile(rf"{_LED}(?:the |my |our )?$")
THEN_MOVES = re.compile(f" {_MOVES}")
_NICKNAME_MOVES = 2  # such places that make a word a bee's name; guess
_COUNT = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_NTH = "|".join((*_COUNT, *"123456789"))
BY_NUMBER = re.compile(rf"(?P<n>{_NTH})(?= )")
_NUMBERED = rf" (?:number|bee|nr|designated|called) (?P<n>{_NTH})(?= )"
# "Number two goes orange", "orange, number two"; "two is orange".
_NUMBER_COLOUR = (
    rf"{_NUMBERED}(?:(?! (?:number|bee|nr) )[^?]){{0,60}}? (?P<colour>COLOUR)(?= )",
    (
        r" (?P<colour>COLOUR) (?:(?:is|as|for|, ?|gets) )*(?:number|bee|nr)"
        rf" (?P<n>{_NTH})(?= )"
    ),
    (
        r" (?P<colour>COLOUR)(?: [a-z,]+){0,8} (?:[.] )?(?:designated|called|i call her"
        rf"|call her|she is|that is|that makes) (?:number )?(?P<n>{_NTH})(?= [.,])"
    ),
    (
        rf"(?: [.,?]|^) (?:and |so )?(?P<n>{_NTH}) is (?:a |the |my )?"
        r"(?P<colour>COLOUR)(?= )"
    ),
)


@dataclass(frozen=True, slots=True)
class NamesGiven:
    """What bees are called besides their colours.

    `names`: each name, "number two" among them, and the mark of its bee. `numbers`:
    "two" and "2", where they may stand for a bee by themselves.
    """

    names: dict[str, str]
    numbers: dict[str, str]


def names_given(
    text: str, colours: Mapping[str, str], marks: Mapping[str, str], spots: set[str]
) -> NamesGiven:
    """Learn what bees are called: "if I say Strawberry I mean red".

    Parameters
    ----------
    text
        All that was said.
    colours
        Ways of saying a mark without "and", and the marks.
    marks
        All ways of saying a mark, "blue and white" among them.
    spots
        Ways of saying where a bee is painted.
    """
    single = any_of(colours)
    found: dict[str, str] = {}
    for way in _CALLED:
        for match in re.finditer(way.replace("COLOUR", single), text):
            if match["name"] not in colours:
                found.setdefault(match["name"], colours[match["colour"]])
    numbers = _numbered(text, marks)
    found |= {f"number {word}": mark for word, mark in numbers.items()}
    for word in set(re.findall(r"[a-z]{4,}(?:y|ie)(?= )", text)):
        stem = re.sub(r"(?:y|ie)$", "", word)
        stems = (stem, f"{stem}e", stem[:-1] if stem[-1] == stem[-2] else stem)
        way = next((one for one in stems if one in colours), "")
        if way and word not in colours:  # "whitey", "reddie"
            found.setdefault(word, colours[way])
    no_names = {*colours, *spots}
    by_moves = _nicknames(text, marks, no_names)
    return NamesGiven(by_moves | _own_names(text, marks, {*colours}) | found, numbers)


def any_of(words: Mapping[str, str]) -> str:
    """Give a pattern of any of these words, the longest first."""
    return "|".join(sorted(map(re.escape, words), key=len, reverse=True))


def _own_names(
    text: str, marks: Mapping[str, str], colours: set[str]
) -> dict[str, str]:
    """Learn names given to bees as they were painted: "she's called Lady Muck"."""
    found: dict[str, str] = {}
    colour = re.compile(rf" (?P<mark>{any_of(marks)})(?= )")
    for match in _NAMING.finditer(text):
        name = (match["a"] or match["b"] or match["c"]).removesuffix(" then")
        words = set(name.split())
        if words & (_NO_NAME | colours) or name in found:
            continue
        again = len(re.findall(_AS_NAME.replace("NAME", re.escape(name)), text))
        sure = match["sure"] or match["the"] or match["my"]
        if again < (1 if sure else 2):
            continue
        start = max(text.rfind(stop, 0, match.start() + 1) for stop in (" . ", " ? "))
        end = re.compile(r" [.?] |$").search(text, match.end())
        until = end.start() if end else len(text)
        said = [
            *colour.finditer(text, max(0, start), until + 1),
            *colour.finditer(text, max(0, start - _NEAR_NAMING), start + 1),
        ]
        if said:
            near = said[0] if said[0].start() >= start else said[-1]
            found[name] = marks[near["mark"]]
    return found


def _nicknames(
    text: str, marks: Mapping[str, str], no_names: set[str]
) -> dict[str, str]:
    """Learn what a bee is called from where a colour is named first.

    "The Queen we paint white": a word there that comes and goes later is her name.
    """
    moving = Counter(match["name"] for match in _MOVING.finditer(text))
    names = {word for word, count in moving.items() if count >= _NICKNAME_MOVES}
    names -= {*_NO_BEE, *_NO_NAME, *NO_LOOK, *no_names}
    if not names:
        return {}
    found: dict[str, str] = {}
    paint = re.compile(rf" (?P<mark>{any_of(marks)})(?= )")
    told_in: list[set[str]] = []
    sentences = re.split(r"(?<= )[.?] ", text)
    for sentence in sentences:
        named = paint.finditer(f" {sentence}")
        told_in.append({marks[one["mark"]] for one in named})
    seen: set[str] = set()
    for number, told in enumerate(told_in):
        said = _two_coloured(told, told_in[number + 1 : number + 3])
        new = said - seen
        seen |= said
        if len(said) == len(new) == 1:
            alone = number and not told_in[number - 1]
            near = sentences[number - 1 if alone else number : number + 1]
            for after in range(number + 1, min(number + 4, len(sentences))):
                if told_in[after] - new or len(" ".join(near)) > _NEAR_NAMING:
                    break
                # Who comes and goes there has her name already.
                near.append(_MOVING.sub(" ", f" . {sentences[after]}"))
            for word in names & {*" ".join(near).split()}:
                again = found.get(word, *new) not in new
                found[word] = "" if again else next(iter(new))
    return {word: mark for word, mark in found.items() if mark}


def _two_coloured(said: set[str], after: Sequence[set[str]]) -> set[str]:
    """Take "I give her red. Red and green ..." for one bee of two colours."""
    for more in after:
        wider = {one for one in more if "-" in one and said & {*one.split("-")}}
        if len(said) == len(wider) == 1:
            return wider
    return said


def _numbered(text: str, marks: Mapping[str, str]) -> dict[str, str]:
    """Learn bees that go by numbers, "number one, I gave her green": two at least."""
    found: dict[str, str] = {}
    for way in _NUMBER_COLOUR:
        for match in re.finditer(way.replace("COLOUR", any_of(marks)), text):
            number = match["n"]
            number = _COUNT[int(number) - 1] if number.isdecimal() else number
            mark = marks[match["colour"]]
            if number not in found and mark not in found.values():
                found[number] = mark
    if len(found) < 2 or "one" not in found:
        return {}
    return found | {str(_COUNT.index(word) + 1): mark for word, mark in found.items()}
