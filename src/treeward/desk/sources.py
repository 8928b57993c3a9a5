"""What rows come from: recordings and their sound, words around a note, typed pages.

A recording is asked for by a key made from its name, looked up among the files that
lie in the hunt's recordings folder; no path that comes from outside is ever opened, and
no link that leads out of that folder is followed.

What was said or written around a note may tell what it meant.

Notes that somebody typed and pasted: what would be read of them, and taken in. They are
read and kept as `treeward transcribe` reads and keeps a file of them; the file's name
is made here.
"""

from __future__ import annotations

import hashlib
import io
import tempfile
import threading
from bisect import bisect_left, bisect_right
from contextlib import contextmanager
from dataclasses import dataclass
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from treeward.audio import LONGEST_S, SAMPLE_RATE_HZ
from treeward.audio.reader import probe, read_blocks
from treeward.errors import HuntError, SoundError, TranscriptError, TreewardError
from treeward.hunt.recordings import digest, is_corrected, is_transcript, recording_name
from treeward.hunt.transcription import typed_notes
from treeward.speech.transcripts import read_text, read_transcript
from treeward.speech.utterances import WordSource
from treeward.within import file_within

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from datetime import date

    from numpy.typing import NDArray

    from treeward.audio import Block
    from treeward.hunt.hunt import Hunt
    from treeward.hunt.transcription import Transcribed
    from treeward.notes.events import Event
    from treeward.notes.unread import Unread
    from treeward.speech.utterances import Utterance, Word


BIN_S = 0.02  # s of sound that one bar of the outline stands for
LONGEST_CLIP_S = 60.0  # more is for a player, not for a row


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundStretch:
    """A recording on the shelf."""

    key: str
    path: Path
    duration_s: float | None


class Shelf:
    """The recordings in a hunt's recordings folder."""

    def __init__(self, recordings_dir: Path) -> None:
        self._dir = recordings_dir
        self._lock = threading.Lock()
        self._known: dict[str, SoundStretch] = {}  # by name
        self._outlines: dict[str, Outline] = {}  # by key

    def sound_for(self, recording: str) -> SoundStretch | None:
        """Return the sound of a row's recording; None where there is none to play.

        A row from a transcript ("memo.vtt") is heard in the recording of the same
        name beside it.
        """
        with self._lock:
            if recording in self._known:
                return self._known[recording]
            sound = self._find(recording)
            if sound is not None:
                self._known[recording] = sound
            return sound

    def by_key(self, key: str) -> SoundStretch | None:
        """Return a sound that `sound_for` gave before."""
        with self._lock:
            return next((s for s in self._known.values() if s.key == key), None)

    def outline(self, key: str) -> Outline | None:
        """Return the outline of a sound, which begins to be drawn at the first call."""
        sound = self.by_key(key)
        if sound is None:
            return None
        with self._lock:
            if key not in self._outlines:
                self._outlines[key] = Outline(sound)
            return self._outlines[key]

    def _find(self, recording: str) -> SoundStretch | None:
        if not recording or not self._dir.is_dir():
            return None
        files = {
            path.relative_to(self._dir).as_posix(): path
            for path in self._dir.rglob("*")
            if path.is_file()
            and file_within(self._dir, str(path.relative_to(self._dir)))
        }
        path = files.get(recording)
        if path is not None and is_transcript(path):
            stem = path.with_suffix("")
            path = next(
                (
                    other
                    for other in sorted(files.values())
                    if other.with_suffix("") == stem and not is_transcript(other)
                ),
                None,
            )
        if path is None:
            return None
        try:
            duration_s = probe(path).duration_s
        except SoundError:
            return None
        return SoundStretch(
            key=hashlib.sha256(recording.encode()).hexdigest()[:16],
            path=path,
            duration_s=duration_s,
        )


def clip_samples(path: Path, start_s: float, end_s: float) -> NDArray[np.float32]:
    """Cut the samples between two seconds out of a recording, 16 kHz mono.

    Raises
    ------
    SoundError
        If the recording cannot be read or is shorter.
    ValueError
        If the end is not after the start, or more than LONGEST_CLIP_S after it.
    """
    start_s = max(0.0, start_s)
    if not 0 < end_s - start_s <= LONGEST_CLIP_S or end_s > LONGEST_S:
        raise ValueError(f"end_s: {end_s} is not within a minute after {start_s}")
    wanted = round((end_s - start_s) * SAMPLE_RATE_HZ)
    parts: list[NDArray[np.float32]] = []
    have = 0
    for block in read_blocks(path, start_s=start_s, block_s=0.5):
        parts.append(block.samples[: wanted - have])
        have += len(parts[-1])
        if have >= wanted:
            break
    if not have:
        raise SoundError(
            f"has no sound at {start_s:.0f} s",
            where=path.name,
            mend="See whether the recording is the one the notes were heard in.",
        )
    return np.concatenate(parts)


def clip_wav(path: Path, start_s: float, end_s: float) -> bytes:
    """Cut a piece of a recording as a WAV file of 16 bits; see `clip_samples`."""
    import soundfile

    out = io.BytesIO()
    samples = clip_samples(path, start_s, end_s)
    soundfile.write(out, samples, SAMPLE_RATE_HZ, format="WAV", subtype="PCM_16")
    return out.getvalue()


class Outline:
    """Lowest and highest sample of every BIN_S of a recording, read in a thread.

    Bytes are relative to full scale.
    """

    def __init__(self, sound: SoundStretch) -> None:
        self._sound = sound
        self._lock = threading.Lock()
        self._bytes = bytearray()
        self.done = False
        self.fault = ""
        threading.Thread(target=self._run, name="outline", daemon=True).start()

    def since(self, first_bin: int) -> bytes:
        """Return what there is from a bin on: int8 pairs, low and high."""
        with self._lock:
            return bytes(self._bytes[2 * first_bin :])

    def _run(self) -> None:
        try:
            for pairs in outline_of(read_blocks(self._sound.path, block_s=5.0)):
                with self._lock:
                    self._bytes += pairs
        except SoundError as error:
            self.fault = error.line()
        self.done = True


def outline_of(blocks: Iterable[Block]) -> Iterable[bytes]:
    """Turn blocks of sound into int8 pairs, lowest and highest of every BIN_S."""
    size = round(BIN_S * SAMPLE_RATE_HZ)
    rest = np.zeros(0, np.float32)
    for block in blocks:
        samples = np.concatenate([rest, block.samples])
        whole = len(samples) // size * size
        rest = samples[whole:]
        if whole:
            yield _pairs(samples[:whole].reshape(-1, size))
    if len(rest):
        yield _pairs(rest.reshape(1, -1))


def _pairs(bins: NDArray[np.float32]) -> bytes:
    both = np.stack([bins.min(axis=1), bins.max(axis=1)], axis=1)
    bars: NDArray[np.int8] = np.clip(np.rint(both * 127), -127, 127).astype(np.int8)
    return bars.tobytes()


AROUND_S = 8.0  # before a note and after it: a sentence or two; choice
_ROUNDED_S = 0.02  # more than a second of review.csv may be off
_LONG = 100  # letters from which a quoted line may be cut short; choice
_NO_LINES = ("", "")
_Kept = TypeVar("_Kept")


@dataclass(frozen=True, slots=True)
class _Said:
    """A word, and which line or breath it is of."""

    start_s: float
    text: str
    line: int


class Talk:
    """What stands around the notes of a hunt's recordings, transcripts and pages.

    Of a recording the words between its notes, as they were heard; none where
    hunt.toml says `keep_talk = false`. Of a timed transcript and of typed notes their
    own lines. A file is read once, and again when it was written since.
    """

    def __init__(self, hunt: Hunt) -> None:
        self._hunt = hunt
        self._said: dict[str, tuple[tuple[int, int], tuple[_Said, ...]]] = {}
        # Before and after each line of a page.
        self._typed: dict[str, tuple[tuple[int, int], dict[str, tuple[str, str]]]] = {}

    def around(
        self,
        recording: str,
        start_s: float | None,
        end_s: float | None = None,
        heard: str = "",
    ) -> tuple[str, str]:
        """Return the words before a note and those after, a line feed between lines.

        Parameters
        ----------
        recording
            Its name; "" for a note written by hand.
        start_s, end_s
            Where the note stands in it; None for one of a typed page.
        heard
            The words that it was made of.
        """
        if not recording:
            return _NO_LINES
        written = self._hunt.recordings_dir / recording
        of_text = is_transcript(written)
        if start_s is None:
            return self._typed_around(recording, heard) if of_text else _NO_LINES
        if of_text:
            said = _fresh(self._said, recording, written, self._transcript) or ()
        elif self._hunt.file.speech.keep_talk:
            file = self._hunt.heard_file(recording)
            said = _fresh(self._said, recording, file.path, self._talk) or ()
        else:
            return _NO_LINES
        last_s = start_s if end_s is None else max(start_s, end_s)
        return _words_around(said, start_s, last_s, heard, neighbours=of_text)

    def _typed_around(self, recording: str, heard: str) -> tuple[str, str]:
        """Return the line before and after the one that a typed note was made of."""
        written = self._hunt.recordings_dir / recording
        lines = _fresh(self._typed, recording, written, self._page) or {}
        own = " ".join(heard.split())
        line = lines.get(own)
        if line is None and len(own) >= _LONG:  # a note quotes the beginning
            line = next((o for text, o in lines.items() if text.startswith(own)), None)
        return line or _NO_LINES

    def _talk(self, recording: str) -> tuple[_Said, ...]:
        heard = self._hunt.heard_file(recording).read()
        return _words(heard.utterances, WordSource.TALK)

    def _transcript(self, recording: str) -> tuple[_Said, ...]:
        path = file_within(self._hunt.recordings_dir, recording)
        return _words(read_transcript(path), WordSource.TEXT) if path else ()

    def _page(self, recording: str) -> dict[str, tuple[str, str]]:
        path = file_within(self._hunt.recordings_dir, recording)
        text = read_text(path) if path else ""
        lines = [" ".join(line.split()) for line in text.splitlines()]
        lines = ["", *(line for line in lines if line), ""]
        found: dict[str, tuple[str, str]] = {}  # of lines alike the first
        for before, line, after in zip(lines, lines[1:], lines[2:], strict=False):
            found.setdefault(line, (before, after))
        return found


def _fresh(
    shelf: dict[str, tuple[tuple[int, int], _Kept]],
    name: str,
    path: Path,
    read: Callable[[str], _Kept],
) -> _Kept | None:
    """Return what a file holds, read anew where it is not as it was."""
    try:
        found = path.stat()
    except (OSError, ValueError):  # gone, or a name that no file can have
        return None
    stamp = (found.st_mtime_ns, found.st_size)
    kept = shelf.get(name)
    if kept is None or kept[0] != stamp:
        try:
            shelf[name] = kept = (stamp, read(name))
        except TreewardError:
            return None  # `treeward transcribe` tells what is wrong with it
    return kept[1]


def _words(utterances: Iterable[Utterance], source: WordSource) -> tuple[_Said, ...]:
    def said(word: Word, line: int) -> _Said:
        return _Said(word.start_s, " ".join(word.text.split()), line)

    found = [
        said(word, line)
        for line, utterance in enumerate(utterances)
        for word in utterance.words
        if word.source is source
    ]
    return tuple(sorted(found, key=attrgetter("start_s")))


def _words_around(
    said: Sequence[_Said],
    start_s: float,
    end_s: float,
    heard: str,
    *,
    neighbours: bool,
) -> tuple[str, str]:
    """Return the words within `AROUND_S` of a note but for its own.

    With `neighbours` its line as a whole, and those before and after it too.
    """
    by_start = attrgetter("start_s")
    own = bisect_left(said, start_s - _ROUNDED_S, key=by_start)
    past = bisect_left(said, end_s - _ROUNDED_S, lo=own, key=by_start)
    # A note told late begins before its words; they are the last before its end.
    count = len(heard.split())
    told = [_bare(word.text) for word in said[max(0, past - count) : past]]
    if told == [_bare(word) for word in heard.split()]:
        own = past - count
    first = bisect_left(said, start_s - AROUND_S, hi=own, key=by_start)
    last = bisect_left(said, end_s + AROUND_S, lo=past, key=by_start)
    if neighbours:
        first, last = _whole_lines(said, own, past, first, last)
    return _joined(said[first:own]), _joined(said[past:last])


def _whole_lines(
    said: Sequence[_Said], own: int, past: int, first: int, last: int
) -> tuple[int, int]:
    """Widen a run of words to whole lines, with one before the note and one after."""
    if not said:
        return first, last
    begun = min(own, len(said) - 1)
    ended = max(begun, past - 1)
    from_line = min(said[begun].line - 1, *(w.line for w in said[first : first + 1]))
    to_line = max(said[ended].line + 1, *(w.line for w in said[last - 1 : last]))
    by_line = attrgetter("line")
    return (
        bisect_left(said, from_line, key=by_line),
        bisect_right(said, to_line, key=by_line),
    )


def _bare(word: str) -> str:
    return "".join(letter for letter in word.lower() if letter.isalnum())


def _joined(said: Sequence[_Said]) -> str:
    text = ""
    for before, word in zip((None, *said), said, strict=False):
        if before is not None:
            text += " " if before.line == word.line else "\n"
        text += word.text
    return text


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

    `day` is that of its notes up to a date within it; None where it says the day.

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


@contextmanager
def _as_file(text: str) -> Iterator[Path]:
    """Give the page as a file in a private folder."""
    if len(text) > MOST_LETTERS:
        raise HuntError(
            f"the notes have more than {MOST_LETTERS} letters",
            mend="Paste them in parts, or run: treeward transcribe FILE",
        )
    if "\0" in text:
        raise HuntError("that is no text", mend="Paste notes as you typed them.")
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
