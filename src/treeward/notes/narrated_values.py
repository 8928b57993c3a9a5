"""Notes with a value out of free speech; times, stations and wind are read here."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, EventKind, Holds

from . import values
from .flags import Flag, FlagCode
from .lexicon import Lexicon
from .narrated_bearings import Bearings
from .narrated_durations import Durations
from .narrated_watching import Watching
from .sentences import plain_phrase
from .told import MOST_WORDS, ROUGH, Told, place_after, words_from

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from treeward.language.phrasebook import PhraseBook

    from .bee_names import BeeNames

_TIME_LEAD = re.compile(
    rf"(?:(?=coming up|getting on for)|(?:it is|time is|the time is|time check"
    rf"|(?:the )?time by (?:my|the) watch"
    rf"|(?:we are )?(?:starting|started|start)(?: the watch| watching| here| again)? at"
    rf"|(?:my|the) (?:watch|clock|phone) (?:says|is|reads)"
    rf"|(?:the )?time|(?:the )?clock)(?: is)? (?:, )?)(?:(?:exactly|now|is|it is) )*"
    rf"(?P<rough>{ROUGH} )?"
)
# A time that says by itself that it is one.
_TELLS = re.compile(
    r" (?:past|to|o'clock|half|quarter|am|pm|a\.m|p\.m|morning|afternoon|evening|noon"
    r"|midday|watch|phone) |\d:\d\d"
)
_ON_WATCH = re.compile(r"(?:exactly|precisely|(?:on|by) my (?:watch|phone)) ")
_DATE = re.compile(
    r"(?:(?:the )?date(?: today)?(?: is)? (?:, )?|(?:and )?today is "
    r"|it is (?=(?:the |on )?(?:\w+day )?(?:the )?[\w-]+ (?:[\w-]+ )?(?:of )?[a-z]+))"
)
_STATION = re.compile(
    r"(?:(?:we|i|am|are|have|is|this|that|back|over|here|moved|moving|move|up|down|gone|going"
    r"|starting|start|now|arrived|set up|sitting) )*"
    r"(?:(?:at|to|on|from|for) )?(?P<word>station) "
)
_ENOUGH_ABOUT_STATION = re.compile(
    r"[.?,]|and |now |again |the time |time |at |with |it is |in the |$"
)
_WIND = re.compile(r"(?:(?:the|there is|a|now) )*(?P<word>wind) ")
_WIND_GAP = re.compile(
    r"(?:(?:is|was|very|quite|fairly|pretty|more|got|getting|up|picked|a|bit|it|dropped"
    r"|to|down|now|gone|still|been|has|turned|round|around|backed|veered|,|and) )*"
)
_CALM = re.compile(
    r"(?:(?:there is|there|is|we have|with|still) )*(?:no|hardly any|almost no|not much"
    r"|barely any|not a breath of|very little|little) wind(?: at all)? "
)
_IT_IS_CALM = re.compile(r"it is (?:very |quite |dead |pretty )?calm (?=[.,]|here|at )")
_AFTER_WIND = {"wind", "winds", ",", "and", "now", "again", "here", "today"}


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
        self._durations = Durations(names)
        self._bearings = Bearings(names, self._ways_of(EventKind.BEARING))

    def at(self, text: str, place: int, *, asked: bool, leaving: bool) -> Told | None:
        """Find a note with a value that starts at `place`.

        `asked` tells that the time was asked for just before, `leaving` that a bee's
        leaving was.
        """
        finders: tuple[Callable[[str, int], Told | None], ...] = (
            self._watching.at,
            self._durations.at,
            self._date,
            self._station,
            self._wind,
            lambda text, place: self._time(text, place, asked=asked),
            lambda text, place: self._bearings.at(text, place, leaving=leaving),
            self._overhead,
        )
        for finder in finders:
            told = finder(text, place)
            if told:
                return told
        return None

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
        if text.startswith(", ", start):
            start += 2
        value = values.time_value(words_from(text, start))
        if value is None:
            return None
        end = place_after(text, start, value.used)
        follow = re.compile(
            r"(?:exactly|precisely|(?:on|by) my (?:watch|phone)) "
        ).match(text, end)
        after = follow.end() if follow else end
        if not re.compile(r"[.?,]|and (?!\d|[a-z]+teen|ten )|but |so |i think|$").match(
            text, after
        ):
            return None
        said = text[start - 1 : after]
        if start == place and not asked and not _TELLS.search(said):
            return None
        if not value.text and own is None:
            return None
        flags = value.flags
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

    def _station(self, text: str, place: int) -> Told | None:
        match = _STATION.match(text, place)
        start = (
            match.end() if match else self._anchor_at(text, place, EventKind.STATION)
        )
        if start is None:
            return None
        if text.startswith("number ", start):
            start += len("number ")
        value = values.station_value(self._lexicon, words_from(text, start))
        if value is None:
            return None
        end = place_after(text, start, value.used)
        if not _ENOUGH_ABOUT_STATION.match(text, end):
            return None
        return Told(kind=EventKind.STATION, start=place, end=end, value=value.text)

    def _wind(self, text: str, place: int) -> Told | None:
        calm = _CALM.match(text, place)
        if calm and "calm" in self._lexicon.wind.values():
            end = calm.end()
            return Told(kind=EventKind.WIND, start=place, end=end, value="calm")
        unnamed = _IT_IS_CALM.match(text, place)
        if unnamed and "calm" in self._lexicon.wind.values():
            return Told(
                kind=EventKind.WIND,
                start=place,
                end=unnamed.end(),
                value="calm",
                flags=(Flag(FlagCode.WIND_UNNAMED),),
            )
        match = _WIND.match(text, place)
        if match:
            gap = _WIND_GAP.match(text, match.end())
            starts = [match.end(), gap.end() if gap else match.end()]
        else:
            first = re.compile(r"(?:(?:a|the|there is|quite|very) )*").match(
                text, place
            )
            starts = [first.end() if first else place]
            if " wind " not in f" {' '.join(words_from(text, starts[0])[:3])} ":
                return None
        for start in dict.fromkeys(starts):
            found = self._strength(text, start)
            if found:
                value, end = found
                return Told(kind=EventKind.WIND, start=place, end=end, value=value)
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

    def _strength(self, text: str, start: int) -> tuple[str, int] | None:
        """Read strength and origin, a comma or the word wind between them allowed."""
        sentence = re.compile(r"[.?]").search(text, start)
        end = sentence.start() if sentence else len(text)
        words = text[start:end].split()[:MOST_WORDS]
        kept = [
            (index, word)
            for index, word in enumerate(words)
            if word not in {",", "wind", "winds"}
        ]
        value = values.wind_value(self._lexicon, [word for _, word in kept])
        if value is None or not kept:
            return None
        last = kept[value.used - 1][0]
        after = " ".join(words[last + 1 : last + 2])
        if after and after not in _AFTER_WIND:
            return None
        return value.text, place_after(text, start, last + 1)
