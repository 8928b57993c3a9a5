"""The verbs of an insect's coming and going, and where each leads.

A verb is a word in all its forms; most say nothing of the direction, and the way that
follows tells it: "zoomed off", "dropped in", "swung over the hedge".
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from treeward.language.kinds import EventKind

from .narrated_bearings import leads_to_bearing

_VOWELS = "aeiou"


def forms(verbs: str) -> frozenset[str]:
    """Give the forms of regular verbs; "drop+" doubles its last letter."""
    found: set[str] = set()
    for verb in verbs.split():
        base = verb.removesuffix("+")
        stem = base + base[-1] if verb != base else base.removesuffix("e")
        third = base + (
            "es" if base.endswith(("s", "sh", "ch", "z", "x", "o")) else "s"
        )
        past = f"{stem}ed"
        if base.endswith("y") and base[-2] not in _VOWELS:
            third, past = f"{base[:-1]}ies", f"{base[:-1]}ied"
        found |= {base, third, past, f"{stem}ing"}
    return frozenset(found)


def words_of(text: str) -> frozenset[str]:
    """Give the words of a text."""
    return frozenset(text.split())


_COME = words_of("come comes came coming cometh")
_GO = words_of("go goes went going gone")
_COMES = (
    _COME
    | words_of("lit return arrival landing")
    | forms(
        "arrive return land alight settle appear reappear rejoin perch descend revisit"
    )
)
_GOES = (
    _GO
    | words_of(
        "leave leaves left leaving flee fled split departure takeoff liftoff quit"
    )
    | forms(
        "depart vanish disappear scarper skedaddle decamp exit launch ascend bolt"
        " absent part quit+ vacate desert abandon scram+"
    )
)
_FLY = words_of("fly flies flew flown flying")
# The way after them tells whether they came or went.
_MOVES = (
    _FLY
    | words_of(
        "get gets got getting gotten take takes took taken taking make makes made"
        " making"
        " shoot shoots shot shooting swing swings swung tear tears tore tearing rise"
        " rises rose rising speed speeds sped speeding spring sprang sneaks snuck set"
        " sets setting put puts hit hits dove run runs ran running give gave blew blow"
        " sat sweep swept sweeping wing winging slid sliding beat beats blasted struck"
    )
    | forms(
        "zoom buzz zip+ dart whizz whiz+ drop+ pop+ swoop sail float drift wander "
        "crawl walk hover circle spiral dash scoot slip+ sneak nip+ peel push whirl "
        "wheel bounce plop+ bumble amble rock roll lift climb head turn move whip+ "
        "bomb hop+ skip+ trundle toddle trot+ hurtle race rush scurry streak glide "
        "plummet dive dip+ touch clear pack power plonk blunder straggle stroll bob+ "
        "check show cruise rocket whirr sit+ loop bank slope potter saunter waltz "
        "dance flit+ flutter wobble stagger lumber tumble pile call follow barrel jet+ "
        "blast scuttle scamper veer curve angle steer kick knock burst start"
    )
)
NOUNS = words_of("return arrival departure landing takeoff liftoff exit")
_DRINKS = frozenset(
    word
    for word in forms(
        "sip+ feed lap+ suck load fill guzzle slurp tank refuel fuel nurse gorge"
    )
    | words_of("drinking sitting standing supping resting busy present")
    if word.endswith(("ing", "busy", "present"))
)
_BE = words_of("is was are were be been am being had have got")
_NEAR = words_of(
    "dish water saucer plate feeder syrup rim edge lip comb sponge bowl tray bucket jar"
    " trough stone moss pad cotton lid board mat tile cup sugar bait station table pool"
    " puddle tank bath pot cork float mud tin bottle rock pebble platform wool cloth"
    " tissue bench box surface bank stuff honey"
)
_HIVE = words_of("hive nest home tree colony mates sisters family base headquarters")
NOT = words_of("not never no without nor neither nobody hardly failed cannot nothing")
_AS_NOUN = re.compile(
    r" (?:over|wing|side|hand|eye|behind|of the|antenna|leg|in the|for|cheek|ear"
    r"|foot|shoulder|to do)(?= )"
)
ADVERB = re.compile(
    r"(?:right|straight|back|again|all|now|once|more|her|his|their|the way|way|well"
    r"|done|quite|very|so|too|at last|first|then|both|soon|been|herself|it|flight|to"
    r"|(?!early|only|fly)[a-z]+ly|this (?:time|second|minute|moment)|,)"
)
# A bee is no subject after these.
GOVERNS = words_of(
    "striking crossing taking writing putting calling counting with behind after than "
    "like as of beside near for past before from alongside turn switch shut joined "
    "following followed by to see sees saw missed on at about unlike without"
)


@dataclass(frozen=True, slots=True)
class SpokenWord:
    """A word and where it stands in the text of sentences."""

    text: str
    start: int
    end: int


# "Taken flight", "took to the air".
_TAKES_WING = re.compile(
    r"t(?:ake|akes|aken|aking|ook) (?:flight|wing|to (?:the air|her wings)|her leave"
    r"|leave)(?= )"
)
VERBS = _COMES | _GOES | _MOVES | _DRINKS | _BE
WAYS = words_of("back in down off away out up here home on airborne into aloft")
KNOWN = VERBS | WAYS
_FOLLOWS = (
    VERBS
    | NOT
    | GOVERNS
    | words_of(
        "done back in down off away out up here home on again who that which and or "
        "but did do does still also then now there too over both each together having "
        "must might may could would will should has finally at into this straight "
        "right all more first next last so as while i she we it upon there present"
    )
)


def may_follow(word: str) -> bool:
    """Tell whether the word after a colour leaves it the name of a bee."""
    if word in _PLURALS:  # "the yellow leaves flew"
        return False
    return not word or word in _FOLLOWS or word.endswith(("ly", "ed", "ing"))


def split_words(text: str, start: int, end: int) -> list[SpokenWord]:
    """Give the words between two places, without the borders."""
    return [
        SpokenWord(match[0], match.start(), match.end())
        for match in re.compile(r"[^ ,.?]\S*").finditer(text, start, end)
    ]


def moved(
    text: str, words: list[SpokenWord], place: int
) -> tuple[EventKind, int, bool] | None:
    """Read a verb and its way: kind, the words up to its end, whether only a state."""
    verb = words[place].text
    after = place + 1
    before = words[place - 1].text if place else ""
    her_own = verb in NOUNS and before in _WHOSE  # "since her departure"
    if her_own or (verb == "go" and before in {"a", "another", "one"}):
        return None
    if verb in _BE or verb in _AT:
        return _state(text, words, after if verb in _BE else place)
    if verb in _DRINKS:
        return EventKind.BACK, after, True
    wing = _TAKES_WING.match(text, words[place].start)
    if wing:
        more = sum(word.end <= wing.end() for word in words[place:])
        return EventKind.AWAY, place + more, False
    way = _way(text, words, after, homeward=verb not in _COMES)
    kind: EventKind | None = None
    if verb in _SHOWS_UP and words[after : after + 1] and words[after].text == "up":
        return EventKind.BACK, after + 1, False
    if verb in _COMES:
        kind = way[0] if way and verb in _COME else EventKind.BACK
    elif verb in _GOES and not (
        verb == "left" and _AS_NOUN.match(text, words[place].end)
    ):
        kind = way[0] if way and verb in _GO else EventKind.AWAY
    elif verb in _MOVES or (verb not in _GOES and verb.endswith(("ed", "ing"))):
        along = verb in _MOVES and leads_to_bearing(text, words[place].end + 1)
        kind = way[0] if way else None
        kind = kind or (EventKind.AWAY if verb in _FLY or along else None)
    elif verb in WAYS:
        way = _way(text, words, place, homeward=False)
        kind = way[0] if way else None
    return (kind, way[1] if way else after, False) if kind else None


def _state(
    text: str, words: list[SpokenWord], place: int
) -> tuple[EventKind, int, bool] | None:
    """Read what follows "is": "away", "on the rim", "having a drink"."""
    while (
        place < len(words)
        and ADVERB.fullmatch(words[place].text)
        and words[place].text != "back"
    ):
        place += 1
    if place >= len(words):
        return None
    word = words[place].text
    if word in _DRINKS or _AT_IT.match(text, words[place].start):
        return EventKind.BACK, place + 1, True
    if word in _IS_GONE:
        way = _way(text, words, place + 1, homeward=True)
        return EventKind.AWAY, way[1] if way else place + 1, False
    way = None if word in VERBS else _way(text, words, place, homeward=False)
    if way is None:
        return None
    return way[0], way[1], way[0] is EventKind.BACK and word in _AT


def _way(
    text: str, words: list[SpokenWord], place: int, *, homeward: bool
) -> tuple[EventKind, int] | None:
    """Read where a movement leads: "off", "back in", "over the hedge", "to the dish".

    `homeward` tells that a place which is no watering place is where she flew to.
    """
    back = 0
    for index in range(place, min(len(words), place + _WAY_WORDS)):
        if index and "," in text[words[index - 1].end : words[index].start]:
            break
        word = words[index].text
        kind = _leads(word, [w.text for w in words[index + 1 : index + 5]], homeward)
        if word == "back":
            back = index + 1
        elif kind:
            return kind, index + 1
        elif not ADVERB.fullmatch(word):
            break
    return (EventKind.BACK, back) if back else None


def _leads(word: str, after: list[str], homeward: bool) -> EventKind | None:
    """Tell where one word of a way leads, by the words after it."""
    near = bool(_NEAR.intersection(after[:3]))
    kind = None
    if word == "aloft" or (
        word == "into" and after[:2] in (["the", "air"], ["the", "sky"])
    ):
        kind = EventKind.AWAY
    elif word in {"off", "away"} or (word in {"from", "to", "for"} and not near):
        hive = word in {"to", "for"} and _HIVE.intersection(after[:3])
        kind = EventKind.AWAY if hive or word in {"off", "away"} else None
    elif word in {"out", "up"}:
        inward = after[:1] == ["of"] and after[1:2] not in (["here"], ["it"], ["sight"])
        kind = EventKind.BACK if near or inward else EventKind.AWAY
    elif word == "from":
        kind = EventKind.AWAY
    elif word == "home":
        kind = EventKind.AWAY if homeward else EventKind.BACK
    elif near and word in {
        "onto",
        "at",
        "to",
        "by",
        "in",
        "on",
        "upon",
        "down",
        "here",
    }:
        kind = EventKind.BACK
    elif word in {"in", "on"}:
        stops = _IN_SOMETHING if word == "in" else frozenset(after[:1]) - _ON_ALONE
        kind = None if stops.intersection(after[:1]) else EventKind.BACK
    elif word in {"down", "here"}:
        kind = EventKind.BACK
    if kind is None and homeward and word in _TOWARDS and not near:
        kind = EventKind.AWAY
    return kind


_WHOSE = words_of(
    "her his its their the last first second third that my your each every"
)
_PLURALS = words_of("leaves flies drops dots marks spots swings")
_WAY_WORDS = 4  # in which a way is told after its verb; guess
_AT = words_of("having at on upon here by over")
_SHOWS_UP = words_of("turned turns turning showed shows showing")
_IS_GONE = words_of("gone left airborne departed leaving flown away")
_IN_SOMETHING = words_of(
    "the a no my that this one circles rings loops spirals figure and her"
)
_ON_ALONE = words_of("again too as and now")
_TOWARDS = words_of("over towards toward past across through into for beyond")
_AT_IT = re.compile(r"having (?:a|her) |at it |with us ")
