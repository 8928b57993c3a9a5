"""Naming bees in free speech: "the yellow one", "blue and white", "she", "both".

Names are read here; which bees a pronoun means is told by the state of what was seen so
far: who was spoken of, who is here, who is out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.kinds import UNMARKED

from .nicknames import BY_NUMBER, LED_TO, THEN_MOVES, any_of, names_given

if TYPE_CHECKING:
    from collections.abc import Collection

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


# One bee of two colours: "the blue and white one is".
_ONE_OF_TWO = re.compile(
    r" (?:is|was|goes|comes|leaves|lands|takes|came|went|left)(?= )"
)
# What tells that two colours are two bees.
_TWO = re.compile(r" (?:, )?(?:both|are|were|have|together|each|the pair)(?= )")


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A bee named in the text: its mark, "" for a pronoun, and where its name ends.

    `full` tells that a word for the bee was said with the colour ("the blue one").
    `marks` are several bees named together; `group` how many an unnamed group holds: 2
    for "both", -1 for "all".
    """

    mark: str
    end: int
    pronoun: str = ""
    full: bool = False
    marks: tuple[str, ...] = ()
    group: int = 0
    called: str = ""  # otherwise than by her colours


class BeeNames:
    """Finds names of bees at a place in the text of sentences."""

    def __init__(
        self, book: PhraseBook, text: str = "", proper: Collection[str] = ()
    ) -> None:
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
        single = {way: one for way, one in self._alone.items() if "-" not in one}
        colour = any_of(single)
        self._halves = re.compile(
            rf"(?:half (?P<one>{colour}) (?:, )?(?:and )?half (?P<other>{colour})"
            rf"|(?:two|2) (?:colou?rs|dots|paints)(?: for \w+(?: \w+)?)? ,"
            rf" (?P<one2>{colour}) and (?P<other2>{colour})"
            r")(?= )"
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
        first = self._half_and_half(text, place) or self._one(text, place)
        if first is None or not first.mark or first.called:
            return first
        return self._joined(text, place, first)

    def _half_and_half(self, text: str, place: int) -> Named | None:
        """Read "half green, half pink" and "two colours, green and pink": one bee."""
        match = self._halves.match(text, place)
        if match is None:
            return None
        ways = match["one"] or match["one2"], match["other"] or match["other2"]
        one, other = (self._alone[way] for way in ways)
        mark = self._marks.get(" ".join(ways), f"{one}-{other}")
        return Named(mark=mark, end=match.end(), full=True, called=match[0])

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
        return first

    def _mark_of(self, match: re.Match[str]) -> str:
        mark = self._marks[match["mark"]]
        if match["spot"] and " " not in mark:
            return f"{mark} {self._spots[match['spot']]}"
        return mark

    def _one(self, text: str, place: int) -> Named | None:
        match = self._coloured.match(text, place)
        if match:
            mark = self._mark_of(match)
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
            return Named(mark="", end=match.end(), pronoun=match["pronoun"])
        match = self._pronoun.match(text, place)
        if match is None or match["pronoun"] == "he":
            return None
        return Named(mark="", end=match.end(), pronoun=match["pronoun"])

    def mark_of(self, way: str) -> str:
        """Give the mark that a colour's word means."""
        return self._alone[way]

    def single(self, text: str, place: int) -> Named | None:
        """Read one bee's colour at `place`, no pronoun and no second bee."""
        found = self._one(text, place)
        return found if found and found.mark else None
