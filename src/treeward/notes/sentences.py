"""Free speech as plain sentences: one spelling for each word, borders marked.

    "White's just left, okay?"  ->  "white is left , okay ?"

"has" becomes "is", since "white's" may be either; words that add nothing ("just",
"already") are left out. A comma marks a border a phrase may cross, "." and "?" ones
it may not.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from . import stream as st
from .dictated import as_said

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from treeward.language.kinds import EventKind
    from treeward.speech.utterances import Utterance

    from .bee_names import Named
    from .flags import Flag
    from .stream import StreamWord

_WHOLE = {
    "can't": "can not",
    "cannot": "can not",
    "won't": "will not",
    "let's": "let us",
    "has": "is",
    "gonna": "going to",
    "ok": "okay",
    "alright": "okay",
    "wi": "with",
    "faintest": "faint",
    "ain't": "is not",
    "aint": "is not",
    "innit": "is it not",
    "'em": "them",
    "em": "them",
    "another'n": "another one",
    "'tis": "it is",
    "tis": "it is",
    "'twas": "it was",
    "thegither": "together",
    "wan": "one",
    "yin": "one",
    # As a phone's dictation writes them.
    "thats": "that is",
    "theres": "there is",
    "heres": "here is",
    "shes": "she is",
    "hes": "he is",
    "whats": "what is",
    "im": "i am",
    "ive": "i have",
    "weve": "we have",
    "theyre": "they are",
    "dont": "do not",
    "didnt": "did not",
    "isnt": "is not",
    "hasnt": "is not",
    "havent": "have not",
    "wasnt": "was not",
    "cant": "can not",
    "couldnt": "could not",
    "wont": "will not",
}
# "its" is "it is" before these, hers before anything else.
_IT_IS = frozenset(
    {"a", "the", "an", "not", "been", "number", "about", "nearly", "half", "quarter"}
    | {
        "gone",
        "coming",
        "just",
        "now",
        "calm",
        "still",
        "landed",
        "back",
        "away",
        "off",
    }
    | {"one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}
    | {"eleven", "twelve", "twenty"}
)
# "she'd" is "she had" before these, "she would" before anything else.
_HAD = frozenset(
    {"been", "gone", "left", "had", "come", "flown", "taken", "already", "just", "only"}
    | {"landed", "arrived", "returned", "painted", "marked"}
)
_ENDINGS = (
    ("n't", " not"),
    ("'ll", " will"),
    ("'ve", " have"),
    ("'re", " are"),
    ("'m", " am"),
    ("'d", " would"),
    ("'s", " is"),
)
_ADDS_NOTHING = frozenset(
    {
        "just",
        "already",
        "finally",
        "also",
        "really",
        "actually",
        "definitely",
        "clearly",
    }
    | {"um", "uh", "er", "erm", "hmm", "mm", "ah", "now", "only", "quickly"}
)
_COMPASS_LIKE = re.compile(
    r"((?:north|south)?(?:east|west)|north|south)(erly|ish|wards?|er)"
)
_BORDER = {",": ",", ";": ",", ":": ",", "-": ",", "\u2013": ",", "\u2014": ","}
_ENDS = re.compile(r"[\s\"')\]\u2019\u201d]*$")
LONG_PAUSE_S = 1.0  # without punctuation, a pause this long ends a sentence; guess
_SOFT_PAUSE_S = 2.5  # a phrase may go on after this pause at the end of an utterance


def plain_spelling(word: str, following: str = "") -> str:
    """Spell a word one way: "white's" as "white is", "" when it adds nothing."""
    if word in _ADDS_NOTHING:
        return ""
    if word == "its" and following in _IT_IS:
        word = "it's"
    if compass := _COMPASS_LIKE.fullmatch(word):
        return compass[1] + (" ish" if compass[2] == "ish" else "")
    if word.endswith("'d") and following in _HAD:
        return word[:-2] + " had"
    if word in _WHOLE:
        return _WHOLE[word]
    if word.endswith("nae") and len(word) > 4:  # "isnae", as in Scotland
        word = word.removesuffix("nae") + "n't"
    for ending, long in _ENDINGS:
        if word.endswith(ending) and len(word) > len(ending):
            head = word.removesuffix(ending)
            return plain_spelling(head) + long
    return word


def plain_phrase(text: str) -> str:
    """Spell a phrase of the phrase book the way sentences are spelled."""
    words = [plain_spelling(word) for word in text.split()]
    return " ".join(word for word in words if word)


@dataclass(frozen=True, slots=True, kw_only=True)
class Speech:
    """All sentences in one text, and the piece each character came from.

    `text` begins and ends with a space, so that a word is " word ".
    """

    text: str
    owner: tuple[int, ...]  # index of the piece, for each character

    def pieces_between(self, first: int, last: int) -> tuple[int, int]:
        """Give the pieces, first and one past the last, that text came from."""
        return self.owner[first], self.owner[max(first, last - 1)] + 1


def _border(pieces: Sequence[StreamWord], index: int) -> str:
    """Tell the border after a piece: ".", "?", "," or none."""
    piece = pieces[index]
    last = index + 1 == len(pieces)
    same_word = not last and pieces[index + 1].word == piece.word
    mark = "" if same_word else _ENDS.sub("", piece.raw)[-1:]
    if mark in {"?", "!", "."}:
        return "?" if mark == "?" else "."
    if last:
        return "."
    gap_s = st.gap_before_s(pieces, index + 1)
    if pieces[index + 1].utterance != piece.utterance:
        return "," if gap_s <= _SOFT_PAUSE_S else "."
    if gap_s >= LONG_PAUSE_S:
        return "."
    return _BORDER.get(mark, "")


def _stray_border(piece: StreamWord) -> str:
    """Take a dash that stands alone, as in "the time? - ten past two"."""
    return "," if piece.raw[:1] in _BORDER and len(piece.raw) > 1 else ""


def speech_of(
    utterances: Iterable[Utterance], colours: Collection[str] = ()
) -> tuple[Speech, list[StreamWord]]:
    """Lay out everything that was said as sentences.

    `colours` are words for marks; "pinks", as engines write "pink's", is "pink is".
    """
    pieces = as_said(st.stream(utterances), colours)
    parts: list[str] = [" "]
    owner: list[int] = [0]
    for index, piece in enumerate(pieces):
        following = pieces[index + 1].text if index + 1 < len(pieces) else ""
        spelled = plain_spelling(piece.text, following)
        if spelled.endswith("s") and spelled[:-1] in colours:
            spelled = f"{spelled[:-1]} is"
        border = _border(pieces, index)
        for part in (_stray_border(piece), spelled, border):
            if part:
                parts.append(part + " ")
                owner += [index] * (len(part) + 1)
    return Speech(text="".join(parts), owner=tuple(owner)), pieces


MOST_WORDS = 10  # no value is longer
ROUGH = (
    r"(?:about|around|roughly|approximately|nearly|almost|coming up to|coming up on"
    r"|getting on for"
    r"|maybe|gone|just after|just before|a bit after|a bit before)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A note with a value, said from `start` to `end` of the text.

    `named` is the bee where one is named; `of_view` asks for the bee in view.
    """

    kind: EventKind
    start: int
    end: int
    value: str = ""
    named: Named | None = None
    of_view: bool = False
    flags: tuple[Flag, ...] = ()
    options: tuple[str, ...] = ()
    same: str = ""  # "own" or "any": flew as before, herself or whoever was last
    both: bool = False  # of the two bees that left last


def words_from(text: str, place: int) -> list[str]:
    """Give the words from `place` to the next border."""
    border = re.compile(r"[.?,] |$").search(text, place)
    end = border.start() if border else len(text)
    return text[place:end].split()[:MOST_WORDS]


def place_after(text: str, place: int, words: int) -> int:
    """Give the place after so many words."""
    for _ in range(words):
        place = text.index(" ", place) + 1
    return place
