"""From recordings and timed transcripts to the machine's rows of review.csv."""

from __future__ import annotations

import hashlib
import shutil
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Protocol

from treeward.errors import HuntError, SoundError, TreewardError
from treeward.heard import HeardBy, HeardFile

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from treeward.hunt import Hunt
    from treeward.notes.events import Event
    from treeward.speech.phrasebook import PhraseBook
    from treeward.speech.recognizer import Recognizer
    from treeward.speech.records import Utterance

TRANSCRIPT_SUFFIXES = frozenset({".vtt", ".srt", ".json", ".txt"})
SOUND_SUFFIXES = frozenset(
    {
        ".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".mp4", ".mov",
        ".amr", ".3gp", ".3gpp", ".aac", ".aif", ".aiff", ".caf", ".webm", ".mkv",
    }
)  # fmt: skip


class Watcher(Protocol):
    """Told how far the hearing of a recording has come."""

    def begin(self, name: str, total_s: float | None, done_s: float) -> None:
        """Take note of a recording, `done_s` of it being known already."""

    def advance(self, done_s: float) -> None:
        """Take note that it was heard up to here."""

    def end(self) -> None:
        """Take note that it is done, or was given up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """One recording or transcript after it was heard."""

    name: str
    events: tuple[Event, ...] = ()
    fault: str = ""  # the line to print where it could not be read
    complete: bool = True
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Transcribed:
    """What `Hunt.transcribe` did."""

    recordings: tuple[Recorded, ...]
    engine: str
    rows: int
    to_look_at: int
    kept_changes: int
    stopped: bool = False
    remarks: tuple[str, ...] = field(default=())

    @property
    def faults(self) -> tuple[str, ...]:
        """A line for each recording that could not be read."""
        return tuple(r.fault for r in self.recordings if r.fault)


def is_transcript(path: Path) -> bool:
    """Tell whether a file is a timed transcript, by its ending."""
    return path.suffix.lower() in TRANSCRIPT_SUFFIXES


def take_in(files: Sequence[Path], recordings_dir: Path) -> list[Path]:
    """Copy files that lie elsewhere into the hunt, keeping their time stamps.

    Raises
    ------
    HuntError
        If a file is missing, or another one of that name is in the hunt already.
    """
    taken = []
    home = recordings_dir.resolve()
    for file in files:
        path = file.resolve()
        if not path.exists():
            raise HuntError(
                "there is no such file",
                where=str(file),
                mend="Check the name, or put it into the hunt's recordings folder.",
            )
        if path.is_dir():
            raise HuntError(
                "is a folder",
                where=str(file),
                mend="Name the recordings in it.",
            )
        if not path.is_relative_to(home):
            copy = home / path.name
            if copy.exists() and _digest(copy) != _digest(path):
                raise HuntError(
                    f"the hunt already has another recording named {path.name}",
                    where=str(file),
                    mend="Rename one of them.",
                )
            if not copy.exists():
                home.mkdir(parents=True, exist_ok=True)
                part = copy.with_name(copy.name + ".part")
                try:
                    shutil.copy2(path, part)
                    part.replace(copy)
                finally:
                    part.unlink(missing_ok=True)
            path = copy
        taken.append(path)
    return taken


def unreadable(files: Sequence[Path], recordings_dir: Path) -> dict[Path, str]:
    """Give the line for each file from elsewhere that holds no sound to be read.

    Such a file is not copied into the hunt, where it would be in the way from then on.
    """
    from treeward.audio.reader import probe

    home = recordings_dir.resolve()
    faults: dict[Path, str] = {}
    for file in files:
        path = file.resolve()
        if is_transcript(path) or path.is_relative_to(home) or not path.is_file():
            continue
        try:
            probe(file)
        except SoundError as error:
            faults[file] = error.line()
    return faults


def find_recordings(recordings_dir: Path) -> list[Path]:
    """List the recordings and transcripts of a hunt, by name.

    A transcript beside a recording of the same name stands for it: it was made from
    it, so hearing both would note everything twice.
    """
    if not recordings_dir.is_dir():
        return []
    files = sorted(
        path
        for path in recordings_dir.rglob("*")
        if path.is_file()
        and not path.name.startswith(".")
        and not path.stem.endswith(".events")  # labels that Treeward wrote beside
        and path.suffix.lower() in SOUND_SUFFIXES | TRANSCRIPT_SUFFIXES
    )
    transcribed = {path.with_suffix("") for path in files if is_transcript(path)}
    return [
        path
        for path in files
        if is_transcript(path) or path.with_suffix("") not in transcribed
    ]


def hear(
    path: Path,
    kept: HeardFile,
    recognizer: Recognizer,
    book: PhraseBook,
    *,
    watcher: Watcher | None = None,
) -> None:
    """Hear a recording to its end, going on where an earlier run stopped.

    What was heard is kept in `kept` stretch by stretch, so that an interrupt loses
    one stretch at most.

    Raises
    ------
    SoundError
        If the recording cannot be read.
    """
    from treeward.audio.reader import probe, read_blocks
    from treeward.speech.recognizer import transcribe

    by = heard_by(path, recognizer, book)
    earlier = kept.resume()
    if earlier.by == by and earlier.done:
        return
    start_s = earlier.reached_s if earlier.by == by else 0.0
    if earlier.by != by:
        kept.begin(by)
    info = probe(path)
    if watcher:
        watcher.begin(path.name, info.duration_s, start_s)
    pending: list[Utterance] = []

    def reached(at_s: float) -> None:
        kept.add(pending, reached_s=at_s)
        pending.clear()
        if watcher:
            watcher.advance(at_s)

    try:
        blocks = read_blocks(
            path, start_s=start_s, warn=lambda fault: kept.remark(fault.line())
        )
        for utterance in transcribe(blocks, recognizer, progress=reached):
            pending.append(utterance)  # noqa: PERF402  (`reached` empties it meanwhile)
        if pending:
            kept.add(pending, reached_s=pending[-1].end_s)
        kept.finish()
    finally:
        if watcher:
            watcher.end()


def heard_by(path: Path, recognizer: Recognizer, book: PhraseBook) -> HeardBy:
    """Say what a hearing of this file by this engine depends on."""
    stat = path.stat()
    return HeardBy(
        engine=recognizer.name,
        model=recognizer.model,
        phrase_book=book.digest(),
        size_bytes=stat.st_size,
        modified_ns=stat.st_mtime_ns,
    )


def recorded_of(hunt: Hunt, path: Path, kept: HeardFile, *, name: str) -> Recorded:
    """Turn what was heard, or a transcript, into events without clock times."""
    from treeward.live.recovery import without_own_voice

    book = hunt.phrase_book
    if is_transcript(path):
        from treeward.notes.narration import parse_narration
        from treeward.speech.transcripts import read_transcript

        narrated = parse_narration(read_transcript(path), book, recording=name)
        return Recorded(name=name, events=tuple(narrated))
    from treeward.notes.parser import parse_notes

    heard = kept.read()
    flag_below = hunt.file.speech.flag_below
    events = parse_notes(heard.utterances, book, recording=name, flag_below=flag_below)
    return Recorded(
        name=name,
        events=tuple(without_own_voice(hunt.path, events)),
        complete=heard.done,
        remarks=heard.remarks,
    )


def attempt(name: str, work: Callable[[], Recorded]) -> Recorded:
    """Run the work on one recording; a fault of it must not stop the others."""
    try:
        return work()
    except (SoundError, TreewardError) as error:
        return Recorded(name=name, fault=error.line(), complete=False)


def hear_all(
    hunt: Hunt,
    paths: Sequence[Path],
    recognizer: Callable[[], Recognizer],
    watcher: Watcher | None,
    *,
    fresh: bool,
) -> tuple[list[Recorded], bool]:
    """Hear recordings one after the other; a fault of one does not stop the rest.

    Returns what was heard, and whether the person stopped it.
    """
    recorded: list[Recorded] = []
    stopped = False
    for path in paths:
        name = recording_name(path, hunt.recordings_dir)
        kept = hunt.heard_file(name)

        def work(
            path: Path = path, name: str = name, kept: HeardFile = kept
        ) -> Recorded:
            nonlocal stopped
            if not is_transcript(path) and not stopped:
                if fresh:
                    kept.path.unlink(missing_ok=True)
                try:
                    hear(path, kept, recognizer(), hunt.phrase_book, watcher=watcher)
                except KeyboardInterrupt:
                    stopped = True
            return recorded_of(hunt, path, kept, name=name)

        recorded.append(attempt(name, work))
    return recorded, stopped


def file_modified(path: Path) -> datetime:
    """Return when the file was last written, in UTC."""
    return datetime.fromtimestamp(path.stat().st_mtime, tz=UTC)


def recording_name(path: Path, recordings_dir: Path) -> str:
    """Name a recording by its way below recordings/, with forward slashes."""
    return path.resolve().relative_to(recordings_dir.resolve()).as_posix()


def _digest(path: Path) -> bytes:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").digest()
