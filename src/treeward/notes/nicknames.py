"""Names people give their bees: "she's called Lady Muck", "number two goes orange".

They are learned from the whole of what was said, before it is read: from words of
naming, from where a bee was painted first, and from who comes and goes later on.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.dates import MONTHS

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

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
_NO_PROPER = {*MONTHS} | _words(  # written with a capital, and no bee's
    "i god lord mr mrs miss ms dr saint st auntie aunt uncle father mother mummy daddy"
    " mum dad gran grandad sir madam lady queen king monday tuesday wednesday thursday"
    " friday saturday sunday christmas easter"
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
_NAMED_WITHIN = 5  # sentences after a colour in which its bee gets her name; guess
_SPEAKS = r"(?:says|said|asks|asked|answers|reckons|thinks|tells|told|laughs|shouts)"
_SHORT = 4  # words of a sentence that tells a name before the colour; guess
_NICKNAME_MOVES = 2  # such places that make a word a bee's name; guess
_COUNT = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_NTH = "|".join((*_COUNT, *"123456789"))
BY_NUMBER = re.compile(rf"(?P<n>{_NTH})(?= )")
_NUMBERED = rf" (?:number|bee|nr|designated|called) (?P<n>{_NTH})(?= )"
_IS_NUMBER = re.compile(  # "She becomes Two", said of the bee just painted
    rf" (?:number|bee|nr|designated|becomes|(?:she|this|that|you|it|her) (?:is|are)"
    rf"|(?:will|shall) be|makes|call (?:her|you)) (?:number |bee )?(?P<n>{_NTH})(?= )"
)
_NUMBERED_WITHIN = 3  # sentences, the one with the colour first; guess
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
        rf"(?: [.,?]|^) (?:and |so )?(?P<n>{_NTH}) (?:is|gets|wears) (?:a |the |my )?"
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
    text: str,
    colours: Mapping[str, str],
    marks: Mapping[str, str],
    spots: set[str],
    proper: Collection[str] = (),
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
    proper
        Words of the text that are written with a capital wherever they stand.
    """
    single, paints = any_of(colours), any_of(marks)
    found: dict[str, str] = {}
    for way in _CALLED:
        for match in re.finditer(way.replace("COLOUR", single), text):
            if match["name"] not in colours:
                found.setdefault(match["name"], colours[match["colour"]])
    sentences = _sentences(text, marks, paints)
    numbers = _numbered(text, sentences, marks, paints)
    found |= {f"number {word}": mark for word, mark in numbers.items()}
    for word in set(re.findall(r"[a-z]{4,}(?:y|ie)(?= )", text)):
        stem = re.sub(r"(?:y|ie)$", "", word)
        stems = (stem, f"{stem}e", stem[:-1] if stem[-1] == stem[-2] else stem)
        way = next((one for one in stems if one in colours), "")
        if way and word not in colours:  # "whitey", "reddie"
            found.setdefault(word, colours[way])
    no_names = {*_NO_BEE, *_NO_NAME, *NO_LOOK, *colours, *spots}
    given = _nicknames(text, sentences, no_names)
    given |= _own_names(text, marks, paints, {*colours})
    written = set(proper) - no_names - _NO_PROPER
    given |= _proper_names(sentences, written, marks, paints) | found
    return NamesGiven(given, numbers)


def any_of(words: Mapping[str, str]) -> str:
    """Give a pattern of any of these words, the longest first."""
    return "|".join(sorted(map(re.escape, words), key=len, reverse=True))


def _own_names(
    text: str, marks: Mapping[str, str], paints: str, colours: set[str]
) -> dict[str, str]:
    """Learn names given to bees as they were painted: "she's called Lady Muck"."""
    found: dict[str, str] = {}
    colour = re.compile(rf" (?P<mark>{paints})(?= )")
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


@dataclass(frozen=True, slots=True)
class _Sentence:
    """A sentence, the marks that it tells, and one of them if nobody told it before."""

    text: str
    marks: frozenset[str]
    new: str

    @property
    def words(self) -> list[str]:
        return self.text.split()


def _sentences(text: str, marks: Mapping[str, str], paints: str) -> list[_Sentence]:
    paint = re.compile(rf" (?P<mark>{paints})(?= )")
    texts = re.split(r"(?<= )[.?] ", text)
    told = [{marks[m["mark"]] for m in paint.finditer(f" {one}")} for one in texts]
    found: list[_Sentence] = []
    seen: set[str] = set()
    for number, (one, named) in enumerate(zip(texts, told, strict=True)):
        said = _two_coloured(named, told[number + 1 : number + 3])
        new = said - seen
        seen |= said
        first = next(iter(new)) if len(said) == len(new) == 1 else ""
        found.append(_Sentence(one, frozenset(named), first))
    return found


def _nicknames(
    text: str, sentences: Sequence[_Sentence], no_names: set[str]
) -> dict[str, str]:
    """Learn what a bee is called from where a colour is named first.

    "The Queen we paint white": a word there that comes and goes later is her name.
    """
    moving = Counter(match["name"] for match in _MOVING.finditer(text))
    names = {word for word, count in moving.items() if count >= _NICKNAME_MOVES}
    names -= no_names
    found: dict[str, str] = {}
    for number, one in enumerate(sentences):
        if not one.new or not names:
            continue
        alone = number and not sentences[number - 1].marks
        near = [each.text for each in sentences[number - alone : number + 1]]
        for after in sentences[number + 1 : number + 4]:
            if after.marks - {one.new} or len(" ".join(near)) > _NEAR_NAMING:
                break
            # Who comes and goes there has her name already.
            near.append(_MOVING.sub(" ", f" . {after.text}"))
        for word in names & {*" ".join(near).split()}:
            found[word] = one.new if found.get(word, one.new) == one.new else ""
    return {word: mark for word, mark in found.items() if mark}


def _proper_names(
    sentences: Sequence[_Sentence],
    proper: set[str],
    marks: Mapping[str, str],
    paints: str,
) -> dict[str, str]:
    """Learn names with capitals, told with a bee's colour or soon after she got it.

    "A touch of white, and I crown you Matilda"; "here is Bramble, the blue one". Who
    was spoken of before anything was painted, who speaks and who is spoken to, is none.
    """
    places: dict[str, list[int]] = {}
    for number, one in enumerate(sentences):
        for word in proper & {*one.words}:
            places.setdefault(word, []).append(number)
    places = {
        word: where
        for word, where in places.items()
        if len(where) > 1 and not _is_person(word, [sentences[at] for at in where])
    }
    if not places:
        return {}
    painted = {one.new: number for number, one in enumerate(sentences) if one.new}
    found = _told_as(sentences, places, marks, paints)
    for word, where in places.items():
        if word in found:
            continue
        since = max(0, where[0] - _NAMED_WITHIN)
        told = [one.marks for one in sentences[since : where[0] + 1] if one.marks]
        said = told[-1] if told else frozenset()
        new = [mark for mark in said if painted.get(mark, -1) >= since]
        if len(said) == len(new) == 1:
            found[word] = new[0]
        elif not said and len(sentences[where[0]].words) <= _SHORT:
            # "Bimbambo. You get the orange."
            found[word] = sentences[where[0] + 1].new
    return {word: mark for word, mark in found.items() if mark}


def _is_person(word: str, sentences: Sequence[_Sentence]) -> bool:
    """Tell whether a name is somebody's who speaks, or mostly is spoken to.

    "Osbert says so"; "no, Osbert, not that".
    """
    name = re.escape(word)
    speaks = re.compile(rf" {name} {_SPEAKS} | {_SPEAKS} {name} ")
    called = re.compile(rf", {name} (?:,|$)")
    texts = [f" {one.text.strip()} " for one in sentences]
    spoken = sum(1 for text in texts if called.search(text))
    return 2 * spoken >= len(texts) or any(map(speaks.search, texts))


def _told_as(
    sentences: Sequence[_Sentence],
    proper: Collection[str],
    marks: Mapping[str, str],
    paints: str,
) -> dict[str, str]:
    """Read "Bramble, the blue one", "orange is Halina": of one bee wherever it is."""
    name, colour = "(?P<name>[^ .,?]{2,})", f"(?P<mark>{paints})"
    first = (
        rf" {name} (?:(?:, )?(?:is|was|in|wears|wearing)|,(?: by the way ,)?"
        rf"(?: (?:that|she|it) is| the| our| my))(?: the| our| my| a| little| old)*"
        rf" {colour}(?= )"
    )
    then = (
        rf" {colour}(?: (?:one|bee|girl))?(?: ,)?(?: that| then she| so she)? (?:is|was"
        r"|for|called|named|we call|becomes|(?:shall|will|can|must|(?:got|has) to) be"
        rf"|is got to be)(?: the| our| my| old| little)?(?: [a-z]+)? {name}(?= )"
    )
    found: dict[str, str] = {}
    for pattern in map(re.compile, (first, then)):
        for one in sentences:
            for match in pattern.finditer(f" {one.text} "):
                word, mark = match["name"], marks[match["mark"]]
                if word in proper:
                    found[word] = mark if found.get(word, mark) == mark else ""
    return found


def _two_coloured(said: set[str], after: Sequence[set[str]]) -> set[str]:
    """Take "I give her red. Red and green ..." for one bee of two colours."""
    for more in after:
        wider = {one for one in more if "-" in one and said & {*one.split("-")}}
        if len(said) == len(wider) == 1:
            return wider
    return said


def _numbered(
    text: str, sentences: Sequence[_Sentence], marks: Mapping[str, str], paints: str
) -> dict[str, str]:
    """Learn bees that go by numbers, "number one, I gave her green": two at least."""
    found: dict[str, str] = {}

    def learn(number: str, mark: str) -> None:
        number = _COUNT[int(number) - 1] if number.isdecimal() else number
        if number not in found and mark not in found.values():
            found[number] = mark

    for number, one in enumerate(sentences):
        for after in sentences[number : number + _NUMBERED_WITHIN] if one.new else ():
            if after.marks - {one.new}:
                break
            match = _IS_NUMBER.search(f" {after.text} ")
            if match:
                learn(match["n"], one.new)
    for way in _NUMBER_COLOUR:
        for match in re.finditer(way.replace("COLOUR", paints), text):
            learn(match["n"], marks[match["colour"]])
    if len(found) < 2 or "one" not in found:
        return {}
    return found | {str(_COUNT.index(word) + 1): mark for word, mark in found.items()}
