"""Decoded tokens into words: whole phrases, numbers of a chain, general words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.speech.records import Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.speech.phrase_tokens import Token, TokenTable

_JOINED_CHAIN = "mark"  # its tokens are one phrase; those of numbers stay words


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One segment of a decode; times from the start of the decoded stretch."""

    token: str
    start_s: float
    end_s: float
    posterior: float


def base_name(token: str) -> str:
    """Take off the number of the pronunciation: "with(2)" -> "with"."""
    return token.partition("(")[0] if token.endswith(")") else token


def is_filler(token: str) -> bool:
    """Say whether a segment is silence or noise."""
    return token.startswith(("<", "[", "++"))


def to_words(
    heard: Sequence[Heard], table: TokenTable, start_s: float
) -> tuple[Word, ...]:
    """Make words of the segments of one decode."""
    words: list[Word] = []
    kept = [segment for segment in heard if not is_filler(segment.token)]
    at = 0
    while at < len(kept):
        name = base_name(kept[at].token)
        token = table.tokens.get(name)
        if token is None or not token.chain:
            words.append(_word(kept[at], token, name, start_s))
            at += 1
            continue
        end = _chain_end(kept, at, table)
        words.extend(_chain_words(kept[at:end], table, start_s))
        at = end
    return tuple(words)


def _chain_end(kept: Sequence[Heard], at: int, table: TokenTable) -> int:
    end = at + 1
    while end < len(kept):
        before = table.follow[base_name(kept[end - 1].token)]
        if base_name(kept[end].token) not in before:
            break
        token = table.tokens.get(base_name(kept[end].token))
        if (
            token is None
            or token.chain != table.tokens[base_name(kept[at].token)].chain
        ):
            break
        end += 1
    return end


def _chain_words(run: Sequence[Heard], table: TokenTable, start_s: float) -> list[Word]:
    names = [base_name(segment.token) for segment in run]
    tokens = [table.tokens[name] for name in names]
    complete = table.ends[names[-1]] > 0
    if tokens[0].chain == _JOINED_CHAIN:
        if complete:
            text = " ".join(token.text for token in tokens)
            return [
                Word(
                    text=text,
                    start_s=start_s + run[0].start_s,
                    end_s=start_s + run[-1].end_s,
                    confidence=min(segment.posterior for segment in run),
                    source=WordSource.PHRASE,
                )
            ]
    elif tokens[0].role == "anchor" and len(run) > 1:
        return [
            _word(segment, token, token.text, start_s)
            for segment, token in zip(run, tokens, strict=True)
        ]
    # A chain that never got under way is talk.
    return [
        _word(segment, None, token.text, start_s)
        for segment, token in zip(run, tokens, strict=True)
    ]


def _word(segment: Heard, token: Token | None, text: str, start_s: float) -> Word:
    return Word(
        text=token.text if token else text,
        start_s=start_s + segment.start_s,
        end_s=start_s + segment.end_s,
        confidence=segment.posterior,
        source=token.source if token else WordSource.GENERAL,
    )
