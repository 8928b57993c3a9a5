"""The words of a typed line: times, bees, comings and goings, bearings, and the rest.

Every word and number of a line comes back as a token, also what is not understood, so
that the page can say so. What stands for a colour and for a point of the compass ("W")
is decided by what is beside it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from treeward.language.bearings import (
    COMPASS_POINTS,
    POINTS_DEG,
    point_at,
    read_bearing,
    read_compass,
)
from treeward.language.kinds import ALSO_WRITTEN, EventKind
from treeward.language.number_words import NUMBER_WORDS

from .clocked_numbers import (
    AFTER,
    DATE,
    FULL_CIRCLE_DEG,
    NORTHS,
    UNKNOWN,
    Token,
    read_number,
    read_odd,
)
from .flags import Flag, FlagCode, read_flags

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from treeward.language.phrasebook import PhraseBook

    from .clocked_numbers import Sort

Wanted = Literal["", "mark", "event", "bearing"]  # what a cell's heading says
# A date at the beginning; one without a year stands before a time.
_DATED = re.compile(
    rf"\W*(?:({DATE.pattern})(?:[\s,;:]+(?=\S)|t(?=\d))"
    r"|(\d{1,2}/\d{1,2}|\d{1,2}\.\d{1,2}\.)[\s,;]+(?=\d{1,2}[:.h]\d\d))"
)
_WORD = re.compile(r"[^\W\d_]+(?:['\u2019][^\W\d_]+)*")
_SIGNS: dict[str, Sort] = {
    **dict.fromkeys(",;|/\t", "break"),
    "&": "joint",
    "+": "joint",
    "@": "at",
    "?": "doubt",
    "~": "rough",
    "\u2248": "rough",
}
_HARMLESS = frozenset(
    ".:()[]{}\"'\u2019\u2018\u201c\u201d!*-\u2013\u2014\u2026\u2022\u2192"
)
_BEE_NUMBERS = frozenset(str(number) for number in range(100))
_MOST_WORDS = 6  # of one way of saying something; no phrase is longer
_LONGEST_NAME = 40  # letters of a bee's name with what is beside it; choice

# Says nothing by itself in a written note.
_FILLERS = frozenset(
    {"the", "a", "an", "bee", "is", "was", "are", "were", "be", "been", "then", "from"}
    | {"again", "has", "have", "had", "she", "it", "her", "its", "of", "just", "now"}
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
_TOWARDS = frozenset(
    {"bearing", "heading", "to", "towards", "toward", "direction", "dir", "brg", "hdg"}
)
# A line's own number: "1) yellow off", and "1. 9:30 yellow off" before a time.
_LISTED = re.compile(r"\s*\d{1,2}(?:\)|\.(?=\s+\d{1,2}[:.h]\d\d))\s+")
_TOO = frozenset({"too", "also", "likewise"})
_ROUGH = frozenset({"about", "roughly", "around", "approximately", "approx", "circa"})
_NOT = frozenset(
    {"not", "no", "never", "none", "nobody", "neither", "nor", "without", "cannot"}
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
_NO_COLOURS = frozenset(
    {"or", "by", "go", "my", "be", "we", "he", "me", "us", "up", "so", "am", "at", "as"}
    | {"if", "do", "no", "re", "per", "pop", "pit", "wi", "who", "why", "where", "when"}
)
_POINTS = {
    **{name: name for name in POINTS_DEG},
    **{
        name.replace(" ", ""): short
        for name, short in zip(COMPASS_POINTS, POINTS_DEG, strict=True)
        if len(short) < 3
    },
}
_STARTS = frozenset(("north", "south", "east", "west"))  # of points in several words
_NUMBERS = frozenset(NUMBER_WORDS) - {
    *("and", "a", "past", "to", "half", "quarter", "o'clock", "degrees", "tree")
}
_IN_CELL = {
    "b": EventKind.BACK,
    "i": EventKind.BACK,
    "a": EventKind.AWAY,
    "o": EventKind.AWAY,
}


@dataclass(frozen=True, slots=True)
class _Words:
    """The words of a line, contractions parted, with what joins each to the next."""

    words: list[str]
    starts: list[int]
    ends: list[int]
    links: list[str]  # "space", "-", "/", "'" within a contraction, or ""
    at: dict[int, int]  # place in the text -> number of the word

    @classmethod
    def of(cls, text: str) -> _Words:
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
        while last - first < _MOST_WORDS - 1 and self.links[last] in joined_by:
            last += 1
        return self.words[first : last + 1]


_BY_SPACE = frozenset({"space", "-", "'"})
_BY_SLASH = frozenset({"space", "-", "/"})
_CLOSELY = frozenset({"-", "/"})


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


class Reader:
    """Takes lines apart, by a phrase book."""

    def __init__(self, book: PhraseBook) -> None:
        ways = book.marks()
        self._marks = {tuple(said.split()): mark for said, mark in ways.items()}
        self._known = frozenset(ways.values())
        self._colours = {
            said: mark
            for said, mark in ways.items()
            if " " not in said and "-" not in mark and " " not in mark
        }
        self._spots = {m.split()[1] for m in self._known if len(m.split()) == 2}
        self.letters = _single({(n[0], n) for n in self._colours.values()})
        self._short = _single(
            {
                (said[:length], mark)
                for said, mark in self._colours.items()
                for length in range(2, len(said))
            }
        )
        self._events: dict[tuple[str, ...], EventKind] = {
            (word,): kind for word, kind in ALSO_WRITTEN.items()
        }
        for kind, action in book.actions.items():
            for way in (*action.say, *action.narrate):
                head, _, tail = way.partition("{mark}")
                words = tuple((head or tail).split())
                if words and not (head and tail.strip()) and "{" not in head + tail:
                    self._events[words] = EventKind(kind)
        self._events.pop(("again",), None)  # "off again" is no landing
        self._plain: dict[str, Token] = {}  # words that nothing begins with
        self._first: dict[str, int] = {}
        for words in self._events:
            most = max(self._first.get(words[0], 0), len(words))
            self._first[words[0]] = most

    def mark_of(self, text: str) -> str:
        """Return the mark that a text names and nothing beside it, or ""."""
        if len(text) > _LONGEST_NAME or any("0" <= char <= "9" for char in text):
            return ""
        tokens = [t for t in self.read(text, wanted="mark") if t.sort != "filler"]
        alone = len(tokens) == 1 and tokens[0].sort == "mark"
        return tokens[0].value if alone else ""

    def event_of(self, text: str) -> EventKind | None:
        """Return the coming or going that a text names, and nothing beside it."""
        tokens = [t for t in self.read(text) if t.sort != "filler"]
        alone = len(tokens) == 1 and tokens[0].sort == "event"
        return EventKind(tokens[0].value) if alone else None

    def knows(self, word: str) -> bool:
        """Tell whether a word has a meaning in a note."""
        return any(token.sort not in UNKNOWN for token in self.read(word))

    def read(
        self, line: str, *, wanted: Wanted = "", of_bee: bool = False
    ) -> list[Token]:
        """Return what stands in a line, in its order.

        Parameters
        ----------
        line
            The line, or a cell.
        wanted
            What the heading of a cell says that it holds.
        of_bee
            Whether the bee is named elsewhere, so that a letter is hardly one.
        """
        text = line.lower()
        if len(text) != len(line):  # a capital of two letters, as in Turkish
            line = text
        words = _Words.of(text)
        found: list[Token] = []
        numbered = _LISTED.match(text)
        at = numbered.end() if numbered else 0
        if match := _DATED.match(text):
            said = match[1] or match[2]
            found.append(Token("date", said, said))
            at = match.end()
        while at < len(text):
            tokens, at = self._next(line, text, at, words, wanted)
            found += tokens
        return _with_norths(self._decided(found, wanted, of_bee=of_bee))

    def _next(
        self, line: str, text: str, at: int, words: _Words, wanted: Wanted
    ) -> tuple[list[Token], int]:
        """Return what stands at a place, maybe nothing, and the place after it."""
        char = text[at]
        if "0" <= char <= "9":
            return read_number(text, at)
        if after := AFTER.match(text, at):
            seconds = 60 * int(after["m"]) + int(after["s"])
            return [Token("duration", str(seconds), after[0])], after.end()
        if (number := words.at.get(at)) is not None:
            return self._words(line, text, words, number, wanted)
        following = text[at + 1 : at + 2]
        signed = char in "-+\u2212" and following.isdigit()
        if char.isalnum() or signed:  # a sign, or what went before goes on
            return read_odd(text, at)
        harmless = (char.isspace() and char != "\t") or char in _HARMLESS
        sort = _SIGNS.get(char, "odd")
        harmless = harmless or (char == ">" and text[at - 1] == "-" and at > 0)
        if char in ".!" and following.isspace():
            sort, harmless = "break", False
        sign = Token(sort, char if sort == "break" else "", char)
        return ([] if harmless else [sign]), at + 1

    def _words(
        self, line: str, text: str, words: _Words, number: int, wanted: Wanted
    ) -> tuple[list[Token], int]:
        """Read words from one on, up to the end of a contraction."""
        found: list[Token] = []
        at = words.starts[number]
        while True:
            token, count = self._word(line, words, number, wanted)
            number += count
            end = words.ends[number - 1]
            found.append(token._replace(text=text[at:end]))
            if number == len(words.words) or words.ends[number] != end:
                return found, end

    def _word(
        self, line: str, words: _Words, first: int, wanted: Wanted
    ) -> tuple[Token, int]:
        """Return the token that begins at a word, and how many words it takes."""
        word = words.words[first]
        if (plain := self._plain.get(word)) is not None:
            return plain, 1
        run = words.run(first, _BY_SPACE)
        if wanted == "event" and word in _IN_CELL:
            return Token("event", str(_IN_CELL[word]), word), 1
        event = self._event(run)
        mark = self._mark(line, words, first)
        point = self._point(run, wanted)
        if event is not None and (event[1] > 1 or mark is None or mark[1] == 1):
            return event
        if mark is not None and (mark[1] > 1 or (not point and word not in POINTS_DEG)):
            return mark
        found = point or _letter(word, self.letters) or _spoken_bearing(run)
        if found is not None:
            return found
        plain = Token(_sort_of(word), "", word)
        if len(word) > 2 and word not in self._first and word not in _STARTS:
            self._plain[word] = plain
        return plain, 1

    def _event(self, run: Sequence[str]) -> tuple[Token, int] | None:
        most = min(self._first.get(run[0], 0), len(run))
        for count in range(most, 0, -1):
            if (kind := self._events.get(tuple(run[:count]))) is not None:
                return Token("event", str(kind), ""), count
        return None

    def _mark(self, line: str, words: _Words, first: int) -> tuple[Token, int] | None:
        """Find a bee's name, written out or shortened: "yellow", "bl/w", "Y abd"."""
        found = self._named(line, words, first)
        return (Token("mark", found[0], "", found[2]), found[1]) if found else None

    def _named(
        self, line: str, words: _Words, first: int
    ) -> tuple[str, int, tuple[Flag, ...]] | None:
        run = words.run(first, _BY_SLASH)
        best: tuple[str, int, tuple[Flag, ...]] | None = None
        for count in range(min(len(run), 4), 0, -1):
            if (mark := self._marks.get(tuple(run[:count]))) is not None:
                best = mark, count, ()
                break
        one = self._colour(run[0])
        if one is None:
            pair = self._pair(line[words.starts[first] : words.ends[first]])
            return best or ((pair, 1, ()) if pair else None)
        mark, count = one, 1
        flags: tuple[Flag, ...] = ()
        two = self._colour(run[1]) if len(run) > 1 else None
        letters = len(run) > 1 and len(run[0]) == len(run[1]) == 1
        spaced = letters and words.links[first] == "space"
        if two and (words.links[first] in _CLOSELY or spaced):
            if f"{one}-{two}" in self._known:
                mark, count = f"{one}-{two}", 2
            if spaced:  # one bee of two colours, or two bees
                said = f"{run[0]} {run[1]}"
                flags = (Flag.of(FlagCode.TAKEN_AS, said, mark),)
        if len(run) > count and words.links[first + count - 1] != "/":
            spot = [s for s in self._spots if s.startswith(run[count])]
            if len(spot) == 1 and len(run[count]) > 1:
                whole = f"{mark} {spot[0]}"
                if whole in self._known:
                    mark, count = whole, count + 1
        return best if best and best[1] >= count else (mark, count, flags)

    def _colour(self, word: str) -> str | None:
        if word in self._colours:
            return self._colours[word]
        if word in self.letters:
            return self.letters[word]
        if word in _NO_COLOURS or word in _FILLERS or word in POINTS_DEG:
            return None
        return self._short.get(word)

    def _pair(self, said: str) -> str:
        """Read two letters written as one word: "bw"."""
        low = said.lower()
        if len(low) != 2 or low in POINTS_DEG:
            return ""
        if low in _NO_COLOURS or low in _FILLERS:
            return ""
        one, two = self.letters.get(low[0], ""), self.letters.get(low[1], "")
        mark = f"{one}-{two}"
        return mark if one and two and mark in self._known else ""

    def _point(self, run: Sequence[str], wanted: Wanted) -> tuple[Token, int] | None:
        """Find a point of the compass that is more than one letter."""
        for count in range(min(len(run), 3), 0, -1):
            parts = run[:count]
            name = "".join(_POINTS.get(word, "?") for word in parts)
            if name not in POINTS_DEG or len("".join(parts)) == 1:
                continue
            short = [word for word in parts if len(word) == 1]
            if count > 1 and wanted != "bearing" and set(short) & self.letters.keys():
                continue  # "S W back" may be two bees
            value = f"{round(POINTS_DEG[name], 1):g} {name}"
            return Token("bearing", value, ""), count
        return None

    def _decided(
        self, found: list[Token], wanted: Wanted, *, of_bee: bool
    ) -> list[Token]:
        """Make of each letter that may be a colour or a point what it is."""
        named, times = of_bee, 0
        for place, token in enumerate(found):
            if token.sort == "filler" and token.text in {"bee", "no"}:
                _number_bee(found, place + 1)
            if token.sort == "letter":
                is_bee, flags = self._is_bee(
                    found, place, wanted, named=named, again=times > 1
                )
                found[place] = self._as(token, flags, is_bee=is_bee)
            elif token.sort == "bearing" and len(token.text) == 1:
                before = found[place - 1].sort if place else ""
                if before == "joint" or wanted == "mark":  # no colour has this letter
                    found[place] = token._replace(sort="odd", value="")
            named = named or found[place].sort == "mark"
            times += token.sort == "time"
        return found

    def _as(self, token: Token, flags: tuple[Flag, ...], *, is_bee: bool) -> Token:
        letter = token.value
        if is_bee:
            return Token("mark", self.letters[letter], token.text, flags)
        value = f"{POINTS_DEG[letter]:g} {letter}"
        return Token("bearing", value, token.text, flags)

    def _is_bee(
        self,
        found: Sequence[Token],
        place: int,
        wanted: Wanted,
        *,
        named: bool,
        again: bool,
    ) -> tuple[bool, tuple[Flag, ...]]:
        """Tell whether a letter names a bee here, and why to doubt that.

        `named` says that a bee was named before it, `again` that two times were told.
        """
        if wanted in {"mark", "bearing"}:
            return wanted == "mark", ()
        before = place - 1
        while before >= 0 and found[before].sort in {"filler", "rough"}:
            before -= 1
        last = found[before].sort if before >= 0 else ""
        if last in {"towards", "joint"} or not named:
            return last != "towards", ()
        parted = last == "break"
        if parted:
            before -= 1
            last = found[before].sort if before >= 0 else ""
        after = found[place + 1].sort if place + 1 < len(found) else ""
        doubt = (
            Flag.of(
                FlagCode.TAKEN_AS, found[place].text, self.letters[found[place].value]
            ),
        )
        acts = after in {"event", "too", "towards"}
        if last == "time":  # a second time begins a note, a first one ends it
            return again or acts, ()
        if acts or last == "mark":
            return True, () if parted or last == "bearing" else doubt
        following = _first_deed(found, place + 1) if parted else ""
        if following == "time":  # whose it is cannot be told: "Y off, W 9:12 back"
            point = f"{POINTS_DEG[found[place].value]:g}"
            return False, (Flag.of(FlagCode.TAKEN_AS, found[place].text, point),)
        return following == "event" or (parted and _lists_bees(found, place + 1)), ()


def _number_bee(found: list[Token], place: int) -> None:
    """Leave the number of a bee unread, which is no bearing: "bee 2 off 210"."""
    if place < len(found) and found[place].text in _BEE_NUMBERS:
        found[place] = Token("odd", "", found[place].text)


def _with_norths(found: Sequence[Token]) -> list[Token]:
    """Join to a bearing the north that is named behind it: "two ten true", "SW mag"."""
    kept: list[Token] = []
    for token in found:
        before = kept[-1] if kept else None
        north = NORTHS.get(token.text)
        unnamed = before is not None and not before.value.endswith(("true", "magnetic"))
        if north and before is not None and before.sort == "bearing" and unnamed:
            kept[-1] = before._replace(
                value=f"{before.value} {north}", text=f"{before.text} {token.text}"
            )
        else:
            kept.append(token)
    return kept


def _first_deed(found: Sequence[Token], place: int) -> str:
    """Return whether up to the next comma a doing or a time is told first."""
    for token in found[place:]:
        if token.sort in {"break", "joint"}:
            break
        if token.sort in {"event", "time"}:
            return token.sort
    return ""


def _letter(word: str, colours: Mapping[str, str]) -> tuple[Token, int] | None:
    """Read one letter of the compass, which may be a colour's too."""
    if word not in POINTS_DEG:
        return None
    if word in colours:
        return Token("letter", word, word), 1
    return Token("bearing", f"{POINTS_DEG[word]:g} {word}", word), 1


def _lists_bees(found: Sequence[Token], place: int) -> bool:
    """Tell whether further bees follow, and then what they did."""
    bees = 0
    for token in found[place:]:
        if token.sort in {"mark", "letter"}:
            bees += 1
        elif token.sort not in {"joint", "break"}:
            return bees > 0 and token.sort == "event"
    return False


def _single(pairs: set[tuple[str, str]]) -> dict[str, str]:
    """Keep of short forms those that mean one thing only."""
    found: dict[str, set[str]] = {}
    for short, meant in pairs:
        found.setdefault(short, set()).add(meant)
    return {short: meant.pop() for short, meant in found.items() if len(meant) == 1}


def _sort_of(word: str) -> Sort:
    return next((sort for sort, words in _SORTS.items() if word in words), "word")


_SORTS: dict[Sort, frozenset[str]] = {
    "joint": frozenset({"and"}),
    "at": frozenset({"at"}),
    "filler": _FILLERS,
    "towards": _TOWARDS,
    "too": _TOO,
    "rough": _ROUGH,
    "lasting": frozenset({"for", "after"}),
    "not": _NOT,
    "doubt": _DOUBTS,
}


def _spoken_bearing(run: Sequence[str]) -> tuple[Token, int] | None:
    """Read a bearing in words: "two hundred and ten", "south westerly"."""
    word = run[0]
    if word not in _NUMBERS and not word.startswith(("north", "south", "east", "west")):
        return None
    reading = read_bearing(run)
    if reading is None or (word == "one" and reading.used == 1):
        return None
    said = " ".join(run[: reading.used])
    if reading.deg is None:
        return Token("odd", "", said), reading.used
    value = f"{reading.deg % FULL_CIRCLE_DEG}"
    if read_compass(run) is not None:
        name = point_at(reading.deg)
        value = f"{round(POINTS_DEG[name], 1):g} {name}"
    return Token("bearing", value, said, read_flags(reading.flags)), reading.used
