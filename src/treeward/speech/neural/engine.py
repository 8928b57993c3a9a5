"""The embedded engine: a neural recogniser, led by all that can be said."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.audio import SAMPLE_RATE_HZ
from treeward.language.kinds import UNMARKED, Holds
from treeward.language.note_graph import NoteGraph
from treeward.speech.utterances import Alternative, Utterance, Word, WordSource

from .model import LONGEST_S, Model, place_notes
from .search import (
    TAKEN_FROM,
    Look,
    SpeltGraph,
    clauses,
    evidence,
    free_texts,
    parted,
    plain,
    search,
    share_of_each,
    share_right,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from treeward.audio import Block
    from treeward.language.note_graph import GraphNote
    from treeward.language.phrasebook import PhraseBook

    from .search import Reading

NARROW_S, WIDE_S = 0.3, 0.8  # of sound around what voice activity found; measured
NEIGHBOUR_S = 0.05  # by which a window may reach into the next span
HOPELESS = 12.0  # nats below the free text no note is looked for; measured
SURE = 0.97  # so sure a reading of the whole stretch is not tried in parts
ONE_NOTE_S = 6.5  # a note said word by word takes no longer
SAME_PAUSE_S = 0.1  # a pause this much longer than those around still joins; measured
UNPAINTED = 5.0  # nats against a mark that hunt.toml does not list; guess
REPEATED = 6.0  # nats against a note that is said twice in a row; guess
MOST_ALTERNATIVES = 4
MOST_TEXTS = 5  # kept of what may be said freely
AFTER_S = 0.2  # what goes on after a note begins later than it does
LEAST_ALIKE = 3  # letters in a row that tell where in a text a note is
AMID_TALK = 0.85  # of notes found among talk, that are notes; guess
REMARK_SHARE = 0.9  # of what begins with the word for a remark, that are remarks; guess


_DIGIT = re.compile("[0-9]")
_NO_LETTERS = re.compile("[^a-z0-9]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Neighbouring spans of a stretch, read as a whole.

    `first` and `last` (included) count spans. `share` is the probability that the
    reading is right, 0 where there is none.
    """

    first: int
    last: int
    look: Look
    share: float = 0.0
    evidence: NDArray[np.float64] | None = None
    remark: str = ""  # the word that announces a remark, where it is one

    @property
    def notes(self) -> tuple[GraphNote, ...]:
        """The notes of its best reading."""
        return self.look.readings[0].notes if self.look.readings else ()

    @property
    def worth(self) -> float:
        """What is won by taking it: notes, as far as they are sure."""
        count = 1 if self.remark else len(self.notes)
        return (self.share - TAKEN_FROM) * count


class NeuralRecognizer:
    """The recogniser behind the protocol `Recognizer`, of the model in a folder.

    Where `free`, the several texts that talk may be are kept, which takes longer.

    Raises
    ------
    SpeechError
        A file is missing or spoilt, or ONNX Runtime does not open.
    """

    def __init__(
        self, book: PhraseBook, folder: Path, *, name: str, free: bool = False
    ) -> None:
        self.name = "neural"
        self.model = name
        self._free = free
        self._model = Model(folder)
        every = replace(book, marks_in_use=frozenset())
        self._graph = SpeltGraph(NoteGraph(every), self._model.tokens, book.misheard)
        self._painted = book.marks_in_use
        self._remarks = book.announcing(Holds.WORDS)

    def decode(self, stretch: Block) -> Utterance | None:
        """Recognise one stretch of sound; see `Recognizer.decode`."""
        runs = self.runs(stretch)
        words = [word for run in runs for word in self._spoken(stretch, run)]
        words.sort(key=lambda word: word.start_s)
        return Utterance.of(words) if words else None

    def runs(self, stretch: Block) -> list[Run]:
        """Give the likeliest runs of a stretch, in order: notes, remarks and talk."""
        spans = stretch.spoken
        whole = self.read(stretch, 0, len(spans) - 1)
        if len(spans) == 1 or whole.share >= SURE or whole.remark:
            return [whole]
        tried = [whole]
        tried += [self.read(stretch, *run) for run in possible_runs(spans)]
        chosen = _best_of(tried, len(spans))
        if not chosen:
            return [whole]
        return chosen + [
            Run(first=a, last=b, look=self._look(stretch, a, b, NARROW_S))
            for a, b in _rests(chosen, spans)
        ]

    def read(self, stretch: Block, first: int, last: int) -> Run:
        """Read neighbouring spans as a whole."""
        spans = stretch.spoken
        run = partial(Run, first=first, last=last)
        wide = self._look(stretch, first, last, WIDE_S)
        if remark := self._announces(wide):
            return run(look=wide, share=REMARK_SHARE, remark=remark)
        if not wide.readings:
            return run(look=wide)
        narrow = self._look(stretch, first, last, NARROW_S)
        end_s = stretch.end_s - stretch.start_s
        before_s = spans[first - 1][1] if first else -math.inf
        after_s = spans[last + 1][0] if last + 1 < len(spans) else math.inf
        voiced_s = sum(b - a for a, b in spans[first : last + 1])
        pause_s = min(
            spans[first][0] - before_s, min(after_s, end_s + 1.0) - spans[last][1]
        )
        found = []
        for look, other in ((wide, narrow), (narrow, wide)):
            if look.readings:
                weighed = evidence(look, other, voiced_s=voiced_s, pause_s=pause_s)
                share = share_right(weighed)
                found.append(run(look=look, share=share, evidence=weighed))
        return max(found, key=lambda one: one.share)

    def _look(self, stretch: Block, first: int, last: int, around_s: float) -> Look:
        spans = stretch.spoken
        low = spans[first - 1][1] - NEIGHBOUR_S if first else 0.0
        high = math.inf
        if last + 1 < len(spans):
            high = spans[last + 1][0] + NEIGHBOUR_S
        start_s = max(spans[first][0] - around_s, low, 0.0)
        end_s = min(
            spans[last][1] + around_s,
            high,
            stretch.end_s - stretch.start_s,
            start_s + LONGEST_S,
        )
        encoded = self._model.encode(_cut(stretch, start_s, end_s))
        free = self._model.write(encoded)
        readings = search(
            self._model, encoded, self._graph, at_least=free.log_p - HOPELESS
        )
        return Look(
            start_s=start_s,
            end_s=end_s,
            encoded=encoded,
            free=free,
            text=self._model.tokens.text(free.pieces),
            readings=self._likely_first(readings),
        )

    def _likely_first(self, readings: list[Reading]) -> list[Reading]:
        """Make readings less likely that are odd for what they say.

        They name marks that hunt.toml does not, or say a note twice in one breath, as
        the recogniser does where it hears next to nothing.
        """
        for reading in readings:
            strange = sum(
                note.part("mark") not in {"", UNMARKED, *self._painted}
                for note in reading.notes
                if self._painted
            )
            repeated = sum(a == b for a, b in pairwise(reading.meaning))
            reading.log_p -= UNPAINTED * strange + REPEATED * repeated
        return sorted(readings, key=lambda reading: -reading.log_p)

    def _announces(self, look: Look) -> str:
        said = plain(look.text)
        return next((one for one in self._remarks if said.startswith(f"{one} ")), "")

    def _spoken(self, stretch: Block, run: Run) -> Iterator[Word]:
        """Give the words of a run: notes as a word each, or what was said else."""
        spans = stretch.spoken[run.first : run.last + 1]
        if run.share < TAKEN_FROM or run.remark:
            within = [] if run.remark else self._within(run.look)
            if within:
                yield from self._amid_talk(stretch, run, within)
            else:
                wanted = self._free and not run.remark
                texts = self._texts(run.look) if wanted else ()
                yield from _free_words(stretch, run, spans, texts)
            return
        look, best = run.look, run.look.readings[0]
        places = self._places(stretch, run, parted(self._graph, best))
        shares = share_of_each(look, run.share)
        for number, (note, (start_s, end_s), share) in enumerate(
            zip(best.notes, places, shares, strict=True)
        ):
            yield Word(
                text=note.text,
                start_s=start_s,
                end_s=end_s,
                confidence=round(share, 4),
                source=WordSource.PHRASE,
                alternatives=_alternatives(look, number, share),
            )
        for word in _beyond(look.text, best.notes, spans, stretch.start_s):
            begin_s = max(word.start_s, places[-1][0] + AFTER_S)
            yield replace(word, start_s=begin_s, end_s=max(word.end_s, begin_s))

    def _places(
        self, stretch: Block, run: Run, notes: Sequence[Sequence[int]]
    ) -> list[tuple[float, float]]:
        """Find when each of a run's texts was said, in seconds of the recording."""
        look, spans = run.look, stretch.spoken[run.first : run.last + 1]
        voiced = [(a - look.start_s, b - look.start_s) for a, b in spans]
        sound = _cut(stretch, look.start_s, look.end_s)
        shift_s = stretch.start_s + look.start_s
        places = place_notes(self._model, sound, notes, voiced)
        return [(shift_s + start_s, shift_s + end_s) for start_s, end_s in places]

    def _texts(self, look: Look) -> tuple[Alternative, ...]:
        """Give what may be said freely, the likeliest first, commas apart."""
        found: dict[str, Alternative] = {}
        for pieces, log_p in free_texts(self._model, look.encoded):
            text = self._model.tokens.text(pieces)
            sure = round(math.exp(log_p), 6)
            if words := plain(text):
                found.setdefault(words, Alternative(text=text, confidence=sure))
        return tuple(found.values())[:MOST_TEXTS]

    def _within(self, look: Look) -> list[tuple[int, int, GraphNote]]:
        """Find notes among what was said freely: clauses that say just a note."""
        found = []
        for first, last in clauses(self._graph, look.free.pieces):
            note = self._graph.note_of(look.free.pieces[first:last])
            if note and (note.part("mark") or note.part("value")):
                found.append((first, last, note))
        return found

    def _amid_talk(
        self, stretch: Block, run: Run, within: Sequence[tuple[int, int, GraphNote]]
    ) -> Iterator[Word]:
        """Give the words of talk with notes in it, each where it was said."""
        look, pieces = run.look, run.look.free.pieces
        parts: list[tuple[Sequence[int], GraphNote | None, float]] = []
        at = 0
        for first, last, note in within:
            parts.append((pieces[at:first], None, 0.0))
            share = math.exp(sum(look.free.each[first:last])) * AMID_TALK
            parts.append((pieces[first:last], note, share))
            at = last
        parts.append((pieces[at:], None, 0.0))
        parts = [
            part for part in parts if self._model.tokens.text(part[0]).strip(" .,")
        ]
        places = self._places(stretch, run, [part for part, _, _ in parts])
        for (said, told, share), span in zip(parts, places, strict=True):
            if told is None:
                yield from _laid_along(self._model.tokens.text(said), span)
            else:
                yield Word(
                    text=told.text,
                    start_s=span[0],
                    end_s=span[1],
                    confidence=round(share, 4),
                    source=WordSource.PHRASE,
                )


def _cut(stretch: Block, start_s: float, end_s: float) -> NDArray[np.float32]:
    first, last = int(start_s * SAMPLE_RATE_HZ), int(end_s * SAMPLE_RATE_HZ)
    return stretch.samples[first:last]


def possible_runs(spans: Sequence[tuple[float, float]]) -> Iterator[tuple[int, int]]:
    """Give runs of spans that may be said in one go: no pause inside is the longest."""
    count = len(spans)
    pauses = [b[0] - a[1] for a, b in pairwise(spans)]
    for first in range(count):
        for last in range(first, count):
            if (first, last) == (0, count - 1):
                continue
            if last > first and spans[last][1] - spans[first][0] > ONE_NOTE_S:
                break
            inside = max(pauses[first:last], default=0.0)
            around = min(
                pauses[first - 1] if first else math.inf,
                pauses[last] if last < count - 1 else math.inf,
            )
            if inside <= around + SAME_PAUSE_S:
                yield first, last


def _best_of(tried: Sequence[Run], count: int) -> list[Run]:
    """Choose runs that do not overlap and are worth most together."""
    best: list[tuple[float, list[Run]]] = [(0.0, [])]
    for last in range(count):
        ways = [best[last]]
        for run in tried:
            if run.last == last and run.worth > 0:
                worth, before = best[run.first]
                ways.append((worth + run.worth, [*before, run]))
        best.append(max(ways, key=lambda way: way[0]))
    return best[-1][1]


def _rests(
    chosen: Sequence[Run], spans: Sequence[tuple[float, float]]
) -> Iterator[tuple[int, int]]:
    """Give the runs of spans that none of the chosen holds."""
    at = 0
    for run in chosen:
        if run.first > at:
            yield at, run.first - 1
        at = run.last + 1
    if at < len(spans):
        yield at, len(spans) - 1


def _free_words(
    stretch: Block,
    run: Run,
    spans: Sequence[tuple[float, float]],
    texts: tuple[Alternative, ...],
) -> Iterator[Word]:
    """Give the free text's words; of a remark, the first as what announces it.

    The first word of talk holds all that may have been said, this text first, where
    there are `texts`.
    """
    span = (stretch.start_s + spans[0][0], stretch.start_s + spans[-1][1])
    sure = math.exp(run.look.free.log_p / len(run.look.free.each))
    text = texts[0].text if texts else run.look.text
    for number, word in enumerate(_laid_along(text, span, sure)):
        if texts and not number:
            yield replace(word, alternatives=texts)
        elif run.remark:
            source = WordSource.GENERAL if number else WordSource.PHRASE
            text = plain(word.text)
            yield replace(word, text=text, source=source, confidence=run.share)
        else:
            yield word


def _beyond(
    text: str,
    notes: Sequence[GraphNote],
    spans: Sequence[tuple[float, float]],
    start_s: float,
) -> Iterator[Word]:
    """Give the words of the free text that go on after the notes in it were said.

    A note that is not all that was said may be as sure as one that is.
    """
    words = text.split()
    letters = [_NO_LETTERS.sub("", word.lower()) for word in words]
    said = " ".join(note.text for note in notes)
    alike = SequenceMatcher(None, " ".join(letters), said, autojunk=False)
    blocks = [one for one in alike.get_matching_blocks() if one.size >= LEAST_ALIKE]
    if not blocks:
        return
    last = blocks[-1]
    after = len(" ".join(letters)[: last.a + last.size].split())
    unheard = len(said.split()) - len(said[: last.b + last.size].split())
    in_digits = after < len(words) and _DIGIT.search(words[after])
    if notes[-1].part("value") and in_digits:  # "174" for "one seven four"
        while after < len(words) and _DIGIT.search(words[after]):
            after += 1
    else:
        after += unheard
    if after + 1 < len(words) or _DIGIT.search(" ".join(words[after:])):
        span = (start_s + spans[0][0], start_s + spans[-1][1])
        yield from [*_laid_along(text, span)][after:]


def _laid_along(
    text: str, span: tuple[float, float], confidence: float = 1.0
) -> Iterator[Word]:
    """Lay words along a span by their length."""
    start_s, end_s = span
    total, said = len(text) + 1, 0
    for word in text.split():
        begin_s = start_s + (end_s - start_s) * said / total
        said += len(word) + 1
        yield Word(
            text=word,
            start_s=begin_s,
            end_s=start_s + (end_s - start_s) * said / total,
            confidence=round(confidence, 4),
            source=WordSource.TALK,
        )


def _alternatives(look: Look, number: int, share: float) -> tuple[Alternative, ...]:
    """Give the next readings of a note, with the probability that is left."""
    best = look.readings[0]
    others: dict[str, float] = {}
    for reading in look.readings[1:]:
        if len(reading.notes) != len(best.notes):
            continue
        note = reading.notes[number]
        if note.meaning != best.notes[number].meaning:
            weight = math.exp(reading.log_p - best.log_p)
            others[note.text] = others.get(note.text, 0.0) + weight
    total = 1.0 + sum(others.values())
    likeliest = sorted(others.items(), key=lambda item: -item[1])[:MOST_ALTERNATIVES]
    return tuple(
        Alternative(text=text, confidence=round(min(weight / total, 1 - share), 4))
        for text, weight in likeliest
        if weight / total >= 0.001
    )
