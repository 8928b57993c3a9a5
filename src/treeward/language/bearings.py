"""Spoken bearings: digits, "two ten", "two hundred and ten", compass words.

What could mean more than one bearing is flagged and left without a value.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from .number_words import (
    NumberToken,
    codes,
    number_run,
    plain_words,
    sound_alike_flags,
    total,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_FULL_CIRCLE_DEG = 360
_POINT_DEG = 22.5  # a sixteenth of the circle

_POINTS = (
    *("north", "north north east", "north east", "east north east"),
    *("east", "east south east", "south east", "south south east"),
    *("south", "south south west", "south west", "west south west"),
    *("west", "west north west", "north west", "north north west"),
)
COMPASS_POINTS: Mapping[str, float] = {
    name: index * _POINT_DEG for index, name in enumerate(_POINTS)
}
_COMPASS_SPELLINGS: Mapping[str, tuple[str, ...]] = {
    **{name: (name,) for name in ("north", "east", "south", "west")},
    **{
        "".join(point[0] for point in name.split()): tuple(name.split())
        for name in _POINTS
        if " " in name
    },
    "nor": ("north",),
    "sou": ("south",),
    **{
        f"{first}{second}{tail}": (first, second)
        for first in ("north", "south")
        for second in ("east", "west")
        for tail in ("", "erly", "ern")
    },
    **{
        f"{name}{tail}": (name,)
        for name in ("north", "south", "east", "west")
        for tail in ("erly", "wards", "ward", "bound")
    },
}

_ONLY_BEFORE = frozenset({"nor", "sou"})  # "nor west", but "light nor strong"

# A bearing below 100 needs its zero; digits one by one need all three.
_CLEAR = re.compile(
    r"\d\d\d"  # two one zero
    r"|0(?:t|y[1-9]?)"  # oh thirty nine
    r"|[1-3](?:t|y[1-9]?)"  # two ten
    r"|[1-3a]h(?:&?0?[1-9](?!\d)|&?(?:t|y[1-9]?))?"  # two hundred and ten
)
_SHORT = re.compile(r"y[1-9]?|t|\d\d?")


@dataclass(frozen=True, slots=True, kw_only=True)
class BearingReading:
    """What words after "bearing" mean.

    Attributes
    ----------
    deg
        Degrees as read off the compass, 0 to 360; None when in doubt.
    used
        How many words belong to it.
    options
        What it could be, in degrees, when in doubt.
    flags
        Why it needs a look, in words.
    exact_deg
        Of a compass point, before rounding.
    """

    deg: int | None
    used: int
    options: tuple[int, ...] = ()
    flags: tuple[str, ...] = ()
    exact_deg: float = 0.0


def read_compass(words: Sequence[str]) -> BearingReading | None:
    """Read a compass word of eight or sixteen points from the start of `words`.

    Rounded to whole degrees (north north east 22.5 is 23). None when there is none.
    """
    points: list[str] = []
    best = ("", 0)
    for index, word in enumerate(words):
        parts = plain_words(word)
        pieces = [_COMPASS_SPELLINGS.get(piece) for piece in parts]
        if not pieces or None in pieces or len(points) > 3:
            break
        points += [point for piece in pieces if piece for point in piece]
        if " ".join(points) in COMPASS_POINTS and parts[-1] not in _ONLY_BEFORE:
            best = (" ".join(points), index + 1)
    name, used = best
    if not used:
        return None
    exact = COMPASS_POINTS[name]
    return BearingReading(deg=int(exact + 0.5), used=used, exact_deg=exact)


def read_bearing(words: Sequence[str]) -> BearingReading | None:
    """Read a bearing from the start of `words`, degrees or compass words.

    The longest reading that can mean only one bearing is taken. A number that can
    mean several ("twenty" may be 020 or the end of 220) comes back without a value,
    the possible ones as options; a number below one hundred said in full without
    its zero ("eighty five") keeps its value and is flagged.
    None when the words do not start with a number or a compass word.
    """
    compass = read_compass(words)
    if compass is not None:
        return compass
    run = number_run(words)
    while run and run[-1].code in {"&", "a"}:
        run.pop()
    if not run or not any(token.exact and token.code not in "&a" for token in run):
        return None
    text = codes(run)
    match = _longest_clear(text, run)
    if match:
        return _clear_reading(words, run, match)
    return _short_reading(words, run, text)


def _longest_clear(text: str, run: Sequence[NumberToken]) -> int:
    """Count the tokens of the longest clear bearing, 0 when there is none."""
    for length in range(min(len(text), 6), 1, -1):
        ends_inside_word = (
            length < len(run) and run[length].word == run[length - 1].word
        )
        if not ends_inside_word and _CLEAR.fullmatch(text, 0, length):
            return length
    return 0


def _clear_reading(
    words: Sequence[str], run: Sequence[NumberToken], length: int
) -> BearingReading:
    taken = run[:length]
    deg = _value(taken)
    used = taken[-1].word + 1
    flags = sound_alike_flags(words, taken)
    rest = [token for token in run[length:] if token.exact and token.code not in "&ah"]
    after = run[length:]
    if rest and after[0].exact and after[0].code not in "&a":
        every = run[-1].word + 1
        said = " ".join(words[:every])
        return BearingReading(
            deg=None,
            used=every,
            options=(deg,) if deg <= _FULL_CIRCLE_DEG else (),
            flags=(f"more number words than a bearing has: '{said}'",),
        )
    if deg > _FULL_CIRCLE_DEG:
        return BearingReading(
            deg=None, used=used, flags=(f"{deg} is more than 360 degrees",)
        )
    return BearingReading(deg=deg, used=_degrees(words, used), flags=flags)


def _value(tokens: Sequence[NumberToken]) -> int:
    text = codes(tokens)
    if text.isdigit():
        return int(text)
    if "h" in text:
        hundreds = tokens[0].value or 1
        return hundreds * 100 + total([t for t in tokens[2:] if t.code != "&"])
    return tokens[0].value * 100 + total(tokens[1:])


def _short_reading(
    words: Sequence[str], run: Sequence[NumberToken], text: str
) -> BearingReading | None:
    """Read a number too short, or too odd, to be a bearing for certain."""
    every = _degrees(words, run[-1].word + 1)
    said = " ".join(words[: run[-1].word + 1])
    if not _SHORT.fullmatch(text):
        if not run[0].exact:
            return None
        return BearingReading(
            deg=None, used=every, flags=(f"no bearing can be read from '{said}'",)
        )
    low = int(text) if text.isdigit() else total(run)
    if text.isdigit():
        tries = [int(text) * 10 ** (3 - len(text)), low]
    else:
        tries = [low + hundreds for hundreds in (0, 100, 200, 300)]
    options = tuple(dict.fromkeys(deg for deg in tries if deg <= _FULL_CIRCLE_DEG))
    if re.fullmatch(r"y[1-9]", text):
        return BearingReading(
            deg=low,
            used=every,
            options=options[1:],
            flags=(f"'{said}' has no hundreds: {low:03d}?",),
        )
    return BearingReading(
        deg=None,
        used=every,
        options=options,
        flags=(f"'{said}' is not a whole bearing",),
    )


def _degrees(words: Sequence[str], used: int) -> int:
    """Count a following "degrees" as part of the bearing."""
    if used < len(words) and words[used].strip(".,").lower() in {"degrees", "degree"}:
        return used + 1
    return used


Reference = Literal["", "true", "magnetic"]

# By the short name of each point: "nne" is 22.5.
POINTS_DEG = {
    "".join(word[0] for word in name.split()): deg
    for name, deg in COMPASS_POINTS.items()
}
_POINT_WORDS = {"north": "n", "east": "e", "south": "s", "west": "w"}
DEGREES_WIDTH_DEG = 1.0  # a number is taken as read to one degree
_EIGHT_WIDTH_DEG, _SIXTEEN_WIDTH_DEG = 45.0, 22.5  # from one point to the next
_NUMBER = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:°|deg(?:s|rees?)?\b\.?)?")
_WIDTH = re.compile(r"(?:\+\s*/?\s*-|±)\s*(\d+(?:[.,]\d+)?)\s*°?")


@dataclass(frozen=True, slots=True, kw_only=True)
class BearingCell:
    """What a bearing's text says.

    `precision_deg` is the width of the interval that the bearing was rounded to, all
    of it; `reference` is "" where the hunt's compass is meant.
    """

    deg: float  # 0 to 360, 360 not included
    precision_deg: float
    reference: Reference = ""


def point_at(deg: float) -> str:
    """Return the short name of the point at whole degrees: "sw" for 225."""
    return list(POINTS_DEG)[round(deg / _POINT_DEG) % 16]


@lru_cache(maxsize=4096)
def read_bearing_cell(text: str) -> BearingCell | None:
    """Read a bearing's text; None where it is none, or says two things.

    Examples
    --------
    >>> read_bearing_cell("225 sw")
    BearingCell(deg=225.0, precision_deg=45.0, reference='')
    >>> read_bearing_cell("210 true").reference
    'true'
    """
    rest = " ".join(text.lower().split())
    reference: Reference = ""
    norths: tuple[Reference, Reference] = ("true", "magnetic")
    for word in norths:
        stripped = re.sub(rf"\b{word}\b", " ", rest)
        if stripped != rest:
            if reference:
                return None
            reference, rest = word, stripped
    width: float | None = None
    if match := _WIDTH.search(rest):
        width = 2 * float(match[1].replace(",", "."))
        rest = rest[: match.start()] + rest[match.end() :]
    deg: float | None = None
    if match := _NUMBER.match(rest.strip()):
        deg = float(match[1].replace(",", "."))
        rest = rest.strip()[match.end() :]
        if deg > 360:
            return None
    words = re.sub(r"[\s,-]+", " ", rest).split()
    point = "".join(_POINT_WORDS.get(w, w) for w in _spelt_out(words))
    if point:
        if point not in POINTS_DEG:
            return None
        exact = POINTS_DEG[point]
        wide = _EIGHT_WIDTH_DEG if len(point) < 3 else _SIXTEEN_WIDTH_DEG
        if deg is None or abs((deg - exact + 180) % 360 - 180) <= 0.5:
            deg = exact  # 203 is 202.5 written in whole degrees
        elif abs((deg - exact + 180) % 360 - 180) > wide / 2:
            return None
        width = wide if width is None else width
    if deg is None or (width is not None and not 0 < width <= 360):
        return None
    return BearingCell(
        deg=deg % 360,
        precision_deg=DEGREES_WIDTH_DEG if width is None else width,
        reference=reference,
    )


def _spelt_out(words: list[str]) -> list[str]:
    """Part "southwest" into "south" and "west"."""
    found: list[str] = []
    for word in words:
        parts = re.findall(r"north|south|east|west", word)
        found += parts if "".join(parts) == word else [word]
    return found
