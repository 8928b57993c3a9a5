"""From what was heard, or a timed transcript, to events without clock times.

Lines of a recording or a page that made no note but look as if they should.

As last read they are kept in .treeward/unread.json, for the review to show and make
notes of. A line of which a person said that there is nothing in it is kept in
.treeward/dismissed.json, so that it stays away when the recording is read again.
"""

from __future__ import annotations

import json
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from treeward.errors import ClockError, ReviewError, TranscriptError
from treeward.files import kept_number, kept_text, read_kept, write_text
from treeward.notes.clock_evidence import parse_start, parse_start_day
from treeward.notes.parser import parse_notes
from treeward.notes.second_look import read_again, weigh_by_bees
from treeward.notes.unread import Unread
from treeward.speech.transcripts import (
    SHORTEST_S,
    escaped,
    holds_timed_lines,
    read_lines,
    read_text,
    read_transcript,
    since_start,
    stamp,
)
from treeward.speech.utterances import WordSource

from .heard import HeardBy
from .recordings import (
    TYPED_SUFFIXES,
    digest,
    file_modified,
    is_transcript,
    kept_starts,
    recording_name,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.events import Event
    from treeward.notes.unread import TimeTold
    from treeward.review.store import Left
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
    not_free: bool = False  # of sound in which only phrases are read


@dataclass(frozen=True, slots=True, kw_only=True)
class Transcribed:
    """What `Hunt.transcribe` did; `left` is of the whole review."""

    recordings: tuple[Recorded, ...]
    engine: str
    rows: int
    left: Left
    kept_changes: int
    stopped: bool = False
    unread: tuple[Unread, ...] = ()
    remarks: tuple[str, ...] = ()

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
    hunt: HuntFolder,
    path: Path,
    kept: HeardFile,
    *,
    name: str,
    lines: bool = True,
) -> Recorded:
    """Turn what was heard, or a transcript, into events without clock times.

    Without `lines`, talk that makes no event is not looked through.
    """
    from .recovery import with_answered, without_own_voice

    if is_transcript(path):
        return _read_page(hunt, path, name)
    book = hunt.phrase_book
    heard = kept.read()
    flag_below = hunt.file.speech.flag_below
    events = parse_notes(heard.utterances, book, recording=name, flag_below=flag_below)
    events = read_again(events, flag_below=flag_below)
    events = weigh_by_bees(events, book, flag_below=flag_below)
    others = without_own_voice(hunt.path, events)
    remarks = heard.remarks
    unread: tuple[Unread, ...] = ()
    speech = hunt.file.speech
    if speech.free:
        from treeward.notes.narration import read_talk

        narrated = read_talk(heard.utterances, others, book, recording=name)
        others = list(narrated.events)
        remarks = (*remarks, *(time_line(told) for told in narrated.times))
        unread = narrated.unread if speech.keep_talk else ()
    elif speech.keep_talk and lines:
        from treeward.notes.narration import told_in_talk

        unread = told_in_talk(heard.utterances, others, book, recording=name)
    return Recorded(
        name=name,
        events=tuple(with_answered(hunt.path, name, others)),
        complete=heard.done,
        remarks=remarks,
        unread=unread,
        not_free=not speech.free,
    )


def _read_page(hunt: HuntFolder, path: Path, name: str) -> Recorded:
    """Read a transcript, or notes typed with clock times."""
    from treeward.notes.narration import read_narration

    if path.suffix.lower() in TYPED_SUFFIXES and (
        page := typed_notes(hunt, path, name)
    ):
        return page
    utterances, remarks = _utterances(hunt, path, name)
    narrated = read_narration(utterances, hunt.phrase_book, recording=name)
    return Recorded(
        name=name,
        events=narrated.events,
        remarks=(*remarks, *(time_line(told) for told in narrated.times)),
        unread=narrated.unread,
    )


def _utterances(
    hunt: HuntFolder, path: Path, name: str
) -> tuple[list[Utterance], tuple[str, ...]]:
    """Read a transcript, or a page whose times are since the start that was given."""
    from treeward.notes.untimed import untimed_fault

    if path.suffix.lower() in TYPED_SUFFIXES:
        text = read_text(path)
        if (lines := _since_start(hunt, name, text)) is not None:
            said = "its times are taken as minutes and seconds since the start given"
            return read_lines(path, lines), (said,)
        if text.strip() and not holds_timed_lines(path, text):
            raise untimed_fault(text, hunt.phrase_book, where=str(path))
    return read_transcript(path), ()


def _since_start(hunt: HuntFolder, name: str, text: str) -> str | None:
    """Return a page with its times in brackets where they are since a start given.

    They begin near zero, and the start is hours from midnight.
    """
    given = kept_starts(hunt.machine_dir).get(name) or hunt.file.start.get(name)
    try:
        start, _ = parse_start(given or "", hunt.zone, where=name)
    except ClockError:
        return None
    return since_start(text) if start.hour > 0 else None


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


def holds_clock_times(hunt: HuntFolder, path: Path) -> bool:
    """Tell whether a file holds notes typed with clock times."""
    from treeward.notes.clocked_signs import has_clock_times

    if path.suffix.lower() not in TYPED_SUFFIXES:
        return False
    name = recording_name(path, hunt.recordings_dir)
    with suppress(TranscriptError):  # told when it is read
        text = read_text(path)
        if _since_start(hunt, name, text) is None:
            return has_clock_times(text, hunt.phrase_book)
    return False


def given_day(hunt: HuntFolder, path: Path, name: str) -> date | None:
    """Return the day that --start or hunt.toml gives notes typed with clock times.

    Raises
    ------
    ClockError
        If what hunt.toml gives is neither a date nor a date and a time.
    """
    kept = kept_starts(hunt.machine_dir).get(name)
    given = hunt.file.start.get(name)
    if not (kept or given) or not holds_clock_times(hunt, path):
        return None
    where = f"start of {name}"
    with suppress(ClockError):  # ours is good, or was spoilt on the disk since
        if kept:
            return parse_start_day(kept, hunt.zone, where=where)
    return parse_start_day(given, hunt.zone, where=where) if given else None


def typed_notes(hunt: HuntFolder, path: Path, name: str) -> Recorded | None:
    """Read notes typed with clock times; None for a file that holds none."""
    from treeward.notes.clocked import read_clocked
    from treeward.notes.clocked_signs import has_clock_times

    text, book = read_text(path), hunt.phrase_book
    if not has_clock_times(text, book) or _since_start(hunt, name, text) is not None:
        return None
    day = given_day(hunt, path, name)
    typed = read_clocked(
        text,
        book,
        hunt.zone,
        name=name,
        near=day or file_modified(path).date(),
        day=day,
        where=str(path),
    )
    remarks = typed.remarks
    if day and typed.other_days:
        days = " and ".join(str(one) for one in typed.other_days)
        told = f"{days} stands in it, {day} was given: what is written was taken"
        remarks = (told, *remarks)
    return Recorded(
        name=name, events=typed.events, unread=typed.unread, remarks=remarks
    )


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


_FILE = "unread.json"
DISMISSED_FILE = "dismissed.json"
_MOST_BYTES = 16_000_000  # a season's talk is a tenth of it; guess
_MOST_S = 1e7  # no recording is longer; as of heard recordings
_SAME_S = 0.5  # a note that begins or ends so near a line is of it; choice
_TOUCH_S = 0.05  # what ends so soon in a line is of the one before; choice
_PATIENCE_S = 1.0  # another page's save takes a tenth; longer work is told at once


def unread_of(hunt: HuntFolder) -> list[Unread]:
    """Give the lines to look at of all recordings, in order."""
    return [line for lines in _read(hunt, _FILE).values() for line in lines]


def keep_unread(hunt: HuntFolder, recorded: Iterable[Recorded]) -> None:
    """Keep the lines to look at of what was read now; of others they stay."""
    kept = _read(hunt, _FILE)
    for one in recorded:
        if not one.fault:
            kept[one.name] = list(one.unread)
    _write(hunt, _FILE, kept)


def open_lines(hunt: HuntFolder, events: Iterable[Event]) -> list[Unread]:
    """Return the lines that nobody has judged yet, by recording and place in it.

    A line that a note was made of is left out, and so is one that was dismissed.
    """
    dismissed = dismissed_lines(hunt)
    return [line for line in _without_note(hunt, events) if line not in dismissed]


def dismissed_lines(hunt: HuntFolder) -> list[Unread]:
    """Return the lines, as they were last read, that were dismissed."""
    judged = [line for lines in _read(hunt, DISMISSED_FILE).values() for line in lines]
    lines = unread_of(hunt)
    # Each stands for one line, the nearest; of two as near the later, since people
    # add lines above more often than they take some away.
    pairs = sorted(
        (_apart(one, line), -_where(line), j, i)
        for j, one in enumerate(judged)
        for i, line in enumerate(lines)
        if one.is_again(line)
    )
    met: dict[int, int] = {}
    for _, _, j, i in pairs:
        if j not in met and i not in met.values():
            met[j] = i
    return [lines[i] for i in sorted(met.values())]


def dismiss(hunt: HuntFolder, line: Unread, *, undo: bool = False) -> bool:
    """Keep that there is nothing in a line, or with `undo` that there may be.

    Returns whether that changed anything.

    Raises
    ------
    HuntError
        If another command is at work on the hunt.
    ReviewError
        If there is no such line.
    """
    with hunt.locked("review", wait_s=_PATIENCE_S):
        if line not in unread_of(hunt):
            raise ReviewError(
                "there is no such line any more",
                where=f"{line.recording} {line.place}",
                mend="Its recording was read anew; look at the lines as they are now.",
            )
        if (line in dismissed_lines(hunt)) is not undo:
            return False
        kept = _read(hunt, DISMISSED_FILE)
        of_it = kept.setdefault(line.recording, [])
        if undo:
            again = [one for one in of_it if one.is_again(line)]
            of_it.remove(min(again, key=lambda one: _apart(one, line)))
        else:
            of_it.append(line)
        _write(hunt, DISMISSED_FILE, kept)
        return True


def _without_note(hunt: HuntFolder, events: Iterable[Event]) -> list[Unread]:
    """Return the lines of which no note was made.

    A note of a spoken line begins or ends with it; one of a typed line was made of its
    words, and of two lines alike it is of one.
    """
    spoken: dict[str, list[tuple[float, float]]] = {}
    typed: Counter[tuple[str, str]] = Counter()
    for event in events:
        if event.start_s is not None:
            end_s = event.start_s if event.end_s is None else event.end_s
            spoken.setdefault(event.recording, []).append((event.start_s, end_s))
        else:
            typed[event.recording, event.heard] += 1
    found = []
    for line in unread_of(hunt):
        if line.start_s is None or line.end_s is None:
            typed[line.recording, line.text] -= 1
            if typed[line.recording, line.text] < 0:
                found.append(line)
        elif not any(
            abs(start_s - line.start_s) <= _SAME_S
            or line.start_s + _TOUCH_S < end_s <= line.end_s + _SAME_S
            for start_s, end_s in spoken.get(line.recording, ())
        ):
            found.append(line)
    return sorted(found, key=lambda one: (one.recording, _where(one)))


def _where(line: Unread) -> float:
    return line.start_s if line.start_s is not None else float(line.line or 0)


def _apart(one: Unread, other: Unread) -> float:
    return abs(_where(one) - _where(other))


def _write(hunt: HuntFolder, name: str, kept: Mapping[str, Sequence[Unread]]) -> None:
    entries = _entries(kept)
    if entries != _entries(_read(hunt, name)):
        text = json.dumps(entries, indent=1, ensure_ascii=False)
        write_text(hunt.machine_dir / name, text, within=hunt.path)


def _entries(kept: Mapping[str, Sequence[Unread]]) -> dict[str, list[dict[str, Any]]]:
    return {
        recording: [_entry(line) for line in lines]
        for recording, lines in sorted(kept.items())
        if lines
    }


def _entry(line: Unread) -> dict[str, Any]:
    place: dict[str, Any]
    if line.start_s is None or line.end_s is None:
        clock = line.clock.isoformat() if line.clock else ""
        place = {"line": line.line, "clock": clock}
    else:
        place = {"start_s": round(line.start_s, 3), "end_s": round(line.end_s, 3)}
    return place | {"text": line.text, "marks": list(line.marks)}


def _read(hunt: HuntFolder, name: str) -> dict[str, list[Unread]]:
    kept = read_kept(hunt.machine_dir / name, most_bytes=_MOST_BYTES)
    try:
        return {
            kept_text(recording): [_line(recording, entry) for entry in lines]
            for recording, lines in kept.items()
        }
    except (ValueError, TypeError, KeyError, AttributeError):
        return {}  # the next transcribe makes them anew


def _line(recording: str, entry: dict[str, Any]) -> Unread:
    place: dict[str, Any]
    if "line" in entry:
        told = kept_text(entry["clock"])
        clock = datetime.fromisoformat(told) if told else None
        if clock is not None and clock.tzinfo is None:
            raise ValueError(told)
        number = int(kept_number(entry["line"], most=_MOST_BYTES))
        place = {"line": number, "clock": clock}
    else:
        place = {
            end: kept_number(entry[end], most=_MOST_S) for end in ("start_s", "end_s")
        }
    return Unread(
        recording=recording,
        text=kept_text(entry["text"]),
        marks=tuple(kept_text(mark) for mark in entry["marks"]),
        **place,
    )
