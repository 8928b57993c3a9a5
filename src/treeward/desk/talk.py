"""What was said around a note, between the notes: what may tell what it meant.

What a typed or heard phrase says, as cells of a row.

Notes that somebody typed and pasted: what would be read of them, and taken in. They are
read and kept as `treeward transcribe` reads and keeps a file of them; the file's name
is made here.
"""

from __future__ import annotations

import tempfile
from bisect import bisect_left
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING

from treeward.errors import HuntError, TranscriptError
from treeward.hunt.recordings import digest, is_corrected, is_transcript, recording_name
from treeward.hunt.transcription import typed_notes
from treeward.language.kinds import KINDS, Need
from treeward.speech.utterances import WordSource

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager
    from datetime import date

    from treeward.hunt.hunt import Hunt
    from treeward.hunt.transcription import Transcribed
    from treeward.language.kinds import EventKind
    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.events import Event
    from treeward.notes.unread import Unread

    Words = tuple[tuple[float, str], ...]

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


MOST_LETTERS = 60_000  # pasted at once; a long day's page is a tenth of it; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Pasted:
    """What would be read.

    `name` is what the file would be called; `replaces` that it is another state of a
    page that was pasted before, which is kept beside it; `known` how many of the notes
    stand in review.csv already, from elsewhere.
    """

    name: str
    events: tuple[Event, ...]
    unread: tuple[Unread, ...]
    replaces: bool
    known: int


def look_at_pasted(hunt: Hunt, text: str, day: date | None) -> Pasted:
    """Say what would be read of a page, and take nothing.

    Parameters
    ----------
    hunt
        Where it would go.
    text
        The page.
    day
        The day of its notes up to a date within it; None where it says the day.

    Raises
    ------
    HuntError, TranscriptError
        If nothing can be read, its day is not known, or the hunt has it already.
    ReviewError
        If review.csv has a fault.
    """
    with _as_file(text) as path:
        return _looked_at(hunt, path, day)[0]


def take_pasted(hunt: Hunt, text: str, day: date | None) -> tuple[Pasted, Transcribed]:
    """Take a page into the hunt and bring review.csv up to date.

    Raises
    ------
    HuntError, TranscriptError, ReviewError
        As of `look_at_pasted`, and if another command is at work; nothing is taken.
    """
    with _as_file(text) as path:
        page, named = _looked_at(hunt, path, day)
        if not page.events:
            raise HuntError(
                "there is no note in it",
                mend='Write one a line: "9:05 yellow away, north east".',
            )
        return page, hunt.transcribe([named])


def _as_file(text: str) -> AbstractContextManager[Path]:
    if len(text) > MOST_LETTERS:
        raise HuntError(
            f"the notes have more than {MOST_LETTERS} letters",
            mend="Paste them in parts, or run: treeward transcribe FILE",
        )
    if "\0" in text:
        raise HuntError("that is no text", mend="Paste notes as you typed them.")
    return _in_private_folder(text)


@contextmanager
def _in_private_folder(text: str) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="treeward-") as folder:
        path = Path(folder) / "page.txt"
        path.write_text(text, encoding="utf-8", newline="\n")
        yield path


def _looked_at(hunt: Hunt, path: Path, day: date | None) -> tuple[Pasted, Path]:
    """Return what would be read, and the file under the name it would have."""
    first = f"typed-{day.isoformat()}.txt" if day else path.name
    try:
        read = typed_notes(hunt, path, first)
    except TranscriptError as error:
        raise TranscriptError(
            "the notes have times and no day",
            mend="Give the day, or write it above them, as 2026-07-14.",
        ) from error
    if read is None:
        raise HuntError(
            "no notes with clock times are in it",
            mend='Write one a line: "9:05 yellow away, north east".',
        )
    days = [event.clock.date() for event in read.events if event.clock]
    name, replaces = _name(hunt, path, day or min(days, default=None))
    named = path.replace(path.with_name(name))
    page = typed_notes(hunt, named, name) or read
    return (
        Pasted(
            name=name,
            events=page.events,
            unread=page.unread,
            replaces=replaces,
            known=_known(hunt, page.events, name),
        ),
        named,
    )


def _name(hunt: Hunt, path: Path, day: date | None) -> tuple[str, bool]:
    """Return a name that is free, or that of the page which this one corrects."""
    own = digest(path)
    for other in hunt.recordings():
        if is_transcript(other) and digest(other) == own:
            name = recording_name(other, hunt.recordings_dir)
            raise HuntError(f"the hunt has these notes already, as {name}")
    stem = f"typed-{day.isoformat()}" if day else "typed"
    number = 1
    while True:
        name = f"{stem}.txt" if number == 1 else f"{stem}-{number}.txt"
        there = hunt.recordings_dir / name
        if not there.exists() and not there.is_symlink():
            return name, False
        if there.is_file() and is_corrected(there, path):
            return name, True
        number += 1


def _known(hunt: Hunt, events: tuple[Event, ...], name: str) -> int:
    _, current = hunt.review.read()
    others = {
        (row.event.clock, row.event.kind, row.event.mark, row.event.value)
        for row in current or ()
        if row.event.recording != name
    }
    return sum((e.clock, e.kind, e.mark, e.value) in others for e in events)
