"""Values as they stand in an event and in review.csv: checked, and compared.

is_value(Holds.DEGREES, "225 sw")  # True
same_value(Holds.TIME, "9:05", "09:05:00")  # True

What a note "searched here, nothing" says was looked at.
"""

from __future__ import annotations

import re
from enum import StrEnum
from typing import assert_never

from .bearings import read_bearing_cell
from .dates import is_date, parse_date
from .kinds import KINDS, EventKind, Holds

_SPOKEN = re.compile(
    r"^\s*(\d{1,2})(?:[:.h](\d{2})(?:[:.](\d{2})(?:[.,]0*)?)?)?\s*([ap])?\.?\s*m?\.?\s*$",
    re.IGNORECASE,
)
_WRITTEN_DURATION = re.compile(
    r"(?i)(?:(?P<what>away|round)\s+)?(?:(?P<m>[0-9]{1,3}):(?P<s>[0-5][0-9])|"
    r"(?P<min>[0-9]{1,3}(?:[.,][0-9]+)?)\s?m(?:in(?:ute)?s?)?\.?"
    r"(?:\s?(?P<sec>[0-5]?[0-9])\s?(?:s(?:ec(?:ond)?s?)?\.?)?)?)"
)
_DURATION = re.compile(r"(?i)(?:away|round)\s+\d+(?:[.,]\d+)?")


def plain_duration(text: str) -> str:
    """Return a duration as it stands in an event; what is none stays as it is.

    Examples
    --------
    >>> plain_duration("7 min")
    'away 420'
    >>> plain_duration("round 6:45")
    'round 405'
    """
    match = _WRITTEN_DURATION.fullmatch(text.strip())
    if match is None:
        return text
    minutes = float((match["min"] or match["m"]).replace(",", "."))
    seconds = 60.0 * minutes + float(match["sec"] or match["s"] or 0)
    return f"{(match['what'] or 'away').lower()} {seconds:g}"


def is_value(holds: Holds, text: str) -> bool:
    """Tell whether a text, which is not empty, can be such a value."""
    match holds:
        case Holds.DEGREES:
            return read_bearing_cell(text) is not None
        case Holds.TIME:
            return parse_spoken_time(text) is not None
        case Holds.DATE:
            return is_date(text)
        case Holds.DURATION:
            return _DURATION.fullmatch(text) is not None
        case Holds.NOTHING | Holds.STATION | Holds.WIND | Holds.WORDS:
            return True
        case _:
            assert_never(holds)


def how_to_write(holds: Holds) -> str:
    """Say how such a value is written, for who wrote it otherwise."""
    match holds:
        case Holds.DEGREES:
            return (
                "Write degrees from 0 to 359: 210, or 210 true, or with a point: "
                "225 sw."
            )
        case Holds.TIME:
            return "Write hours and minutes, as 10:22."
        case Holds.DATE:
            return "Write the year first, as 2026-07-14."
        case Holds.DURATION:
            return "Write away or round and seconds, or minutes: away 330, 5:30, 6 min."
        case Holds.NOTHING | Holds.STATION | Holds.WIND | Holds.WORDS:
            return ""
        case _:
            assert_never(holds)


def same_value(holds: Holds, one: str, other: str) -> bool:
    """Tell whether two texts say the same: "9:05" and "09:05:00"."""
    match holds:
        case Holds.TIME:
            first, second = parse_spoken_time(one), parse_spoken_time(other)
            if first is None or second is None:
                return False
            return first[:2] == second[:2] and (first[2] or 0) == (second[2] or 0)
        case Holds.DATE:
            return parse_date(one) == parse_date(other) is not None
        case Holds.DEGREES:
            return read_bearing_cell(one) == read_bearing_cell(other) is not None
        case Holds.NOTHING | Holds.STATION | Holds.WIND | Holds.DURATION | Holds.WORDS:
            return one.isdigit() and other.isdigit() and int(one) == int(other)
        case _:
            assert_never(holds)


def parse_spoken_time(text: str) -> tuple[int, int, int | None, bool] | None:
    """Read a time event's value.

    Returns
    -------
    tuple or None
        Hour (0-23), minute, second or None, and whether the hour may be meant on
        the twelve-hour dial ("9:40" may, "09:40" is morning); None where it is no
        time.
    """
    match = _SPOKEN.match(text)
    if match is None:
        return None
    hour, minute = int(match[1]), int(match[2] or 0)
    second = int(match[3]) if match[3] is not None else None
    half = (match[4] or "").lower()
    if hour > 24 or minute > 59 or (second or 0) > 59:
        return None
    if half and 1 <= hour <= 12:
        return hour % 12 + (12 if half == "p" else 0), minute, second, False
    twelve = 1 <= hour <= 12 and not match[1].startswith("0")
    return hour % 24, minute, second, twelve


class LookedAt(StrEnum):
    """What was looked at, and held no colony."""

    GROUND = "ground"  # the way walked since the last go at looking, or a sitting
    TREE = "tree"  # the one that one stands at
    WALL = "wall"  # along a wall, since then
    DISH = "dish"  # no bee visits a dish here


_WORDS: tuple[tuple[LookedAt, frozenset[str]], ...] = (
    (LookedAt.DISH, frozenset({"bee", "bees", "dish", "feeder", "visitors"})),
    (LookedAt.TREE, frozenset({"tree", "trunk", "hole", "hollow"})),
    (LookedAt.WALL, frozenset({"wall", "walls", "bank", "hedge"})),
)


def looked_at(words: str) -> LookedAt:
    """Return what words tell was looked at; the ground about where they do not.

    Examples
    --------
    >>> looked_at("tree checked nothing")
    <LookedAt.TREE: 'tree'>
    >>> looked_at("nothing along the wall")
    <LookedAt.WALL: 'wall'>
    >>> looked_at("")
    <LookedAt.GROUND: 'ground'>
    """
    said = set(re.findall(r"[a-z]+", words.casefold()))
    return next((what for what, of in _WORDS if said & of), LookedAt.GROUND)


def ends_a_walk(kind: EventKind, words: str) -> bool:
    """Tell whether a note "searched here" after this one reaches back to it no further.

    So do notes of bees at a station, a pause, a find, and ground that counts already;
    not a remark, a time, a tree that was checked or bees overhead on the way.

    Parameters
    ----------
    kind
        Of the note.
    words
        Its value, or what was heard.
    """
    if kind is EventKind.SEARCHED:
        return looked_at(words) in {LookedAt.GROUND, LookedAt.WALL}
    return KINDS[kind].not_looking
