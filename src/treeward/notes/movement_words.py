"""What English says of an insect that comes or goes, after the insect is named.

The phrase book lists whole ways of saying; this grammar takes what people build from
verb and particle: "came back in", "has zoomed off", "circled twice and left".
"""

from __future__ import annotations

import re

from treeward.language.kinds import EventKind

_HELPERS = (
    r"(?:(?:is|was|are|were|had|has|been|have|still|both|all|each|together|finally"
    r"|too|also|then|first|next|likewise|did|soon|once|again|almost|in turn|at last"
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
    r"|home|onto the \w+|in again|back here|by again)"
)
_PLACE = (
    r"(?:dish|water|comb|feeder|syrup|sponge|saucer|moss|trough|edge|rim|lip|stone"
    r"|plate"
    r"|lid|bowl|tray|jar|puddle|stream|mud|cotton|pad|bait|sugar|pot|board|cork|float)"
)
PLACE = _PLACE
_OUTWARD = r"(?:back out|back off|off|away|out|up and away|up and off|up and out|up and gone|up)"
_TURNS = (
    r"(?:(?:circled|circling|looped|spiralled|turned|hovered|is full|full|done"
    r"|finished|had (?:enough|her fill|their fill)|drunk (?:her|its) fill|loaded up"
    r"|filled up|stayed|lingered|drank|sat|rested|hung about)(?: (?:once|twice"
    r"|three times|round|around|a bit"
    r"|drinking|feeding|for a bit|for a moment|a few times|about"
    r"|for (?:\w+ ){1,4}?(?=and|then)"
    r"|(?:her|its) fill|a little|briefly))? ?(?:and|then|,) (?:(?:is|has|was|had|then"
    r"|at once) )*)?"
)
# Being here: a coming for a bee that was not here, otherwise nothing new.
PRESENT = re.compile(
    rf"{_HELPERS}{_MANNER}(?:having a (?:drink|sip)|drinking|sipping|feeding|lapping"
    r"|sucking|loading|filling up|tanking up|busy|guzzling|slurping|settled|sitting"
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
    rf"{_HELPERS}{_MANNER}(?:{_MOVES} {_MANNER}{_INWARD}|landed|landing|lands|arrived"
    r"|arriving|arrives|returned|returning|returns|appeared|appearing|appears"
    r"|reappeared"
    r"|turned up|turns up|showed up|shows up|settled|settling|settles|settling down"
    r"|alighted|alights|touched down|touches down|having a drink|having a sip|drinking"
    r"|sipping|feeding|lapping|sucking|loading|back|home(?: again)?|in|down"
    r"|joined (?:her|him|them|it)"
    r"|found (?:the|our|my) (?:\w+ )?(?:dish|water|comb|feeder|syrup|sponge|saucer"
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
    rf"{_HELPERS}{_TURNS}{_HELPERS}{_MANNER}(?:{_MOVES} {_MANNER}{_OUTWARD}|left us"
    rf"|left"
    r"|off you go|leaving|leaves|going going gone|gone|departed|departing|departs|flown"
    r"|vanished|vanishing|disappeared|disappearing|went|away|off|out|up|airborne"
    r"|straight back out|back out|no longer (?:here|with us)|(?:made|making"
    r"|makes) (?:her|its) exit"
    r"|taken (?:her|its) leave|took (?:her|its) leave|had enough|said goodbye"
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
