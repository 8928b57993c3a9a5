"""What a person is asked to say for practice, and what it would have to be read as."""

from __future__ import annotations

import itertools
import random
from collections import Counter
from dataclasses import dataclass
from itertools import cycle, islice
from typing import TYPE_CHECKING

from treeward.errors import NotesError
from treeward.files import read_whole
from treeward.language.kinds import KINDS, UNMARKED, EventKind, Holds, Need
from treeward.language.number_words import DIGIT_WORDS, bearing_forms, time_forms
from treeward.language.phrasebook import SLOT
from treeward.notes.parser import parse_typed

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from treeward.language.kinds import Practised
    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.events import Event

DEFAULT_COUNT = 32  # about three minutes; each colour twice, each digit about twice
_MOST_BYTES = 1 << 20  # of a file with prompts; choice
_ROUND: tuple[Practised, ...] = (
    "bee",
    "bearing",
    "bee",
    "time",
    "bee",
    "bearing",
    "bee",
    "else",
)
_DIGITS = {word: digit for digit, words in DIGIT_WORDS.items() for word in words}
_HOURS = range(8, 20)  # of a day's watching; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class PromptReading:
    """What one note says."""

    kind: EventKind
    mark: str = ""
    value: str = ""

    @property
    def text(self) -> str:
        """The note in words: "yellow back", "bearing 210"."""
        return " ".join(filter(None, (self.mark, self.kind, self.value)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Words of a prompt that carry one piece of a note's meaning.

    `role` is "mark", "say" (what kind of note it is), "digit" or "value". `note`
    counts the notes of the prompt, `place` the digits of a bearing.
    """

    words: str
    role: str
    meaning: str
    note: int = 0
    place: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Prompt:
    """Words to be said, and the notes that they have to be read as."""

    text: str
    wanted: tuple[PromptReading, ...]
    parts: tuple[Part, ...]


def reading_of(event: Event) -> PromptReading:
    """Return what an event says."""
    return PromptReading(kind=event.kind, mark=event.mark, value=event.value)


def prompt_of(text: str, book: PhraseBook, *, where: str = "") -> Prompt:
    """Make a prompt of words.

    Raises
    ------
    NotesError
        The words are no note, or a bearing or time without its number.
    """
    plain = " ".join(text.lower().replace(",", " ").split()).rstrip(".!")
    wanted = tuple(reading_of(event) for event in parse_typed(plain, book))
    if not wanted or any(
        KINDS[r.kind].value is Need.MUST and not r.value for r in wanted
    ):
        raise NotesError(
            f"{text.strip()!r} is no note that can be recognised",
            where=where,
            mend='Write what can be said, such as "yellow back" or "heading two one '
            'zero"; `treeward phrases` lists it.',
        )
    parts = tuple(_parts(plain.split(), wanted, book))
    return Prompt(text=plain, wanted=wanted, parts=parts)


def read_prompts(path: Path, book: PhraseBook) -> list[Prompt]:
    """Read prompts from a text file, one a line; "#" begins a comment.

    Raises
    ------
    NotesError
        The file cannot be read, has no prompts, or a line is no note.
    """
    mend = "Name a text file with one prompt a line."
    raw = read_whole(
        path,
        most_bytes=_MOST_BYTES,
        error=NotesError,
        too_large=mend,
        unreadable=mend,
    )
    try:
        lines = raw.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        raise NotesError("is not UTF-8 text", where=str(path), mend=mend) from error
    found = [
        prompt_of(bare, book, where=f"{path} line {number}")
        for number, line in enumerate(lines, start=1)
        if (bare := line.partition("#")[0].strip())
    ]
    if not found:
        raise NotesError(
            "there are no prompts in it",
            where=str(path),
            mend='Write one prompt a line, such as "yellow back".',
        )
    return found


def make_prompts(
    book: PhraseBook, count: int = DEFAULT_COUNT, *, number: int = 1
) -> list[Prompt]:
    """Choose prompts that try each mark, action and digit as evenly as may be.

    Only marks in use are asked for. The same `number` gives the same set of prompts.
    """
    rng = random.Random(number)  # noqa: S311 (nothing secret)
    sources: dict[Practised, Iterator[str]] = {
        "bee": _bees(book, number),
        "bearing": _bearings(book, rng),
        "time": _times(book, rng),
        "else": _others(book, rng),
    }
    prompts: list[Prompt] = []
    for turn in islice(cycle(_ROUND), count):
        text = next(sources[turn], None) or next(sources["bee"], None)
        if text is None:
            break
        prompts.append(prompt_of(text, book))
    return prompts


def _asked_for(turn: Practised) -> tuple[EventKind, ...]:
    return tuple(kind for kind in EventKind if KINDS[kind].practised == turn)


def _bees(book: PhraseBook, number: int) -> Iterator[str]:
    """Pair each mark with each usual way of saying back and away, in turn."""
    spoken: dict[str, str] = {}
    for phrase in book.mark_phrases():
        in_use = phrase.mark in book.marks_in_use or phrase.mark in book.colours
        if in_use and phrase.mark != UNMARKED:
            spoken.setdefault(phrase.mark, phrase.text)
    ways: list[str] = []
    for kind in _asked_for("bee"):
        if kind in book.actions:
            action = book.actions[kind]
            likely = dict.fromkeys((action.say[0], action.card, *action.say))
            ways += list(likely)[:2]
    marks = list(spoken.values())
    if not marks or not ways:
        return
    for turn in itertools.count(number - 1):
        mark = marks[turn % len(marks)]
        # The shift after each round of marks gives each mark every way in time.
        way = ways[(turn + turn // len(marks)) % len(ways)]
        yield way.replace(SLOT, mark)


def _bearings(book: PhraseBook, rng: random.Random) -> Iterator[str]:
    """Say bearings digit by digit, those digits first that were said least."""
    anchors = [w for k in _asked_for("bearing") for w in book.anchor_words.get(k, ())]
    said: Counter[str] = Counter()
    for anchor in cycle(anchors):
        drawn = [d for d in rng.sample(range(360), 50) if len(set(f"{d:03d}")) == 3]
        deg = min(drawn, key=lambda d: sum(said[c] for c in f"{d:03d}"))
        said.update(f"{deg:03d}")
        yield f"{anchor} {bearing_forms(deg)[0]}"


def _times(book: PhraseBook, rng: random.Random) -> Iterator[str]:
    anchors = [w for k in _asked_for("time") for w in book.anchor_words.get(k, ())]
    for anchor in cycle(anchors):
        yield f"{anchor} {time_forms(rng.choice(_HOURS), rng.randrange(60))[0]}"


def _others(book: PhraseBook, rng: random.Random) -> Iterator[str]:
    """Say a station, a wind and a command in turn."""
    kinds = {
        kind: [p.text for p in book.fixed_phrases() if p.kind == kind]
        for kind in _asked_for("else")
    }
    for texts in kinds.values():
        rng.shuffle(texts)
    for turn in cycle([cycle(texts) for texts in kinds.values() if texts]):
        yield next(turn)


def _parts(
    words: list[str], wanted: Sequence[PromptReading], book: PhraseBook
) -> Iterator[Part]:
    """Find the words that carry each piece of meaning."""
    left = list(words)

    def take(ways: Sequence[str]) -> str:
        for way in sorted(ways, key=lambda way: -len(way.split())):
            said = way.split()
            for at in range(len(left) - len(said) + 1):
                if said and left[at : at + len(said)] == said:
                    left[at : at + len(said)] = [""] * len(said)
                    return way
        return ""

    for note, reading in enumerate(wanted):
        if reading.mark:
            marks = [p.text for p in book.mark_phrases() if p.mark == reading.mark]
            if way := take(marks):
                yield Part(words=way, role="mark", meaning=reading.mark, note=note)
        if way := take(ways_of_saying(book, reading.kind)):
            yield Part(words=way, role="say", meaning=reading.kind, note=note)
        yield from _value_parts(left, note, reading)


def _value_parts(left: list[str], note: int, reading: PromptReading) -> Iterator[Part]:
    """Take the words of a value off `left`: digits one by one, else all of it."""
    if not reading.value:
        return
    first = next((at for at, word in enumerate(left) if word), len(left))
    end = next((at for at in range(first, len(left)) if not left[at]), len(left))
    said = left[first:end]
    left[first:end] = [""] * (end - first)
    digits = "".join(str(_DIGITS.get(word, "")) for word in said)
    if KINDS[reading.kind].holds is Holds.DEGREES and len(said) == len(digits) == 3:
        for place, word in enumerate(said):
            yield Part(
                words=word, role="digit", meaning=digits[place], note=note, place=place
            )
    elif said:
        yield Part(words=" ".join(said), role="value", meaning=reading.value, note=note)


def ways_of_saying(book: PhraseBook, kind: str) -> list[str]:
    """List the words that say what kind a note is, the best heard first.

    For actions these are the words beside the mark: "landed", "back".
    """
    if kind in book.actions:
        action = book.actions[kind]
        templates = dict.fromkeys((action.card, *action.say))
        return [t.replace(SLOT, "").strip() for t in templates if t]
    return [*book.commands.get(kind, ()), *book.anchor_words.get(kind, ())]
