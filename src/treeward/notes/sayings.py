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
    r"to my surprise|lo and behold|in any event|sure enough|here we are|there we go"
    r"|by the way|here we go|guess what|one minute|thank you|meanwhile|now then|at last"
    r"|hang on|hold on|as well|beauty|lovely|whoops|beaut|bingo|voila|right|there|great"
    r"|sorry|while|first|hello|voil|okay|well|yeah|look|then|good|nice|wait|oops|next"
    r"|hiya|aye|och|naw|nah|and|yes|yep|but|hey|aha|ooh|wow|see|so|no|oh|ah|ha"
)
_HEDGES = (
    r"i can not be sure but|i can not tell but|i am not sure but|hard to tell but"
    r"|i am fairly sure|i am pretty sure|might have been|could have been"
    r"|hard to say but|i should think|i am not sure|may have been|i am guessing"
    r"|not sure but|looked like|sounds like|seems to be|i would say|my guess is"
    r"|pretty sure|fairly sure|looks like|seems like|presumably|apparently|quite sure"
    r"|i believe|i suppose|i reckon|not sure|probably|possibly|might be|could be"
    r"|i think|i guess|perhaps|must be|may be|either|maybe"
)
_LEADS = (
    r"there is been|that would be|that will be|this will be|that must be|we have got"
    r"|i have got|i can see|there is|that was|that is|this is|we have|it was|it is"
    r"|i see|that|it|if it is not|if that is not"
)
_HEDGE = rf"(?:{_HEDGES})(?: that(?! is | was ))?"
HEDGE = re.compile(rf" {_HEDGE} ")
HEDGE_BETWEEN = re.compile(rf" (?:, )?{_HEDGE} (?:, )?")
# "I can report that", "you will notice that": says nothing about the note.
_SAY = (
    r"(?:i|we|you) (?:(?:can|will|must|may|should|would like to|do|have to|also"
    r"|am going to|want to) )*(?:say|report|note|see|notice|find|found|add|record"
    r"|observe|confirm|mention|tell you|saw|noticed|noted|observed)(?: here"
    r"| now)? that(?! (?:is|was) )"
)
# What may stand between the start of a clause and the note.
LEFT = re.compile(rf"(?:(?:{_FILLERS}|{_SAY}|{_HEDGE}|,) )*")
LEAD = re.compile(rf"(?:{_LEADS}) (?:{_HEDGE} )?")
HEDGED_LEAD = re.compile(rf"(?:(?:{_LEADS}) )?{_HEDGE} (?:(?:that|it) (?:is|was) )?")


def openings(text: str, start: int) -> list[int]:
    """Give the places after what may be said before a note, nearest first."""
    places = [start]
    left = LEFT.match(text, start)
    if left and left.end() > start:
        places.append(left.end())
    for place in tuple(places):
        for pattern in (HEDGED_LEAD, LEAD):
            match = pattern.match(text, place)
            if match and match.end() not in places:
                places.append(match.end())
    return places


# A whole sentence is a wish, a plan, a memory or a condition.
UNREAL = re.compile(
    r" (?:if(?! (?:it|that) is not [a-z]+(?: [a-z]+){0,2} [.,])|whenever|until|till"
    r"|unless|hope|hopes|hoping|wish|wishes|tomorrow"
    r"|yesterday|(?<!as )(?<!same )(?<!as the )last (?:night|year|week|time|month"
    r"|summer)|(?<!i )suppose|imagine|used to|remember|next (?:time|week|year|day)"
    r"|shall we|had i|supposed) "
)
# "... if anyone's asking", "... station one I had yesterday"
ADDED = re.compile(
    r" (?:if (?:any\w*|you|i|my|that|it|we are|memory)|(?:the "
    r"|that )?[a-z]+ (?:[a-z]+ )?(?:i|we) (?:did|had|used|was at|were at|saw))\b"
)
# What follows in the sentence is none: "when red gets back we can take a bearing".
UNREAL_AFTER = re.compile(
    r" (?:when|whenever|(?<!from )(?<!of )before(?! [.,])|(?<!at )once(?! (?:and|more"
    r"|again|or|,))|after(?= [a-z]+ (?:is|left|came|comes|goes|went|has)))(?= )"
)
# The clause is none.
UNREAL_CLAUSE = re.compile(
    r" (?:would(?! (?:[a-z]+ )?(?:say|like to|call|make|put))|should(?! (?:think|be"
    r"|have been|say|add|mention|note|report|record))"
    r"|(?<!that )(?<!this )will(?! (?:say|call|note|report|add|notice|see that|mention"
    r"|record))|want(?! to say)|wants|wanted|need|needs|let us|going to|ask|asked|said"
    r"|told|shall|wait(?! (?:no|make|that|it|,|[.]))|could(?! be| have been)|expect"
    r"|expected|(?:nearly|almost) (?:home|back|here|there|gone|in)|do not (?:think"
    r"|believe|reckon|suppose)|doubt|neither|nor|nobody|none|(?:might|may"
    r"|could) have(?! been [a-z]+ (?:that|leaving|landing|going|coming|who|which))"
    r"|did i|next would) "
)
PAINTING = re.compile(
    r" (?:paint|painting|(?:i|we) will do|do(?:ing)? (?:her|this|that|it|one)"
    r"|going to be|dab|dabbing|brush|another dot|dot on|applying|mark (?:one|another"
    r"|her|a|the)|colou?r|attempt|let me|hold still|stay still|sit still|keep still"
    r"|hold (?:her|it)|pens|varnish|texter|marker) "
)
QUESTION = re.compile(
    r"(?!is not no |what wind there |\w+ not )(?:is|are|was|were|did|do|does|where|what"
    r"|when|who|why|how|which|whose|shall|should|can|could|would|will|have you|any sign"
    r"|any) "
)
TIME_ASKED = re.compile(
    r"what(?: is| was| does)? (?:(?:the|my) )?(?:time|clock|watch)(?: say)?"
    r"|got the time|what time is it|(?:what do you )make the time(?: to be)?"
)

# Said when a bee that was painted is shown.
# What may follow a note.
_PLACE = (
    r"(?:on|at|to|in|from|off|onto|into|by) (?:the|our|this|that) "
    r"(?:dish|comb|sponge|water|station|feeder|syrup|box|stone|moss|saucer|bait|edge)"
    r"(?: of (?:the|our) [a-z]+)?"
)
_TAIL = (
    rf"(?:again|today|this morning|too|as well|there|here|okay|yes|right|at last"
    rf"|this time|at once|from before|straight away|on time|early|late|safely|yet"
    rf"|this minute|home|quick|that way|the same way|there we go|here we go|for now"
    rf"|bees|i see|all right|{_PLACE})"
)
TAIL = re.compile(rf"(?:{_TAIL} )*")
HEDGE_TAIL = re.compile(
    r"(?:, )?(?:(?:i think|i guess|i believe|i reckon|i suppose|i am not sure|not sure"
    r"|i am (?:nearly|almost|fairly|pretty|quite) sure|maybe|perhaps|probably|possibly"
    r"|more or less|or so|or thereabouts|ish|roughly|give or take|(?:is|was|did"
    r"|does) not (?:it|she|that))(?= )|or (?:(?:it|that|she) )?(?:was|is|could|might"
    r"|may|maybe|perhaps|possibly|probably)(?: (?:it|that|she|be|been|have|was"
    r"|is))*)(?= )"
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
    r"|tell a lie|or rather|my mistake) "
)
SAYS_AGAIN = re.compile(_SAYS_AGAIN)
CLAUSE = re.compile(
    rf" [.?,] | and | but | so | because | before | when | while | cos | which "
    rf"| though | then | (?={_SAYS_AGAIN})"
)
# Where speech without punctuation starts something new.
_NEW = (
    r"(?:(?:she is|she was|there goes|there she|here comes|here is|here she|that is"
    r"|it is (?:half|quarter|nearly|about|ten|eleven|twelve|one|two|three|four|five|six"
    r"|seven|eight|nine|\d+)) |(?<!to )(?<!at )(?<!from )(?<!of )(?<!last )(?<!next "
    r")(?<!is )(?<!than )station (?:\d|one|two|three|four|five|six) (?=[.,]))"
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
    r"|some) (?:while|time|bit)|must have (?:come|landed|slipped|been)|(?:did|could"
    r"|can) not (?:see|say|tell)|missed (?:her|it)|do not know when|no idea when"
    r"|been (?:here|there|on)) "
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
    r"|home again|home|(?:by )?to (?:see|visit) (?:us|me)|to call|onto the \w+|in again"
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
    r"(?:(?:circled|circling|looped|spiralled|turned|hovered|is full|full|done|finished"
    r"|had (?:enough|her fill|their fill)|drunk (?:her|its) fill|loaded up|filled up"
    r"|tanked up|drunk up|stayed|lingered|drank|sat|rested|hung about)(?: (?:once|twice"
    r"|three times|round|around|a bit|drinking|feeding|for a bit|for a moment"
    r"|a few times|about|for (?:\w+ ){1,4}?(?=and|then)|(?:her|its) fill|a little"
    r"|briefly))? ?(?:and|then|,) (?:(?:is|has|was|had|then|at once) )*)?"
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
    rf"|flying) (?:\w+ )?home)(?:{_MOVES} {_MANNER}{_INWARD}|landed|landing|lands|land"
    rf"|arrive|arrived"
    r"|arriving|arrives|returned|returning|returns|appeared|appearing|appears"
    r"|reappeared|turned up|turns up|showed up|shows up|settled|settling|settles"
    r"|settling down|alighted|alights|touched down|touches down|having a drink"
    r"|having a sip|drinking|sipping|feeding|lapping|sucking|loading|back"
    r"|home(?: again)?|in|down|joined (?:her|him|them|it)|came(?= [.,?]| and| when"
    r"| while)|comes(?= [.,])|(?:found|traced|located|discovered|tracked) (?:it|us|me)"
    r"|found (?:the|our|my) (?:\w+ )?(?:dish|water|comb|feeder|syrup|sponge|saucer"
    r"|trough|plate|bait|sugar)|(?:made|makes|making|put in) (?:an|her"
    r"|a brief) appearance|paid (?:us|me) (?:a|another) visit|paying (?:us|me) a visit"
    r"|on board|(?:for the |the )?first time(?: today| here| this morning)?|got here"
    r"|dropped by|rejoined (?:her|us|them)|on(?= [.,?]| and| as well| too| again)"
    r"|the (?:first|next|last) (?:one )?(?:in|back|home|here|down|to (?:land|come"
    r"|return|arrive|show)(?: (?:back|in|up))?)|back with us|joining (?:her|him|them)"
    r"|been joined by"
    rf"|filling up|tanking up|here|(?:back |over |down )?(?:at|on|in|onto) (?:the|our"
    rf"|this) (?:\w+ )?{_WATER}|(?:right )?(?:next to|beside|alongside) her"
    r"|(?:is |here )?with her)(?= )"
)
LEAVES = re.compile(
    rf"{_HELPERS}{_TURNS}{_HELPERS}{_MANNER}(?:{_MOVES} {_MANNER}{_OUTWARD}|(?:left"
    rf"|leaves|leaving) (?:us|me)(?: again)?|left"
    r"|off you go|leaving|leaves|leave|depart|going going gone|gone|departed|departing"
    r"|departs|flown|vanished|vanishing|disappeared|disappearing|went|away|off|out|up"
    r"|airborne|straight back out|back out|no longer (?:here|with us)|(?:made|making"
    r"|makes) (?:her|its) exit|(?:taken|took|takes|taking) (?:her|its) leave|had enough"
    r"|said goodbye|lifting|lifted|moved on|moving on|flew|the first to (?:leave|go)"
    r"|first to (?:leave|go)|had (?:enough|her fill) and (?:gone|left|off)"
    r"|did not (?:stay|linger|hang about)|on (?:the|her|its|their) way)(?= )"
)
NOT_HERE = re.compile(
    r"(?:is |was )?(?:not (?:here|on the \w+|there)|no longer (?:here|there|on the \w+)"
    r"|gone when (?:i|we))(?= [.,?]| now| any| and| when| any more)"
)
FAILS = re.compile(
    r"(?:(?:is|did|was|had|have|still) )*(?:(?:not|no|never|still not|failed to"
    r"|yet to)(?: (?:even|ever|did|have))*(?: yet)? (?:been |be )?(?:come|came|coming"
    r"|return|returned|show|shown|showed|appear|appeared|turn|turned|seen|make"
    r"|made)(?: (?:back|up|in|it|it back|again|home))?(?: this time)?)(?= )"
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
            r"|back again|back already|returned|landing|touchdown|touched down"
            r"|back (?=(?:in|after) (?:\w+ ){1,4}[.,])|down again)"
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
    r"(?:(?:i|we|have|am|are|was|new bee|got) |, )*(?:mark|marked|painted|marking"
    r"|painting|put|putting|dabbed|gave|given|got|done|dotted|daubed)(?: (?:this|that"
    r"|the|one|a|an|another|new|next|bee|forager|worker|lady|girl|with|second|third|2nd"
    r"|3rd|fourth|her|it|some|dot|of|bit|little|spot|blob|dab|drop|splash|touch|up))* "
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
    r"|beside her)(?: comes| is| was)?|and|then|,|first|next|that will be|this is|so is"
    r"|so did|also|followed by|joined by|with|now|there is|here is|that is) )*"
)
FOLLOWS_TAIL = re.compile(
    r"(?:, )?(?:(?:is|was|did) )?(?:(?:right|straight|just|close|hard|fast|hot|directly"
    r"|not far|a bit|a second|a moment) )?(?:behind(?: her| it| them)?|after(?: her| it"
    r"| them)?|on her (?:heels|tail)|with (?:her|it|them)|too|as well|also|likewise"
    r"|next|(?:beside|next to|alongside) (?:her|it|them)|followed(?: her| it)?|follows"
    r"|following|joining her|alongside)(?= )"
)
PARTICLE = re.compile(
    r"(?:and )?(?:(?P<away>off|away|up|out)|back|in|down"
    r"|(?:with|behind|after|beside) (?:her|it|them)(?= (?:comes|lands|is)))"
    r" (?:right |straight |again |at last )?"
)
MOVED = re.compile(
    r"(?:goes|go|gets|pops|pop|zooms|flies|zips|shoots|drops|comes|come|went|came"
    r"|popped|flew|dropped|with you|you go|you pop|is|sails|floats|whizzes|buzzes|trots"
    r"|toddles|sets|darts|slips|lands) "
)
RELATIVE = re.compile(r" (?:, )?(?:who|which|that) ")
# Said of a bee between commas: "orange, the one with the torn wing, is back".
ASIDE = re.compile(
    r" , (?:which|who|the|my|our|number|that|bless|again|at last|finally|of all)"
    r"(?: [^.?, ]+){0,9} , "
)
_A = r"(?:(?:that|it|there|this|is|was|we|i|have|had|got|a|an|the|another|and|so) )*"
OF_HER = r" (?:for|of|by|from|,) "
FROM_DISH = re.compile(rf"(?:the |our |this )?(?:\w+ )?{_WATER} ")
FAREWELLS = ("bye bye", "cheerio", "so long", "farewell", "see you", "ta ta")
SOMEBODY = re.compile(  # "one on the dish, red"
    r"(?:(?:and|oh|there is|i have) )*(?:one|a bee|something|somebody|someone) (?:is )?"
    r"(?:on|at|down|landed|in|back|here|arrived|come|coming)(?: [a-z]+){0,4} , "
    r"(?:(?:it|that|and it|she) is )?"
)
LEAVING_OF = re.compile(
    rf"{_A}(?:depart|departure|take off|takeoff|exit|liftoff|lift off|leaving"
    rf"|going){OF_HER}"
)
LANDING_OF = re.compile(rf"{_A}(?:arrival|landing|touchdown|return|touch down){OF_HER}")
ARRIVAL = re.compile(
    r"(?:(?:my|the|our|and|so|today is) )*(?:first|next|second|third|latest|last|new"
    r"|only) (?:(?:bee|one) )?(?:bee|one|arrival|visitor|guest|customer|caller|in|back"
    r"|to (?:land|arrive|come|return|come in|come back|be back"
    r"|show))(?: [a-z]+){0,2}? (?:is|was) "
)
LEAVER = re.compile(
    r"(?:(?:the|and|so) )*(?:first|next|last) (?:(?:bee|one) )?(?:away|off|out"
    r"|to (?:leave|go|depart|take off|be off|fly)) (?:is|was) "
)
GIVEN_UP = re.compile(
    r"(?:(?:i|we|am|are|so|and|have|will) )*(?:writing|giving|counting|recording"
    r"|marking|putting|written|given|calling|put)(?: up on)? "
)
AS_LOST = re.compile(
    r" (?:off|up|(?:down )?(?:as )?(?:missed|lost|a no show))(?= [.,])"
)
WHO_CAME = re.compile(
    r"(?:(?:look|guess|see|and|now|oh|hey|well) )*who is (?:(?:that|this|it"
    r"|come) )*(?:back|here|landing|landed|arriving|arrived|present|coming|turning up"
    r"|turned up|in|down|home)(?= )"
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
