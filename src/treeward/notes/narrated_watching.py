"""Notes about the watching itself: pause, resume, and taking a note back."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from . import sayings
from .flags import Flag, FlagCode
from .sentences import Told, plain_phrase

if TYPE_CHECKING:
    from collections.abc import Mapping

    from treeward.language.phrasebook import PhraseBook

_OFF = r"(?:recorder|recording|watching|watch|tape|microphone)"
_WILL = (
    r"(?:(?:i|we|will|shall|am|are|is|going to|let me|let us|have|gonna|it|right|so"
    r"|time"
    r"|to|now|need to) )*"
)
_REST = (
    r"(?:break|rest|breather|cuppa|cup|tea|lunch|dinner|breakfast|coffee|picnic|bite"
    r"|bite to eat|something to eat|snack|sandwich|sandwiches|minute|moment|bit|while"
    r"|sit down|stretch|elevenses)"
)
_PAUSES = re.compile(
    rf"{_WILL}(?:stop|stopping|stopped|pause|pausing|paused|end|ending|switch off"
    rf"|turn off|switching off|turning off)(?: the| this| my)? {_OFF}"
    rf"(?: off| here| there)? "
    rf"|(?:nobody|no one) (?:is )?(?:watching|looking)(?: at the \w+)? "
    rf"|{_WILL}(?:take|taking|having|have|need|stop for|break for|stopping for"
    rf"|breaking for"
    rf"|pausing for|pause for|knock off for|knocking off for|stop to have|off for"
    rf"|down tools for|time for)(?: (?:my|our|some|a|the|a cup of|a spot of|a bit of"
    rf"|a bite of|a quick))? ?{_REST}(?: (?:now|here|of tea|of coffee))* (?=[.,?]"
    rf"|for |and "
    rf"|now |so |my |until |then )"
    rf"|{_WILL}pausing (?:here|for) "
    rf"|{_WILL}(?:quit|quitting|knock off|knocking off|stop|stopping|break|breaking"
    rf"|pausing|pause|packing in|rest|resting)(?: off| it| here| now| watching|"
    rf" things)*"
    rf" (?:a while|for (?:a|the|my|our|some) (?:\w+ )?(?:while|bit|spell|minutes?"
    rf"|moment|food|eat)|awhile)(?= )"
    rf"|{_WILL}(?:have|having|eat|eating|get|getting)(?: (?:my|our|some|a|the|us))*"
    rf" (?:sandwich|sandwiches|lunch|dinner|tea|coffee|picnic|grub|bite|snack|pasty|pie"
    rf"|breakfast|tiffin|braai|smoko|rest|break)(?= )"
    rf"|{_WILL}(?:stop|stopping|break|breaking|pause|pausing) for (?!her|him|it|the"
    rf" bees|effect)"
    rf"(?:[a-z]+ ){{1,3}}?(?=[.,])"
    rf"|{_WILL}(?:eat|eating|going to eat)(?: something| first)?(?= [.,])"
    rf"|{_WILL}not (?:be )?(?:writing|recording|noting|looking|watching|counting)"
    rf"(?: \w+)?(?= [.,]| till| until| for)"
    rf"|{_WILL}(?:pause|pausing|paus|stop|stopping|suspend|suspending|close|closing"
    rf"|interrupt|interrupting|break off|halt)"
    rf" (?:the|my|this) (?:log|notes?|tape|record|recording|session|count|book)(?= )"
    r"|(?:lunch|dinner|tea|coffee|break)(?: break)?(?: time)? (?=[.])"
    rf"|{_WILL}(?:take|taking|have|having) (?:a )?(?:\w+ )?(?:minutes?|five|ten)"
    rf"(?: out| off| break)?(?= [.,])"
    rf"|{_WILL}time for (?:\w+ ){{1,4}}?{_REST}(?= [.,])"
    rf"|{_WILL}not (?:be )?(?:watching|looking)(?: now| for a (?:bit|while))? (?=[.,;])"
    rf"|{_WILL}(?:going|off|nipping|popping|heading)(?: in| home| back| down| off"
    rf"| away)?"
    rf" (?:for|to have) (?:(?:my|our|some|a|the) )?(?:\w+ of )?{_REST}(?= [.,])"
    rf"|{_WILL}(?:closing|close|covering|cover|lidding) (?:up )?(?:the|my|our) (?:jar"
    rf"|dish|lid|box|feeder|bait|station) (?=[.,]|and |for |now |while )"
    rf"|{_WILL}leave you (?:, )?(?:[a-z]+ ){{0,2}}(?:, )?(?:for )?[a-z0-9]+"
    rf" minutes? (?=[.,])"
    rf"|{_WILL}(?:off|nipping|popping|heading|get|fetch|find|look for)"
    rf" (?:[a-z]+ ){{0,9}}?(?:, )?back in (?:a (?:bit|minute|moment"
    rf"|while|jiffy|tick)|(?:about )?(?:five|ten|fifteen|twenty|thirty|\d+)"
    rf"(?: minutes)?) (?=[.])"
    rf"|{_WILL}(?:rest|resting) (?:my|our) eyes "
    rf"|{_WILL}(?:stop|stopping|stopped|pausing) (?:the )?(?:clock|watching|looking"
    rf"|here"
    rf"|for now) "
)
_RESUMES = re.compile(
    rf"(?:(?:we|i|am|are|back|the|is|have|okay) )*"
    rf"(?:{_OFF}|started|starting|resuming|resumed)(?: (?:the|this|my|{_OFF}|is|on))*"
    rf" (?:again|once more|resumed|resuming|back on) "
    r"|(?:(?:i|we|am|are|right|so|here) )*(?:back|carrying on|carry on|back again)"
    r"(?: (?:at it|at work|at my post|to it|on duty|on the job|on it|watching|looking"
    r"|at the (?:dish|station)))(?: again| now)? "
    r"|(?:(?:i|we|am|are|right|so|here|and) )*(?:carrying on|carry on)(?: again"
    r"| now)? (?=[.,]|we |the time |it is )"
    r"|(?:(?:i|we|am|are|back|and|right|so|here) )*(?:looking|watching|recording)"
    r"(?: once)? again "
    r"|(?:(?:i|we|have|am|are) )*(?:resumed|resuming|taken up)(?: my| our| the)?"
    r" (?:post|watch|place|seat|observations?|watching) "
    r"|resuming (?=[.,])|(?:and )?back to (?:the )?watching |(?:and )?back on watch "
    rf"|(?:resuming|resumed)(?: the| this)? {_OFF} "
)
# Said after a pause, any of these ends it.
_AGAIN = re.compile(
    r"(?:(?:i|we|and|right|so|well|okay|there|that is|we are|i am|i have|we have|back"
    r"|,|now|all"
    r"|the|my|our|let us) )*(?:(?:log|tape|recording|recorder|watch|watching|notes?"
    r"|work"
    r"|lunch|dinner|tea|break|clock)(?: is| are)? (?:resumes?|resumed|restarted|on"
    r"|running"
    r"|over|done|finished|going|started)(?: again)?|back (?:to|at|on|in) (?:the |my "
    r"|our )?"
    r"(?:work|it|dish|station|job|bees|watch|post|duty|business|chair|seat|saddle"
    r"|action"
    r"|place)|here we (?:go|are) again|(?:on|off|going|started|rolling|running) again"
    r"|(?:jar|dish|lid|box|feeder) is (?:open|off|out|back)(?: again)?"
    r"|i come back|back(?: again)?(?= [.,]| \d| from| after| with| and)"
    r"|resum\w+|restart\w*"
    r"|start(?:ing)? (?:up )?again|carry(?:ing)? on|ate|eaten|had (?:lunch|dinner|tea)"
    r"|sitting (?:down )?again|continu\w+|go(?:ing)? on|on we go|where were we"
    r"|pick(?:ing)? up (?:again|where)|again(?= [.,]))(?= )"
)
_SCRATCHES = re.compile(
    r"(?:(?:i|will|please) )*(?:scratch|forget|ignore|strike|delete|cancel|disregard) "
    r"(?:that|the last|that last|what i said)(?: (?:last )?(?:one|note|bit))? "
    r"|(?:i )?take that back |(?:correction|my mistake) "
)


class Watching:
    """Finds commands and their everyday wordings in the text of sentences."""

    def __init__(self, book: PhraseBook) -> None:
        self._commands: Mapping[str, EventKind] = {
            f"{plain_phrase(way)} ": EventKind(kind)
            for kind, ways in book.commands.items()
            for way in ways
        }

    @staticmethod
    def resumed(text: str, place: int) -> Told | None:
        """Read what ends a pause that is known of."""
        match = _AGAIN.match(text, place)
        if match is None:
            return None
        return Told(kind=EventKind.RESUME, start=place, end=match.end() + 1)

    def at(self, text: str, place: int) -> Told | None:
        """Find a note about the watching that starts at `place`."""
        for way, kind in self._commands.items():
            if text.startswith(way, place):
                end = place + len(way)
                if kind is EventKind.SCRATCH or sayings.STOP.match(text, end):
                    return Told(kind=kind, start=place, end=end)
        for pattern, kind in (
            (_SCRATCHES, EventKind.SCRATCH),
            (_RESUMES, EventKind.RESUME),
            (_PAUSES, EventKind.PAUSE),
        ):
            match = pattern.match(text, place)
            if match:
                if re.fullmatch(r".*(?:stop|start)\w* the watch ", match[0]):
                    flag = (Flag(FlagCode.STOPWATCH),)
                    return Told(kind=kind, start=place, end=match.end(), flags=flag)
                return Told(kind=kind, start=place, end=match.end())
        return None
