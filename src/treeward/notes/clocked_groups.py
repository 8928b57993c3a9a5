"""From the tokens of a typed line to what they say of bees.

A line is read from left to right in groups, each of which has one time, the bees it
names and what they did: "0912 Y back 0918 off 220" has two. What fits into none, or is
said not to be, is left over and handed back.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from treeward.language.bearings import POINTS_DEG, read_bearing_cell
from treeward.language.kinds import EventKind

from .clocked_numbers import CONTENT, UNKNOWN
from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime

    from .clocked_numbers import Token

SITTING = timedelta(hours=6)  # between two notes of a day at most; guess
_DRINKS = timedelta(minutes=30)  # from coming to leaving, of nearly all bees; guess
_NEAR = timedelta(minutes=30)  # before its line's time "9:36" is a time too; guess
_HOUR = timedelta(hours=1)  # longer away times are not written as m:ss; guess
_GONE = frozenset({EventKind.AWAY})
_HERE = frozenset({EventKind.BACK, EventKind.MARK})
_COUNTS = {
    said: number
    for number, word in enumerate(("two", "three", "four", "five", "six"), start=2)
    for said in (word, str(number))
}
_MINUTES = re.compile(r"(\d{1,2})[:.](\d\d)")
_MOST_QUOTED = 60  # letters of what was left over in a flag; choice


def quoted(texts: Sequence[str]) -> str:
    """Put words of a line together again, a contraction of two words once."""
    return " ".join(
        text
        for place, text in enumerate(texts)
        if not (place and text == texts[place - 1] and re.search("['\u2019]", text))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One note of a line; fields as of an event.

    `bare` tells of a bearing that nothing said she left, nor headed that way.
    """

    kind: EventKind
    mark: str
    clock: datetime
    value: str = ""
    flags: tuple[Flag, ...] = ()
    bare: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRead:
    """What a line says.

    `left` is what was not understood, as written, and `flags` are why every note of
    the line is in doubt for it. `last` is the last time that stood in it, None for
    none; `telling` whether it names a bee, what one did, a time or a number.
    """

    notes: tuple[Said, ...]
    left: tuple[str, ...]
    flags: tuple[Flag, ...]
    last: datetime | None
    marks: tuple[str, ...]
    telling: bool


@dataclass(slots=True)
class _Group:
    """What is known of one note, or of one each of several bees."""

    time: datetime | None = None
    until: datetime | None = None  # her coming, of a range of times
    ranged: str = ""  # that range, where nothing says yet that she was away
    marks: list[str] = field(default_factory=list)
    all_of: str = ""  # "both", "all"
    how_many: int = 0  # bees that it is of; 0 for any number
    kind: EventKind | None = None
    bearing: str = ""
    announced: bool = False  # the bearing, by "heading"
    away_s: float | None = None
    ago_s: float = 0.0  # before its time, by "1 min ago"
    flags: list[Flag] = field(default_factory=list)
    of_bearing: list[Flag] = field(default_factory=list)
    of_bee: dict[str, Flag] = field(default_factory=dict)
    parts: set[int] = field(default_factory=set)  # of the line, between commas
    text: list[str] = field(default_factory=list)

    @property
    def tells(self) -> bool:
        return bool(self.kind or self.bearing or self.away_s)


def read_groups(
    tokens: Sequence[Token],
    clock: Callable[[str, datetime | None], datetime],
    *,
    bee: str = "",
    when: datetime | None = None,
    last: Mapping[str, EventKind] | None = None,
) -> LineRead:
    """Read what a line, or a cell, says of bees.

    Parameters
    ----------
    tokens
        What stands in it.
    clock
        Gives the moment of a written time, by the one before it in the line.
    bee
        Whose notes they are where the line names none.
    when
        The time of its row, of what has no time of its own.
    last
        What each bee did last, which tells who "both" and "all" are.
    """
    return _Line(tokens, clock, bee=bee, when=when, last=last or {}).read()


class _Line:
    def __init__(
        self,
        tokens: Sequence[Token],
        clock: Callable[[str, datetime | None], datetime],
        *,
        bee: str,
        when: datetime | None,
        last: Mapping[str, EventKind],
    ) -> None:
        self._did = dict(last)
        self._tokens, self._clock = tokens, clock
        self._bees: tuple[str, ...] = (bee,) if bee else ()
        self._when, self._last = when, when
        self._kind: EventKind | None = None  # of the group before
        self._group = _Group()
        self._notes: list[Said] = []
        self._left: list[str] = []
        self._spare: list[str] = []  # times that belong to nothing
        self._part = 0
        self._denied = self._parts_denied()
        self._used: set[int] = set()  # tokens that were read with an earlier one

    def read(self) -> LineRead:
        tokens = self._tokens
        for place, token in enumerate(tokens):
            if place not in self._used:
                self._take(place, token)
        self._close()
        if self._notes:
            self._left += self._spare
        unknown = {token.sort for token in tokens} & UNKNOWN
        flags = [flag for t in tokens if t.sort == "odd" for flag in t.flags]
        if self._left:
            code = FlagCode.MORE_SAID
            if unknown & {"not", "doubt"}:
                code = FlagCode.DOUBT_IN_WORDS
            flags.append(Flag.of(code, quoted(self._left)[:_MOST_QUOTED].strip()))
        marks = dict.fromkeys(t.value for t in tokens if t.sort == "mark")
        return LineRead(
            notes=self._unlike(),
            left=tuple(self._left),
            flags=tuple(flags),
            last=self._last,
            marks=tuple(marks) or self._bees,
            telling=any(t.sort in CONTENT or t.sort == "odd" for t in tokens),
        )

    def _unlike(self) -> tuple[Said, ...]:
        """Return the notes without what is said twice: "off, gone"."""
        found: dict[tuple[object, ...], Said] = {}
        for note in self._notes:
            found.setdefault((note.kind, note.mark, note.clock, note.value), note)
        return tuple(found.values())

    def _parts_denied(self) -> set[int]:
        """Return the parts, by commas, that say "not" or are of something else."""
        part, found = 0, set()
        for token in self._tokens:
            part += token.sort == "break"
            if token.sort in {"not", "aside"}:
                found.add(part)
        return found

    def _take(self, place: int, token: Token) -> None:
        match token.sort:
            case "break":
                self._part += 1
            case "mark":
                self._mark(place, token)
            case "event":
                self._event(place, token)
            case "time":
                self._time(place, token)
            case "range":
                self._range(place, token)
            case "bearing":
                self._bearing(place, token)
            case "duration":
                self._duration(place, token)
            case "since" if self._since(place, token):
                pass
            case "all":
                self._all(place, token)
            case _:
                known = token.sort in {"lasting", "they"} or token.sort not in UNKNOWN
                understood = known and self._fills(place, token)
                if not understood and not token.flags:  # which tell it themselves
                    self._left.append(token.text)

    def _fills(self, place: int, token: Token) -> bool:
        """Tell whether a small word is of what stands beside it."""
        if token.sort == "lasting":
            after = self._beside(place, 1)
            return after is not None and after.sort == "duration"
        if token.sort == "rough":
            after = self._beside(place, 1)
            return after is not None and after.sort in {"bearing", "time", "duration"}
        if token.sort == "too":
            group = self._group
            if not group.marks or group.kind or not self._kind:
                return False
            group.kind = self._kind
            self._noted(token)
        if token.sort == "they":
            beside = (self._beside(place, -1), self._beside(place, 1))
            return any(one is not None and one.sort == "all" for one in beside)
        return token.sort != "date"

    def _duration(self, place: int, token: Token) -> None:
        if self._group.away_s is not None:
            self._left.append(token.text)
            return
        self._group.away_s = float(token.value)
        self._group.flags += token.flags
        self._roughly(place, self._group.flags)
        self._noted(token)

    def _all(self, place: int, token: Token) -> None:
        """Read "both" or "all", beside bees that are named or of those in view."""
        if self._group.all_of or (self._group.marks and self._group.kind):
            self._close()
        group = self._group
        after = self._beside(place, 1)
        group.all_of = token.text
        group.how_many = 2 if token.text == "both" else 0
        if after is not None and after.text in _COUNTS:  # "all three"
            group.how_many = _COUNTS[after.text]
            self._used.add(self._tokens.index(after, place))
        self._noted(token)

    def _who(self, group: _Group) -> tuple[str, ...]:
        """Return the bees of a group; none where "both" may be of more or fewer."""
        if not group.all_of:
            return tuple(group.marks) or self._bees
        if group.marks:
            marks = tuple(group.marks)
        else:
            out = group.kind in {EventKind.BACK, EventKind.MISSED}
            before = _GONE if out else _HERE
            marks = tuple(m for m, kind in self._did.items() if kind in before)
            for mark in marks:
                group.of_bee[mark] = Flag.of(FlagCode.BEE_IN_VIEW, group.all_of, mark)
        least = 2 if group.marks else 1
        fits = len(marks) == group.how_many if group.how_many else len(marks) >= least
        return marks if fits else ()

    def _since(self, place: int, token: Token) -> bool:
        """Read "ago" behind a duration; "later" says no more than the duration does."""
        before, group = self._beside(place, -1), self._group
        if before is None or before.sort != "duration" or group.away_s is None:
            return False
        if token.text != "later":
            group.ago_s, group.away_s = group.away_s, None
            said = f"{before.text} {token.text}"
            group.flags.append(Flag.of(FlagCode.TOLD_LATE, f"{group.ago_s:g}", said))
        self._noted(token)
        return True

    def _noted(self, token: Token) -> None:
        if token.sort != "time":  # whose part nothing denies
            self._group.parts.add(self._part)
        self._group.text.append(token.text)

    def _beside(self, place: int, step: int) -> Token | None:
        """Return the next token, or the one before, that is no filler."""
        place += step
        while 0 <= place < len(self._tokens):
            token = self._tokens[place]
            if token.sort not in {"filler", "towards"}:
                return token
            place += step
        return None

    def _joined(self, place: int) -> bool:
        """Tell whether a bee goes on a list of bees: "Y and W", "Y, W"."""
        before = place - 1
        while before >= 0 and self._tokens[before].sort == "filler":
            before -= 1
        token = self._tokens[before] if before > 0 else None
        if token is None or not (token.sort == "joint" or token.value == ","):
            return False
        last = self._beside(before, -1)
        if token.sort == "joint" and last is not None and last.value == ",":
            last = self._beside(before - 1, -1)  # "Y, W, and B"
        return last is not None and last.sort == "mark"

    def _mark(self, place: int, token: Token) -> None:
        group = self._group
        if token.value in group.marks[-1:] and not group.kind:
            return  # "yellow (Y)"
        if token.value in group.marks and not group.kind:
            self._close()  # "Y & W: Y off, W back"
            group = self._group
        after = self._beside(place, 1)
        joined = self._joined(place)
        if joined and group.kind and after is not None and after.sort == "event":
            joined = False  # "back Y, W off"
        parted = bool(group.ranged and self._bees and self._part not in group.parts)
        if parted or (group.marks and not joined) or (group.all_of and group.kind):
            self._close()
        self._group.marks.append(token.value)
        self._group.flags += token.flags
        self._noted(token)

    def _event(self, place: int, token: Token) -> None:
        kind = EventKind(token.value)
        if self._group.ranged and kind is EventKind.AWAY:
            self._group.ranged = ""  # "9:05-9:12 yellow away"
            return
        if self._group.ranged and self._part in self._group.parts:
            group = self._group  # "9:05-9:12 yellow back" tells no time of it
            self._left.append(group.ranged)
            group.ranged, group.kind, group.time, group.until = "", None, None, None
        if self._group.kind is EventKind.BACK and kind is EventKind.AWAY:
            after = self._beside(place, 1)
            if after is not None and after.sort == "duration":
                return  # "back, gone 7 min" tells of one coming
        if self._group.kind is not None:
            before = self._beside(place, -1)
            if (
                kind == self._group.kind
                and before is not None
                and (before.sort == "event")
            ):
                return  # "gone off"
            self._close()
        self._group.kind = kind
        self._group.flags += token.flags
        self._noted(token)

    def _bearing(self, place: int, token: Token) -> None:
        group, after = self._group, self._beside(place, 1)
        if group.kind is EventKind.BACK and self._of_flight(place, token):
            return
        if group.kind not in {None, EventKind.AWAY}:
            if after is None or after.value != EventKind.AWAY:
                self._left.append(token.text)  # nobody flies that way
                return
            self._close()
            group = self._group
        if group.bearing:
            if (both := _one_bearing(group.bearing, token.value)) is None:
                flag = Flag.of(FlagCode.BEARING_AFTER, token.text)
                group.of_bearing.append(flag)
            else:
                group.bearing = both
        else:
            group.bearing = token.value
        led = self._tokens[place - 1] if place else None
        group.announced = group.announced or bool(led and led.sort == "towards")
        group.of_bearing += token.flags
        self._roughly(place, group.of_bearing)
        self._noted(token)

    def _of_flight(self, place: int, token: Token) -> bool:
        """Read "out 9:16 in 9:23 brg 49" as the way that she left."""
        led = [token.sort for token in self._tokens[:place] if token.sort != "rough"]
        if led[-1:] != ["towards"]:
            return False
        marks = tuple(self._group.marks) or self._bees
        last = {note.mark: note for note in self._notes}  # by then
        left = [last[mark] for mark in marks if mark in last]
        if not left or any(note.kind is not EventKind.AWAY for note in left):
            return False
        flags = [*token.flags, *((Flag(FlagCode.TWO_LEFT),) if len(left) > 1 else ())]
        self._roughly(place, flags)
        self._notes += [
            replace(note, kind=EventKind.BEARING, value=token.value,
                    flags=(*note.flags, *flags))
            for note in left
        ]  # fmt: skip
        self._group.parts.add(self._part)
        return True

    def _roughly(self, place: int, flags: list[Flag]) -> None:
        before = self._beside(place, -1)
        if before is not None and before.sort == "rough":
            flags.append(Flag.of(FlagCode.ROUGH, before.text))

    def _time(self, place: int, token: Token) -> None:
        moment = self._clock(token.value, self._last)
        if self._is_duration(place, token, moment):
            return
        group = self._group
        before, after = self._beside(place, -1), self._beside(place, 1)
        goes_on = after is not None and after.sort == "event"
        if before and before.sort == "at" and group.kind and group.time and not goes_on:
            if moment != group.time:
                said = f"{before.text} {token.text}"
                group.flags.append(Flag.of(FlagCode.TOLD_LATER, said))
            group.time = moment
            self._noted(token)
            return
        if group.time is not None:
            self._close()
            group = self._group
        if self._last is not None and moment < self._last:
            group.flags.append(Flag.of(FlagCode.EARLIER_TIME, token.text))
        group.time = self._last = moment
        self._roughly(place, group.flags)
        self._noted(token)

    def _range(self, place: int, token: Token) -> None:
        """Read "9:07-9:14": away at the one time, back at the other."""
        one, _, two = token.value.partition(" ")
        first = self._clock(one, self._last)
        then = self._clock(two, first) if two else None
        if self._group.time is not None:
            self._close()
        group = self._group
        after = self._beside(place, 1)
        told = after.value if after is not None and after.sort == "event" else ""
        of_flight = group.kind in {None, EventKind.AWAY} and told in {"", "away"}
        if not of_flight or (then is not None and not first < then < first + SITTING):
            self._left.append(token.text)
            return
        if group.kind is None:
            group.ranged = token.text
        group.kind, group.time, group.until = EventKind.AWAY, first, then
        self._last = then or first
        self._noted(token)

    def _is_duration(self, place: int, token: Token, moment: datetime) -> bool:
        """Read "6:45 away" as minutes and seconds where it is no time of day.

        It is none where the line would go far back in time, or a bee leave that is
        away: so near to the other times of its line, "9:36" is a time of day too.
        """
        earlier = self._group.time or self._when
        written = _MINUTES.fullmatch(token.text)
        if earlier is None or written is None:
            return False
        group = self._group
        before, after = self._beside(place, -1), self._beside(place, 1)
        own = before is not None and before.sort == "event" and group.time is None
        ahead = after is not None and after.value == EventKind.AWAY and not own
        behind = before is not None and before.value == EventKind.AWAY
        if not (ahead or (behind and group.kind is EventKind.AWAY)):
            return False
        gap = moment - earlier
        near = -_NEAR <= gap < timedelta(0)
        if near and not ahead:
            return False
        impossible = gap < timedelta(0) or gap > SITTING
        has_left = (group.kind or self._kind) is EventKind.AWAY
        if behind and group.time is not None and not impossible:
            return False  # a second time, which belongs to nothing
        if not (impossible or (ahead and has_left) or gap > _HOUR):
            if gap > _DRINKS:
                said = f"{moment:%H:%M}"
                group.flags.append(Flag.of(FlagCode.TAKEN_AS, token.text, said))
            return False
        group.away_s = 60.0 * int(written[1]) + int(written[2])
        if near or not (impossible or (has_left and gap > _HOUR)):
            said = f"away {group.away_s:g}"
            group.flags.append(Flag.of(FlagCode.TAKEN_AS, token.text, said))
        self._noted(token)
        if ahead and after is not None:
            self._used.add(self._tokens.index(after, place))
        elif group.time is None:
            group.kind = None  # "back, away 6:45" tells of one coming
        return True

    def _close(self) -> None:
        """Note what the group says; one that lacks its time or its bee is left over."""
        group, self._group = self._group, _Group()
        marks = self._who(group)
        clock = group.time or self._when
        if self._after_a_flight(group, marks) and clock and group.away_s:
            clock = group.time = clock + timedelta(seconds=group.away_s)
            said = Flag.of(FlagCode.TAKEN_AS, "back", f"{clock:%H:%M:%S}")
            group.flags.append(said)
        if not group.tells and not group.marks and not group.all_of:
            self._spare += group.text
        elif not (group.tells and marks and clock) or group.parts & self._denied:
            self._left += group.text
        else:
            self._say(group, marks, clock)
        self._bees = marks
        self._when = group.until or clock
        self._kind = EventKind.BACK if group.until else group.kind or self._kind

    def _after_a_flight(self, group: _Group, marks: tuple[str, ...]) -> bool:
        """Tell whether a bee is back after the flight that was told before."""
        return (
            group.kind is EventKind.BACK
            and group.time is None
            and marks == self._bees
            and self._kind is EventKind.AWAY
        )

    def _say(self, group: _Group, marks: Sequence[str], clock: datetime) -> None:
        opposite = {EventKind.BACK: EventKind.AWAY, EventKind.AWAY: EventKind.BACK}
        same_time = group.time is None and not group.marks and self._kind is not None
        if same_time and group.kind and opposite.get(group.kind) is self._kind:
            flag = Flag.of(FlagCode.TIME_UNSAID, group.kind.value, f"{clock:%H:%M}")
            group.flags.append(flag)
        if len(marks) > 1 and group.bearing:
            group.of_bearing.append(Flag(FlagCode.TWO_LEFT))
        if group.ranged and not group.bearing:  # she may have been here as long
            meant = "away and back" if group.until else "away"
            group.flags.append(Flag.of(FlagCode.TAKEN_AS, group.ranged, meant))
        clock -= timedelta(seconds=group.ago_s)
        flags = tuple(dict.fromkeys(group.flags))
        of_bearing = tuple(dict.fromkeys((*flags, *group.of_bearing)))
        for mark in marks:
            seen = (group.of_bee[mark],) if mark in group.of_bee else ()
            told = (*seen, *flags)
            plain = Said(kind=EventKind.AWAY, mark=mark, clock=clock, flags=told)
            if group.kind is not None:
                self._told_apart(mark, group.kind)
                self._did[mark] = group.kind
                self._notes.append(replace(plain, kind=group.kind))
            if group.bearing:
                bearing = replace(plain, kind=EventKind.BEARING, value=group.bearing)
                bare = group.kind is None and not group.announced
                self._notes.append(
                    replace(bearing, flags=(*seen, *of_bearing), bare=bare)
                )
            if group.until is not None:
                back = replace(plain, kind=EventKind.BACK, clock=group.until)
                self._notes.append(back)
                self._did[mark] = EventKind.BACK
            if group.away_s:
                value = f"away {group.away_s:g}"
                self._notes.append(replace(plain, kind=EventKind.DURATION, value=value))

    def _told_apart(self, mark: str, kind: EventKind) -> None:
        """Forget of "both back" the bee whose own time follows: "W first at 9:28"."""
        self._notes = [
            note
            for note in self._notes
            if (note.mark, note.kind) != (mark, kind)
            or all(flag.code is not FlagCode.BEE_IN_VIEW for flag in note.flags)
        ]


def _one_bearing(one: str, two: str) -> str | None:
    """Return the degrees of "NNE 20" or "20 NNE"; None where they are two bearings."""
    points = [text for text in (one, two) if text.split()[-1] in POINTS_DEG]
    plain = [text for text in (one, two) if text not in points]
    if one == two:
        return one
    if len(points) != 1 or len(plain) != 1:
        return None
    point = points[0].rsplit(" ", 1)[1]
    return plain[0] if read_bearing_cell(f"{plain[0]} {point}") else None
