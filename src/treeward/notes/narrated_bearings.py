"""Bearings out of free speech: announced, made out, flown along, or said alone."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.bearings import read_compass
from treeward.language.kinds import EventKind

from . import values
from .bee_names import OTHER
from .flags import Flag, FlagCode
from .sentences import ROUGH, Told, place_after, words_from

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .bee_names import BeeNames, Named

_WORD = (
    r"(?:(?:flight|departure|vanishing|compass|last) )?(?:bearing|heading|direction"
    r"|flight line|line|course|compass|reading|azimuth|needle|vector|angle|degrees?)"
)
_LEAD = re.compile(
    r"(?:(?:i|we|have|got|make|made|get|read|took|is|was|that|it|with|and|on) )*"
    rf"(?:(?:the|a|her|its|my|his) (?:(?!{_WORD})[a-z]+ )?)?{_WORD}"
    r"(?: (?:up)?(?:on|by|from|off|with) (?:(?:the|my|this) )?(?:[a-z]+ )?(?:compass"
    r"|instrument|dial|glass))?"
    r"(?: (?:is|was|of|at|says|said|reads|read|gave|gives|showed|shows|stood|as|on"
    r"|should be))*(?: for (?:her|them|both|both of them|that one|it))? "
)
_OF_BEE = re.compile(rf" (?:is )?{_WORD} (?:(?:is|was|at|of) )?")
_BESIDE = re.compile(  # "red a bit right of that, one fifty-one"
    r"(?: (?:is|was|went|a|bit|little|touch|right|left|of|that|her|further|more|north"
    r"|south|east|west|round|to|the|degrees?|just|about)){1,7} , "
)
_WENT = re.compile(
    r" (?:(?:is|was|has|had) )?(?:went|gone|flew|flown|took|on|off|heading|headed|going"
    r"|flying|goes|left|away|departed)(?: (?:off|away|out|a line of|on|along|at))* "
)
_ABOUT = re.compile(r"(?:on|for|of) ")
_MAKE = re.compile(
    r"(?:put|say|call it|make it|make that) (?=[a-z]+[ -])|(?:i|we) (?:would "
    r"|will )?(?:make|made|get|got|am getting|am reading|read|have|call|say|put|reckon"
    r"|had)(?: (?:it|that|her|him|them))?(?: (?:as|at|on|down as|her direction as"
    r"|the direction as|her bearing as))? "
)
_FLYING = re.compile(
    r"(?:(?:they|she|it|all|both|the bees|bees|everyone|is|are|was|were|he) )*"
    r"(?:flying|going|flew|heading|headed|went|gone|makes off|making off|departing|off)"
    r"(?: (?:off|out|away|home))? "
)
_FOR_NAME = re.compile(r"(?:(?:for|on|was|is) (?=[a-z])|, (?=[a-z -]+ [.,?]))")
_SUBJECT = re.compile(r"(?:they|all|both|the bees|bees) ")
_LINK_WORDS = (
    r",|and|heading|bearing|flying|going|is|was|of|off|out|away|due|to|towards|toward"
    r"|the|at|on|in|straight|about|around|roughly|approximately|maybe|perhaps|probably"
    r"|possibly|nearly|almost|direction|compass|says|this|time|again|once|more|call"
    r"|minus|plus|gave|always|back|reads|said|say|it|her|course|i|make|made|that|same"
    r"|straightened|settled|vanishing|vanished|lined|steady|read|would|dead|exactly"
    r"|line|took|as|along|flight|or|less|just|flew"
)
_LINK = re.compile(rf"(?:(?:{_LINK_WORDS}|a(?! hundred)) )*")
_HEDGED = re.compile(rf"(?:(?:{ROUGH}|due|to the|towards the) )*")
_ENOUGH = re.compile(
    r"(?:[.?,]|and |but |then |so |from here|from the|on the compass|by the |by my "
    r"|same |that |it |over |across |more or less|or so|i think|again|ish |i reckon"
    r"|i guess|i suppose|i believe|i would guess|this time|give or take|or thereabouts"
    r"|i (?:would|will|think|make|make it|read)|exactly|for (?:her|him|that one|them"
    r"|both|the pair|it)|the pair |both |on (?:her|that|them)|she |he |when |as "
    r"|thereabouts |near enough|as (?:before|usual|always)|or near it|on the nose|true "
    r"|magnetic |i |on the (?:dot|button) |is (?:all|my|her|near|the best)|says |said "
    r"|near |if |there |with |is what|$)"
)
_NO_DEGREES = re.compile(
    r"(?:minutes?|seconds?|hours?|past|o'clock|am|pm|metres?|meters?|yards?|feet|miles?"
    r"|paces?|steps?|bees?|times?|point|hundred|to|in the|make that|no|sorry|i mean|or"
    r"|wait|scratch)\b"
)
_BROKEN = re.compile(
    r"and ,? ?(?:(?:i (?:want to|would|will|am going to) say|let (?:me|us) (?:see|say)"
    r"|say|call it|i (?:think|guess)|maybe|what is it|about|what was it|,) )+"
)
_AT = re.compile(r"\bat $")
_ROUGH_AFTER = re.compile(
    r"(?:, )?(more or less|or so|ish|give or take|(?:or )?thereabouts|near enough"
    r"|or near it)\b"
)
_WAY = (
    r"(?:way|line|direction|bearing|course|heading|track|road|route|number|reading"
    r"|angle|figure|point|notch|path|degrees|spot)"
)
_SAME = re.compile(
    r"(?:(?:she|it|they|took|takes|went|flew|follows|followed|keeps|and|in|on|on the"
    r"|in the|along|that is|it is|flying|going|off|heading|exactly|about|much"
    r"|pretty much|more or less|roughly|nearly|almost|the|,) )*"
    rf"(?:the )?same(?: {_WAY}(?: exactly)?)?"
    r"(?P<last>(?: (?:as|like|line|that) (?:the )?(?:last|before|last time|time before)"
    r"(?: time| one)?| again| as ever| as always| as usual)?)"
    r"(?: as (?:the (?:others?|first|last one|rest)|her|him|them"
    r"|(?P<like>[a-z]+))(?: (?:had|did|took|went|flew))?)?(?= )"
)
BOTH_AFTER = re.compile(
    r"(?:, )?(?:(?:for|on|is) )?(?:(?:the )?both(?: of them)?|the pair(?: of them)?"
    r"|the two of them|them both|each)(?= [.?,])"
)
BOTH_BEFORE = re.compile(
    r"(?:(?:that is|it is) )?(?:both(?: of them)?|the pair of them|they)(?: both)? "
)


# Bees passing in the air, as people put it, and what leads to their direction.
_OVERHEAD = re.compile(
    r"(?:(?:there (?:is|are)|i (?:can )?(?:see|hear|have|count)|we have|here (?:is|are)"
    r"|some|a few|several|two|three|four|many|lots of|more|the|a|of|stream|line|string"
    r"|honey|wild|,|and|again) )*(?P<bees>bees?)"
    r" (?:(?:is|are|going|flying|passing|crossing|coming|again|high|all|straight|right"
    r"|streaming|zooming) )*(?:overhead|over (?:my|our|the) heads?|over (?:me|us)"
    r"|in the air|above (?:me|us|my head|our heads)|(?:passing|flying|going) over)(?= )"
)
_TO_WHERE = re.compile(
    r"(?: ?,)?(?: (?:heading|bearing|going|flying|all|towards?|moving|making|off|on|at"
    r"|to|for|due|in|a|the|direction|line|of|about|roughly|straight|again|it is|and))* "
)


def overhead_at(text: str, place: int, ways: Sequence[str]) -> Told | None:
    """Read bees overhead, and where they fly; `ways` are those of the phrase book.

    Said otherwise than there, only what tells a direction is a note, and flagged.
    """
    said = (way for way in ways if text.startswith(way, place))
    own = max(said, key=len, default="")
    match = _OVERHEAD.match(text, place)
    end = max(place + len(own), match.end() + 1 if match else 0)
    if end <= place:
        return None
    led = _TO_WHERE.match(text, end - 1)
    start = led.end() if led else end
    value = values.bearing_value(words_from(text, start))
    where = value.text if value else ""
    if not (own or where) or (own and not where and not _ENOUGH.match(text, end)):
        return None
    rough = [word for word in text[end:start].split() if word in values.ROUGHLY]
    flags = [Flag.of(FlagCode.ROUGH, word) for word in rough]
    flags += [] if own else [Flag(FlagCode.AMID_WORDS)]
    return Told(
        kind=EventKind.OVERHEAD,
        start=place,
        end=place_after(text, start, value.used) if value and where else end,
        value=where,
        flags=(*flags, *(value.flags if value else ())),
        options=value.options if value else (),
    )


def same_way_at(text: str, place: int) -> tuple[int, bool] | None:
    """Read "same way as before": its end, and whether her own earlier way is meant."""
    match = _SAME.match(text, place)
    if match is None or text[match.start() : match.end()].strip() == "":
        return None
    said = match[0]
    if not re.search(rf"same (?:{_WAY}|as)", said):
        return None
    if not re.compile(
        r"[.?,]|and |but |then |so |time |\d{3} |give |more |too |again |i think|or |$"
    ).match(text, match.end() + 1):
        return None
    own = not re.search(r" as (?:the|her|him|them|[a-z]+ did)\b", said) or bool(
        re.search(r"before|last time|ever|usual|always|again", said)
    )
    return match.end(), own


def leads_to_bearing(text: str, place: int) -> bool:
    """Tell whether what follows is where the bee flew, in degrees or as a point."""
    match = _LINK.match(text, place)
    value = values.bearing_value(words_from(text, match.end())) if match else None
    return value is not None and bool(value.text)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """How a bearing is led up to: where its words start, and whose it is."""

    start: int
    by_name: bool = False  # by a word of the phrase book
    named: Named | None = None
    of_view: bool = False
    bare: bool = False


def _small(value: values.Value, words: list[str]) -> values.Value:
    """Take "eight three" and "two degrees" for what they say, of a bee that left."""
    degrees = words[value.used - 1] in {"degrees", "degree"}
    lone = len(value.options) == 1 and value.used > 1
    if value.text or not value.options or not (degrees or lone):
        return value
    low = min(value.options, key=int)
    return replace(value, text=low, options=value.options[1:])


def _mended(
    text: str, end: int, words: list[str], value: values.Value
) -> tuple[values.Value, int]:
    """Read on where a number was broken off: "two hundred and, er, sixty-three"."""
    broken = _BROKEN.match(text, end)
    if broken is None or words[value.used - 1] != "hundred":
        return value, end
    rest = words_from(text, broken.end())
    whole = values.bearing_value([*words[: value.used], "and", *rest])
    more = whole.used - value.used - 1 if whole and whole.text else 0
    if whole is None or more < 1:
        return value, end
    flags = (*whole.flags, Flag(FlagCode.AMID_WORDS))
    whole = replace(whole, used=value.used, flags=flags)
    return whole, place_after(text, broken.end(), more)


def _roughly(text: str, start: int, number_at: int, end: int) -> tuple[Flag, ...]:
    """Flag words beside a number that make it rough: "about two ten or so"."""
    before = [w for w in text[start:number_at].split() if w in values.ROUGHLY]
    after = _ROUGH_AFTER.match(text, end)
    words = dict.fromkeys([*before, *([after[1]] if after else [])])
    return tuple(Flag.of(FlagCode.ROUGH, word) for word in words)


class ToldBearings:
    """Finds bearings at a place in the text of sentences."""

    def __init__(self, names: BeeNames, ways: tuple[str, ...]) -> None:
        self._names = names
        self._ways = ways

    def at(self, text: str, place: int, *, leaving: bool) -> Told | None:
        """Find a bearing that starts at `place`.

        `leaving` tells that a bee's leaving was said just before, so that a number
        alone is where she flew.
        """
        same = same_way_at(text, place)
        if same and leaving:
            end, own = same
            return Told(
                kind=EventKind.BEARING,
                start=place,
                end=end + 1,
                same="own" if own else "any",
            )
        start = place
        both = BOTH_BEFORE.match(text, place)
        if both and leaving:
            place = both.end()
        way = self._way(text, place, leaving=leaving)
        number_at = self._number_at(text, place, way, leaving=leaving)
        words = self._without_name(text, number_at, words_from(text, number_at))
        value = values.bearing_value(words)
        if value and leaving:
            value = _small(value, words)
        if value is None or not (value.text or way.by_name):
            return None
        end = place_after(text, number_at, value.used)
        value, end = _mended(text, end, words, value)
        long = value.used > 1 or len(words[0]) > 2
        named_after = _FOR_NAME.match(text, end) if long and value.text else None
        goes_on = not (
            named_after and self._names.single(text, named_after.end())
        ) and not _ENOUGH.match(text, end)
        plain = value.text and value.used > 1 and not value.flags
        if goes_on and not (leaving and plain and not _NO_DEGREES.match(text, end)):
            return None
        named = self._named_after(text, end)
        if named and not way.named:
            way = replace(way, named=named, bare=False)
            end = named.end + 1
        if (
            way.bare
            and not leaving
            and not self._speaks(text, place, end, words, value)
        ):
            return None
        amid = (Flag(FlagCode.AMID_WORDS),) if goes_on else ()
        flags = (*amid, *_roughly(text, place, number_at, end))
        clock = values.time_value(words)
        if _AT.search(text[place:number_at]) and clock and clock.text:
            flags = (*flags, Flag(FlagCode.BEARING_OR_TIME))
        after_both = BOTH_AFTER.match(text, end)
        if after_both:
            end = after_both.end() + 1
        return Told(
            kind=EventKind.BEARING,
            start=start,
            end=end,
            both=bool(both or after_both) and not way.named,
            value=value.text,
            named=way.named,
            of_view=way.of_view,
            flags=flags + value.flags,
            options=value.options,
        )

    def _named_after(self, text: str, end: int) -> Named | None:
        """Find whose the bearing before is: "two ten for white"."""
        of_bee = _FOR_NAME.match(text, end)
        named = self._names.single(text, of_bee.end()) if of_bee else None
        listed = of_bee and of_bee[0].startswith(",") and named
        if listed and text[listed.end + 1 : listed.end + 2] not in {".", "?"}:
            return None  # what follows is told of the next bee
        return named

    def _without_name(self, text: str, place: int, words: list[str]) -> list[str]:
        """Leave out "for orange", as "for" may be a four that was misheard."""
        for index, word in enumerate(words):
            after = place_after(text, place, index + 1) if word == "for" else 0
            if after and self._names.at(text, after):
                return words[:index]
        return words

    @staticmethod
    def _value_at(text: str, place: int) -> bool:
        """Tell whether degrees stand here: "white one forty-three"."""
        value = values.bearing_value(words_from(text, place))
        long = value is not None and (value.used > 1 or text[place].isdigit())
        return value is not None and bool(value.text) and long

    def _way(self, text: str, place: int, *, leaving: bool) -> _Way:
        """Read the words that announce a bearing or tell of a flight."""
        named = self._names.at(text, place)
        of_her = self._of_her(text, named, leaving=leaving) if named else None
        if of_her:
            return of_her
        lead = _LEAD.match(text, place)
        start = lead.end() if lead else place
        by_name = False
        for way in self._ways:
            if text.startswith(way, place):
                start = max(start, place + len(way))
                by_name = True
        if start > place:
            about = _ABOUT.match(text, start)
            named = self._names.at(text, about.end() if about else start)
            start = named.end + 1 if named else start
            return _Way(start=start, by_name=by_name, named=named)
        make = _MAKE.match(text, place)
        if make:
            return _Way(start=make.end())
        flying = _FLYING.match(text, place)
        if flying:
            of_view = not _SUBJECT.match(text, place)
            return _Way(start=flying.end(), of_view=of_view)
        return _Way(start=place, bare=True)

    def _of_her(self, text: str, named: Named, *, leaving: bool) -> _Way | None:
        """Read "white's bearing is", "white went along", "white one forty-three"."""
        of_bee = _OF_BEE.match(text, named.end)
        if of_bee:
            return _Way(start=of_bee.end(), named=named)
        went = _WENT.match(text, named.end)
        if went and leads_to_bearing(text, went.end()):
            return _Way(start=went.end(), named=named)
        beside = _BESIDE.match(text, named.end)
        if leaving and named.mark and beside and self._value_at(text, beside.end()):
            return _Way(start=beside.end(), named=named)
        is_hers = re.compile(
            r" (?:(?:is|was|at|on|to|goes to|took|had|got|i had|,) )?"
        ).match(text, named.end)
        other = re.fullmatch(OTHER, named.pronoun) is not None
        if (
            leaving
            and (named.mark or other)
            and is_hers
            and self._value_at(text, is_hers.end())
        ):
            return _Way(start=is_hers.end(), named=named)
        return None

    @staticmethod
    def _number_at(text: str, place: int, way: _Way, *, leaving: bool) -> int:
        pattern = _HEDGED if way.bare and not leaving else _LINK
        match = pattern.match(text, way.start)
        return match.end() if match else place

    @staticmethod
    def _speaks(
        text: str, place: int, end: int, words: list[str], value: values.Value
    ) -> bool:
        """Tell whether a value said by itself can only be a bearing."""
        if words[value.used - 1] in {"degrees", "degree"}:
            return True
        if read_compass(words) is None:
            return False
        alone = text[:place].rstrip()[-1:] in {"", ".", "?", ","}
        return alone and text[end : end + 1] in ".?,"
