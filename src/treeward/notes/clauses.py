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

from .adjuncts import ago_at
from .bee_names import Named
from .bee_verbs import (
    ADVERB,
    GOVERNS,
    KNOWN,
    NOT,
    NOUNS,
    VERBS,
    WAYS,
    SpokenWord,
    forms,
    may_follow,
    moved,
    split_words,
    words_of,
)
from .flags import Flag, FlagCode
from .narrated_actions import MAY_COME_FLAG, Done
from .sayings import PAINTING

if TYPE_CHECKING:
    from .bee_names import BeeNames

_SHOWS = words_of("there here back in off away out up down next then again first hello")
_UNREAL = re.compile(
    r" (?:would|(?:do|did) not (?:think|believe|suppose)|doubt|could|should|will|shall|may|might|if|when|whenever|until|till|once|unless"
    r"|before|hope|hoping|wish|want|wants|wanted|expect|expecting|expected|going to"
    r"|about to|ready to|trying to|tries to|likely to|due|let|wonder|wondering|suppose"
    r"|reckon(?:ed)? on|usually|always|often|sometimes|every|each|yesterday|tomorrow"
    r"|used to|thought|think(?:ing)? of|looks? like|waiting for|wait for|watch for"
    r"|seems? to|as if|as though|like to|to be|nearly|almost|need|needs|can|last (?:time"
    r"|week|year|trip)|than|people|they say|means? to|decides? to) "
)
_BELONGS = re.compile(r" is (?=[a-z])")
_YET = re.compile(r" (?:yet|so far) ")
_STILL = re.compile(r" (?:still|yet|staying|stays|stayed|remains) ")
_OTHERS = words_of(
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
_UNSEEN = re.compile(
    r" (?:not|never|missed) (?:see|saw|seen|seeing|catch|caught|notice) "
)
_PAINT = forms("paint mark dab+ dot+ daub tag+ christen")
_GIVES = words_of(
    "receives received becomes became wears takes put puts putting give gave given giving got getting get gets make made"
)
_DOTS = words_of("dot spot dab mark blob splash smear touch dots daub dabbed")
_ON_HER = words_of(
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
_WHO = words_of("i we to will us can me and now he")
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


class Clauses:
    """Reads what a bee did out of a clause, whatever else stands in it."""

    def __init__(self, names: BeeNames) -> None:
        self._names = names

    def at(self, text: str, start: int, end: int, since: int) -> Done | None:
        """Find what a bee did between two places; the sentence began at `since`."""
        words = split_words(text, start, end)
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
            found = moved(text, words, place)
            bee = found and self._subject(text, words, place, bees, since, start)
            done = bee and self._happened(text, words, place, found, bee, start)
            if done:
                return done
        return None

    @staticmethod
    def _happened(
        text: str,
        words: list[SpokenWord],
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
        if bee.named.pronoun and (present or word.text not in KNOWN):
            return None
        until = max(words[last - 1].end, bee.end if inside else 0)
        if _STILL.search(said) or _UNREAL.search(f" {text[words[0].start : until]} "):
            return None
        if word.text not in VERBS and inside and bee.end <= word.start:
            between = text[bee.end : word.start].split()
            if not all(ADVERB.fullmatch(one) for one in between):
                return None  # a way alone stands right after its bee
        if (
            inside
            and _BELONGS.match(text, bee.end)
            and not (may_follow(text[bee.end :].split()[1]))
        ):
            return None  # "white's friend has left"
        flags: tuple[Flag, ...] = (Flag(FlagCode.AMID_WORDS),)
        denied = [
            one
            for one in words[:last]
            if one.text in NOT and (not inside or one.start > bee.end)
        ]
        if denied:
            if kind is not EventKind.BACK or present:
                return None
            kind = EventKind.MISSED
            flags = (*flags, MAY_COME_FLAG)
        ago = next((found for one in words if (found := ago_at(text, one.start))), None)
        if ago:
            flags = (*flags, *ago.flags)
        if denied:
            pass
        elif _UNSEEN.search(said):
            flags = (*flags, Flag(FlagCode.NOT_AS_IT_HAPPENED))
        elif any(one.text in NOT for one in words[:last]):
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
            ago_s=ago.ago_s if ago else 0.0,
        )

    def _bees(self, text: str, words: list[SpokenWord]) -> list[_Bee]:
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
            if (named.mark or named.marks) and not (apart or may_follow(follows)):
                continue
            if named.pronoun == "her" and may_follow(follows) is False:
                continue
            before = [one.text for one in words[max(0, place - 2) : place]]
            of_it = before[-1:] == ["of"] and before[0] in NOUNS
            governed = before[-1:] and before[-1] in GOVERNS and not of_it
            found.append(_Bee(named, word.start, named.end, bool(governed)))
        return found

    def _subject(
        self,
        text: str,
        words: list[SpokenWord],
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
                way = verb.text in WAYS
                gap = text[verb.end : near[0].start].split()
                shown = _SHOWS.intersection(lead.split()) or verb.text in NOUNS
                turned = VERBS.intersection(gap) if way else shown
                return near[0] if turned else None
        elif _OTHERS.intersection(lead.split()) or verb.text in WAYS:
            return None
        earlier = self._bees(text, split_words(text, since, start))
        if not earlier or _OTHERS.intersection(lead.split()):
            return None
        if _UNREAL.search(f" {text[since:start]} "):
            return None
        last = [bee for bee in earlier if not bee.governed]
        named = [bee for bee in last if not bee.named.pronoun]
        return (named or last or [None])[-1]

    def _lost(
        self, text: str, words: list[SpokenWord], bees: list[_Bee]
    ) -> Done | None:
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

    def _painted(
        self, text: str, words: list[SpokenWord], bees: list[_Bee]
    ) -> Done | None:
        """Read "dabbed her with purple", "this one gets a spot of pink"."""
        said = [word.text for word in words]
        if not said or NOT.intersection(said) or _UNREAL.search(f" {' '.join(said)} "):
            return None
        colours = self._names.word.finditer(text, words[0].start - 1, words[-1].end + 1)
        named = [self._names.single(text, match.start() + 1) for match in colours]
        marks = {one.mark for one in named if one} - {UNMARKED, *self._names.seen}
        if len(marks) != 1 or len({one.mark for one in named if one}) > 1:
            return None
        before = text[max(0, words[0].start - 60) : words[0].start]
        paints = {
            word
            for before, word in zip(["to", *said], said, strict=False)
            if word in _PAINT and (before in _WHO or word.endswith(("ed", "ing")))
        }
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
