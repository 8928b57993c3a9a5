"""What a number said amid free speech may be: a bearing, a time out, a time of day.

Every reading is given; which of them is meant, if any, is told by the words around it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.language.number_words import DIGIT_WORDS, TEEN_WORDS, TENS_WORDS
from treeward.notes.narrated_durations import stretch_of_time
from treeward.notes.sentences import place_after, words_from
from treeward.notes.values import bearing_value, time_value

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

_UNITS = {word: digit for digit, words in DIGIT_WORDS.items() for word in words} | {
    "o": 0,
    "nought": 0,
}
_TEENS = {word: value for value, word in TEEN_WORDS.items()}
_TENS = {word: value for value, word in TENS_WORDS.items()} | {"fourty": 40}
_CLOCKLIKE = re.compile(r"(\d{1,2})[:.](\d\d)")
_FRACTIONS: Mapping[tuple[str, ...], int] = {  # after minutes, in seconds
    ("and", "a", "half"): 30,
    ("and", "a", "quarter"): 15,
    ("and", "three", "quarters"): 45,
}
_ODD_SECONDS = re.compile(r" (?:, )?(?:and )?(?=\S)")  # "seven minutes three"
SHORTEST_S, LONGEST_S = 4, 3 * 3600  # "left five seconds ago", "out all day"; guess
MOST_MINUTES = 40  # of a time out told as two numbers, "seven forty"; guess


@dataclass(frozen=True, slots=True)
class SaidValue:
    """A reading of the number said at `start` to `end` of the text.

    `value` is degrees, seconds, or "10:22", by its kind.
    """

    kind: EventKind
    value: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class _Number:
    value: int
    digits: int  # as many as were said: "oh five" is 0 and 5, "twenty" has 2
    used: int  # words up to its end


def values_at(text: str, place: int) -> Iterator[SaidValue]:
    """Give every reading of the number that begins at `place`."""
    words = words_from(text, place)
    seen: list[SaidValue] = []
    for kind, value, end in (
        *_plainly(text, place, words),
        *((k, v, place_after(text, place, n)) for k, v, n in _as_numbers(words)),
    ):
        if not any((one.kind, one.value) == (kind, value) for one in seen):
            seen.append(SaidValue(kind=kind, value=value, start=place, end=end - 1))
    yield from seen


def _plainly(
    text: str, place: int, words: list[str]
) -> Iterator[tuple[EventKind, str, int]]:
    """Give the readings that leave no doubt of the number itself."""
    bearing = bearing_value(words)
    if bearing and bearing.text:
        end = place_after(text, place, bearing.used)
        for said in (bearing.text, *bearing.options[:2]):
            yield EventKind.BEARING, said.split()[0], end
    stretch = stretch_of_time(text, place)
    if stretch and SHORTEST_S <= stretch[0] <= LONGEST_S:
        yield EventKind.DURATION, str(round(stretch[0])), stretch[1]
        odd = _ODD_SECONDS.match(text, stretch[1] - 1)
        numbers = _numbers(words_from(text, odd.end())) if odd else []
        if text[place : stretch[1]].endswith(("minutes ", "minute ")) and numbers:
            seconds, end = numbers[0], odd.end() if odd else place
            if seconds.value < 60:
                whole = round(stretch[0]) + seconds.value
                yield (
                    EventKind.DURATION,
                    str(whole),
                    place_after(text, end, seconds.used),
                )
    time = time_value(words)
    if time and time.text:
        end = place_after(text, place, time.used)
        for said in (time.text, *time.options[:1]):
            yield EventKind.TIME, said, end


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
    if first.value <= 360:
        yield EventKind.BEARING, str(first.value % 360), first.used
    part_s = _FRACTIONS.get(tuple(words[first.used : first.used + 3]))
    if part_s is not None and 1 <= first.value <= MOST_MINUTES:
        yield EventKind.DURATION, str(60 * first.value + part_s), first.used + 3
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
    two_ten = first.value in {1, 2, 3} and (first.digits, second.digits) == (1, 2)
    if two_ten and deg <= 360:
        yield EventKind.BEARING, str(deg % 360), second.used
    minute, used = second.value, second.used
    if minute == 0 and more and more[0].digits == 1:  # "ten oh five"
        minute, used = more[0].value, more[0].used
    if minute < 60 and (second.digits == 2 or second.value == 0):
        if 1 <= first.value <= MOST_MINUTES:
            yield EventKind.DURATION, str(60 * first.value + minute), used
        if 1 <= first.value <= 23:
            yield EventKind.TIME, f"{first.value}:{minute:02}", used
    digits = (first, second, *more[:1])
    if len(digits) == 3 and all(one.digits == 1 for one in digits):
        deg = 100 * first.value + 10 * second.value + digits[2].value
        if deg <= 360:
            yield EventKind.BEARING, str(deg % 360), digits[2].used
