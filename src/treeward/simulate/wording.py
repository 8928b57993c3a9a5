"""How people say bearings, times and marks."""

from __future__ import annotations

from typing import Literal

BearingForm = Literal["digits", "tens", "hundred"]
BEARING_FORMS: tuple[BearingForm, ...] = ("digits", "tens", "hundred")

_ONES = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
_TENS = (
    "",
    "",
    "twenty",
    "thirty",
    "forty",
    "fifty",
    "sixty",
    "seventy",
    "eighty",
    "ninety",
)


def number_words(number: int) -> str:
    """Say a whole number from 0 to 99: "forty-two"."""
    if not 0 <= number <= 99:
        raise ValueError(f"number: {number} is not between 0 and 99")
    if number < 20:
        return _ONES[number]
    tens, ones = divmod(number, 10)
    return _TENS[tens] + (f"-{_ONES[ones]}" if ones else "")


def digit_words(digits: str) -> str:
    """Say digits one by one: "zero three nine"."""
    return " ".join(_ONES[int(digit)] for digit in digits)


def bearing_words(bearing_deg: int, form: BearingForm = "digits") -> str:
    """Say a bearing.

    Parameters
    ----------
    bearing_deg
        Whole degrees, 0 to 360.
    form
        "digits" ("two one zero"), "tens" ("two ten", "two oh eight") or "hundred"
        ("two hundred and ten"). Bearings below 100 are always said by digits, and
        whole hundreds are never "tens".
    """
    if not 0 <= bearing_deg <= 360:
        raise ValueError(f"bearing_deg: {bearing_deg} is not between 0 and 360")
    hundreds, rest = divmod(bearing_deg, 100)
    if form == "digits" or hundreds == 0:
        return digit_words(f"{bearing_deg:03d}")
    head = _ONES[hundreds]
    if rest == 0:
        return f"{head} hundred"
    if form == "hundred":
        return f"{head} hundred and {number_words(rest)}"
    return f"{head} oh {_ONES[rest]}" if rest < 10 else f"{head} {number_words(rest)}"


def time_words(hour: int, minute: int, *, twelve: bool = True) -> str:
    """Say a time of day: "ten twenty-two", "five oh five", "ten o'clock"."""
    if not (0 <= hour <= 23 and 0 <= minute <= 59):
        raise ValueError(f"hour, minute: {hour}:{minute} is not a time of day")
    said = number_words((hour - 1) % 12 + 1 if twelve else hour)
    if minute == 0:
        return f"{said} o'clock" if twelve else f"{said} hundred"
    if minute < 10:
        return f"{said} oh {_ONES[minute]}"
    return f"{said} {number_words(minute)}"


def mark_words(mark: str) -> str:
    """Say a mark: "blue-white" is "blue white"."""
    return mark.replace("-", " ")


def duration_words(minutes: float) -> str:
    """Say half minutes up to 99: "five and a half minutes"."""
    whole = int(minutes)
    if whole == 0:
        return "half a minute"
    if minutes > whole:
        return f"{number_words(whole)} and a half minutes"
    return "one minute" if whole == 1 else f"{number_words(whole)} minutes"
