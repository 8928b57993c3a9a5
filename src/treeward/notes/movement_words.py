"""What English says of an insect that comes or goes, after the insect is named.

The phrase book lists whole ways of saying; this grammar takes what people build from
verb and particle: "came back in", "has zoomed off", "circled twice and left".
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

if TYPE_CHECKING:
    from collections.abc import Mapping

_HELPERS = (
    r"(?:(?:is|was|are|were|had|has|been|have|still|both|all|each|together|finally"
    r"|this (?:second|minute|moment|instant)|too|also|then|first|next|likewise|did"
    r"|soon|once|again|almost|in turn|at last"
    r"|in the end|to my surprise|(?!early|fly)[a-z]+ly|,) )*"
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
_PLACE = (
    r"(?:dish|water|comb|feeder|syrup|sponge|saucer|moss|trough|edge|rim|lip|stone"
    r"|plate"
    r"|lid|bowl|tray|jar|puddle|stream|mud|cotton|pad|bait|sugar|pot|board|cork|float)"
)
PLACE = _PLACE
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
    rf"|sat|at it|(?:up |over |down )?(?:at|on|in) (?:the|our|this) (?:\w+ )?{_PLACE}"
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
    rf"|filling up|tanking up|here|(?:back |over |down )?(?:at|on|in|onto)"
    rf" (?:the|our|this) (?:\w+ )?{_PLACE}|(?:right )?(?:next to|beside|alongside) her"
    r"|(?:is |here )?with her)(?= )"
)
LEAVES = re.compile(
    rf"{_HELPERS}{_TURNS}{_HELPERS}{_MANNER}(?:{_MOVES} {_MANNER}{_OUTWARD}"
    rf"|left (?:us|me)"
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
BACKWARDS = re.compile(r"(?:in|back|down|here) ")
ENDS_IN_PREPOSITION = re.compile(
    r"(?:in|on|off|out|down|up|left|went|goes|here|again)$"
)
OBJECT = re.compile(r"(?:the|a|an|her|his|its|my|our|your|their|to|for|of|with|some) ")
PAINTING = re.compile(
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
NOUNS = frozenset({"leaves", "drops", "lands", "flies", "left", "in", "out", "up"})
NOT_YET = re.compile(r" (?:yet|so far|since(?! the|,)|for a while|lately)(?= )")
FOLLOWS_LEAD = re.compile(
    r"(?:(?:(?:hard |right |close |hot )?(?:on her (?:heels|tail)|behind her|after her"
    r"|beside her)(?: comes| is| was)?|and|then|,|first|next|that will be|this is"
    r"|so is|so did|also|followed by"
    r"|joined by|with|now|there is"
    r"|here is|that is) )*"
)
FOLLOWS_TAIL = re.compile(
    r"(?:, )?(?:(?:is|was|did) )?(?:(?:right|straight|just|close|hot|directly|not far"
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
