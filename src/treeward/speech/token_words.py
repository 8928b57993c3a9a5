"""Decoded tokens into notes and words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.speech.records import Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.speech.phrase_tokens import Token, TokenTable
    from treeward.speech.records import Alternative

_JOINED_CHAIN = "mark"  # its tokens are one phrase; those of numbers stay words
ITS_BEARING_WITHIN_S = 1.0  # a bearing after a departure is said with it; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One segment of a decode; times from the start of the decoded stretch."""

    token: str
    start_s: float
    end_s: float
    posterior: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardNote:
    """One whole note of a decode."""

    heard: tuple[Heard, ...]
    tokens: tuple[Token, ...]

    @property
    def text(self) -> str:
        """The words of the note."""
        return " ".join(token.text for token in self.tokens)

    @property
    def start_s(self) -> float:
        """Where it begins, from the start of the decoded stretch."""
        return self.heard[0].start_s

    @property
    def end_s(self) -> float:
        """Where it ends."""
        return self.heard[-1].end_s

    def shifted(self, by_s: float) -> HeardNote:
        """Give the same note `by_s` later."""
        moved = tuple(
            replace(segment, start_s=segment.start_s + by_s, end_s=segment.end_s + by_s)
            for segment in self.heard
        )
        return HeardNote(heard=moved, tokens=self.tokens)

    def overlaps(self, other: HeardNote) -> bool:
        """Say whether two notes share some time."""
        return self.start_s < other.end_s and other.start_s < self.end_s

    @property
    def posterior(self) -> float:
        """Posterior of its least sure segment."""
        return min(segment.posterior for segment in self.heard)

    @property
    def is_number(self) -> bool:
        """Whether it is an anchor ("bearing") and a number."""
        return self.tokens[0].chain not in {"", _JOINED_CHAIN}


def base_name(token: str) -> str:
    """Take off the number of the pronunciation: "with(2)" -> "with"."""
    return token.partition("(")[0] if token.endswith(")") else token


def is_filler(token: str) -> bool:
    """Say whether a segment is silence or noise."""
    return token.startswith(("<", "[", "++"))


def notes_of(heard: Sequence[Heard], table: TokenTable) -> list[HeardNote]:
    """Find the whole notes among the segments of a decode; the rest is left out."""
    kept = [segment for segment in heard if not is_filler(segment.token)]
    found: list[HeardNote] = []
    at = 0
    while at < len(kept):
        token = table.tokens.get(base_name(kept[at].token))
        end = at + 1
        if token is not None:
            end = _chain_end(kept, at, table) if token.chain else end
            run = tuple(kept[at:end])
            names = [base_name(segment.token) for segment in run]
            begins = names[0] in table.starts
            if begins and (table.ends[names[-1]] > 0 or token.kind == "remark"):
                tokens = tuple(table.tokens[name] for name in names)
                found.append(HeardNote(heard=run, tokens=tokens))
        at = end
    return found


def sayings(notes: Sequence[HeardNote]) -> list[list[HeardNote]]:
    """Group the notes of a breath: a bee's leaving and its bearing are one saying."""
    groups: list[list[HeardNote]] = []
    for note in notes:
        before = groups[-1][-1] if groups else None
        is_bearing = note.tokens[0].kind == "bearing"
        if (
            before is not None
            and is_bearing
            and before.tokens[0].kind != "bearing"
            and note.start_s - before.end_s < ITS_BEARING_WITHIN_S
        ):
            groups[-1].append(note)
        else:
            groups.append([note])
    return groups


def _chain_end(kept: Sequence[Heard], at: int, table: TokenTable) -> int:
    end = at + 1
    while end < len(kept):
        before, after = (base_name(kept[i].token) for i in (end - 1, end))
        if after not in table.follow[before]:
            break
        end += 1
    return end


def note_words(
    note: HeardNote,
    start_s: float,
    confidence: float,
    alternatives: tuple[Alternative, ...] = (),
) -> list[Word]:
    """Make words of a note; its alternatives stand on the first."""
    if not note.is_number:
        return [
            Word(
                text=note.text,
                start_s=start_s + note.start_s,
                end_s=start_s + note.end_s,
                confidence=confidence,
                source=WordSource.PHRASE,
                alternatives=alternatives,
            )
        ]
    return [
        Word(
            text=token.text,
            start_s=start_s + segment.start_s,
            end_s=start_s + segment.end_s,
            confidence=confidence,
            source=token.source,
            alternatives=alternatives if number == 0 else (),
        )
        for number, (segment, token) in enumerate(
            zip(note.heard, note.tokens, strict=True)
        )
    ]


def talk_words(heard: Sequence[Heard], table: TokenTable, start_s: float) -> list[Word]:
    """Make words of the general vocabulary; tokens are left out."""
    return [
        Word(
            text=base_name(segment.token),
            start_s=start_s + segment.start_s,
            end_s=start_s + segment.end_s,
            confidence=segment.posterior,
            source=WordSource.GENERAL,
        )
        for segment in heard
        if not is_filler(segment.token) and base_name(segment.token) not in table.tokens
    ]
