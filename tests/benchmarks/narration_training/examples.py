"""Labelled days of talk as examples for the network."""

from __future__ import annotations

import zlib
from copy import copy
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from benchmarks import narration_days as days
from treeward.language.kinds import EventKind
from treeward.notes.bee_names import BeeNames
from treeward.notes.sentences import speech_of
from treeward.notes.trained.bees import ACTIONS, MOST_BEES, Deed, Known, dial_s
from treeward.notes.trained.inputs import (
    LINE_KINDS,
    STRENGTHS,
    before_line,
    inputs_of,
    log_s,
    tokens_of,
)
from treeward.notes.trained.lines import MOST_NUMBERS, in_lines
from treeward.notes.trained.told_again import landmarks_in

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.trained.inputs import Inputs, WordPieces
    from treeward.notes.trained.lines import Line

LATER, LATER_S = 3, 20.0  # lines, seconds in which a number is mended; guess
AGO_OFF_S = 5  # between how long ago was said and what a label says; guess
NUMBERS = (EventKind.BEARING, EventKind.DURATION, EventKind.TIME)


class Day:
    """One day: its lines, and what is true of each."""

    def __init__(self, name: str, text: str, book: PhraseBook) -> None:
        self.name = name
        said, truths, _ = days.read_text(text)
        self.book = days.for_day(truths, book)
        colours = self.book.colour_words
        speech, _ = speech_of(said, colours)
        self.lines = in_lines(
            said, BeeNames(self.book, speech.text, speech.proper), colours
        )
        starts = [one.start_s for one in self.lines]
        self.truths: list[list[days.Truth]] = [[] for _ in starts]
        for truth in truths:
            self.truths[_line(starts, truth.told_s)].append(truth)


def days_in(path: Path, book: PhraseBook) -> list[Day]:
    """Read a day, or the short recordings that one file holds."""
    parts = days.recordings_of(path.read_text(encoding="utf-8"))
    return [Day(f"{path.stem} {n}", part, book) for n, part in enumerate(parts)]


def quicker(day: Day, factor: float) -> Day:
    """Give a day in which less time goes by, as with a colony close at hand."""
    quick = copy(day)
    quick.lines = [
        replace(
            line,
            words=[
                replace(word, start_s=word.start_s * factor, end_s=word.end_s * factor)
                for word in line.words
            ],
        )
        for line in day.lines
    ]
    quick.truths = [
        [
            replace(
                truth,
                told_s=truth.told_s * factor,
                at_s=truth.told_s * factor + truth.at_s - truth.told_s,
            )
            for truth in truths
        ]
        for truths in day.truths
    ]
    return quick


def _line(starts: Sequence[float], second: float) -> int:
    return max((n for n, s in enumerate(starts) if s <= second + 1e-6), default=0)


def _kind_mark_value(truth: days.Truth) -> tuple[EventKind, str, str]:
    kind, mark, value = truth.brief.split(":", 2)
    return EventKind(kind), mark, value


class _Labels:
    """What is true of one line, filled in note by note."""

    def __init__(self, inputs: Inputs) -> None:
        self.inputs = inputs
        self.deeds = np.zeros((MOST_BEES, len(ACTIONS)), np.float32)
        self.count = np.zeros_like(self.deeds)
        self.count[: len(inputs.marks)] = 1
        self.numbers = np.zeros(MOST_NUMBERS, np.float32)
        self.count_numbers = np.zeros(MOST_NUMBERS, np.float32)
        self.count_numbers[: len(inputs.said)] = 1
        self.agos, self.origins = np.zeros_like(self.numbers), self.numbers.copy()
        self.count_agos = self.count_numbers.copy()
        self.whose = np.full(MOST_NUMBERS, -1, np.int32)
        self.kinds = np.zeros(len(LINE_KINDS), np.float32)
        self.count_kinds = np.ones(len(LINE_KINDS), np.float32)
        self.strength = -1

    def take_in(self, truth: days.Truth) -> None:
        kind, mark, value = _kind_mark_value(truth)
        if kind in ACTIONS and mark in self.inputs.marks:
            bee = self.inputs.marks.index(mark)
            place = bee, ACTIONS.index(kind)
            self.deeds[place], self.count[place] = 1, not truth.free
            self._ago(bee, truth.told_s - truth.at_s)
        elif kind in LINE_KINDS:
            at = LINE_KINDS.index(kind)
            self.kinds[at], self.count_kinds[at] = 1, not truth.free
            if kind is EventKind.WIND:
                self._wind(value)
        elif kind in NUMBERS:
            self._number(kind, mark, value, free=truth.free)

    def _ago(self, bee: int, ago_s: float) -> None:
        for number, said in enumerate(self.inputs.said):
            if said.kind is not EventKind.DURATION or not ago_s:
                continue
            if abs(int(said.value) - ago_s) <= AGO_OFF_S:
                self.agos[number], self.whose[number] = 1, bee
            else:
                self.count_agos[number] = 0

    def _wind(self, value: str) -> None:
        told, _, origin = value.partition(" ")
        self.strength = STRENGTHS.index(told) if told in STRENGTHS else -1
        for number, said in enumerate(self.inputs.said):
            if said.kind is EventKind.BEARING and said.value == origin:
                self.origins[number] = 1

    def _number(self, kind: EventKind, mark: str, value: str, *, free: bool) -> None:
        marks = self.inputs.marks
        for number, said in enumerate(self.inputs.said):
            if said.kind is kind and _same(said.value, value, kind):
                self.numbers[number], self.count_numbers[number] = 1, not free
                at = marks.index(mark) if mark in marks else -1 if mark else MOST_BEES
                self.whose[number] = at


def truths_where_said(day: Day) -> list[list[days.Truth]]:
    """Give what is true of each line; a number mended later where it is said.

    "One ninety. ... One ninety-five, I had my thumb on it" tells 195 in its second
    line, though it is of the first.
    """
    found = [list(truths) for truths in day.truths]
    for number, truths in enumerate(day.truths):
        for truth in truths:
            kind, _, value = _kind_mark_value(truth)
            if kind not in NUMBERS or _told_in(day.lines[number], kind, value):
                continue
            for later in range(number + 1, min(number + 1 + LATER, len(day.lines))):
                line = day.lines[later]
                late_s = line.start_s - day.lines[number].start_s
                own = any(one.brief == truth.brief for one in day.truths[later])
                if late_s <= LATER_S and not own and _told_in(line, kind, value):
                    found[number].remove(truth)
                    found[later].append(truth)
                    break
    return found


def _told_in(line: Line, kind: EventKind, value: str) -> bool:
    return any(
        said.kind is kind and _same(said.value, value, kind)
        for said in line.numbers
        if ":" in said.value or kind is not EventKind.TIME
    )


def labels_of(
    inputs: Inputs, truths: Sequence[days.Truth]
) -> dict[str, NDArray[np.generic]]:
    """Give what is true of a line, as the network is to say it."""
    labels = _Labels(inputs)
    for truth in truths:
        labels.take_in(truth)
    return {
        "y_deeds": labels.deeds,
        "n_deeds": labels.count,
        "y_numbers": labels.numbers,
        "n_numbers": labels.count_numbers,
        "y_whose": labels.whose,
        "y_kinds": labels.kinds,
        "n_kinds": labels.count_kinds,
        "y_agos": labels.agos,
        "n_agos": labels.count_agos,
        "y_origins": labels.origins,
        "y_strength": np.array(labels.strength, np.int32),
    }


def _same(said: str, value: str, kind: EventKind) -> bool:
    if kind is EventKind.TIME:
        return dial_s(said) == dial_s(value)
    if kind is EventKind.BEARING:
        said = days.at_point(said)
    return value.split()[-1:] == [said]


def examples_of(
    day: Day,
    pieces: WordPieces,
    *,
    noise: float,
    bare: bool = False,
    late: float = 0.0,
) -> list[dict[str, NDArray[np.generic]]]:
    """Give a day's lines as examples, each in the light of what is true before it.

    Of what is known before a line a share `noise` is forgotten, as it is where notes
    are missed. `bare` takes punctuation away, as some engines do. Before a share `late`
    of them all that is known is forgotten, as where a recorder is switched on in the
    middle of a day.
    """
    rng = np.random.default_rng(zlib.crc32(day.name.encode()))
    known, begun_s, first = Known(), 0.0, 0
    every = truths_where_said(day)
    lines = [_bare(one) for one in day.lines] if bare else day.lines
    found = []
    for number, line in enumerate(lines):
        if not number or rng.random() < late:
            known, begun_s, first = Known(), line.start_s, number
        before = before_line(lines[first : number + 1], number - first)
        after = lines[number + 1] if number + 1 < len(lines) else None
        places = tokens_of(line, before, after, pieces)
        inputs = inputs_of(line, before, after, known=known, places=places)
        arrays = dict(inputs.arrays)
        arrays["line"][1] = log_s(line.start_s - begun_s)
        found.append(arrays | labels_of(inputs, every[number]))
        for truth in every[number]:
            if truth.free or rng.random() < noise:
                continue
            kind, mark, value = _kind_mark_value(truth)
            if kind in ACTIONS:
                known.do(Deed(kind, mark, truth.at_s))
            elif kind is EventKind.BEARING and value.isdecimal():
                known.fly(mark, int(value), landmarks_in(line))
            elif kind is EventKind.TIME:
                known.tell_time(value, truth.at_s)
        if known.here and rng.random() < noise / 4:
            mark = list(known.here)[rng.integers(len(known.here))]
            kind = EventKind.AWAY if known.here[mark] else EventKind.BACK
            known.do(Deed(kind, mark, line.start_s))
        known.speak(known.named_in(line.mentions))
        known.speak(
            _kind_mark_value(truth)[1]
            for truth in every[number]
            if _kind_mark_value(truth)[0] in ACTIONS
        )
    return found


def _bare(line: Line) -> Line:
    words = [
        replace(word, text=word.text.strip('.,?!;:"()\u2026\u2014') or "um")
        for word in line.words
    ]
    return replace(line, words=words)
