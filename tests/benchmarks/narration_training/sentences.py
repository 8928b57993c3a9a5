"""Lone sentences as short recordings to train on, in other colours and at other times.

Those of fixtures/narration/constructions.txt, the short talks of talks.txt, and those
of sentences.toml that rules were once written with; the ones held back there judge.
"""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING

import numpy as np

from .examples import Day

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from treeward.language.phrasebook import PhraseBook

COLOURS = ("red", "white", "yellow", "blue", "green", "orange", "pink", "purple")
SHORTEST_S, LONGEST_S = 4, 420  # between two lines
BEFORE = {
    "here": ("Red is back.", "White is back."),
    "out": ("Red is back.", "White is back.", "Red is away.", "White is away."),
    "nothing": (),
}


def recordings(folder: Path, book: PhraseBook, times: int) -> Iterator[Day]:
    """Give each sentence so many times, its colours changed and gaps drawn anew."""
    rng = np.random.default_rng(0)
    every = [*_constructions(folder), *_rules(folder), *_talks(folder)]
    for number, lines in enumerate(every):
        for again in range(times):
            yield Day(f"sentence {number} {again}", _recording(lines, rng), book)


def _talks(folder: Path) -> Iterator[list[str]]:
    for talk in (folder / "talks.txt").read_text("utf-8").split("\n\n"):
        lines = [line for line in talk.splitlines() if not line.startswith("#")]
        if lines:
            yield lines


def _told(say: str) -> str:
    """Give "Red is back." with its note."""
    mark, _, did = say.lower().strip(".").partition(" is ")
    return f"{say} => {did}:{mark}"


def _constructions(folder: Path) -> Iterator[list[str]]:
    before: tuple[str, ...] = ()
    for line in (folder / "constructions.txt").read_text("utf-8").splitlines():
        if line.startswith("["):
            before = BEFORE[line.strip("[]").partition(", ")[0]]
        elif line and not line.startswith("#"):
            yield [*map(_told, before), line]


def _rules(folder: Path) -> Iterator[list[str]]:
    every = tomllib.loads((folder / "sentences.toml").read_text("utf-8"))["rules"]
    for one in every:
        mark, _, where = one.get("at", "").partition(" ")
        did = {"here": "back", "out": "away"}.get(where)
        before = [_told(f"{mark} is {did}.")] if did else []
        doubt = "?" if one.get("doubtful") else ""
        notes = "; ".join(f"{doubt}{note}" for note in one["events"])
        yield [*before, one["say"] + (f" => {notes}" if notes else "")]


def _recording(lines: Sequence[str], rng: np.random.Generator) -> str:
    """Write a short recording in the format of the days, at a pace of its own."""
    at_s, timed = int(rng.integers(2, 60)), []
    longest_s = int(np.exp(rng.uniform(np.log(2 * SHORTEST_S), np.log(LONGEST_S))))
    for line in lines:
        timed.append(f"{_clock(at_s)}  {line}")
        at_s += int(rng.integers(SHORTEST_S, longest_s))
    new = dict(zip(COLOURS, rng.permutation(COLOURS), strict=True))

    def other(match: re.Match[str]) -> str:
        colour = str(new[match[0].lower()])
        return colour.capitalize() if match[0][0].isupper() else colour

    colour = re.compile(rf"\b(?:{'|'.join(COLOURS)})", re.IGNORECASE)
    return colour.sub(other, "\n".join(timed))


def _clock(at_s: int) -> str:
    return f"{at_s // 60:02}:{at_s % 60:02}"
