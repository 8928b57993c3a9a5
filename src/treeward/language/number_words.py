"""Words of spoken numbers as tokens, each remembering where it was said.

An engine writes a spoken two as "to" as often as not. Such sound-alikes count as
numbers only here, that is after a word that announces one, and are remembered as
inexact so that the reading can carry a flag.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .number_forms import DIGIT_WORDS, TEEN_WORDS, TENS_WORDS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

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
