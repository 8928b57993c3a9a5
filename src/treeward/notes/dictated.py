"""Words that a dictation program set down for others that sound the same.

"The read 1 is back" is "the red one is back". A sound-alike is taken only where a bee
must stand: after an article or "there goes", or right before what a bee does; "I read
two fifty", "the wind blew" and "write that down" stay what they are.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from .stream import StreamWord


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_SOUNDS_LIKE = {
    "blew": "blue",
    "read": "red",
    "write": "white",
    "wight": "white",
    "rite": "white",
    "grain": "green",
    "greene": "green",
}
# Right after these stands a thing or a bee, no verb.
_BEFORE_A_BEE = _words(
    "the a an that's there's here's this that goes comes with no my our poor little is"
    " it's another hello of and's still"
)
_NO_VERB = _words("the a an no with goes comes another my our there's here's that's")
_VERB_AFTER = _words(
    "is has was had isn't hasn't just back in away gone off left again leaving landed"
    " taken took returned came coming heading one 1 bee be's and"
)
_IS = _words("is has was isn't hasn't wasn't")
_SPEAKER = _words("i you we they who to could can't couldn't didn't wind it had have")
_ONE_AFTER = _words("the other another this that next last first") | _words(
    "second third fourth 3rd 2nd 4th done"
)
_TOO_AFTER = _words("in back off away gone here")
_PRONOUN = _words("she she's he it and so but")


def as_said(pieces: Sequence[StreamWord], colours: Collection[str]) -> list[StreamWord]:
    """Put the bees and numbers that were said in place of their sound-alikes."""
    found = [*pieces]
    for at, piece in enumerate(found):
        before = _text(found, at, -1)
        after = _text(found, at, 1)
        said = _heard(piece.text, before, after, colours)
        if said != piece.text:
            found[at] = replace(piece, text=said, raw=_spelled(piece, said))
    return found


def _text(pieces: Sequence[StreamWord], at: int, step: int) -> str:
    """Give the word next to a piece, "" where a border parts the two."""
    other = at + step
    if not 0 <= other < len(pieces):
        return ""
    first = pieces[min(at, other)]
    apart = pieces[other].utterance != pieces[at].utterance
    return "" if apart or first.raw[-1:] in {".", "?", "!"} else pieces[other].text


def _heard(word: str, before: str, after: str, colours: Collection[str]) -> str:
    """Give the word that was said, by the words beside it."""
    colour = _SOUNDS_LIKE.get(word, "")
    if colour in colours and before not in _SPEAKER:
        led = before in _NO_VERB or (before in _BEFORE_A_BEE and after in _VERB_AFTER)
        first = before in {"", "right", "so", "okay", "not"}
        starts = first and after in _VERB_AFTER - _TOO_AFTER  # "read back to me"
        also = after in {"2", "two", "too"} and before in _BEFORE_A_BEE
        is_hers = after in _IS  # no verb stands before "is"
        return colour if led or starts or also or is_hers else word
    if word == "be" and (before in _ONE_AFTER or before in {"a", *colours}):
        return "bee"
    digits = re.fullmatch(r"\d+", after) is not None
    named = before in {*_ONE_AFTER, *colours, *_SOUNDS_LIKE} or after in colours
    named = (named and not digits) or before in {"other", "another"}
    too = before in {*_TOO_AFTER, *colours, *_SOUNDS_LIKE}
    also = word == "2" and after in {"", *_PRONOUN} and too
    if word == "1":
        word = "one" if named else word
    elif word == "2" and after == "of":
        word = "two"
    return "too" if also else word


def _spelled(piece: StreamWord, said: str) -> str:
    """Keep the punctuation that a word of a transcript carries."""
    return piece.raw.replace(piece.text, said) if piece.text in piece.raw else said
