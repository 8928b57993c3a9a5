"""A pasted chat: who sent a line, and lines in which nothing was written.

without_senders(["[14/07/2026, 09:05:12] Gareth: yellow away 48"], means)
# ["[14/07/2026, 09:05:12] yellow away 48"]
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

_MARKS = "\u200e\u200f\u202a\u202c"  # of the writing's direction; chats put them in
_STAMP = (
    r"\[?\d{1,4}[./-]\d{1,2}[./-]\d{1,4},?\s+(?:at\s+)?\d{1,2}[:.]\d{2}(?:[:.]\d{2})?"
    r"(?:\s?[ap]\.?\s?m\b\.?)?\]?\s*(?:[-\u2013]\s*)?"
)
_WHO = r"(?P<who>[^\W\d_][^:\[\]\d<>]{0,39}|\+[\d\s()-]{6,24}|~\s?[^:\[\]<>]{1,39}):\s*"
_SENT = re.compile(rf"(?P<stamp>{_STAMP}){_WHO}", re.IGNORECASE)
_NAMED = re.compile(_WHO)
_STAMPED = re.compile(_STAMP, re.IGNORECASE)
_NOTHING = re.compile(
    r"<[^<>]*>|(?:image|video|audio|sticker|gif|document|photo|contact card) omitted"
    r"|(?:you deleted this|this) message(?: was deleted)?\.?"
    r"|messages and calls are end-to-end encrypted.*",
    re.IGNORECASE,
)
# "14.07.26, 09:05", which would be a time of day with seconds.
_SHORT_YEAR = re.compile(r"^(\[?\d{1,2}[./]\d{1,2}[./])(\d\d)(?=,?\s)")
_CHAT_SHARE = 0.5  # of the lines of a chat without stamps that a name begins; guess
_LEAST_LINES = 2  # of such a chat; choice


def without_senders(lines: Sequence[str], means: Callable[[str], bool]) -> list[str]:
    """Take the sender's name out of the lines of a chat.

    A name stands before a colon, behind the date and time of the line, or at the
    beginning of most lines. A line in which a picture was sent or that was deleted
    becomes empty, so that lines keep their numbers.

    Parameters
    ----------
    lines
        The page.
    means
        Whether a word has a meaning in a note, and is no name.
    """
    plain = ["".join(c for c in line if c not in _MARKS) for line in lines]
    filled = sum(bool(line.strip()) for line in plain)
    named = [m for line in plain if (m := _NAMED.match(line)) and _is_name(m, means)]
    is_chat = len(named) >= max(_LEAST_LINES, _CHAT_SHARE * filled)
    found: list[str] = []
    for line, whole in zip(plain, lines, strict=True):
        if (sent := _SENT.match(line)) and _is_name(sent, means):
            said, kept = line[sent.end() :], sent["stamp"]
        elif is_chat and (by := _NAMED.match(line)) and _is_name(by, means):
            said, kept = line[by.end() :], ""
        elif stamped := _STAMPED.match(line):
            said, kept = line[stamped.end() :], stamped[0]
        else:
            found.append(whole)
            continue
        kept = _SHORT_YEAR.sub(r"\g<1>20\2", kept)
        found.append("" if _NOTHING.fullmatch(said.strip()) else f"{kept}{said}")
    return found


def _is_name(match: re.Match[str], means: Callable[[str], bool]) -> bool:
    words = re.findall(r"[^\W\d_]+", match["who"].lower())
    return not any(means(word) for word in words)
