"""The pieces of words that the recogniser writes, and how words are made of them."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.errors import SpeechError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

START, END = 1, 2  # ids of "begin here" and "nothing more", as the model was taught
SPACE = "▁"  # stands before the first piece of a word
_FIRST_PIECE = 259  # ids below are marks and single bytes, as the model was taught
_LONG = 128  # a length byte from here on has a second one after it


class Tokens:
    """The recogniser's pieces of words, by number.

    Parameters
    ----------
    pieces
        One piece after another, in the order of their numbers.
    """

    def __init__(self, pieces: list[bytes]) -> None:
        self._pieces = pieces
        self._ids: dict[str, int] = {}
        for number, piece in enumerate(pieces[_FIRST_PIECE:], _FIRST_PIECE):
            text = piece.decode("utf-8", errors="replace")
            self._ids.setdefault(text, number)
        self.spell = lru_cache(maxsize=None)(self._spell)

    @classmethod
    def read(cls, path: Path) -> Tokens:
        """Read a tokenizer.bin: each piece a length byte (two from 128 on), its bytes.

        Raises
        ------
        SpeechError
            The file is cut off.
        """
        if not path.is_file():
            raise SpeechError(
                "there is no such file",
                where=str(path),
                mend="Install or copy the model again",
            )
        data = path.read_bytes()
        pieces, at = [], 0
        while at < len(data):
            length = data[at]
            at += 1
            if length >= _LONG and at < len(data):
                length += _LONG * data[at] - _LONG
                at += 1
            pieces.append(data[at : at + length])
            at += length
        if at != len(data) or len(pieces) <= _FIRST_PIECE:
            raise SpeechError(
                "is no list of word pieces, or is cut off",
                where=str(path),
                mend="Install or copy the model again",
            )
        return cls(pieces)

    def __len__(self) -> int:
        return len(self._pieces)

    def _spell(self, text: str) -> tuple[int, ...] | None:
        """Give the pieces of a word as the model was taught them, if it has them all.

        The two neighbours whose joined piece has the lowest number are joined first
        (byte pair encoding, Sennrich, Haddow & Birch 2016).
        """
        parts = list(text)
        while True:
            joined = [
                (self._ids[a + b], place)
                for place, (a, b) in enumerate(pairwise(parts))
                if a + b in self._ids
            ]
            if not joined:
                break
            _, place = min(joined)
            parts[place : place + 2] = [parts[place] + parts[place + 1]]
        if any(part not in self._ids for part in parts):
            return None
        return tuple(self._ids[part] for part in parts)

    def text(self, ids: Iterable[int]) -> str:
        """Give what pieces say."""
        said = b"".join(
            self._byte(number) for number in ids if number not in (START, END)
        )
        return said.decode("utf-8", errors="replace").replace(SPACE, " ").strip()

    def _byte(self, number: int) -> bytes:
        return self._pieces[number] if number < len(self._pieces) else b""
