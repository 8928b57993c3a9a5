"""What was said around a note, between the notes: what may tell what it meant.

What a typed or heard phrase says, as cells of a row.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from functools import lru_cache
from operator import itemgetter
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, Need
from treeward.speech.utterances import WordSource

if TYPE_CHECKING:
    from treeward.hunt.hunt import Hunt

    Words = tuple[tuple[float, str], ...]
    from treeward.language.kinds import EventKind
    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.events import Event


AROUND_S = 8.0  # before a note and after it: a sentence or two; choice


class Talk:
    """The words between the notes of a hunt's recordings, as they were heard.

    Nothing where hunt.toml says `keep_talk = false`. A recording's words are read
    once, and again when its hearing was written since.
    """

    def __init__(self, hunt: Hunt) -> None:
        self._hunt = hunt
        self._kept: dict[str, tuple[tuple[int, int], Words]] = {}

    def around(
        self, recording: str, start_s: float | None, end_s: float | None = None
    ) -> tuple[str, str]:
        """Return the words said shortly before a note and after its beginning.

        Parameters
        ----------
        recording
            Its name; "" for a note written by hand.
        start_s, end_s
            Where the note stands in it.
        """
        if not recording or start_s is None or not self._hunt.file.speech.keep_talk:
            return "", ""
        words = self._words(recording)
        last_s = max(start_s, start_s if end_s is None else end_s) + AROUND_S
        first, at, last = (
            bisect_left(words, second, key=itemgetter(0))
            for second in (start_s - AROUND_S, start_s, last_s)
        )
        before, after = words[first:at], words[at:last]
        return " ".join(w for _, w in before), " ".join(w for _, w in after)

    def _words(self, recording: str) -> Words:
        file = self._hunt.heard_file(recording)
        try:
            found = file.path.stat()
        except OSError:
            return ()
        stamp = (found.st_mtime_ns, found.st_size)
        kept = self._kept.get(recording)
        if kept is None or kept[0] != stamp:
            words = tuple(
                sorted(
                    (word.start_s, " ".join(word.text.split()))
                    for utterance in file.read().utterances
                    for word in utterance.words
                    if word.source is WordSource.TALK
                )
            )
            self._kept[recording] = kept = (stamp, words)
        return kept[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedReading:
    """One way to read a note."""

    event: EventKind
    mark: str = ""
    value: str = ""

    def cells(self) -> dict[str, str]:
        """Return the three cells that it fills."""
        return {"event": self.event.value, "mark": self.mark, "value": self.value}


class PhraseReader:
    """Reads phrases by a hunt's phrase book."""

    def __init__(self, book: PhraseBook) -> None:
        self._book = book
        self._cached = lru_cache(maxsize=4096)(self._parse)

    def read(self, text: str) -> TypedReading | None:
        """Return what "yellow away" or "bearing 210" says; None if nothing, or two."""
        return self._cached(" ".join(text.lower().split())[:200])

    def alternatives(
        self, event: Event
    ) -> list[tuple[str, float, TypedReading | None]]:
        """Return the other readings of a row: words, confidence, and cells if any."""
        found = []
        for other in event.alternatives:
            spelt = f"{event.kind.value} {event.mark} " if event.mark else ""
            if spelt and other.text.startswith(spelt):
                value = other.text.removeprefix(spelt)
                reading: TypedReading | None = TypedReading(
                    event=event.kind, mark=event.mark, value=value
                )
            else:
                reading = self.read(other.text)
            same = reading is not None and reading.cells() == {
                "event": event.kind.value,
                "mark": event.mark,
                "value": event.value,
            }
            if not same:
                found.append((other.text, other.confidence, reading))
        return found

    def _parse(self, text: str) -> TypedReading | None:
        from treeward.notes.parser import parse_typed

        events = parse_typed(text, self._book)
        if len(events) != 1:
            return None
        event = events[0]
        if KINDS[event.kind].value is Need.MUST and not event.value:
            return None
        return TypedReading(event=event.kind, mark=event.mark, value=event.value)
