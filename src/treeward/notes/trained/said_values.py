"""What a number said amid free speech may be: a bearing, a time out, a time of day.

Every reading is given; which of them is meant, if any, is told by the words around it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.bearings import point_at, read_compass
from treeward.language.kinds import EventKind
from treeward.language.number_words import DIGIT_WORDS, TEEN_WORDS, TENS_WORDS
from treeward.notes.sentences import place_after, words_from
from treeward.notes.time_spans import stretch_of_time
from treeward.notes.values import bearing_value, time_value

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

_UNITS = {word: digit for digit, words in DIGIT_WORDS.items() for word in words} | {
    "o": 0,
    "nought": 0,
}
_TEENS = {word: value for value, word in TEEN_WORDS.items()}
_TENS = {word: value for value, word in TENS_WORDS.items()} | {"fourty": 40}
_CLOCKLIKE = re.compile(r"(\d{1,2})[:.](\d\d)")
_FRACTIONS: Mapping[tuple[str, ...], int] = {  # after minutes, in seconds
    ("and", "a", "half"): 30,
    ("an", "a", "half"): 30,
    ("and", "half"): 30,
    ("and", "a", "quarter"): 15,
    ("and", "three", "quarters"): 45,
    ("and", "a", "third"): 20,
    ("and", "two", "thirds"): 40,
    ("and", "a", "bit"): 0,
}
_LINKS = frozenset({"for", "to", "too"})
# After a number that is no bearing then.
_COUNTED = [
    [word]
    for word in ("minutes", "minute", "seconds", "second", "hours", "past", "o'clock")
]
_DECIMAL = re.compile(r"\d{1,2}\.\d")
_BETWEEN = re.compile(r"(?:half ?way |midway |somewhere )?(?:in )?between ")
_RINGS = re.compile(
    r" (?:struck|rung|rang|chimed|tolled|strikes|striking|rings|ringing|chimes"
    r"|chiming|tolls)(?: (?:the|out))? $"
)
# "Seven minutes three", "seven minutes and, what, twenty-seven seconds".
_ODD_SECONDS = re.compile(
    r" (?:, )?(?:(?:and|plus|what|er|um|uh|about|maybe|say|some|,) ){0,3}(?=\S)"
)
_AND_SECONDS = re.compile(r"and (?!a )")  # "eleven twenty-one and forty"
SHORTEST_S, LONGEST_S = 4, 3 * 3600  # "left five seconds ago", "out all day"; guess
MOST_MINUTES = 40  # of a time out told as two numbers, "seven forty"; guess


@dataclass(frozen=True, slots=True)
class SaidValue:
    """A reading of the number said at `start` to `end` of the text.

    `value` is degrees, seconds, or "10:22", by its kind; of a time of day told without
    its hour "+24" is 24 minutes past, "-18" 18 minutes to. `stretched` readings need
    more than was said: "thirty-two" for 132.
    """

    kind: EventKind
    value: str
    start: int
    end: int
    stretched: bool = False
    more: str = ""  # "sw" of 225, "true" of 210


@dataclass(frozen=True, slots=True)
class _Number:
    value: int
    digits: int  # as many as were said: "oh five" is 0 and 5, "twenty" has 2
    used: int  # words up to its end


def values_at(text: str, place: int) -> Iterator[SaidValue]:
    """Give every reading of the number that begins at `place`."""
    words = words_from(text, place)
    seen: dict[tuple[EventKind, str], SaidValue] = {}
    for kind, value, end in (
        *_plainly(text, place, words),
        *((k, v, place_after(text, place, n)) for k, v, n in _as_numbers(words)),
        *((k, v, place_after(text, place, n)) for k, v, n in _in_minutes(words)),
        *_struck(text, place, words),
    ):
        number, _, more = value.partition(" ")
        one = SaidValue(kind=kind, value=number, start=place, end=end - 1, more=more)
        seen.setdefault((kind, number), one)
    for value, end in _stretched(text, place, words):
        one = SaidValue(
            kind=EventKind.BEARING,
            value=value,
            start=place,
            end=end - 1,
            stretched=True,
        )
        seen.setdefault((one.kind, value), one)
    yield from seen.values()


def _unlinked(words: Sequence[str], links: Collection[str] = _LINKS) -> list[str]:
    """Leave out "for her" and what follows, as "for" may be a four misheard."""
    for index, word in enumerate(words[1:], 1):
        if word in links:
            return list(words[:index])
    return list(words)


def _plainly(
    text: str, place: int, words: list[str]
) -> Iterator[tuple[EventKind, str, int]]:
    """Give the readings that leave no doubt of the number itself."""
    bearing = bearing_value(_unlinked(words))
    if bearing and bearing.text:
        end = place_after(text, place, bearing.used)
        yield EventKind.BEARING, bearing.text, end
    middle = _between(text, place)
    if middle:
        yield EventKind.BEARING, f"{middle[0]} {point_at(middle[0])}", middle[1]
    stretch = stretch_of_time(text, place)
    if stretch and SHORTEST_S <= stretch[0] <= LONGEST_S:
        yield EventKind.DURATION, str(round(stretch[0])), stretch[1]
        odd = _ODD_SECONDS.match(text, stretch[1] - 1)
        numbers = _numbers(words_from(text, odd.end())) if odd else []
        if text[place : stretch[1]].endswith(("minutes ", "minute ")) and numbers:
            seconds, end = numbers[0], odd.end() if odd else place
            if seconds.value < 60:
                whole = round(stretch[0]) + seconds.value
                used = seconds.used
                used += words_from(text, end)[used : used + 1] == ["seconds"]
                yield EventKind.DURATION, str(whole), place_after(text, end, used)
    time = time_value(_unlinked(words, {"for"}))
    if time and time.text:
        end = place_after(text, place, time.used)
        for said in (time.text, *time.options[:1]):
            yield EventKind.TIME, said, end
        odd = _AND_SECONDS.match(text, end)
        more = _numbers(words_from(text, odd.end())) if odd else []
        if odd and more and more[0].value < 60 and time.text.count(":") == 1:
            end = place_after(text, odd.end(), more[0].used)
            yield EventKind.TIME, f"{time.text}:{more[0].value:02}", end


def _stretched(
    text: str, place: int, words: Sequence[str]
) -> Iterator[tuple[str, int]]:
    """Give the bearings of which the hundreds may have been left out."""
    bearing = bearing_value(_unlinked(words))
    if bearing and words[bearing.used : bearing.used + 1] not in _COUNTED:
        end = place_after(text, place, bearing.used)
        for said in bearing.options[:2]:
            yield said.split()[0], end


def _between(text: str, place: int) -> tuple[int, int] | None:
    """Read "between north and north-east": the middle, and the place after it."""
    lead = _BETWEEN.match(text, place)
    words = words_from(text, lead.end()) if lead else []
    first = read_compass(words)
    if lead is None or first is None or words[first.used : first.used + 1] != ["and"]:
        return None
    second = read_compass(words[first.used + 1 :])
    if second is None:
        return None
    turn = (second.exact_deg - first.exact_deg + 180) % 360 - 180
    middle = int((first.exact_deg + turn / 2 + 0.5) % 360)
    end = place_after(text, lead.end(), first.used + 1 + second.used)
    return middle, end


def _in_minutes(words: Sequence[str]) -> Iterator[tuple[EventKind, str, int]]:
    """Give readings in minutes: "six and ten", "7.9", "six again", "half five"."""
    decimal = _DECIMAL.fullmatch(words[0]) if words else None
    if decimal and 1 <= float(decimal[0]) <= MOST_MINUTES:
        used = 1 + (words[1:2] in (["minutes"], ["minute"], ["min"]))
        yield EventKind.DURATION, str(round(60 * float(decimal[0]))), used
        return
    numbers = _numbers(words)
    if not numbers or not 1 <= numbers[0].value <= MOST_MINUTES:
        return
    first, used = numbers[0].value, numbers[0].used
    yield EventKind.DURATION, str(60 * first), used
    used += words[used : used + 1] in (["minutes"], ["minute"])
    for said, part_s in _FRACTIONS.items():
        if tuple(words[used : used + len(said)]) == said:
            yield EventKind.DURATION, str(60 * first + part_s), used + len(said)
    link = words[used : used + 1]
    rest = _numbers(words[used + 1 :]) if link else []
    if not rest or rest[0].value >= 60:
        return
    more, end = rest[0].value, used + 1 + rest[0].used
    if link == ["point"] and rest[0].digits == 1:
        yield EventKind.DURATION, str(60 * first + 6 * more), end
    elif link in (["and"], ["plus"]):
        seconds = words[end : end + 1] in (["seconds"], ["second"])
        yield EventKind.DURATION, str(60 * first + more), end + seconds
        if first <= 23 and more >= 10 and not seconds:
            yield EventKind.TIME, f"{first}:{more:02}", end


def _struck(
    text: str, place: int, words: Sequence[str]
) -> Iterator[tuple[EventKind, str, int]]:
    """Give the times of day told by a bell, by hours, or without the hour."""
    numbers = _numbers(words)
    if not numbers:
        return
    first, used = numbers[0].value, numbers[0].used
    if 1 <= first <= 12 and _RINGS.search(text[max(0, place - 20) : place]):
        yield EventKind.TIME, f"{first}:00", place_after(text, place, used)
    if first >= 60:
        return
    rest = list(words[used:])
    minutes = rest[:1] in (["minutes"], ["minute"])
    side = rest[minutes : minutes + 1]
    after = rest[minutes + 1 :]
    end = used + minutes + 1
    hour = _numbers(after)
    if rest[:1] in (["hours"], ["hour"]) and first <= 23:
        skip = 1 + (rest[1:2] == ["and"])
        more = _numbers(rest[skip:])
        if more and more[0].value < 60:
            value = f"{first}:{more[0].value:02}"
            yield (
                EventKind.TIME,
                value,
                place_after(text, place, used + skip + more[0].used),
            )
    elif side == ["before"] and hour and 1 <= hour[0].value <= 12 and first:
        value = f"{(hour[0].value - 2) % 12 + 1}:{60 - first:02}"
        yield EventKind.TIME, value, place_after(text, place, end + hour[0].used)
    elif first and not hour and side in (["past"], ["after"], ["gone"]):
        yield EventKind.TIME, f"+{first}", place_after(text, place, end)
    elif first and not hour and side in (["to"], ["before"], ["of"]) and not after:
        yield EventKind.TIME, f"-{first}", place_after(text, place, end)


def _numbers(words: Sequence[str]) -> list[_Number]:
    """Give the numbers said one after another at the start of `words`."""
    found: list[_Number] = []
    at = 0
    while at < len(words):
        word = words[at].strip(".")
        clock = _CLOCKLIKE.fullmatch(word)
        if clock:
            found.append(_Number(int(clock[1]), len(clock[1]), at))
            found.append(_Number(int(clock[2]), 2, at + 1))
            at += 1
        elif word.isdecimal() and len(word) <= 4:
            found.append(_Number(int(word), len(word), at + 1))
            at += 1
        elif word in _UNITS or word in _TEENS or word in _TENS or word == "hundred":
            number = _in_words(words, at)
            found.append(number)
            at = number.used
        else:
            break
    return found


def _small(word: str) -> int | None:
    for table in (_UNITS, _TEENS, _TENS):
        if word in table:
            return table[word]
    return None


def _in_words(words: Sequence[str], at: int) -> _Number:
    """Read "two hundred and ten", "a hundred", "forty-eight", "seven"."""
    word, after = words[at], words[at + 1 : at + 5]
    hundreds = word == "hundred" or (word in _UNITS and after[:1] == ["hundred"])
    if not hundreds:
        value, used = _below_hundred(words, at)
        return _Number(value, 1 if word in _UNITS else 2, used)
    value = 100 * (1 if word == "hundred" else _UNITS[word])
    used = at + (1 if word == "hundred" else 2)
    rest = used + (words[used : used + 1] == ["and"])
    if rest < len(words) and _small(words[rest]) is not None:
        more, used = _below_hundred(words, rest)
        value += more
    return _Number(value, 3, used)


def _below_hundred(words: Sequence[str], at: int) -> tuple[int, int]:
    value = _small(words[at]) or 0
    unit = _UNITS.get(words[at + 1], 0) if at + 1 < len(words) else 0
    if words[at] in _TENS and unit:
        return value + unit, at + 2
    return value, at + 1


def _as_numbers(words: Sequence[str]) -> Iterator[tuple[EventKind, str, int]]:
    """Give the readings of bare numbers: "two ten", "seven forty", "10 22"."""
    numbers = _numbers(words)
    if not numbers:
        return
    first = numbers[0]
    if first.value <= 360 and words[first.used : first.used + 1] not in _COUNTED:
        yield EventKind.BEARING, str(first.value % 360), first.used
    if 100 <= first.value < 1000 and first.digits == 3:
        yield EventKind.DURATION, str(first.value), first.used
    if len(numbers) > 1:
        yield from _as_two(numbers)
    hour, minute = divmod(first.value, 100)
    if first.digits >= 3 and minute < 60 and 1 <= hour <= MOST_MINUTES:
        yield EventKind.DURATION, str(60 * hour + minute), first.used
        if hour <= 23:
            yield EventKind.TIME, f"{hour}:{minute:02}", first.used


def _as_two(numbers: Sequence[_Number]) -> Iterator[tuple[EventKind, str, int]]:
    first, second, *more = numbers
    deg = 100 * first.value + second.value
    two_ten = first.digits == 1 and second.digits == 2
    if two_ten and 100 <= deg <= 360:
        yield EventKind.BEARING, str(deg % 360), second.used
    if two_ten and deg >= 100:
        yield EventKind.DURATION, str(deg), second.used
    minute, used = second.value, second.used
    if minute == 0 and more and more[0].digits == 1:  # "ten oh five"
        minute, used = more[0].value, more[0].used
    if minute < 60 and (second.digits == 2 or second.value == 0):
        if 1 <= first.value <= MOST_MINUTES:
            yield EventKind.DURATION, str(60 * first.value + minute), used
        if 1 <= first.value <= 23:
            yield EventKind.TIME, f"{first.value}:{minute:02}", used
    elif 7 <= first.value <= 12 and first.digits and 0 < second.value < 10:
        yield EventKind.TIME, f"{first.value}:0{second.value}", second.used
    digits = (first, second, *more[:1])
    if len(digits) == 3 and all(one.digits == 1 for one in digits):
        number = 100 * first.value + 10 * second.value + digits[2].value
        if number <= 360:
            yield EventKind.BEARING, str(number % 360), digits[2].used
        if number >= 100:
            yield EventKind.DURATION, str(number), digits[2].used
    elif (first.digits, second.digits) == (1, 1) and first.value >= 3:  # "six seven"
        seconds = 60 * first.value + second.value
        yield EventKind.DURATION, str(seconds), second.used
