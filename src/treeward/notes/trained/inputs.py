"""A line of talk as numbers for the network: its word pieces, and what is known.

The network is trained with what is made here, and reads with it: change nothing without
training anew (tests/benchmarks/narration_training).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from treeward.language.kinds import EventKind

from .bees import ACTIONS, DIAL_S, MOST_BEES, Known, dial_s
from .lines import MOST_NUMBERS, Refers, with_spots
from .told_again import numbers_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from .lines import Line, NumberSaid

TOKENS = 96  # of one line with what stands around it
BEFORE, AFTER = 32, 20  # pieces of the lines before, words of the line after
LINES_BEFORE, LINES_BEFORE_S = 3, 90.0  # so many, and no older but the last; guess
NUMBER_KINDS = (EventKind.BEARING, EventKind.DURATION, EventKind.TIME)
LINE_KINDS = (
    *(EventKind.PAUSE, EventKind.RESUME, EventKind.STATION),
    *(EventKind.WIND, EventKind.DATE),
)
STRENGTHS = ("calm", "light", "moderate", "strong")  # of the wind
BEE_FEATURES, NUMBER_FEATURES, PAIR_FEATURES, LINE_FEATURES = 33, 16, 8, 2
_PUNCTUATION = re.compile(r"([^\w\s])")


class WordPieces:
    """Parts words into the pieces of a vocabulary, the longest first.

    As in Devlin et al. (2019), BERT, arXiv:1810.04805, without case.
    """

    def __init__(self, vocabulary: Sequence[str]) -> None:
        self._number = {piece: place for place, piece in enumerate(vocabulary)}
        self._known: dict[str, list[int]] = {}
        self.start = self._number["[CLS]"]
        self.border = self._number["[SEP]"]
        self._unknown = self._number["[UNK]"]

    def of(self, word: str) -> list[int]:
        """Give the numbers of a word's pieces."""
        if word not in self._known:
            parts = _PUNCTUATION.sub(r" \1 ", word.lower()).split()
            self._known[word] = [piece for part in parts for piece in self._part(part)]
        return self._known[word]

    def _part(self, part: str) -> list[int]:
        found: list[int] = []
        start = 0
        while start < len(part):
            for end in range(len(part), start, -1):
                piece = part[start:end] if start == 0 else f"##{part[start:end]}"
                if piece in self._number:
                    found.append(self._number[piece])
                    start = end
                    break
            else:
                return [self._unknown]
        return found


@dataclass(frozen=True, slots=True)
class Inputs:
    """One line for the network; arrays of tokens, bees (B), numbers (N) and pairs.

    `tokens`, `segment` (T): word pieces, and 1 for those of the line itself. `inside`,
    `pronouns` (T). `named`, `beside` (B, T): where a bee is named, in the line and
    around it. `bees` (B, 33), `at` (N, T), `numbers` (N, 16), `pairs` (N, B, 8),
    `line` (2).
    """

    marks: list[str]
    said: list[NumberSaid]
    arrays: Mapping[str, NDArray[np.generic]]


def log_s(seconds: float) -> float:
    """Give seconds on a scale on which an hour is about one."""
    return math.log1p(max(0.0, seconds)) / 8


@dataclass(slots=True)
class _Tokens:
    pieces: WordPieces
    numbers: list[int]
    segment: list[int]

    def put(
        self, words: Iterable[tuple[int, list[int]]], segment: int, room: int
    ) -> dict[int, list[int]]:
        """Put words behind what is there; gives where the pieces of each stand."""
        places: dict[int, list[int]] = {}
        for place, pieces in words:
            for piece in pieces:
                if len(self.numbers) < room:
                    places.setdefault(place, []).append(len(self.numbers))
                    self.numbers.append(piece)
                    self.segment.append(segment)
        return places

    def border(self, segment: int) -> None:
        self.numbers.append(self.pieces.border)
        self.segment.append(segment)


@dataclass(frozen=True, slots=True)
class Places:
    """Where the words of a line, and of those around it, stand among the tokens."""

    tokens: NDArray[np.int32]
    segment: NDArray[np.int8]
    own: dict[int, list[int]]
    before: tuple[dict[int, list[int]], ...]
    after: dict[int, list[int]]


def before_line(lines: Sequence[Line], number: int) -> Sequence[Line]:
    """Give the lines before one that are read with it, the last one last."""
    first = max(0, number - LINES_BEFORE)
    since_s = lines[number].start_s - LINES_BEFORE_S
    while first < number - 1 and lines[first].start_s < since_s:
        first += 1
    return lines[first:number]


def tokens_of(
    line: Line, before: Sequence[Line], after: Line | None, pieces: WordPieces
) -> Places:
    """Lay out a line's word pieces between the end of those before and the next."""
    laid = _Tokens(pieces, [pieces.start], [0])
    at_before = _put_before(laid, before)
    laid.border(0)
    own = ((place, pieces.of(word.text)) for place, word in enumerate(line.words))
    at_own = laid.put(own, 1, TOKENS - 4)
    laid.border(1)
    then = after.words[:AFTER] if after else ()
    later = ((place, pieces.of(word.text)) for place, word in enumerate(then))
    at_after = laid.put(later, 0, TOKENS - 1)
    tokens, segment = np.zeros(TOKENS, np.int32), np.zeros(TOKENS, np.int8)
    tokens[: len(laid.numbers)] = laid.numbers
    segment[: len(laid.segment)] = laid.segment
    return Places(tokens, segment, at_own, at_before, at_after)


def _put_before(
    laid: _Tokens, before: Sequence[Line]
) -> tuple[dict[int, list[int]], ...]:
    """Put the last pieces of the lines before, and tell where those of each stand."""
    every: list[tuple[int, int, int]] = []
    for back, line in enumerate(before):
        if back:
            every.append((-1, 0, laid.pieces.border))
        for at, word in enumerate(line.words):
            every += [(back, at, piece) for piece in laid.pieces.of(word.text)]
    found: tuple[dict[int, list[int]], ...] = tuple({} for _ in before)
    for back, at, piece in every[-BEFORE:]:
        if back >= 0:
            found[back].setdefault(at, []).append(len(laid.numbers))
        laid.numbers.append(piece)
        laid.segment.append(0)
    return found


def inputs_of(
    line: Line,
    before: Sequence[Line],
    after: Line | None,
    *,
    known: Known,
    places: Places,
) -> Inputs:
    """Make the network's inputs of a line, given what is known before it."""
    line = with_spots(line, set(known.here))
    marks = known.may_be(line, after)
    said = numbers_of(line, known)
    pronouns, inside = np.zeros(TOKENS, bool), np.zeros(TOKENS, bool)
    inside[_run(places.own, places.own)] = True
    for one in line.mentions:
        if not one.mark:
            pronouns[_run(one.words, places.own)] = True
    named, first = _where_named(line, marks, known, places.own)
    beside = np.zeros((MOST_BEES, TOKENS), bool)
    for other, where in zip(before, places.before, strict=True):
        beside |= _where_named(other, marks, known, where)[0]
    if after:
        beside |= _where_named(after, marks, known, places.after)[0]
    last = before[-1] if before else None
    gap_s = line.start_s - last.start_s if last else 60.0
    around = _Around(
        named=set(known.named_in(line.mentions)),
        before=set(known.named_in(last.mentions)) if last else set(),
        after=set(known.named_in(after.mentions)) if after else set(),
        pronoun=bool(pronouns.any()),
        group=any(one.group for one in line.mentions),
        at_s=line.start_s,
        gap_s=gap_s,
    )
    bees = np.zeros((MOST_BEES, BEE_FEATURES), np.float32)
    for place, mark in enumerate(marks):
        bees[place] = _bee(mark, known, around)
    at = np.zeros((MOST_NUMBERS, TOKENS), bool)
    numbers = np.zeros((MOST_NUMBERS, NUMBER_FEATURES), np.float32)
    pairs = np.zeros((MOST_NUMBERS, MOST_BEES, PAIR_FEATURES), np.float32)
    for place, number in enumerate(said):
        run = _run(number.words, places.own)
        at[place, run] = True
        numbers[place] = _number(number, said, known, line.start_s)
        for bee, mark in enumerate(marks):
            ahead = run[0] - first[mark] if run and mark in first else None
            pairs[place, bee] = _pair(
                number, mark, ahead, known=known, at_s=line.start_s
            )
    arrays: dict[str, NDArray[np.generic]] = {
        "tokens": places.tokens,
        "segment": places.segment,
        "inside": inside,
        "named": named,
        "beside": beside,
        "pronouns": pronouns,
        "bees": bees,
        "at": at,
        "numbers": numbers,
        "pairs": pairs,
        "line": np.array([log_s(gap_s), log_s(line.start_s)], np.float32),
    }
    return Inputs(marks, said, arrays)


def _where_named(
    line: Line, marks: Sequence[str], known: Known, places: Mapping[int, list[int]]
) -> tuple[NDArray[np.bool_], dict[str, int]]:
    """Give where each of these bees is named (B, T), and where first."""
    named = np.zeros((MOST_BEES, TOKENS), bool)
    first: dict[str, int] = {}
    for one in line.mentions:
        mark = known.called(one.mark)
        if mark in marks:
            run = _run(one.words, places)
            named[marks.index(mark), run] = True
            first.setdefault(mark, run[0] if run else 0)
    return named, first


def _run(words: Iterable[int], places: Mapping[int, list[int]]) -> list[int]:
    return [at for word in words for at in places.get(word, ())]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Around:
    """What a line names, and the lines around it."""

    named: set[str]
    before: set[str]
    after: set[str]
    pronoun: bool
    group: bool
    at_s: float
    gap_s: float


def _bee(mark: str, known: Known, around: _Around) -> NDArray[np.float32]:
    """Give what is known of a bee, by place in the array."""
    found = np.zeros(BEE_FEATURES, np.float32)
    here = [one for one, is_here in known.here.items() if is_here]
    out = [one for one, is_here in known.here.items() if not is_here]
    at_s = around.at_s
    found[0:3] = mark not in known.here, mark in here, mark in out
    deed = known.last.get(mark)
    if deed:
        since_s = at_s - deed.at_s
        found[3 + ACTIONS.index(deed.kind)] = 1
        found[7:10] = log_s(since_s), since_s < 20, since_s < 60
        found[31] = since_s < 6
    found[10] = known.done is not None and known.done.mark == mark
    rank = known.spoken[::-1].index(mark) if mark in known.spoken else 9
    found[11:14] = rank == 0, rank == 1, rank / 9
    found[14:17] = mark in around.named, mark in around.before, mark in around.after
    found[17:19] = here == [mark], out == [mark]
    found[19:22] = len(here) / 5, len(out) / 5, len(around.named) / 4
    found[22:24] = around.pronoun, around.group
    found[24:27] = " " in mark, "-" in mark, mark == "unmarked"
    if mark in out and mark in known.left_s:
        longest_s = max(at_s - known.left_s[one] for one in out if one in known.left_s)
        found[27] = min((at_s - known.left_s[mark]) / 60, 20) / 10
        found[28] = at_s - known.left_s[mark] == longest_s
    found[29] = log_s(around.gap_s)
    found[30] = log_s(at_s - known.done.at_s) if known.done else 1
    found[32] = 1  # there is such a bee
    return found


def _number(
    number: NumberSaid, every: Sequence[NumberSaid], known: Known, at_s: float
) -> NDArray[np.float32]:
    """Give what a number's reading is, and how it suits what was told before."""
    found = np.zeros(NUMBER_FEATURES, np.float32)
    found[NUMBER_KINDS.index(number.kind)] = 1
    found[3] = sum(one.kind is number.kind for one in every) > 1
    found[4] = len(number.words) / 5
    if number.kind is EventKind.TIME and known.clock is not None:
        told_s, told_at_s = known.clock
        half = DIAL_S / 2
        expected_s = told_s + at_s - told_at_s
        off_s = abs((dial_s(number.value) - expected_s + half) % DIAL_S - half)
        found[5:8] = 1, off_s < 90, min(off_s / 600, 3)
    if number.kind is EventKind.BEARING:
        deg = int(number.value)
        found[8:10] = deg / 360, deg % 5 == 0
        if known.last_bearing_deg is not None:
            found[10] = _turn(deg, known.last_bearing_deg) < 25
    if number.kind is EventKind.DURATION:
        found[11] = int(number.value) / 600
    found[12] = number.stretched
    if number.refers:
        found[13 + list(Refers).index(number.refers)] = 1
    return found


def _pair(
    number: NumberSaid,
    mark: str,
    ahead: int | None,
    *,
    known: Known,
    at_s: float,
) -> NDArray[np.float32]:
    """Give how a number suits a bee: her time out, her way, where she is named."""
    found = np.zeros(PAIR_FEATURES, np.float32)
    if number.kind is EventKind.DURATION:
        out = known.here.get(mark) is False
        left_s, was_out_s = known.left_s.get(mark), known.was_out_s.get(mark)
        out_s = (at_s - left_s if left_s is not None else None) if out else was_out_s
        if out_s and out_s > 0 and mark in known.here:
            off = abs(int(number.value) - out_s) / max(60, out_s)
            found[0:4] = off < 0.08, off < 0.25, min(off, 3) / 3, 1
    if number.kind is EventKind.BEARING and mark in known.bearing_deg:
        near = _turn(int(number.value), known.bearing_deg[mark]) < 15
        found[4:6] = near, 1
    if ahead is not None:
        found[6:8] = math.tanh(ahead / 10), 1
    return found


def _turn(one_deg: int, other_deg: int) -> float:
    return abs((one_deg - other_deg + 180) % 360 - 180)
