"""What speech hands to notes: words with times and confidence."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


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
    words of a phrase token separated by single spaces ("yellow back").
    """

    text: str
    start_s: float
    end_s: float
    confidence: float = 1.0  # 0-1, share of such words that are right
    source: WordSource = WordSource.GENERAL
    alternatives: tuple[Alternative, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Utterance:
    """Words said without a long pause, in order of time."""

    words: tuple[Word, ...]
    start_s: float
    end_s: float

    @property
    def text(self) -> str:
        """The words, separated by spaces."""
        return " ".join(word.text for word in self.words)
