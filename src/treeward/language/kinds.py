"""The kinds of note, one row each: all that is particular to a kind stands here.

    KINDS[EventKind.BEARING].holds    # Holds.DEGREES

A new kind is a member of `EventKind`, a row of `KINDS`, and its ways of being said in
models/phrasebook.toml. What has to be known of it elsewhere is asked for by the type
checker (`assert_never`), or by tests/language/test_kinds.py.

How a value is written, checked and compared, by what it is:

    is_value(Holds.DEGREES, "225 sw")  # True
    same_value(Holds.TIME, "9:05", "09:05:00")  # True

What a note "searched here, nothing" says was looked at.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Literal, assert_never

from .bearings import read_bearing_cell
from .dates import is_date, parse_date

if TYPE_CHECKING:
    from collections.abc import Mapping

    Tone = tuple[tuple[float, float, float], ...]

UNMARKED = "unmarked"  # the mark of a bee without paint


class EventKind(StrEnum):
    """The kinds of note that can be spoken."""

    BACK = "back"
    AWAY = "away"
    MARK = "mark"
    BEARING = "bearing"
    TIME = "time"
    STATION = "station"
    DATE = "date"
    WIND = "wind"
    DURATION = "duration"
    MISSED = "missed"
    PAUSE = "pause"
    RESUME = "resume"
    SCRATCH = "scratch"
    REMARK = "remark"
    SEARCHED = "searched"
    OVERHEAD = "overhead"
    FOUND = "found"


class Need(StrEnum):
    """Whether a note has a mark, or a value."""

    NEVER = "never"
    MAY = "may"
    MUST = "must"  # without it the row has to be looked at


class Holds(StrEnum):
    """What a note's value is."""

    NOTHING = "nothing"
    DEGREES = "degrees"  # of a bearing, as read off the compass
    TIME = "time"
    DATE = "date"
    STATION = "station"
    WIND = "wind"
    DURATION = "duration"
    WORDS = "words"  # the person's own


class About(StrEnum):
    """What notes in doubt are about, in the order in which it is told."""

    STATION = "station"
    TIME = "time"
    DATE = "date"
    BEARING = "bearing"
    MOVE = "landing or departure"
    MISSED = "missed return"
    PAUSE = "pause"
    SCRATCH = "scratch"
    WIND = "wind"
    ORDER = "departure in a row"
    NO_STATION = "recording without a station"
    SEARCHED = "note of ground looked at"
    OVERHEAD = "note of bees overhead"
    NOTHING = ""  # moves no place, whatever it says


SaidAs = Literal["action", "anchor", "command"]  # the phrase book's tables
Whereabouts = Literal["", "here", "out"]
Practised = Literal["", "bee", "bearing", "time", "else"]

# Whose values are heard as numbers: a wrong digit is seen by nobody afterwards.
NUMBERS = frozenset({Holds.DEGREES, Holds.TIME})


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteKind:
    """All that is particular to a kind of note."""

    means: str  # in the list of what can be said
    rank: int  # among notes of one moment: what sets the scene is first
    weight: float  # how much of the answer hangs on one such note; guess
    tone: Tone  # (start Hz, end Hz, seconds) one after another; 0 Hz is silence
    mark: Need = Need.NEVER
    value: Need = Need.NEVER
    holds: Holds = Holds.NOTHING
    said_as: frozenset[SaidAs] = frozenset()  # none: in free speech only
    about: About = About.NOTHING  # what it can move, if it is in doubt
    then: Whereabouts = ""  # where it leaves the bee that it names
    seen_here: bool = False  # a bee was seen at the station, so somebody watches it
    flying: bool = False  # a bee was seen flying, so it is not dark
    not_looking: bool = False  # until it was said, nobody looked for the tree on foot
    asked_again: bool = True  # while listening, where it was hardly heard
    practised: Practised = ""  # in which turn `treeward practice` asks for it

    @property
    def alone(self) -> bool:
        """Whether it is a few words and no more, as talk may be."""
        return self.said_as == {"command"}


# The weights: a wrong time moves every note after it, a wrong station every trip; a
# bee's coming and going makes one trip.
KINDS: Mapping[EventKind, NoteKind] = {
    EventKind.BACK: NoteKind(
        means="a marked bee landed at the station",
        mark=Need.MUST,
        said_as=frozenset({"action"}),
        rank=6,
        weight=2.0,
        tone=((880, 880, 0.08), (1320, 1320, 0.12)),
        about=About.MOVE,
        then="here",
        seen_here=True,
        flying=True,
        practised="bee",
        not_looking=True,
    ),
    EventKind.AWAY: NoteKind(
        means="she left; her away time begins",
        mark=Need.MUST,
        said_as=frozenset({"action"}),
        rank=7,
        weight=2.0,
        tone=((1320, 1320, 0.08), (880, 880, 0.12)),
        about=About.MOVE,
        then="out",
        seen_here=True,
        flying=True,
        practised="bee",
        not_looking=True,
    ),
    EventKind.MARK: NoteKind(
        means="a bee was painted now",
        mark=Need.MUST,
        said_as=frozenset({"action"}),
        rank=5,
        weight=1.5,
        tone=((1047, 1047, 0.05),) * 3,
        about=About.MOVE,
        then="here",
        seen_here=True,
        not_looking=True,
    ),
    EventKind.BEARING: NoteKind(
        means="the direction in which a bee vanished",
        mark=Need.MAY,
        value=Need.MUST,
        holds=Holds.DEGREES,
        said_as=frozenset({"anchor"}),
        rank=8,
        weight=2.0,
        tone=((1568, 1568, 0.22),),
        about=About.BEARING,
        seen_here=True,
        flying=True,
        practised="bearing",
        not_looking=True,
    ),
    EventKind.TIME: NoteKind(
        means="the time by your watch; say it now and then",
        value=Need.MUST,
        holds=Holds.TIME,
        said_as=frozenset({"anchor"}),
        rank=1,
        weight=3.0,
        tone=((2093, 2093, 0.03), (0, 0, 0.09), (1568, 1568, 0.03)),
        about=About.TIME,
        practised="time",
    ),
    EventKind.STATION: NoteKind(
        means="you watch at that station from now on",
        value=Need.MUST,
        holds=Holds.STATION,
        said_as=frozenset({"anchor"}),
        rank=2,
        weight=3.0,
        tone=((659, 659, 0.10), (659, 659, 0.10)),
        about=About.STATION,
        practised="else",
        not_looking=True,
    ),
    EventKind.DATE: NoteKind(
        means="the day; once at its beginning is enough",
        value=Need.MUST,
        holds=Holds.DATE,
        said_as=frozenset({"anchor"}),
        rank=0,
        weight=3.0,
        tone=((494, 494, 0.05), (740, 740, 0.05), (494, 494, 0.05)),
        about=About.DATE,
    ),
    EventKind.WIND: NoteKind(
        means="the wind",
        value=Need.MAY,
        holds=Holds.WIND,
        said_as=frozenset({"anchor"}),
        rank=4,
        weight=1.0,
        tone=((700, 1900, 0.13), (1900, 700, 0.13)),
        about=About.WIND,
        practised="else",
    ),
    EventKind.DURATION: NoteKind(
        means="how long a bee was away, or her round trip took",
        mark=Need.MAY,
        value=Need.MUST,
        holds=Holds.DURATION,
        rank=11,
        weight=2.0,
        tone=((988, 988, 0.06), (1175, 1175, 0.06), (988, 988, 0.06)),
        about=About.MOVE,
        not_looking=True,
    ),
    EventKind.MISSED: NoteKind(
        means="she did not come when expected",
        mark=Need.MAY,
        said_as=frozenset({"action"}),
        rank=10,
        weight=1.0,
        tone=((740, 520, 0.22),),
        about=About.MISSED,
        not_looking=True,
    ),
    EventKind.PAUSE: NoteKind(
        means="nobody is watching from now on",
        said_as=frozenset({"command"}),
        rank=15,
        weight=1.0,
        tone=((1175, 1175, 0.07), (880, 880, 0.07), (587, 587, 0.14)),
        about=About.PAUSE,
        not_looking=True,
    ),
    EventKind.RESUME: NoteKind(
        means="watching again",
        said_as=frozenset({"command"}),
        rank=3,
        weight=1.0,
        tone=((587, 587, 0.07), (880, 880, 0.07), (1175, 1175, 0.14)),
        about=About.PAUSE,
        not_looking=True,
    ),
    EventKind.SCRATCH: NoteKind(
        means="take back the last note",
        said_as=frozenset({"command"}),
        rank=16,
        weight=1.5,
        tone=((1760, 900, 0.07), (1760, 900, 0.07), (1760, 600, 0.10)),
        about=About.SCRATCH,
        asked_again=False,
        practised="else",
    ),
    EventKind.REMARK: NoteKind(
        means="a remark in your own words, up to the next silence",
        value=Need.MAY,
        holds=Holds.WORDS,
        said_as=frozenset({"anchor"}),
        rank=14,
        weight=0.2,
        tone=((1175, 1175, 0.06),),
        asked_again=False,
    ),
    EventKind.SEARCHED: NoteKind(
        means="you looked for the colony here, and there was nothing",
        value=Need.MAY,
        holds=Holds.WORDS,
        said_as=frozenset({"anchor", "command"}),
        rank=12,
        weight=1.0,
        tone=((1320, 660, 0.10), (0, 0, 0.05), (1320, 660, 0.10)),
        about=About.SEARCHED,
    ),
    EventKind.OVERHEAD: NoteKind(
        means="bees pass in the air, and which way they fly",
        value=Need.MAY,
        holds=Holds.DEGREES,
        said_as=frozenset({"anchor", "command"}),
        rank=9,
        weight=1.0,
        tone=((1568, 1568, 0.06), (0, 0, 0.05), (1568, 1568, 0.16)),
        about=About.OVERHEAD,
        flying=True,
    ),
    EventKind.FOUND: NoteKind(
        means="the colony was found here",
        value=Need.MAY,
        holds=Holds.WORDS,
        said_as=frozenset({"command"}),
        rank=13,
        weight=3.0,
        tone=((784, 784, 0.07), (988, 988, 0.07), (1568, 1568, 0.16)),
        not_looking=True,
    ),
}


def kinds_said_as(spoken: SaidAs) -> tuple[EventKind, ...]:
    """Give the kinds that stand in a table of the phrase book."""
    return tuple(kind for kind in EventKind if spoken in KINDS[kind].said_as)


def kinds_holding(*holds: Holds) -> tuple[EventKind, ...]:
    """Give the kinds whose value is one of these."""
    return tuple(kind for kind in EventKind if KINDS[kind].holds in holds)


# What people write for a kind beside its name, in review.csv and in typed notes.
ALSO_WRITTEN: Mapping[str, EventKind] = {
    **dict.fromkeys(("in", "landed", "returned", "arrived", "arr"), EventKind.BACK),
    **dict.fromkeys(("returns", "arrives", "ret", "rtn", "bk"), EventKind.BACK),
    **dict.fromkeys(("off", "out", "gone", "left", "departed", "dep"), EventKind.AWAY),
    **dict.fromkeys(("departs", "leaves"), EventKind.AWAY),
    **dict.fromkeys(("marked", "painted"), EventKind.MARK),
}


_SPOKEN = re.compile(
    r"^\s*(\d{1,2})(?:[:.h](\d{2})(?:[:.](\d{2})(?:[.,]0*)?)?)?\s*([ap])?\.?\s*m?\.?\s*$",
    re.IGNORECASE,
)
_WRITTEN_DURATION = re.compile(
    r"(?i)(?:(?P<what>away|round)\s+)?(?:"
    r"(?:00?:)?(?P<m>[0-9]{1,3}):(?P<s>[0-5][0-9])|"
    # A spreadsheet takes 6:45 for a time of day: it saves 06:45:00, or with AM.
    r"(?P<hours>[0-9]{1,3}):(?P<minutes>[0-5][0-9]):00(?:\s?(?P<half>[ap])m)?|"
    r"(?P<min>[0-9]{1,3}(?:[.,][0-9]+)?)\s?m(?:in(?:ute)?s?)?\.?"
    r"(?:(?:\s?and)?\s?(?P<sec>[0-5]?[0-9])\s?(?:s(?:ec(?:ond)?s?)?\.?)?)?|"
    r"(?P<only>[0-9]{1,5}(?:[.,][0-9]+)?)\s?s(?:ec(?:ond)?s?)?\.?)"
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
    if match["only"]:
        seconds = float(match["only"].replace(",", "."))
        return f"{(match['what'] or 'away').lower()} {seconds:g}"
    written = match["min"] or match["m"] or match["hours"]
    minutes = float(written.replace(",", "."))
    if match["half"]:
        minutes = minutes % 12 + (12 if match["half"].lower() == "p" else 0)
    seconds = 60.0 * minutes
    seconds += float(match["sec"] or match["s"] or match["minutes"] or 0)
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
    not a remark, a time, a tree that was checked or bees overhead on the way. `words`
    are the note's value, or what was heard.
    """
    if kind is EventKind.SEARCHED:
        return looked_at(words) in {LookedAt.GROUND, LookedAt.WALL}
    return KINDS[kind].not_looking
