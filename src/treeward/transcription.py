"""From recordings and timed transcripts to the machine's rows of review.csv."""

from __future__ import annotations

import hashlib
import shutil
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from treeward.atomic import PREFIX
from treeward.errors import HuntError, SoundError
from treeward.heard import HeardBy

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from treeward.heard import HeardFile
    from treeward.hunt import Hunt
    from treeward.notes.events import Event
    from treeward.speech.phrasebook import PhraseBook
    from treeward.speech.recognizer import Recognizer

TRANSCRIPT_SUFFIXES = frozenset({".vtt", ".srt", ".json", ".txt"})
SOUND_SUFFIXES = frozenset(
    {
        ".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".mp4", ".mov",
        ".amr", ".3gp", ".3gpp", ".aac", ".aif", ".aiff", ".caf", ".webm", ".mkv",
    }
)  # fmt: skip


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
                part = copy.with_name(f"{PREFIX}{copy.name}")
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
    from treeward.live.recovery import with_answered, without_own_voice

    book = hunt.phrase_book
    if is_transcript(path):
        from treeward.notes.narration import parse_narration
        from treeward.speech.transcripts import read_transcript

        narrated = parse_narration(read_transcript(path), book, recording=name)
        return Recorded(name=name, events=tuple(narrated))
    from treeward.notes.context import read_again
    from treeward.notes.parser import parse_notes
    from treeward.notes.plausible import weigh_by_bees

    heard = kept.read()
    flag_below = hunt.file.speech.flag_below
    events = parse_notes(heard.utterances, book, recording=name, flag_below=flag_below)
    events = read_again(events, flag_below=flag_below)
    events = weigh_by_bees(events, book, flag_below=flag_below)
    others = without_own_voice(hunt.path, events)
    return Recorded(
        name=name,
        events=tuple(with_answered(hunt.path, name, others)),
        complete=heard.done,
        remarks=heard.remarks,
    )


def file_modified(path: Path) -> datetime:
    """Return when the file was last written, in UTC."""
    return datetime.fromtimestamp(path.stat().st_mtime, tz=UTC)


def recording_name(path: Path, recordings_dir: Path) -> str:
    """Name a recording by its way below recordings/, with forward slashes."""
    try:  # a link in there may lead anywhere, and is still called what it is called
        return path.absolute().relative_to(recordings_dir.absolute()).as_posix()
    except ValueError:
        return path.resolve().relative_to(recordings_dir.resolve()).as_posix()


def _digest(path: Path) -> bytes:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").digest()
