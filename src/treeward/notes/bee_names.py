"""Naming bees in free speech: "the yellow one", "blue and white", "she", "both".

Names are read here; which bees a pronoun means is told by the state of what was seen so
far: who was spoken of, who is here, who is out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.kinds import UNMARKED

from .nicknames import BY_NUMBER, LED_TO, NO_LOOK, THEN_MOVES, any_of, names_given

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from treeward.language.phrasebook import PhraseBook

_BEFORE = (
    r"(?:(?:the|that|this|our|my|a|an|little|old|other|number|real|wee|big|dear|young"
    r"|first|same|good|pretty|fat|bold|lazy|bonny|poor|sweet|madam|miss|mister|mrs|lady"
    r"|lovely|gorgeous|precious|auld|bonnie|beautiful|fine|plain|proper|stripy|cheeky"
    r"|greedy|naughty|lucky|busy|small|tiny|dark|darling|one|faithful|trusty|clever"
    r"|brave|his|her|your) ){0,4}"
)
_DOT = r"(?:dot|dots|dotted|spot|spotted|painted|marked)"
BEE = (
    r"(?:one|bee|girl|lady|lass|lassie|gal|worker|forager|friend|fellow|fella|lad|miss"
    r"|sister|beauty|creature|madam|thing|princess|queenie|visitor|customer|chap|un"
    r"|individual|specimen|animal|bird|baby|colleague|critter|insect|scout|rascal"
    r"|darling|dear|soul|subject|youngster|maid|dame|missus|candidate|traveller|pet|pal"
    r"|mate|character)"
)
_NUMBER = (
    r"(?:\d|hundred|oh|zero|nought|one|two|three|four|five|six|seven|eight|nine|ten"
    r"|eleven|twelve|\w+teen|twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety)\b"
)
_PAINT = r"(?:dot|mark|spot|blob)"
OTHER = rf"(?:the other (?:{BEE}|two)|the other|her (?:friend|mate|sister))"
PRONOUN = (
    rf"(?:she|her|it|he|whoever it was|that last one|the last {BEE}|the newcomer"
    rf"|{OTHER}|(?:that|this|the) {BEE})"
)
# One of several, nobody knows which.
_SOME = rf"(?:one of them|one of the bees|another {BEE}|another|some {BEE}|a {BEE})"
_GROUPS = {
    2: r"they (?:have |had )?both|both of them|both|the pair of them|the pair"
    r"|the two of them|two of them|two (?=came|come|have|are|left|went|landed|off|away"
    r"|in|back|just)|two at once|the two|them both|the both of them",
    3: r"all three of them|all three|the three of them|three of them",
    0: r"they (?:have |had )?all|all of them|everyone|everybody",
}
_GROUP = re.compile(
    "|".join(rf"(?P<n{count}>{words})" for count, words in _GROUPS.items()).join(
        ("(?:", r")(?= )")
    )
)
_JOIN = re.compile(r" (?:, and then|, and|, then|,|and then|and|then|plus)(?= )")
_TWO_COLOURED = re.compile(
    rf"(?:(?:the|my|our|that|little|madam) )*(?:two|double|bi) ?(?:colou?r(?:ed)?"
    rf"|tones?|toned|painted|dotted|spotted)(?: {BEE})?(?= )"
)
# What a bee was likened to, or looked like, when she was painted.
_EPITHETS = (
    re.compile(rf" (?P<look>[a-z]{{3,}}) {BEE}(?= )"),
    re.compile(
        r" with (?:the|a|an|her|its|one) (?P<look>[a-z]{3,}) (?:wing|wings|leg|legs"
        r"|antenna"
        r"|back|bottom|behind|tail|abdomen|belly|stripe|stripes|face|hip|fur)(?= )"
    ),
    re.compile(r" like (?:a|an|the|some) (?:[a-z]+ )*?(?P<thing>[a-z]{4,}) (?=[.,])"),
    re.compile(
        r" (?:call|calling|named?|naming|christen) (?:her|this one|that one"
        r"|it) (?:the )?(?:little |old )?(?P<thing>[a-z]{4,}) (?=[.,])"
    ),
)


# One bee of two colours: "the blue and white one is".
_ONE_OF_TWO = re.compile(
    r" (?:is|was|goes|comes|leaves|lands|takes|came|went|left)(?= )"
)
# What tells that two colours are two bees.
_TWO = re.compile(r" (?:, )?(?:both|are|were|have|together|each|the pair)(?= )")


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A bee named in the text: its mark, "" for a pronoun, and where its name ends.

    `full` tells that a word for the bee was said with the colour ("the blue one"),
    `some` that it could be any ("one of them"). `marks` are several bees named
    together; `group` how many an unnamed group holds: 2 for "both", -1 for "all".
    """

    mark: str
    end: int
    pronoun: str = ""
    full: bool = False
    some: bool = False
    marks: tuple[str, ...] = ()
    group: int = 0
    called: str = ""  # otherwise than by her colours


class BeeNames:
    """Finds names of bees at a place in the text of sentences."""

    def __init__(
        self, book: PhraseBook, text: str = "", proper: Collection[str] = ()
    ) -> None:
        self.seen: set[str] = set()  # marks noted so far
        self._epithets: dict[str, str] = {}  # what else a bee is called, and her mark
        self.painted = book.marks_in_use  # empty: any may be
        book = replace(book, marks_in_use=frozenset())
        self._marks = dict(book.marks())
        self._alone = dict(self._marks)  # without "blue and white"
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
        self._spots = {way: spot for spot, ways in book.spots.items() for way in ways}
        self._lay_out()
        spots = {*self._spots}
        given = names_given(text, self._alone, self._marks, spots, proper)
        self._numbered = given.numbers  # "two", and the mark of bee number two
        if given.names:
            self._marks |= given.names
            self._alone |= given.names
            self._lay_out()

    def _lay_out(self) -> None:
        """Make the patterns of all names that are known."""
        spots = "|".join(map(re.escape, self._spots))
        self._coloured = self._names_of(self._marks, spots)
        self._single = self._names_of(self._alone, spots)
        self.word = re.compile(rf" (?:{any_of(self._alone)})(?= )")
        every = any_of(self._marks)
        self._with_dot = re.compile(
            rf"{_BEFORE}{BEE} (?:with|wearing|in) (?:the|an?|her) (?P<mark>{every})"
            rf" {_PAINT}(?= )"
        )
        self._pronoun = re.compile(rf"(?P<pronoun>{PRONOUN})(?= )")
        self._some = re.compile(rf"(?P<pronoun>{_SOME})(?= )")
        self._plain = re.compile(
            rf"{_BEFORE}{BEE} (?:with no|without) (?:a |any )?(?:dot|mark|paint)(?= )"
        )

    def spot_in(self, said: str) -> str:
        """Find where a bee is said to be painted, "" where nothing tells.

        "A little speck, on her abdomen" tells it behind her name.
        """
        spots = "|".join(map(re.escape, self._spots))
        on_her = re.search(rf" on (?:the |her |its )?(?P<spot>{spots})(?= )", said)
        return self._spots[on_her["spot"]] if on_her and spots else ""

    @staticmethod
    def _names_of(marks: dict[str, str], spots: str) -> re.Pattern[str]:
        on_spot = (
            rf"(?:(?: (?:with|that is|which is) (?:the|a|its|her)? ?{_DOT})?"
            rf"(?: ,)? (?:right )?on (?:(?:the|her|its) )?(?P<spot>{spots}))?"
            if spots
            else "(?P<spot>)"
        )
        return re.compile(
            rf"(?P<det>{_BEFORE})(?P<mark>{any_of(marks)})"
            rf"(?: {_DOT}(?= {BEE}| with))?"
            rf"(?P<bee> (?:{BEE}(?! {_NUMBER})|{_PAINT}(?! on)))?{on_spot}(?= )"
        )

    def at(self, text: str, place: int) -> Named | None:
        """Read the name of a bee, or of several, at `place`."""
        group = _GROUP.match(text, place)
        if group:
            return self._of_group(text, place, group)
        first = self._one(text, place)
        if first is None or not first.mark:
            return first
        return self._joined(text, place, first)

    def _of_group(self, text: str, place: int, group: re.Match[str]) -> Named:
        """Read "both", and "both white and green"."""
        number = next(int(key[1:]) for key, said in group.groupdict().items() if said)
        comma = 3 if text.startswith(" , ", group.end()) else 1
        marks, end = self.listed(text, group.end() + comma, ())
        if len(marks) > 1:
            return Named(mark="", end=end, marks=marks)
        return Named(
            mark="",
            end=group.end(),
            pronoun=text[place : group.end()],
            group=number or -1,
        )

    def listed(
        self, text: str, place: int, marks: tuple[str, ...] = ()
    ) -> tuple[tuple[str, ...], int]:
        """Read names of bees joined by commas and "and", two colours as two bees."""
        match = self._single.match(text, place)
        if match is None:
            return marks, place
        marks = (*marks, self._mark_of(match))
        link = _JOIN.match(text, match.end())
        if link:
            more, end = self.listed(text, link.end() + 1, marks)
            if len(more) > len(marks):
                return more, end
        return marks, match.end()

    def _joined(self, text: str, place: int, first: Named) -> Named:
        """Tell one bee of two colours from two bees."""
        marks, end = self.listed(text, place, ())
        if len(set(marks)) < 2 or len(marks) != len(set(marks)):
            return first
        several = Named(mark="", end=end, marks=marks)
        if first.full and "-" in first.mark and _ONE_OF_TWO.match(text, first.end):
            return first
        if end > first.end or " " in first.mark or "-" not in first.mark:
            return several
        if _TWO.match(text, end):
            return several
        if self.painted and (first.mark in self.painted) != (
            set(marks) <= self.painted
        ):
            return first if first.mark in self.painted else several
        known = set(marks) <= self.seen and first.mark not in self.seen
        return several if known else first

    def _mark_of(self, match: re.Match[str]) -> str:
        mark = self._marks[match["mark"]]
        if match["spot"] and " " not in mark:
            return f"{mark} {self._spots[match['spot']]}"
        return mark

    def _one(self, text: str, place: int) -> Named | None:
        match = self._coloured.match(text, place)
        if match:
            mark = self._in_order(self._mark_of(match))
            return Named(mark=mark, end=match.end(), full=bool(match["bee"]))
        match = self._with_dot.match(text, place)
        if match:
            return Named(mark=self._marks[match["mark"]], end=match.end(), full=True)
        match = self._plain.match(text, place)
        if match:
            return Named(mark=UNMARKED, end=match.end(), full=True)
        return self._colourless(text, place)

    def _by_number(self, text: str, place: int) -> Named | None:
        """Read "two" for a bee that is number two: "two is back", "and two"."""
        match = BY_NUMBER.match(text, place) if self._numbered else None
        mark = self._numbered.get(match["n"], "") if match else ""
        if match is None or not mark:
            return None
        alone = text[match.end() : match.end() + 3] in {" , ", " . ", " ? "}
        before = text[max(0, place - 40) : place]
        after_which = before.endswith((" for ", " and ", " is "))
        if not LED_TO.search(before) and not (alone and after_which):
            return None
        if not alone and not THEN_MOVES.match(text, match.end()):
            return None
        return Named(mark=mark, end=match.end(), full=True, called=match["n"])

    def _colourless(self, text: str, place: int) -> Named | None:
        """Read what means a bee without her colours: "another", "the bauble", "she"."""
        numbered = self._by_number(text, place)
        if numbered:
            return numbered
        match = self._some.match(text, place)
        if match:
            return Named(mark="", end=match.end(), pronoun=match["pronoun"], some=True)
        called = self._by_epithet(text, place)
        match = self._pronoun.match(text, place)
        if called or match is None or match["pronoun"] == "he":
            return called
        return Named(mark="", end=match.end(), pronoun=match["pronoun"])

    def _in_order(self, mark: str) -> str:
        """Give a bee of two colours as she was named first: "white and blue" too."""
        turned = "-".join(reversed(mark.split("-")))
        return turned if mark not in self.seen and turned in self.seen else mark

    def learn_look(self, said: str, mark: str) -> None:
        """Learn what a bee may be called besides, from the words of her painting."""
        for pattern in _EPITHETS:
            for match in pattern.finditer(f" {said.strip()} . "):
                thing = "thing" in pattern.groupindex
                word = match["thing" if thing else "look"]
                if word in NO_LOOK or word in self._alone:
                    continue
                word = word if thing else rf"{word} {BEE}"
                other = self._epithets.get(word, mark)
                self._epithets[word] = mark if other == mark else ""

    def _by_epithet(self, text: str, place: int) -> Named | None:
        """Read "the bauble", "the small one", "my two-coloured one"."""
        match = _TWO_COLOURED.match(text, place)
        two = [mark for mark in self.seen if "-" in mark]
        mark = two[0] if match and len(two) == 1 else ""
        if not mark and self._epithets:
            words = "|".join(sorted(self._epithets, key=len, reverse=True))
            match = re.compile(
                rf"(?:the|that|my|our|this|madam) (?:[a-z]+ )?(?P<word>{words})(?= )"
            ).match(text, place)
            mark = next(
                (
                    of
                    for word, of in self._epithets.items()
                    if match and re.fullmatch(word, match["word"])
                ),
                "",
            )
        if match is None or not mark:
            return None
        return Named(mark=mark, end=match.end(), full=True, called=match[0])

    def mark_of(self, way: str) -> str:
        """Give the mark that a colour's word means."""
        return self._alone[way]

    def single(self, text: str, place: int) -> Named | None:
        """Read one bee's colour at `place`, no pronoun and no second bee."""
        found = self._one(text, place)
        return found if found and found.mark else None

    def called(self, named: Named, mark: str) -> Named:
        """Give the same words as the name of one bee."""
        return replace(named, mark=mark, marks=(), group=0)


class View:
    """Which bees are at the station, as far as the notes so far tell."""

    def __init__(self) -> None:
        self.here: list[str] = []
        self.out: list[str] = []
        self.last = ""  # the bee that did something last
        self.spoken = ""  # the bee named last
        self.wanted = ""  # a bee spoken of while she was out
        self.since_station: set[str] = set()  # bees that were seen at this station
        self.along: dict[str, str] = {}  # where each bee flew last, as in an event

    def note(self, kind: str, mark: str) -> None:
        """Take in a note about a bee."""
        if not mark:
            return
        if kind == "missed":
            self.wanted = mark
            return
        self.wanted = ""
        self.since_station.add(mark)
        self.last = self.spoken = mark
        if kind in {"back", "mark"}:
            self._move(mark, self.out, self.here)
        elif kind == "away":
            self._move(mark, self.here, self.out)

    def moved_on(self) -> None:
        """Take in that the watching goes on elsewhere: no bee is there yet."""
        self.out += [mark for mark in self.here if mark not in self.out]
        self.here.clear()
        self.since_station.clear()

    @staticmethod
    def _move(mark: str, source: list[str], target: list[str]) -> None:
        for places in (source, target):
            if mark in places:
                places.remove(mark)
        target.append(mark)

    def pool(self, kind: str) -> list[str]:
        """Give the bees that may do this, the likeliest last."""
        return self.here if kind == "away" else self.out

    def meant(self, kind: str, said: str = "") -> tuple[str, Sequence[str]]:
        """Give the bee a pronoun means, "" when unclear, and all it could be."""
        if kind not in {"away", "back", "missed"}:
            return self.last, ()
        pool = self.pool(kind)
        could_be = tuple(reversed(pool))
        if re.fullmatch(OTHER, said):
            rest = [mark for mark in pool if mark != self.last]
            return (rest[0] if len(rest) == 1 else ""), could_be
        if kind == "back" and self.wanted in pool:
            return self.wanted, could_be
        if self.spoken in pool and (kind == "away" or self.spoken != self.last):
            return self.spoken, could_be
        if kind == "away":
            return (pool[-1] if pool else ""), could_be
        if kind == "back" and len(pool) > 1:
            pool = [mark for mark in pool if mark in self.since_station]
        return (pool[-1] if len(pool) == 1 else ""), could_be

    def group(self, kind: str, number: int) -> tuple[str, ...]:
        """Give the bees that "both" or "all" means, as many of them as are known."""
        pool = self.pool(kind)
        return tuple(pool if number < 0 else pool[-number:])
