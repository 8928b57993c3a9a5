"""From what was heard, or a timed transcript, to events without clock times."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from treeward.files import write_text
from treeward.report.formats.labels import SHORTEST_S, escaped, stamp
from treeward.speech.utterances import WordSource

from .heard import HeardBy
from .recordings import (
    TYPED_SUFFIXES,
    digest,
    file_modified,
    is_transcript,
    recording_name,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.events import Event
    from treeward.notes.unread import TimeTold, Unread
    from treeward.speech.recognizer import Recognizer
    from treeward.speech.utterances import Utterance

    from .folder import HuntFolder
    from .heard import HeardFile


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """One recording or transcript after it was heard."""

    name: str
    events: tuple[Event, ...] = ()
    fault: str = ""  # the line to print where it could not be read
    complete: bool = True
    remarks: tuple[str, ...] = ()
    unread: tuple[Unread, ...] = ()  # lines without a note that look like one


@dataclass(frozen=True, slots=True, kw_only=True)
class Transcribed:
    """What `Hunt.transcribe` did."""

    recordings: tuple[Recorded, ...]
    engine: str
    rows: int
    to_look_at: int
    kept_changes: int
    stopped: bool = False
    unread: tuple[Unread, ...] = ()
    remarks: tuple[str, ...] = field(default=())

    @property
    def faults(self) -> tuple[str, ...]:
        """A line for each recording that could not be read."""
        return tuple(r.fault for r in self.recordings if r.fault)


def heard_by(
    path: Path,
    recognizer: Recognizer,
    book: PhraseBook,
    earlier: HeardBy | None,
    *,
    free: bool = False,
) -> HeardBy:
    """Say what a hearing of this file by this engine, for `free` or not, depends on.

    The file's bytes are read where its size or time is not that of the `earlier`
    hearing: copying a hunt gives its files new times.
    """
    stat = path.stat()
    known = (stat.st_size, stat.st_mtime_ns)
    if earlier is not None and known == (earlier.size_bytes, earlier.modified_ns):
        sha256 = earlier.sha256
    else:
        sha256 = ""  # of a file that may not be read, which is told when it is opened
        with suppress(OSError):
            sha256 = digest(path).hex()
    return HeardBy(
        engine=recognizer.name,
        model=recognizer.model,
        phrase_book=book.digest(),
        size_bytes=stat.st_size,
        modified_ns=stat.st_mtime_ns,
        sha256=sha256,
        free=free,
    )


def recorded_of(
    hunt: HuntFolder, path: Path, kept: HeardFile, *, name: str
) -> Recorded:
    """Turn what was heard, or a transcript, into events without clock times."""
    from .recovery import with_answered, without_own_voice

    book = hunt.phrase_book
    if is_transcript(path):
        from treeward.notes.narration import read_narration
        from treeward.speech.transcripts import read_transcript

        if path.suffix.lower() in TYPED_SUFFIXES and (
            page := typed_notes(hunt, path, name)
        ):
            return page
        narrated = read_narration(read_transcript(path), book, recording=name)
        return Recorded(
            name=name,
            events=narrated.events,
            remarks=tuple(time_line(told) for told in narrated.times),
            unread=narrated.unread,
        )
    from treeward.notes.context import read_again
    from treeward.notes.parser import parse_notes
    from treeward.notes.plausible import weigh_by_bees

    heard = kept.read()
    flag_below = hunt.file.speech.flag_below
    events = parse_notes(heard.utterances, book, recording=name, flag_below=flag_below)
    events = read_again(events, flag_below=flag_below)
    events = weigh_by_bees(events, book, flag_below=flag_below)
    others = without_own_voice(hunt.path, events)
    remarks = heard.remarks
    unread: tuple[Unread, ...] = ()
    if hunt.file.speech.free:
        from treeward.notes.narration import read_talk

        narrated = read_talk(heard.utterances, others, book, recording=name)
        others = list(narrated.events)
        remarks = (*remarks, *(time_line(told) for told in narrated.times))
        unread = narrated.unread if hunt.file.speech.keep_talk else ()
    return Recorded(
        name=name,
        events=tuple(with_answered(hunt.path, name, others)),
        complete=heard.done,
        remarks=remarks,
        unread=unread,
    )


def time_line(told: TimeTold) -> str:
    """Say what was told of loading or unloading, and which key of hunt.toml it fits."""
    minute, second = divmod(int(told.start_s), 60)
    said = f"said at {minute}:{second:02}: '{told.text}'"
    between = f"{told.low_s:.0f} to {told.high_s:.0f} s"
    match told.what:
        case "unloading":
            pair = f"[{told.low_s:.0f}, {told.high_s:.0f}]"
            return (
                f"{said}: {between} in the hive; to reckon with it, write "
                f"in_hive_s = {pair} under [model] in hunt.toml"
            )
        case "loading":
            return (
                f"{said}: {between} of loading; your own notes of back and away "
                "measure that, no key is needed"
            )
        case "close":
            return (
                f"{said}: trips to a hive so near can serve as calibration; write its "
                "station and hive under [calibration] in hunt.toml"
            )


def typed_notes(hunt: HuntFolder, path: Path, name: str) -> Recorded | None:
    """Read notes typed with clock times; None for a file that holds none."""
    from treeward.notes.clocked import has_clock_times, read_clocked
    from treeward.speech.transcripts import read_text

    text, book = read_text(path), hunt.phrase_book
    if not has_clock_times(text, book):
        return None
    typed = read_clocked(
        text,
        book,
        hunt.zone,
        name=name,
        near=file_modified(path).date(),
        where=str(path),
    )
    return Recorded(name=name, events=typed.events, unread=typed.unread)


def keep_talk(hunt: HuntFolder, paths: Sequence[Path]) -> None:
    """Write talk.vtt of each recording that was heard, unless hunt.toml forbids it.

    Where a hunt has several recordings the file's name begins with the recording's.
    """
    if not hunt.file.speech.keep_talk:
        return
    sounds = [path for path in hunt.recordings() if not is_transcript(path)]
    for path in paths:
        if is_transcript(path):
            continue
        name = recording_name(path, hunt.recordings_dir)
        text = talk_webvtt(hunt.heard_file(name).read().utterances)
        head = "" if len(sounds) == 1 else name.replace("/", "__") + "."
        if text:
            kept = hunt.results_dir / f"{head}talk.vtt"
            write_text(kept, text, within=hunt.path)


def talk_webvtt(utterances: Iterable[Utterance]) -> str:
    """Write what was said between the notes as WebVTT cues; "" where nothing was."""
    cues = []
    for utterance in utterances:
        words = [word for word in utterance.words if word.source is WordSource.TALK]
        if words:
            start, end = words[0].start_s, words[-1].end_s
            said = escaped(" ".join(" ".join(word.text.split()) for word in words))
            stop = stamp(max(end, start + SHORTEST_S))
            cues.append(f"{stamp(max(start, 0.0))} --> {stop}\n{said}")
    return "\n\n".join(["WEBVTT", *cues]) + "\n" if cues else ""
