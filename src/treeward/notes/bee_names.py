"""Naming a bee in free speech: "the yellow one", "blue and white", "she"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.kinds import UNMARKED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.language.phrasebook import PhraseBook

_BEFORE = r"(?:(?:the|that|this|our|my|a|an|little|old|other|number) ){0,3}"
_DOT = r"(?:dot|dots|dotted|spot|spotted|painted|marked)"
_BEE = r"(?:one|bee|girl|lady|lass|worker|forager|friend)"
_PAINT = r"(?:dot|mark|spot|blob)"
PRONOUN = rf"(?:she|her|it|he|(?:that|this|the|the other) {_BEE})"
# One of several, nobody knows which.
_SOME = rf"(?:one of them|one of the bees|another {_BEE}|another|some {_BEE}|a {_BEE})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A bee named in the text: its mark, "" for a pronoun, and where its name ends.

    `full` tells that a word for the bee was said with the colour ("the blue one"),
    `some` that it could be any ("one of them").
    """

    mark: str
    end: int
    pronoun: str = ""
    full: bool = False
    some: bool = False


class BeeNames:
    """Finds names of bees at a place in the text of sentences."""

    def __init__(self, book: PhraseBook) -> None:
        self._marks = dict(book.marks())
        for way, mark in book.marks().items():
            colours = mark.partition(" ")[0].split("-")
            if len(colours) == 2:
                firsts, seconds = (book.colours[colour] for colour in colours)
                self._marks |= {
                    way.replace(f"{one} {two}", f"{one} {link} {two}"): mark
                    for link in ("and", "with")
                    for one in firsts
                    for two in seconds
                }
        spots = "|".join(re.escape(way) for ways in book.spots.values() for way in ways)
        self._spots = {way: spot for spot, ways in book.spots.items() for way in ways}
        every = "|".join(sorted(map(re.escape, self._marks), key=len, reverse=True))
        on_spot = (
            rf"(?: (?:with|that is|which is) (?:the|a|its|her)? ?{_DOT}"
            rf" on (?:the|her|its) (?P<spot>{spots}))?"
            if spots
            else "(?P<spot>)"
        )
        self._coloured = re.compile(
            rf"(?P<det>{_BEFORE})(?P<mark>{every})(?: {_DOT}(?= {_BEE}| with))?"
            rf"(?P<bee> (?:{_BEE}|{_PAINT}(?! on)))?{on_spot}(?= )"
        )
        self._with_dot = re.compile(
            rf"{_BEFORE}{_BEE} (?:with|wearing|in) (?:the|a) (?P<mark>{every})"
            rf" {_PAINT}(?= )"
        )
        self._pronoun = re.compile(rf"(?P<pronoun>{PRONOUN})(?= )")
        self._some = re.compile(rf"(?P<pronoun>{_SOME})(?= )")
        self._plain = re.compile(
            rf"{_BEFORE}{_BEE} (?:with no|without) (?:a |any )?(?:dot|mark|paint)(?= )"
        )

    def at(self, text: str, place: int) -> Named | None:
        """Read a bee's name at `place`, None when there is none."""
        match = self._coloured.match(text, place)
        if match:
            mark = self._marks[match["mark"]]
            if match["spot"] and " " not in mark:
                mark = f"{mark} {self._spots[match['spot']]}"
            return Named(mark=mark, end=match.end(), full=bool(match["bee"]))
        match = self._with_dot.match(text, place)
        if match:
            return Named(mark=self._marks[match["mark"]], end=match.end(), full=True)
        match = self._plain.match(text, place)
        if match:
            return Named(mark=UNMARKED, end=match.end(), full=True)
        match = self._some.match(text, place)
        if match:
            return Named(mark="", end=match.end(), pronoun=match["pronoun"], some=True)
        match = self._pronoun.match(text, place)
        if match and match["pronoun"] != "he":
            return Named(mark="", end=match.end(), pronoun=match["pronoun"])
        return None


class View:
    """Which bees are at the station, as far as the notes so far tell."""

    def __init__(self) -> None:
        self.here: list[str] = []
        self.out: list[str] = []
        self.last = ""

    def note(self, kind: str, mark: str) -> None:
        """Take in a note about a bee."""
        if not mark:
            return
        self.last = mark
        if kind in {"back", "mark"}:
            self._move(mark, self.out, self.here)
        elif kind == "away":
            self._move(mark, self.here, self.out)

    @staticmethod
    def _move(mark: str, source: list[str], target: list[str]) -> None:
        for places in (source, target):
            if mark in places:
                places.remove(mark)
        target.append(mark)

    def meant(self, kind: str) -> tuple[str, Sequence[str]]:
        """Give the bee a pronoun means, "" when unclear, and all it could be."""
        if kind == "away":
            return (self.here[-1] if self.here else ""), tuple(reversed(self.here))
        if kind in {"back", "missed"}:
            return (self.out[-1] if len(self.out) == 1 else ""), tuple(
                reversed(self.out)
            )
        return self.last, ()
