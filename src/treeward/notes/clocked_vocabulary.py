"""The small words of typed lines, and how a line is parted into words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.bearings import COMPASS_POINTS, POINTS_DEG
from treeward.language.kinds import EventKind
from treeward.language.number_words import NUMBER_WORDS

if TYPE_CHECKING:
    from .clocked_numbers import Sort

MOST_WORDS = 6  # of one way of saying something; no phrase is longer
_WORD = re.compile(r"[^\W\d_]+(?:['\u2019][^\W\d_]+)*")
# Says nothing by itself in a written note.
FILLERS = frozenset(
    {"the", "a", "an", "bee", "is", "was", "are", "were", "be", "been", "then", "from"}
    | {
        "again",
        "has",
        "have",
        "had",
        "having",
        "she",
        "it",
        "her",
        "its",
        "of",
        "just",
        "now",
    }
    | {
        "time",
        "clock",
        "hrs",
        "i",
        "this",
        "that",
        "degrees",
        "degree",
        "deg",
        "due",
        "one",
        "on",
        "s",
        "o",
    }
)
TOWARDS = frozenset(
    {"bearing", "heading", "to", "towards", "toward", "direction", "dir", "brg", "hdg"}
)
_TOO = frozenset({"too", "also", "likewise", "first"})
_ROUGH = frozenset({"about", "roughly", "around", "approximately", "approx", "circa"})
_NOT = frozenset(
    {"not", "no", "never", "none", "nobody", "neither", "nor", "without", "cannot"}
)
# Behind a colour these are of the bee; any other plain word is a thing: "red car".
NO_THINGS = frozenset(
    {
        "went",
        "shot",
        "rose",
        "spun",
        "sat",
        "drank",
        "fed",
        "got",
        "made",
        "hung",
        "fell",
    }
    | {"swung", "ran", "set", "kept", "began", "took", "came", "flew", "did", "lost"}
    | {"up", "down", "over", "round", "around", "straight", "fast", "high", "low", "by"}
    | {"across", "past", "along", "right", "very", "quite", "rather", "once", "twice"}
    | {"so", "too", "soon", "already", "here", "there", "with", "without", "for", "in"}
    | {"female", "worker", "forager", "girl", "lady", "dot", "spot", "mark", "paint"}
)
_RUN_TOGETHER = {
    word.replace("'", ""): word
    for word in ("hasn't", "isn't", "didn't", "don't", "wasn't", "doesn't", "haven't")
}
_DOUBTS = frozenset(
    {"might", "may", "maybe", "perhaps", "possibly", "probably", "nearly", "almost"}
    | {"seems", "think", "guess", "could", "should", "would", "will", "if", "or"}
    | {"either", "unsure", "soon", "yet", "unless", "until", "expected", "presumably"}
)
# Small words that are never short for a colour, nor for two.
NO_COLOURS = frozenset(
    {"or", "by", "go", "my", "be", "we", "he", "me", "us", "up", "so", "am", "at", "as"}
    | {"if", "do", "no", "re", "per", "pop", "pit", "wi", "who", "why", "where", "when"}
)
POINTS = {
    **{name: name for name in POINTS_DEG},
    **{
        name.replace(" ", ""): short
        for name, short in zip(COMPASS_POINTS, POINTS_DEG, strict=True)
        if len(short) < 3
    },
}
STARTS = frozenset(("north", "south", "east", "west"))  # of points in several words
NUMBERS = frozenset(NUMBER_WORDS) - {
    *("and", "a", "past", "to", "half", "quarter", "o'clock", "degrees", "tree")
}
IN_CELL = {
    "b": EventKind.BACK,
    "i": EventKind.BACK,
    "on": EventKind.BACK,
    "a": EventKind.AWAY,
    "o": EventKind.AWAY,
}


@dataclass(frozen=True, slots=True)
class Words:
    """The words of a line, contractions parted, with what joins each to the next."""

    words: list[str]
    starts: list[int]
    ends: list[int]
    links: list[str]  # "space", "-", "/", "'" within a contraction, or ""
    at: dict[int, int]  # place in the text -> number of the word

    @classmethod
    def of(cls, text: str) -> Words:
        """Part a line in small letters into its words."""
        words: list[str] = []
        starts: list[int] = []
        ends: list[int] = []
        for match in _WORD.finditer(text):
            if text[match.end() : match.end() + 1].isdigit():
                continue  # "y2" is no word
            for part in _parts(match[0].replace("\u2019", "'")):
                words.append(part)
                starts.append(match.start())
                ends.append(match.end())
        links = [
            "'" if starts[n] == starts[n + 1] else _link(text[ends[n] : starts[n + 1]])
            for n in range(len(words) - 1)
        ]
        at: dict[int, int] = {}
        for number, start in enumerate(starts):
            at.setdefault(start, number)
        return cls(words, starts, ends, [*links, ""], at)

    def run(self, first: int, joined_by: frozenset[str]) -> list[str]:
        """Give the words from `first` on that are joined to it so."""
        last = first
        while last - first < MOST_WORDS - 1 and self.links[last] in joined_by:
            last += 1
        return self.words[first : last + 1]


BY_SPACE = frozenset({"space", "-", "'"})
BY_SLASH = frozenset({"space", "-", "/"})
CLOSELY = frozenset({"-", "/"})


def _link(between: str) -> str:
    if between in {" ", "  "}:
        return "space"
    if between in {"-", "/"}:
        return between
    return "/" if between.strip() == "/" else ""


def _parts(word: str) -> list[str]:
    """Part "hasn't" into "has" and "not", "yellow's" into "yellow" and "is"."""
    word = _RUN_TOGETHER.get(word, word)
    if "'" not in word:
        return [word]
    if word.endswith("n't"):
        return [{"ca": "can", "wo": "will"}.get(word[:-3], word[:-3]), "not"]
    head, tail = word.rsplit("'", 1)
    more = {"s": "is", "re": "are", "ve": "have", "d": "had", "ll": "will", "m": "is"}
    return [head, more[tail]] if tail in more else [word]


def sort_of(word: str) -> Sort:
    """Tell what sort of token a small word makes; "word" for any other."""
    return next((sort for sort, words in _SORTS.items() if word in words), "word")


_SORTS: dict[Sort, frozenset[str]] = {
    "joint": frozenset({"and"}),
    "at": frozenset({"at"}),
    "filler": FILLERS,
    "towards": TOWARDS,
    "too": _TOO,
    "rough": _ROUGH,
    "lasting": frozenset({"for", "after", "took", "lasted", "lasting", "taking"}),
    "all": frozenset({"both", "all", "everyone", "everybody"}),
    "they": frozenset({"they", "them", "bees"}),
    "aside": frozenset({"still"}),  # how it is, not what happened: "red still out"
    "since": frozenset({"ago", "earlier", "later"}),
    "not": _NOT,
    "doubt": _DOUBTS,
}
