"""Notes with a value out of free speech; times, stations and wind are read here."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, EventKind, Holds

from . import values
from .flags import Flag, FlagCode
from .narrated_bearings import Bearings
from .narrated_durations import Durations
from .narrated_watching import Watching
from .narrated_wind import Wind
from .sentences import ROUGH, Told, place_after, plain_phrase, words_from
from .values import Lexicon

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from treeward.language.phrasebook import PhraseBook

    from .bee_names import BeeNames

_TIME_LEAD = re.compile(
    rf"(?:(?:(?:that is|this is|the|an?|and|so|i|we|am|are) )*(?:end|ending|finish"
    rf"|finishing|stop|stopping|close|closing|begin|beginning|started|start|starting"
    rf"|concludes)(?: (?:of|the|this|my|session|recording|the watch|watch|log|notes?"
    rf"|here|up"
    rf"|watching|observation|work))* at |start(?:ing)? (?:of (?:the )?(?:watch"
    rf"|watching|session)|time) (?:is )?(?:, )?"
    rf"|is (?=[\w ]+ [.,])|it must be (?=nearly|about|half|almost|gone|\S+ (?:past|to)"
    rf" )"
    rf"|at (?=\S+ (?:minutes )?(?:past|to) |half past|(?:a )?quarter (?:past|to))"
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
    rf"|(?:(?:my|the|his|her|\w+ is) )?(?:watch|clock|phone|church clock|church bell)"
    rf"(?: on (?:the|my) (?:phone|watch))? (?:says|say|is|reads|shows|makes it|gives"
    rf"|strikes|struck"
    rf"|is struck)"
    rf"|(?:the )?time|(?:the )?clock)(?: is)? (?:, )?)(?:(?:exactly|now|is|it is) )*"
    rf"(?P<rough>{ROUGH} |(?:after|before) (?=\S+ (?:to|past)|half|quarter|\d))?"
)
# A time that says by itself that it is one.
_TELLS = re.compile(
    r" (?:past|to|o'clock|hours|half|quarter|am|pm|a\.m|p\.m|morning|afternoon|evening"
    r"|noon"
    r"|midday|watch|phone) |\d[:.]\d\d|(?:church|watch|phone|clock) |on the dot"
)
_ON_WATCH = (
    r"(?:(?:, )?(?:exactly|precisely|on the dot|sharp|dead|or so|and a bit|it is"
    r"|or near it"
    r"|nearly|almost|give or take|i think|now|in the (?:morning|afternoon|evening)"
    r"|(?:on|by) (?:my|the|his|her|\w+ is|\w+) (?:radio|car clock|kitchen clock"
    r"|wireless|watch|phone|clock|church bell"
    r"|church clock|bell))"
    r" )*"
)
_DATE = re.compile(
    r"(?:(?:the )?date(?: today)?(?: is)? (?:, )?|(?:and )?today is "
    r"|it is (?=(?:the |on )?(?:\w+day )?(?:the )?[\w-]+ (?:[\w-]+ )?(?:of )?[a-z]+))"
)
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
# "fourteen hours ten minutes", "fourteen thirty-six hours"
_HOURS = re.compile(r"(?:hours|hrs|minutes(?! (?:past|to))) ")


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
        words = words_from(text, start)
        old = words[1:3] == ["and", "twenty"]  # "five and twenty past"
        words = ["twenty", *words[:1], *words[3:]] if old else words
        spare = ["hours", "minutes"] if "hours" in words[1:3] else []
        value = values.time_value([word for word in words if word not in spare])
        if value is None:
            return None
        if spare or old:  # "fourteen hours ten minutes"
            value = replace(value, used=value.used + 1)
        end = place_after(text, start, value.used)
        hours = _HOURS.match(text, end)
        end = hours.end() if hours else end
        follow = re.compile(_ON_WATCH).match(text, end)
        after = follow.end() if follow else end
        if not re.compile(r"[.?,]|and (?!\d|[a-z]+teen|ten )|but |so |i think|$").match(
            text, after
        ):
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
        if lead is None:
            return None
        value = values.date_value(words_from(text, lead.end()))
        if value is None:
            return None
        end = place_after(text, lead.end(), value.used)
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
