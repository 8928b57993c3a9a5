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
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from .clocked_numbers import Token

SITTING = timedelta(hours=6)  # between two notes of a day at most; guess
_DRINKS = timedelta(minutes=30)  # from coming to leaving, of nearly all bees; guess
_HOUR = timedelta(hours=1)  # longer away times are not written as m:ss; guess
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
    marks: list[str] = field(default_factory=list)
    kind: EventKind | None = None
    bearing: str = ""
    announced: bool = False  # the bearing, by "heading"
    away_s: float | None = None
    flags: list[Flag] = field(default_factory=list)
    of_bearing: list[Flag] = field(default_factory=list)
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
    """
    return _Line(tokens, clock, bee=bee, when=when).read()


class _Line:
    def __init__(
        self,
        tokens: Sequence[Token],
        clock: Callable[[str, datetime | None], datetime],
        *,
        bee: str,
        when: datetime | None,
    ) -> None:
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
        """Return the parts of the line, counted by commas, that say "not"."""
        part, found = 0, set()
        for token in self._tokens:
            part += token.sort == "break"
            if token.sort == "not":
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
            case "bearing":
                self._bearing(place, token)
            case "duration":
                self._duration(place, token)
            case _:
                known = token.sort == "lasting" or token.sort not in UNKNOWN
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
        return token.sort != "date"

    def _duration(self, place: int, token: Token) -> None:
        if self._group.away_s is not None:
            self._left.append(token.text)
            return
        self._group.away_s = float(token.value)
        self._group.flags += token.flags
        self._roughly(place, self._group.flags)
        self._noted(token)

    def _noted(self, token: Token) -> None:
        if token.sort != "time":
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
        if group.marks and not joined:
            self._close()
        self._group.marks.append(token.value)
        self._group.flags += token.flags
        self._noted(token)

    def _event(self, place: int, token: Token) -> None:
        kind = EventKind(token.value)
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
        self._noted(token)

    def _bearing(self, place: int, token: Token) -> None:
        group, after = self._group, self._beside(place, 1)
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

    def _is_duration(self, place: int, token: Token, moment: datetime) -> bool:
        """Read "6:45 away" as minutes and seconds where it is no time of day.

        It is none where the line would go back in time, or a bee leave that is away.
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
        if not (impossible or (has_left and gap > _HOUR)):
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
        marks = tuple(group.marks) or self._bees
        clock = group.time or self._when
        if not group.tells and not group.marks:
            self._spare += group.text
        elif not (group.tells and marks and clock) or group.parts & self._denied:
            self._left += group.text
        else:
            self._say(group, marks, clock)
        self._bees = marks
        self._when = clock
        self._kind = group.kind or self._kind

    def _say(self, group: _Group, marks: Sequence[str], clock: datetime) -> None:
        opposite = {EventKind.BACK: EventKind.AWAY, EventKind.AWAY: EventKind.BACK}
        same_time = group.time is None and not group.marks and self._kind is not None
        if same_time and group.kind and opposite.get(group.kind) is self._kind:
            flag = Flag.of(FlagCode.TIME_UNSAID, group.kind.value, f"{clock:%H:%M}")
            group.flags.append(flag)
        if len(marks) > 1 and group.bearing:
            group.of_bearing.append(Flag(FlagCode.TWO_LEFT))
        flags = tuple(dict.fromkeys(group.flags))
        of_bearing = tuple(dict.fromkeys((*flags, *group.of_bearing)))
        for mark in marks:
            plain = Said(kind=EventKind.AWAY, mark=mark, clock=clock, flags=flags)
            if group.kind is not None:
                self._notes.append(replace(plain, kind=group.kind))
            if group.bearing:
                bearing = replace(plain, kind=EventKind.BEARING, value=group.bearing)
                bare = group.kind is None and not group.announced
                self._notes.append(replace(bearing, flags=of_bearing, bare=bare))
            if group.away_s:
                value = f"away {group.away_s:g}"
                self._notes.append(replace(plain, kind=EventKind.DURATION, value=value))


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
