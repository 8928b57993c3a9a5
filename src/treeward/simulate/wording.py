"""How people say bearings, times and marks."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Literal

from .invented import SpokenLine

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np

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


TALK = (
    "Did you bring the flask, or is it still in the car?",
    "There was frost on this side of the hill in May.",
    "My brother used to walk up here with the dogs.",
    "That yellow paint dries faster than I thought it would.",
    "Shall we have the sandwiches before the next move?",
    "I keep thinking it will rain, and then it doesn't.",
    "You can see right down to the reservoir from here.",
    "What was the bearing on the last one?",
    "They never stop, do they?",
    "I would put the next dish behind that wall.",
    "The white pen is nearly empty, by the way.",
    "We should be home by half past five.",
    "It might be an old ash, there are not many trees left on this side.",
    "I like the blue one best, she is so steady.",
    "Mind your foot, that stone moves.",
    "Is there any tea left?",
    "Somebody mended the gate since last year.",
    "How much time do you want to spend at this place?",
    "The heather will be out in a week or two.",
    "My back hurts from sitting on this bucket.",
    "I can hear a curlew somewhere over there.",
    "We can go back to the car along the stream.",
)
PAUSE_BEFORE_S = 6.0  # a note may follow in this time; talk keeps clear of it
LENGTH_S = 5.5  # one sentence, at most; measured on the voices


def with_talk(
    script: Sequence[SpokenLine],
    rng: np.random.Generator,
    *,
    share: float,
    barred: dict[str, list[float]] | None = None,
) -> tuple[SpokenLine, ...]:
    """Put talk into quiet stretches of the script.

    Parameters
    ----------
    script
        The notes, in order.
    rng
        Where the randomness comes from.
    share
        Chance that a quiet stretch holds talk.
    barred
        Recording to seconds at which the recorder was stopped; talk keeps off.
    """
    out: list[SpokenLine] = []
    order = [str(text) for text in rng.permutation(TALK)]
    for said, after in zip(script, (*script[1:], None), strict=True):
        out.append(said)
        if after is None or after.recording != said.recording or rng.random() > share:
            continue
        stops = [
            at_s
            for at_s in (barred or {}).get(said.recording, [])
            if said.start_s < at_s < after.start_s
        ]
        if stops:
            continue
        start_s = said.start_s + PAUSE_BEFORE_S + float(rng.uniform(0.0, 4.0))
        while start_s + LENGTH_S + 1.0 < after.start_s and order:
            out.append(
                SpokenLine(
                    start_s=start_s,
                    text=order[0],
                    recording=said.recording,
                    clock=said.clock + timedelta(seconds=start_s - said.start_s),
                    speaker="friend" if rng.random() < 0.65 else "observer",
                )
            )
            order = order[1:] or [str(text) for text in rng.permutation(TALK)]
            start_s += LENGTH_S + float(rng.uniform(0.0, 3.0))
            if rng.random() < 0.6:
                break
    return tuple(out)


def moved_line(said: SpokenLine, start_s: float, length_s: float) -> SpokenLine:
    """Return the line as it was really placed in the sound."""
    clock = said.clock + timedelta(seconds=start_s - said.start_s)
    event = said.event
    if event is not None:
        event = replace(
            event,
            start_s=round(start_s, 3),
            end_s=round(start_s + length_s, 3),
            clock=clock,
        )
    return replace(said, start_s=start_s, clock=clock, event=event)
