"""What a typed line says that is no note of a bee: stations, wind, pauses, remarks."""

from __future__ import annotations

import re
from bisect import bisect_left
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, EventKind, Holds

from .clocked_numbers import TIME
from .values import Lexicon, bearing_value, longest, station_value, wind_value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.language.phrasebook import PhraseBook

    from .values import Value

_BORDERS = re.compile(r"[,;|\t]")
_MOST_WORDS = 20  # of a note with its value: "wind light from the south west"; choice
_MOST_BEFORE = 5  # words of a phrase on either side of a comma; no phrase is longer
# Begins the words that tell where a colony was found; what follows is of it.
_WHERE_WORDS = frozenset(
    (
        "in",
        "at",
        "up",
        "inside",
        "under",
        "behind",
        "on",
        "by",
        "near",
        "beside",
        "high",
    )
)
_WHERE = re.compile(
    rf"[\s,:.-]*((?:{'|'.join(sorted(_WHERE_WORDS))})\b[^;|\t]*)", re.IGNORECASE
)
# "St1", "Stn. 2", "Site 3", and a cell with the name beside one with the number.
_STATION = re.compile(
    r"(?<![^\W_])(?:st|stn|site|stat)[.:]?\s?(?=\d{1,3}(?![^\W_])(?![:.]\d))",
    re.IGNORECASE,
)
_PAIR = re.compile(
    r"\W*(?P<what>station|stn|site|st|dish|wind)\b[.:]?\s*[\t;|,]+\s*"
    r"(?P<told>[^\t;|,]*[^\W_])[\s\t;|,]*",
    re.IGNORECASE,
)
_SAID = re.compile(r"[^\W_]+(?:['\u2019][^\W_]+)?")


class Others:
    """Finds what is no note of a bee: stations, wind, pauses, remarks."""

    def __init__(self, book: PhraseBook) -> None:
        lexicon = Lexicon.of(book)
        self._lexicon = lexicon
        self._anchors = {
            words: kind
            for words, kind in lexicon.anchors.items()
            if kind not in {EventKind.BEARING, EventKind.TIME, EventKind.DATE}
        } | {("remark",): EventKind.REMARK}
        table = (*self._anchors, *lexicon.commands)
        self._first = frozenset(words[0] for words in table)

    def announced(self, text: str) -> bool:
        """Tell whether a word stands there that such notes begin with."""
        said = _SAID.findall(_STATION.sub("station ", text).lower())
        return not self._first.isdisjoint(said) or self.is_pair(text)

    def is_pair(self, text: str) -> bool:
        """Tell whether a line holds two cells, a name and what it is: "Station, 2"."""
        return _PAIR.fullmatch(text) is not None

    def take(self, text: str) -> tuple[list[tuple[EventKind, str]], str]:
        """Return such notes, and the text with commas where they stood."""
        if not self.announced(text):
            return [], text
        if pair := _PAIR.fullmatch(text):
            what = "wind" if pair["what"].lower() == "wind" else "station"
            text = f"{what} {pair['told']}"
        text = self._without_pauses(_STATION.sub("station ", text))
        found: list[tuple[EventKind, str]] = []
        rest, start = "", 0
        for border in (*_BORDERS.finditer(text), None):
            end = border.start() if border else len(text)
            notes, left, whole = self._of_part(text, start, end)
            found += notes
            if whole:
                return found, rest + left
            rest += left + (border[0] if border else "")
            start = border.end() if border else end
        return found, rest

    def _without_pauses(self, text: str) -> str:
        """Blank commas inside of a phrase: "searched here, nothing"."""
        said = list(_SAID.finditer(text))
        words = [match[0].lower() for match in said]
        starts = [match.start() for match in said]
        for comma in re.finditer(",", text):
            if self._goes_on(words, bisect_left(starts, comma.start())):
                text = f"{text[: comma.start()]} {text[comma.end() :]}"
        return text

    def _goes_on(self, words: Sequence[str], border: int) -> bool:
        """Tell whether a phrase begins before the word at `border` and takes it in."""
        for start in range(max(0, border - _MOST_BEFORE), border):
            if words[start] not in self._first:
                continue
            for table in (self._anchors, self._lexicon.commands):
                said = longest(table, words[start : border + _MOST_BEFORE])
                if said is not None and start + said[1] > border:
                    return True
        return False

    def _of_part(
        self, text: str, start: int, end: int
    ) -> tuple[list[tuple[EventKind, str]], str, bool]:
        """Read what stands between two commas; True where it took all that follows."""
        part = TIME.sub(lambda time: " " * len(time[0]), text[start:end].lower())
        said = list(_SAID.finditer(part))
        words = [match[0].replace("\u2019", "'") for match in said]
        found: list[tuple[EventKind, str]] = []
        spans: list[tuple[int, int]] = []
        place = 0
        while place < len(words):
            one = self._at(words, place) if words[place] in self._first else None
            if one is None:
                place += 1
                continue
            kind, value, used = one
            first, last = said[place].start(), said[place + used - 1].end()
            if KINDS[kind].holds is Holds.WORDS and place + used == 1:
                own = text[start + last :].strip(" :.-")  # and all the commas in it
                if own and not part[:first].strip(" -*"):
                    return [(kind, own)], text[start : start + first] + ",", True
            where = (
                _WHERE.match(text, start + last) if kind is EventKind.FOUND else None
            )
            if where and not TIME.search(where[1].lower()):
                return (
                    [*found, (kind, where[1].strip())],
                    text[start : start + first] + ",",
                    True,
                )
            found.append((kind, value))
            spans.append((first, last))
            place += used
        borders = [0, *(place for span in spans for place in span), end - start]
        pairs = zip(borders[::2], borders[1::2], strict=True)
        left = [text[start + first : start + last] for first, last in pairs]
        return found, ",".join(left), False

    def _at(
        self, words: Sequence[str], place: int
    ) -> tuple[EventKind, str, int] | None:
        texts = words[place : place + _MOST_WORDS]
        command = longest(self._lexicon.commands, texts)
        anchor = longest(self._anchors, texts)
        if anchor is not None and not (command and command[1] >= anchor[1]):
            kind, used = anchor
            if KINDS[kind].holds is Holds.WORDS:
                return kind, "", used
            if KINDS[kind].holds is Holds.STATION:
                used += texts[used : used + 1] in (["is"], ["no"], ["number"])
            value = self._value(kind, texts[used:])
            if value is None or not value.text or value.flags:
                return None
            return kind, value.text, used + value.used
        if command is None:
            return None
        if KINDS[command[0]].holds is Holds.DEGREES:  # "bees overhead 210"
            value = bearing_value(texts[command[1] :])
            if value is not None and value.text and not value.flags:
                return command[0], value.text, command[1] + value.used
        following = words[command[1] : command[1] + 1]
        told = (
            command[0] is EventKind.FOUND and following and following[0] in _WHERE_WORDS
        )
        whole = command[1] == len(words) or told
        return (command[0], "", command[1]) if whole else None

    def _value(self, kind: EventKind, texts: Sequence[str]) -> Value | None:
        match KINDS[kind].holds:
            case Holds.STATION:
                return station_value(self._lexicon, texts)
            case Holds.WIND:
                return wind_value(self._lexicon, texts)
            case Holds.DEGREES:
                return bearing_value(texts)
            case _:
                return None
