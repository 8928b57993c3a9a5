"""What people add to a note: when it was, where, how, together with whom.

An addition changes no note but its time: "red came in half a minute ago".
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from .flags import Flag, FlagCode
from .narrated_bearings import leads_to_bearing
from .narrated_durations import stretch_of_time

_ROUGHLY = (
    r"(?:(?:about|around|maybe|perhaps|like|some|say|roughly|only|nearly|almost|what|oh"
    r"|a good|must be|actually|,) )*"
)
_AGO = re.compile(
    r"(?:(?:or so|or two|or thereabouts) )?(?:ago|back|earlier"
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
    r"(?:together|within (?:a|one|two|\w+) (?:breath|seconds?|moments?|minutes?) of"
    r" (?:each other|one another|her|it)|one after the other|one after another"
    r"|at once|side by side"
    r"|at the same time|at almost the same moment|in the same breath|too|as well|also"
    r"|both at once|both together|with (?:her|him|them|it|the others?)|first|last"
    r"|second|next|in turn"
    r"|the pair of them|both of them|right behind|close behind|again)(?= )"
)
_MANNER = re.compile(
    r"(?:like a (?:shot|rocket|bullet)|in (?:a|no)(?: \w+)? (?:hurry|rush|time|flash)"
    r"|at (?:long )?last|in the end|at a rush|in one go|without (?:a|any) \w+"
    r"|round once|once round|straight up|straight off|on her own|by herself|full|empty"
    r"|fully loaded|in good time|by the (?:look|looks|sound) of (?:it|her)"
    r"|(?:very |quite |rather |so |pretty )?(?:fast|slowly|low|high|quickly|smartly"
    r"|promptly|briefly|sharpish|early|late|(?!only|fly)[a-z]+ly)|right on (?:time"
    r"|cue))(?= )"
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
_SINCE = re.compile(
    r"(?:, )?(?:(?:and )?(?:(?:she|it) )?(?:is|has"
    r"|had) been )?(?:here )?(?:for (?:about |around |maybe |a good |the last )?)"
)


def ago_at(text: str, place: int, *, here: bool = False) -> Added | None:
    """Read "about half a minute ago"; the time of the note and a flag come with it.

    `here` reads "for ten seconds" as well, said of a bee that has been here so long.
    """
    since = _SINCE.match(text, place) if here else None
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
