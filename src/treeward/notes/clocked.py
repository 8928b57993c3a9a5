"""Notes typed with clock times, as a notebook page holds them.

One line or more a note: "9:05 yellow away, north east", "yellow 9.07 back",
"0912 Y back 0918 Y off 220"; a bee's name above her times; or a table with a heading,
of one row a note, one row a flight, or one column a bee. Dates stand on lines of their
own, before a time, or in the file's name.

Every word of a line is understood, or the notes made of it say that more was said, or
it is listed for a person to look at.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, timezone
from typing import TYPE_CHECKING

from treeward.errors import TranscriptError
from treeward.language.kinds import EventKind
from treeward.speech.transcripts import names_speakers

from .chat import without_senders
from .clock_evidence import time_in_name
from .clocked_groups import SITTING, quoted, read_groups
from .clocked_numbers import (
    TIME,
    UNKNOWN,
    Days,
    Token,
    day_cell,
    half_of,
    hour_of,
    month_first,
    offset_of,
    read_duration,
)
from .clocked_others import Others
from .clocked_tables import TICKS, is_blank, is_rule, read_heading
from .clocked_words import Reader
from .events import Event
from .flags import Flag, FlagCode
from .unread import Unread

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from treeward.language.phrasebook import PhraseBook

    from .clocked_tables import Column, Table
    from .clocked_words import Wanted

_MOST_QUOTED = 400  # letters of its line that a note quotes; choice
_TIMED_LINE = re.compile(r"\s*(?P<bracket>[\[(])\s*(?P<first>\d{1,3}):\d{2}")  # [m:ss]
_FIRST_H = 5  # in round brackets a page begins later than this, a transcript not; guess
_LATE_H = 6  # before this hour by a twelve-hour dial it is afternoon; guess
_DARK_H = 20  # nor do notes go on so late; guess
_MOST_LETTERS = 500  # kept of a line without a note; choice
_AT_DAWN_H = 8  # before it a day's first notes may well be of the evening; guess
_WATCHED = timedelta(minutes=5)  # from her leaving to a bearing of it at most; guess
_OF_BEES = frozenset({"mark", "event", "bearing", "duration", "back", "away", "bee"})
_ROW_CELLS: dict[str, Wanted] = {"mark": "mark", "event": "event", "bearing": "bearing"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Clocked:
    """What was typed: the notes, and lines that hold more than was understood.

    `other_days` are days written on the page that are not the one that was given.
    """

    events: tuple[Event, ...]
    unread: tuple[Unread, ...]
    other_days: tuple[date, ...] = ()


def has_clock_times(text: str, book: PhraseBook) -> bool:
    """Tell whether a text holds notes typed with clock times.

    Lines that begin with "[m:ss]" are a transcript's, and so are those with "(m:ss)"
    unless all of them may be hours of the day: "(9:05) yellow away".
    """
    reader = Reader(book)
    table = headed = False
    lines = text.splitlines()
    timed = [found for line in lines if (found := _TIMED_LINE.match(line))]
    if (timed and not _in_round_brackets(timed)) or names_speakers(text):
        return False
    for line in lines:
        if any("0" <= char <= "9" for char in line):
            sorts = {token.sort for token in reader.read(line)}
            if "time" in sorts and (headed or "mark" in sorts):
                return True
        elif not headed:
            table = table or read_heading(line, reader) is not None
            headed = table or bool(reader.mark_of(line))
    return table


def _in_round_brackets(timed: Sequence[re.Match[str]]) -> bool:
    """Tell whether the times at the beginning of lines are of the day, in brackets."""
    firsts = [int(found["first"]) for found in timed]
    brackets = {found["bracket"] for found in timed}
    return brackets == {"("} and firsts[0] >= _FIRST_H and max(firsts) <= 23


def read_clocked(
    text: str,
    book: PhraseBook,
    zone: ZoneInfo,
    *,
    name: str = "",
    near: date | None = None,
    day: date | None = None,
    where: str = "",
) -> Clocked:
    """Read notes typed with clock times.

    Parameters
    ----------
    text
        The page.
    book
        The phrase book that names the marks.
    zone
        The hunt's time zone.
    name
        The file's name: each note's recording, and where a date may stand.
    near
        A day close to the notes, which tells the year where none was written.
    day
        The day that the person gave. It stands over the file's name, and a date
        written on the page over it.
    where
        What a fault names; `name` by default.

    Raises
    ------
    TranscriptError
        The notes have times, and no date is written anywhere.
    """
    page = _Page(book, zone, name=name, near=near or day, day=day, where=where or name)
    page.read(text.splitlines())
    return Clocked(
        events=tuple(page.events),
        unread=tuple(page.unread),
        other_days=tuple(sorted({d for d in page.written if day and d != day})),
    )


class _Page:
    """Reads lines into events, from the first to the last."""

    def __init__(
        self,
        book: PhraseBook,
        zone: ZoneInfo,
        *,
        name: str,
        near: date | None,
        day: date | None,
        where: str,
    ) -> None:
        self.events: list[Event] = []
        self.unread: list[Unread] = []
        self.written: set[date] = set()  # days that the page tells
        self._known: set[Event] = set()
        self._early: list[tuple[Event, int, str]] = []  # without a time so far, by line
        self._reader, self._others = Reader(book), Others(book)
        self._painted = book.marks_in_use
        self._zone, self._name, self._where = zone, name, where
        self._days = Days(near, self._means)
        named = time_in_name(name.rsplit("/", 1)[-1], near=near)
        self._day = day or (named.day if named else None)
        self._day_line = 0  # where it stands
        self._last: time | None = None
        self._half: Flag | None = None  # why the half of the day is in doubt
        self._moved: dict[str, Event] = {}  # the last coming or going of each bee
        self._table: Table | None = None
        self._station = ""  # of the row before
        self._bee = ""  # whose name stands above
        self._bee_line: tuple[int, str] | None = None  # until something is said of her
        self._line = 0

    def read(self, lines: Sequence[str]) -> None:
        """Read all lines."""
        self._days.month_first = month_first(lines)
        lines = without_senders(lines, self._means)
        for self._line, line in enumerate(lines, start=1):
            if line.lstrip().startswith("#"):
                self._heading(line, line.lstrip("# \t"))
            elif line.strip() and not is_rule(line):
                self._read(line)
        self._named_in_vain()
        if self.events and (last := self.events[-1].clock) is not None:
            self._on_the_clock(last)  # what stands below the last time
        for _, number, line in self._early:
            self._to_look_at(number, line)
        self.unread.sort(key=lambda one: one.line or 0)

    def _read(self, line: str) -> None:
        if (
            table := read_heading(line, self._reader, of_bee=bool(self._bee))
        ) is not None:
            self._table = table
            return
        cells = self._table.cells(line) if self._table else None
        if cells is not None and self._table is not None:
            self._row(line, self._table, cells)
            return
        dated = self._dated(line)
        if dated is not None:
            self._head(line, *dated)
        elif mark := self._reader.mark_of(line):
            self._named_in_vain()
            self._bee, self._bee_line = mark, (self._line, line)
        else:
            self._note(line, line)

    def _named_in_vain(self) -> None:
        """List a bee's name that stands alone, with nothing below it."""
        if self._bee_line is not None:
            number, line = self._bee_line
            self._to_look_at(number, line, marks=(self._bee,))
        self._bee, self._bee_line = "", None

    # Days.

    def _dated(self, line: str) -> tuple[date, str] | None:
        """Return the day that a line without a bee tells, and what else is in it."""
        if (later := self._days.after(line, self._day)) is not None:
            return later, ""
        if (found := self._days.in_line(line)) is None:
            return None
        sorts = {token.sort for token in self._reader.read(found[1])}
        return None if {"mark", "event"} & sorts else found

    def _head(self, line: str, day: date, rest: str) -> None:
        """Read a line with a date, which may name the station too, or be a title."""
        if self.events and (last := self.events[-1].clock) is not None:
            self._on_the_clock(last)  # of the day before
        self._on_day(day)
        self._named_in_vain()
        others, left = self._others.take(rest)
        for kind, value in others:
            self._add(kind, None, line, value=value)
        tokens = self._reader.read(left)
        if self._others.announced(left) or any(
            t.sort in {"time", "bearing", "duration", "odd"} for t in tokens
        ):
            self._to_look_at(self._line, left.strip(" ,"))

    def _heading(self, line: str, text: str) -> None:
        """Read a date or station in a line behind "#"; a note there was struck out."""
        if (dated := self._dated(text)) is not None:
            self._head(text, *dated)
            return
        sorts = {token.sort for token in self._reader.read(text)}
        if sorts & {"mark", "event", "time"}:
            return
        for kind, value in self._others.take(text)[0]:
            if kind is EventKind.STATION:
                self._add(kind, None, line, value=value)

    def _means(self, word: str) -> bool:
        return self._reader.knows(word) or self._others.announced(word)

    def _on_day(self, day: date) -> None:
        self.written.add(day)
        if day != self._day:
            self._last = None
        self._day, self._day_line = day, self._line

    # Tables.

    def _row(self, line: str, table: Table, cells: Sequence[str]) -> None:
        """Read one row of a table."""
        row = list(table.row(cells))
        for cell in (cell for column, cell in row if column.role == "date"):
            if (dated := self._dated(day_cell(cell))) is None:
                self._to_look_at(self._line, line)
                return
            self._on_day(dated[0])
        when: datetime | None = None
        for cell in (cell for column, cell in row if column.role == "time"):
            tokens = [t for t in self._reader.read(cell) if t.sort != "break"]
            sorts = [t.sort for t in tokens if t.sort not in {"date", "filler"}]
            if sorts != ["time"]:
                self._note(line, line)  # a line among the rows
                return
            when = self._first_time(tokens)
        self._row_at(line, table, row, when)

    def _row_at(
        self,
        line: str,
        table: Table,
        row: Sequence[tuple[Column, str]],
        when: datetime | None,
    ) -> None:
        """Read what a row says beside its day and time."""
        before = len(self.events) + len(self._early)
        for column, cell in row:
            if column.role == "station" and cell != self._station:
                self._station = cell
                self._other("station", cell, when, line)
            elif column.role == "wind":
                self._other("wind", cell, when, line)
        wanted = [(c, cell) for c, cell in row if c.role in _OF_BEES]
        if table.has("bee"):
            for column, cell in wanted:
                self._cell(cell, line, column, when)
        elif table.has("back", "away"):
            self._flight(line, wanted, when)
        elif wanted:
            tokens = self._tokens_of(wanted)
            self._notes(tokens, line, bee=self._bee, when=when, listed=line)
        for column, cell in row:
            if column.role in {"remark", "more"}:
                named = column.title if column.role == "more" else ""
                value = f"{named}: {cell}" if named else cell
                self._add(EventKind.REMARK, when, line, value=value)
        if not wanted and len(self.events) + len(self._early) == before:
            self._to_look_at(self._line, line, clock=when)

    def _tokens_of(self, cells: Sequence[tuple[Column, str]]) -> list[Token]:
        found: list[Token] = []
        for column, cell in cells:
            read = self._reader.read(cell, wanted=_ROW_CELLS.get(column.role, ""))
            if column.role == "bearing" and column.unit:
                read = [_from_north(token, column.unit) for token in read]
            elif column.role == "duration" and not any(
                token.sort == "duration" for token in read
            ):
                lasted = read_duration(cell, column.unit)
                read = [lasted or Token("odd", "", cell)]
            found += [Token("break", ";", ";"), *read]
        return found

    def _cell(
        self, cell: str, line: str, column: Column, when: datetime | None
    ) -> None:
        """Read what stands in the column of a bee, or of what she did."""
        mark = column.title
        others, left = self._others.take(cell)
        for kind, value in others:
            self._add(kind, when, line, value=value)
        tokens = self._reader.read(left, of_bee=True)
        if column.does:
            ticked = when is not None and cell.lower() in TICKS
            does = Token("event", column.does, column.does)
            tokens = [does, *(() if ticked else tokens)]
        stood = f"{when:%H:%M} " if when else ""
        listed = f"{stood}{mark}: {cell}"
        if tokens or not others:
            self._notes(tokens, line, bee=mark, when=when, listed=listed)

    def _flight(
        self, line: str, cells: Sequence[tuple[Column, str]], when: datetime | None
    ) -> None:
        """Read a row that has her leaving and her coming in columns of their own."""
        bees = [(c, cell) for c, cell in cells if c.role == "mark"]
        moves = [(c, cell) for c, cell in cells if c.role in {"back", "away"}]
        of_move = {
            "away": [(c, cell) for c, cell in cells if c.role == "bearing"],
            "back": [(c, cell) for c, cell in cells if c.role == "duration"],
        }
        others = [(c, cell) for c, cell in cells if c.role == "event"]
        named = self._tokens_of(bees)
        roles = {column.role for column, _ in moves}
        for column, cell in moves:
            told = self._reader.read(cell, of_bee=True)
            if when is not None and cell.lower() in TICKS:
                told = []
            event = Token("event", column.role, column.title)
            beside = self._tokens_of(of_move.pop(column.role, ()))
            listed = " ".join((*(b for _, b in bees), f"{column.title} {cell}"))
            self._notes([*named, event, *told, *beside], line, bee=self._bee,
                        when=when, listed=listed)  # fmt: skip
        for role, unused in (*of_move.items(), ("", others)):
            if unused and role not in roles:
                for column, cell in unused:
                    told_of = " ".join((*(b for _, b in bees), column.title, cell))
                    self._to_look_at(self._line, told_of, clock=when)
        if bees and len(bees) == len(cells):
            self._to_look_at(self._line, line, clock=when)

    # Lines.

    def _note(self, text: str, line: str) -> None:
        """Read the notes of one line."""
        others, left = self._others.take(text)
        tokens = self._reader.read(left, of_bee=bool(self._bee))
        if any(token.sort == "mark" for token in tokens):
            self._named_in_vain()
        when = self._first_time(tokens) if others else None
        doubts = [t.text for t in tokens if t.sort in {"not", "doubt"}]
        said = quoted(doubts)
        flags = (Flag.of(FlagCode.DOUBT_IN_WORDS, said),) if doubts else ()
        for kind, value in others:
            self._add(kind, when, line, value=value, flags=flags)
        facts = [
            t for t in tokens if t.sort in {"mark", "event", "bearing", "duration"}
        ]
        if facts or not others:
            self._notes(tokens, line, bee=self._bee, when=None, listed=line)
            return
        unknown = [t.text for t in tokens if t.sort in UNKNOWN]
        if unknown:
            self._to_look_at(self._line, quoted(unknown), clock=when)

    def _other(self, what: str, cell: str, when: datetime | None, line: str) -> None:
        """Read a cell that is no note of a bee, or list it."""
        text = cell if self._others.announced(cell) else f"{what} {cell}"
        others, left = self._others.take(text)
        for kind, value in others:
            self._add(kind, when, line, value=value)
        if not others or any(t.sort in UNKNOWN for t in self._reader.read(left)):
            self._to_look_at(self._line, f"{what} {cell}", clock=when)

    def _notes(
        self,
        tokens: Sequence[Token],
        line: str,
        *,
        bee: str,
        when: datetime | None,
        listed: str,
    ) -> None:
        """Make events of what is said of bees, or list it."""
        tokens = self._past_date(tokens)
        said = read_groups(tokens, self._moment, bee=bee, when=when)
        if said.last is not None:
            self._last = said.last.time()
        for note in said.notes:
            flags = [*note.flags, *said.flags, *((self._half,) if self._half else ())]
            if note.bare and not self._left(note.mark, note.clock):
                flags.append(Flag(FlagCode.ONLY_NAMED))
            if self._painted and note.mark not in self._painted:
                flags.append(Flag.of(FlagCode.UNPAINTED, note.mark))
            self._add(note.kind, note.clock, line, mark=note.mark, value=note.value,
                      flags=tuple(dict.fromkeys(flags)))  # fmt: skip
        self._half = None
        if said.notes and bee:
            self._bee_line = None
        if not said.notes and (said.telling or said.left):
            self._to_look_at(self._line, listed, clock=said.last, marks=said.marks)

    def _left(self, mark: str, clock: datetime) -> bool:
        """Tell whether a bee was seen leaving just before a bearing."""
        last = self._moved.get(mark)
        if last is None or last.clock is None or last.kind is not EventKind.AWAY:
            return False
        return clock - last.clock <= _WATCHED

    def _past_date(self, tokens: Sequence[Token]) -> Sequence[Token]:
        """Take a date at the beginning for the day, and give what follows."""
        for place, token in enumerate(tokens):
            if token.sort == "date":
                if (day := self._days.read(token.value)) is None:
                    return tokens  # it is left over
                self._on_day(day)
                return [*tokens[:place], *tokens[place + 1 :]]
        return tokens

    def _first_time(self, tokens: Sequence[Token]) -> datetime | None:
        """Return the first time that stands among tokens, on the day before it."""
        for token in self._past_date(tokens):
            if token.sort == "time":
                moment = self._moment(token.value, None)
                self._last = moment.time()
                return moment
        return None

    def _to_look_at(
        self,
        number: int,
        line: str,
        *,
        clock: datetime | None = None,
        marks: tuple[str, ...] = (),
    ) -> None:
        text = " ".join(line.split())[:_MOST_LETTERS]
        if is_blank(text):
            return
        self.unread.append(
            Unread(
                recording=self._name, text=text, line=number, clock=clock, marks=marks
            )
        )

    def _add(
        self,
        kind: EventKind,
        clock: datetime | None,
        line: str,
        *,
        mark: str = "",
        value: str = "",
        flags: tuple[Flag, ...] = (),
    ) -> None:
        heard = " ".join(line[:_MOST_QUOTED].split())
        event = Event(kind=kind, mark=mark, value=value, recording=self._name,
                      clock=clock, heard=heard, flags=flags)  # fmt: skip
        if kind in {EventKind.BACK, EventKind.AWAY}:
            self._moved[mark] = event
        if clock is None:
            self._early.append((event, self._line, line))
            return
        self._on_the_clock(clock)
        self._keep(event)

    def _on_the_clock(self, clock: datetime) -> None:
        """Give what was written without a time, as a station is, the next one."""
        for event, *_ in self._early:
            self._keep(replace(event, clock=clock))
        self._early.clear()

    def _keep(self, event: Event) -> None:
        if event not in self._known:
            self._known.add(event)
            self.events.append(event)

    def _moment(self, text: str, before: datetime | None) -> datetime:
        """Return the moment of a written time, by the one before it."""
        match = TIME.match(text)
        hour = hour_of(match) if match else None
        if match is None or hour is None:
            raise AssertionError(text)  # no token of a time
        if self._day is None:
            raise TranscriptError(
                "the notes have times and no date",
                where=f"{self._where} line {self._line}",
                mend="Write the date above them, as 2026-07-14, or in the file's name, "
                "or give --start 2026-07-14.",
            )
        minute = int(match["m"] or match["mm"] or 0)
        if (ahead := offset_of(match)) is not None:
            at = time(hour, minute, int(match["s"] or 0), tzinfo=timezone(ahead))
            return self._in_zone(self._day, at)
        if half := half_of(match):
            hour = hour % 12 + (12 if half == "p" else 0)
        elif 1 <= hour <= 12 and not (match["h"] or "0").startswith("0"):
            last = before.time() if before else self._last
            hour = _half_of_day(hour, minute, last)
            if last is None and hour < _AT_DAWN_H:
                at_dawn = f"{hour:02}:{minute:02}"
                self._half = Flag.of(FlagCode.HALF_OF_DAY, text, at_dawn)
        return datetime(self._day.year, self._day.month, self._day.day, hour, minute,
                        int(match["s"] or 0), tzinfo=self._zone)  # fmt: skip

    def _in_zone(self, day: date, at: time) -> datetime:
        """Return the moment, in the hunt's zone, of a time with its offset.

        A date beside it is of that offset too; one above it is of the place.
        """
        moment = datetime.combine(day, at).astimezone(self._zone)
        off = day - moment.date()
        return moment + off if off and self._day_line != self._line else moment


def _from_north(token: Token, north: str) -> Token:
    """Give a bearing the north that its heading names, where it names none."""
    own = token.value.endswith(("true", "magnetic"))
    if token.sort != "bearing" or own:
        return token
    return token._replace(value=f"{token.value} {north}")


def _half_of_day(hour: int, minute: int, last: time | None) -> int:
    """Tell morning from afternoon on a twelve-hour dial, by the time before."""
    early, late = hour % 12, hour % 12 + 12
    if early < _LATE_H:
        return late
    if last is None or late > _DARK_H:
        return early
    gone = timedelta(hours=late - last.hour, minutes=minute - last.minute)
    is_later = (early, minute) >= (last.hour, last.minute)
    return early if is_later or gone > SITTING else late
