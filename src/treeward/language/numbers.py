"""Spoken numbers, there and back: one door to the modules that read them.

>>> read_bearing("two hundred and ten".split()).deg
210
>>> read_time("ten past two in the afternoon".split()).value
'14:10'
>>> read_duration("six minutes ten".split()).seconds
370.0
"""

from __future__ import annotations

from .bearings import COMPASS_POINTS, BearingReading, read_bearing, read_compass
from .durations import DurationReading, read_duration
from .number_forms import bearing_forms, cardinal, time_forms
from .times_of_day import TimeReading, read_time

__all__ = [
    "COMPASS_POINTS",
    "BearingReading",
    "DurationReading",
    "TimeReading",
    "bearing_forms",
    "cardinal",
    "half_of_day_known",
    "read_bearing",
    "read_compass",
    "read_duration",
    "read_time",
    "time_forms",
]


def half_of_day_known(value: str) -> bool:
    """Tell whether the value of a time event settles morning or afternoon.

    The parsers write "09:40" or "14:10" where the words did, "9:40" where they did
    not. "10:22", "11:05" and "12:30" look alike either way and count as unsettled;
    ask :func:`read_time` about the words heard where it matters.
    """
    hour, _, _ = value.partition(":")
    return hour.startswith("0") or not 1 <= int(hour) <= 12
