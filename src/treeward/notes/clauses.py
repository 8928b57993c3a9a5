"""A clause read word by word: which bee, what she did, and whether it happened at all.

What English has for an insect's coming and going is a verb with a way ("zoomed off",
"came back in from the east"), a state ("is away", "is on the rim"), or a way alone
("white off"). The verb may be any: it is the way that tells. Who did it stands before
the verb, behind it ("in swings yellow"), or in the clause before.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.kinds import UNMARKED, EventKind

from .bee_names import Named
from .flags import Flag, FlagCode
from .narrated_actions import MAY_COME_FLAG, Done
from .narrated_bearings import leads_to_bearing
from .sayings import PAINTING

if TYPE_CHECKING:
    from .bee_names import BeeNames

_VOWELS = "aeiou"


def _forms(verbs: str) -> frozenset[str]:
    """Give the forms of regular verbs; "drop+" doubles its last letter."""
    found: set[str] = set()
    for verb in verbs.split():
        base = verb.removesuffix("+")
        stem = base + base[-1] if verb != base else base.removesuffix("e")
        third = base + ("es" if base.endswith(("s", "sh", "ch", "z", "x", "o")) else "s")
        past = f"{stem}ed"
        if base.endswith("y") and base[-2] not in _VOWELS:
            third, past = f"{base[:-1]}ies", f"{base[:-1]}ied"
        found |= {base, third, past, f"{stem}ing"}
    return frozenset(found)


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_COME = _words("come comes came coming cometh")
_GO = _words("go goes went going gone")
_COMES = _COME | _words("lit return arrival landing") | _forms(
    "arrive return land alight settle appear reappear rejoin perch descend revisit"
)
_GOES = _GO | _words(
    "leave leaves left leaving flee fled split departure takeoff liftoff"
) | _forms(
    "depart vanish disappear scarper skedaddle decamp exit launch ascend bolt absent"
)
_FLY = _words("fly flies flew flown flying")
# The way after them tells whether they came or went.
_MOVES = (
    _FLY
    | _words(
        "get gets got getting gotten take takes took taken taking make makes made making"
        " shoot shoots shot shooting swing swings swung tear tears tore tearing rise"
        " rises rose rising speed speeds sped speeding spring sprang sneaks snuck set"
        " sets setting put puts hit hits dove run runs ran running give gave blew blow"
        " sat sweep swept sweeping wing winging slid sliding beat beats blasted struck"
    )
    | _forms(
        "zoom buzz zip+ dart whizz whiz+ drop+ pop+ swoop sail float drift wander crawl"
        " walk hover circle spiral dash scoot slip+ sneak nip+ peel push whirl wheel"
        " bounce plop+ bumble amble rock roll lift climb head turn move whip+ bomb hop+"
        " skip+ trundle toddle trot+ hurtle race rush scurry streak glide plummet dive"
        " dip+ touch clear pack power plonk blunder straggle stroll bob+ check show"
        " cruise rocket whirr sit+ loop bank slope potter saunter waltz dance flit+ flutter"
        " wobble stagger lumber tumble pile call follow barrel jet+ blast scuttle scamper"
        " veer curve angle steer kick knock burst"
    )
)
_NOUNS = _words("return arrival departure landing takeoff liftoff exit")
_DRINKS = frozenset(
    word
    for word in _forms(
        "sip+ feed lap+ suck load fill guzzle slurp tank refuel fuel nurse gorge"
    )
    | _words("drinking sitting standing supping resting busy")
    if word.endswith(("ing", "busy"))
)
_BE = _words("is was are were be been am being had have got")
_NEAR = _words(
    "dish water saucer plate feeder syrup rim edge lip comb sponge bowl tray bucket jar"
    " trough stone moss pad cotton lid board mat tile cup sugar bait station table pool"
    " puddle tank bath pot cork float mud tin bottle rock pebble platform wool cloth"
    " tissue bench box surface bank stuff honey"
)
_HIVE = _words("hive nest home tree colony mates sisters family base headquarters")
_NOT = _words("not never no without nor neither nobody hardly failed cannot nothing")
_UNREAL = re.compile(
    r" (?:would|(?:do|did) not (?:think|believe|suppose)|doubt|could|should|will|shall|may|might|if|when|whenever|until|till|once|unless"
    r"|before|hope|hoping|wish|want|wants|wanted|expect|expecting|expected|going to"
    r"|about to|ready to|trying to|tries to|likely to|due|let|wonder|wondering|suppose"
    r"|reckon(?:ed)? on|usually|always|often|sometimes|every|each|yesterday|tomorrow"
    r"|used to|thought|think(?:ing)? of|looks? like|waiting for|wait for|watch for"
    r"|seems? to|as if|as though|like to|to be|nearly|almost|need|needs|can|last (?:time"
    r"|week|year|trip)|than|people|they say|means? to|decides? to) "
)
_LEFT_NOT = re.compile(
    r" (?:over|wing|side|hand|eye|behind|of the|antenna|leg|in the|for|cheek|ear"
    r"|foot|shoulder|to do)(?= )"
)
_BELONGS = re.compile(r" is (?=[a-z])")
_YET = re.compile(r" (?:yet|so far) ")
_STILL = re.compile(r" (?:still|yet|staying|stays|stayed|remains) ")
_ADVERB = re.compile(
    r"(?:right|straight|back|again|all|now|once|more|her|his|their|the way|way|well"
    r"|done|quite|very|so|too|at last|first|then|both|soon|been|herself|it|flight|to"
    r"|(?!early|only|fly)[a-z]+ly|this (?:time|second|minute|moment)|,)"
)
# A bee is no subject after these.
_GOVERNS = _words(
    "with behind after than like as of beside near for past before from alongside"
    " joined following followed by to see sees saw missed on at about unlike without"
)
_OTHERS = _words(
    "i we you he they my our your his those these there the a an some wind sun rain"
    " nobody somebody everybody who someone anybody people"
)
_LEADS = re.compile(
    r"(?:(?:and|but|so|then|oh|well|okay|right|yes|no|now|there|here|that|it|is|was|,"
    r"|ah|look|look at that|hello|good|great|lovely|next|up|straight|off|away|back|in"
    r"|down|first|again|out) )*"
)
_NO_BEE_YET = re.compile(
    r"(?:no|not a|not any|never any) (?:more )?(?:sign|show|trace|word|sight|hide nor"
    r" hair|news|glimpse|peep|whisker) (?:of|from) |(?:seen )?(?:nothing|naught|nowt) (?:of"
    r"|from|more of) |(?:(?:i|we|am|are|have|is|been|still) )*(?:given|giving|give|gave) up"
    r" (?:hope )?(?:on|of|waiting for) |(?:(?:i|we|am|are|have|think|fear) )*(?:lost|losing) "
    r"|(?:still )?(?:waiting|looking) (?:for|on)"
)
_PUT_DOWN = re.compile(
    r"(?:(?:i|we|will|am|are|so|let us|have|shall|going to|and|must) )*(?:put|putting|write"
    r"|writing|count|counting|treat|treating|call|calling|log|logging|mark|give|giving) (?:up on )?her"
    r"(?: (?:down|off|up|as|for|a))*(?: (?:lost|missing|gone|missed|dead|no show|not returned))?(?= )"
)
_COUNTED = re.compile(
    r" (?:, )?(?:i|we) (?:(?:will|would|must|have to|now|am|are) )*(?:consider|regard|count"
    r"|call|write|give|put|take|log)(?:ing|en)?(?: (?:her|it|down|as|off|for))*"
    r" (?:lost|missing|gone|missed|up|off|dead|a no show)(?: on)?(?= )"
)
_LOST = re.compile(
    r" (?:missing|overdue|late|lost|awol|no show|absent|not come|not back|not returned"
    r"|given up on)(?= )"
)
_PAINT = _forms("paint mark dab+ dot+ daub tag+ christen")
_GIVES = _words("receives received becomes became wears takes put puts putting give gave given giving got getting get gets make made")
_DOTS = _words("dot spot dab mark blob splash smear touch dots daub dabbed")
_ON_HER = _words(
    "her one bee this that it him another next thorax abdomen first second third fourth"
    " fifth bees girl lady gets wears back"
)
_PAINTING_NOW = re.compile(
    r"\b(?:dab|dot|spot|brush|painting|marking|is done|one done|got her|hold still"
    r"|held still|stay still)\b[^.?]*[.,] (?:and |then |so )*$"
)
_ITS_DOT = re.compile(
    r"^ (?:(?:and|so|then|there|now|a|an|one|another|nice|fine|fat|big|little|small|wee"
    r"|good|neat) )*[a-z-]+ (?:dot|spot|dab|blob|splash|smear|daub)s? (?!of |is )"
)
_IS_NOW = re.compile(
    r" (?:bee|one|she|this|that|it|number \w+) (?:(?:is|becomes|will be|gets|wears) "
    r"(?:the |a |in )?)[a-z-]+(?: one)? $"
)
_IS_HERS = re.compile(
    r"(?:is|was|goes|went) on (?:her|this one|that one|it)$|(?:^| )[a-z-]+ for (?:her|him"
    r"|this|that|the next|number|another)\b(?! (?:is|was))"
)
_SHORT = 6  # words of a clause that only names the colour; guess
_GIVEN = re.compile(
    r" on (?:her|this|that|it|him|another|the (?:next|first|second|third|fourth|last)|one)"
    r"| (?:gets|gave|given|give|giving|receives|received|becomes|became|wears|takes) "
    r"(?!up|it |us |me |off)"
)
_PAINTED_BEFORE = re.compile(
    r" (?:yesterday|last (?:week|time|night|year)|on \w+day|earlier|ago|had been|who"
    r"|whom|with|nice|was painted|from \w+day|the one (?:i|we)|came|back|landed|gone|left|off"
    r"|away|here is|there is) "
)


@dataclass(frozen=True, slots=True)
class _Word:
    text: str
    start: int
    end: int


class Clauses:
    """Reads what a bee did out of a clause, whatever else stands in it."""

    def __init__(self, names: BeeNames) -> None:
        self._names = names

    def at(self, text: str, start: int, end: int, since: int) -> Done | None:
        """Find what a bee did between two places; the sentence began at `since`."""
        words = _split(text, start, end)
        bees = self._bees(text, words)
        painted = self._painted(text, words, bees)
        if painted:
            return painted
        lost = self._lost(text, words, bees)
        if lost:
            return lost
        for place, word in enumerate(words):
            if any(bee.start <= word.start < bee.end for bee in bees):
                continue
            found = _moved(text, words, place)
            bee = found and self._subject(text, words, place, bees, since, start)
            done = bee and self._happened(text, words, place, found, bee, start)
            if done:
                return done
        return None

    @staticmethod
    def _happened(
        text: str,
        words: list[_Word],
        place: int,
        found: tuple[EventKind, int, bool],
        bee: _Bee,
        start: int,
    ) -> Done | None:
        """Give what was done, where nothing in the clause denies it."""
        kind, last, present = found
        word = words[place]
        inside = bee.start >= start
        said = f" {text[words[0].start : words[-1].end]} "
        if bee.named.pronoun and (present or word.text not in _KNOWN):
            return None
        until = max(words[last - 1].end, bee.end if inside else 0)
        if _STILL.search(said) or _UNREAL.search(f" {text[words[0].start : until]} "):
            return None
        if word.text not in _VERBS and inside and bee.end <= word.start:
            between = text[bee.end : word.start].split()
            if not all(_ADVERB.fullmatch(one) for one in between):
                return None  # a way alone stands right after its bee
        if inside and _BELONGS.match(text, bee.end) and not (
            _may_follow(text[bee.end :].split()[1])
        ):
            return None  # "white's friend has left"
        flags: tuple[Flag, ...] = (Flag(FlagCode.AMID_WORDS),)
        denied = [
            one
            for one in words[:last]
            if one.text in _NOT and (not inside or one.start > bee.end)
        ]
        if denied:
            if kind is not EventKind.BACK or present:
                return None
            kind = EventKind.MISSED
            flags = (*flags, MAY_COME_FLAG)
        elif _UNSEEN.search(said):
            flags = (*flags, Flag(FlagCode.NOT_AS_IT_HAPPENED))
        elif any(one.text in _NOT for one in words[:last]):
            return None
        return Done(
            kind=kind,
            named=bee.named,
            start=min(bee.start, word.start) if inside else word.start,
            end=until,
            flags=flags,
            both=bee.named.marks,
            present=present,
            loose=True,
        )

    def _bees(self, text: str, words: list[_Word]) -> list[_Bee]:
        """Find the bees named; a colour before a noun is none."""
        found: list[_Bee] = []
        after = 0
        for place, word in enumerate(words):
            if word.start < after:
                continue
            named = self._names.at(text, word.start)
            if named is None or named.some or named.mark == UNMARKED:
                continue
            if named.pronoun in {"it", "he", "whoever it was"}:
                continue
            after = named.end
            follows = next((w.text for w in words if w.start >= named.end), "")
            apart = text[named.end : named.end + 3].strip() in {",", ".", "?"}
            if (named.mark or named.marks) and not (apart or _may_follow(follows)):
                continue
            if named.pronoun == "her" and _may_follow(follows) is False:
                continue
            before = [one.text for one in words[max(0, place - 2) : place]]
            of_it = before[-1:] == ["of"] and before[0] in _NOUNS
            governed = before[-1:] and before[-1] in _GOVERNS and not of_it
            found.append(_Bee(named, word.start, named.end, bool(governed)))
        return found

    def _subject(
        self,
        text: str,
        words: list[_Word],
        place: int,
        bees: list[_Bee],
        since: int,
        start: int,
    ) -> _Bee | None:
        verb = words[place]
        free = [bee for bee in bees if not bee.governed and bee.named.pronoun != "her"]
        before = [bee for bee in free if bee.end <= verb.start]
        if before:
            between = text[before[-1].end : verb.start].split()
            if _OTHERS.intersection(between[1:]):
                return None
            return before[-1]
        lead = text[words[0].start : verb.start]
        if _LEADS.fullmatch(lead):
            near = [bee for bee in free if bee.start - verb.end <= 24]
            if near:
                way = verb.text in _WAYS
                gap = text[verb.end : near[0].start].split()
                return None if way and not _VERBS.intersection(gap) else near[0]
        elif _OTHERS.intersection(lead.split()) or not lead:
            return None
        earlier = self._bees(text, _split(text, since, start))
        if not earlier or _OTHERS.intersection(lead.split()):
            return None
        last = [bee for bee in earlier if not bee.governed]
        named = [bee for bee in last if not bee.named.pronoun]
        return (named or last or [None])[-1]

    def _lost(self, text: str, words: list[_Word], bees: list[_Bee]) -> Done | None:
        """Read "no sign of pink", "still waiting on white", "blue is overdue"."""
        said = f" {text[words[0].start : words[-1].end]} " if words else " "
        if _YET.search(said) or _UNREAL.search(said):
            return None
        for bee in bees:
            for word in words:
                lead = _NO_BEE_YET.match(text, word.start)
                if lead and lead.end() == bee.start:
                    return _missed(bee, word.start, bee.end)
            if bee.named.pronoun == "her":
                put = _PUT_DOWN.match(text, words[0].start)
                if put and put.end() > bee.end:
                    return _missed(bee, words[0].start, put.end())
                continue
            counted = _COUNTED.match(text, bee.end)
            if counted:
                return _missed(bee, bee.start, counted.end())
            gap = re.compile(r"(?: (?:is|was|has|been|still|gone|well))+").match(
                text, bee.end
            )
            found = _LOST.match(text, gap.end()) if gap else None
            if found:
                return _missed(bee, bee.start, found.end())
        return None

    def _painted(self, text: str, words: list[_Word], bees: list[_Bee]) -> Done | None:
        """Read "dabbed her with purple", "this one gets a spot of pink"."""
        said = [word.text for word in words]
        if not said or _NOT.intersection(said) or _UNREAL.search(f" {' '.join(said)} "):
            return None
        colours = self._names.word.finditer(text, words[0].start - 1, words[-1].end + 1)
        named = [self._names.single(text, match.start() + 1) for match in colours]
        marks = {one.mark for one in named if one} - {UNMARKED, *self._names.seen}
        if len(marks) != 1 or len({one.mark for one in named if one}) > 1:
            return None
        before = text[max(0, words[0].start - 60) : words[0].start]
        paints = _PAINT.intersection(said) - {"mark", "marks"}
        gives = _GIVES.intersection(said) and _GIVEN.search(f" {' '.join(said)} ")
        dots = _ITS_DOT.search(f" {' '.join(said)} ")
        if paints and not (_DOTS.intersection(said) or _ON_HER.intersection(said)):
            return None
        now = len(said) <= _SHORT and _PAINTING_NOW.search(before)
        is_hers = _IS_HERS.search(text[words[0].start : words[-1].end + 1])
        clause = text[words[0].start - 1 : words[-1].end + 1]
        if PAINTING.search(text[max(0, words[0].start - 120) : words[-1].end + 1]):
            is_hers = is_hers or _IS_NOW.search(clause)
        if not (paints or gives or dots or now or is_hers):
            return None
        if _PAINTED_BEFORE.search(f" {' '.join(said)} "):
            return None
        bee = next(one for one in named if one and one.mark in marks)
        return Done(
            kind=EventKind.MARK,
            named=bee,
            start=words[0].start,
            end=bee.end,
            flags=(Flag(FlagCode.AMID_WORDS),),
        )


@dataclass(frozen=True, slots=True)
class _Bee:
    named: Named
    start: int
    end: int
    governed: bool


def _missed(bee: _Bee, start: int, end: int) -> Done:
    flags = (Flag(FlagCode.AMID_WORDS), MAY_COME_FLAG)
    return Done(
        kind=EventKind.MISSED,
        named=bee.named,
        start=start,
        end=end,
        flags=flags,
        both=bee.named.marks,
        loose=True,
    )


def _split(text: str, start: int, end: int) -> list[_Word]:
    return [
        _Word(match[0], match.start(), match.end())
        for match in re.compile(r"[^ ,.?]\S*").finditer(text, start, end)
    ]


_UNSEEN = re.compile(r" (?:not|never|missed) (?:see|saw|seen|seeing|catch|caught|notice) ")
_VERBS = _COMES | _GOES | _MOVES | _DRINKS | _BE
_WAYS = _words("back in down off away out up here home on airborne")
_KNOWN = _VERBS | _WAYS
_FOLLOWS = _VERBS | _NOT | _GOVERNS | _words(
    "done back in down off away out up here home on again who that which and or but did do"
    " does still also then now there too over both each together having must might may"
    " could would will should has finally at into this straight right all more first"
    " next last so as while i she we it"
)


def _may_follow(word: str) -> bool:
    """Tell whether the word after a colour leaves it the name of a bee."""
    return not word or word in _FOLLOWS or word.endswith(("ly", "ed", "ing"))


def _moved(
    text: str, words: list[_Word], place: int
) -> tuple[EventKind, int, bool] | None:
    """Read a verb and its way: kind, how many words that took, and whether a state."""
    verb = words[place].text
    after = place + 1
    if verb in _BE or verb in {"having", "at", "on"}:
        return _state(text, words, after if verb in _BE else place)
    if verb in _DRINKS:
        return EventKind.BACK, after, True
    way = _way(text, words, after, homeward=verb not in _COMES)
    turned_up = verb in {"turned", "turns", "turning", "showed", "shows", "showing"}
    if turned_up and [w.text for w in words[after : after + 1]] == ["up"]:
        return EventKind.BACK, after + 1, False
    if verb in _COMES:
        if way and way[0] is EventKind.AWAY and verb in _COME:
            return way[0], way[1], False
        return EventKind.BACK, way[1] if way else after, False
    if verb == "left" and _LEFT_NOT.match(text, words[place].end):
        return None
    if verb in _GOES:
        if way and way[0] is EventKind.BACK and verb in _GO:
            return way[0], way[1], False
        return EventKind.AWAY, way[1] if way else after, False
    if verb in _MOVES or verb.endswith("ed") or verb.endswith("ing"):
        if way:
            return way[0], way[1], False
        if verb in _FLY or (verb in _MOVES and leads_to_bearing(text, words[place].end + 1)):
            return EventKind.AWAY, after, False
        return None
    if verb in _WAYS:
        return _alone(text, words, place)
    return None


def _alone(
    text: str, words: list[_Word], place: int
) -> tuple[EventKind, int, bool] | None:
    """Read a way without a verb: "off she pops", "white back again"."""
    way = _way(text, words, place, homeward=False)
    return None if way is None else (way[0], way[1], False)


def _state(
    text: str, words: list[_Word], place: int
) -> tuple[EventKind, int, bool] | None:
    """Read what follows "is": "away", "on the rim", "having a drink"."""
    while place < len(words) and _ADVERB.fullmatch(words[place].text):
        if words[place].text == "back":
            break
        place += 1
    if place >= len(words):
        return None
    word = words[place].text
    if word in _DRINKS or text.startswith(
        ("having a ", "having her ", "at it ", "with us "), words[place].start
    ):
        return EventKind.BACK, place + 1, True
    if word in {"gone", "left", "airborne", "departed", "leaving", "flown", "away"}:
        way = _way(text, words, place + 1, homeward=True)
        return EventKind.AWAY, way[1] if way else place + 1, False
    if word in _VERBS:
        return None
    way = _way(text, words, place, homeward=False)
    if way is None:
        return None
    here = way[0] is EventKind.BACK and word in {"at", "on", "here", "by", "in", "over"}
    return way[0], way[1], here and word != "in"


def _way(
    text: str, words: list[_Word], place: int, *, homeward: bool
) -> tuple[EventKind, int] | None:
    """Read where a movement leads: "off", "back in", "over the hedge", "to the dish"."""
    limit = min(len(words), place + 4)
    back = 0
    while place < limit:
        word = words[place].text
        if "," in text[words[place - 1].end : words[place].start] and place:
            break
        after = [one.text for one in words[place + 1 : place + 5]]
        if word == "back":
            back = place + 1
        elif word in {"off", "away"}:
            return EventKind.AWAY, place + 1
        elif word in {"out", "up"}:
            if after[:1] == ["of"] or _NEAR.intersection(after[:3]):
                return EventKind.BACK, place + 1
            return EventKind.AWAY, place + 1
        elif word == "home":
            return (EventKind.AWAY if homeward else EventKind.BACK), place + 1
        elif word in {"in", "down", "here", "on"} and not _far(word, after):
            return EventKind.BACK, place + 1
        elif word in {"onto", "at", "to", "by"} and _NEAR.intersection(after[:3]):
            return EventKind.BACK, place + 1
        elif word in {"from", "to", "for"} and (
            (_NEAR if word == "from" else _HIVE).intersection(after[:3])
        ):
            return EventKind.AWAY, place + 1
        elif homeward and word in {
            *("over", "towards", "toward", "past", "across", "through", "into", "for"),
            *("beyond",),
        } and not _NEAR.intersection(after[:3]):
            return EventKind.AWAY, place + 1
        elif not _ADVERB.fullmatch(word):
            break
        place += 1
    return (EventKind.BACK, back) if back else None


def _far(word: str, after: list[str]) -> bool:
    """Tell whether "in" or "on" leads no bee to the dish: "in a minute", "on her way"."""
    if word == "in":
        return after[:1] in (["the"], ["a"], ["no"], ["my"], ["that"], ["this"], ["one"]) and not (
            _NEAR.intersection(after[:3])
        )
    if word == "on":
        return bool(after) and not _NEAR.intersection(after[:3]) and after[0] not in {
            *("again", "too", "as", "and", "now"),
        }
    return False
