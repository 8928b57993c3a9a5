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
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from .chat import without_senders
from .clock_evidence import time_in_name
from .clocked_cells import TableRead, beside_others, gave_up, tokens_of
from .clocked_groups import quoted, read_groups
from .clocked_legend import learn
from .clocked_moments import PageClock
from .clocked_numbers import (
    UNKNOWN,
    Days,
    Token,
    day_cell,
    month_first,
)
from .clocked_others import Others
from .clocked_tables import (
    TICKS,
    Column,
    is_blank,
    is_rule,
    names_bearing,
    read_heading,
)
from .clocked_words import Reader
from .events import Event
from .flags import Flag, FlagCode
from .unread import Unread

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from treeward.language.phrasebook import PhraseBook

    from .clocked_tables import Table

_MOST_QUOTED = 400  # letters of its line that a note quotes; choice
_HEADING = re.compile(r"\s*#{1,6}\s*(?=[^\W_])")  # as Markdown writes it, and closer
_OF_NOTES = frozenset({"mark", "event"})  # what only a note of a bee has
_MOST_LETTERS = 500  # kept of a line without a note; choice
_WATCHED = timedelta(minutes=5)  # from her leaving to a bearing of it at most; guess
_COMES_OR_GOES = frozenset(
    {EventKind.BACK, EventKind.AWAY, EventKind.MARK, EventKind.MISSED}
)
_OF_BEES = frozenset({"mark", "event", "bearing", "duration", "back", "away", "bee"})
_ENDS = frozenset({"event", "back", "duration", "remark", "more"})  # of a flight


@dataclass(frozen=True, slots=True, kw_only=True)
class Clocked:
    """What was typed: the notes, and lines that hold more than was understood.

    `other_days` are days written on the page that are not the one that was given, and
    `remarks` say of tables why no note could be made of them.
    """

    events: tuple[Event, ...]
    unread: tuple[Unread, ...]
    other_days: tuple[date, ...] = ()
    remarks: tuple[str, ...] = ()


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
        remarks=tuple(one.remark for one in page.tables if one.remark),
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
        self.tables: list[TableRead] = []
        self.written: set[date] = set()  # days that the page tells
        self._known: set[Event] = set()
        self._early: list[tuple[Event, int, str]] = []  # without a time so far, by line
        self._reader, self._others = Reader(book), Others(book)
        self._painted = book.marks_in_use
        self._name = name
        self._clock = PageClock(zone, where)
        self._days = Days(near, self._means)
        named = time_in_name(name.rsplit("/", 1)[-1], near=near)
        self._clock.day = day or (named.day if named else None)
        self._moved: dict[str, Event] = {}  # what each bee here did last
        self._at_station = ""
        self._table: Table | None = None
        self._station = ""  # of the row before
        self._above = ""  # the bee of the line before
        self._inset = 0  # letters that the line which names her is set in
        self._bee = ""  # whose name stands above
        self._bee_line: tuple[int, str] | None = None  # until something is said of her

    def read(self, lines: Sequence[str]) -> None:
        """Read all lines."""
        self._days.month_first = month_first(lines)
        lines = without_senders(lines, self._means)
        learnt = learn(self._reader, lines)
        for self._clock.line, line in enumerate(lines, start=1):
            if not line.strip() or is_rule(line) or self._clock.line in learnt:
                continue
            if headed := _HEADING.match(line):
                self._headed(line[headed.end() :].rstrip(" #"))
            else:
                self._read(line)
        self._named_in_vain()
        if self.events and (last := self.events[-1].clock) is not None:
            self._on_the_clock(last)  # what stands below the last time
        for _, number, line in self._early:
            self._to_look_at(number, line)
        self._keep_apart()
        self.unread.sort(key=lambda one: one.line or 0)

    def _read(self, line: str) -> None:
        if self._others.is_pair(line):  # "Station, 2", also below a table
            self._note(line, line)
            return
        if (
            table := read_heading(line, self._reader, of_bee=bool(self._bee))
        ) is not None:
            self._table = table
            self.tables.append(TableRead(self._clock.line))
            return
        cells = self._table.cells(line) if self._table else None
        if cells is not None and self._table is not None:
            before = len(self.events) + len(self._early)
            self._row(line, self._table, cells)
            tokens = () if self.tables[-1].notes else self._reader.read(line)
            added = (*self.events, *(one[0] for one in self._early))[before:]
            self.tables[-1].count(tokens, noted=any(event.mark for event in added))
            return
        dated = self._dated(line)
        if dated is not None:
            self._head(line, *dated)
        elif mark := self._reader.mark_of(line):
            self._named_in_vain()
            self._bee, self._bee_line = mark, (self._clock.line, line)
        else:
            self._note(line, line)

    def _keep_apart(self) -> None:
        """Let a listed line be heard as itself alone, not as its station or remark.

        A line counts as settled once a note was made of its words.
        """
        listed = {one.text for one in self.unread}
        self.events = [
            replace(event, heard=f"{event.kind} {event.value}".strip())
            if not event.mark and event.heard in listed
            else event
            for event in self.events
        ]

    def _headed(self, line: str) -> None:
        """Read a heading; a note in one may have been put out of use, and is listed."""
        sorts = {token.sort for token in self._reader.read(line)}
        named = self._dated(line) is not None or self._reader.mark_of(line)
        if named or (self._others.announced(line) and not sorts & _OF_NOTES):
            self._read(line)
        else:
            self._to_look_at(self._clock.line, line)

    def _named_in_vain(self) -> None:
        """List a bee's name that stands alone, with nothing below it."""
        if self._bee_line is not None:
            number, line = self._bee_line
            self._to_look_at(number, line, marks=(self._bee,))
        self._bee, self._bee_line = "", None

    # Days.

    def _dated(self, line: str) -> tuple[date, str] | None:
        """Return the day that a line without a bee tells, and what else is in it."""
        if (later := self._days.after(line, self._clock.day)) is not None:
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
            t.sort in {"time", "range", "bearing", "duration", "odd"} for t in tokens
        ):
            self._to_look_at(self._clock.line, left.strip(" ,"))

    def _means(self, word: str) -> bool:
        return self._reader.knows(word) or self._others.announced(word)

    def _on_day(self, day: date) -> None:
        self.written.add(day)
        if day != self._clock.day:
            self._clock.last = None
            self._moved.clear()
        self._clock.day, self._clock.day_line = day, self._clock.line

    # Tables.

    def _row(self, line: str, table: Table, cells: Sequence[str]) -> None:
        """Read one row of a table."""
        row = list(table.row(cells))
        for cell in (cell for column, cell in row if column.role == "date"):
            if (dated := self._dated(day_cell(cell))) is None:
                self._to_look_at(self._clock.line, line)
                return
            self._on_day(dated[0])
        when: datetime | None = None
        for cell in (cell for column, cell in row if column.role == "time"):
            read = self._reader.read(cell, wanted="time")
            tokens = [t for t in read if t.sort != "break"]
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
        before, early = len(self.events), len(self._early)
        for column, cell in row:
            if column.role == "station" and cell != self._station:
                self._station = cell
                self._other("station", cell, when, line)
            elif column.role == "wind":
                self._other("wind", cell, when, line)
        row = beside_others(self._reader, row)
        given_up = [
            one for one in row if one[0].role in _ENDS and gave_up(self._reader, one[1])
        ]
        row = [one for one in row if one not in given_up]
        wanted = [(c, cell) for c, cell in row if c.role in _OF_BEES]
        if table.has("bee"):
            self._cells(row, line, when)
        elif table.has("back", "away"):
            self._flights(line, wanted, when)
        elif wanted and not given_up:
            tokens = tokens_of(self._reader, wanted)
            self._notes(tokens, line, bee=self._bee, when=when, listed=line)
        here = when or next((e.clock for e in self.events[before:]), None)
        if given_up:
            bees = [(c, cell) for c, cell in wanted if c.role == "mark"]
            missed = Token("event", EventKind.MISSED, given_up[0][1])
            said = [*tokens_of(self._reader, bees), missed]
            self._notes(said, line, bee=self._bee, when=here, listed=line)
        for column, cell in row:
            if column.role in {"remark", "more"}:
                named = column.title if column.role == "more" else ""
                value = f"{named}: {cell}" if named else cell
                self._add(EventKind.REMARK, here, line, value=value)
        added = len(self.events) > before or len(self._early) > early
        if not wanted and not given_up and not added:
            self._to_look_at(self._clock.line, line, clock=when)

    def _cells(
        self, row: Sequence[tuple[Column, str]], line: str, when: datetime | None
    ) -> None:
        """Read a row of columns that are of a bee each, and what stands before it."""
        label = ""
        for column, cell in row:
            if column.role == "label":
                tokens = self._reader.read(cell)
                if [t.sort for t in tokens] == ["time"]:
                    when = self._first_time(tokens)
                elif self._reader.event_of(cell) or names_bearing(cell):
                    label = f"{cell} "
                else:
                    self._to_look_at(self._clock.line, cell)
            elif column.role == "bee":
                last = self._moved.get(column.title)
                left = last is not None and last.kind is EventKind.AWAY
                of_last = last.clock if last and left and names_bearing(label) else None
                self._cell(f"{label}{cell}", line, column, when or of_last)

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

    def _flights(
        self, line: str, cells: Sequence[tuple[Column, str]], when: datetime | None
    ) -> None:
        """Read a row that has her leaving and her coming in columns of their own."""
        bees = [(c, cell) for c, cell in cells if c.role == "mark"]
        told = [(c, cell) for c, cell in cells if c.role != "mark"]
        for flight in dict.fromkeys(column.flight for column, _ in told):
            own = [(c, cell) for c, cell in told if c.flight == flight]
            self._flight(line, bees, own, when)
        if bees and not told:
            self._to_look_at(self._clock.line, line, clock=when)

    def _flight(
        self,
        line: str,
        bees: Sequence[tuple[Column, str]],
        cells: Sequence[tuple[Column, str]],
        when: datetime | None,
    ) -> None:
        """Read one flight of a row."""
        moves = [(c, cell) for c, cell in cells if c.role in {"back", "away"}]
        of_move = {
            "away": [(c, cell) for c, cell in cells if c.role == "bearing"],
            "back": [(c, cell) for c, cell in cells if c.role == "duration"],
        }
        others = [(c, cell) for c, cell in cells if c.role == "event"]
        named = tokens_of(self._reader, bees)
        roles = {column.role for column, _ in moves}
        if "back" not in roles:  # that she was gone so long is told of her leaving
            of_move["away"] += of_move.pop("back")
        for column, cell in moves:
            told = self._reader.read(cell, of_bee=True)
            if when is not None and cell.lower() in TICKS:
                told = []
            event = Token("event", column.role, column.title)
            beside = tokens_of(self._reader, of_move.pop(column.role, ()))
            listed = " ".join((*(b for _, b in bees), f"{column.title} {cell}"))
            self._notes([*named, event, *told, *beside], line, bee=self._bee,
                        when=when, listed=listed)  # fmt: skip
        for role, unused in (*of_move.items(), ("", others)):
            if unused and role not in roles:
                for column, cell in unused:
                    told_of = " ".join((*(b for _, b in bees), column.title, cell))
                    self._to_look_at(self._clock.line, told_of, clock=when)

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
            bee = self._bee or self._goes_on(line, tokens)
            self._notes(tokens, line, bee=bee, when=None, listed=line)
            return
        unknown = [t.text for t in tokens if t.sort in UNKNOWN or t.sort == "range"]
        if unknown:
            self._to_look_at(self._clock.line, quoted(unknown), clock=when)

    def _goes_on(self, line: str, tokens: Sequence[Token]) -> str:
        """Return the bee of the line above where one that names none is set below it.

        "0925 Y dep", and further in below it "ret 0931".
        """
        inset = len(line) - len(line.lstrip())
        named = any(token.sort == "mark" for token in tokens)
        if named:
            self._inset = inset
            return ""
        return self._above if inset > self._inset + 1 else ""

    def _other(self, what: str, cell: str, when: datetime | None, line: str) -> None:
        """Read a cell that is no note of a bee, or list it."""
        text = cell if self._others.announced(cell) else f"{what} {cell}"
        others, left = self._others.take(text)
        for kind, value in others:
            self._add(kind, when, line, value=value)
        if not others or any(t.sort in UNKNOWN for t in self._reader.read(left)):
            self._to_look_at(self._clock.line, f"{what} {cell}", clock=when)

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
        tokens = self._without_dittos(self._past_date(tokens))
        did = {mark: event.kind for mark, event in self._moved.items()}
        said = read_groups(tokens, self._clock.moment, bee=bee, when=when, last=did)
        if said.last is not None:
            self._clock.last = said.last.time()
        for note in said.notes:
            flags = [
                *note.flags,
                *said.flags,
                *((self._clock.half,) if self._clock.half else ()),
            ]
            if note.bare and not self._left(note.mark, note.clock):
                flags.append(Flag(FlagCode.ONLY_NAMED))
            if self._painted and note.mark not in self._painted:
                flags.append(Flag.of(FlagCode.UNPAINTED, note.mark))
            self._add(note.kind, note.clock, line, mark=note.mark, value=note.value,
                      flags=tuple(dict.fromkeys(flags)))  # fmt: skip
        self._clock.half = None
        if said.notes and bee:
            self._bee_line = None
        if said.marks:
            self._above = said.marks[0] if len(said.marks) == 1 else ""
        if not said.notes and (said.telling or said.left):
            self._to_look_at(
                self._clock.line, listed, clock=said.last, marks=said.marks
            )

    def _without_dittos(self, tokens: Sequence[Token]) -> list[Token]:
        """Put the bee of the line above for a ditto mark."""
        above = self._above
        return [
            token._replace(sort="mark" if above else "odd", value=above)
            if token.sort == "ditto"
            else token
            for token in tokens
        ]

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
            if token.sort in {"time", "range"}:
                moment = self._clock.moment(token.value.split()[0], None)
                self._clock.last = moment.time()
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
        if kind is EventKind.STATION and value != self._at_station:
            self._moved.clear()
            self._at_station = value
        if kind in _COMES_OR_GOES:
            self._moved[mark] = event
        if clock is None:
            self._early.append((event, self._clock.line, line))
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
