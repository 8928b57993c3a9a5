"""The recordings and transcripts of a hunt: found, taken in, and named."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from treeward import __version__
from treeward.audio.reader import probe
from treeward.errors import HuntError, SoundError
from treeward.files import read_kept, read_plain, replacing, write_text
from treeward.measures import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Sequence

    from treeward.notes.clock import ClockResult
    from treeward.notes.clock_evidence import RecordingFacts

_MOST_BYTES = 16 * 2**20  # as much as is read of a transcript
_SAME_LINES = 0.5  # of a transcript that was corrected, and not another one; guess
_PAGE_SUFFIXES = frozenset({".md", ".markdown", ".text"})  # of people's own notes
# May hold notes with clock times.
TYPED_SUFFIXES = frozenset({".txt", ".csv", ".tsv"}) | _PAGE_SUFFIXES
_SNIFFED_BYTES = 4096  # of a file, to tell whether it is text; choice
_BESIDE = frozenset({".old", ".gpx"})  # lies among recordings on purpose
_MOST_PASSED_OVER = 5  # names in a line for the person; choice
_DOCUMENT_SUFFIXES = frozenset(
    {".ods", ".xlsx", ".xls", ".numbers", ".odt", ".docx", ".doc", ".rtf", ".pdf"}
)  # where people keep a typed-off tally sheet or notes
STARTS_FILE = "starts.json"
_MOST_STARTS_BYTES = 4_000_000  # a line for each recording; choice
TRANSCRIPT_SUFFIXES = frozenset({".vtt", ".srt", ".json"}) | TYPED_SUFFIXES
SOUND_SUFFIXES = frozenset(
    {
        ".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".mp4", ".mov",
        ".amr", ".3gp", ".3gpp", ".aac", ".aif", ".aiff", ".caf", ".webm", ".mkv",
    }
)  # fmt: skip


def is_transcript(path: Path) -> bool:
    """Tell whether a file is a timed transcript, by its ending."""
    return path.suffix.lower() in TRANSCRIPT_SUFFIXES


def has_plain_name(path: Path) -> bool:
    """Tell whether a name can be written down: some disks hold names not UTF-8."""
    try:
        str(path).encode()
    except UnicodeEncodeError:
        return False
    return True


def take_in(
    files: Sequence[Path],
    recordings_dir: Path,
    *,
    tell: Callable[[str], None] = lambda _: None,
) -> list[Path]:
    """Copy files that lie elsewhere into the hunt, keeping their time stamps.

    A transcript that the hunt has already, and that was corrected, takes the place of
    the one there, which is kept beside it; `tell` is told so in a line.

    Raises
    ------
    HuntError
        If a file is missing, or another one of that name is in the hunt already.
    """
    taken = []
    home = Path(os.path.realpath(recordings_dir))
    for file in files:
        path = Path(os.path.realpath(file))  # of links in a ring, one of them
        if refused := _refused(path):
            what, mend = refused
            raise HuntError(what, where=str(file), mend=mend)
        if not path.is_relative_to(home):
            copy = home / path.name
            if copy.is_file() and is_corrected(copy, path):
                old = copy.with_name(f"{copy.name}.old")
                replace_copy(copy, old, hunt_dir=home.parent)
                replace_copy(path, copy, hunt_dir=home.parent)
                tell(
                    f"{copy.name} was read again as it is now; what the hunt had of it "
                    f"is kept as {old.name}"
                )
            if copy.exists() and digest(copy) != digest(path):
                raise HuntError(
                    f"the hunt already has another recording named {path.name}",
                    where=str(file),
                    mend="Rename one of them.",
                )
            if not copy.exists():
                replace_copy(path, copy, hunt_dir=home.parent)
            path = copy
        taken.append(path)
    return taken


def _refused(path: Path) -> tuple[str, str] | None:
    """Say why a path cannot be taken in, and what to do; None where it can."""
    if not has_plain_name(Path(path.name)):
        return "has a name that is not UTF-8, which no row can hold", "Rename it."
    if path.is_symlink():
        return "is a link that leads nowhere", "Take it away."
    if not path.exists():
        mend = "Check the name, or put it into the hunt's recordings folder."
        return "there is no such file", mend
    if path.is_dir():
        return "is a folder", "Name the recordings in it."
    if not path.is_file():
        mend = "Name a file. To listen to a stream: treeward listen --input -"
        return "is a pipe or a device, which cannot be copied into the hunt", mend
    return None


def replace_copy(path: Path, copy: Path, *, hunt_dir: Path) -> None:
    """Copy a file into the hunt, with its time stamps, as a whole or not at all."""
    with replacing(copy, within=hunt_dir) as beside:
        shutil.copy2(path, beside)


def is_corrected(copy: Path, path: Path) -> bool:
    """Tell whether a transcript is another one that was corrected, by its lines."""
    if not is_transcript(path):
        return False
    try:
        old, new = (
            {
                line.strip()
                for line in read_plain(p, most_bytes=_MOST_BYTES).split(b"\n")
            }
            for p in (copy, path)
        )
    except OSError:
        return False
    return old != new and len(old & new) > _SAME_LINES * max(len(old), len(new))


def unreadable(files: Sequence[Path], recordings_dir: Path) -> dict[Path, str]:
    """Give the line for each file from elsewhere that holds no sound to be read.

    Such a file is not copied into the hunt, where it would be in the way from then on.
    """
    home = Path(os.path.realpath(recordings_dir))
    faults: dict[Path, str] = {}
    for file in files:
        path = Path(os.path.realpath(file))
        if path.suffix.lower() in _DOCUMENT_SUFFIXES and path.is_file():
            faults[file] = HuntError(
                "is a document that other programs read",
                where=str(file),
                mend="Save it there as CSV (a table) or as plain text (.txt), and "
                "transcribe that.",
            ).line()
            continue
        if is_transcript(path) or not path.is_file():
            continue
        if path.suffix.lower() not in SOUND_SUFFIXES and is_text(path):
            faults[file] = HuntError(
                "is text, by a name that does not say so",
                where=str(file),
                mend=f"Rename it {path.stem}.txt, and transcribe that.",
            ).line()
            continue
        if path.is_relative_to(home):
            continue
        try:
            probe(file)
        except SoundError as error:
            faults[file] = error.line()
    return faults


def is_text(path: Path) -> bool:
    """Tell whether a file holds text, by its beginning."""
    try:
        with path.open("rb") as file:
            raw = file.read(_SNIFFED_BYTES)
    except OSError:
        return False
    text = raw.decode("utf-8", "replace").removesuffix("\ufffd")  # a letter cut in two
    return bool(text.strip()) and not any(
        letter == "\ufffd" or (letter < " " and not letter.isspace()) for letter in text
    )


def passed_over(recordings_dir: Path) -> str:
    """Say which files in recordings/ are neither sound nor text; "" where none is."""
    names = [
        recording_name(path, recordings_dir)
        for path in files_below(recordings_dir)
        if path.suffix.lower() not in SOUND_SUFFIXES | TRANSCRIPT_SUFFIXES | _BESIDE
    ]
    if not names:
        return ""
    more = ", ..." if len(names) > _MOST_PASSED_OVER else ""
    return (
        f"passed over, {counted(len(names), 'file')} of no kind that is read: "
        f"{', '.join(names[:_MOST_PASSED_OVER])}{more}; if it is text, rename it .txt"
    )


def find_recordings(recordings_dir: Path) -> list[Path]:
    """List the recordings and transcripts of a hunt, by name.

    A transcript beside a recording of the same name stands for it: it was made from
    it, so hearing both would note everything twice.
    """
    files = [
        path
        for path in files_below(recordings_dir)
        if path.suffix.lower() in SOUND_SUFFIXES | TRANSCRIPT_SUFFIXES
    ]
    transcribed = {
        path.with_suffix("")
        for path in files
        if is_transcript(path) and path.suffix.lower() not in _PAGE_SUFFIXES
    }
    return [
        path
        for path in files
        if is_transcript(path) or path.with_suffix("") not in transcribed
    ]


def files_below(recordings_dir: Path) -> list[Path]:
    """List the files below recordings/, but for labels that Treeward wrote beside."""
    return sorted(
        path
        for path in recordings_dir.rglob("*")
        if path.is_file()
        and has_plain_name(path.relative_to(recordings_dir))
        and not path.name.startswith(".")
        and not path.stem.endswith(".events")
    )


def file_modified(path: Path) -> datetime:
    """Return when the file was last written, in UTC."""
    return datetime.fromtimestamp(path.stat().st_mtime, tz=UTC)


def recording_name(path: Path, recordings_dir: Path) -> str:
    """Name a recording by its way below recordings/, with forward slashes."""
    try:  # a link in there may lead anywhere, and is still called what it is called
        return path.absolute().relative_to(recordings_dir.absolute()).as_posix()
    except ValueError:
        real, home = os.path.realpath(path), os.path.realpath(recordings_dir)
        return Path(real).relative_to(home).as_posix()


def digest(path: Path) -> bytes:
    """Return the SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").digest()


_MOST_LEFT_BYTES = 4_000_000  # a line for each broken file; choice


class LeftOut:
    """The recordings of a hunt that could not be read the last time."""

    def __init__(self, hunt_dir: Path, machine_dir: Path, recordings_dir: Path) -> None:
        self._hunt_dir = hunt_dir
        self._path = machine_dir / "left_out.json"
        self._recordings_dir = recordings_dir
        self._known = self._read()

    def without(self, paths: Iterable[Path]) -> tuple[list[Path], tuple[str, ...]]:
        """Return the files to be read, and lines about those that are left out."""
        taken: list[Path] = []
        names: list[str] = []
        for path in paths:
            name = recording_name(path, self._recordings_dir)
            if self._known.get(name) == _stamp(path):
                names.append(name)
            else:
                taken.append(path)
        lines = []
        if names:
            lines.append(
                f"left out as before, {counted(len(names), 'file')} not to be read: "
                f"{', '.join(names[:5])}"
                f"{', ...' if len(names) > 5 else ''}; name one to try it again, or "
                "take it away"
            )
        return taken, (*lines, *_oddities(self._recordings_dir))

    def note(self, tried: Iterable[Path], faults: Collection[str]) -> None:
        """Keep which of the files that were tried could not be read, by name."""
        known = dict(self._known)
        for path in tried:
            name = recording_name(path, self._recordings_dir)
            known.pop(name, None)
            if name in faults and path.is_file():
                known[name] = _stamp(path)
        if known != self._known:
            self._known = known
            write_text(self._path, json.dumps(known, indent=1), within=self._hunt_dir)

    def _read(self) -> dict[str, list[object]]:
        kept = read_kept(self._path, most_bytes=_MOST_LEFT_BYTES)
        return {name: one for name, one in kept.items() if isinstance(one, list)}


def _oddities(recordings_dir: Path) -> tuple[str, ...]:
    """Give a line for each recording that cannot be one for its name or its link."""
    lines = []
    wanted = SOUND_SUFFIXES | TRANSCRIPT_SUFFIXES
    for path in sorted(recordings_dir.rglob("*")):
        if path.suffix.lower() not in wanted:
            continue
        shown = path.relative_to(recordings_dir).as_posix()
        if not has_plain_name(path.relative_to(recordings_dir)):
            shown = ascii(shown)[1:-1]
            lines.append(f"left out: the name {shown} is not UTF-8; rename it")
        elif path.is_symlink() and not path.exists():
            lines.append(
                f"left out: {shown} is a link that leads nowhere; take it away"
            )
    return tuple(lines)


def _stamp(path: Path) -> list[object]:
    found = path.stat()
    return [found.st_size, found.st_mtime_ns, __version__]


_FILE = "recordings.json"
_YEARS = range(1900, 2201)  # of a clock; others are a slip, and not in every zone
_MOST_FACTS_BYTES = 16_000_000  # some 200 bytes for each recording; choice


def as_first_seen(
    machine_dir: Path, facts: RecordingFacts, size_bytes: int
) -> RecordingFacts:
    """Return the facts of a recording with the times its file had at first.

    A file of another size is another recording.
    """
    kept = _read(machine_dir).get(facts.name, {})
    if kept.get("size_bytes") != size_bytes:
        return facts
    return replace(
        facts,
        created=_clock(kept.get("created")) or facts.created,
        file_modified=_clock(kept.get("file_modified")) or facts.file_modified,
    )


def keep_facts(
    machine_dir: Path,
    seen: Iterable[tuple[RecordingFacts, int]],
    clocks: Iterable[ClockResult],
) -> None:
    """Keep when recordings were made, and what their day was taken from.

    `seen` are their facts, as `as_first_seen` gave them, and the sizes of the files.
    """
    kept = _read(machine_dir)
    days = {clock.recording: clock for clock in clocks}
    for facts, size_bytes in seen:
        clock = days.get(facts.name)
        kept[facts.name] = {
            "size_bytes": size_bytes,
            "created": _text(facts.created),
            "file_modified": _text(facts.file_modified),
            "day": clock.day.isoformat() if clock and clock.day else None,
            "day_from": clock.day_from if clock else None,
        }
    text = json.dumps(kept, indent=1, ensure_ascii=False)
    if text != json.dumps(_read(machine_dir), indent=1, ensure_ascii=False):
        write_text(machine_dir / _FILE, text, within=machine_dir.parent)


def days_told(machine_dir: Path) -> dict[str, tuple[str, str]]:
    """Return recording -> its day, ISO 8601, and what tells it; as last decided."""
    days = {}
    for name, one in _read(machine_dir).items():
        told = one.get("day_from") or ""
        if (day := _day(one.get("day"))) and isinstance(told, str):
            days[name] = (day, told)
    return days


def kept_starts(machine_dir: Path) -> dict[str, str]:
    """Return recording -> the start that was given with --start in an earlier run."""
    kept = read_kept(machine_dir / STARTS_FILE, most_bytes=_MOST_STARTS_BYTES)
    return {k: v for k, v in kept.items() if isinstance(v, str)}


def _read(machine_dir: Path) -> dict[str, dict[str, Any]]:
    kept = read_kept(machine_dir / _FILE, most_bytes=_MOST_FACTS_BYTES)
    try:
        json.dumps(kept, ensure_ascii=False).encode()
    except (UnicodeEncodeError, RecursionError):  # half a letter is no text
        return {}  # they are worked out anew from the files as they are
    return {name: one for name, one in kept.items() if isinstance(one, dict)}


def _day(text: object) -> str:
    try:
        return date.fromisoformat(text).isoformat() if isinstance(text, str) else ""
    except ValueError:
        return ""


def _clock(text: object) -> datetime | None:
    try:
        clock = datetime.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return clock if clock and clock.year in _YEARS else None


def _text(clock: datetime | None) -> str | None:
    return None if clock is None else clock.isoformat()
