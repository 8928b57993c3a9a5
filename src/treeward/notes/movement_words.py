"""What English says of an insect that comes or goes, after the insect is named.

The phrase book lists whole ways of saying; this grammar takes what people build from
verb and particle: "came back in", "has zoomed off", "circled twice and left".
"""

from __future__ import annotations

import re

from treeward.language.kinds import EventKind

_HELPERS = r"(?:(?:is|was|had|been|have|still) )*"
_MANNER = r"(?:(?:right|straight|slowly|quietly|quickly|gently|suddenly|nicely) )?"
_MOVES = (
    r"(?:come|came|comes|coming|fly|flew|flown|flies|flying|drop|dropped|drops|dropping"
    r"|pop|popped|pops|popping|get|got|gets|getting|made it|makes it|making it|wandered"
    r"|zoomed|zooming|buzzed|buzzing|sailed|shot|zipped|darted|whizzed|zipping|darting"
    r"|hovered|crawled|walked|slipped|whirred|swooped|dashed|scooted|set|headed|heading"
    r"|went|goes|go|going|gone|took|takes|taken|taking|lift|lifted|lifts|lifting|made"
    r"|makes|making|moved|moving|cleared|sped|rose|rising|bolted|jumped|blasted)"
)
_INWARD = (
    r"(?:back in|back down|back again|back|in to land|in|down|home again|onto the \w+)"
)
_PLACE = r"(?:dish|water|comb|feeder|syrup|sponge|saucer|moss)"
_OUTWARD = r"(?:off|away|out|up and away|up and off|up and out)"
_TURNS = (
    r"(?:(?:circled|circling|looped|spiralled|turned|hovered|is full|full|done"
    r"|finished|had enough|loaded up)(?: (?:once|twice|three times|round|around|a bit"
    r"|drinking|feeding|for a bit|for a moment|a few times|about))? (?:and|then|,) )?"
)
ARRIVES = re.compile(
    rf"{_HELPERS}{_MANNER}(?:{_MOVES} {_MANNER}{_INWARD}|landed|landing|lands|arrived"
    r"|arriving|arrives|returned|returning|returns|appeared|appearing|appears|reappeared"
    r"|turned up|turns up|showed up|shows up|settled|settling|settles|alighted"
    r"|touched down|touches down|having a drink|having a sip|drinking|sipping|feeding"
    r"|lapping|sucking|loading"
    rf"|filling up|tanking up|(?:at|on|in) the {_PLACE})(?= )"
)
LEAVES = re.compile(
    rf"{_HELPERS}{_TURNS}{_HELPERS}{_MANNER}(?:{_MOVES} {_MANNER}{_OUTWARD}|left"
    r"|off you go|leaving|leaves|gone|departed|departing|departs|flown|vanished"
    r"|vanishing|disappeared|disappearing|went|away|off|airborne"
    r"|on (?:the|her|its) way)(?= )"
)
FAILS = re.compile(
    r"(?:(?:is|did|was|had|have|still) )*(?:(?:not|never|still not|failed to|yet to)"
    r"(?: yet)? (?:been |be )?(?:come|came|return|returned|show|shown|showed|appear"
    r"|appeared|turn|turned|seen|make|made)"
    r"(?: (?:back|up|in|it|it back|again|home))?)(?= )"
)
PATTERNS = (
    (EventKind.MISSED, FAILS),
    (EventKind.BACK, ARRIVES),
    (EventKind.AWAY, LEAVES),
)
