"""Words of spoken numbers as tokens, each remembering where it was said.

An engine writes a spoken two as "to" as often as not. Such sound-alikes count as
numbers only here, that is after a word that announces one, and are remembered as
inexact so that the reading can carry a flag.

Values into words: every form in which a bearing or a time of day is said.

The way back, words into values, is in the modules beside. Digit words follow
common usage and ICAO Annex 10, Volume II, 5.2.1.4.3 (tree, fower, fife, niner).
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


DIGIT_WORDS: Mapping[int, tuple[str, ...]] = {
    0: ("zero", "oh"),
    1: ("one",),
    2: ("two",),
    3: ("three", "tree"),
    4: ("four", "fower"),
    5: ("five", "fife"),
    6: ("six",),
    7: ("seven",),
    8: ("eight",),
    9: ("nine", "niner"),
}
TEEN_WORDS: Mapping[int, str] = {
    10: "ten",
    11: "eleven",
    12: "twelve",
    13: "thirteen",
    14: "fourteen",
    15: "fifteen",
    16: "sixteen",
    17: "seventeen",
    18: "eighteen",
    19: "nineteen",
}
TENS_WORDS: Mapping[int, str] = {
    20: "twenty",
    30: "thirty",
    40: "forty",
    50: "fifty",
    60: "sixty",
    70: "seventy",
    80: "eighty",
    90: "ninety",
}
NUMBER_WORDS: tuple[str, ...] = (
    *(word for words in DIGIT_WORDS.values() for word in words),
    *TEEN_WORDS.values(),
    *TENS_WORDS.values(),
    *("hundred", "and", "a", "past", "to", "half", "quarter", "o'clock", "degrees"),
)
MONTH_DAYS: Mapping[str, int] = {
    "january": 31,
    "february": 29,
    "march": 31,
    "april": 30,
    "may": 31,
    "june": 30,
    "july": 31,
    "august": 31,
    "september": 30,
    "october": 31,
    "november": 30,
    "december": 31,
}
ODD_ORDINALS: Mapping[str, str] = {
    "one": "first",
    "two": "second",
    "three": "third",
    "five": "fifth",
    "eight": "eighth",
    "nine": "ninth",
    "twelve": "twelfth",
    "twenty": "twentieth",
    "thirty": "thirtieth",
}
_PAST_LIMIT_MIN = 30  # later minutes are said "to" the next hour


def cardinal(value: int) -> str:
    """Say a whole number below 100 plainly: 35 -> "thirty five"."""
    if not 0 <= value < 100:
        raise ValueError(f"value must be 0 to 99, not {value}")
    if value < 10:
        return DIGIT_WORDS[value][0]
    if value < 20:
        return TEEN_WORDS[value]
    tens, ones = divmod(value, 10)
    words = TENS_WORDS[tens * 10]
    return f"{words} {DIGIT_WORDS[ones][0]}" if ones else words


def ordinal(value: int) -> str:
    """Say the ordinal of a whole number from 1 to 99: 21 -> "twenty first"."""
    *tens, last = cardinal(value).split()
    return " ".join([*tens, ODD_ORDINALS.get(last, f"{last}th")])


def ordinal_numeral(value: int) -> str:
    """Write an ordinal in figures: 21 -> "21st"."""
    teen = value // 10 % 10 == 1
    ending = {1: "st", 2: "nd", 3: "rd"}.get(0 if teen else value % 10, "th")
    return f"{value}{ending}"


def digit_forms(digits: str) -> list[str]:
    """Say digits one by one, in every mixture of the words for each."""
    choices = [DIGIT_WORDS[int(digit)] for digit in digits]
    return [" ".join(words) for words in itertools.product(*choices)]


def bearing_forms(deg: int) -> list[str]:
    """Say a bearing in every form that can mean only this one.

    A number below one hundred said without its leading zero ("twenty") is left out:
    it could as well be the end of "two twenty".

    Raises
    ------
    ValueError
        `deg` is outside 0 to 360.
    """
    if not 0 <= deg <= 360:
        raise ValueError(f"deg must be 0 to 360, not {deg}")
    forms = digit_forms(f"{deg:03d}")
    hundreds, rest = divmod(deg, 100)
    if hundreds == 0:
        if rest >= 10:
            forms += [
                f"{zero} {way}" for zero in DIGIT_WORDS[0] for way in _hyphens(rest)
            ]
        return list(dict.fromkeys(forms))
    heads = [*DIGIT_WORDS[hundreds], *(["a"] if hundreds == 1 else [])]
    for head in heads:
        if rest == 0:
            forms.append(f"{head} hundred")
            continue
        ways = _hyphens(rest) if rest >= 10 else list(DIGIT_WORDS[rest])
        forms += [f"{head} hundred {way}" for way in ways]
        forms += [f"{head} hundred and {way}" for way in ways]
        if rest >= 10 and head != "a":
            forms += [f"{head} {way}" for way in ways]
            forms += [f"{head}-{way}" for way in ways]
    return list(dict.fromkeys(forms))


def _hyphens(value: int) -> list[str]:
    """Say a two-digit number with and without its hyphen."""
    said = cardinal(value)
    return list(dict.fromkeys([said, said.replace(" ", "-")]))


def time_forms(hour: int, minute: int) -> list[str]:
    """Say a time of day in every form.

    Forms of the twelve-hour clock are among them, with and without the half of the
    day, so the words alone may fit another time twelve hours off.

    Raises
    ------
    ValueError
        No such time of day.
    """
    if not 0 <= hour <= 23:
        raise ValueError(f"hour must be 0 to 23, not {hour}")
    if not 0 <= minute <= 59:
        raise ValueError(f"minute must be 0 to 59, not {minute}")
    twelve = hour % 12 or 12
    next_twelve = (hour + 1) % 12 or 12
    half = "am" if hour < 12 else "pm"
    spoken_half = (
        "in the morning"
        if hour < 12
        else "in the afternoon"
        if hour < 18
        else "in the evening"
    )
    plain: list[str] = []
    hours = [cardinal(twelve)]
    if minute == 0:
        plain += [f"{hours[0]} o'clock"]
    else:
        plain += [f"{hours[0]} {way}" for way in _minute_forms(minute)]
    plain += _past_and_to(minute, cardinal(twelve), cardinal(next_twelve))
    forms = list(plain)
    forms += [f"{way} {tail}" for way in plain for tail in (half, spoken_half)]
    if minute == 0:
        forms += [f"{hours[0]} {tail}" for tail in (half, spoken_half)]
        if hour in (0, 12):
            forms.append("midnight" if hour == 0 else "noon")
    forms += _military_forms(hour, minute)
    forms += [f"{hour}:{minute:02d}", f"{hour:02d}:{minute:02d}"]
    return list(dict.fromkeys(forms))


def _minute_forms(minute: int) -> list[str]:
    if minute < 10:
        return digit_forms(f"0{minute}")
    return [*_hyphens(minute), *digit_forms(f"{minute}")]


def _military_forms(hour: int, minute: int) -> list[str]:
    """Say all four digits, or the hour of the 24-hour clock and the minutes."""
    forms = digit_forms(f"{hour:02d}{minute:02d}")
    heads = (
        [f"{zero} {digit}" for zero in DIGIT_WORDS[0] for digit in DIGIT_WORDS[hour]]
        if hour < 10
        else _hyphens(hour)
    )
    tails = ["hundred", "hundred hours"] if minute == 0 else _minute_forms(minute)
    forms += [f"{head} {tail}" for head in heads for tail in tails]
    return forms


def _past_and_to(minute: int, this_hour: str, next_hour: str) -> list[str]:
    if minute == 0:
        return []
    if minute == 30:
        return [f"half past {this_hour}"]
    said, hour, word = (
        (minute, this_hour, "past")
        if minute < _PAST_LIMIT_MIN
        else (60 - minute, next_hour, "to")
    )
    if said == 15:
        ways = ["quarter", "a quarter", "fifteen"]
    elif said % 5 == 0:
        ways = _hyphens(said)
    else:
        ways = []
    plural = "minute" if said == 1 else "minutes"
    ways += [f"{way} {plural}" for way in _hyphens(said)]
    return [f"{way} {word} {hour}" for way in ways]


_DIGITS: Mapping[str, int] = {
    word: digit for digit, words in DIGIT_WORDS.items() for word in words
} | {"o": 0, "nought": 0, "ought": 0}
_TEENS: Mapping[str, int] = {word: value for value, word in TEEN_WORDS.items()}
_TENS: Mapping[str, int] = {word: value for value, word in TENS_WORDS.items()} | {
    "fourty": 40
}
SOUND_ALIKES: Mapping[str, str] = {
    "to": "two",
    "too": "two",
    "tu": "two",
    "for": "four",
    "fore": "four",
    "ate": "eight",
    "won": "one",
    "free": "three",
    "sex": "six",
    "owe": "oh",
    "tin": "ten",
}
_JOINS: Mapping[str, str] = {"hundred": "h", "and": "&", "a": "a", "an": "a"}
_NUMERAL = re.compile(r"(\d{1,3})(?::(\d\d))?°?")
_SPLIT = re.compile(r"[^a-z0-9:.'°]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberToken:
    """One piece of a spoken number.

    `code` is the digit itself, "t" for ten to nineteen, "y" for twenty, thirty and
    so on, "h" for hundred, "&" for and, "a" for a. `word` is the index of the word
    it came from. `exact` is False for a sound-alike.
    """

    code: str
    value: int
    word: int
    exact: bool = True


def plain_words(text: str) -> list[str]:
    """Split text into lower-case words without hyphens or punctuation."""
    text = text.lower().replace("\u2019", "'")
    pieces = (piece.strip(".:'") for piece in _SPLIT.split(text))
    return [piece for piece in pieces if piece]


def _two_digits(digits: str, word: int) -> list[NumberToken]:
    value = int(digits)
    if digits[0] == "0":
        return [NumberToken(code=d, value=int(d), word=word) for d in digits]
    if value < 20:
        return [NumberToken(code="t", value=value, word=word)]
    tens = NumberToken(code="y", value=value - value % 10, word=word)
    if value % 10 == 0:
        return [tens]
    return [tens, NumberToken(code=str(value % 10), value=value % 10, word=word)]


def _numeral(word: str, index: int) -> list[NumberToken]:
    match = _NUMERAL.fullmatch(word)
    if match is None:
        return []
    head, tail = match.groups()
    if len(head) == 2:
        tokens = _two_digits(head, index)
    else:
        tokens = [NumberToken(code=d, value=int(d), word=index) for d in head]
    return tokens + (_two_digits(tail, index) if tail else [])


def _tokens_of(word: str, index: int) -> list[NumberToken]:
    exact = word not in SOUND_ALIKES
    word = SOUND_ALIKES.get(word, word)
    if word in _DIGITS:
        digit = _DIGITS[word]
        return [NumberToken(code=str(digit), value=digit, word=index, exact=exact)]
    if word in _TEENS:
        return [NumberToken(code="t", value=_TEENS[word], word=index, exact=exact)]
    if word in _TENS:
        return [NumberToken(code="y", value=_TENS[word], word=index)]
    if word in _JOINS:
        return [NumberToken(code=_JOINS[word], value=0, word=index)]
    return _numeral(word, index)


def number_run(words: Sequence[str]) -> list[NumberToken]:
    """Take number tokens from the start of `words` until another word comes.

    A word may hold several joined by hyphens ("two-ten").
    """
    run: list[NumberToken] = []
    for index, word in enumerate(words):
        found: list[NumberToken] = []
        for piece in plain_words(word):
            tokens = _tokens_of(piece, index)
            if not tokens:
                return run
            found += tokens
        if not found:
            return run
        run += found
    return run


def codes(tokens: Sequence[NumberToken]) -> str:
    """Write tokens as one character each, for matching."""
    return "".join(token.code for token in tokens)


# y2 or y or t or d, as a plain number below one hundred.
BELOW_HUNDRED = r"(?:y[1-9]|y|t|\d)"


def total(tokens: Sequence[NumberToken]) -> int:
    """Add up the values of tokens that form a plain number below one hundred."""
    return sum(token.value for token in tokens)


def sound_alike_flags(
    words: Sequence[str], tokens: Sequence[NumberToken]
) -> tuple[str, ...]:
    """Say of words taken for numbers that sound alike that they were."""
    odd = [words[token.word] for token in tokens if not token.exact]
    return tuple(f"'{word}' taken as a number" for word in dict.fromkeys(odd))


def cardinal_run(words: Sequence[str]) -> tuple[int, int] | None:
    """Read a plain whole number below 1000 from the start: value and words used.

    "ninety" is (90, 1), "a hundred and twenty" (120, 4); None when there is none.
    Digits one by one are no plain number.
    """
    run = number_run(words)
    text = codes(run)
    match = re.match(
        rf"([a1-9])h(?:&?({BELOW_HUNDRED}))?|\d{{3}}|{BELOW_HUNDRED}", text
    )
    if match is None:
        return None
    tokens = run[: match.end()]
    last = tokens[-1].word
    if len(run) > match.end() and run[match.end()].word == last:
        return None
    if "h" in match[0]:
        hundreds = (tokens[0].value or 1) * 100
        rest = [token for token in tokens[1:] if token.code not in "h&"]
        return hundreds + total(rest), last + 1
    if len(match[0]) == 3:
        if len({token.word for token in tokens}) > 1:
            return tokens[0].value, tokens[0].word + 1
        return int(match[0]), last + 1
    return total(tokens), last + 1
