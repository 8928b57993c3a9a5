"""Stretches of speech between pauses, and which of them deserve a second look."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.speech.number_forms import NUMBER_WORDS
from treeward.speech.token_words import base_name, is_filler, notes_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from treeward.speech.phrase_tokens import TokenTable
    from treeward.speech.token_words import Heard

PAUSE_S = 0.4  # parts stretches; a shorter one may stand inside "red ... back"
LONGEST_UNHEARD_S = 2.2  # a longer note has some word that the first decode hears
NUMBERS_HEARD = 2  # number words in talk that deserve a look; guess
LONGEST_NOTE_S = 5.0  # two notes in one breath, spoken slowly; guess
GAP_S = 0.1  # between notes in one breath; less may be the closure of a "t"; guess
SHORTEST_NOTE_S = 0.25  # "pause", spoken fast; guess
LONG_PAUSE_S = 1.0  # what is said before it has nothing to do with what comes; guess
PADDING_S = 0.15  # before and after a stretch, so that no consonant is lost


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Segments of a first decode between two pauses, in seconds of the window."""

    heard: tuple[Heard, ...]
    start_s: float
    end_s: float
    alone: bool  # pauses on both sides
    pause_s: float = LONG_PAUSE_S  # the shorter of the two, LONG_PAUSE_S at most

    @property
    def duration_s(self) -> float:
        """Length without padding."""
        return self.end_s - self.start_s


def stretches(heard: Sequence[Heard]) -> list[Stretch]:
    """Part the segments of a decode at its pauses."""
    groups: list[list[Heard]] = []
    for segment in heard:
        if is_filler(segment.token):
            continue
        if not groups or segment.start_s - groups[-1][-1].end_s >= PAUSE_S:
            groups.append([])
        groups[-1].append(segment)
    if not groups:
        return []
    gaps_s = [after[0].start_s - before[-1].end_s for before, after in pairwise(groups)]
    sides_s = pairwise([LONG_PAUSE_S, *gaps_s, LONG_PAUSE_S])
    return [
        _stretch(group, pause_s=min(*sides, LONG_PAUSE_S))
        for group, sides in zip(groups, sides_s, strict=True)
    ]


def _stretch(
    held: Sequence[Heard], *, alone: bool = True, pause_s: float = 0.0
) -> Stretch:
    return Stretch(
        heard=tuple(held),
        start_s=held[0].start_s,
        end_s=held[-1].end_s,
        alone=alone,
        pause_s=pause_s,
    )


def _parted(stretch: Stretch, table: TokenTable) -> tuple[Stretch, Stretch] | None:
    """Part a stretch at its longest gap beside a note, or at its longest, if any."""
    notes = notes_of(stretch.heard, table)
    begins = {note.start_s for note in notes}
    ends = {note.end_s for note in notes}
    gaps = [
        (b.start_s in begins or a.end_s in ends, b.start_s - a.end_s, at)
        for at, (a, b) in enumerate(pairwise(stretch.heard), start=1)
        if b.start_s - a.end_s >= GAP_S
    ]
    if not gaps:
        return None
    # A gap in what was taken for talk may be one inside a note that was misheard.
    _, widest_s, at = max(gaps, key=lambda gap: (gap[0], gap[1], -gap[2]))
    pause_s = min(widest_s, stretch.pause_s)
    before, after = (
        _stretch(held, alone=False, pause_s=pause_s)
        for held in (stretch.heard[:at], stretch.heard[at:])
    )
    return before, after


def worth_a_look(stretch: Stretch, table: TokenTable) -> Iterator[Stretch]:
    """Give the parts of a stretch that may be notes: all, some of it, or nothing."""
    if stretch.duration_s < SHORTEST_NOTE_S:
        return
    names = [base_name(segment.token) for segment in stretch.heard]
    heard = any(name in table.tokens for name in names)
    # A number whose anchor was not heard: "we're means three hundred and forty five".
    numbers = sum(name in NUMBER_WORDS for name in names)
    if not heard and numbers < NUMBERS_HEARD and stretch.duration_s > LONGEST_UNHEARD_S:
        return
    if stretch.duration_s <= LONGEST_NOTE_S:
        yield stretch
        return
    parts = _parted(stretch, table)
    if parts:
        for part in parts:
            yield from worth_a_look(part, table)
        return
    held: list[Heard] = []
    for segment in stretch.heard:
        if base_name(segment.token) in table.tokens:
            held.append(segment)
        elif held:
            yield _stretch(held, alone=False)
            held = []
    if held:
        yield _stretch(held, alone=False)
