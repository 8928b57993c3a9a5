"""Ways in which people lead up to a note, hedge it, and go on after it.

At the end stands what English says of an insect that comes or goes, after the insect is
named. The phrase book lists whole ways of saying; these take what people build from
verb and particle: "came back in", "has zoomed off", "circled twice and left".
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

if TYPE_CHECKING:
    from collections.abc import Mapping

# Said before a note and meaning nothing.
_FILLERS = (
    *(
        "beauty",
        "beaut",
        "bingo",
        "voila",
        "voil",
        "aye",
        "och",
        "naw",
        "nah",
        "sure enough",
        "by the way",
        "to my surprise",
    ),
    *("okay", "right", "and", "so", "well", "yes", "yeah", "yep", "look", "then"),
    *(
        "but",
        "hey",
        "there",
        "here we go",
        "here we are",
        "there we go",
        "good",
        "great",
    ),
    *(
        "lovely",
        "nice",
        "aha",
        "ooh",
        "wow",
        "no",
        "sorry",
        "wait",
        "see",
        "oh",
        "oops",
        "whoops",
        "while",
    ),
    *(
        "first",
        "next",
        "ah",
        "ha",
        "hello",
        "hiya",
        "ooh",
        "there",
        "now then",
        "lo and behold",
        "to my surprise",
        "in any event",
        "at last",
        "guess what",
        "one minute",
        "hang on",
        "hold on",
        "thank you",
        "at last",
        "as well",
        "meanwhile",
    ),
)
_HEDGES = (
    *("i think", "i guess", "i believe", "i reckon", "i suppose"),
    *("i am not sure but", "not sure but", "i am not sure", "not sure", "maybe"),
    *("perhaps", "probably", "possibly", "looks like", "looked like", "seems like"),
    *(
        "might be",
        "may be",
        "could be",
        "must be",
        "might have been",
        "could have been",
    ),
    *("may have been", "sounds like", "seems to be", "i can not be sure but"),
    *("hard to tell but", "hard to say but", "i can not tell but", "i should think"),
    *(
        "i would say",
        "my guess is",
        "i am fairly sure",
        "i am pretty sure",
        "presumably",
    ),
    *(
        "apparently",
        "i am guessing",
        "either",
        "pretty sure",
        "fairly sure",
        "quite sure",
    ),
)
_LEADS = (
    "there is been",
    "there is",
    "that is",
    "that was",
    "it is",
    "it was",
    "that will be",
    "this will be",
    "that must be",
    "that would be",
    "this is",
    "that",
    "it",
    "i see",
    "i can see",
    "we have",
    "i have got",
    "we have got",
)


def _any(phrases: tuple[str, ...]) -> str:
    return "|".join(sorted(map(re.escape, phrases), key=len, reverse=True))


_HEDGE = rf"(?:{_any(_HEDGES)})(?: that(?! is | was ))?"
HEDGE = re.compile(rf" {_HEDGE} ")
HEDGE_BETWEEN = re.compile(rf" (?:, )?{_HEDGE} (?:, )?")
# "I can report that", "you will notice that": says nothing about the note.
_SAY = (
    r"(?:i|we|you) (?:(?:can|will|must|may|should|would like to|do|have to|also"
    r"|am going"
    r" to|want to) )*(?:say|report|note|see|notice|find|found|add|record|observe"
    r"|confirm"
    r"|mention|tell you|saw|noticed|noted|observed)(?: here| now)? that(?! (?:is|was) )"
)
# What may stand between the start of a clause and the note.
LEFT = re.compile(rf"(?:(?:{_any(_FILLERS)}|{_SAY}|{_HEDGE}|,) )*")
LEAD = re.compile(rf"(?:{_any(_LEADS)}) (?:{_HEDGE} )?")
HEDGED_LEAD = re.compile(
    rf"(?:(?:{_any(_LEADS)}) )?{_HEDGE} (?:(?:that|it) (?:is|was) )?"
)

# A whole sentence is a wish, a plan, a memory or a condition.
UNREAL = re.compile(
    r" (?:if|whenever|until|till|unless|hope|hopes|hoping|wish|wishes|tomorrow"
    r"|yesterday"
    r"|(?<!as )(?<!same )(?<!as the )last (?:night|year|week|time|month|summer)|(?<!i"
    r" )suppose"
    r"|imagine|used to|remember|next (?:time|week|year|day)|shall we|had i|supposed) "
)
# "... if anyone's asking", "... station one I had yesterday"
ADDED = re.compile(
    r" (?:if (?:any\w*|you|i|my|that|it|we are|memory)|(?:the |that )?[a-z]+ (?:[a-z]+"
    r" )?(?:i|we)"
    r" (?:did|had|used|was at|were at|saw))\b"
)
UNREAL_DAY = re.compile(
    r" (?:yesterday|next (?:time|week|year|day)|tomorrow|last (?:night|year|week|month"
    r"|summer)|on (?:mon|tues|wednes"
    r"|thurs|fri|satur|sun)day)(?= )"
)
# What follows in the sentence is none: "when red gets back we can take a bearing".
UNREAL_AFTER = re.compile(
    r" (?:when|whenever|(?<!from )(?<!of )before(?! [.,])"
    r"|(?<!at )once(?! (?:and|more|again|or|,))"
    r"|after(?= [a-z]+ (?:is|left|came|comes|goes|went|has)))(?= )"
)
# The clause is none.
UNREAL_CLAUSE = re.compile(
    r" (?:would(?! (?:[a-z]+ )?(?:say|like to|call|make|put))|should(?! (?:think|be"
    r"|have been|say"
    r"|add|mention|note|report|record))"
    r"|(?<!that )(?<!this )will(?! (?:say|call|note|report|add|notice|see that"
    r"|mention|record))"
    r"|want(?! to say)|wants|wanted|need|needs|let us|going to|ask|asked|said"
    r"|told|shall"
    r"|wait(?! (?:no|make|that|it|,|[.]))|could(?! be| have been)|expect|expected"
    r"|(?:nearly|almost) (?:home|back|here|there|gone|in)"
    r"|do not (?:think|believe|reckon|suppose)|doubt|neither|nor|nobody|none|(?:might"
    r"|may|could) have"
    r"(?! been [a-z]+ (?:that|leaving|landing|going|coming|who|which))|did i"
    r"|next would) "
)
PAINTING = re.compile(
    r" (?:paint|painting|(?:i|we) will do|do(?:ing)? (?:her|this|that|it|one)|going to be|dab|dabbing|brush|another dot|dot on"
    r"|applying|mark (?:one"
    r"|another"
    r"|her|a|the)|colou?r|attempt|let me|hold still|stay still|sit still|keep still"
    r"|hold (?:her|it)|pens|varnish"
    r"|texter|marker) "
)
QUESTION = re.compile(
    r"(?!is not no |what wind there |\w+ not )(?:is|are|was|were|did|do|does|where"
    r"|what|when"
    r"|who|why|how|which|whose|shall"
    r"|should|can|could|would|will|have you|any sign|any) "
)
TIME_ASKED = re.compile(
    r"what(?: is| was| does)? (?:(?:the|my) )?(?:time|clock|watch)(?: say)?"
    r"|got the time|what time is it"
    r"|(?:what do you )make the time(?: to be)?"
)

# Said when a bee that was painted is shown.
SHOWN = (" done , ", " you go , ", " you are , ", " there , ", " finished , ")
# What may follow a note.
_PLACE = (
    r"(?:on|at|to|in|from|off|onto|into|by) (?:the|our|this|that) "
    r"(?:dish|comb|sponge|water|station|feeder|syrup|box|stone|moss|saucer|bait|edge)"
    r"(?: of (?:the|our) [a-z]+)?"
)
_TAIL = (
    rf"(?:again|today|this morning|too|as well|there|here|okay|yes|right|at last"
    rf"|this time|at once"
    rf"|from before|straight away|on time|early|late|safely|yet|this minute|home"
    rf"|quick|that way|the same way|there we go|here we go|for now|bees|i see"
    rf"|all right|{_PLACE})"
)
TAIL = re.compile(rf"(?:{_TAIL} )*")
HEDGE_TAIL = re.compile(
    r"(?:, )?(?:(?:i think|i guess|i believe|i reckon|i suppose|i am not sure|not sure"
    r"|i am (?:nearly|almost|fairly|pretty|quite) sure"
    r"|maybe|perhaps|probably|possibly|more or less|or so|or thereabouts|ish|roughly"
    r"|give or take|(?:is|was|did|does) not (?:it|she|that))(?= )"
    r"|or (?:(?:it|that|she) )?"
    r"(?:was|is|could|might|may|maybe|perhaps|possibly|probably)"
    r"(?: (?:it|that|she|be|been|have|was|is))*)(?= )"
)
# Starts of the next statement, where nothing but the words themselves part the two.
_NEXT = (
    r"it is (?!a |the |my |in |on |at )|that is |there is |there goes |here |she "
    r"|i |we |the time |time |bearing |heading |compass |note |that was |that took "
    r"|what time "
)
STOP = re.compile(rf"[.?,]|and |but |then |so |while |or |because |{_NEXT}|$")
# A time of day said with it: "took off at ten fifteen".
AT_TIME = re.compile(
    r"(?:at|at about|around|at exactly|by) (?=(?:one|two|three|four|five|six|seven"
    r"|eight|nine|ten|eleven|twelve|half|quarter|\d))"
)
LEFT_PLACE = re.compile(
    r"(?:the|our|this) (?:dish|comb|sponge|water|station|feeder|syrup|box|stone|moss"
    r"|saucer|bait)(?: [.?,]| and| but|$)"
)
# Goes on about where the bee went, or how; said of a bee named by its colour.
ONWARD = re.compile(
    r"(?:over|towards|toward|through|past|up|down|across|into|beyond|behind|out|around"
    r"|low|high|fast|quick|straight|very|with|without|carrying|looking|full|after|like"
    r"|flying|heading|going|circling|[a-z]+ing) "
)
# Where a clause ends, and where the next note may start.
_SAYS_AGAIN = (
    r"(?:no wait|wait no|no sorry|sorry|i mean|i meant|make that|scratch that"
    r"|tell a lie"
    r"|or rather|my mistake) "
)
SAYS_AGAIN = re.compile(_SAYS_AGAIN)
CLAUSE = re.compile(
    rf" [.?,] | and | but | so | because | before | when | while | cos | which "
    rf"| though "
    rf"| then | (?={_SAYS_AGAIN})"
)
# Where speech without punctuation starts something new.
_NEW = (
    r"(?:(?:she is|she was|there goes|there she|here comes|here is|here she|that is"
    r"|it is (?:half|quarter|nearly|about|ten|eleven|twelve|one|two|three|four|five|six"
    r"|seven|eight|nine|\d+))"
    r" |(?<!to )(?<!at )(?<!from )(?<!of )(?<!last )(?<!next )(?<!is )(?<!than )"
    r"station (?:\d|one|two|three|four|five|six) (?=[.,]))"
)
BORDER = re.compile(
    rf" [.?,] | and | but | then | so | while | okay | right | oh "
    rf"| (?={_SAYS_AGAIN}|{_NEW})"
)
# What a sentence may open with.
OPENERS = "okay|and|so|well|oh|but|hey|then|yes|no|right"
REST = re.compile(r" [.?] ")
# "Green was here when I looked up", "no idea how long".
FOUND_HERE = re.compile(
    r" (?:since when|how long|when i (?:looked|turned|got|came|sat)|for (?:a"
    r"|some) (?:while"
    r"|time|bit)|must have (?:come|landed|slipped|been)|(?:did|could|can) not (?:see"
    r"|say"
    r"|tell)|missed (?:her|it)|do not know when|no idea when|been (?:here|there|on)) "
)
DENIED = re.compile(r" (?:no|not|nor) $")  # before a bee that is not here


_HELPERS = (
    r"(?:(?:is|was|are|were|had|has|been|have|still|both|all|each|together|finally"
    r"|this (?:second|minute|moment|instant)|too|also|then|first|next|likewise|did"
    r"|soon|once|again|in turn|at last"
    r"|in the end|to my surprise|(?!early|fly|nearly|hardly|barely|only)[a-z]+ly|,) )*"
)
_MANNER = (
    r"(?:(?:right|straight|slowly|quietly|quickly|gently|suddenly|nicely|safely|neatly"
    r"|about|more or less|briefly|promptly|first|duly|almost at once|once again"
    r"|once more) )?"
)
_MOVES = (
    r"(?:come|came|comes|coming|fly|flew|flown|flies|flying|drop|dropped|drops|dropping"
    r"|pop|popped|pops|popping|get|got|gets|getting|made it|makes it|making it|wandered"
    r"|zoomed|zooming|buzzed|buzzing|sailed|shot|zipped|darted|whizzed|zipping|darting"
    r"|hovered|crawled|walked|slipped|whirred|swooped|dashed|scooted|set|headed|heading"
    r"|went|goes|go|going|gone|took|takes|taken|taking|lift|lifted|lifts|lifting|made"
    r"|makes|making|moved|moving|cleared|sped|rose|rising|bolted|jumped|blasted"
    r"|zooms|zips|darts|shoots|shooting|slips|slipping|sneaked|snuck|bombed|whipped"
    r"|peeled|tore|nipped|scarpered|pushed|launched|whirled|wheeled|swung|floated"
    r"|drifted|circled|spiralled|reappeared|turned|settled|touched|straggled|strolled"
    r"|sailing|bounced|plopped|plonked|bumbled|blundered|ambled|rocked|rolled|sneaks)"
)
_INWARD = (
    r"(?:back in|back down|back again|back(?! (?:out|off|up))|in to land|in|down"
    r"|home again"
    r"|home|(?:by )?to (?:see|visit) (?:us|me)|to call|onto the \w+|in again"
    r"|back here|by again)"
)
_WATER = (
    r"(?:dish|water|comb|feeder|syrup|sponge|saucer|moss|trough|edge|rim|lip|stone"
    r"|plate"
    r"|lid|bowl|tray|jar|puddle|stream|mud|cotton|pad|bait|sugar|pot|board|cork|float)"
)

_OUTWARD = (
    r"(?:back out|back off|off|away|out|up and away|up and off|up and out|up and gone"
    r"|up)"
)
_TURNS = (
    r"(?:(?:circled|circling|looped|spiralled|turned|hovered|is full|full|done"
    r"|finished|had (?:enough|her fill|their fill)|drunk (?:her|its) fill|loaded up"
    r"|filled up|tanked up|drunk up|stayed|lingered|drank|sat|rested"
    r"|hung about)(?: (?:once|twice"
    r"|three times|round|around|a bit"
    r"|drinking|feeding|for a bit|for a moment|a few times|about"
    r"|for (?:\w+ ){1,4}?(?=and|then)"
    r"|(?:her|its) fill|a little|briefly))? ?(?:and|then|,) (?:(?:is|has|was|had|then"
    r"|at once) )*)?"
)
# Being here: a coming for a bee that was not here, otherwise nothing new.
PRESENT = re.compile(
    rf"{_HELPERS}{_MANNER}(?:having a (?:drink|sip)|drinking|sipping|feeding|lapping"
    r"|sucking|loading(?: up)?|filling up|tanking up|busy|guzzling|slurping|settled"
    r"|sitting"
    rf"|sat|at it|(?:up |over |down )?(?:at|on|in) (?:the|our|this) (?:\w+ )?{_WATER}"
    r"|here|with (?:her|us|them)(?: now)?|(?:right )?(?:next to|beside|alongside) her"
    r")(?= )"
)
STILL = re.compile(
    rf"{_HELPERS}(?:still|not (?:going|moving|finished|done|in any hurry)"
    r"|going nowhere|staying|taking (?:her|its|their) time|in no (?:hurry|rush)"
    r"|due|next|only|busy|full|not (?:bothered|leaving))(?= )"
)
ARRIVES = re.compile(
    rf"{_HELPERS}{_MANNER}(?!(?:gone|go|goes|going|went|head\w*|flew|flown|flies"
    rf"|flying)"
    rf" (?:\w+ )?home)(?:{_MOVES} {_MANNER}{_INWARD}|landed|landing|lands|land"
    rf"|arrive|arrived"
    r"|arriving|arrives|returned|returning|returns|appeared|appearing|appears"
    r"|reappeared"
    r"|turned up|turns up|showed up|shows up|settled|settling|settles|settling down"
    r"|alighted|alights|touched down|touches down|having a drink|having a sip|drinking"
    r"|sipping|feeding|lapping|sucking|loading|back|home(?: again)?|in|down"
    r"|joined (?:her|him|them|it)"
    r"|came(?= [.,?]| and| when| while)|comes(?= [.,])"
    r"|(?:found|traced|located|discovered|tracked) (?:it|us|me)|found (?:the"
    r"|our"
    r"|my) (?:\w+ )?(?:dish|water|comb|feeder|syrup|sponge|saucer"
    r"|trough|plate|bait|sugar)|(?:made|makes|making|put in) (?:an|her|a brief)"
    r" appearance|paid (?:us|me) (?:a|another) visit|paying (?:us|me) a visit|on board"
    r"|(?:for the |the )?first time(?: today| here| this morning)?|got here|dropped by"
    r"|rejoined (?:her|us|them)|on(?= [.,?]| and| as well| too| again)"
    r"|the (?:first|next|last) (?:one )?(?:in|back|home|here|down|to (?:land|come"
    r"|return"
    r"|arrive|show)(?: (?:back|in|up))?)"
    r"|back with us|joining (?:her|him|them)|been joined by"
    rf"|filling up|tanking up|here|(?:back |over "
    rf"|down )?(?:at|on|in|onto)"
    rf" (?:the|our|this) (?:\w+ )?{_WATER}|(?:right )?(?:next to|beside|alongside) her"
    r"|(?:is |here )?with her)(?= )"
)
LEAVES = re.compile(
    rf"{_HELPERS}{_TURNS}{_HELPERS}{_MANNER}(?:{_MOVES} {_MANNER}{_OUTWARD}"
    rf"|(?:left|leaves|leaving) (?:us|me)(?: again)?"
    rf"|left"
    r"|off you go|leaving|leaves|leave|depart|going going gone|gone|departed"
    r"|departing|departs|flown"
    r"|vanished|vanishing|disappeared|disappearing|went|away|off|out|up|airborne"
    r"|straight back out|back out|no longer (?:here|with us)|(?:made|making"
    r"|makes) (?:her|its) exit"
    r"|(?:taken|took|takes|taking) (?:her|its) leave|had enough|said goodbye"
    r"|lifting|lifted|moved on|moving on|flew|the first to (?:leave|go)"
    r"|first to (?:leave|go)"
    r"|had (?:enough|her fill) and (?:gone|left|off)|did not (?:stay|linger|hang about)"
    r"|on (?:the|her|its|their) way)(?= )"
)
NOT_HERE = re.compile(
    r"(?:is |was )?(?:not (?:here|on the \w+|there)|no longer (?:here|there|on the \w+)"
    r"|gone when (?:i|we))(?= [.,?]| now| any| and| when| any more)"
)
FAILS = re.compile(
    r"(?:(?:is|did|was|had|have|still) )*(?:(?:not|no|never|still not|failed to|yet to)"
    r"(?: (?:even|ever|did|have))*"
    r"(?: yet)? (?:been |be )?(?:come|came|coming|return|returned|show|shown|showed"
    r"|appear|appeared|turn|turned|seen|make|made)"
    r"(?: (?:back|up|in|it|it back|again|home))?(?: this time)?)(?= )"
)
PATTERNS = (
    (EventKind.MISSED, FAILS),
    (EventKind.BACK, ARRIVES),
    (EventKind.AWAY, LEAVES),
)
# How a clause about the same bee goes on: "landed, then left".
AND_THEN = re.compile(
    r"(?:, )?(?:(?:and|then|but|almost|immediately|straight|again|,) )+"
)

LEAVING = re.compile(r" (?:leaving|leave|going|go|departing|flying off|take off)(?= )")
LANDING = re.compile(r" (?:landing|land|coming in|come in|arriving|arrive)(?= )")
PARTICIPLES: Mapping[str, EventKind] = {
    "leaving": EventKind.AWAY,
    "going": EventKind.AWAY,
    "flying off": EventKind.AWAY,
    "flying away": EventKind.AWAY,
    "taking off": EventKind.AWAY,
    "lifting off": EventKind.AWAY,
    "heading off": EventKind.AWAY,
    "setting off": EventKind.AWAY,
    "going off": EventKind.AWAY,
    "landing": EventKind.BACK,
    "arriving": EventKind.BACK,
    "coming in": EventKind.BACK,
    "coming back": EventKind.BACK,
    "touching down": EventKind.BACK,
}
# Said of the bee just watched, without naming her: "... and away".
_AFTERWARDS = r"(?: (?:again|too|at last|safely|already|she goes|in|with you|from me))*"
LONE = (
    (
        EventKind.AWAY,
        re.compile(
            r"(?:(?:and|then|straight|right|up and|off and) )*(?:away|gone|off|departed"
            r"|up(?= [.])|flown|off you (?:go|pop|trot|fly)|away you go|gone off|took"
            r" off|out)"
            rf"{_AFTERWARDS}(?= [.,])"
        ),
    ),
    (
        EventKind.BACK,
        re.compile(
            r"(?:(?:and|straight|right) )*(?:in again|back in|back(?= [,.])|landed"
            r"|back again|back already|returned"
            r"|landing"
            r"|touchdown|touched down|back (?=(?:in|after) (?:\w+ ){1,4}[.,])|down"
            r" again)"
            rf"{_AFTERWARDS}(?= [.,]|(?:in|after) )"
        ),
    ),
)
LONE_LED = re.compile(
    r"(?:(?:and|then|straight|right) )*(?:leaving|leaves|departing|taking off|off|away"
    r"|gone|up|took off|out)(?: (?:again|at once|once more))*(?= )"
)
_SAW = ("saw", "watched", "noticed", "spotted", "heard", "have seen", "caught")
SEEN = frozenset(
    {
        "",
        "we have",
        "i have",
        "there is",
        "here is",
        "that is",
        "i can see",
        "i see",
        "i have got",
        *(f"{who} {saw}" for who in ("i", "we") for saw in _SAW),
        *(f"then {who} {saw}" for who in ("i", "we") for saw in _SAW),
    }
)
PLURAL_HEADS: Mapping[str, str] = {
    "here comes": "here come",
    "there goes": "there go",
    "off goes": "off go",
    "away goes": "away go",
    "up goes": "up go",
    "out goes": "out go",
    "in comes": "in come",
    "back comes": "back come",
    "here is": "here are",
    "there is": "there are",
}
THEY: Mapping[str, EventKind] = {
    "here they come": EventKind.BACK,
    "here they are": EventKind.BACK,
    "off they go": EventKind.AWAY,
    "there they go": EventKind.AWAY,
    "away they go": EventKind.AWAY,
}
OR = re.compile(r" (?:, )?or (?:(?:maybe|perhaps|possibly|is it) )?")
BACKWARDS = re.compile(
    rf"(?:in|back|down|here|(?:on|onto|at|upon) (?:the|our|my|this) (?:\w+ )?{_WATER}) "
)
ENDS_IN_PREPOSITION = re.compile(
    r"(?:in|on|off|out|down|up|left|went|goes|here|again)$"
)
OBJECT = re.compile(r"(?:the|a|an|her|his|its|my|our|your|their|to|for|of|with|some) ")
PAINTS = re.compile(
    r"(?:(?:i|we|have|am|are|was|new bee|got) |, )*"
    r"(?:mark|marked|painted|marking|painting|put|putting|dabbed|gave|given|got|done"
    r"|dotted|daubed)"
    r"(?: (?:this|that|the|one|a|an|another|new|next|bee|forager|worker|lady"
    r"|girl|with|second"
    r"|third|2nd|3rd|fourth|her|it|some|dot|of|bit"
    r"|little|spot|blob|dab|drop|splash|touch|up))* "
)
PAINTED = re.compile(r" (?:one|bee|dot|spot|paint|mark|blob)(?= )")
ON_HER = re.compile(
    r" on (?:this|that|the|her|it|one|another|a|new|my)"
    r"(?: (?!and |but |then |so )[a-z]+){0,4}?(?= [.?,]| and | but | so |$)"
)
AS_NOUNS = frozenset({"leaves", "drops", "lands", "flies", "left", "in", "out", "up"})
NOT_YET = re.compile(r" (?:yet|so far|since(?! the|,)|for a while|lately)(?= )")
FOLLOWS_LEAD = re.compile(
    r"(?:(?:(?:hard |right |close |hot )?(?:on her (?:heels|tail)|behind her|after her"
    r"|beside her)(?: comes| is| was)?|and|then|,|first|next|that will be|this is"
    r"|so is|so did|also|followed by"
    r"|joined by|with|now|there is"
    r"|here is|that is) )*"
)
FOLLOWS_TAIL = re.compile(
    r"(?:, )?(?:(?:is|was|did) )?(?:(?:right|straight|just|close|hard|fast|hot|directly|not far"
    r"|a bit"
    r"|a second|a moment) )?(?:behind(?: her| it| them)?|after(?: her| it| them)?"
    r"|on her (?:heels|tail)|with (?:her|it|them)|too|as well|also|likewise|next"
    r"|(?:beside|next to|alongside) (?:her|it|them)"
    r"|followed(?: her| it)?|follows|following|joining her|alongside)(?= )"
)
PARTICLE = re.compile(
    r"(?:and )?(?:(?P<away>off|away|up|out)|back|in|down"
    r"|(?:with|behind|after|beside) (?:her|it|them)(?= (?:comes|lands|is)))"
    r" (?:right |straight |again |at last )?"
)
MOVED = re.compile(
    r"(?:goes|go|gets|pops|pop|zooms|flies|zips|shoots|drops|comes|come|went|came"
    r"|popped"
    r"|flew"
    r"|dropped|with you|you go|you pop|is|sails|floats|whizzes|buzzes|trots|toddles"
    r"|sets|darts|slips|lands) "
)
RELATIVE = re.compile(r" (?:, )?(?:who|which|that) ")
# Said of a bee between commas: "orange, the one with the torn wing, is back".
ASIDE = re.compile(
    r" , (?:which|who|the|my|our|number|that|bless|again|at last|finally|of all)"
    r"(?: [^.?, ]+){0,9} , "
)
_A = r"(?:(?:that|it|there|this|is|was|we|i|have|had|got|a|an|the|another|and|so) )*"
OF_HER = r" (?:for|of|by|from) "
LEAVING_OF = re.compile(
    rf"{_A}(?:depart|departure|take off|takeoff|exit|liftoff|lift off|leaving"
    rf"|going){OF_HER}"
)
LANDING_OF = re.compile(rf"{_A}(?:arrival|landing|touchdown|return|touch down){OF_HER}")
ARRIVAL = re.compile(
    r"(?:(?:my|the|our|and|so|today is) )*(?:first|next|second|third|latest|last|new"
    r"|only)"
    r" (?:(?:bee|one) )?(?:bee|one|arrival|visitor|guest|customer|caller|in|back"
    r"|to (?:land"
    r"|arrive"
    r"|come|return|come in|come back|be back|show))(?: [a-z]+){0,2}? (?:is|was) "
)
LEAVER = re.compile(
    r"(?:(?:the|and|so) )*(?:first|next|last) (?:(?:bee|one) )?(?:away|off|out"
    r"|to (?:leave"
    r"|go|depart|take off|be off|fly)) (?:is|was) "
)
GIVEN_UP = re.compile(
    r"(?:(?:i|we|am|are|so|and|have|will) )*(?:writing|giving|counting|recording"
    r"|marking"
    r"|putting|written|given|calling|put)(?: up on)? "
)
AS_LOST = re.compile(
    r" (?:off|up|(?:down )?(?:as )?(?:missed|lost|a no show))(?= [.,])"
)
WHO_CAME = re.compile(
    r"(?:(?:look|guess|see|and|now|oh|hey|well) )*who is (?:(?:that|this|it"
    r"|come) )*(?:back"
    r"|here|landing|landed|arriving|arrived|present|coming|turning up|turned up|in|down"
    r"|home)(?= )"
)
# "Pink did not care for it and left": something else first.
FIRST = re.compile(
    r" (?:is|has|had|was|did|took|drank|got|made|came|spent|[a-z]+ed|looks?)"
    r" (?:[a-z]+ ){0,6}?(?:, )?(?:and|then) (?:(?:is|has|she is|then|she) )*"
)
AS_ONE = re.compile(r"\b(?:both|together|at once|at the same time|side by side)\b")
VISIT = re.compile(
    r"(?:(?:we|i|have|had|is|another|a|got|there is) )*visit (?:from|by) "
)
MAY_COME = re.compile(r"late|overdue|should|missing|is not back|coming")
PLURAL = re.compile(
    r"(?: ,)?(?: (?:are|were|have|is|has|had|both|all|each|together|been|too|now"
    r"|then))*"
)
