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

from .bee_names import BEE
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
from .narrated_durations import ago_at
from .sayings import PAINTING

if TYPE_CHECKING:
    from .bee_names import BeeNames, Named

_SHOWS = words_of("there here back in off away out up down next then again first hello")
_UNREAL = re.compile(
    r" (?:would|(?:do|did) not (?:think|believe|suppose)|doubt|could|should|will|shall"
    r"|may|might|if|when|whenever|until|till|once|unless|before|hope|hoping|wish|want"
    r"|wants|wanted|expect|expecting|expected|going to|about to|ready to|trying to"
    r"|tries to|likely to|due|let|wonder|wondering|suppose|reckon(?:ed)? on|usually"
    r"|always|often|sometimes|every|each|yesterday|tomorrow|used to|thought"
    r"|think(?:ing)? of|looks? like|waiting for|wait for|watch for|seems? to|as if"
    r"|as though|like to|to be|intend(?:ed|ing)?|meant|plan(?:ned|ning)?|promised"
    r"|nearly|almost|need|needs|can|last (?:time|week|year|trip)|than|people|they say"
    r"|means? to|decides? to) "
)
_YET = re.compile(r" (?:yet|so far) ")
_STILL = re.compile(
    r" (?:(?:while|long|time|ages) gone|still|yet|staying|stays|stayed|remains) "
)
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
    r"(?:(?:i|we|and|so|will|must|shall|have|am|now|do|abandon|abandoned"
    r"|abandoning) )*abandon(?:ed|ing)? |(?:no|not a|not any"
    r"|never any) (?:more )?(?:sign|show|trace|word|sight|hide nor hair|news|glimpse"
    r"|peep|whisker) (?:of|from) |(?:seen )?(?:nothing|naught|nowt) (?:of|from"
    r"|more of) |(?:(?:i|we|am|are|have|is|been|still) )*(?:given|giving|give"
    r"|gave) up (?:hope )?(?:on|of|waiting for) |(?:(?:i|we|am|are|have|think"
    r"|fear) )*(?:lost|losing) |(?:still )?(?:waiting|looking) (?:for|on)"
)
_PUT_DOWN = re.compile(
    r"(?:(?:i|we|will|am|are|so|let us|have|shall|going to|and|must) )*(?:(?:scratch"
    r"|strike|cross|rub|scrub|wipe|drop|take) her (?:off|out|from)|(?:close|close up"
    r"|end) her (?:page|line|column)|(?:put|putting|write|writing|count|counting|treat"
    r"|treating|call|calling|log|logging|mark|give|giving) (?:up on )?her(?: (?:down"
    r"|off|up|as|for|a))*(?: (?:lost|missing|gone|missed|dead|no show"
    r"|not returned))?)(?= )"
)
COUNTED = re.compile(
    r" (?:, )?(?:i|we) (?:(?:will|would|must|have to|now|am|are) )*(?:consider|regard"
    r"|count|call|write|give|put|take|log)(?:ing|en)?(?: (?:her|it|down|as|off"
    r"|for))* (?:lost|missing|gone|missed|up|off|dead|a no show)(?: on)?(?= )"
)
_REGARD = re.compile(  # "I now regard the red worker as lost"
    r"(?: (?:i|we) (?:[a-z]+ ){0,3}?|^ (?:so |and )?)(?:regard|count|consider|call"
    r"|write|give|put|log|treat|strike|cross|scratch|declare|report|reckon|mark)(?:ing"
    r"|e|ed|en)? (?:[a-z]+ )?$"
)
_FROM_SIGHT = re.compile(  # "lost her in the sun"
    r" (?:in|into|behind|against|agin|over|above|at|to|by|among|near|past|from|there"
    r"|after|through|under|beyond) "
)
_AS_LOST = re.compile(
    r"(?: (?:as|down|for|off|out|up|to|be|is))*(?: (?:a|the))? ?(?:lost|missing|gone"
    r"|missed|dead|no show|absent|finished|off|up|out)(?= )"
)
_LOST = re.compile(
    r"(?: (?:is|was|has|been|still|gone|well))+ (?:missing|overdue|late|lost|awol"
    r"|no show|absent|not come|not back|not returned|given up on)(?= )"
)
_NAMED_FIRST = re.compile(
    r" (?:, )?nothing (?:either|yet|again|still)?(?= ?[.,])| (?:, )?(?:(?:still|is|and"
    r"|there is|well) )*(?:no|negative|not a|zero|nil|nothing|not had) (?:(?:a|any"
    r"|more) )?(?:contact|sign|show|trace|word|sight|peep|sausage|report|return|of her"
    r"|glimpse|whisper|dicky ?bird)(?= )| (?:is|has) (?:been )?(?:had it|a goner"
    r"|done for|written off|a write off)(?= )"
)
_UNSEEN = re.compile(
    r" (?:not|never|missed) (?:see|saw|seen|seeing|catch|caught|notice) "
)
_PAINT = forms("paint mark dab+ dot+ daub tag+ christen")
_DOTS = words_of(
    "dot spot dab mark blob splash smear touch dots daub dabbed point drop"
)
_ON_HER = words_of(
    "her one bee this that it him another next thorax abdomen first second third fourth"
    " fifth bees girl lady gets wears back"
)
# Who is given a colour, where the colour's own word stands as COLOUR.
_SHE = (
    r"(?:her|him|she|this|that|it|another|one|you|number \w+|(?:the|a) (?:next|first"
    r"|second|third|fourth|fifth|last|other)(?= (?:[.,]|and|with|now|who|that|which|is"
    r"|was|gets"
    rf"|here|there|in|takes|{BEE}))|(?:the|a|an|our|my|this|that|each|one)"
    rf"(?: [a-z]+){{0,4}}? {BEE}|{BEE}|(?:the|her) (?:thorax|abdomen))"
)
_HERS = rf"{_SHE}(?= )(?! (?:is|was|from|in|who|way|own|heels|tail|feet) )"
_GIVE = (
    r"(?:put|puts|putting|give|gives|gave|given|giving|apply|applying|applied|applies"
    r"|use|using|take|taking|took|make|makes|making|made|do|doing|did|done|get|gets|got"
    r"|getting|receives|received|becomes|became|wear|wears|wearing|choose|chose|pick"
    r"|picked|finish|add|added|touch|touched|goes|try|tried|drop|dropped)"
)
_GIVEN = re.compile(
    # "I am applying COLOUR on this one", "for her I take the COLOUR"
    rf" {_GIVE} (?:[a-z,]+ ){{0,8}}?(?:on|upon|onto|for|to"
    rf"|with) (?:[a-z]+ )?{_HERS}.* COLOUR | (?:for|to|on"
    rf"|upon) (?:[a-z]+ )?{_HERS} (?:[a-z,]+ ){{0,6}}?{_GIVE} .*COLOUR "
    rf"| {_GIVE} (?:[a-z,]+ ){{0,6}}?COLOUR (?:[a-z]+ ){{0,2}}?(?:on|upon|onto|for"
    rf"|to) (?:[a-z]+ )?{_HERS}| {_GIVE} {_HERS} (?:[a-z]+ ){{0,4}}?COLOUR "
    # "a second worker now receives COLOUR", "she is a COLOUR hat", "is got her COLOUR"
    rf"| (?:number \w+|(?:this|that|the (?:next|new|first|second|third|fourth)) (?:one"
    rf"|{BEE})|(?:first|second|third|fourth|fifth|new|next) {BEE}|next up|the new one"
    rf"|she|one done)"
    r" (?:(?:is|was|that|,|therefore|now|then|wearing|to be|and|she|it"
    r"|will be) )*(?:(?:the|a|my|in) )?COLOUR (?:(?:now|then|one|done) )?[.,]"
    r"| that is COLOUR (?:done|on|sorted|painted) [.,]| (?:gets|getting|gave|give"
    r"|giving|given|receives|received|becomes|became|wears"
    r"|wearing) (?:[a-z]+ ){0,4}?COLOUR "
    rf"| {_SHE} (?:(?:is|has|now|then|therefore) )*(?:get|takes|took|got|goes)"
    rf" (?:[a-z]+ ){{0,3}}?COLOUR "
    r"| (?:she|this one|that one|the third|the second|number \w+|one bee) (?:is|wears) "
    r"(?:got )?(?:(?:a|an|her|the|now|little|nice|fine|small|big|neat) )*COLOUR "
    r"(?:hat|cap|coat|dot|spot|jacket|crown|dress|head|back|stripe|badge|bonnet|now) "
    # "COLOUR next on this one", "a drop of COLOUR for you", "COLOUR on the thorax"
    rf"| COLOUR (?:(?:is|was|goes|went|next|now|,) )*(?:on|upon|onto|for|to) "
    rf"(?:(?:her|its) )?(?:{_HERS}|thorax|abdomen|back)"
    r"| (?:drop|dot|spot|dab|blob|touch|splash|point|speck|tip"
    r"|lick) of (?:the )?COLOUR (?:for|on|to|upon|onto|now) | half COLOUR and "
    r"|(?: (?:and|so|then|there|a|an|one|another|nice|fine|fat|big|little|small|wee"
    r"|good|neat))+ COLOUR (?:dot|spot|dab|blob|splash|smear|daub|mark|point)s? (?!of "
    r"|is )|[.,] COLOUR (?:dot|spot|dab|blob|splash|smear|daub|mark|point)s? [.,]"
)
_A_BEE = re.compile(rf" {BEE} ")
_IS_PAINTING = re.compile(
    r" (?:i|we) (?:[a-z]+ )*?(?:painted|marked|dotted|painting|marking) [^.?]*, $"
)
# What tells of painting; two of them are enough for a colour that is new.
_PAINTS = re.compile(
    r" (?:paint\w*|brush|dab\w*|dot\w*|spot|blob|pens?|pot|varnish|texter|marker"
    r"|marking"
    r"|touch\w*|appl\w+|tip|stick|ink|drop|hold still|stay still|sit still|colou?r) "
)
_GIVES = re.compile(rf" (?:i|we|now|have|and|am|is|are|so) (?:[a-z]+ ){{0,2}}?{_GIVE} ")
_TO_HER = re.compile(rf" (?:on|upon|onto|for|to|with)? ?(?:[a-z]+ )?{_HERS}")
_ALL_DONE = re.compile(
    r" (?:done|got her|finished|took it|dry|that is it|voila?|is on|applied"
    r"|there(?= [.,]))(?= )"
)
_ENOUGH_CUES = 2
_PAINT_NEAR = 90  # characters before the sentence that tell of painting; guess
_OTHER_PAINTER = re.compile(
    r" (?:he|they|his|their|people|yesterday|remember|always|of (?:them|the bees)"
    r"|painted up|over there|away from) "
)
_OBJECT = re.compile(  # "the red light", "white-tailed", "orange on the legs"
    r" COLOUR (?!dot|spot|dab|blob|mark|point|one|bee|now|next|then|today|and|on|upon"
    r"|for|to|with|because|is|it|her|she|this|that|in|as|again|paint|open|so|like|first"
    r"|done|pen|marker|varnish|polish)[a-z]+ | my (?:thumb|fingers?|sleeve|shirt|hat"
    r"|coat) | pollen | COLOUR on (?:the|her) (?:legs?|belly)"
)
_NEXT_ONE = re.compile(
    r"(?: |^)(?:first|second|third|fourth|fifth|next|another|new|number \w+)"
    r"(?: (?:one|bee|subject))? [.,] (?:(?:a|an|and|in|with|for) )*$"
)
_PAINTING_NOW = re.compile(
    r"\b(?:dab|dot|spot|brush|painting|marking|is done|one done|got her|hold still"
    r"|held still|stay still)\b[^.?]*[.,] (?:and |then |so )*$"
)
_IS_NOW = re.compile(
    r" (?:bee|one|she|this|that|it|number \w+) (?:(?:is|becomes|will be|gets|wears) "
    r"(?:the |a |in )?)[a-z-]+(?: one)? $"
)
_TWO_ON_ONE = re.compile(
    r" (?:two|both)(?: [a-z]+)? colou?rs | half .* half | two.coloured "
)
_WHO = words_of("i we to will us can me and now he")
_NOBODY = frozenset({"it", "he", "whoever it was"})
_NEAR_BY = 24  # characters between a verb and its bee behind it; guess
LONE = 2  # "blue", "in blue"
_SHORT = 6  # words of a clause that only names the colour; guess
_ON_BACK = re.compile(r" on (?:the|her|its|his|a) back ")
_MOVED = re.compile(
    r" (?:land\w*|touch\w* down|returned|arrived|came|comes|coming in|flew|flying"
    r"|took off|drinking|feeding|had her (?:drink|fill)|up she|off she|next to her"
    r"|here is|in is) "
)
_PAINTED_BEFORE = re.compile(
    r" (?:yesterday|last (?:week|time|night|year)|on \w+day|earlier|ago|had been|who"
    r"|whom|(?:one|bee|girl|lady|that) with|pollen|legs?|trousers|belly|nice"
    r"|was painted|from \w+day|the one (?:i|we)|came|back|landed|gone|returned|arrived"
    r"|here|left|off|away|here is|there is) "
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


@dataclass(frozen=True, slots=True)
class _Clause:
    """A clause from `start` of the text, its words and the bees named in it.

    Its sentence begins at `since`.
    """

    text: str
    start: int
    since: int
    words: list[SpokenWord]
    bees: list[_Bee]

    @property
    def said(self) -> str:
        """The words, a space before and after each."""
        return f" {self.text[self.words[0].start : self.words[-1].end]} "


class Clauses:
    """Reads what a bee did out of a clause, whatever else stands in it."""

    def __init__(self, names: BeeNames) -> None:
        self._names = names

    def at(self, text: str, start: int, end: int, since: int) -> Done | None:
        """Find what a bee did between two places; the sentence began at `since`."""
        words = split_words(text, start, end)
        if not words:
            return None
        clause = _Clause(text, start, since, words, self._bees(text, words))
        found = self._painted(clause) or _lost(clause) or self._there(clause)
        if found:
            return found
        for place, word in enumerate(words):
            if any(bee.start <= word.start < bee.end for bee in clause.bees):
                continue
            move = moved(text, words, place)
            bee = self._subject(clause, word) if move else None
            if move and bee and (done := _happened(clause, place, move, bee)):
                return done
        return self._verb_last(clause)

    def _there(self, clause: _Clause) -> Done | None:
        """Read "the red is there", of a bee that is known."""
        for bee in clause.bees:
            match = _IS_THERE.match(clause.text, bee.end)
            if match and bee.named.mark in self._names.seen:
                return Done(
                    kind=EventKind.BACK,
                    named=bee.named,
                    start=bee.start,
                    end=match.end(),
                    flags=(Flag(FlagCode.AMID_WORDS),),
                    present=True,
                    loose=True,
                )
        return None

    def _verb_last(self, clause: _Clause) -> Done | None:
        """Read "white has, as I could see, the dish left": the verb ends its clause."""
        text, words = clause.text, clause.words
        move = _LAST.search(f" {text[words[0].start : words[-1].end]} ")
        said = f" {text[clause.since : words[-1].end]} "
        if move is None or NOT.intersection(said.split()) or _UNREAL.search(said):
            return None
        bees = self._bees(text, split_words(text, clause.since, words[-1].end))
        bees = [bee for bee in bees if bee.named.mark and not bee.governed]
        if len({bee.named.mark for bee in bees}) != 1 or _I.search(clause.said):
            return None
        bee = bees[0]
        helped = text[: bee.start].endswith(_HELPS) or text.startswith(
            (*_HELPS, " , "), bee.end
        )
        if not helped:
            return None
        kind = EventKind.AWAY if move["away"] else EventKind.BACK
        flags: tuple[Flag, ...] = (Flag(FlagCode.AMID_WORDS),)
        ago = next((found for one in words if (found := ago_at(text, one.start))), None)
        return Done(
            kind=kind,
            named=bee.named,
            start=min(words[0].start, max(bee.start, clause.start)),
            end=words[-1].end,
            flags=(*flags, *(ago.flags if ago else ())),
            loose=True,
            ago_s=ago.ago_s if ago else 0.0,
        )

    def painted(self, text: str, start: int, end: int, since: int) -> Done | None:
        """Find a bee that is given her colour between two places."""
        words = split_words(text, start, end)
        if not words:
            return None
        return self._painted(_Clause(text, start, since, words, []), plainly=True)

    def _bees(self, text: str, words: list[SpokenWord]) -> list[_Bee]:
        """Find the bees named; a colour before a noun is none."""
        found: list[_Bee] = []
        after = 0
        for place, word in enumerate(words):
            named = self._names.at(text, word.start) if word.start >= after else None
            if (
                named is None
                or named.some
                or named.mark == UNMARKED
                or named.pronoun in _NOBODY
            ):
                continue
            after = named.end
            follows = next((w.text for w in words if w.start >= named.end), "")
            apart = text[named.end : named.end + 3].strip() in {",", ".", "?"}
            coloured = named.mark or named.marks or named.pronoun == "her"
            if coloured and not (apart or may_follow(follows)):
                continue
            before = [one.text for one in words[max(0, place - 2) : place]]
            of_it = before[-1:] == ["of"] and before[0] in NOUNS
            governed = bool(GOVERNS.intersection(before[-1:])) and not of_it
            found.append(_Bee(named, word.start, named.end, governed))
        return found

    def _subject(self, clause: _Clause, verb: SpokenWord) -> _Bee | None:
        """Find who did it: named before the verb, behind it, or in a clause before."""
        text = clause.text
        free = [bee for bee in clause.bees if not bee.governed]
        free = [bee for bee in free if bee.named.pronoun != "her"]
        before = [bee for bee in free if bee.end <= verb.start]
        if before:
            between = text[before[-1].end : verb.start].split()
            return None if _OTHERS.intersection(between[1:]) else before[-1]
        lead = text[clause.words[0].start : verb.start]
        near = next((bee for bee in free if bee.start - verb.end <= _NEAR_BY), None)
        if _LEADS.fullmatch(lead) and near:
            gap = text[verb.end : near.start].split()
            shown = _SHOWS.intersection(lead.split()) or verb.text in NOUNS
            turned = VERBS.intersection(gap) if verb.text in WAYS else shown
            return near if turned else None
        earlier = text[clause.since : clause.start]
        if (
            _OTHERS.intersection(lead.split())
            or (verb.text in WAYS and not _LEADS.fullmatch(lead))
            or _UNREAL.search(f" {earlier} ")
        ):
            return None
        bees = self._bees(text, split_words(text, clause.since, clause.start))
        last = [bee for bee in bees if not bee.governed]
        named = [bee for bee in last if not bee.named.pronoun]
        return next(reversed(named or last), None)

    def _painted(self, clause: _Clause, *, plainly: bool = False) -> Done | None:
        """Read "dabbed her with purple", "this one gets a spot of pink"."""
        text, words = clause.text, clause.words
        said = [word.text for word in words]
        if NOT.intersection(said) or _UNREAL.search(clause.said):
            return None
        rest = re.compile(r" [.?] |$").search(text, words[-1].end)
        until = rest.start() if rest else words[-1].end
        two = None
        if _TWO_ON_ONE.search(f"{text[clause.since - 1 : until]} "):
            two = self._names.two_on_one(text, clause.since - 1, until + 1)
        colours = self._names.word.finditer(text, words[0].start - 1, words[-1].end + 1)
        found = [
            (named, match.start() + 1, match.end())
            for match in colours
            if (named := self._names.single(text, match.start() + 1))
            and named.mark != UNMARKED
        ]
        if not found or (not two and len({named.mark for named, _, _ in found}) > 1):
            return None
        bee, first, last = found[0]
        bee = two or bee
        on_her = _ON_BACK.sub(" on thorax ", f" {text[clause.since : until]} ")
        if (
            bee.mark in self._names.seen
            or _PAINTED_BEFORE.search(_ON_BACK.sub(" ", clause.said))
            or _MOVED.search(on_her)
        ):
            return None
        word = (first, last)
        if not two and not _is_painting(clause, said, word, until, plainly=plainly):
            return None
        return Done(
            kind=EventKind.MARK,
            named=bee,
            start=words[0].start,
            end=max(bee.end, words[0].start + 1),
            flags=(Flag(FlagCode.AMID_WORDS),),
        )


_IS_THERE = re.compile(r" is there(?: again| now)?(?= [.,])")
_HELPS = (" is ", " was ", " have ", " had ", " now is ", " now has ")
_I = re.compile(r" (?:i|we|you|they) ")
_LAST = re.compile(
    r" (?:(?P<away>(?:dish|plate|place|saucer|me|us|home|herself|air) (?:left|gone"
    r"|flown|lifted)|(?:away|off) (?:flown|gone|been|set)|departed|flown|gone)|(?:dish"
    r"|plate|place|saucer|home|herself|back) (?:found|reached|set|come|flown|landed)"
    r"|returned|arrived|landed)(?: again)? $"
)


def _is_painting(
    clause: _Clause,
    said: list[str],
    word: tuple[int, int],
    until: int,
    *,
    plainly: bool,
) -> bool:
    """Tell whether a bee is given her colour in these words, or was just before.

    The colour stands at `word`; the sentence goes on up to `until`. `plainly` asks for
    words that say so.
    """
    words, text = clause.words, clause.text
    first, last = words[0].start, words[-1].end + 1
    paints = any(
        word in _PAINT and (before in _WHO or word.endswith(("ed", "ing")))
        for before, word in zip(["to", *said], said, strict=False)
    )
    if paints:
        whole = f" {text[clause.since : until]} "
        on_her = (_DOTS | _ON_HER).intersection(said) or _A_BEE.search(whole)
        return bool(on_her)
    before, after = text[max(0, clause.since - 3) : word[0]], text[word[1] : until]
    coloured = f" {before}COLOUR{after} . "
    sentence = text[clause.since - 1 : first]
    lone = len(said) <= LONE
    if _OTHER_PAINTER.search(coloured) or _OBJECT.search(coloured):
        return False
    cues = [
        bool(pattern.search(coloured))
        for pattern in (_PAINTS, _GIVES, _TO_HER, _ALL_DONE)
    ]
    if plainly:
        return _GIVEN.search(coloured) is not None
    before = text[max(0, clause.since - _PAINT_NEAR) : clause.since]
    likely = sum(cues) + bool(_PAINTS.search(f" {before} ")) >= _ENOUGH_CUES and any(
        cues
    )
    return bool(
        likely
        or _GIVEN.search(coloured)
        or (lone and _NEXT_ONE.search(text[max(0, first - 40) : first]))
        or (lone and _IS_PAINTING.search(sentence))
        or (
            len(said) <= _SHORT
            and _PAINTING_NOW.search(text[max(0, first - 60) : first])
        )
        or (
            _IS_NOW.search(text[first - 1 : last])
            and PAINTING.search(text[max(0, first - 120) : last])
        )
    )


# "Had she gone to the wood, ...": a condition.
_HAD_SHE = re.compile(r" had (?:she|it|they|he|the \w+(?: one)?) ")


def _happened(
    clause: _Clause, place: int, move: tuple[EventKind, int, bool], bee: _Bee
) -> Done | None:
    """Give what was done, where nothing in the clause denies it."""
    kind, last, present = move
    text, words, word = clause.text, clause.words, clause.words[place]
    inside = bee.start >= clause.start
    until = max(words[last - 1].end, bee.end if inside else 0)
    more = max(until, words[min(last, len(words) - 1)].end)  # "was going to leave"
    if (
        (bee.named.pronoun and (present or word.text not in KNOWN))
        or (kind is EventKind.BACK and bee.named.pronoun.startswith(("this ", "that ")))
        or _STILL.search(clause.said)
        or _UNREAL.search(f" {text[words[0].start : more]} ")
        or _HAD_SHE.match(clause.said)
        or (inside and _another(text, bee, word))
    ):
        return None
    flags: tuple[Flag, ...] = (Flag(FlagCode.AMID_WORDS),)
    ago = next((found for one in words if (found := ago_at(text, one.start))), None)
    if ago:
        flags = (*flags, *ago.flags)
    denials = [one.start for one in words[:last] if one.text in NOT]
    if any(not inside or start > bee.end for start in denials):
        if kind is not EventKind.BACK or present:
            return None
        kind = EventKind.MISSED
        flags = (*flags, MAY_COME_FLAG)
    elif _UNSEEN.search(clause.said):
        flags = (*flags, Flag(FlagCode.NOT_AS_IT_HAPPENED))
    elif denials:
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


def _another(text: str, bee: _Bee, verb: SpokenWord) -> bool:
    """Tell whether the verb is of something else: "white's friend has left"."""
    between = text[bee.end : verb.start].split()
    if verb.text not in VERBS and not all(
        ADVERB.fullmatch(one) or one in {"is", "was", "had", "have"} for one in between
    ):
        return True  # a way alone stands right after its bee
    after = text[bee.end :].split()
    return after[:1] == ["is"] and after[1][0].isalpha() and not may_follow(after[1])


def _lost(clause: _Clause) -> Done | None:
    """Read "no sign of pink", "still waiting on white", "blue is overdue"."""
    text, first = clause.text, clause.words[0].start
    if _YET.search(clause.said) or _UNREAL.search(clause.said):
        return None
    for bee in clause.bees:
        leads = (_NO_BEE_YET.match(text, word.start) for word in clause.words)
        lead = next((one for one in leads if one and one.end() == bee.start), None)
        if lead and not _FROM_SIGHT.match(text, bee.end):
            return _missed(bee, lead.start(), bee.end)
        if bee.named.pronoun == "her":
            put = _PUT_DOWN.match(text, first)
            if put and put.end() > bee.end:
                return _missed(bee, first, put.end())
            continue
        regarded = _REGARD.search(text[first - 1 : bee.start])
        as_lost = _AS_LOST.match(text, bee.end) if regarded else None
        if as_lost:
            return _missed(bee, bee.start, as_lost.end())
        found = (
            COUNTED.match(text, bee.end)
            or _LOST.match(text, bee.end)
            or (_NAMED_FIRST.match(text, bee.end) if bee.named.mark else None)
        )
        if found:
            return _missed(bee, bee.start, found.end())
    return None
