"""The language model of the embedded engine: everyday talk, and notes among it.

The commonest words of the bundled model and their pairs are everyday talk; tokens
of the phrase book (see `phrase_tokens`) are given a share of what may come next.
Every history's probabilities sum to one, which the decoder's speed depends on.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from treeward.speech import phrase_tokens
from treeward.speech.bundled_model import read_bundled_model
from treeward.speech.phrase_tokens import TokenTable

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path
    from typing import TextIO

    from treeward.speech.bundled_model import BundledModel
    from treeward.speech.phrase_tokens import Phones

COMMONEST_WORDS = 8000  # of the bundled 72,547; more is slower, not better (measured)
MOST_PAIRS = 250_000  # those whose loss would change the model most
SHARE_AFTER_SILENCE = 0.3  # notes, where the person begins to speak
SHARE_AMID_TALK = 0.06  # notes, right after a word of talk; before back-off
_NEVER = -20.0  # log10: a token that only follows its chain
_START, _END = "<s>", "</s>"


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedModel:
    """Where the model's files lie, and the tokens in it."""

    language_model: Path  # talk and notes
    talk_only: Path  # the same without the notes
    dictionary: Path
    features: Path  # settings of the acoustic model, see write_features
    tokens: TokenTable


def write_arpa(path: Path, talk: _Talk, table: TokenTable) -> None:
    """Write the mixture of talk and notes as an ARPA file, replaced in one step."""
    beside = path.with_suffix(f".{os.getpid()}")
    with beside.open("w", encoding="utf-8", newline="\n") as file:
        _write(file, talk, table)
    beside.replace(path)


class _Talk:
    """The general model cut down to its commonest words and strongest pairs."""

    def __init__(self, bundled: BundledModel, spoken: Mapping[str, Phones]) -> None:
        keep = np.array([word in spoken or word == _END for word in bundled.words])
        likelihood = np.where(keep, bundled.log_prob, -np.inf)
        chosen = np.argsort(-likelihood)[:COMMONEST_WORDS]
        start = bundled.words.index(_START)
        order = np.concatenate([np.sort(chosen), [start]])
        self.words = [bundled.words[i] for i in order]
        new = np.full(len(bundled.words), -1)
        new[order] = np.arange(len(order))
        prob = np.exp(bundled.log_prob[order])
        prob[-1] = 0.0  # nobody says the start
        self.prob = prob / prob.sum()
        first, second = new[bundled.pair_first], new[bundled.pair_second]
        inside = (first >= 0) & (second >= 0) & (second != len(order) - 1)
        self.first, self.second = first[inside], second[inside]
        self.pair_prob = np.exp(bundled.pair_log_prob[inside])
        self._prune(np.exp(bundled.log_prob[order]), bundled.log_backoff[order])

    def _prune(self, history: np.ndarray, log_backoff: np.ndarray) -> None:
        """Keep the pairs whose absence would cost most (Stolcke 1998, eq. 9)."""
        history = history.copy()
        history[-1] = history[:-1].max()  # utterances begin about as often as "the"
        guess = log_backoff[self.first] + np.log(self.prob[self.second])
        loss = history[self.first] * self.pair_prob * (np.log(self.pair_prob) - guess)
        if len(loss) > MOST_PAIRS:
            kept = np.sort(np.argpartition(-loss, MOST_PAIRS)[:MOST_PAIRS])
            self.first, self.second = self.first[kept], self.second[kept]
            self.pair_prob = self.pair_prob[kept]

    @property
    def start(self) -> int:
        return len(self.words) - 1


def _write(file: TextIO, talk: _Talk, table: TokenTable) -> None:
    amid_talk = SHARE_AMID_TALK if table.starts else 0.0
    after_silence = SHARE_AFTER_SILENCE if table.starts else 0.0
    single = talk.prob * (1 - amid_talk)
    log_single = np.log10(np.maximum(single, 1e-20))
    log_single[-1] = -99.0
    # Pairs of talk, scaled where notes may begin; the rest is left to single words.
    share = np.zeros(len(talk.words))
    share[talk.start] = after_silence
    pair_prob = talk.pair_prob * (1 - share[talk.first]) * 0.999
    explicit = np.bincount(talk.first, pair_prob, len(talk.words)) + share
    shadowed = np.bincount(talk.first, single[talk.second], len(talk.words))
    shadowed[talk.start] += amid_talk  # the tokens that may begin
    backoff = np.maximum(1 - explicit, 1e-4) / np.maximum(1 - shadowed, 1e-4)
    pairs = {name: _after_token(table, name, talk) for name in table.tokens}
    pairs[_START] = {name: after_silence * p for name, p in table.starts.items()}
    own = dict(zip(talk.words, single, strict=True))
    own |= {name: amid_talk * p for name, p in table.starts.items()}
    count = len(talk.first) + sum(map(len, pairs.values()))
    file.write(f"\\data\\\nngram 1={len(talk.words) + len(table.tokens)}\n")
    file.write(f"ngram 2={count}\n\n\\1-grams:\n")
    columns = zip(talk.words, log_single, np.log10(backoff), strict=True)
    file.writelines(f"{p:.4f} {word} {b:.4f}\n" for word, p, b in columns)
    for name in table.tokens:
        p = np.log10(own[name]) if own.get(name) else _NEVER
        rest = 1 - sum(pairs[name].values())
        seen = sum(own.get(word, 0.0) for word in pairs[name])
        b = np.log10(max(rest, 1e-6) / max(1 - seen, 1e-4))
        file.write(f"{p:.4f} {name} {b:.4f}\n")
    file.write("\n\\2-grams:\n")
    for i, j, p in zip(talk.first, talk.second, np.log10(pair_prob), strict=True):
        file.write(f"{p:.4f} {talk.words[i]} {talk.words[j]}\n")
    _write_pairs(file, pairs)
    file.write("\n\\end\\\n")


def _after_token(table: TokenTable, name: str, talk: _Talk) -> dict[str, float]:
    after = dict(table.follow[name])
    ends = table.ends[name]
    if ends:
        after[_END] = ends * phrase_tokens.AFTER_NOTE_END
        for start, p in table.starts.items():
            after[start] = after.get(start, 0.0) + ends * (
                phrase_tokens.AFTER_NOTE_NOTE * p
            )
    if table.tokens[name].kind == "remark":
        # A remark goes on as talk does at its beginning.
        of_start = talk.first == talk.start
        words = (talk.words[j] for j in talk.second[of_start])
        after |= dict(zip(words, talk.pair_prob[of_start] * 0.95, strict=True))
    return after


def _write_pairs(file: TextIO, pairs: Mapping[str, Mapping[str, float]]) -> None:
    for first, after in pairs.items():
        lines = (f"{np.log10(p):.4f} {first} {last}\n" for last, p in after.items())
        file.writelines(lines)


def write_dictionary(
    path: Path, words: Iterable[str], spoken: Mapping[str, Phones], table: TokenTable
) -> None:
    """Write the pronunciations of general words and of the tokens."""
    lines: list[str] = []

    def add(word: str, ways: Phones) -> None:
        lines.extend(
            f"{word if i == 0 else f'{word}({i + 1})'} {way}\n"
            for i, way in enumerate(ways)
        )

    for word in sorted(words):
        add(word, spoken[word])
    for name, token in table.tokens.items():
        add(name, token.phones)
    _put(path, "".join(lines))


def _put(path: Path, text: str) -> None:
    """Write a file, replaced in one step."""
    beside = path.with_suffix(f".{os.getpid()}")
    beside.write_text(text, encoding="utf-8", newline="\n")
    beside.replace(path)


def read_dictionary(path: Path) -> dict[str, Phones]:
    """Read a CMU dictionary: word -> its pronunciations."""
    found: dict[str, Phones] = {}
    with path.open(encoding="utf-8") as file:
        for line in file:
            word, _, phones = line.strip().partition(" ")
            word = word.partition("(")[0]
            found[word] = (*found.get(word, ()), phones.strip())
    return found


def settings() -> tuple[str, ...]:
    """Give what the files depend on beside the tokens, for a cache."""
    return (
        f"{COMMONEST_WORDS} {MOST_PAIRS} {SHARE_AFTER_SILENCE} {SHARE_AMID_TALK}",
        f"{phrase_tokens.AFTER_NOTE_END} {phrase_tokens.AFTER_NOTE_NOTE}",
    )


def write_features(path: Path, bundled: Path) -> None:
    """Write the settings of the acoustic model for cepstra without their mean.

    PocketSphinx heeds this file more than what it is told, and would take the mean of
    each stretch off, however short.
    """
    settings = bundled.read_text(encoding="utf-8").replace("-cmn batch", "-cmn none")
    _put(path, settings)


def make(model: MixedModel, bundled_path: Path, spoken: Mapping[str, Phones]) -> None:
    """Write the files of a model, the language model last.

    Parameters
    ----------
    model
        Where, and of which tokens.
    bundled_path
        The general model.
    spoken
        Pronunciations of general words.
    """
    talk = _Talk(read_bundled_model(bundled_path), spoken)
    words = [word for word in talk.words if word in spoken]
    write_dictionary(model.dictionary, words, spoken, model.tokens)
    write_arpa(model.talk_only, talk, TokenTable())
    write_arpa(model.language_model, talk, model.tokens)
