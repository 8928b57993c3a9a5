"""Times of day and dates out of free speech."""

from __future__ import annotations

import re
from dataclasses import replace

from treeward.language.dates import MONTHS
from treeward.language.kinds import EventKind
from treeward.language.number_words import cardinal_run

from . import values
from .flags import Flag, FlagCode
from .sentences import ROUGH, Told, place_after, words_from

_TIME_LEAD = re.compile(
    rf"(?:(?:(?:that is|this is|the|an?|and|so|i|we|am|are) )*(?:end|ending|finish"
    rf"|finishing|stop|stopping|close|closing|begin|beginning|started|start|starting"
    rf"|concludes)(?: (?:of|the|this|my|session|recording|the watch|watch|log|notes?"
    rf"|here|up|watching|observation|work))* at |start(?:ing)? (?:of (?:the )?(?:watch"
    rf"|watching|session)|time) (?:is )?(?:, )?|is (?=[\w ]+ [.,])|gone (?=\S+ (?:past"
    rf"|to)|half|quarter|\S+ \S+ (?:past|to) )|it must be (?=nearly|about|half|almost"
    rf"|gone|\S+ (?:past|to) )|(?:now )?(?:have we|we have) (?:now )?(?=[a-z]+ "
    rf"[a-z]+(?: [a-z]+)? [.,])|(?:we|i) (?:am|are) at (?=[a-z]+ [a-z]+(?: [a-z]+)? "
    rf"[.,])|(?:the |that is )?(?:church|bells?|clock) (?:is )?(?:striking|chiming"
    rf"|ringing) |at (?=\S+ (?:minutes )?(?:past|to) |\S+ hours |half past"
    rf"|(?:a )?quarter (?:past|to))|(?=coming up|getting on for|(?:{ROUGH}) (?:\S+ past"
    rf"|(?:a )?quarter (?:past|to)|half past) )|(?:it is|time is|the time is|time check"
    rf"|(?:so |which )?(?:making|makes) (?:that|it)|(?:i"
    rf"|we) make it(?= (?:{ROUGH} )?\S+ (?:past|to|o'clock|on|by)|(?: {ROUGH})? half"
    rf"| (?:a )?quarter)|(?:(?:and )?so )?(?:according to|by|going by) (?:my|the|his"
    rf"|her|\w+) (?:watch|clock|phone)(?: ,)?(?: it is| the time is)?"
    rf"|(?:the )?time (?:by|on|from) (?:my|the|our|his|her) \w+(?: is)?"
    rf"|(?:we are )?(?:starting|started|start)(?: the watch| watching| here| again)? at"
    rf"|(?:(?:my|the|his|her|\w+ is) )?(?:[a-z]+ )?(?:watch|clock|phone|church clock"
    rf"|church bell)(?: on (?:the|my) (?:phone|watch))? (?:says|say|is|reads|shows"
    rf"|makes it|gives|strikes|struck|is struck)|(?:the )?(?:time|hour)"
    rf"|(?:the )?clock)(?: is)? (?:, )?)(?:(?:exactly|now|is"
    rf"|it is) )*(?P<rough>{ROUGH} |(?:after|before) (?=\S+ (?:to|past)|half|quarter"
    rf"|\d))?"
)
# A time that says by itself that it is one.
_TELLS = re.compile(
    r" (?:oh|zero) [a-z]+ (?:oh [a-z]+|[a-z]+(?:een|ty)|ten|eleven"
    r"|twelve)(?: [a-z]+)? $| (?:past|to|o'clock|hours|half|quarter|am|pm|a\.m|p\.m"
    r"|morning|afternoon|evening|noon|midday|watch|phone) |\d[:.]\d\d|(?:church|watch"
    r"|phone|clock) |on the dot"
)
_ON_WATCH = (
    r"(?:(?:, )?(?:exactly|precisely|on the dot|sharp|dead|or so|and a bit"
    r"|it is(?= [.,])|or near it|nearly|almost|give or take|i think|now|(?:that is"
    r"|it was|so it is)(?= [.,])|by the way|striking|chiming|in the (?:morning"
    r"|afternoon|evening)|on (?:a |this )?\w+day|for the (?:book|record|notes?|log|tape"
    r"|page)|(?:on|by|from|according to|going by|says) (?:[a-z]+ ){0,4}?(?:watch"
    r"|wristwatch|phone|telephone|mobile|clock|bell|radio|wireless|dial|car|dashboard"
    r"|chimes|sun)) )*"
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
_AFTER_DAY = re.compile(r"(?:[.,]|and |at |station |time |it is |this |\d+:\d\d )")
# "fourteen hours ten minutes", "eleven hours and seven", "fourteen thirty-six hours"
_IN_HOURS = re.compile(
    r"(?P<hour>(?:twenty )?\S+) (?:(?:hours?|hrs) (?:and )?"
    r"|o'clock (?:and )(?=\S+ minutes))(?=\S)"
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


def time_at(text: str, place: int, own: int | None, *, asked: bool) -> Told | None:
    """Read a time of day, which `own` words may announce up to there."""
    lead = _TIME_LEAD.match(text, place)
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


def bare_time(text: str, place: int) -> Told | None:
    """Read "nine twenty" as a whole sentence, said right after a station."""
    value = values.time_value(words_from(text, place))
    if value is None or not value.text or value.used < 1:
        return None
    end = place_after(text, place, value.used)
    if not re.compile(rf"{_ON_WATCH}(?:[.,]|so |i |and (?:i|we|it|she|away) )").match(
        text, end
    ) or not re.search(r"\d\D|[a-z] [a-z]|\d[:.]\d", text[place:end]):
        return None
    return Told(
        kind=EventKind.TIME,
        start=place,
        end=end,
        value=value.text,
        flags=(*value.flags, Flag(FlagCode.AS_TIME_OF_DAY)),
        options=value.options,
    )


def date_at(text: str, place: int) -> Told | None:
    """Read a date that is announced, or says by itself that it is one."""
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
    if year and dated and dated.text and dated.used > value.used:
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
