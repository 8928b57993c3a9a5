"""What speech hands to notes: words with times and confidence."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_PAUSE_S = 0.8  # words further apart are two utterances; guess
# Control characters but tab and line feed, and halves of letters (from JSON escapes).
_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff]")


class WordSource(StrEnum):
    """How a word came to be heard."""

    PHRASE = "phrase"  # a whole phrase of the phrase book, as one token
    GENERAL = "general"  # the engine's general vocabulary
    TALK = "talk"  # said between the notes, and looked through for none
    TEXT = "text"  # a timed transcript


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """Another reading of the same stretch of sound."""

    text: str
    confidence: float  # 0-1


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """One recognised word, or one phrase token of several words.

    Times are seconds from the start of the recording. `text` is lower case, the
    words of a phrase token separated by single spaces ("yellow back"). `capital` tells
    that a transcript writes it with one.
    """

    text: str
    start_s: float
    end_s: float
    confidence: float = 1.0  # 0-1, share of such words that are right
    source: WordSource = WordSource.GENERAL
    alternatives: tuple[Alternative, ...] = ()
    capital: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Utterance:
    """Words said without a long pause, in order of time."""

    words: tuple[Word, ...]
    start_s: float
    end_s: float

    @classmethod
    def of(cls, words: Sequence[Word]) -> Self:
        """Make one of words, from the first one's start to the last one's end."""
        return cls(words=tuple(words), start_s=words[0].start_s, end_s=words[-1].end_s)

    @property
    def text(self) -> str:
        """The words, separated by spaces."""
        return " ".join(word.text for word in self.words)


def spread(texts: Sequence[str], start_s: float, end_s: float) -> list[Word]:
    """Spread words over a stretch of sound, each as long as it has letters."""
    total = sum(len(text) for text in texts)
    words: list[Word] = []
    said = 0
    for text in texts:
        word_s = start_s + (end_s - start_s) * said / total
        said += len(text)
        words.append(
            Word(
                text=text.lower(),
                start_s=word_s,
                end_s=start_s + (end_s - start_s) * said / total,
                source=WordSource.TEXT,
                capital=has_capital(text),
            )
        )
    return words


def has_capital(text: str) -> bool:
    """Tell whether a word begins with a capital, whatever marks stand before it."""
    return text.lstrip("\"'([*_-\u201c\u2018\u00ab\u00bf\u00a1")[:1].isupper()


def parted_at_pauses(words: Iterable[Word], pause_s: float) -> list[list[Word]]:
    """Part words in order of time where there is a longer pause."""
    groups: list[list[Word]] = []
    for word in words:
        if groups and word.start_s - groups[-1][-1].end_s <= pause_s:
            groups[-1].append(word)
        else:
            groups.append([word])
    return groups


def in_utterances(words: Iterable[Word]) -> list[Utterance]:
    """Part timed words into utterances where there is a pause."""
    ordered = sorted(words, key=lambda word: word.start_s)
    return [
        Utterance(
            words=tuple(group),
            start_s=group[0].start_s,
            end_s=max(word.end_s for word in group),
        )
        for group in parted_at_pauses(ordered, _PAUSE_S)
    ]


def without_controls(text: str) -> str:
    """Put a space for what is no text: terminals obey it, and XML cannot hold it."""
    return _CONTROLS.sub(" ", text)
