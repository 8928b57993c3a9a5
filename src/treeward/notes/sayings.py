"""Ways in which people lead up to a note, hedge it, and go on after it."""

from __future__ import annotations

import re

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
    r" (?:would(?! (?:say|like to|call|make|put))|should(?! (?:think|be|have been|say"
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
    r" (?:paint|painting|(?:i|we) will do|dab|dabbing|brush|another dot|dot on"
    r"|applying|mark (?:one"
    r"|another"
    r"|her|a|the)|colou?r|attempt|let me|hold still|stay still|sit still|keep still"
    r"|hold (?:her|it)|pens|varnish"
    r"|texter|marker) "
)
QUESTION = re.compile(
    r"(?!is not no |what wind there )(?:is|are|was|were|did|do|does|where|what|when"
    r"|who|why|how|which|whose|shall"
    r"|should|can|could|would|will|have you|any sign|any) "
)
TIME_ASKED = re.compile(
    r"what(?: is| was)? (?:the )?time|got the time|what time is it"
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
