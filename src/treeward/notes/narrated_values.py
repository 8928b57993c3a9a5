"""Notes with a value out of free speech, and notes about the watching itself.

Times, stations, dates, pause, resume and taking a note back are read here.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.dates import MONTHS
from treeward.language.kinds import KINDS, EventKind, Holds
from treeward.language.number_words import cardinal_run

from . import sayings, values
from .flags import Flag, FlagCode
from .narrated_bearings import Bearings
from .narrated_durations import Durations
from .narrated_wind import Wind
from .sentences import ROUGH, Told, place_after, plain_phrase, words_from
from .values import Lexicon

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from treeward.language.phrasebook import PhraseBook

    from .bee_names import BeeNames

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
_SPELL = (
    r"(?:(?:a|one|two|three|five|ten|fifteen|twenty|few|couple|of|half|an|quarter|short"
    r"|wee|little|quick) )+(?:while|bit|moment|moments|minutes?|hour|second|sec|mo|tick"
    r"|jiffy|spell)"
)
_WORK = (
    r"(?:observations?|watch|watching|recording|session|work|counting|count|log"
    r"|record|vigil"
    r"|notes|survey|the clock|business|service)"
)
_SEAT = r"(?:seat|chair|stool|place|post|perch|log|rock|spot|bench|station|dish)"
_PAUSES = re.compile(
    # "getting up for a moment", "I'll be off for a bit"
    rf"{_WILL}(?:get|getting|stand|standing|step|stepping|nip|nipping|duck"
    rf"|ducking|slip|slipping|leave|leaving) (?:to )?(?:[a-z]+ ){{0,5}}?for {_SPELL}"
    rf"(?= )"
    rf"|(?:i|we) {_WILL}(?:be )?(?:off|away|out|gone|go|going)"
    rf" (?:[a-z]+ ){{0,5}}?for {_SPELL}(?= )"
    rf"|{_WILL}(?:get|getting|got to get|stand|standing) up (?:and|to) (?:stretch|walk"
    rf"|move|fetch|get|go)\b"
    r"|(?:(?:i|we|am|are|so|right) )*(?:going|coming|stepping|signing) off (?:watch"
    r"|duty|air)"
    r"(?= )|(?:stop|pause|hold) everything (?=[.,])"
    r"|(?:(?:so|right|go) )*(?:i|we) (?:am|are) (?:both |all )?(?:off"
    r"|out of here)(?: now)? (?=[.,])"
    r"|(?:so )?make (?:i|we) (?:now )?(?:a|my|our) (?:[a-z]+ )?break "
    r"|(?:(?:right|so|okay) )*(?:i|we) (?:am|are) (?:just )?(?:off|away|going|nipping|popping)"
    r" to (?:get|fetch|find|have|check|see to|move|grab|stretch|feed|look for)(?= )"
    r"|(?:i )?need to stretch (?:my|the) legs(?= )"
    rf"|{_WILL}shut(?:ting)? up shop(?= )|call of nature (?=[.,])"
    rf"|(?:the |our |my )?{_WORK} (?:is|are) (?:suspended|paused|stopped|interrupted"
    rf"|halted|adjourned"
    rf"|broken off|on hold) "
    rf"|"
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
    r"|(?:lunch|dinner|tea|coffee|break|smoko|elevenses)(?: break)?(?: time)? (?=[.])"
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
    r"|(?:(?:i|we|am|are|back|right|so) )*on (?:duty|watch|station|air|it) again "
    r"|(?:(?:so|right|and) )*(?:i|we) (?:am|are) (?:on|live|rolling|going"
    r"|in business) again "
    rf"|(?:the |our |my )?{_WORK} (?:is|are) (?:resumed|recommenced|restarted"
    rf"|reopened|going"
    r"|on|running|continued)(?: again| once more)? "
    r"|i sit again "
    r"|(?:(?:i|we|am|are|so|right) )*(?:recommenc|resum|restart|continu)(?:e|ed|ing"
    r"|es)?"
    r"(?: here| now| again| once more)* (?=[.,])"
    r"|(?:(?:i|we|am|are|right|so|and|okay|is) )*(?:(?:sat|sitting|sit|settled"
    r"|settling) (?:back )?down again |(?:back|sat|sitting|seated) (?:back )?(?:down )?"
    rf"(?:in|on|at|to) my (?:\w+ )?{_SEAT}(?: again)? )"
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
    r"|(?:please )?(?:disregard|ignore|scratch|strike|delete)(?: (?:it|her|this"
    r"|him))? (?=[.])"
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


_TIME_LEAD = re.compile(
    rf"(?:(?:(?:that is|this is|the|an?|and|so|i|we|am|are) )*(?:end|ending|finish"
    rf"|finishing|stop|stopping|close|closing|begin|beginning|started|start|starting"
    rf"|concludes)(?: (?:of|the|this|my|session|recording|the watch|watch|log|notes?"
    rf"|here|up"
    rf"|watching|observation|work))* at |start(?:ing)? (?:of (?:the )?(?:watch"
    rf"|watching|session)|time) (?:is )?(?:, )?"
    rf"|is (?=[\w ]+ [.,])|gone (?=\S+ (?:past|to)|half|quarter|\S+ \S+ (?:past|to) )"
    rf"|it must be (?=nearly|about|half|almost|gone|\S+ (?:past|to)"
    rf" )"
    rf"|(?:now )?(?:have we|we have) (?:now )?(?=[a-z]+ [a-z]+(?: [a-z]+)? [.,])"
    rf"|(?:we|i) (?:am|are) at (?=[a-z]+ [a-z]+(?: [a-z]+)? [.,])"
    rf"|(?:the |that is )?(?:church|bells?|clock) (?:is )?(?:striking|chiming|ringing) "
    rf"|at (?=\S+ (?:minutes )?(?:past|to) |\S+ hours |half past"
    rf"|(?:a )?quarter (?:past|to))"
    rf"|(?=coming up|getting on for|(?:{ROUGH}) (?:\S+ past|(?:a )?quarter (?:past|to)"
    rf"|half past) )|(?:it is|time is|the time is|time check"
    rf"|(?:so |which )?(?:making|makes) (?:that|it)|(?:i"
    rf"|we) make it(?= (?:{ROUGH} )?\S+ "
    rf"(?:past|to|o'clock|on|by)|(?: {ROUGH})? half| (?:a )?quarter)"
    rf"|(?:(?:and )?so )?(?:according to|by|going by) (?:my|the|his|her|\w+) (?:watch"
    rf"|clock|phone)(?: ,)?"
    rf"(?: it is| the time is)?"
    rf"|(?:the )?time by (?:my|the|our) \w+"
    rf"|(?:we are )?(?:starting|started|start)(?: the watch| watching| here| again)? at"
    rf"|(?:(?:my|the|his|her|\w+ is) )?(?:[a-z]+ )?(?:watch|clock|phone|church clock"
    rf"|church bell)"
    rf"(?: on (?:the|my) (?:phone|watch))? (?:says|say|is|reads|shows|makes it|gives"
    rf"|strikes|struck"
    rf"|is struck)"
    rf"|(?:the )?(?:time|hour)|(?:the )?clock)(?: is)? (?:, )?)(?:(?:exactly|now|is"
    rf"|it is) )*"
    rf"(?P<rough>{ROUGH} |(?:after|before) (?=\S+ (?:to|past)|half|quarter|\d))?"
)
# A time that says by itself that it is one.
_TELLS = re.compile(
    r" (?:oh|zero) [a-z]+ (?:oh [a-z]+|[a-z]+(?:een|ty)|ten|eleven"
    r"|twelve)(?: [a-z]+)? $|"
    r" (?:past|to|o'clock|hours|half|quarter|am|pm|a\.m|p\.m|morning|afternoon|evening"
    r"|noon"
    r"|midday|watch|phone) |\d[:.]\d\d|(?:church|watch|phone|clock) |on the dot"
)
_ON_WATCH = (
    r"(?:(?:, )?(?:exactly|precisely|on the dot|sharp|dead|or so|and a bit"
    r"|it is(?= [.,])"
    r"|or near it|nearly|almost|give or take|i think|now|(?:that is|it was"
    r"|so it is)(?= [.,])"
    r"|by the way|striking|chiming|in the (?:morning|afternoon|evening)|on (?:a |this )?\w+day|for the (?:book"
    r"|record|notes?|log|tape"
    r"|page)"
    r"|(?:on|by|from|according to|going by|says) (?:[a-z]+ ){0,4}?(?:watch|wristwatch"
    r"|phone|telephone|mobile|clock|bell|radio|wireless|dial|car|dashboard|chimes))"
    r" )*"
)
_MONTH = rf"(?:{'|'.join(MONTHS)})"
_DATE = re.compile(
    r"(?:(?:the )?date(?: today)?(?: is)? (?:, )?|(?:and )?today is "
    r"|it is (?=(?:the |on )?(?:\w+day )?(?:the )?[\w-]+ (?:[\w-]+ )?(?:of )?[a-z]+))"
)
# A day that says by itself that it is one, alone or after the time of day.
_DAY = re.compile(
    r"(?:(?:on|it is|and) )*(?:\w+day (?:, )?)?(?P<day>(?:the )?(?=(?:[\w-]+(?:th|st|nd"
    rf"|rd)|first|second|third|\d\d?) (?:of )?{_MONTH} |{_MONTH} (?:the )?[\w-]+(?:th"
    rf"|st|nd"
    r"|rd|\d) ))"
)
# Where somebody sits now, or what the place is called.
_WE_ARE_AT = re.compile(
    r" (?:station|we (?:are|will) call|i (?:am|will) call|calling|call(?:ed)?|(?:i"
    r"|we) (?:am|are)"
    r" (?:[a-z]+ ){0,3}?(?:at|by|in|on|beside|under|near)|set up|sitting|seated"
    r"|installed?"
    r"|this is|here is|(?:this|the) (?:place|spot|stand|site)|location|starting"
    r"|moved to) "
)
_AFTER_DAY = re.compile(r"(?:[.,]|and |at |station |time |it is |this |\d+:\d\d )")
_STATION = re.compile(
    r"(?:(?:we|i|am|are|have|is|this|that|back|over|here|moved|moving|move|up|down"
    r"|gone|going"
    r"|starting|start|now|arrived|set up|sitting) )*"
    r"(?:(?:at|to|on|from|for) )?(?P<word>station) "
)
_STATION_IN = re.compile(
    r"(?:(?!was |from |last |next |yesterday |after |before |if |when |than |like "
    r"|go |walk"
    r"|station |towards |radio |police |railway |train |bus |always |about |should "
    r"|will )"
    r"[a-z']+ ){0,9}?(?:at|is|on|(?:myself|moved|moved on|got|come|over|up|on) to"
    r"|here|call|into|us|reached|now|okay|day|beside|for|it)"
    r" (?:the |our |my |[a-z]+ing )?(?P<nth>first |second |third |fourth )?station "
)
_NTH = {"first": "1", "second": "2", "third": "3", "fourth": "4"}
# A station by another word: "number two stand", "this is number two".
_AS_STATION = re.compile(
    r"(?:(?:so|and|we|i|am|are|have|is|this|this is|that|here|now|over|moved|moving"
    r"|set up"
    r"|start|starting|at|to|on|the|my|our|got) )*(?:number (?P<n>\w+) (?:stand|stop"
    r"|spot"
    r"|site|post|place|point|position|dish|pitch)|(?:stand|stop|spot|site|post|point"
    r"|position|pitch) (?:number )?(?P<m>one|two|three|four|five|six|\d)"
    r"|(?P<nth>first|second|third|fourth) (?:station|stand|stop|spot|site|post"
    r"|place|point"
    r"|position|pitch)|(?<=this is )number (?P<k>\w+)|(?<=here is )number (?P<l>\w+)) "
)
_ENOUGH_ABOUT_STATION = re.compile(
    r"[.?,]|and |now |still |again |the time |time |at |with |it is |in |the |by "
    r"|below "
    r"|above "
    r"|beside |near |next |today |tonight |under |over |on |this |that is |here |time "
    r"|we |i |for "
    r"|so |$"
)
_TALK_OF_STATION = re.compile(
    r"(?:was|were|had|would|will|might|could|should|or|to|is|has|does|did|gave|seems"
    r"|lies"
    r"|looks|needs|wants|bees|comes|tomorrow|yesterday|later|if|when|than|because) "
)
_STATION_IS = re.compile(
    r"is (?:here|the|this|at|by|on|up|down|where (?:i|we)|just|under|beside|near)\b"
    r"(?! (?:best|worst|other|last|next|one|same))"
)
_EITHER = re.compile(
    r"(?:it is|that is|that was|i make it|makes it|make it) (?=[\w ]+ [.,])"
    r"(?!(?:\w+ )*?(?:past|to|o'clock|half|quarter|am|pm|noon|midday|minutes?) )"
)


_DEGREES = re.compile(r"[0-3]\d\d ")  # "250 on the dot" of a bee that just left
# "fourteen hours ten minutes", "eleven hours and seven", "fourteen thirty-six hours"
_IN_HOURS = re.compile(
    r"(?P<hour>(?:twenty )?\S+) (?:(?:hours|hrs) (?:and )?"
    r"|o'clock (?:and )(?=\S+ minutes))"
    r"(?=\S)"
)
_HOURS = re.compile(r"(?:hours|hrs|minutes(?! (?:past|to))) ")


# "Oh seven eleven", as no bearing is said.
_FOUR_FIGURES = re.compile(
    r"(?:oh|zero) (?P<hour>[a-z]+) (?P<minute>oh [a-z]+|ten|eleven|twelve|[a-z]+teen"
    r"|(?:twenty|thirty|forty|fifty)(?: (?:one|two|three|four|five|six|seven|eight"
    r"|nine))?) "
)


def _clock_at(text: str, place: int) -> tuple[values.Value, int] | None:
    """Read a time of day, and give the place after it."""
    said = _IN_HOURS.match(text, place)
    hour = cardinal_run(said["hour"].split()) if said else None
    minute = cardinal_run(words_from(text, said.end())) if said else None
    if said and hour and minute and hour[0] < 24 and minute[0] < 60:
        end = place_after(text, said.end(), minute[1])
        value = values.Value(text=f"{hour[0]}:{minute[0]:02}", used=minute[1])
    elif early := _FOUR_FIGURES.match(text, place):
        number = cardinal_run(early["minute"].replace("oh ", "").split())
        hour = cardinal_run([early["hour"]])
        value = values.Value(
            text=f"{hour[0] if hour else 0}:{number[0] if number else 0:02}", used=1
        )
        end = early.end()
    else:
        words = words_from(text, place)
        if words[1:2] == ["of"] and cardinal_run(words[2:3]):  # "a quarter of ten"
            words[1] = "to"
        if words[2:3] == ["of"] and words[1:2] == ["quarter"]:
            words[2] = "to"
        old = words[1:3] == ["and", "twenty"]  # "five and twenty past"
        words = ["twenty", *words[:1], *words[3:]] if old else words
        read = values.time_value(words)
        if read is None:
            return None
        value = replace(read, used=read.used + old)
        end = place_after(text, place, value.used)
    hours = _HOURS.match(text, end)
    return value, hours.end() if hours else end


class ValueNotes:
    """Finds notes with a value, and notes about watching, at a place in the text."""

    def __init__(self, book: PhraseBook, names: BeeNames) -> None:
        self._names = names
        self._lexicon = Lexicon.of(book)
        self._anchors: Mapping[str, EventKind] = {
            f"{plain_phrase(way)} ": EventKind(kind)
            for kind, ways in book.anchors().items()
            for way in ways
        }
        self._watching = Watching(book)
        ways = [" ".join(way) for way in self._lexicon.stations]
        ways = [way for way in ways if cardinal_run(way.split()) is None]
        self._places = re.compile(rf" (?:{'|'.join(ways)})(?= )") if ways else None
        self._wind = Wind(self._lexicon)
        self._durations = Durations(names)
        self._bearings = Bearings(names, self._ways_of(EventKind.BEARING))

    def at(
        self, text: str, place: int, *, asked: bool, leaving: bool, left: bool = False
    ) -> Told | None:
        """Find a note with a value that starts at `place`.

        `asked` tells that the time was asked for just before, `leaving` that a bee's
        leaving was, `left` that it was a while ago.
        """
        if left and _EITHER.match(text, place):
            bearing = self._bearings.at(text, place, leaving=True)
            if bearing:  # "it is two twenty-four", of a bee that just left
                flags = (*bearing.flags, Flag(FlagCode.BEARING_OR_TIME))
                return replace(bearing, flags=flags)
        if leaving and _DEGREES.match(text, place):
            bearing = self._bearings.at(text, place, leaving=True)
            if bearing:
                return bearing
        finders: tuple[Callable[[str, int], Told | None], ...] = (
            self._watching.at,
            self._durations.at,
            self._date,
            self._station,
            self._as_station,
            self._named_station,
            self._wind.at,
            lambda text, place: self._time(text, place, asked=asked),
            lambda text, place: self._bearings.at(text, place, leaving=leaving),
            self._overhead,
        )
        for finder in finders:
            told = finder(text, place)
            if told:
                return told
        return None

    def of_kind(self, text: str, place: int, kind: EventKind) -> Told | None:
        """Find a value of one kind, where only such a one can be meant."""
        match kind:
            case EventKind.BEARING:
                return self._bearings.at(text, place, leaving=True)
            case EventKind.TIME:
                return self._time(text, place, asked=True)
            case EventKind.WIND:
                return self._wind.at(text, place)
            case EventKind.DURATION:
                return self._durations.after_back(text, place)
            case _:
                return None

    def resumed(self, text: str, place: int) -> Told | None:
        """Find words that end a pause, where one was noted."""
        return self._watching.resumed(text, place)

    def since_back(self, text: str, place: int, elapsed_s: float) -> Told | None:
        """Find a stretch of time said right after a bee came back."""
        return self._durations.after_back(text, place, elapsed_s)

    def own_words_at(self, text: str, place: int) -> tuple[EventKind, int] | None:
        """Give the kind that own words are announced for, and the place after that."""
        for way, kind in self._anchors.items():
            if KINDS[kind].holds is Holds.WORDS and text.startswith(way, place):
                return kind, place + len(way)
        return None

    def _ways_of(self, kind: EventKind) -> tuple[str, ...]:
        return tuple(way for way, of_kind in self._anchors.items() if of_kind is kind)

    def _anchor_at(self, text: str, place: int, kind: EventKind) -> int | None:
        for way, of_kind in self._anchors.items():
            if of_kind is kind and text.startswith(way, place):
                return place + len(way)
        return None

    def _time(self, text: str, place: int, *, asked: bool) -> Told | None:
        lead = _TIME_LEAD.match(text, place)
        own = self._anchor_at(text, place, EventKind.TIME)
        start = max(lead.end() if lead else place, own or place)
        bare = start == place
        if text.startswith(", ", start):
            start += 2
        found = _clock_at(text, start)
        if found is None:
            return None
        value, end = found
        follow = re.compile(_ON_WATCH).match(text, end)
        after = follow.end() if follow else end
        if not _DAY.match(text, after) and not re.compile(
            r"[.?,]|and (?!\d|[a-z]+teen|ten )|but |so |i think|$"
        ).match(text, after):
            return None
        said = text[start - 1 : after]
        if bare and not asked and not _TELLS.search(said):
            return None
        if not value.text and own is None:
            return None
        flags = value.flags
        after_it = re.search(
            r" (and a bit|or so|nearly|almost|give or take) ", f" {text[end:after]}"
        )
        if after_it:
            flags = (*flags, Flag.of(FlagCode.ROUGH, after_it[1]))
        if lead and lead["rough"] and start == lead.end():
            flags = (*flags, Flag.of(FlagCode.ROUGH, lead["rough"].strip()))
        return Told(
            kind=EventKind.TIME,
            start=place,
            end=end,
            value=value.text,
            flags=flags,
            options=value.options,
        )

    def lasting_within(
        self, text: str, start: int, end: int, elapsed_s: float
    ) -> Told | None:
        """Find how long a bee that just came was out, amid other words."""
        return self._durations.within(text, start, end, elapsed_s)

    def bearing_within(self, text: str, start: int, end: int) -> Told | None:
        """Find where a bee that just left flew, amid other words."""
        return self._bearings.within(text, start, end)

    @staticmethod
    def degrees_at(text: str, place: int) -> bool:
        """Tell whether a number stands here that is a bearing in three figures."""
        value = values.bearing_value(words_from(text, place))
        return bool(value and value.text and not value.options and value.used > 1)

    @staticmethod
    def bare_time(text: str, place: int) -> Told | None:
        """Read "nine twenty" as a whole sentence, said right after a station."""
        value = values.time_value(words_from(text, place))
        if value is None or not value.text or value.used < 1:
            return None
        end = place_after(text, place, value.used)
        if not re.compile(
            rf"{_ON_WATCH}(?:[.,]|so |i |and (?:i|we|it|she|away) )"
        ).match(text, end) or not re.search(
            r"\d\D|[a-z] [a-z]|\d[:.]\d", text[place:end]
        ):
            return None
        return Told(
            kind=EventKind.TIME,
            start=place,
            end=end,
            value=value.text,
            flags=(*value.flags, Flag(FlagCode.AS_TIME_OF_DAY)),
            options=value.options,
        )

    @staticmethod
    def _date(text: str, place: int) -> Told | None:
        lead = _DATE.match(text, place)
        alone = None if lead else _DAY.match(text, place)
        start = lead.end() if lead else alone.start("day") if alone else -1
        value = values.date_value(words_from(text, start)) if start >= 0 else None
        if value is None:
            return None
        end = place_after(text, start, value.used)
        year = re.compile(r", (?=(?:two thousand|twenty|nineteen|20\d\d) )").match(
            text, end
        )
        whole = f"{text[start:end]}{text[year.end() :]}" if year else ""
        dated = values.date_value(words_from(whole, 0)) if year else None
        if dated and dated.text and dated.used > value.used:
            end = place_after(text, year.end(), dated.used - value.used)
            value = dated
        if alone and not _AFTER_DAY.match(text, end):
            return None
        return Told(
            kind=EventKind.DATE,
            start=place,
            end=end,
            value=value.text,
            flags=value.flags,
        )

    def _as_station(self, text: str, place: int) -> Told | None:
        """Read a station that is called otherwise; it is flagged."""
        match = _AS_STATION.match(text, place)
        if match is None or not _ENOUGH_ABOUT_STATION.match(text, match.end()):
            return None
        number = next((match[key] for key in "nmkl" if match[key]), "")
        said = _NTH.get(match["nth"] or "") or number
        value = values.station_value(self._lexicon, [said])
        if value is None:
            return None
        return Told(
            kind=EventKind.STATION,
            start=place,
            end=match.end(),
            value=value.text,
            flags=(Flag.of(FlagCode.TAKEN_AS, match[0].strip(), value.text),),
        )

    def _station(self, text: str, place: int) -> Told | None:
        match = _STATION.match(text, place)
        start = (
            match.end() if match else self._anchor_at(text, place, EventKind.STATION)
        )
        within = _STATION_IN.match(text, place) if start is None else None
        if within and within["nth"]:
            told = _NTH[within["nth"].strip()]
            flags = (Flag.of(FlagCode.TAKEN_AS, f"{within['nth']}station", told),)
            if not _ENOUGH_ABOUT_STATION.match(text, within.end()):
                return None
            kind = EventKind.STATION
            end = within.end()
            return Told(kind=kind, start=place, end=end, value=told, flags=flags)
        start = within.end() if within else start
        if start is None:
            return None
        if text.startswith("number ", start):
            start += len("number ")
        value = values.station_value(self._lexicon, words_from(text, start))
        if value is None:
            return None
        end = place_after(text, start, value.used)
        enough = _ENOUGH_ABOUT_STATION.match(text, end) is not None
        is_here = _STATION_IS.match(text, end) is not None
        if not enough and not is_here and (within or _TALK_OF_STATION.match(text, end)):
            return None
        return Told(
            kind=EventKind.STATION,
            start=place,
            end=end,
            value=value.text,
            flags=() if enough else (Flag(FlagCode.AMID_WORDS),),
        )

    def _named_station(self, text: str, place: int) -> Told | None:
        """Read "I'm down by the mill": a place of the phrase book's, where we are."""
        border = re.compile(r" [.?] |$").search(text, place)
        end = border.start() if border else len(text)
        if not self._places or not _WE_ARE_AT.search(f" {text[place:end]} "):
            return None
        for match in self._places.finditer(text, place - 1, end + 1):
            said = tuple(match[0].split())
            flags = (Flag(FlagCode.AMID_WORDS),)
            return Told(
                kind=EventKind.STATION,
                start=match.start() + 1,
                end=match.end() + 1,
                value=self._lexicon.stations[said],
                flags=flags,
            )
        return None

    def _overhead(self, text: str, place: int) -> Told | None:
        start = self._anchor_at(text, place, EventKind.OVERHEAD)
        if start is None:
            return None
        value = values.bearing_value(words_from(text, start))
        if value is None:
            return None
        return Told(
            kind=EventKind.OVERHEAD,
            start=place,
            end=place_after(text, start, value.used),
            value=value.text,
            flags=value.flags,
            options=value.options,
        )
