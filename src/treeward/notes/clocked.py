"""Notes typed with clock times, as a notebook page holds them.

One line or more a note: "9:05 yellow away, north east", "yellow 9.07 back",
"0912 Y back 0918 Y off 220"; or a table with a heading, of one row a note or one column
a bee. Dates stand on lines of their own, or in the file's name.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import islice
from typing import TYPE_CHECKING, Literal

from treeward.errors import TranscriptError
from treeward.language.bearings import POINTS_DEG, read_bearing
from treeward.language.dates import parse_date
from treeward.language.kinds import ALSO_WRITTEN, EventKind

from .clock_evidence import time_in_name
from .events import Event
from .parser import parse_typed
from .unread import Unread

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, time
    from zoneinfo import ZoneInfo

    from treeward.language.phrasebook import PhraseBook

Sort = Literal["time", "mark", "event", "bearing", "duration", "word", "and"]

_TIME = re.compile(
    r"(?P<h>\d{1,2})\s?[:.h]\s?(?P<m>[0-5]\d)(?:[:.](?P<s>[0-5]\d))?"
    r"(?:\s?(?P<half>[ap])\.?m\b\.?)?(?![\d:])"
    r"|(?P<hh>[01]\d|2[0-3])(?P<mm>[0-5]\d)(?!\d)"
    r"|(?P<hour>\d{1,2})\s?(?P<only>[ap])\.?m\b\.?",
    re.ASCII,
)
_DURATION = re.compile(
    r"(?:(?:after|for)\s+)?(?P<min>\d{1,3}(?:[.,]\d)?)\s?(?:min(?:ute)?s?|')\b\.?"
    r"(?:\s?(?P<sec>[0-5]?\d)\s?(?:s(?:ec(?:ond)?s?)?\b|\"))?"
    r"|(?:after|for)\s+(?P<m>\d{1,3}):(?P<s>[0-5]\d)"
)
_DEGREES = re.compile(
    r"(?P<deg>\d{1,3})\s?(?:\u00b0|deg(?:rees)?\b)?(?:\s?(?P<north>true"
    r"|magnetic)\b)?(?!\d)"
)
_WORD = re.compile(r"[^\W\d_]+(?:['\u2019-][^\W\d_]+)*")
_LETTERS = re.compile(r"(?P<one>[a-z])\s?[/-]?\s?(?P<two>[a-z])?(?![a-z])")
_MOST_QUOTED = 400  # letters of its line that a note quotes; choice
_TIMED_LINE = re.compile(r"\s*[\[(]\s*\d{1,3}:\d{2}")  # of a transcript: [m:ss]
_BEES = frozenset({EventKind.BACK, EventKind.AWAY, EventKind.MARK, EventKind.MISSED})
# Says nothing by itself in a written note.
_FILLERS = frozenset(
    {"the", "one", "at", "bee", "a", "is", "was", "then", "bearing", "heading", "to"}
    | {"towards", "toward", "about", "roughly", "from", "again", "and", "has"}
)
_POINTS = {
    **{name.replace("-", ""): name for name in POINTS_DEG},
    "north": "n",
    "south": "s",
    "east": "e",
    "west": "w",
    "northeast": "ne",
    "northwest": "nw",
    "southeast": "se",
    "southwest": "sw",
}
_HEADINGS = {
    "time": "time", "clock": "time", "mark": "mark", "bee": "mark", "colour": "mark",
    "color": "mark", "event": "event", "what": "event", "bearing": "bearing",
    "date": "date", "day": "date", "station": "station", "remark": "remark",
    "note": "remark", "notes": "remark",
}  # fmt: skip
_LATE_H = 6  # before this hour by a twelve-hour dial it is afternoon; guess
_DARK_H = 20  # nor do notes go on so late; guess
_MOST_LETTERS = 500  # kept of a line without a note; choice
_SITTING_H = 6  # between two notes of a day at most; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class Clocked:
    """What was typed: the notes, and lines that look as if they held more."""

    events: tuple[Event, ...]
    unread: tuple[Unread, ...]


@dataclass(slots=True)
class _Group:
    """What is known of one note while a line is read."""

    time: datetime | None = None
    marks: list[str] = field(default_factory=list)
    kind: EventKind | None = None
    bearing: str = ""
    away_s: float | None = None
    joined: bool = False  # "and": the next mark is of the same note

    def has(self, sort: Sort) -> bool:
        """Whether a thing of this sort is known already."""
        match sort:
            case "time":
                return self.time is not None
            case "mark":
                return bool(self.marks) and not self.joined
            case "event":
                return self.kind is not None
            case "bearing":
                return bool(self.bearing)
            case "duration":
                return self.away_s is not None
            case "word" | "and":
                return False


def has_clock_times(text: str, book: PhraseBook) -> bool:
    """Tell whether a text holds notes typed with clock times.

    Lines that begin with "[m:ss]" are a transcript's.
    """
    reader = _Lines(book)
    for line in text.splitlines():
        if _TIMED_LINE.match(line):
            return False
        if {"time", "mark"} <= {sort for sort, _ in reader.tokens(line)}:
            return True
    heads = [_heading(line, reader) for line in text.splitlines() if line.strip()]
    return bool(heads) and heads[0] is not None


def read_clocked(
    text: str,
    book: PhraseBook,
    zone: ZoneInfo,
    *,
    name: str = "",
    near: date | None = None,
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
    where
        What a fault names; `name` by default.

    Raises
    ------
    TranscriptError
        The notes have times, and no date is written anywhere.
    """
    page = _Page(_Lines(book), book, zone, name=name, near=near, where=where or name)
    page.read(text.splitlines())
    return Clocked(events=tuple(page.events), unread=tuple(page.unread))


class _Lines:
    """Takes lines apart into times, marks, comings and goings, and bearings."""

    def __init__(self, book: PhraseBook) -> None:
        self._marks = {tuple(said.split()): mark for said, mark in book.marks().items()}
        colours = {m for m in book.marks().values() if "-" not in m and " " not in m}
        first: dict[str, list[str]] = {}
        for colour in sorted(colours):
            first.setdefault(colour[0], []).append(colour)
        self._letters = {
            letter: names[0] for letter, names in first.items() if len(names) == 1
        }
        self._events: dict[tuple[str, ...], EventKind] = {
            (word,): kind for word, kind in ALSO_WRITTEN.items()
        }
        for kind, action in book.actions.items():
            for way in (*action.say, *action.narrate):
                head, _, tail = way.partition("{mark} ")
                if not head and tail and "{" not in tail:
                    self._events[tuple(tail.split())] = EventKind(kind)

    def mark_of(self, text: str) -> str | None:
        """Return the mark that a text names and nothing beside it, or None."""
        tokens = [t for t in self.tokens(text) if t[0] != "and"]
        if len(tokens) == 1 and tokens[0][0] == "mark":
            return tokens[0][1]
        return None

    def tokens(self, line: str) -> list[tuple[Sort, str]]:
        """Return what stands in a line, in its order."""
        text = line.lower()
        found: list[tuple[Sort, str]] = []
        at = 0
        while at < len(text):
            sort, value, length = self._next(text, at, found)
            if sort is not None:
                found.append((sort, value))
            at += length
        return found

    def _next(
        self, text: str, at: int, before: Sequence[tuple[Sort, str]]
    ) -> tuple[Sort | None, str, int]:
        if match := _DURATION.match(text, at):
            minutes = float((match["min"] or match["m"]).replace(",", "."))
            seconds = float(match["sec"] or match["s"] or 0)
            return "duration", str(60.0 * minutes + seconds), match.end() - at
        if "0" <= text[at] <= "9":
            return _number(text, at)
        if text[at] in "&+":
            return "and", "", 1
        match = _WORD.match(text, at)
        if match is None:
            return None, "", 1
        return self._word(text, at, match, before)

    def _word(
        self,
        text: str,
        at: int,
        match: re.Match[str],
        before: Sequence[tuple[Sort, str]],
    ) -> tuple[Sort, str, int]:
        said = list(islice(_WORD.finditer(text, at), 4))
        words = [m[0].replace("\u2019", "'") for m in said]
        for count in range(min(len(words), 3), 0, -1):
            between = text[at : said[count - 1].end()]
            if re.search(r"[\d,;.\t]", between):
                continue
            parts = tuple(re.split(r"[\s/-]+", " ".join(words[:count])))
            for sort, table in (("mark", self._marks), ("event", self._events)):
                if parts in table:
                    return sort, str(table[parts]), said[count - 1].end() - at  # type: ignore[return-value]
        marked = bool(before) and any(sort == "mark" for sort, _ in before)
        if point := self._point(words):
            name, count = point
            if len(words[0]) > 1 or marked or words[0] not in self._letters:
                deg = round(POINTS_DEG[name], 1)
                return "bearing", f"{deg:g} {name}", said[count - 1].end() - at
        if (short := _LETTERS.match(text, at)) and (mark := self._short(short)):
            return "mark", mark, short.end() - at
        if words[0] == "and":
            return "and", "", match.end() - at
        if (spoken := read_bearing(words)) is not None and spoken.deg is not None:
            length = said[spoken.used - 1].end() - at
            return "bearing", f"{spoken.deg:g}", length
        return "word", match[0], match.end() - at

    @staticmethod
    def _point(words: Sequence[str]) -> tuple[str, int] | None:
        for count in (3, 2, 1):
            name = "".join(_POINTS.get(w, "?") for w in words[:count]).replace("-", "")
            if len(words) >= count and name in POINTS_DEG:
                return name, count
        return None

    def _short(self, letters: re.Match[str]) -> str:
        one = self._letters.get(letters["one"], "")
        if not letters["two"]:
            return one
        two = self._letters.get(letters["two"], "")
        return f"{one}-{two}" if one and two else ""


def _number(text: str, at: int) -> tuple[Sort | None, str, int]:
    if match := _TIME.match(text, at):
        return "time", match[0], match.end() - at
    if (match := _DEGREES.match(text, at)) and int(match["deg"]) <= 360:
        north = f" {match['north']}" if match["north"] else ""
        return "bearing", f"{int(match['deg']) % 360}{north}", match.end() - at
    length = len(text[at:]) - len(text[at:].lstrip("0123456789.,:"))
    return "word", text[at : at + length], length


def _heading(line: str, reader: _Lines) -> list[str] | None:
    """Return what the columns of a table hold, or None for a line that is no head."""
    cells = _cells(line)
    names = [_HEADINGS.get(c.lower(), reader.mark_of(c) or "") for c in cells]
    known = [name for name in names if name]
    if len(cells) < 2 or len(known) < 2 or any(ch.isdigit() for ch in line):
        return None
    if len(known) < len([cell for cell in cells if cell]):
        return None
    return names


def _cells(line: str) -> list[str]:
    for mark in ("\t", ";", "|", ","):
        if mark in line:
            return [c.strip() for c in next(csv.reader([line], delimiter=mark))]
    return [c.strip() for c in re.split(r" {2,}", line.strip())]


class _Page:
    """Reads lines into events, from the first to the last."""

    def __init__(
        self,
        reader: _Lines,
        book: PhraseBook,
        zone: ZoneInfo,
        *,
        name: str,
        near: date | None,
        where: str,
    ) -> None:
        self.events: list[Event] = []
        self.unread: list[Unread] = []
        self._known: set[Event] = set()
        self._early: list[tuple[Event, int, str]] = []  # without a time so far, by line
        self._made = 0  # notes, those that were written twice among them
        self._reader, self._book, self._zone = reader, book, zone
        self._name, self._near, self._where = name, near, where
        named = time_in_name(name.rsplit("/", 1)[-1], near=near)
        self._day = named.day if named else None
        self._last: time | None = None
        self._columns: list[str] | None = None
        self._head = ""  # a line with a date, which may name the station too
        self._line = 0

    def read(self, lines: Sequence[str]) -> None:
        """Read all lines."""
        for self._line, line in enumerate(lines, start=1):
            if not line.strip() or line.lstrip().startswith("#"):
                continue
            if (day := self._day_of(line)) is not None:
                self._day, self._last, self._head = day, None, line
            elif (columns := _heading(line, self._reader)) is not None:
                self._columns = columns
            elif self._columns is not None and len(_cells(line)) > 1:
                self._row(line, self._columns)
            else:
                self._note(line, line)
        if self.events and (last := self.events[-1].clock) is not None:
            self._on_the_clock(last)  # what stands below the last time
        for _, number, line in self._early:
            self._to_look_at(number, line)
        self.unread.sort(key=lambda one: one.line or 0)

    def _day_of(self, line: str) -> date | None:
        if {"mark", "event"} & {sort for sort, _ in self._reader.tokens(line)}:
            return None
        plain = re.sub(r"(?i)^\s*(?:date|day)\s*:?", "", line).strip(" \t,;|:.-")
        plain = re.sub(r"(?i)^(?:mon|tues?|wed(?:nes)?|thurs?|fri|satur|sat|sun)"
                       r"(?:day)?,?\s+", "", plain)  # fmt: skip
        if not plain:
            return None
        if (day := parse_date(plain, near=self._near)) is not None:
            return day
        named = time_in_name(f"{plain} ", near=self._near)  # "Heath, 14 July 2026"
        return named.day if named else None

    def _row(self, line: str, columns: Sequence[str]) -> None:
        """Read one row of a table."""
        cells = dict(zip(columns, _cells(line), strict=False))
        if day := cells.get("date"):
            self._day = self._day_of(day) or self._day
        when = cells.get("time", "")
        if station := cells.get("station"):
            self._note(f"{when} station {station}", line)
        if {"mark", "event"} & set(columns):
            told = " ".join(
                cells.get(c, "") for c in ("time", "mark", "event", "bearing")
            )
            if any(cells.get(c) for c in ("mark", "event", "bearing")):
                self._note(told, line)
        else:
            for mark in (c for c in columns if c not in _HEADINGS.values()):
                if mark and (said := cells.get(mark)):
                    self._note(f"{when} {mark} {said}", line)
        if remark := cells.get("remark"):
            self._add(EventKind.REMARK, self._clock(when) if when else None, line,
                      value=remark)  # fmt: skip

    def _note(self, text: str, line: str) -> None:
        """Read the notes of one line, or of one cell and what stands over it."""
        before, made = len(self.events), self._made
        left: list[str] = []
        group, mark, when = _Group(), [""], None
        tokens = self._reader.tokens(text)
        for sort, value in tokens:
            if group.has(sort):
                self._close(group, line, marks=mark, when=when)
                mark, when = group.marks or mark, group.time or when
                group = _Group()
            match sort:
                case "time":
                    group.time = self._clock(value)
                case "mark":
                    group.marks.append(value)
                    group.joined = False
                case "event":
                    group.kind = EventKind(value)
                case "bearing":
                    group.bearing = value
                case "duration":
                    group.away_s = float(value)
                case "and":
                    group.joined = bool(group.marks) and group.kind is None
                case "word":
                    left.append(value)
        self._close(group, line, marks=mark, when=when)
        last = group.time or when
        if self._head and len(self.events) > before:
            read = self.events[before:]
            del self.events[before:]  # the head stands above them
            self._others(self._head, ["head"], read[0].clock, self._head)
            self.events += read
            self._head = ""
        self._others(text, left, last, line)
        telling = any(sort in {"mark", "event", "time"} for sort, _ in tokens)
        if self._made == made and telling:
            marks = dict.fromkeys(v for sort, v in tokens if sort == "mark")
            self._to_look_at(self._line, line, clock=last, marks=tuple(marks))

    def _to_look_at(
        self,
        number: int,
        line: str,
        *,
        clock: datetime | None = None,
        marks: tuple[str, ...] = (),
    ) -> None:
        text = " ".join(line.split())[:_MOST_LETTERS]
        self.unread.append(
            Unread(
                recording=self._name, text=text, line=number, clock=clock, marks=marks
            )
        )

    def _others(
        self, text: str, left: Sequence[str], when: datetime | None, line: str
    ) -> None:
        """Read what is no note of a bee: station, wind, pauses."""
        if not set(left) - _FILLERS:
            return
        for part in re.split(r"[,;\t|]", re.sub(_TIME, " ", text.lower())):
            words = " ".join(re.findall(r"[^\W_]+(?:'[^\W_]+)?", part))
            for event in parse_typed(words, self._book):
                if event.kind not in _BEES and event.kind is not EventKind.BEARING:
                    self._add(event.kind, when, line, value=event.value)

    def _close(
        self,
        group: _Group,
        line: str,
        *,
        marks: Sequence[str],
        when: datetime | None,
    ) -> None:
        """Note what a group says; one that lacks its time or its bee says nothing."""
        clock = group.time or when
        if clock is None or not (group.kind or group.bearing or group.away_s):
            return
        for mark in group.marks or marks:
            if not mark:
                continue
            if group.kind is not None:
                self._add(group.kind, clock, line, mark=mark)
            if group.bearing and group.kind in {None, EventKind.AWAY}:
                self._add(EventKind.BEARING, clock, line, mark=mark,
                          value=group.bearing)  # fmt: skip
            if group.away_s:
                self._add(EventKind.DURATION, clock, line, mark=mark,
                          value=f"away {group.away_s:g}")  # fmt: skip

    def _add(
        self,
        kind: EventKind,
        clock: datetime | None,
        line: str,
        *,
        mark: str = "",
        value: str = "",
    ) -> None:
        heard = " ".join(line[:_MOST_QUOTED].split())
        event = Event(kind=kind, mark=mark, value=value, recording=self._name,
                      clock=clock, heard=heard)  # fmt: skip
        self._made += 1
        if event.clock is None:
            self._early.append((event, self._line, line))
            return
        self._on_the_clock(event.clock)
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

    def _clock(self, text: str) -> datetime | None:
        match = _TIME.match(text.strip().lower())
        if match is None:
            return None
        if self._day is None:
            raise TranscriptError(
                "the notes have times and no date",
                where=f"{self._where} line {self._line}",
                mend="Write the date above them, as 2026-07-14, or in the file's name.",
            )
        hour, minute = (
            int(match["h"] or match["hh"] or match["hour"]),
            int(match["m"] or match["mm"] or 0),
        )
        half = match["half"] or match["only"]
        if hour > 23 or (half and not 1 <= hour <= 12):
            return None
        if half:
            hour = hour % 12 + (12 if half == "p" else 0)
        elif 1 <= hour <= 12 and not (match["h"] or "0").startswith("0"):
            hour = self._half_of_day(hour, minute)
        clock = datetime(self._day.year, self._day.month, self._day.day, hour, minute,
                         int(match["s"] or 0), tzinfo=self._zone)  # fmt: skip
        self._last = clock.time()
        return clock

    def _half_of_day(self, hour: int, minute: int) -> int:
        """Tell morning from afternoon on a twelve-hour dial, by the time before."""
        early, late = hour % 12, hour % 12 + 12
        if early < _LATE_H:
            return late
        if self._last is None or late > _DARK_H:
            return early
        gone_min = 60 * (late - self._last.hour) + minute - self._last.minute
        is_later = 60 * early + minute >= 60 * self._last.hour + self._last.minute
        return early if is_later or gone_min > 60 * _SITTING_H else late
