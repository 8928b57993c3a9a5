"""The words of a typed line: times, bees, comings and goings, bearings, and the rest.

Every word and number of a line comes back as a token, also what is not understood, so
that the page can say so. What stands for a colour and for a point of the compass ("W")
is decided by what is beside it.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal

from treeward.language.bearings import (
    POINTS_DEG,
    point_at,
    read_bearing,
    read_compass,
)
from treeward.language.kinds import ALSO_WRITTEN, EventKind

from .clocked_numbers import (
    AFTER,
    DATE,
    FULL_CIRCLE_DEG,
    NORTHS,
    UNKNOWN,
    Token,
    read_number,
    read_odd,
    read_quadrant,
)
from .clocked_spoken import BEGIN_NUMBERS, first_time, spoken_duration, spoken_time
from .clocked_vocabulary import (
    BY_SLASH,
    BY_SPACE,
    CLOSELY,
    FILLERS,
    IN_CELL,
    NO_COLOURS,
    NO_THINGS,
    NUMBERS,
    POINTS,
    STARTS,
    Words,
    sort_of,
)
from .flags import Flag, FlagCode, read_flags

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from treeward.language.phrasebook import PhraseBook

    from .clocked_numbers import Sort

Wanted = Literal["", "mark", "event", "bearing", "time"]  # what a cell's heading says
# A date at the beginning; one without a year stands before a time.
_DATED = re.compile(
    rf"\W*(?:({DATE.pattern})(?:[\s,;:]+(?=\S)|t(?=\d))"
    r"|(\d{1,2}/\d{1,2}|\d{1,2}\.\d{1,2}\.(?:\d\d)?)[\s,;]+(?=\d{1,2}[:.h]\d\d))"
)
_BY_DEG = FULL_CIRCLE_DEG / 32  # from a point to the one beside it, of thirty-two
_MOVES = frozenset({"o", "i"})
_DITTO = re.compile(
    r"(?:(?:\"|\u201c|\u201d|\u2033|\u3003|'')|ditto\b|do\.)(?=[\s,;]|$)"
)
_BEGINS = re.compile(r"[\s([*_\u2022>-]*")  # before the first word of a line
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
_LONGEST_NAME = 40  # letters of a bee's name with what is beside it; choice

# A line's own number or box: "1) yellow off", "2. 9:30", "- [x] 9:40".
_LISTED = re.compile(r"\s*(?:\(?\d{1,2}\)|\d{1,2}\.|[-*+\u2022]?\s*\[[ x]?\])\s+")


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
        self.in_and_out = False  # whether "o" and "i" are her going and coming
        self._legend: dict[str, str] = {}  # what the page says that it means by a word
        self._plain: dict[str, Token] = {}  # words that nothing begins with
        self._first: dict[str, int] = {}
        for words in self._events:
            most = max(self._first.get(words[0], 0), len(words))
            self._first[words[0]] = most

    def learn(self, short: str, meant: str | EventKind) -> None:
        """Take a word, in small letters, for a mark or a doing from now on."""
        self._plain.pop(short, None)
        if isinstance(meant, EventKind):
            self._events[(short,)] = meant
            self._first.setdefault(short, 1)
            return
        self._legend[short] = meant
        if short in self.letters or short in POINTS_DEG:
            self.letters = {**self.letters, short: meant}  # beside a point: "W", "S"

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
        if text.strip().lower() == "on":  # beside a column "off"
            return EventKind.BACK
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
        words = Words.of(text)
        found: list[Token] = []
        numbered = _LISTED.match(text)
        at = numbered.end() if numbered else 0
        if match := _DATED.match(text):
            said = match[1] or match[2]
            found.append(Token("date", said, said))
            at = match.end()
        begins = _BEGINS.match(text, at)
        start = begins.end() if begins else at
        if wanted in {"", "time"} and (
            first := first_time(text, start, alone=wanted == "time")
        ):
            found.append(first[0])
            at = first[1]
        while at < len(text):
            tokens, at = self._next(line, text, at, words, wanted)
            found += tokens
        return _with_norths(self._decided(found, wanted, of_bee=of_bee))

    def _next(
        self, line: str, text: str, at: int, words: Words, wanted: Wanted
    ) -> tuple[list[Token], int]:
        """Return what stands at a place, maybe nothing, and the place after it."""
        char = text[at]
        if (whole := _whole(text, at)) is not None:
            return [whole[0]], whole[1]
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
        self, line: str, text: str, words: Words, number: int, wanted: Wanted
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
        self, line: str, words: Words, first: int, wanted: Wanted
    ) -> tuple[Token, int]:
        """Return the token that begins at a word, and how many words it takes."""
        word = words.words[first]
        if (plain := self._plain.get(word)) is not None:
            return plain, 1
        run = words.run(first, BY_SPACE)
        if wanted == "event" and word in IN_CELL:
            return Token("event", str(IN_CELL[word]), word), 1
        event = self._event(run)
        mark = self._mark(line, words, first)
        point = self._point(run, wanted)
        if event is not None and (event[1] > 1 or mark is None or mark[1] == 1):
            return event
        if mark is not None and (mark[1] > 1 or (not point and word not in POINTS_DEG)):
            return mark
        found = (
            point
            or _letter(word, self.letters)
            or spoken_duration(run)
            or _spoken_bearing(run)
        )
        if found is not None:
            return found
        plain = Token(sort_of(word), "", word)
        begins = word in self._first or word in STARTS or word in BEGIN_NUMBERS
        if len(word) > 2 and not begins:
            self._plain[word] = plain
        return plain, 1

    def _event(self, run: Sequence[str]) -> tuple[Token, int] | None:
        most = min(self._first.get(run[0], 0), len(run))
        for count in range(most, 0, -1):
            if (kind := self._events.get(tuple(run[:count]))) is not None:
                return Token("event", str(kind), ""), count
        return None

    def _mark(self, line: str, words: Words, first: int) -> tuple[Token, int] | None:
        """Find a bee's name, written out or shortened: "yellow", "bl/w", "Y abd"."""
        found = self._named(line, words, first)
        if found and self._is_of_a_thing(words, first, found[1]):
            return Token("aside", "", words.words[first]), 1
        return (Token("mark", found[0], "", found[2]), found[1]) if found else None

    def _is_of_a_thing(self, words: Words, first: int, count: int) -> bool:
        """Tell whether a colour is of the thing behind it: "saw red car go away"."""
        place = first + count
        if (
            count != 1
            or len(words.words[first]) < 3
            or words.links[place - 1] != "space"
        ):
            return False
        thing = words.words[place]
        known = thing in self._first or thing in NO_THINGS or sort_of(thing) != "word"
        named = self._colour(thing) or thing in POINTS or thing in BEGIN_NUMBERS
        if known or named or len(thing) < 3 or thing.endswith(("ed", "ly", "ing")):
            return False
        if words.links[place] != "space":
            return False
        after = words.words[place + 1]
        sort = sort_of(after)
        return sort == "filler" or (
            sort in {"word", "all"} and after not in self._first
        )

    def _named(
        self, line: str, words: Words, first: int
    ) -> tuple[str, int, tuple[Flag, ...]] | None:
        run = words.run(first, BY_SLASH)
        own = self._legend.get(run[0])
        if own is not None and not self._colour(" ".join(run[1:2])):
            return own, 1, ()
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
        beside = line[words.starts[first] :]
        if two and run[1] in _MOVES and (self.in_and_out or beside[:1].isupper()):
            apart = words.links[first] == "space" and beside[2:3] == run[1]
            two = None if apart else two  # "Y o 0905"
        letters = len(run) > 1 and len(run[0]) == len(run[1]) == 1
        spaced = letters and words.links[first] == "space"
        if two and (words.links[first] in CLOSELY or spaced):
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
        if word in NO_COLOURS or word in FILLERS or word in POINTS_DEG:
            return None
        return self._short.get(word)

    def _pair(self, said: str) -> str:
        """Read two letters written as one word: "bw"."""
        low = said.lower()
        if len(low) != 2 or low in POINTS_DEG:
            return ""
        if low in NO_COLOURS or low in FILLERS:
            return ""
        one, two = self.letters.get(low[0], ""), self.letters.get(low[1], "")
        mark = f"{one}-{two}"
        return mark if one and two and mark in self._known else ""

    def _point(self, run: Sequence[str], wanted: Wanted) -> tuple[Token, int] | None:
        """Find a point of the compass that is more than one letter."""
        if (by_point := _by_point(run)) is not None:
            return by_point
        for count in range(min(len(run), 3), 0, -1):
            parts = run[:count]
            name = "".join(POINTS.get(word, "?") for word in parts)
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
            if token.text in _MOVES and self._moves(found, place, named=named):
                kind = IN_CELL[token.text]
                doubt = Flag.of(FlagCode.TAKEN_AS, token.text, kind)
                doubts = () if self.in_and_out else (doubt,)
                found[place] = Token("event", kind, token.text, doubts)
                continue
            if token.text == "on" and _lands(found, place, named=named):
                found[place] = Token("event", EventKind.BACK, "on")
            if named and _is_short_for_bearing(found, place):
                found[place] = Token("towards", "", token.text)
                continue
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
            times += {"time": 1, "range": 2}.get(token.sort, 0)
        return found

    def _moves(self, found: Sequence[Token], place: int, *, named: bool) -> bool:
        """Tell whether "o" or "i" is a going or coming: "Y o 0905 -> i 0918"."""
        before = found[place - 1].sort if place else ""
        after = found[place + 1].sort if place + 1 < len(found) else "break"
        if before == "mark":
            return after in {"time", "range", "bearing", "break"} or self.in_and_out
        return self.in_and_out and named and before == "time" and after == "time"

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


def _whole(text: str, at: int) -> tuple[Token, int] | None:
    """Find what goes beyond one word or figure: a time in words, a ditto mark."""
    before = text[at - 1 : at] if at else ""
    if not before.strip(" \t,;|") and (ditto := _DITTO.match(text, at)):
        return Token("ditto", "", ditto[0]), ditto.end()
    if before.isalnum():
        return None
    return spoken_time(text, at) or read_quadrant(text, at)


def _by_point(run: Sequence[str]) -> tuple[Token, int] | None:
    """Read a point of the compass of thirty-two: "NE by E" is 56 degrees."""
    if "by" not in run[1:3]:
        return None
    by = run.index("by", 1)
    base = "".join(POINTS.get(word, "?") for word in run[:by])
    side = POINTS.get(run[by + 1], "") if by + 1 < len(run) else ""
    if base not in POINTS_DEG or len(base) > 2 or len(side) != 1:
        return None
    apart = (POINTS_DEG[side] - POINTS_DEG[base] + 180) % FULL_CIRCLE_DEG - 180
    if not 0 < abs(apart) <= FULL_CIRCLE_DEG / 4:
        return None
    deg = POINTS_DEG[base] + (_BY_DEG if apart > 0 else -_BY_DEG)
    said = " ".join(run[: by + 2])
    return Token("bearing", f"{round(deg % FULL_CIRCLE_DEG)}", said), by + 2


def _lands(found: Sequence[Token], place: int, *, named: bool) -> bool:
    """Tell whether she is "on", as the other of "off": nothing is named that it is on.

    "Yellow on 9:11" is a landing, "yellow off on 210" is none.
    """
    before = found[place - 1].sort if place else "break"
    after = found[place + 1].sort if place + 1 < len(found) else "break"
    return (
        named
        and before in {"mark", "time", "break", "joint", "bearing"}
        and after in {"break", "time", "at"}
    )


def _is_short_for_bearing(found: Sequence[Token], place: int) -> bool:
    """Tell whether "b" announces a bearing: "out 9:05 b 47" of a bee that is named."""
    if found[place].text != "b" or not 0 < place < len(found) - 1:
        return False
    before, after = found[place - 1], found[place + 1]
    return before.sort in {"time", "event"} and after.sort == "bearing"


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


def _spoken_bearing(run: Sequence[str]) -> tuple[Token, int] | None:
    """Read a bearing in words: "two hundred and ten", "south westerly"."""
    word = run[0]
    if word not in NUMBERS and not word.startswith(("north", "south", "east", "west")):
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
