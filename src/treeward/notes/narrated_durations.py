"""How long bees were away, and what people add to a note: when, where, how, with whom.

An addition changes no note but its time: "red came in half a minute ago".
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.language.number_words import cardinal_run
from treeward.language.times_of_day import read_duration, read_time

from .flags import Flag, FlagCode
from .narrated_bearings import leads_to_bearing
from .sentences import ROUGH, Told, place_after, words_from

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .bee_names import BeeNames, Named
    from .events import Event

_ODD_SECONDS = re.compile(r"(one|two|three|four) (?=[.])")  # "seven minutes four."
_ROUGH_TIME = (
    r"(?:about|around|roughly|nearly|almost|just over|just under|over|under|a bit over"
    r"|a bit under|getting on for|approximately|exactly|,)"
)
_OUT = r"(?:gone|away|out|absent|missing)"
_GONE_FOR = re.compile(
    rf"(?:(?:she|it|and|so|which|that|been|had|has|have|was|is|only|after|with|having"
    rf"|,) )*?(?:(?:been|was|had been|is) {_OUT}(?: for)?|{_OUT} for"
    rf"|after (?:an absence|being {_OUT})(?: of| for)?|elapsed(?: time)?|an absence of"
    rf"|(?:that )?(?:makes|made|making|gives|giving) (?:her|its|the|an) (?:absence"
    rf"|away time|trip|time away)(?: of)?|her (?:absence|away time|time away"
    rf"|trip)(?: is| was| of| being)*) (?:{_ROUGH_TIME} )*"
)
_TRAILING = re.compile(
    r"was (?:she|it|he) (?:away|gone|out|on (?:the|her) way|absent)(?P<was>)(?= )"
    r"|(?:have |has |is )?(?:passed|gone by)(?P<passed>)(?= )|of absence(?P<of>)(?= )"
    r"|away (?:been|now)(?P<been>)(?= )|(?:after|since) (?:(?:she|it|her"
    r"|its) )?(?:departure|leaving|going|exit|take off|left|went|flew|departed"
    r"|last departure)(?= )(?P<after>)|"
    rf"(?:, )?(?:that (?:time )?)?(?:(?:she|it|her|that|he) )?(?:(?:was|is|had been"
    rf"|has been|took) )?(?P<out>{_OUT}|absence|elapsed)(?= [.,?]| and| but|$)"
    rf"|(?:, )?(?:she|it) took(?= )"
)
_ON_STATION = re.compile(
    r"(?:, )?(?:(?:she|it) )?(?:(?:was|is) )?(?:on(?! (?:the|my) (?:dot|nose|button"
    r"|\w*watch|clock|phone|timer))|here|(?:had )?been (?:drinking|here|on|at|sat"
    r"|sitting)|drinking|loading|feeding|at the)\b"
)
_LONGEST_S = 3 * 3600.0  # a longer time away is talk of something else; guess
_DURATION_OF_BEE = re.compile(
    r" (?:(?:is )?(?P<time>away time|absence|time away|round trip|trip)(?: (?:is|was"
    r"|of|took))?"
    r"|(?:is|was|were|had been)(?: been)? (?P<away>gone|away|out)"
    r"|(?P<took>took|takes|needed|needs|used|spent|did (?:it|that) in|made it in))"
    r"(?: for)?(?: (?:about|around|roughly|nearly|almost|just over|just under))? "
)
_DURATION_LEAD = re.compile(
    r"(?:(?:that|this|it) (?:took(?: her)?|is|was|gives(?: us| me)?|comes to"
    r"|makes) )?(?:a |an |the )?"
    r"(?P<what>round trip|trip|away time|time away)?"
    r"(?: ?(?:is|was|of|took|,))*(?: ?(?:about|around|roughly|nearly|almost))? ?"
)
_TOOK = re.compile(r"(?:that|this|it) took ")
_FOR_BEE = re.compile(r" (?:for|by|since) ")
_SINCE = re.compile(r" (?:left|went|is away|is gone|was here)(?= )")


_FEW = (
    (re.compile(r"a couple of "), "two "),
    (re.compile(r"(?:a )?quarter of an? "), "a quarter of an "),
    (re.compile(r"three quarters of an? "), "three quarters of an "),
    (re.compile(r"(?:the best part of|most of) "), ""),
    (re.compile(r"(?:a )?quarter (?=minute )"), "a quarter of an "),
    (re.compile(r"a (?:good|full|whole|short|clear|bare) (?=minute |hour )"), "a "),
    (re.compile(r"(\w+(?: \w+)?) odd (?=seconds |minutes )"), r"\1 "),
)


def stretch_of_time(text: str, place: int) -> tuple[float, int] | None:
    """Read a stretch of time: seconds, and the place after it."""
    for pattern, instead in _FEW:
        match = pattern.match(text, place)
        if match is None:
            continue
        begun = match.expand(instead).split()
        reading = read_duration([*begun, *words_from(text, match.end())])
        if reading is None:
            continue
        more = reading.used - len(begun)
        return reading.seconds, place_after(text, match.end(), more)
    reading = read_duration(_without_links(words_from(text, place)))
    if reading is None:
        return None
    end = place_after(text, place, reading.used)
    less = re.compile(r"(?:, )?(?:less|minus|all but|bar|short of) ").match(text, end)
    apart = re.compile(r", (?=\S+(?: \S+)? seconds?)").match(text, end)
    extra = read_duration(words_from(text, apart.end())) if apart else None
    if apart and extra and text[place:end].rstrip().endswith(("minutes", "minute")):
        seconds = reading.seconds + extra.seconds
        return seconds, place_after(text, apart.end(), extra.used)
    bare = _ODD_SECONDS.match(text, end)
    if bare and text[place:end].rstrip().endswith(("minutes", "minute")):
        few = cardinal_run([bare[1]])
        return reading.seconds + (few[0] if few else 0), bare.end()
    other = read_duration(words_from(text, less.end())) if less else None
    if less and other:
        short = reading.seconds - other.seconds
        return short, place_after(text, less.end(), other.used)
    return reading.seconds, end


_AFTER_BACK = re.compile(
    rf"(?:(?:that|it|so|which|and|after|in|a|is|was|were|makes|made|makes it|her|his"
    rf"|trip|round trip|call|i|we|would|say|make|made|reckon|get|got|have|what|time"
    rf"|return|only|took|on|this|of|done|did|to|for|the|back|gone|away|out|had|been"
    rf"|stopwatch|timer|counter|says|needed|needs|used|spent|she|her time|just|under"
    rf"|over|bit|,) )*(?:{_ROUGH_TIME} )*"
)
_ROUGH_WORD = re.compile(rf"(?<= ){_ROUGH_TIME}(?= )")
_SHARE_OFF = 0.12  # a stated time agrees with the notes within this share; guess
_LEAST_OFF_S = 15.0  # and this is near enough for short ones; guess
_TELLS_TIME = re.compile(r" (?:call|make|made|reckon|took|after|in|needed|away|gone) ")
_MOST_OFF = 1.6  # a bare number so many times the time out is something else; guess
_PARTS = (("half", 30.0), ("three quarters", 45.0), ("a quarter", 15.0))


def _fits(seconds: float, elapsed_s: float) -> bool:
    return abs(seconds - elapsed_s) <= max(_LEAST_OFF_S, _SHARE_OFF * elapsed_s)


def bare_stretch(text: str, place: int) -> tuple[float, int, bool] | None:
    """Read minutes without their name: "six oh one", "five and a half", "six".

    Gives seconds, the place after them, and whether more than whole minutes was said.
    """
    words = words_from(text, place)
    number = cardinal_run(words)
    end = place_after(text, place, number[1]) if number else place
    if number and 0 < number[0] < 60:
        for said, more_s in _PARTS:
            part = re.compile(rf"and (?:a )?{said.removeprefix('a ')} ").match(
                text, end
            )
            if part:
                return number[0] * 60.0 + more_s, part.end(), True
    seconds = re.compile(r"and ").match(text, end) if number else None
    more = stretch_of_time(text, seconds.end()) if seconds else None
    if number and more and more[0] < 60.0 and number[0] < 60:
        return number[0] * 60.0 + more[0], more[1], True
    clock = read_time(words)
    if (
        clock
        and clock.hour
        and not clock.options
        and _BARE_CLOCK.fullmatch(
            text[place : place_after(text, place, clock.used)].strip()
        )
    ):
        end = place_after(text, place, clock.used)
        return clock.hour * 60.0 + clock.minute, end, True
    if number and 0 < number[0] < 60:
        end = place_after(text, place, number[1])
        return number[0] * 60.0, end, False
    return None


_BARE_CLOCK = re.compile(r"(?!.*(?:past|to|half|quarter|clock|noon|am|pm)).+")


def _without_links(words: list[str]) -> list[str]:
    """Leave out "for her", as "for" may be a four that was misheard."""
    for index, word in enumerate(words):
        if word in {"for", "to", "too"} and words[index + 1 : index + 2] != ["seconds"]:
            return words[:index]
    return words


def time_out_s(events: Sequence[Event], back: int) -> float:
    """Give how long the bee of the event `back` was out by the notes, 0 if unknown."""
    came = events[back]
    for event in reversed(events[:back]):
        if event.mark == came.mark and event.kind is EventKind.AWAY:
            return (came.start_s or 0.0) - (event.start_s or 0.0)
    return 0.0


def out_for(
    events: Sequence[Event], out: Sequence[str], now_s: float, stated_s: float
) -> str:
    """Give the one bee of those out that left so long ago, "" for none or more."""
    left = {e.mark: e.start_s or 0.0 for e in events if e.kind is EventKind.AWAY}
    fit = [m for m in out if m in left and _fits(stated_s, now_s - left[m])]
    return fit[0] if len(fit) == 1 else ""


class Durations:
    """Finds stated durations at a place in the text of sentences."""

    def __init__(self, names: BeeNames) -> None:
        self._names = names

    def at(self, text: str, place: int) -> Told | None:
        """Find a stated duration that starts at `place`."""
        named = self._names.at(text, place)
        if named and named.pronoun != "it":
            match = _DURATION_OF_BEE.match(text, named.end)
            if match:
                trip = match["time"] == "round trip"
                sure = bool(match["away"]) or match["time"] in {
                    "away time",
                    "absence",
                    "time away",
                    "round trip",
                }
                return self._lasting(
                    text, place, match.end(), named, trip=trip, sure=sure
                )
        return (
            self._gone_for(text, place)
            or self._trailing(text, place)
            or self._led(text, place)
        )

    def _gone_for(self, text: str, place: int) -> Told | None:
        """Read "she'd been gone three and a half minutes"."""
        gone = _GONE_FOR.match(text, place)
        if gone is None:
            return None
        return self._lasting(text, place, gone.end(), None, trip=False, sure=True)

    def _led(self, text: str, place: int) -> Told | None:
        """Read "that took six minutes", "round trip of nine minutes for yellow"."""
        lead = _DURATION_LEAD.match(text, place)
        if lead is None:
            return None
        pointed = re.compile(r"(?:that|this|it) ").match(text, place)
        if not lead["what"] and not pointed:
            return self._for_bee(text, place)
        start = lead.end()
        about = re.compile(r"(?:for|of) ").match(text, start)
        bee = self._names.at(text, about.end()) if about else None
        if bee:
            start = bee.end + 1
            link = re.compile(r"(?:(?:is|was|of|took|,) )*").match(text, start)
            start = link.end() if link else start
        trip = lead["what"] == "round trip"
        told = self._lasting(
            text, place, start, bee, trip=trip, sure=bool(lead["what"])
        )
        if told is None:
            return None
        if lead["what"] or told.named or _TOOK.match(text, place):
            return told
        return None

    def _trailing(self, text: str, place: int) -> Told | None:
        """Read "four minutes six, out", "three minutes twenty she was gone"."""
        lead = re.compile(r"(?:(?:so|then|and|was|is|makes|she|it|that|only) )*").match(
            text, place
        )
        place = lead.end() if lead else place
        about = re.compile(rf"(?:{ROUGH} |just (?:over|under) )?").match(text, place)
        start = about.end() if about else place
        found = stretch_of_time(text, start)
        bare = None if found else bare_stretch(text, start)
        # "Six forty-seven elapsed"; "two is out" is a bee's number.
        if bare and bare[2]:
            found = bare[:2]
        after = _TRAILING.match(text, found[1]) if found else None
        if found is None or after is None or not 0 < found[0] <= _LONGEST_S:
            return None
        rough = text[place:start].strip()
        return Told(
            kind=EventKind.DURATION,
            start=place,
            end=after.end() + 1,
            value=f"away {found[0]:.0f}",
            of_view=True,
            flags=(Flag.of(FlagCode.ROUGH, rough),) if rough else (),
        )

    def after_back(self, text: str, place: int, elapsed_s: float = 0.0) -> Told | None:
        """Read a stretch of time alone, said right after a bee came back.

        `elapsed_s` is how long the notes say that she was out, 0 where they do not.
        """
        lead = _AFTER_BACK.match(text, place)
        start = lead.end() if lead else place
        said = f" {text[place:start]} "
        trip = " round trip " in said
        found = stretch_of_time(text, start)
        if found and _ON_STATION.match(text, found[1]):
            return None
        if found is None:
            bare = bare_stretch(text, start)
            fits = bare and _fits(bare[0], elapsed_s)
            led = _TELLS_TIME.search(said) and not elapsed_s
            if bare is None or not (fits or led or bare[2]):
                return None
            if elapsed_s and not fits and bare[0] > _MOST_OFF * elapsed_s:
                return None
            found = bare[:2]
        sure = trip or _fits(found[0], elapsed_s)
        told = self._lasting(
            text, place, start, None, trip=trip, sure=sure, found=found
        )
        rough = [word for word in _ROUGH_WORD.findall(said) if word != ","]
        if told and rough and not trip:
            flag = Flag.of(FlagCode.ROUGH, rough[0])
            told = replace(told, flags=(*told.flags, flag))
        return told

    def _for_bee(self, text: str, place: int) -> Told | None:
        """Read "nine minutes for yellow"."""
        told = self._lasting(text, place, place, None, trip=False, sure=False)
        return told if told and told.named and not told.named.pronoun else None

    def _lasting(
        self,
        text: str,
        place: int,
        start: int,
        named: Named | None,
        *,
        trip: bool,
        sure: bool,
        found: tuple[float, int] | None = None,
    ) -> Told | None:
        about = re.compile(rf"{ROUGH} ").match(text, start)
        start = about.end() if about else start
        found = found or stretch_of_time(text, start)
        if found is None or not 0 < found[0] <= _LONGEST_S:
            return None
        seconds, end = found
        follow = _FOR_BEE.match(text, end - 1)
        if follow and named is None:
            named = self._names.at(text, follow.end())
            since = _SINCE.match(text, named.end) if named else None
            end = (since.end() if since else named.end) + 1 if named else end
        if not re.compile(
            r"[.?,]|and |but |so |that time|this time|i think|exactly|away|she |it |by "
            r"|again|on (?:the|my) |for (?:the|that|this) (?:trip|round|journey|flight"
            r"|run|one) |out |gone |this |at a |at the |is what |give or take"
            r"|near enough|or thereabouts|and change|or near |flat |dead |more or less"
            r"|or so|as well |too |from |since |altogether|all told|better |or a |i |$"
        ).match(text, end):
            return None
        flags = () if sure else (Flag(FlagCode.DURATION_OF_WHAT),)
        if about:
            flags = (*flags, Flag.of(FlagCode.ROUGH, about[0].strip()))
        what = "round" if trip else "away"
        return Told(
            kind=EventKind.DURATION,
            start=place,
            end=end,
            value=f"{what} {seconds:.0f}",
            named=named,
            of_view=named is None,
            flags=flags,
        )


_ROUGHLY = (
    r"(?:(?:about|around|maybe|perhaps|like|some|say|roughly|only|nearly|almost|what|oh"
    r"|a good|must be|actually|,) )*"
)
_AGO = re.compile(
    r"(?:(?:or so|or two|or thereabouts) )?(?:ago|back|earlier|since(?= [.,])"
    r"|before(?= [.,]))(?: (?:now|or so))?(?= )"
)
_VAGUE_AGO = re.compile(
    r"(?:ages|moments|a moment|a second|a few seconds|a couple of seconds|a bit"
    r"|a little while|a little|a while|a few moments|some time|not long) "
    r"(?:ago|back|earlier|before)(?= )|a bit earlier(?= )|earlier on(?= )"
)
_JUST_THEN = re.compile(
    r"(?:just )?(?:then|this second|this moment|that moment)(?= [.,?]| and)"
)
_LATER = re.compile(
    r"(?:a few (?:moments|seconds) later|moments later|shortly after(?:wards)?"
    r"|a bit later|right after(?:wards)?|straight after(?:wards)?|soon after)(?= )"
)
_TOGETHER = re.compile(
    r"(?:together|within (?:a|one|two|\w+) (?:breath|seconds?|moments?"
    r"|minutes?) of (?:each other|one another|her|it)|one after the other"
    r"|one after another|at once|side by side|at the same time"
    r"|at almost the same moment|in the same breath|too|as well|also|both at once"
    r"|both together|with (?:her|him|them|it|the others?)|first|last|second|next"
    r"|in turn|the pair of them|both of them|right behind|close behind|again)(?= )"
)
_MANNER = re.compile(
    r"(?:(?:(?:a (?:bit|little|touch|shade)|just|slightly|further|well|way) )?"
    r"(?:to the )?(?:left|right|north|south|east|west|ahead|wide) of (?:her|him|them|it"
    r"|that|the other|the others|the last one)"
    r"|like a (?:shot|rocket|bullet)|in (?:a|no)(?: \w+)? (?:hurry|rush|time|flash)"
    r"|at (?:long )?last|in the end|at a rush|in one go|without (?:a|any) \w+"
    r"|round once|once round|straight up|straight off|on her own|by herself|full|empty"
    r"|fully loaded|in good time|by the (?:look|looks|sound) of (?:it|her)|(?:very "
    r"|quite |rather |so |pretty )?(?:fast|slowly|low|high|quickly|smartly|promptly"
    r"|briefly|sharpish|early|late|(?!only|fly)[a-z]+ly)|right on (?:time|cue))(?= )"
)
# The rest of the sentence tells how it came about, and is no other note.
_SUBORDINATE = re.compile(
    r"(?:, )?(?:while|as|before|because|since|which|who|although|though|after|when|cos"
    r"|without|with|to my|for a|where|whereupon|i|we|she is|it is|nearly|almost) "
)
_DEGREES = r"\d{2,3} [.,]"  # as recognisers write them, without a comma before
_PREPOSITION = re.compile(
    r"(?:over|towards|toward|through|past|up|down|across|into|beyond|behind|along|round"
    r"|around|at|on|by|near|beside|onto|from|under|to|between|among|in|straight over"
    r"|straight into|straight to) (?:(?:the|that|this|my|our|her|his|its|a|an) )"
    rf"(?:\w+ ){{1,4}}?(?=[.,?]|and |but |then |{_DEGREES})"
)


_DIRECTION = re.compile(
    r"(?:straight |right )?(?:over|towards|toward|through|past|up|down|across|into"
    r"|beyond"
    rf"|behind|along|round) (?:the|that|this|my|our) (?:\w+ ){{1,3}}?"
    rf"(?=[.,?]|and |but |{_DEGREES})"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """What was added: where it ends, how long ago it makes the note, and doubts."""

    end: int
    ago_s: float = 0.0
    flags: tuple[Flag, ...] = ()


# "Red is back, came in about fifteen seconds ago."
_CAME = re.compile(
    r"(?:(?:she|it) )?(?:came(?: in| back)?|landed|arrived|turned up|left|went|was) "
)
_HERE_SINCE = re.compile(
    r"(?:, )?(?:(?:and )?(?:(?:she|it) )?(?:is|has"
    r"|had) been )?(?:here )?(?:for (?:about |around |maybe |a good |the last )?)"
)


_THAT_WAS = re.compile(
    r"(?:(?:and|but|,|well|only) )*(?:that|it|this|which) (?:was|must have been"
    r"|would be|is) "
)


def was_ago(text: str, place: int) -> Added | None:
    """Read "that was half a minute ago", said of what a bee did last."""
    lead = _THAT_WAS.match(text, place)
    ago = ago_at(text, lead.end()) if lead else None
    return ago if ago and ago.ago_s else None


def ago_at(text: str, place: int, *, here: bool = False) -> Added | None:
    """Read "about half a minute ago"; the time of the note and a flag come with it.

    `here` reads "for ten seconds" as well, said of a bee that has been here so long.
    """
    since = _HERE_SINCE.match(text, place) if here else None
    lasted = stretch_of_time(text, since.end()) if since else None
    if lasted:
        words = text[place : lasted[1]].strip()
        flag = Flag.of(FlagCode.TOLD_LATE, f"{lasted[0]:.0f}", words)
        return Added(end=lasted[1], ago_s=lasted[0], flags=(flag,))
    vague = _VAGUE_AGO.match(text, place)
    if vague:
        flag = Flag.of(FlagCode.TOLD_LATER, vague[0])
        return Added(end=vague.end() + 1, flags=(flag,))
    came = _CAME.match(text, place)
    rough = re.compile(_ROUGHLY).match(text, came.end() if came else place)
    start = rough.end() if rough else place
    found = stretch_of_time(text, start)
    ago = _AGO.match(text, found[1]) if found else None
    if found is None or ago is None:
        return None
    flag = Flag.of(FlagCode.TOLD_LATE, f"{found[0]:.0f}", text[place : ago.end()])
    return Added(end=ago.end() + 1, ago_s=found[0], flags=(flag,))


def adjuncts(
    text: str, place: int, *, places: bool = True, here: bool = False
) -> Added:
    """Read all that was added from `place` on; `end` is `place` where nothing was.

    `here` is as of `ago_at`. `places` takes "by the wall" along, which of a pronoun may
    be anything.
    """
    ago_s = 0.0
    flags: tuple[Flag, ...] = ()
    end = place
    while True:
        start = end + 2 if text.startswith(", ", end) else end
        ago = ago_at(text, start, here=here)
        if ago:
            end, ago_s, flags = ago.end, ago.ago_s or ago_s, (*flags, *ago.flags)
            continue
        later = _later_by(text, start)
        patterns = (_JUST_THEN, _LATER, _TOGETHER, _MANNER)
        match = next((m for p in patterns if (m := p.match(text, start))), None)
        if later or match:
            end = later or (match.end() + 1 if match else end)
            continue
        place_said = None
        if start == end and not leads_to_bearing(text, end):
            pattern = _PREPOSITION if places else _DIRECTION
            place_said = pattern.match(text, end)
        if place_said is None:
            return Added(end=end, ago_s=ago_s, flags=flags)
        end = place_said.end()


def _later_by(text: str, place: int) -> int:
    """Read "ten seconds after her", "like two seconds later"; 0 where it is not."""
    rough = re.compile(_ROUGHLY).match(text, place)
    found = stretch_of_time(text, rough.end() if rough else place)
    if found is None:
        return 0
    after = re.compile(r"(?:later|after(?: (?:her|him|it|that|them))?)(?= )").match(
        text, found[1]
    )
    return after.end() + 1 if after else 0


def goes_on(text: str, place: int) -> bool:
    """Tell whether the rest of the sentence only tells more of the same note."""
    return _SUBORDINATE.match(text, place) is not None
