"""From the times that a page writes to moments: its day, and the half of the day."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta, timezone
from typing import TYPE_CHECKING

from treeward.errors import TranscriptError

from .clocked_groups import SITTING
from .clocked_numbers import TIME, half_of, hour_of, offset_of
from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

_LATE_H = 6  # before this hour by a twelve-hour dial it is afternoon; guess
_DARK_H = 20  # nor do notes go on so late; guess
_AT_DAWN_H = 8  # before it a day's first notes may well be of the evening; guess


class PageClock:
    """What tells the moment of a time on a page, line by line.

    `day` is the day of the line, written in `day_line`; `last` is the time before, and
    `half` why morning and afternoon are in doubt. `line` is the number of the line.
    """

    def __init__(self, zone: ZoneInfo, where: str) -> None:
        self._zone, self._where = zone, where
        self.day: date | None = None
        self.day_line = 0
        self.last: time | None = None
        self.half: Flag | None = None
        self.line = 0

    def moment(self, text: str, before: datetime | None) -> datetime:
        """Return the moment of a written time, by the one before it.

        Raises
        ------
        TranscriptError
            Nothing tells the day.
        """
        match = TIME.match(text)
        hour = hour_of(match) if match else None
        if match is None or hour is None:
            raise AssertionError(text)  # no token of a time
        if self.day is None:
            raise TranscriptError(
                "the notes have times and no date",
                where=f"{self._where} line {self.line}",
                mend="Write the date above them, as 2026-07-14, or in the file's name, "
                "or give --start 2026-07-14.",
            )
        minute = int(match["m"] or match["mm"] or 0)
        if (ahead := offset_of(match)) is not None:
            at = time(hour, minute, int(match["s"] or 0), tzinfo=timezone(ahead))
            return self._in_zone(self.day, at)
        if half := half_of(match):
            hour = hour % 12 + (12 if half == "p" else 0)
        elif 1 <= hour <= 12 and not (match["h"] or "0").startswith("0"):
            last = before.time() if before else self.last
            hour = _half_of_day(hour, minute, last)
            if last is None and hour < _AT_DAWN_H:
                at_dawn = f"{hour:02}:{minute:02}"
                self.half = Flag.of(FlagCode.HALF_OF_DAY, text, at_dawn)
        return datetime(self.day.year, self.day.month, self.day.day, hour, minute,
                        int(match["s"] or 0), tzinfo=self._zone)  # fmt: skip

    def _in_zone(self, day: date, at: time) -> datetime:
        """Return the moment, in the hunt's zone, of a time with its offset.

        A date beside it is of that offset too; one above it is of the place.
        """
        moment = datetime.combine(day, at).astimezone(self._zone)
        off = day - moment.date()
        return moment + off if off and self.day_line != self.line else moment


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
