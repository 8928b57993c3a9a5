"""Talk as lines, each with the bees that are named in it and its numbers."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.notes.sentences import speech_of
from treeward.notes.time_spans import ago_at
from treeward.speech.utterances import Utterance

from .said_values import values_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.notes.bee_names import BeeNames
    from treeward.notes.flags import Flag
    from treeward.notes.sentences import Speech, StreamWord
    from treeward.speech.utterances import Word

MOST_NUMBERS = 12  # readings of numbers looked at in one line
LONGEST = 40  # words of one line; longer utterances are parted at their sentences


@dataclass(frozen=True, slots=True, kw_only=True)
class Mention:
    """A bee named in a line: by its mark, or by a pronoun, "" (`group` for several).

    `words` are the places of the words in the line.
    """

    mark: str
    words: tuple[int, ...]
    group: bool = False


class Refers(StrEnum):
    """What of a reading was told before: the hour, a way flown, where a landmark is."""

    HOUR = "hour"
    SAME_WAY = "same way"
    LANDMARK = "landmark"


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberSaid:
    """A reading of a number in a line, by kind; see `said_values`.

    `span` is where it stands in the text of all lines; `stretched` and `more` are as of
    `said_values.SaidValue`.
    """

    kind: EventKind
    value: str
    words: tuple[int, ...]
    span: tuple[int, int] = (0, 0)
    stretched: bool = False
    refers: Refers | None = None
    more: str = ""

    @property
    def written(self) -> str:
        """The value as a note holds it: "225 sw", "away 372", "10:22"."""
        kind = "away " if self.kind is EventKind.DURATION else ""
        return f"{kind}{self.value} {self.more}".strip()


@dataclass(slots=True, kw_only=True)
class Line:
    """What was said in one go, or a sentence of it."""

    words: Sequence[Word]
    mentions: list[Mention] = field(default_factory=list)
    numbers: list[NumberSaid] = field(default_factory=list)
    ago_s: float = 0.0  # so long before it was told
    ago_flags: tuple[Flag, ...] = ()

    @property
    def start_s(self) -> float:
        """When it began, in seconds of the recording."""
        return self.words[0].start_s

    @property
    def end_s(self) -> float:
        """When it was over."""
        return self.words[-1].end_s

    @property
    def bare_words(self) -> list[str]:
        """The words without punctuation beside them."""
        return [word.text.strip(".,?!;:") for word in self.words]

    def span(self, places: Sequence[int]) -> Sequence[Word]:
        """Give the words from the first of these places to the last."""
        return self.words[places[0] : places[-1] + 1] if places else self.words


def in_lines(
    utterances: Sequence[Utterance], names: BeeNames, colours: frozenset[str]
) -> list[Line]:
    """Lay out talk as lines, in order of time."""
    parted = [
        part
        for one in sorted(utterances, key=lambda u: u.start_s)
        for part in _parted(one)
    ]
    speech, pieces = speech_of(parted, colours)
    lines = [Line(words=one.words) for one in parted]
    if pieces:
        _Reader(speech, pieces, lines, names).read()
    return lines


def _parted(utterance: Utterance) -> list[Utterance]:
    """Part a long utterance where its sentences end, or where it is long enough."""
    words, parts, first = utterance.words, [], 0
    if len(words) <= LONGEST:
        return [utterance] if words else []
    for at, (word, after) in enumerate(pairwise(words), 1):
        ends = word.text.endswith((".", "?", "!")) or after.start_s - word.end_s >= 1.0
        if at - first >= LONGEST or (ends and at - first >= LONGEST // 4):
            parts.append(words[first:at])
            first = at
    parts.append(words[first:])
    return [
        Utterance(words=part, start_s=part[0].start_s, end_s=part[-1].end_s)
        for part in parts
    ]


class _Reader:
    """Finds bees and numbers along the text, and which line and words they are of."""

    def __init__(
        self,
        speech: Speech,
        pieces: Sequence[StreamWord],
        lines: Sequence[Line],
        names: BeeNames,
    ) -> None:
        self.speech, self.pieces, self.names = speech, pieces, names
        self.lines = lines
        self.by_number = False  # the last bee was named by her number alone
        counts = [0]
        for line in lines:
            counts.append(counts[-1] + len(line.words))
        self.first_word = counts

    def read(self) -> None:
        """Read everything."""
        text, place, after_bee = self.speech.text, 1, 0
        while place < len(text):
            end = text.index(" ", place)
            if text[place:end] not in {".", ",", "?"}:
                if place >= after_bee:
                    after_bee = self._bee(place)
                if place >= after_bee or not self.by_number:
                    self._numbers(place)
                self._ago(place)
            place = end + 1
        for line in self.lines:
            line.numbers = _told_apart(line.numbers)

    def _where(self, start: int, end: int) -> tuple[Line, tuple[int, ...]]:
        first, last = self.speech.pieces_between(start, end)
        at = self.pieces[first].utterance
        said = {one.word for one in self.pieces[first:last] if one.utterance == at}
        return self.lines[at], tuple(sorted(one - self.first_word[at] for one in said))

    def _bee(self, place: int) -> int:
        named = self.names.at(self.speech.text, place)
        if named is None:
            return 0
        self.by_number = named.called.isalnum()
        line, words = self._where(place, named.end)
        marks = named.marks or (named.mark,)
        line.mentions += [
            Mention(mark=mark, words=words, group=not mark and bool(named.group))
            for mark in marks
        ]
        return named.end + 1

    def _numbers(self, place: int) -> None:
        for said in values_at(self.speech.text, place):
            line, words = self._where(said.start, said.end)
            line.numbers.append(
                NumberSaid(
                    kind=said.kind,
                    value=said.value,
                    words=words,
                    span=(said.start, said.end),
                    stretched=said.stretched,
                    more=said.more,
                )
            )

    def _ago(self, place: int) -> None:
        ago = ago_at(self.speech.text, place)
        line, _ = self._where(place, place + 1)
        if ago and not line.ago_s:
            line.ago_s, line.ago_flags = ago[0], (ago[1],)


def _told_apart(numbers: Sequence[NumberSaid]) -> list[NumberSaid]:
    """Leave out what is part of a longer reading of its kind, or says no more."""

    def part(one: NumberSaid) -> bool:
        return any(
            other.kind is one.kind
            and other.stretched <= one.stretched
            and other.span != one.span
            and other.span[0] <= one.span[0]
            and one.span[1] <= other.span[1]
            for other in numbers
        )

    whole = [one for one in numbers if not part(one)]
    plain = [one for one in whole if not one.stretched]
    rest = [one for one in whole if one.stretched]
    chosen = [*plain, *rest][:MOST_NUMBERS]
    return [one for one in whole if one in chosen]


def with_spots(line: Line, known: set[str]) -> Line:
    """Take "white ... white on the thorax" in one line for one bee."""
    spotted = [one.mark for one in line.mentions if " " in one.mark]
    if not spotted:
        return line

    def whole(one: Mention) -> Mention:
        like = [mark for mark in spotted if mark.partition(" ")[0] == one.mark]
        new = one.mark and one.mark not in known and len(set(like)) == 1
        return replace(one, mark=like[0]) if new else one

    return replace(line, mentions=[whole(one) for one in line.mentions])
