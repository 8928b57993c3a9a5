"""The wind out of free speech: how strong, and where from, in any order."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.bearings import read_compass
from treeward.language.kinds import EventKind

from . import values
from .flags import Flag, FlagCode
from .sentences import Told, place_after

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .values import Lexicon

_WIND = re.compile(
    r" (?:wind|winds|breeze|breezes|gusts?|puffs? of (?:wind|air)|breath of (?:air"
    r"|wind)|air (?:is )?(?:moving|stirring|still)|(?:a little|a bit of|some|no"
    r"|the) air|(?:swung|veered|backed|shifted|gone round|come round)(?= .*(?:north"
    r"|south|east|west))|zephyr|blowing|(?:bit|touch|hint|breath|whisper|lick"
    r"|breathing) of (?:an? )?(?:north|south)?(?:east|west|north|south)|an? (?:north"
    r"|south)?(?:east|west|north|south)(?= (?:up |down )?(?:here|blowing|coming|today"
    r"|again|now))) "
)
# A clause with one of these is not about the wind that blows now.
_ELSE = re.compile(
    r" (?:wind turbine|out of (?:the )?wind|sheltered|(?:down|up|cross) ?wind|if|when"
    r"|always|yesterday|tomorrow"
    r"|like the wind|wind (?:up|down) (?:the|my)|long winded|she|her|they|would (?!call"
    r"|say|put)|could|might|will|hope|until|than|trees|light (?:is|was)) "
)
_SAYS_STILL = re.compile(
    r"(?!still ,)(?:(?:it|air|the air|everything|all|and|now|still|so) (?:is "
    r"|has )?)*(?:gone |fallen |very |quite |dead |pretty |completely |perfectly "
    r"|absolutely |flat |as good as )*(?:calm|still|windless)(?: basically| really"
    r"| here| now| again)* (?=[.,]|at )|(?:(?:i|we|would|will|still"
    r"|let us) )*call (?:it|that|this) (?:calm|still) (?=[.,])|not a (?:breath|leaf"
    r"|puff|whisper)(?: of wind| of air| moving| stirring| basically| really| here| now"
    r"| today)* (?=[.,])"
)
_NONE = re.compile(
    r" (?:no(?! (?:no|,|it|the))|none|nil|nothing|hardly any|almost no|not much"
    r"|barely any|not a|hardly a|scarcely any|barely a|scarcely a|very little"
    r"|little or no|next to no|zero|not (?:any|got any)|without (?:any|a)|died"
    r"|dropped(?! (?:to|from))|fallen(?! (?:to|from))|gone (?:altogether|completely"
    r"|to nothing)|dropped to nothing)(?= )"
)
_STRENGTHS: Mapping[str, str] = {
    **dict.fromkeys(
        (
            *("breeze", "gentle", "slight", "faint", "little", "puff", "soft"),
            *("breath", "bit", "whisper", "mild", "easy", "zephyr", "puffs"),
            *("touch", "stirring", "feeble", "weak", "softly", "gently", "lightly"),
            *("slow", "kind", "barely", "small", "wee", "tiny", "not-strong"),
        ),
        "light",
    ),
    **dict.fromkeys(
        (
            "fresh",
            "freshened",
            "freshening",
            "medium",
            "brisk",
            "steady",
            "middling",
            "fair",
        ),
        "moderate",
    ),
    **dict.fromkeys(
        ("stiff", "hard", "gusty", "gale", "fierce", "howling", "blustery", "rough"),
        "strong",
    ),
}
_POINT = (
    r"(?:(?:due )?(?:north|south)?(?: |-)?(?:north|south|east|west|northeast|northwest"
)
_POINT += r"|southeast|southwest)(?: ish)?)"
_ONLY_WIND = re.compile(
    rf"(?:from the |out of the )?{_POINT} ,? ?(?:light|moderate|strong|fresh|gentle"
    rf"|faint|weak|brisk|stiff)(?: still| now)? [.]"
    r"|(?:an? )?(?:light|moderate|strong|fresh|gentle|faint|weak|brisk"
    r"|stiff) ,? ?(?:from the |out of"
    rf" the )?{_POINT}(?: still| now)? [.]"
)
# The wind spoken of: "wind's back.", "wind check."
_TOPIC_NAMED = re.compile(r" (?:wind|winds|breeze|air|draught) ")
_BEES = re.compile(r" (?:she|her|bees?|bearing|heading|line|away|left|landed) ")
_TOPIC = 60  # characters in which the wind was spoken of; guess
_TOPIC_WORDS = frozenset(
    {"put", "call", "it", "say", "make", "yeah", "yes", "no", "and", "still", "now"}
    | {"little", "more", "enough", "log", "will", "i", "we", "stronger", "weaker", "or"}
    | {"not", "much", "but", "coming", "blowing", "back", "check", "rather", "pretty"}
    | {"quite", "very", "from", "out", "of", "the", "a", "bit", "so", "just", "is"}
)
_MOST_WORDS = 24
_CORRECTED = re.compile(
    r"(?:north|south|east|west) , (?:no|sorry|i mean|wait|or rather)(?: (?:no|,))* "
    r"(?P<meant>(?:it is )?(?:from|of|out of|the|more)?(?: the)? ?(?:north|south|east"
    r"|west).*)"
)
_NOT_STRONG = re.compile(r"not (?:very |too |so |that )?(?:strong|hard|much) ")
_CHANGED = re.compile(r" from (?:an? )?(\w+) to (?:an? )?(?=\w)")


class Wind:
    """Finds what is said of the wind, clause by clause."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon

    def at(self, text: str, place: int) -> Told | None:
        """Find the wind in the clause that starts at `place`, and in what follows."""
        border = re.compile(r" [.?,] | and ").search(text, place)
        clause = f" {text[place : border.start() if border else len(text)]} "
        calm = "calm" in self._lexicon.wind.values()
        still = _SAYS_STILL.match(text, place)
        if still and calm:
            return _told(place, still.end(), "calm", (Flag(FlagCode.WIND_UNNAMED),))
        named = _WIND.search(clause)
        topic = named is None and calm
        if topic:
            named = self._topic(text, place, clause)
        if named is None or _ELSE.search(clause):
            return None
        stop = re.compile(r" [.?] | so | because ").search(text, place)
        end = stop.start() if stop else len(text)
        none = _NONE.search(f" {text[place:end]} ")
        found = self._strength(text, place, end)
        if none and calm and not (found and self._lexicon.wind and found[3]):
            last = place + max(none.end() - 1, min(named.end() - 1, end - place))
            sure = none[0].strip() in {"no", "none"} or "any" in none[0]
            flag = Flag.of(FlagCode.TAKEN_AS, none[0].strip(), "calm")
            return _told(place, last, "calm", () if sure else (flag,))
        if found is None:
            return None
        value, last, flags, _ = found
        return _told(place, last, value, flags)

    def _topic(self, text: str, place: int, clause: str) -> re.Match[str] | None:
        """Take "put calm" for the wind, where the wind was just spoken of."""
        known = {word for way in self._lexicon.wind for word in way} | {*_STRENGTHS}
        alone = text[:place].rstrip()[-1:] in {"", ".", "?"}
        whole = re.compile(r" .* ").fullmatch(clause)
        if alone and _ONLY_WIND.match(text, place):
            return whole
        topic = [*_TOPIC_NAMED.finditer(text, max(0, place - _TOPIC), place)]
        if not (topic and alone) or _BEES.search(text, topic[-1].start(), place):
            return None
        stop = re.compile(r" [.?] ").search(text, place)
        said = (
            text[place : stop.start() if stop else len(text)].replace(",", "").split()
        )
        rest = {word for word in said if read_compass([word]) is None}
        strange = rest - known - _TOPIC_WORDS
        plain = known.intersection(said) and len(strange) <= (0 if len(said) < 3 else 1)
        return re.compile(r" .* ").fullmatch(clause) if plain else None

    def _strength(
        self, text: str, start: int, end: int
    ) -> tuple[str, int, tuple[Flag, ...], bool] | None:
        """Read strength and origin in any order: value, end, doubts, whether named.

        A strength of the phrase book goes before a word that only hints at one.
        """
        known = {word for way in self._lexicon.wind for word in way}
        corrected = _CORRECTED.search(text, start, end)
        if corrected:  # "from the north , no , from the west"
            start = corrected.start("meant")
        said_so = _NOT_STRONG.sub("not-strong ", text[start:end])
        words = said_so.split()[:_MOST_WORDS]
        if {"light", "moderate", "strong", "breeze"}.intersection(words):
            known -= {"still"}  # "still light"
        changed = _CHANGED.search(f" {text[start:end]} ")
        before = changed[1] if changed and changed[1] in known | {*_STRENGTHS} else ""
        said = [(n, word) for n, word in enumerate(words) if word in known]
        said = [one for one in said if one[1] != before] or said
        flags: list[Flag] = []
        if not said:
            hints = [(n, word) for n, word in enumerate(words) if word in _STRENGTHS]
            hints = [one for one in hints if one[1] != before] or hints
            hints.sort(key=lambda hint: _STRENGTHS[hint[1]] == "light")
            for place, word in hints[:1]:
                meant = _STRENGTHS[word]
                if meant in self._lexicon.wind.values():
                    flags.append(Flag.of(FlagCode.TAKEN_AS, word, meant))
                    said = [(place, meant)]
        elif len({word for _, word in said}) > 1:
            more = " ".join(word for _, word in said[1:])
            flags.append(Flag.of(FlagCode.MORE_SAID, more))
        if not said:
            return None
        points = [
            (n, word)
            for n, word in enumerate(words)
            if read_compass([word]) or word in {"true", "magnetic"}
        ]
        value = values.wind_value(
            self._lexicon, [said[0][1], *(word for _, word in points)]
        )
        if value is None:
            return None
        if value.used < 1 + len(points):
            more = " ".join(word for _, word in points[value.used - 1 :])
            flags.append(Flag.of(FlagCode.MORE_SAID, more))
        taken = [said[0], *points[: value.used - 1]]
        last = max(n for n, _ in taken)
        names = [n for n, word in enumerate(words) if word in {"wind", "breeze"}]
        last = max([last, *[n for n in names if n <= last + 1]])
        return value.text, place_after(text, start, last + 1), tuple(flags), not flags


def _told(start: int, end: int, value: str, flags: tuple[Flag, ...]) -> Told:
    return Told(kind=EventKind.WIND, start=start, end=end, value=value, flags=flags)
