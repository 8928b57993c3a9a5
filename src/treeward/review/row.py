"""A row of review.csv: an event, what the person said of it, and its cells as text.

Clock times as people and spreadsheet programs write them: ISO 8601 is what Treeward
writes. A spreadsheet turns it into the local form, which may leave open which number is
the day; then other rows, or the machine's own copy of the row, decide, and otherwise
the cell is refused.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from treeward.language.dates import calendar_day, in_letters
from treeward.notes.clock_evidence import EARLIEST_YEAR, LATEST_YEAR, exists, in_zone
from treeward.notes.flags import sentences_of
from treeward.speech.utterances import Alternative

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable
    from zoneinfo import ZoneInfo

    from treeward.notes.events import Event


Decision = Literal["", "keep", "drop"]

_SPOTS = frozenset({"thorax", "abdomen"})
# What a person may change in a row.
PERSON_COLUMNS = ("clock", "event", "mark", "value", "decision", "remark")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewRow:
    """One row of review.csv: an event, and what the person said of it.

    `event.row` is the row's name. `extra` holds columns that the person added, by
    name; they are written back behind the others. `line` is the line in the file
    that was read, for messages.
    """

    event: Event
    decision: Decision = ""
    remark: str = ""
    extra: tuple[tuple[str, str], ...] = ()
    line: int | None = field(default=None, compare=False)

    @property
    def name(self) -> str:
        """The row's name, stable across re-runs."""
        return self.event.row


def cells_of(row: ReviewRow) -> dict[str, str]:
    """Return a row as the text of its cells, by column."""
    event = row.event
    return {
        "row": event.row,
        "recording": event.recording,
        "start_s": format_seconds(event.start_s),
        "end_s": format_seconds(event.end_s),
        "clock": "" if event.clock is None else format_clock(event.clock),
        "event": event.kind.value,
        "mark": event.mark,
        "value": event.value,
        "confidence": f"{event.confidence:.2f}",
        "heard": event.heard,
        "alternatives": join_texts(
            f"{a.text} ({a.confidence:.2f})" for a in event.alternatives
        ),
        "flag": join_texts(sentences_of(event.flags)),
        "decision": row.decision,
        "remark": row.remark,
    } | dict(row.extra)


_FIELDS = {"clock": "clock", "event": "kind", "mark": "mark", "value": "value"}


def with_cells(event: Event, other: Event, columns: Collection[str]) -> Event:
    """Return an event with what another has in some columns of the person's."""
    taken = {
        name: getattr(other, name)
        for column, name in _FIELDS.items()
        if column in columns
    }
    return replace(event, **taken)


def normal_mark(text: str) -> str:
    """Write a mark as events hold it: "Blue / White" is "blue-white".

    One or two colours joined by "-", then optionally a spot.
    """
    plain = re.sub(r"\s*[-/+]\s*", "-", " ".join(text.lower().split()))
    words = plain.split(" ")
    if len(words) > 1 and "-" not in words[0] and words[1] not in _SPOTS:
        plain = " ".join([f"{words[0]}-{words[1]}", *words[2:]])
    return plain


_ALTERNATIVE = re.compile(
    r"^(?P<text>.*?)\s*\((?P<confidence>[01](?:[.,]\d+)?)\)$", re.DOTALL
)


class CellError(ValueError):
    """A cell that cannot be read; says what is wrong, and what to write."""

    def __init__(self, what: str, mend: str) -> None:
        self.what = what
        self.mend = mend
        super().__init__(what)


def parse_number(text: str, *, decimal_comma: bool) -> float | None:
    """Read a number as a spreadsheet wrote it; None for an empty cell.

    "12.5", "12,5", "1.234,5" and "1,234.5"; a comma alone is a decimal comma, for
    Treeward writes no thousands.
    """
    plain = text.strip().replace("\u00a0", "").replace("\u202f", "").replace(" ", "")
    if not plain:
        return None
    if "," in plain and "." in plain:
        drop = "." if plain.rindex(",") > plain.rindex(".") else ","
        plain = plain.replace(drop, "")
    plain = plain.replace(",", ".")
    if plain.endswith("%"):
        plain = f"{plain[:-1]}e-2"
    try:
        number = float(plain)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        example = "12,5" if decimal_comma else "12.5"
        raise CellError(f"{text.strip()!r} is no number", f"Write it as {example}.")
    return number


def format_seconds(seconds: float | None) -> str:
    """Write seconds to the hundredth; "" where there are none."""
    return "" if seconds is None else f"{seconds:.2f}"


def join_texts(texts: Iterable[str]) -> str:
    """Put several texts into one cell, so that `split_texts` finds them again."""
    return "; ".join(t.replace("\\", "\\\\").replace(";", "\\;") for t in texts)


def split_texts(cell: str) -> tuple[str, ...]:
    """Take the texts of a cell apart again; an empty cell holds none."""
    parts = re.findall(r"((?:\\.|[^\\;]|\\$)+)", cell, re.DOTALL)
    texts = (re.sub(r"\\(.)", r"\1", part, flags=re.DOTALL).strip() for part in parts)
    return tuple(text for text in texts if text)


def parse_alternatives(cell: str) -> tuple[Alternative, ...]:
    """Read "yellow back (0.31); yellow mark (0.07)".

    One whose confidence was lost has confidence 0.
    """
    found: list[Alternative] = []
    for text in split_texts(cell):
        match = _ALTERNATIVE.match(text)
        said, share = match.groups() if match else (text, "0")
        confidence = min(1.0, float(share.replace(",", ".")))
        found.append(Alternative(text=said, confidence=confidence))
    return tuple(found)


_TIME = (
    r"(?P<hour>\d{1,2})[:.h](?P<minute>\d{2})"
    r"(?:[:.](?P<second>\d{2})(?:[.,](?P<part>\d{1,6}))?)?\s*(?P<half>[ap]\.?m?\.?)?"
)
_OFFSET = r"(?:\s*(?P<offset>Z|[+-]\d{2}:?\d{2}|\+\d{2}))?"
_NUMBERS = re.compile(
    r"^(?P<one>\d{1,4})(?P<sep>[-/. ])(?P<two>\d{1,2})(?P=sep)\s?(?P<three>\d{1,4})"
    rf"\.?(?:[T,\s]+{_TIME}{_OFFSET})?$",
    re.IGNORECASE,
)
_RUN_TOGETHER = re.compile(r"\d[a-z]{3}|[a-z]{3}\d", re.IGNORECASE)  # a spoilt cell
_DAY_FIRST = re.compile(
    rf"^(?P<day>[^:]*[^\W\d_]{{3}}[^:]*?)[,\s]+{_TIME}{_OFFSET}$", re.IGNORECASE
)
_TIME_ONLY = re.compile(rf"^{_TIME}{_OFFSET}$", re.IGNORECASE)
_SERIAL = re.compile(r"^\d{5}[.,]\d+$")  # days since 1899-12-30, in spreadsheets
_EPOCH = datetime(1899, 12, 30)  # noqa: DTZ001  (local time, as spreadsheets count)


_WRITE = "Write it as 2026-07-14 10:22:31."


class NoDayError(CellError):
    """A time alone, where nothing tells the day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockCell:
    """A clock time, and how finely the cell gives it."""

    clock: datetime
    resolution_s: float  # 60 where no seconds were given
    doubled: bool = False  # in the hour that comes twice, and no offset was given


def format_clock(clock: datetime) -> str:
    """Write ISO 8601 with offset, and a part of a second only where there is one."""
    text = clock.isoformat(timespec="microseconds")
    return (
        re.sub(r"\.(\d*?)0+(?=[+-]|$)", r".\1", text)
        .replace(".+", "+")
        .replace(".-", "-")
    )


def day_first(cells: Iterable[str]) -> bool | None:
    """Tell whether a file writes the day before the month; None where no row does."""
    seen: set[bool] = set()
    for cell in cells:
        match = _NUMBERS.match(cell.strip())
        if match is None or len(match["one"]) > 2:
            continue
        one, two = int(match["one"]), int(match["two"])
        if one > 12 >= two or match["sep"] == ".":
            seen.add(True)
        elif two > 12 >= one:
            seen.add(False)
    return seen.pop() if len(seen) == 1 else None


def parse_clock(
    text: str,
    zone: ZoneInfo,
    *,
    by_day: bool | None = None,
    machine: datetime | None = None,
    day: date | None = None,
) -> ClockCell:
    """Read a clock cell.

    Parameters
    ----------
    text
        "2026-07-14T10:22:31+01:00", "14/07/2026 10:22:31", "14.07.2026 10:22",
        "7/14/2026 10:22 AM", "14 July 2026 10:22", "10:22".
    zone
        The hunt's time zone, for a cell without offset.
    by_day
        Whether the file writes the day before the month, see `day_first`.
    machine
        What the machine wrote in this cell; tells day from month, and the day of a
        time alone.
    day
        The day of the recording, for a time alone.

    Raises
    ------
    CellError
        If it is no time, has no day, or may be two days.
    """
    text = " ".join(text.split())
    machine = in_zone(machine, zone) if machine is not None else None
    if match := _TIME_ONLY.match(text):
        known = machine.date() if machine is not None else day
        if known is None:
            raise NoDayError(
                f"{text!r} has no date",
                "Write the date as well, as 2026-07-14 10:22:31.",
            )
        read = _put_together(known, match, zone, text)
        off = known - read.clock.date()  # an offset's day may be another than ours
        return replace(read, clock=read.clock + off) if off else read
    if match := _NUMBERS.match(text):
        found = _days(match, by_day)
        if len(found) > 1 and machine is not None:
            found = [d for d in found if d == machine.date()] or found
        if not found:
            raise CellError(f"{text!r} is no date", _WRITE)
        if len(found) > 1:
            a, b = found
            raise CellError(
                f"{text!r} may be {a:%d %B} or {b:%d %B}",
                "Write the year first, as 2026-07-14 10:22:31.",
            )
        if match["hour"] is None:
            raise CellError(f"{text!r} has no time of day", _WRITE)
        return _put_together(found[0], match, zone, text)
    if _SERIAL.match(text):
        local = _EPOCH + timedelta(days=float(text.replace(",", ".")))
        local = (local + timedelta(milliseconds=500)).replace(microsecond=0)
        return _checked(local, zone, text, resolution_s=1.0)
    return _in_letters(text, zone)


def _days(match: re.Match[str], by_day: bool | None) -> list[date]:
    one, two, three = match["one"], match["two"], match["three"]
    if len(one) == 4:
        tries = [(one, two, three)]
    else:
        year = three if len(three) == 4 else f"20{three:0>2}"
        tries = [(year, two, one), (year, one, two)]
        if by_day or match["sep"] == ".":
            tries = tries[:1]
        elif by_day is False:
            tries = tries[1:]
    found = [
        calendar_day(int(year), int(month), int(day)) for year, month, day in tries
    ]
    return list(dict.fromkeys(filter(None, found)))


def _put_together(
    day: date, match: re.Match[str], zone: ZoneInfo, text: str
) -> ClockCell:
    hour, minute = int(match["hour"]), int(match["minute"])
    second = int(match["second"] or 0)
    half = (match["half"] or "").lower()
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half.startswith("p") else 0)
    part = int((match["part"] or "0").ljust(6, "0"))
    resolution_s = 60.0 if match["second"] is None else 1.0
    try:
        local = datetime.combine(day, time(hour, minute, second, part))
        if offset := match["offset"]:
            moment = datetime.fromisoformat(f"{local.isoformat()}{offset.upper()}")
            clock = _of_these_centuries(in_zone(moment, zone), text)
            return ClockCell(clock=clock, resolution_s=resolution_s)
    except (ValueError, OverflowError):
        raise CellError(f"{text!r} is no time of day", _WRITE) from None
    return _checked(local, zone, text, resolution_s=resolution_s)


def _checked(
    local: datetime, zone: ZoneInfo, text: str, *, resolution_s: float
) -> ClockCell:
    clock = _of_these_centuries(local.replace(tzinfo=zone), text)
    if not exists(clock):
        raise CellError(
            f"{text!r} does not exist, the clocks went forward over it",
            f"Write it with its offset, as {clock.astimezone(UTC).isoformat()}.",
        )
    doubled = clock.utcoffset() != clock.replace(fold=1).utcoffset()
    return ClockCell(clock=clock, resolution_s=resolution_s, doubled=doubled)


def _of_these_centuries(clock: datetime, text: str) -> datetime:
    if not EARLIEST_YEAR <= clock.year <= LATEST_YEAR:
        raise CellError(f"{text!r} lies in the year {clock.year}", "Correct the year.")
    return clock


def _in_letters(text: str, zone: ZoneInfo) -> ClockCell:
    """Read a date with its month in letters, in any language dateparser knows."""
    refused = CellError(f"{text!r} is no date and time", _WRITE)
    if not re.search(r"[^\W\d_]{3,}", text) or not re.search(r"\d:\d\d", text):
        raise refused
    if len(text) > 60 or _RUN_TOGETHER.search(text):
        raise refused
    if (match := _DAY_FIRST.match(text)) and (day := _day_in_letters(match["day"])):
        return _put_together(day, match, zone, text)
    found = in_letters(text)
    if found is None:
        raise refused
    resolution_s = 1.0 if re.search(r":\d\d:\d\d", text) else 60.0
    return _checked(found.replace(tzinfo=None), zone, text, resolution_s=resolution_s)


@lru_cache(maxsize=1000)  # a file has a row a minute, but few days; each costs 1 ms
def _day_in_letters(text: str) -> date | None:
    found = in_letters(text)
    return found.date() if found else None
