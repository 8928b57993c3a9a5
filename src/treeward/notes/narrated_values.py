"""Notes with a value out of free speech, and notes about the watching itself.

Times, stations, dates, pause, resume and taking a note back are read here.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, EventKind, Holds
from treeward.language.number_words import cardinal_run

from . import sayings, values
from .flags import Flag, FlagCode
from .narrated_bearings import ToldBearings, overhead_at
from .narrated_durations import Durations
from .narrated_times import date_at, time_at
from .narrated_wind import Wind
from .sentences import Told, place_after, plain_phrase, words_from
from .values import Lexicon

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from treeward.language.phrasebook import PhraseBook

    from .bee_names import BeeNames

_OFF = r"(?:recorder|recording|watching|watch|tape|microphone)"
_WILL = (
    r"(?:(?:i|we|will|shall|am|are|is|going to|let me|let us|have|gonna|it|right|so"
    r"|time|to|now|need to) )*"
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
    r"(?:observations?|watch|watching|recording|session|work|counting|count|log|record"
    r"|vigil|notes|survey|the clock|business|service)"
)
# What somebody leaves the dish for, and how they say that they go.
_GOAL = (
    r"(?:toilet|loo|bathroom|privy|bush|bushes|car|truck|van|house|kettle|flask|tea"
    r"|coffee|lunch|dinner|breakfast|piece|sandwich|sandwiches|bite|food|snack|phone"
    r"|call|battery|jacket|coat|cardigan|umbrella|shade|walk|noise|legs|wee|pee|smoke"
    r"|cigarette)"
)
_GOES = re.compile(
    r"(?:(?:right|so|okay|and|well|now|sorry|just|,) )*(?:(?:i|we) (?:am|have|will|had"
    r"|must|need|got|better|go|stop)|let us|need|going|off|got to"
    r"|have to)(?: (?!not)[a-z]+){0,4}? ?(?:go|going|off|away|nip|pop|run|dash|get"
    r"|fetch|take|move|see|find|answer|have"
    rf"|having|change|to|the|for)(?: [a-z]+){{0,4}}? {_GOAL}(?= )"
)
_SEAT = r"(?:seat|chair|stool|place|post|perch|log|rock|spot|bench|station|dish)"
_PAUSES = re.compile(
    rf"nature (?:is )?call(?:s|ing) |{_WILL}(?:pause|pausing)(?: here| now| it)?"
    r" (?=[.,]|while )|(?:break|rest)(?: time)? now(?= )|(?:break|rest) (?=[.,])"
    r"|(?:(?:i|we) (?:am|are) )?stepping (?:away|out|off)(?= )"
    r"|(?:you )?give me (?:a|five|ten|two|fifteen|twenty)(?: [a-z]+)? minutes? |"
    # "getting up for a moment", "I'll be off for a bit"
    rf"{_WILL}(?:get|getting|stand|standing|step|stepping|nip|nipping|duck|ducking|slip"
    rf"|slipping|leave|leaving) (?:to )?(?:[a-z]+ ){{0,5}}?for {_SPELL}(?= )|(?:i"
    rf"|we) {_WILL}(?:be )?(?:off|away|out|gone|go|going) (?:[a-z]+ ){{0,5}}?for "
    rf"{_SPELL}(?= )|{_WILL}(?:get|getting|got to get|stand|standing) up (?:and"
    rf"|to) (?:stretch|walk|move|fetch|get|go)\b"
    r"|(?:(?:i|we|am|are|so|right) )*(?:going|coming|stepping|signing) off (?:watch"
    r"|duty|air)(?= )|(?:stop|pause|hold) everything (?=[.,])|(?:(?:so|right|go) )*(?:i"
    r"|we) (?:am|are) (?:both |all )?(?:off|out of here)(?: now)? (?=[.,])"
    r"|(?:so )?(?:make (?:i|we)|(?:i|we) make) (?:now )?(?:(?:a|my"
    r"|our) )?(?:[a-z]+ )?break |(?:(?:right|so"
    r"|okay) )*(?:i|we) (?:am|are) (?:just )?(?:off|away|going|nipping"
    r"|popping) to (?:get|fetch|find|have|check|see to|move|grab|stretch|feed"
    r"|look for)(?= )|(?:i )?need to stretch (?:my|the) legs(?= )"
    rf"|{_WILL}shut(?:ting)? up shop(?= )|call of nature (?=[.,])|(?:the |our "
    rf"|my )?{_WORK} (?:is|are) (?:suspended|paused|stopped|interrupted|halted"
    rf"|adjourned|broken off|on hold) |{_WILL}(?:stop|stopping|stopped|pause|pausing"
    rf"|paused|end|ending|switch off|turn off|switching off|turning off)(?: the| this"
    rf"| my)? {_OFF}(?: off| here| there)? |(?:nobody|no one) (?:is )?(?:watching"
    rf"|looking)(?: at the \w+)? |{_WILL}(?:take|taking|having|have|need|stop for"
    rf"|break for|stopping for|breaking for|pausing for|pause for|knock off for"
    rf"|knocking off for|stop to have|off for|down tools for|time for)(?: (?:my|our"
    rf"|some|a|the|a cup of|a spot of|a bit of|a bite of|a quick))? ?{_REST}(?: (?:now"
    rf"|here|of tea|of coffee))* (?=[.,?]|for |and |now |so |my |until |then )"
    rf"|{_WILL}pausing (?:here|for) |{_WILL}(?:quit|quitting|knock off|knocking off"
    rf"|stop|stopping|break|breaking|pausing|pause|packing in|rest|resting)(?: off| it"
    rf"| here| now| watching| things)* (?:a while|for (?:a|the|my|our"
    rf"|some) (?:\w+ )?(?:while|bit|spell|minutes?|moment|food|eat)|awhile)(?= )"
    rf"|{_WILL}(?:have|having|eat|eating|get|getting)(?: (?:my|our|some|a|the"
    rf"|us))* (?:sandwich|sandwiches|lunch|dinner|tea|coffee|picnic|grub|bite|snack"
    rf"|pasty|pie|breakfast|tiffin|braai|smoko|rest|break)(?= )|{_WILL}(?:stop|stopping"
    rf"|break|breaking|pause|pausing) for (?!her|him|it|the bees"
    rf"|effect)(?:[a-z]+ ){{1,3}}?(?=[.,])|{_WILL}(?:eat|eating"
    rf"|going to eat)(?: something| first)?(?= [.,])|{_WILL}not (?:be )?(?:writing"
    rf"|recording|noting|looking|watching|counting)(?: \w+)?(?= [.,]| till| until| for)"
    rf"|{_WILL}(?:pause|pausing|paus|stop|stopping|suspend|suspending|close|closing"
    rf"|interrupt|interrupting|break off|halt) (?:the|my|this) (?:log|notes?|tape"
    rf"|record|recording|session|count|book)(?= )"
    r"|(?:\w+ break|lunch|dinner|tea|coffee|break|smoko|elevenses)(?: time)? (?=[.])"
    rf"|{_WILL}(?:take|taking|have|having) (?:a )?(?:\w+ )?(?:minutes?|five|ten)(?: out"
    rf"| off| break)?(?= [.,])|{_WILL}time for (?:\w+ ){{1,4}}?{_REST}(?= [.,])"
    rf"|{_WILL}not (?:be )?(?:watching|looking)(?: now| for a (?:bit|while))? (?=[.,;])"
    rf"|{_WILL}(?:going|off|nipping|popping|heading)(?: in| home| back| down| off"
    rf"| away)? (?:for|to have) (?:(?:my|our|some|a|the) )?(?:\w+ of )?{_REST}(?= [.,])"
    rf"|{_WILL}(?:closing|close|covering|cover|lidding) (?:up )?(?:the|my|our) (?:jar"
    rf"|dish|lid|box|feeder|bait|station) (?=[.,]|and |for |now |while )"
    rf"|{_WILL}leave you (?:, )?(?:[a-z]+ ){{0,2}}(?:, )?(?:for )?[a-z0-9]+ minutes? "
    rf"(?=[.,])|{_WILL}(?:off|nipping|popping|heading|get|fetch|find"
    rf"|look for) (?:[a-z]+ ){{0,9}}?(?:, )?back in (?:a (?:bit|minute|moment|while"
    rf"|jiffy|tick)|(?:about )?(?:five|ten|fifteen|twenty|thirty"
    rf"|\d+)(?: minutes)?) (?=[.])|{_WILL}(?:rest|resting) (?:my|our) eyes "
    rf"|{_WILL}(?:stop|stopping|stopped|pausing) (?:the )?(?:clock|watching|looking"
    rf"|here|for now) "
)
_RESUMES = re.compile(
    rf"(?:(?:we|i|am|are|back|the|is|have|okay) )*"
    rf"(?:{_OFF}|started|starting|resuming|resumed)(?: (?:the|this|my|{_OFF}|is|on))*"
    rf" (?:again|once more|resumed|resuming|back on) "
    r"|(?:(?:i|we|am|are|right|so|here) )*(?:back|carrying on|carry on"
    r"|back again)(?: (?:at it|at work|at my post|to it|on duty|on the job|on it"
    r"|watching|looking|at the (?:dish|station)))(?: again| now)? |(?:(?:i|we|am|are"
    r"|right|so|here|and) )*(?:carrying on|carry on)(?: again| now)? (?=[.,]|we "
    r"|the time |it is )|(?:(?:i|we|am|are|back|and|right|so|here) )*(?:looking"
    r"|watching|recording)(?: once)? again |(?:(?:i|we|have|am|are) )*(?:resumed"
    r"|resuming|taken up)(?: my| our| the)? (?:post|watch|place|seat|observations?"
    r"|watching) |(?:(?:i|we|am|are|back|right|so) )*on (?:duty|watch|station|air"
    r"|it) again |(?:(?:so|right|and) )*(?:i|we) (?:am|are) (?:on|live|rolling|going"
    r"|in business) again "
    rf"|(?:the |our |my )?{_WORK} (?:is|are) (?:resumed|recommenced|restarted"
    rf"|reopened|going"
    r"|on|running|continued)(?: again| once more)? |i sit again |(?:(?:i|we|am|are|so"
    r"|right) )*(?:recommenc|resum|restart|continu)(?:e|ed|ing|es)?(?: here| now| again"
    r"| once more)* (?=[.,])|(?:(?:i|we|am|are|right|so|and|okay|is) )*(?:(?:sat"
    r"|sitting|sit|settled|settling) (?:back )?down again |(?:back|sat|sitting"
    r"|seated) (?:back )?(?:down )?"
    rf"(?:in|on|at|to) my (?:\w+ )?{_SEAT}(?: again)? )"
    r"|resuming (?=[.,])|(?:and )?back to (?:the )?watching |(?:and )?back on watch "
    rf"|(?:resuming|resumed)(?: the| this)? {_OFF} "
)
# Said after a pause, any of these ends it.
_AGAIN = re.compile(
    r"(?:(?:i|we|me|us|my|our|eyes|ready|watching|settled|here|all|set|okay|right|so"
    r"|and|am|are|is|on|at|the|in|dish|place|seat|sat|sitting|now) )+again(?= [.,])"
    r"|that is (?:me|us) back(?= )|(?:i|we) (?:am|are) (?:watching|looking"
    r"|listening)(?= )|(?:(?:i|we|and|right|so|well|okay|there|that is|we are|i am"
    r"|i have|we have|back|,|now|all|the|my|our|let us) )*(?:(?:log|tape|recording"
    r"|recorder|watch|watching|notes?|work|lunch|dinner|tea|break|clock)(?: is"
    r"| are)? (?:resumes?|resumed|restarted|on|running|over|done|finished|going"
    r"|started)(?: again)?|back (?:to|at|on|in) (?:the |my |our )?(?:work|it|dish"
    r"|station|job|bees|watch|post|duty|business|chair|seat|saddle|action|place)"
    r"|here we (?:go|are) again|(?:on|off|going|started|rolling|running) again|(?:jar"
    r"|dish|lid|box|feeder) is (?:open|off|out|back)(?: again)?|i come back"
    r"|back(?: again)?(?= [.,]| \d| from| after| with| and)|resum\w+|restart\w*"
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


_NONE_FOUND = re.compile(
    r" (?:no|not (?:a|one|any)|never (?:a|any)|without (?:a|any)|zero|nor(?: any)?"
    r"|neither|hardly (?:a|any))(?: (?:sign|trace|hint) of (?:a|any|the))?"
    r"(?: (?:wild|bee|other|such|more|single))* $"
)
_PLACE = re.compile(
    r"(?:, )?(?:(?:(?:here|there) (?:, )?)?(?P<place>(?:in|at|up|inside|under|behind"
    r"|on|by|near|beside|high) (?:[^ .?,]+ ){1,12})|(?:here|there)(?= [.?,]|$))"
)
_THING = (
    r"(?:tree|trees|oak|ash|beech|pine|elm|willow|wood|copse|hedge|hedgerow|wall|bank"
    r"|barn|trunk|hollow|bole|stump|crag|rocks|chimney|roof|hole|crack)"
)
_SEARCHED = re.compile(
    r"(?:(?:i|we|have|all|now) )*(?:searched|checked|looked|tried)"
    r"(?: (?:at|in|into|over|round|around|through|all|along|up|under))*"
    rf"(?: (?:the|this|that|these|a|another|one) (?:[a-z]+ ){{0,2}}?{_THING}| here)"
    r" (?:, )?(?:(?:and|but|found|there is|seen|saw) )*"
    r"(?:nothing|no bees|no bee|no colony|no nest|none)"
    r"(?: (?:at all|there|here|in it|in there|again|yet|seen|found|to see))* (?=[.,])"
    rf"|(?:(?:the|this|that|another|one|an|a|old|big|next) )+(?:[a-z]+ )??{_THING}"
    r" (?:(?:is|was|checked|searched|looked at) )+(?:, )?(?:and )?"
    r"(?:nothing|no bees|no bee|empty|no colony|no nest)"
    r"(?: (?:at all|there|here|in it|in there|again|yet))* (?=[.,])"
)


_FINDS = re.compile(
    r"(?:(?:and|so|well|yes|i|we|have|just|finally) )*found "
    r"(?:them|it|her|the bees|(?P<nest>(?:the|our|their|a) (?:wild )?"
    r"(?:colony|nest|bee tree))) "
)
# Before "found" it is none, or none so far.
_NOT_YET = re.compile(
    r" (?:not|never|nobody|if|until|till|when|once|before|no|hope|will|may|might)"
    r" (?:\w+ ){0,3}$"
)
_NESTS_IN = re.compile(rf" {_THING} ")


def _looked(text: str, told: Told) -> Told:
    """Doubt a find out of talk; "no colony found" is ground that was looked at."""
    if told.kind is not EventKind.FOUND:
        return told
    if _NONE_FOUND.search(text[: told.start]):
        flags = (Flag(FlagCode.AMID_WORDS),)
        return replace(told, kind=EventKind.SEARCHED, flags=flags, value="")
    return replace(told, flags=(Flag(FlagCode.TOLD_FREELY),))


def _found_at(start: int, where: re.Match[str]) -> Told:
    """Note a find with the words that tell where it was."""
    own = (where["place"] or "").strip()
    return Told(kind=EventKind.FOUND, start=start, end=where.end(), value=own)


def _found_them(text: str, place: int) -> Told | None:
    """Read "found them, in the old oak"; what was found and where are told."""
    match = _FINDS.match(text, place)
    if match is None or _NOT_YET.search(text[:place]):
        return None
    where = _PLACE.match(text, match.end())
    if where is None:
        ends = match["nest"] and sayings.STOP.match(text, match.end())
        told = (
            Told(kind=EventKind.FOUND, start=place, end=match.end()) if ends else None
        )
    else:
        nest = match["nest"] or _NESTS_IN.search(f" {where['place'] or ''}")
        told = _found_at(place, where) if nest else None
    return replace(told, flags=(Flag(FlagCode.TOLD_FREELY),)) if told else None


class Watching:
    """Finds commands and their everyday wordings in the text of sentences."""

    def __init__(self, book: PhraseBook) -> None:
        self._commands: Mapping[str, EventKind] = {
            f"{plain_phrase(way)} ": EventKind(kind)
            for kind, ways in book.commands.items()
            for way in ways
        }
        # A comma means nothing within one, but "no, bees here" is not "no bees here".
        self._spoken = [
            (re.compile(re.sub(r"(?<!^no) (?=.)", " (?:, )?", way)), kind)
            for way, kind in self._commands.items()
        ]

    def ways_of(self, kind: EventKind) -> tuple[str, ...]:
        """Give the commands of a kind, a space after each."""
        return tuple(way for way, of_kind in self._commands.items() if of_kind is kind)

    @staticmethod
    def goes_off(text: str, place: int) -> Told | None:
        """Read that somebody goes for something; a pause only where silence follows."""
        match = _GOES.match(text, place)
        if match is None:
            return None
        flags = (Flag(FlagCode.AMID_WORDS),)
        kind = EventKind.PAUSE
        return Told(kind=kind, start=place, end=match.end() + 1, flags=flags)

    @staticmethod
    def resumed(text: str, place: int) -> Told | None:
        """Read what ends a pause that is known of."""
        match = _AGAIN.match(text, place)
        if match is None:
            return None
        return Told(kind=EventKind.RESUME, start=place, end=match.end() + 1)

    def at(self, text: str, place: int) -> Told | None:
        """Find a note about the watching that starts at `place`."""
        return self._command_at(text, place) or self._everyday_at(text, place)

    def _command_at(self, text: str, place: int) -> Told | None:
        for spoken, kind in self._spoken:
            match = spoken.match(text, place)
            if match is None:
                continue
            end = match.end()
            if kind is EventKind.FOUND and (where := _PLACE.match(text, end)):
                return _looked(text, _found_at(place, where))
            if kind is EventKind.SCRATCH or sayings.STOP.match(text, end):
                return _looked(text, Told(kind=kind, start=place, end=end))
        return _found_them(text, place)

    @staticmethod
    def _everyday_at(text: str, place: int) -> Told | None:
        looked = _SEARCHED.match(text, place)
        if looked and looked.end() > place:
            flags = (Flag(FlagCode.AMID_WORDS),)
            kind = EventKind.SEARCHED
            return Told(kind=kind, start=place, end=looked.end(), flags=flags)
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


# Where somebody sits now, or what the place is called.
_WE_ARE_AT = re.compile(
    r" (?:station|we (?:are|will) call|i (?:am|will) call|calling|call(?:ed)?|(?:i"
    r"|we) (?:am|are) (?:[a-z]+ ){0,3}?(?:at|by|in|on|beside|under|near)|set up|sitting"
    r"|seated|installed?|this is|here is|(?:this|the) (?:place|spot|stand|site)"
    r"|location|starting|moved to) "
)
_STATION = re.compile(
    r"(?:(?:we|i|am|are|have|is|this|that|back|over|here|moved|moving|move|up|down|gone"
    r"|going|starting|start|now|arrived|set up|sitting) )*(?:(?:at|to|on|from"
    r"|for) )?(?P<word>station) "
)
_STATION_IN = re.compile(
    r"(?:(?!was |from |last |next |yesterday |after |before |if |when |than |like |go "
    r"|walk|station |towards |radio |police |railway |train |bus |always |about "
    r"|should |will )[a-z']+ ){0,9}?(?:at|is|on|(?:myself|moved|moved on|got|come|over"
    r"|up|on) to|here|call|into|us|reached|now|okay|day|beside|for|it) (?:the |our |my "
    r"|[a-z]+ing )?(?P<nth>first |second |third |fourth )?station "
)
_NTH = {"first": "1", "second": "2", "third": "3", "fourth": "4"}
# A station by another word: "number two stand", "this is number two".
_AS_STATION = re.compile(
    r"(?:(?:so|and|we|i|am|are|have|is|this|this is|that|here|now|over|moved|moving"
    r"|set up|start|starting|at|to|on|the|my|our|got) )*(?:number (?P<n>\w+) (?:stand"
    r"|stop|spot|site|post|place|point|position|dish|pitch)|(?:stand|stop|spot|site"
    r"|post|point|position|pitch) (?:number )?(?P<m>one|two|three|four|five|six|\d)"
    r"|(?P<nth>first|second|third|fourth) (?:station|stand|stop|spot|site|post|place"
    r"|point|position|pitch)|(?<=this is )number (?P<k>\w+)"
    r"|(?<=here is )number (?P<l>\w+)) "
)
_ENOUGH_ABOUT_STATION = re.compile(
    r"[.?,]|and |now |still |again |the time |time |at |with |it is |in |the |by "
    r"|below |above |beside |near |next |today |tonight |under |over |on |this "
    r"|that is |here |time |we |i |for |so |$"
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


class ValueNotes:
    """Finds notes with a value, and notes about watching, at a place in the text."""

    def __init__(self, book: PhraseBook, names: BeeNames) -> None:
        self._names = names
        self._lexicon = Lexicon.of(book)
        self._anchors: Mapping[str, EventKind] = {
            f"{plain_phrase(way)} ": EventKind(kind)
            for kind, ways in book.anchor_words.items()
            for way in ways
        }
        self._watching = Watching(book)
        ways = [" ".join(way) for way in self._lexicon.stations]
        ways = [way for way in ways if cardinal_run(way.split()) is None]
        self._places = re.compile(rf" (?:{'|'.join(ways)})(?= )") if ways else None
        self._wind = Wind(self._lexicon)
        self._durations = Durations(names)
        self._bearings = ToldBearings(names, self._ways_of(EventKind.BEARING))
        self._overhead = (
            *self._ways_of(EventKind.OVERHEAD),
            *self._watching.ways_of(EventKind.OVERHEAD),
        )

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
            lambda text, place: overhead_at(text, place, self._overhead),
            self._watching.at,
            self._durations.at,
            date_at,
            self._station,
            self._as_station,
            self._named_station,
            self._wind.at,
            lambda text, place: self._time(text, place, asked=asked),
            lambda text, place: self._bearings.at(text, place, leaving=leaving),
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

    def goes_off(self, text: str, place: int) -> Told | None:
        """Find words by which somebody leaves the dish for something."""
        return self._watching.goes_off(text, place)

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
        own = self._anchor_at(text, place, EventKind.TIME)
        return time_at(text, place, own, asked=asked)

    @staticmethod
    def degrees_at(text: str, place: int) -> bool:
        """Tell whether a number stands here that is a bearing in three figures."""
        value = values.bearing_value(words_from(text, place))
        return bool(value and value.text and not value.options and value.used > 1)

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
