"""The journal: every note on disk before it is answered.

A file of JSON lines that is only ever added to: `.treeward/live/<session>.jsonl`.
Each line is written in one go and flushed to the disk. A line cut short by a crash
is the last one and was never answered; reading stops there. Some room is set
aside beside it, and given back when the disk is full, so that notes go on for hours
after sound no longer fits.
"""

from __future__ import annotations

import errno
import json
import os
import threading
from collections import deque
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from treeward.audio.blocks import LONGEST_S
from treeward.files import kept_number, kept_text
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import read_flags, sentences_of
from treeward.speech.utterances import Alternative
from treeward.within import held

if TYPE_CHECKING:
    from pathlib import Path

BALLAST_BYTES = 256 * 1024  # about 700 notes; a day holds fewer
MOST_LINE_BYTES = 1 << 20  # a record is a few hundred bytes; choice
BALLAST_NAME = "room-for-notes.bin"


class Journal:
    """Append-only record of a session; safe to call from any thread.

    Parameters
    ----------
    path
        The session's journal, made if it is not there.
    within
        The hunt that it belongs to: no link below that is followed.
    """

    def __init__(self, path: Path, *, within: Path | None = None) -> None:
        self.path = path
        self._open = ExitStack()
        self._folder = self._open.enter_context(
            held(within or path.parent, path.parent, make=True)
        )
        self._lock = threading.Lock()
        self._waiting: deque[bytes] = deque()
        self._file = self._folder.open_file(path.name, "ab", buffering=0)
        self._good = self._file.seek(0, os.SEEK_END)
        self._set_room_aside()

    def _set_room_aside(self) -> None:
        if self._folder.look(BALLAST_NAME) is not None:
            return
        try:
            with self._folder.open_file(BALLAST_NAME, "xb") as file:
                # Random bytes: a file system that compresses must not shrink it.
                file.write(os.urandom(BALLAST_BYTES))
        except OSError:
            self._folder.remove(BALLAST_NAME)

    def write(self, record: dict[str, Any]) -> bool:
        """Add one record; return whether it is on the disk now.

        What could not be written is kept in memory, in order, and tried again with
        the next record or `retry`.
        """
        line = json.dumps(record, ensure_ascii=False, separators=(",", ":"))
        with self._lock:
            # A name that is not UTF-8 comes back as it was: JSON writes it so too.
            self._waiting.append(line.encode("utf-8", "backslashreplace") + b"\n")
            return self._drain()

    def retry(self) -> bool:
        """Try again to write what is waiting; return whether all is on disk."""
        with self._lock:
            return self._drain()

    @property
    def waiting(self) -> int:
        """Records that are not on disk yet."""
        return len(self._waiting)

    def _drain(self) -> bool:
        if self._file.closed:
            return False
        while self._waiting:
            if self._append(self._waiting[0]):
                self._waiting.popleft()
            elif self._folder.is_file(BALLAST_NAME):
                self._folder.remove(BALLAST_NAME)
            else:
                return False
        return True

    def _append(self, line: bytes) -> bool:
        try:
            written = self._file.write(line)
            if written == len(line):
                os.fsync(self._file.fileno())
                self._good += written
                return True
        except OSError:
            pass
        self._cut_back()
        return False

    def _cut_back(self) -> None:
        """Take away half a line, so that the next one starts on its own."""
        try:
            self._file.truncate(self._good)
            self._file.seek(self._good)
        except OSError:
            pass

    def close(self) -> None:
        """Write what is waiting, as far as it goes, and close."""
        with self._lock:
            if self._file.closed:
                return
            self._drain()
            self._file.close()
            if self._folder.is_file(BALLAST_NAME):
                self._folder.remove(BALLAST_NAME)
            self._open.close()


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalText:
    """A journal as read back."""

    records: tuple[dict[str, Any], ...]
    broken_lines: int  # lines that a crash cut short


def read_journal(path: Path) -> JournalText:
    """Read a journal, leaving out lines that a crash cut short.

    Raises
    ------
    OSError
        It is no file, or may not be read.
    """
    records: list[dict[str, Any]] = []
    broken = 0
    if not path.is_file():  # a pipe would never end
        raise OSError(errno.EINVAL, "is not a file", str(path))
    with path.open("rb") as file:
        while line := file.readline(MOST_LINE_BYTES):
            if not line.strip():
                continue
            try:
                record = json.loads(line)
            except (ValueError, RecursionError):
                broken += 1
                continue
            if isinstance(record, dict):
                records.append(record)
            else:
                broken += 1
    return JournalText(records=tuple(records), broken_lines=broken)


def event_record(event: Event, number: int) -> dict[str, Any]:
    """Return an event as a journal record; blank fields are left out."""
    record: dict[str, Any] = {"type": "event", "n": number, "kind": event.kind.value}
    record |= {
        name: value
        for name in ("mark", "value", "recording", "heard", "row")
        if (value := getattr(event, name))
    }
    if event.start_s is not None and event.end_s is not None:
        record |= {"start_s": round(event.start_s, 3), "end_s": round(event.end_s, 3)}
    if event.clock is not None:
        record["clock"] = event.clock.isoformat(timespec="milliseconds")
    record["confidence"] = round(event.confidence, 4)
    if event.alternatives:
        record["alternatives"] = [[a.text, a.confidence] for a in event.alternatives]
    if event.flags:
        record["flags"] = list(sentences_of(event.flags))
    return record


def event_of(record: dict[str, Any]) -> Event:
    """Return the event of a journal record.

    Raises
    ------
    ValueError, KeyError, TypeError, OverflowError
        The record is no event that this version wrote.
    """
    start_s, end_s = record.get("start_s"), record.get("end_s")
    return Event(
        kind=EventKind(record["kind"]),
        mark=kept_text(record.get("mark", "")),
        value=kept_text(record.get("value", "")),
        recording=kept_text(record.get("recording", "")),
        start_s=None if start_s is None else kept_number(start_s, most=LONGEST_S),
        end_s=None if end_s is None else kept_number(end_s, most=LONGEST_S),
        clock=_clock(record.get("clock")),
        confidence=kept_number(record.get("confidence", 1.0), most=1.0),
        heard=kept_text(record.get("heard", "")),
        alternatives=tuple(
            Alternative(
                text=kept_text(text), confidence=kept_number(confidence, most=1.0)
            )
            for text, confidence in record.get("alternatives", ())
        ),
        flags=read_flags(kept_text(flag) for flag in record.get("flags", ())),
        row=kept_text(record.get("row", "")),
    )


def _clock(value: Any) -> datetime | None:  # noqa: ANN401 (from JSON)
    if not value:
        return None
    clock = datetime.fromisoformat(kept_text(value))
    if clock.tzinfo is None or not 1900 <= clock.year <= 2200:
        raise ValueError(value)
    return clock
